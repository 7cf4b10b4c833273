"""The picture: what a builder must find in it, at the columns where the log has it."""

import re
from dataclasses import replace
from types import SimpleNamespace

import cv2
import numpy as np
import pytest
from helpers.joints import (
    DECIDING_MM,
    PHOTO_SHAPE,
    WIDEST_MM,
    joint,
    lower_y,
    photo,
    photo_x,
    upper_y,
    whole_log,
)

from gapvision.advice.caution import told
from gapvision.advice.to_do import Step
from gapvision.answer.picture import drawing
from gapvision.answer.picture.axis import axis_number, round_levels
from gapvision.answer.picture.photo_strip import best_photo
from gapvision.answer.picture.picture import draw_picture, write_picture
from gapvision.answer.picture.raster import pixels_of
from gapvision.errors import MeasurementError
from gapvision.quantity import Quantity

LEFT, RIGHT = drawing.PANEL_LEFT_PX, drawing.PANEL_RIGHT_PX
HIDDEN_MM = (450.0, 650.0)
PAPER = (128, 128, 128)  # what the photograph is made of


def column(station):
    """Column of a station in the picture: the photograph fills the panel from edge to edge."""
    return LEFT + (photo_x(station) + 0.5) * (RIGHT - LEFT) / PHOTO_SHAPE[1] - 0.5


def grey_photo(file):
    return np.full(PHOTO_SHAPE, 128, np.uint8)


@pytest.fixture
def read(monkeypatch):
    """The files of all photographs that are read; each is grey."""
    files = []

    def load(file):
        files.append(file)
        return SimpleNamespace(bgr=grey_photo(file))

    monkeypatch.setattr("gapvision.answer.picture.picture.load_photo", load)
    return files


@pytest.fixture(scope="module")
def whole():
    return draw_picture(joint(), grey_photo)


def is_colour(picture, rgb):
    return cv2.inRange(picture, rgb[::-1], rgb[::-1]) > 0


def photo_rows(picture):
    """Rows of the photograph, by its grey."""
    rows = np.flatnonzero(is_colour(picture[:, LEFT:RIGHT], PAPER).mean(axis=1) > 0.3)
    return slice(rows[0], rows[-1] + 1)


def plot_rows(picture):
    """Rows of the gap's plot and of the groove's plot, by the curves' colour."""
    strip = picture[photo_rows(picture).stop + 130 :]
    blue = np.flatnonzero(is_colour(strip, drawing.BLUE)[:, LEFT + 100 : RIGHT].any(axis=1))
    start = photo_rows(picture).stop + 130
    return [
        slice(start + run[0], start + run[-1] + 1)
        for run in np.split(blue, np.flatnonzero(np.diff(blue) > 40) + 1)
    ][:2]


def test_picture_is_colour_image_of_fixed_width_for_a_phone(whole):
    assert whole.dtype == np.uint8
    assert whole.shape[1:] == (drawing.WIDTH_PX, 3)
    assert 1200 < whole.shape[0] < 3000


def test_outlines_lie_where_they_were_traced(whole):
    rows = photo_rows(whole)
    scale = (RIGHT - LEFT) / PHOTO_SHAPE[1]
    apart = []
    for colour, edge in (
        (drawing.UPPER_COLOUR, upper_y),
        (drawing.LOWER_COLOUR, lower_y),
    ):
        hit = is_colour(whole[rows], colour)
        stations = np.array([-800.0, -250.0, 0.0, 130.0, 505.0, 880.0])
        found = [np.flatnonzero(hit[:, round(column(s))]).mean() for s in stations]
        shape = (edge(stations) - edge(0)) * scale
        # The crop's top is a whole pixel of the photograph: compare shapes, then the distance.
        np.testing.assert_allclose(np.array(found) - found[2], shape, atol=1.0)
        apart.append(found[2])
    assert apart[1] - apart[0] == pytest.approx(40 * scale, abs=1.0)


def test_outlines_are_thin_so_that_the_edge_stays_visible(whole):
    rows = photo_rows(whole)
    changed = (whole[rows, round(column(860.0))] != 128).any(axis=-1)
    # A quarter of this gap, 32 px in the picture, for each of the two lines with its dark rim.
    assert changed.sum() <= 2 * 8


@pytest.mark.parametrize(
    "colour, station",
    [(drawing.WIDEST_COLOUR, WIDEST_MM), (drawing.DECIDING_COLOUR, DECIDING_MM)],
)
def test_marks_stand_at_their_station_in_photograph_and_plot(whole, colour, station):
    photo_part = is_colour(whole[photo_rows(whole)], colour)
    gap_part = is_colour(whole[plot_rows(whole)[0].start - 60 : plot_rows(whole)[0].stop], colour)
    # Near the place only: the box with the number may be moved sideways.
    near = slice(round(column(station)) - 24, round(column(station)) + 25)
    axis = photo_part.shape[0] // 2
    for part in (photo_part[axis - 70 : axis + 70, near], gap_part[:, near]):
        columns = np.flatnonzero(part.any(axis=0))
        assert columns.size
        middle = near.start + (columns[0] + columns[-1]) / 2
        assert middle == pytest.approx(column(station), abs=1.5)


def test_marks_differ_in_shape_and_not_in_colour_alone():
    fields = []
    for shape in ("triangle", "diamond", "square"):
        strip = drawing.blank(60)
        drawing.mark(strip, (100, 30), shape)
        fields.append((pixels_of(strip)[:, 60:140] != 255).any(axis=-1))
    for a, b in ((0, 1), (0, 2), (1, 2)):
        assert (fields[a] ^ fields[b]).sum() > 0.2 * fields[a].sum()


def test_curve_is_highest_at_the_widest_gap_and_lowest_at_the_deciding_place(whole):
    gap, groove = (is_colour(whole[rows], drawing.BLUE) for rows in plot_rows(whole))
    top = np.argmax(gap[:, round(column(WIDEST_MM))])
    assert top < np.argmax(gap[:, round(column(WIDEST_MM + 150))])
    deciding = np.argmax(groove[:, round(column(DECIDING_MM + 40))])
    assert deciding > np.argmax(groove[:, round(column(DECIDING_MM + 190))])


def test_stretch_not_seen_is_hatched_and_has_neither_curve_nor_outline(said):
    picture = draw_picture(joint(hidden=HIDDEN_MM), grey_photo)
    assert said.count("not seen") == 1  # in the legend; this field is too narrow for words
    hidden = slice(*np.round(column(np.add(HIDDEN_MM, (15, -15)))).astype(int))
    seen = slice(*np.round(column(np.array([-150.0, 50.0]))).astype(int))
    plots = plot_rows(picture)
    for rows in plots:
        assert not is_colour(picture[rows, hidden], drawing.BLUE).any()
        assert is_colour(picture[rows, seen], drawing.BLUE).any()
        grey = (picture[rows, hidden] == 120).all(axis=-1)
        assert 0.05 < grey.mean() < 0.4
        assert not (picture[rows, seen] == 120).all(axis=-1).any()
    for colour in (drawing.UPPER_COLOUR, drawing.LOWER_COLOUR):
        line = is_colour(picture[photo_rows(picture)], colour)
        assert not line[:, hidden].any()
        assert line[:, seen].any(axis=0).all()


def test_wide_stretch_not_seen_says_so(said):
    draw_picture(joint(hidden=(100.0, 800.0)), grey_photo)
    assert said.count("not seen") == 3


def test_texts_hold_the_answer(said):
    draw_picture(joint(), grey_photo)
    assert said[0] == "SET 49 mm"
    top = " ".join(said[1:4])
    assert top.startswith(
        "Decided 440 mm left of card 1, seen from outside: needs 47.0 ± 2.0 mm for"
    )
    assert "a cover of 75 mm. (± holds 95 times in 100.)" in top
    for words in ("0 (card 1)", "-400", "upper log's underside", "lower log's top"):
        assert words in said
    assert any(t.startswith("widest gap 38") for t in said)
    assert any(t.startswith("decides: 47") for t in said)
    assert not any("Status" in t or "for cover" in t for t in said)


def test_what_to_do_follows_the_verdict_and_is_cut_after_four_lines(said):
    steps = Step("prepare", {"text": "Words without end " * 40}), Step("read", {"text": "Read."})
    draw_picture(joint(to_do=steps), grey_photo)
    first = next(i for i, t in enumerate(said) if t.startswith("1. Words without end"))
    assert first < said.index("upper log's underside")
    assert said[first + 3].endswith(" ...") and said[first + 4] == "2. Read."
    for line in said[first : first + 5]:
        assert drawing.text_width(line, drawing.TEXT_PX) < drawing.WIDTH_PX


@pytest.mark.parametrize("words", ["280 mm", "12 3/16 ± 1/16 in", "card 2"])
def test_no_line_of_the_picture_parts_a_number_and_its_unit(words):
    for width in range(300, 900, 7):
        lines = drawing.wrapped(f"Long words before it, {words} of it, and after", 42, width, 9)
        assert any(words in line for line in lines), lines


def test_a_bound_says_at_least_and_a_contradiction_no_setting_at_all(said):
    unseen = told("not-seen", "A hole.", 450.0, 650.0)
    draw_picture(joint(status="doubtful", cautions=(unseen,)), grey_photo)
    assert said[0] == "AT LEAST 49 mm"
    assert not any("LOWER BOUND" in t for t in said)
    said.clear()
    draw_picture(joint(status="doubtful", cautions=(unseen, told("misfit", "Off."))), grey_photo)
    assert said[0] == "MEASURE AGAIN"
    assert not any(
        "decides" in t or "49 mm" in t or "47" in t or "Groove" in t or "cover" in t for t in said
    )


def test_inches_everywhere(said):
    draw_picture(joint(cover_mm=76.2), grey_photo, units="in")
    assert not [t for t in said if "mm" in t]
    assert "12" in said and "-24" in said  # stations by the foot


def test_inches_of_the_axes_are_fractions(said):
    draw_picture(joint(cover_mm=76.2), grey_photo, units="in")
    assert "1/2" in said and "1 1/2" in said  # the gap, up to 1 9/16 in
    assert not [t for t in said if re.search(r"\d\.\d", t)]


@pytest.mark.parametrize(
    ("value_mm", "units", "number"),
    [
        (3.175, "in", "1/8"), (38.1, "in", "1 1/2"), (-609.6, "in", "-24"), (0.0, "in", "0"),
        (75.0, "in", "2.953"),  # what is no whole sixteenth is not made one
        (0.5, "mm", "0.5"), (-400.0, "mm", "-400"), (-0.0, "mm", "0"),
    ],
)  # fmt: skip
def test_numbers_of_axes(value_mm, units, number):
    assert axis_number(value_mm, units) == number


@pytest.mark.parametrize(
    ("values", "units", "levels"),
    [
        ([0.0, np.nan, 38.2], "mm", [0, 10, 20, 30, 40]),
        ([31.0, 31.0], "mm", [31, 32]),
        ([-3.0, 25.0], "in", [0, 6.35, 12.7, 19.05, 25.4]),
    ],
)
def test_levels_are_round_and_hold_all_values(values, units, levels):
    np.testing.assert_allclose(round_levels(np.array(values), 5, units), levels)


def test_tall_photograph_and_16_bits_are_shown(said):
    def deep(file):
        return np.full((1000, 1800, 3), 128 * 257, np.uint16)

    shallow = photo(upper_px=np.c_[photo_x([-900, 900]), [30, 30]])  # hard by the upper edge
    picture = draw_picture(joint(photos=(shallow,)), deep)
    assert is_colour(picture[:, LEFT:RIGHT], PAPER).sum() > 100_000


def test_only_the_photograph_that_shows_the_deciding_place_best_is_read():
    aside = photo("aside.jpg", DECIDING_MM - 50, 900.0)
    central = photo("central.jpg", DECIDING_MM - 400, DECIDING_MM + 500)
    elsewhere = photo("elsewhere.jpg", 0.0, 900.0)
    left_out = replace(photo("bad.jpg", DECIDING_MM - 100, DECIDING_MM + 100), used=False)
    read = []

    def load(file):
        read.append(file)
        return grey_photo(file)

    draw_picture(joint(photos=(elsewhere, aside, left_out, central)), load)
    assert read == ["central.jpg"]
    assert best_photo(joint(photos=(elsewhere, left_out))).file == "elsewhere.jpg"
    assert best_photo(joint(photos=(left_out,))) is None


@pytest.mark.parametrize(
    "worse",
    [
        {"height_mm": 330.0},
        {"height_mm": -330.0},
        {"side": "inside"},
        {"hidden": (DECIDING_MM - 100, DECIDING_MM + 100)},
    ],
)
def test_best_photograph_is_level_from_outside_and_shows_the_place_itself(worse):
    central = photo("central.jpg", DECIDING_MM - 400, DECIDING_MM + 400, **worse)
    aside = photo("aside.jpg", DECIDING_MM - 50, 900.0)
    assert best_photo(joint(photos=(central, aside))).file == "aside.jpg"


def test_whole_log_shows_the_deciding_place_and_one_profile_over_all_its_length(said):
    log, read = whole_log(), []

    def load(file):
        read.append(file)
        return grey_photo(file)

    picture = draw_picture(log, load)
    assert read == ["level-6.jpg"]
    curve = is_colour(picture[plot_rows(picture)[0]], drawing.BLUE).any(axis=0)
    first, last = np.flatnonzero(curve[LEFT:RIGHT])[[0, -1]] + LEFT
    # From 20 px inside the panel to 20 px inside it, and the pen is 5 px wide.
    assert (first, last) == (pytest.approx(LEFT + 20, abs=4), pytest.approx(RIGHT - 20, abs=4))
    # What was left out has no bar; rows and cards are named in the order in which they stand.
    assert not [t for t in said if "dark" in t]
    order = ["cards", "1", "7", "above", "level", "below"]
    assert [t for t in said if t in order] == order


def test_photograph_from_inside_says_that_it_is_mirrored(said):
    station = np.arange(-900.0, 901, 5.0)
    mirrored = photo(side="inside", axis_station_mm=-station)
    picture = draw_picture(joint(photos=(mirrored,)), grey_photo)
    assert any("left and right are swapped" in t for t in said)
    # The axis below is the photograph's own, so that marks stay under one another.
    rows = plot_rows(picture)[0]
    marked = is_colour(picture[rows.start - 60 : rows.stop], drawing.WIDEST_COLOUR)
    mark = round(column(-WIDEST_MM))
    assert marked[:, mark - 8 : mark + 9].any()


def test_no_photograph_still_gives_the_numbers_and_tells_the_marks(said):
    picture = draw_picture(joint(photos=()), grey_photo)
    assert picture.shape[1] == drawing.WIDTH_PX
    assert said[0].startswith("SET 49 mm")
    assert said.count("decides the setting") == said.count("widest gap") == 1


def test_photograph_stays_as_it_is_under_the_drawing():
    noise = np.random.default_rng(5).integers(0, 256, (300, RIGHT - LEFT, 3)).astype(np.uint8)
    strip = drawing.stack([drawing.blank(40), drawing.blank(300)])
    strip.photos.append((40, noise))
    drawing.line(strip, [(LEFT, 60), (RIGHT, 60)], drawing.BLACK, 4)
    drawn = pixels_of(strip)[40:, LEFT:RIGHT]
    changed = (drawn != noise).any(axis=(1, 2))
    # A line of 4 px about the pixel's centre 20 rows down: two halves and three wholes.
    np.testing.assert_array_equal(np.flatnonzero(changed), [18, 19, 20, 21, 22])
    assert (drawn[19:22] == 0).all()


def test_the_plot_reaches_to_a_widest_gap_beyond_the_band(said):
    draw_picture(joint(widest_gap=Quantity(75.0, 0.9, 1.8)), grey_photo)
    start = said.index("Gap between the logs (mm)")
    assert said[start - 5 : start] == ["0", "20", "40", "60", "80"]


def test_letters_of_other_countries_are_drawn(said):
    draw_picture(joint(photos=(photo("бревно_łódź.jpg"),)), grey_photo)
    assert "photograph бревно_łódź.jpg" in said


def test_colours_are_the_published_palette_and_differ_in_luminance():
    """Okabe and Ito, Color Universal Design, 2008: the eight colours, as 8-bit RGB."""
    palette = {
        (0, 0, 0), (230, 159, 0), (86, 180, 233), (0, 158, 115),
        (240, 228, 66), (0, 114, 178), (213, 94, 0), (204, 121, 167),
    }  # fmt: skip
    pairs = (
        (drawing.UPPER_COLOUR, drawing.LOWER_COLOUR),
        (drawing.WIDEST_COLOUR, drawing.DECIDING_COLOUR),
    )
    for pair in pairs:
        assert set(pair) <= palette
        light, dark = sorted((luminance(c) for c in pair), reverse=True)
        # Told apart even in grey: by half in luminance, with the glare of a screen (0.05).
        assert (light + 0.05) / (dark + 0.05) > 1.5


def luminance(rgb):
    """Relative luminance, IEC 61966-2-1 (sRGB)."""
    v = np.array(rgb) / 255
    return np.where(v <= 0.04045, v / 12.92, ((v + 0.055) / 1.055) ** 2.4) @ (
        0.2126,
        0.7152,
        0.0722,
    )


@pytest.mark.parametrize("name", ["joint.png", "joint.JPG"])
def test_written_picture_reads_back(tmp_path, read, whole, name):
    write_picture(tmp_path / name, joint())
    back = cv2.imread(str(tmp_path / name))
    assert back.shape == whole.shape
    loss = np.abs(back.astype(int) - whole).mean()
    assert loss == 0 if name.endswith("png") else loss < 4  # 8-bit steps


def test_photograph_is_read_again_from_its_file(tmp_path, read):
    write_picture(tmp_path / "joint.jpg", joint())
    assert read == ["joint.jpg"]


def test_existing_file_is_kept_unless_it_may_be_overwritten(tmp_path, read):
    path = tmp_path / "joint.jpg"
    path.write_bytes(b"mine")
    with pytest.raises(MeasurementError, match="exists already: choose another name") as refusal:
        write_picture(path, joint())
    assert refusal.value.code == "file-exists"
    assert path.read_bytes() == b"mine"
    write_picture(path, joint(), overwrite=True)
    assert path.read_bytes()[:2] == b"\xff\xd8"


def test_file_that_came_into_being_while_drawing_is_kept(tmp_path, monkeypatch):
    path = tmp_path / "joint.png"

    def load(file):
        path.write_bytes(b"mine")
        return SimpleNamespace(bgr=grey_photo(file))

    monkeypatch.setattr("gapvision.answer.picture.picture.load_photo", load)
    with pytest.raises(MeasurementError, match="exists already"):
        write_picture(path, joint())
    assert path.read_bytes() == b"mine"


def test_missing_folder_and_unwritable_place_are_refused(tmp_path, read):
    with pytest.raises(MeasurementError, match="There is no folder .*none") as refusal:
        write_picture(tmp_path / "none" / "joint.png", joint())
    assert refusal.value.code == "no-folder"
    (tmp_path / "folder.png").mkdir()
    with pytest.raises(MeasurementError, match="is a folder: name a file in it") as refusal:
        write_picture(tmp_path / "folder.png", joint(), overwrite=True)
    assert refusal.value.code == "not-written"


def test_other_formats_are_refused_by_name(tmp_path):
    with pytest.raises(ValueError, match=r"\.jpg, \.jpeg, \.png, not 'joint\.gif'"):
        write_picture(tmp_path / "joint.gif", joint())
