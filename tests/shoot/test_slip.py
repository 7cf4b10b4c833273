"""Slips as they are printed, read back from the page by another library's decoder."""

import cv2
import numpy as np
import pypdfium2
import pytest
import segno

from gapvision.inputs.joint_name import JointName
from gapvision.shoot.slip import CODE_MM, LABEL_MM, Slip, parse_slip, slip_of, slips_pdf

# A4 is 210 x 297 mm (ISO 216:2007, table 1), size A is 8.5 x 11 in (ASME Y14.1).
PAPERS_MM = {"a4": (210.0, 297.0), "letter": (8.5 * 25.4, 11 * 25.4)}
UNPRINTABLE_MM = 25.4 / 6  # white along the edges, as laser printers leave it
ODD = slip_of("Saun Õie Łódź Баня", "Südwand außen", "12½ a")
LONG = Slip(JointName("B" * 30, "w" * 30, "9" * 30))


def printed(content, dpi=150):
    with pypdfium2.PdfDocument(content) as pdf:
        return [
            (
                page.render(scale=dpi / 72, grayscale=True).to_numpy().squeeze(),
                " ".join(page.get_textpage().get_text_bounded().split()),
                np.array(page.get_size()) * 25.4 / 72,
            )
            for page in pdf
        ]


def codes(grey):
    return set(cv2.QRCodeDetector().detectAndDecodeMulti(grey)[1])


@pytest.mark.parametrize("paper", PAPERS_MM)
def test_every_code_on_the_page_says_its_label_and_nothing_else(paper):
    slips = [*(slip_of("Barn", "north", str(n)) for n in range(1, 8)), ODD, LONG]
    pages = printed(slips_pdf(slips, paper))
    found = [codes(grey) for grey, *_ in pages]
    assert [len(texts) for texts in found] == [8, 1]
    read = set().union(*found)
    assert read == {s.text for s in slips}
    assert {parse_slip(text) for text in read} == set(slips)
    for grey, text, size_mm in pages:
        np.testing.assert_allclose(size_mm, PAPERS_MM[paper], atol=0.01)
        edge = round(UNPRINTABLE_MM * 150 / 25.4)
        inside = np.zeros(grey.shape, bool)
        inside[edge:-edge, edge:-edge] = True
        assert grey[~inside].min() == 255
        assert "gapvision" not in text
    assert "Barn Wall: north Log: 7" in pages[0][1]
    assert ODD.joint.building in pages[0][1]


def test_the_code_is_the_standard_s_to_the_module():
    only = slip_of("Barn", "north", "3")
    ((grey, *_),) = printed(slips_pdf([only]), 600)
    modules = np.array(
        [list(row) for row in segno.make(only.text, error="m", encoding="utf-8").matrix_iter()]
    )
    assert len(modules) == 37  # version 3 and a quiet zone of four modules: ISO/IEC 18004
    left = (PAPERS_MM["a4"][0] / 2) - CODE_MM
    top = (PAPERS_MM["a4"][1] - 4 * LABEL_MM[1]) / 2
    middle = (np.arange(37) + 0.5) * CODE_MM / 37 * 600 / 25.4
    at = np.ix_((top * 600 / 25.4 + middle).astype(int), (left * 600 / 25.4 + middle).astype(int))
    np.testing.assert_array_equal(grey[at] < 128, modules == 1)


@pytest.mark.parametrize("dpi", [100, 600])
def test_no_seams_between_modules(dpi):
    ((grey, *_),) = printed(slips_pdf([slip_of("Barn", "north", "3")]), dpi)
    k = dpi / 25.4
    left, top = 105 - CODE_MM, (297 - 4 * LABEL_MM[1]) / 2
    side = CODE_MM / 37
    finder = grey[round((top + 4.1 * side) * k) : round((top + 4.9 * side) * k),
                  round((left + 4.3 * side) * k) : round((left + 10.7 * side) * k)]  # fmt: skip
    assert finder.size and finder.max() < 90


def test_the_answer_is_printed_beside_it():
    answer = "set AT LEAST 58 | cover 75 | widest 47 @ 310R of 2"
    ((grey, text, _),) = printed(slips_pdf([slip_of("Barn", "north", "3")], answer=answer))
    assert "set AT LEAST 58 | cover 75 widest 47 @ 310R of 2" in text
    assert codes(grey) == {"Building: Barn; Wall: north; Log: 3"}  # without the answer


def test_names_are_one_way_of_writing():
    assert slip_of("  Big   barn ", "no\u0308rdlich", " 3 ") == Slip(
        JointName("Big barn", "n\u00f6rdlich", "3")
    )


@pytest.mark.parametrize("name", ["", " ", "a;b", "a\nb\x07", "x" * 31, "a\u200bb"])
def test_names_that_no_slip_can_have(name):
    with pytest.raises(ValueError, match="is no name of a wall"):
        slip_of("Barn", name, "3")


def test_letters_that_would_not_print():
    with pytest.raises(ValueError, match="no sign for '木'"):
        slips_pdf([slip_of("木", "north", "3")])


@pytest.mark.parametrize(
    "text",
    [
        "", "Barn", "https://example.org", "Building: Barn; Wall: north",
        "Building: Barn; Wall: north; Log: 3; More: x", "building: Barn; wall: north; log: 3",
        "Building: Barn; Wall: north; Log: ", "Building:  Barn; Wall: north; Log: 3",
        "Building: Barn; Wall: north; Log: 3\n", " Building: Barn; Wall: north; Log: 3",
        "Building: " + "x" * 31 + "; Wall: north; Log: 3", "Building: a\x00; Wall: b; Log: 3",
    ],
)  # fmt: skip
def test_nothing_else_is_taken_for_a_slip(text):
    assert parse_slip(text) is None


def test_an_unknown_paper():
    with pytest.raises(ValueError, match="a4, letter, not 'a3'"):
        slips_pdf([ODD], "a3")
