"""The field sheet on the printed page: whole, legible, and of the distances that the program uses."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pypdfium2
import pytest
from helpers.commands import run

from gapvision.advice.findings import STEEPER
from gapvision.shoot import sheet
from gapvision.shoot.ways import USUAL_DISTANCE_MM

# ISO 216:2007 A4, and ASME Y14.1 size A, upright.
PAPERS = {"a4": (210.0, 297.0), "letter": (8.5 * 25.4, 11 * 25.4)}
# Laser printers leave 1/6 in white along the sheet's edges.
UNPRINTABLE_MM = 25.4 / 6
LEAST_TEXT_MM = 2.0  # of capitals and long letters: read at arm's length


@pytest.fixture(scope="module", params=PAPERS)
def page(request, tmp_path_factory):
    """The last page's size and grey picture at 100 dpi, and its texts with their boxes, mm."""
    path = tmp_path_factory.mktemp("field") / "cards.pdf"
    sheet.write_cards(path, request.param, field_sheet=True)
    with pypdfium2.PdfDocument(path) as pdf:
        assert len(pdf) == 2
        last = pdf[1]
        grey = last.render(scale=100 / 72, grayscale=True).to_numpy().squeeze()
        found = last.get_objects(textpage=last.get_textpage())
        texts = [
            (o.extract().strip(), np.array(o.get_bounds()) * 25.4 / 72)
            for o in found
            if isinstance(o, pypdfium2.PdfTextObj)
        ]
        size_mm = np.array(last.get_size()) * 25.4 / 72
    np.testing.assert_allclose(size_mm, PAPERS[request.param], atol=0.1)
    return size_mm, grey, texts


def test_nothing_lies_where_printers_leave_white(page):
    (width, _), grey, _ = page
    edge = int(np.ceil(UNPRINTABLE_MM * grey.shape[1] / width))
    inner = grey[edge:-edge, edge:-edge]
    assert inner.min() == 0
    assert (grey < 250).sum() == (inner < 250).sum()


def test_no_text_touches_another_or_is_too_small(page):
    _, _, texts = page
    assert len(texts) > 20
    for (one, a), (other, b) in combinations(texts, 2):
        apart = (a[2:] < b[:2]).any() or (b[2:] < a[:2]).any()
        assert apart, f"{one} on {other}"
    for words, (_, low, _, high) in texts:
        assert len(words) < 3 or high - low > LEAST_TEXT_MM, words


def test_it_says_hang_stand_shoot_with_the_distances_that_are_advised(page):
    _, _, texts = page
    said = " ".join(words for words, _ in texts)
    rise = f"{STEEPER * USUAL_DISTANCE_MM:.0f} mm (13 in)"  # 12.99
    for words in (
        "HANG", "STAND", "SHOOT", "1.5 m (5 ft)", f"{rise} higher", f"{rise} lower",
        "Dog or chock both ends", "cloth behind the gap", "No hand", "share a card", "notch",
    ):  # fmt: skip
        assert words in said


def test_it_fits_every_letter_within_its_field(page):
    """No text reaches over a rim: rims lie 10 mm from the drawing's sides."""
    (width, _), _, texts = page
    for words, (left, _, right, _) in texts:
        assert left > (width - 190) / 2 - 0.5, words
        assert right < (width + 190) / 2 - 0.5 or "field sheet" in words, words


def test_without_it_the_cards_are_as_they_were(tmp_path):
    sheet.write_cards(tmp_path / "with.pdf", field_sheet=True)
    sheet.write_cards(tmp_path / "without.pdf")
    first = []
    for name in ("with.pdf", "without.pdf"):
        with pypdfium2.PdfDocument(tmp_path / name) as pdf:
            first.append(pdf[0].render(scale=1).to_numpy())
    np.testing.assert_array_equal(*first)


def test_the_command_adds_it(tmp_path):
    done = run("card", tmp_path / "cards.pdf", "--field-sheet", "--paper", "letter")
    assert done.exit_code == 0
    with pypdfium2.PdfDocument(tmp_path / "cards.pdf") as pdf:
        assert len(pdf) == 2
        assert pdf[1].get_size() == (612, 792)
