"""The printed cards and setting sheets, measured on the printed page as a rule would."""

from __future__ import annotations

from copy import deepcopy
from fractions import Fraction
from functools import cache

import cv2
import numpy as np
import pypdfium2
import pytest

from gapvision.errors import MeasurementError
from gapvision.scene import card
from gapvision.shoot import sheet

# A4 is 210 x 297 mm (ISO 216:2007, table 1), size A is 8.5 x 11 in (ASME Y14.1), both landscape.
PAPERS = {"a4": (297.0, 210.0), "letter": (11 * 25.4, 8.5 * 25.4)}
DPI = 300
# A tenth of what a good rule's divisions are apart, and just over half a pixel.
TOLERANCE_MM = 0.05
# Laser printers leave 1/6 in white along the sheet's edges.
UNPRINTABLE_MM = 25.4 / 6


class Page:
    """A page as grey picture, darkness 0 to 1, addressed in mm from its upper left corner."""

    def __init__(self, page: pypdfium2.PdfPage, dpi: int) -> None:
        self.size_mm = np.array(page.get_size()) * 25.4 / 72
        self.grey = page.render(scale=dpi / 72, grayscale=True).to_numpy().squeeze()
        # The picture has whole pixels, so the page is stretched a little along each side.
        self.px_per_mm = np.array(self.grey.shape[::-1]) / self.size_mm
        objects = page.get_objects(textpage=page.get_textpage())
        texts = [o for o in objects if isinstance(o, pypdfium2.PdfTextObj)]
        boxes = [np.array(o.get_bounds()) * 25.4 / 72 for o in texts]
        self.texts = [
            (o.extract().strip(), (x0, self.size_mm[1] - y1, x1, self.size_mm[1] - y0))
            for o, (x0, y0, x1, y1) in zip(texts, boxes, strict=True)
        ]

    def part(self, x0: float, y0: float, x1: float, y1: float) -> np.ndarray:
        """A view of the grey values in a rectangle, mm."""
        (a, b), (c, d) = np.rint(np.array([[x0, y0], [x1, y1]]) * self.px_per_mm).astype(int)
        return self.grey[b:d, a:c]

    def ticks_mm(self, x0: float, y0: float, x1: float, y1: float, axis: int) -> np.ndarray:
        """Middles of the lines that cross a rectangle, along x (0) or y (1), by their darkness."""
        dark = (1 - self.part(x0, y0, x1, y1) / 255).mean(axis=axis)
        start = np.rint((x0, y0)[axis] * self.px_per_mm[axis])
        edges = np.flatnonzero(np.diff(np.r_[False, dark > 0.02, False].astype(int)))
        middles = [np.average(np.arange(a, b), weights=dark[a:b]) for a, b in edges.reshape(-1, 2)]
        return (start + np.array(middles) + 0.5) / self.px_per_mm[axis]


@pytest.fixture(scope="module")
def printed(tmp_path_factory):
    """A function from the wanted cards to the pages, each printed once."""

    @cache
    def pages(paper="a4", first=1, count=2, setting_sheet=False, dpi=DPI):
        path = tmp_path_factory.mktemp("cards") / "cards.pdf"
        sheet.write_cards(path, paper, first, count, setting_sheet=setting_sheet)
        with pypdfium2.PdfDocument(path) as pdf:
            return [Page(page, dpi) for page in pdf]

    return pages


def card_corner_mm(paper: str, place: int) -> tuple[float, float]:
    """The upper left corner of a cut card on its sheet."""
    width, height = PAPERS[paper]
    return (width - 262) / 2, height / 2 - 102 + 102 * place


def charuco_board(number: int) -> cv2.aruco.CharucoBoard:
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_1000)
    return cv2.aruco.CharucoBoard((11, 4), 22, 17, dictionary, np.arange(22) + 22 * (number - 1))


def test_corners_are_in_charuco_order():
    on_board = card.board(7).getChessboardCorners()  # mm, y down, from the board's upper left
    nail = np.array([131 - 10, 4 - 8])  # in that frame
    expected = (on_board[:, :2] - nail) * [1, -1]
    np.testing.assert_allclose(card.corner_points_mm()[:, :2], expected, atol=1e-5)
    assert not card.corner_points_mm()[:, 2].any()
    assert not card.corner_points_mm().flags.writeable


def test_outline_has_the_cut_size_and_the_nail_four_below_its_top():
    left, top, right, bottom = *card.outline_mm()[0], *card.outline_mm()[2]
    assert (right - left, top - bottom) == (262, 102)
    assert (left + right, top) == (0, 4)


def test_no_two_cards_share_a_marker():
    ids = np.concatenate([card.board(n).getIds() for n in range(1, 41)])
    np.testing.assert_array_equal(ids.ravel(), np.arange(40 * 22))


@pytest.mark.parametrize("number", [0, 41, -1, 1.5])
def test_no_card_of_such_a_number(number):
    with pytest.raises(ValueError, match="from 1 to 40"):
        card.board(number)


@pytest.mark.parametrize(("paper", "first"), [("a4", 1), ("a4", 39), ("letter", 1), ("letter", 39)])
def test_every_corner_lies_where_it_should_on_the_page(printed, paper, first):
    (page,) = printed(paper, first)
    np.testing.assert_allclose(page.size_mm, PAPERS[paper], atol=1e-3)
    across, down = np.arange(1, 11), np.arange(1, 4)
    for place in range(2):
        found, ids, _, _ = cv2.aruco.CharucoDetector(charuco_board(first + place)).detectBoard(
            page.grey
        )
        np.testing.assert_array_equal(ids.ravel(), np.arange(30))
        stop = (cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_MAX_ITER, 50, 1e-3)
        found = cv2.cornerSubPix(page.grey, found.reshape(-1, 1, 2), (12, 12), (-1, -1), stop)
        found_mm = (found.reshape(-1, 2) + 0.5) / page.px_per_mm
        left, top = card_corner_mm(paper, place)
        x, y = np.meshgrid(left + 10 + 22 * across, top + 8 + 22 * down)
        expected = np.column_stack([x.ravel(), y.ravel()])
        np.testing.assert_allclose(found_mm, expected, rtol=0, atol=TOLERANCE_MM)

        nail_mm = np.array([left + 131, top + 4])
        in_frame = nail_mm + card.corner_points_mm()[:, :2] * [1, -1]
        np.testing.assert_allclose(in_frame, expected, atol=1e-9)


@pytest.mark.parametrize("number", [1, 2])
def test_board_is_opencv_s_without_seams(printed, number):
    (page,) = printed("a4", 1)
    left, top = card_corner_mm("a4", number - 1)
    seen = page.part(left + 10, top + 8, left + 252, top + 96)
    size = seen.shape[::-1]
    drawn = charuco_board(number).generateImage((1452, 528), marginSize=0)
    drawn = cv2.resize(drawn, size, interpolation=cv2.INTER_NEAREST)
    # Two pixels off every edge: there the page is grey, and rounded to whole pixels.
    around, inner = np.ones((5, 5), np.uint8), np.s_[2:-2, 2:-2]
    seen, dark, white = seen[inner], cv2.dilate(drawn, around)[inner], cv2.erode(drawn, around)
    assert (dark == 0).mean() > 0.6
    assert (seen[dark == 0] == 0).all()
    assert (seen[white[inner] == 255] == 255).all()


@pytest.mark.parametrize("paper", PAPERS)
def test_white_margins_hold_only_number_nail_and_bar(printed, paper):
    (page,) = printed(paper, 39)
    for place, number in enumerate(("39", "40")):
        left, top = card_corner_mm(paper, place)
        seen = page.part(left + 0.2, top + 0.2, left + 261.8, top + 101.8)  # cut marks end outside
        assert (seen < 128).any()
        page_left = deepcopy(page)
        page_left.part(left + 9.9, top + 7.9, left + 252.1, top + 96.1)[:] = 255  # the board
        allowed = {
            "number": (left + 1.5, top + 9.5, left + 9, top + 14.5),
            "nail": (left + 128.8, top + 1.8, left + 133.2, top + 6.2),
            "bar": (left + 80.7, top + 96.8, left + 181.3, top + 101.2),
        }
        for name, box in allowed.items():
            assert page_left.part(*box).min() < 128, name
            page_left.part(*box)[:] = 255
        assert page_left.part(left + 0.2, top + 0.2, left + 261.8, top + 101.8).min() == 255
        assert number in [text for text, _ in page.texts]


@pytest.mark.parametrize("paper", PAPERS)
def test_check_bar_is_100_mm(printed, paper):
    sheet, millimetres, inches = printed(paper, setting_sheet=True)
    bars = [(sheet, card_corner_mm(paper, place)) for place in range(2)]
    for page, (left, top) in bars:
        bar = top + 102 - 3
        (y,) = page.ticks_mm(left + 85, bar - 1, left + 175, bar + 1, axis=1)
        assert y == pytest.approx(bar, abs=TOLERANCE_MM)
        for above, below in ((-1.6, -0.5), (0.5, 1.6)):
            a, b = page.ticks_mm(left + 70, bar + above, left + 190, bar + below, axis=0)
            assert b - a == pytest.approx(100, abs=TOLERANCE_MM)
            assert (a + b) / 2 == pytest.approx(left + 131, abs=TOLERANCE_MM)
    for page in (millimetres, inches):
        bar = PAPERS[paper][1] - 8
        a, b = page.ticks_mm(3, bar - 1.6, 112, bar - 0.5, axis=0)
        assert b - a == pytest.approx(100, abs=TOLERANCE_MM)


@pytest.mark.parametrize("paper", PAPERS)
def test_notes_keep_clear_of_what_printers_leave_white(printed, paper):
    sheet, *settings = printed(paper, setting_sheet=True)
    width, height = PAPERS[paper]
    for page in (sheet, *settings):
        assert page.part(0, 0, UNPRINTABLE_MM, height).min() == 255
        assert page.part(width - UNPRINTABLE_MM, 0, width, height).min() == 255
    for page in settings:
        assert page.part(0, 0, width, UNPRINTABLE_MM).min() == 255
        assert page.part(0, height - UNPRINTABLE_MM, width, height).min() == 255
    notes = " ".join(text for text, _ in sheet.texts)
    for words in ("push pin or cord", "swing free and plumb", "100 %", "--printed-bar"):
        assert words in notes


def read_pairs(page: Page) -> dict[str, list[float]]:
    """Each label of a setting sheet, with the distances between the marks it stands between."""
    labels = [(t, b) for t, b in page.texts if t[0].isdigit() and b[3] - b[1] < 20]
    page = deepcopy(page)
    for _, (x0, y0, x1, y1) in labels:  # so that only marks are left to be found
        page.part(x0 - 0.2, y0 - 0.2, x1 + 0.2, y1 + 0.2)[:] = 255
    pairs: dict[str, list[float]] = {}
    for text, (x0, y0, x1, y1) in labels:
        x, y = (x0 + x1) / 2, (y0 + y1) / 2
        # Only the right arms of the crosses: a line joins the pair in the middle.
        marks = page.ticks_mm(x + 0.3, 12, x + 1, page.size_mm[1] - 12, axis=1)
        after = np.searchsorted(marks, y)
        pairs.setdefault(text, []).append(marks[after] - marks[after - 1])
    return pairs


def test_setting_sheet_has_every_millimetre(printed):
    pairs = read_pairs(printed(setting_sheet=True, dpi=400)[1])
    assert sorted(pairs, key=int) == [str(s) for s in range(20, 151)]
    for label, distances_mm in pairs.items():
        assert distances_mm == pytest.approx([int(label)] * len(distances_mm), abs=TOLERANCE_MM)


@pytest.mark.parametrize("paper", PAPERS)
def test_setting_sheet_has_every_sixteenth(printed, paper):
    pairs = read_pairs(printed(paper, setting_sheet=True, dpi=400)[2])
    inches = {label: sum(map(Fraction, label.split())) for label in pairs}
    # 20 mm is 12.6 sixteenths and 150 mm is 94.5.
    assert sorted(inches.values()) == [Fraction(s, 16) for s in range(13, 95)]
    assert {"13/16", "2 5/16", "3", "5 7/8"} <= set(pairs)
    for label, distances_mm in pairs.items():
        expected = [float(inches[label] * Fraction("25.4"))] * len(distances_mm)
        assert distances_mm == pytest.approx(expected, abs=TOLERANCE_MM)


def test_texts_do_not_touch_each_other(printed):
    apart_mm = 0.4
    for page in printed("letter", setting_sheet=True):  # the smaller sheet in width
        boxes = np.array([box for _, box in page.texts])
        low, high = boxes[:, :2] - apart_mm / 2, boxes[:, 2:] + apart_mm / 2
        meet = ((low[:, None] < high) & (low < high[:, None])).all(axis=2)
        assert meet.sum() == len(boxes)  # each just with itself


def test_an_odd_count_leaves_the_lower_place_empty(printed):
    full, half = printed(first=1, count=3)
    left, top = card_corner_mm("a4", 0)
    (alone,) = printed(first=3, count=1)
    np.testing.assert_array_equal(alone.grey, half.grey)
    below = half.part(left + 0.2, top + 102.2, left + 261.8, top + 203.8)
    assert below.min() == 255
    # The same card in the same place, but for its number and markers.
    frame = (left + 70, top + 96.5, left + 190, top + 101.8)
    np.testing.assert_array_equal(full.part(*frame), half.part(*frame))


def test_viewers_are_told_not_to_scale(tmp_path):
    path = tmp_path / "cards.pdf"
    sheet.write_cards(path)
    assert b"/PrintScaling /None" in path.read_bytes()


@pytest.mark.parametrize(
    ("wrong", "match"),
    [
        ({"first": 0}, "first 0 and count 2"),
        ({"first": 40}, "cards 40 to 41"),
        ({"first": 41, "count": 1}, "from 1 to 40"),
        ({"count": 0}, "at least 1"),
        ({"count": 41}, "cards 1 to 41"),
        ({"paper": "a3"}, "a4, letter, not 'a3'"),
    ],
)
def test_wrong_calls_write_nothing(tmp_path, wrong, match):
    with pytest.raises(ValueError, match=match):
        sheet.write_cards(tmp_path / "cards.pdf", **wrong)
    assert not list(tmp_path.iterdir())


def test_a_file_is_not_overwritten_unasked(tmp_path):
    path = tmp_path / "cards.pdf"
    path.write_bytes(b"mine")
    with pytest.raises(MeasurementError, match="exists already") as refusal:
        sheet.write_cards(path)
    assert refusal.value.code == "file-exists"
    assert path.read_bytes() == b"mine"
    sheet.write_cards(path, overwrite=True)
    assert path.read_bytes().startswith(b"%PDF")


def test_a_place_that_cannot_be_written_to(tmp_path):
    with pytest.raises(MeasurementError, match="no folder") as refusal:
        sheet.write_cards(tmp_path / "none" / "cards.pdf")
    assert refusal.value.code == "no-folder"
    with pytest.raises(MeasurementError, match="is a folder: name a file in it") as refusal:
        sheet.write_cards(tmp_path, overwrite=True)
    assert refusal.value.code == "not-written"
