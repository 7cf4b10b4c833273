"""Lengths: every form a builder may write, and what must never be guessed."""

import math
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gapvision.lengths import (
    SIXTEENTH_MM,
    U_LINE_MM,
    U_SCRIBED_MM,
    Diameter,
    Reading,
    format_length,
    parse_diameter,
    parse_ends,
    parse_length,
    parse_lengths,
    parse_reading,
    parse_trial,
    round_up,
    units_written,
)
from gapvision.phrases import distance_text, quantity_text
from gapvision.quantity import Quantity

# The inch is 25.4 mm exactly: NIST Special Publication 811 (2008), appendix B.8.
NIST_INCH_MM = Fraction("25.4")


@pytest.mark.parametrize(
    ("text", "inches"),
    [
        ("3in", "3"),
        ("3 in", "3"),
        ("3in.", "3"),
        ("3 inches", "3"),
        ("1 INCH", "1"),
        ('3"', "3"),
        ("3''", "3"),
        ("3\u2033", "3"),
        ("3\u201d", "3"),
        ("2.75in", "2.75"),
        (".5in", "0.5"),
        ("2 1/2in", "2.5"),
        ('2 1/2"', "2.5"),
        ("2-1/2", "2.5"),
        ("2 - 1/2", "2.5"),
        ("1 5/8", "1.625"),
        ("7/8", "0.875"),
        ("  15/16 ", "0.9375"),
        ("-1 1/2", "-1.5"),
        ("-3in", "-3"),
        ("20ft", "240"),
        ("20 FT.", "240"),
        ("20'", "240"),
        ("20\u2032", "240"),
        ("6.5ft", "78"),
        ("1 foot", "12"),
        ("6ft 3in", "75"),
        ("6ft3in", "75"),
        ("6 feet 3 inches", "75"),
        ("6' 3\"", "75"),
        ("6'-3\"", "75"),
        ("6'3''", "75"),
        ("6\u2019 3\u201d", "75"),
        ("6' 3", "75"),
        ("6' 3 1/2\"", "75.5"),
        ("6' 3-1/2", "75.5"),
        ("6' 3/4\"", "72.75"),
        ("6' 0\"", "72"),
        ("-6' 3\"", "-75"),
    ],
)
@pytest.mark.parametrize("units", ["mm", "in"])
def test_inches_are_exact_whatever_the_units(text, inches, units):
    assert parse_length(text, units) == float(Fraction(inches) * NIST_INCH_MM)


def test_every_sixteenth_up_to_six_inches_is_exact():
    for sixteenths in range(1, 97):
        whole, rest = divmod(sixteenths, 16)
        text = f"{whole or ''} {rest}/16" if rest else f"{whole}in"
        assert parse_length(text) == float(Fraction(sixteenths, 16) * NIST_INCH_MM)


@pytest.mark.parametrize(
    ("text", "mm"),
    [("75", 75), ("75mm", 75), ("75 mm", 75), ("75 MM", 75), ("62.5", 62.5), ("-900", -900)],
)
def test_no_unit_and_no_fraction_means_mm(text, mm):
    assert parse_length(text, "mm") == mm


@pytest.mark.parametrize(
    ("text", "mm"),
    [
        ("75mm", 75), ("75cm", 750), ("7.5cm", 75), ("7.5 CM", 75), ("-30cm", -300), ("6m", 6000),
        ("1.2 m", 1200), (".5m", 500),
    ],
)  # fmt: skip
@pytest.mark.parametrize("units", ["mm", "in"])
def test_metric_units_are_exact_whatever_the_units(text, mm, units):
    assert parse_length(text, units) == mm


@pytest.mark.parametrize("text", ["75", "3", "2.5", "-900"])
def test_bare_number_is_refused_where_units_are_inches(text):
    with pytest.raises(ValueError, match=f"has no unit.*write {text}in or {text}mm"):
        parse_length(text, "in")


def test_nought_needs_no_unit():
    assert parse_length("0", "in") == 0


@pytest.mark.parametrize(
    "text",
    ["", " ", "x", "1e3", "nan", "inf", "1/0", "2 1/00", "2 /", "--3", "3in4", "75dm", "1/2ft"]
    + ["9" * 400, "2\u00bd", "\u0663", "6 3 1/2", "6'' 3", "6' ' 3", "3in 6ft", "6 1/2'"],
)
def test_what_is_no_length_is_refused(text):
    with pytest.raises(ValueError, match=r"is not a length: write 75, .*2 1/2in or 6ft 3in\.$"):
        parse_length(text)


@pytest.mark.parametrize(("text", "meant"), [("6 3", "6ft 3in"), ("7 5", "7ft 5in")])
def test_two_bare_numbers_are_never_guessed_to_be_feet_and_inches(text, meant):
    with pytest.raises(ValueError, match=f"is not a length: two numbers need a unit.*as {meant}"):
        parse_length(text)


@pytest.mark.parametrize("text", ["6' 12\"", "6.5' 3\"", "6' 3cm", "6ft 1/0", "6' 3mm", "1' 1 1 "])
def test_feet_and_inches_that_do_not_go_together(text):
    with pytest.raises(ValueError, match="write whole feet and less than 12 inches, as 6ft 3in"):
        parse_length(text)


@pytest.mark.parametrize("text", ["290,310", "75,5", "1,500"])
def test_a_comma_is_never_guessed_to_be_a_decimal_point(text):
    with pytest.raises(ValueError, match="write a point, not a comma"):
        parse_length(text)


@pytest.mark.parametrize(
    ("text", "meant"), [("7,5cm", "7.5cm"), ("1,25 m", "1.25 m"), ("-7,5", "-7.5")]
)
def test_a_decimal_comma_is_answered_with_the_point(text, meant):
    with pytest.raises(ValueError, match=f"write a point, not a comma: {meant}\\.$"):
        parse_length(text)


@pytest.mark.parametrize("unit", ["mm", "cm", "m"])
def test_fraction_of_a_metric_unit_is_refused(unit):
    with pytest.raises(ValueError, match=f"a fraction means inches, write decimals for {unit}"):
        parse_length(f"75 1/2{unit}")


@given(
    st.integers(0, 999), st.integers(0, 11), st.integers(0, 15), st.booleans(),
    st.sampled_from(["{}' {} {}/16\"", "{}ft {} {}/16in", "{}'-{}-{}/16", "{} feet {} {}/16 inches"]),
    st.sampled_from(["mm", "in"]),
)  # fmt: skip
def test_feet_inches_and_sixteenths_are_exact(feet, inches, sixteenths, negative, form, units):
    text = "-" * negative + form.format(feet, inches, sixteenths)
    exact = (12 * feet + inches + Fraction(sixteenths, 16)) * NIST_INCH_MM
    assert parse_length(text, units) == float(-exact if negative else exact)


@given(st.integers(-10_000_000, 10_000_000), st.sampled_from([("mm", 3), ("cm", 4), ("m", 6)]))
def test_metric_lengths_are_exact(micrometres, unit):
    name, decimals = unit
    sign, digits = "-" * (micrometres < 0), f"{abs(micrometres):0{decimals + 1}d}"
    text = f"{sign}{digits[:-decimals]}.{digits[-decimals:]}{name}"
    assert parse_length(text, "in") == float(Fraction(micrometres, 1000))


@given(st.integers(-1920, 1920), st.sampled_from(["mm", "in"]))
def test_what_is_written_reads_back_as_it_was(sixteenths, units):
    """Of inches every sixteenth, of mm every tenth."""
    mm = sixteenths * SIXTEENTH_MM if units == "in" else sixteenths / 10
    written = format_length(mm, units)
    assert parse_length(written, units) == pytest.approx(mm, abs=1e-9)
    assert units_written(written) <= {units}


@given(st.text(st.sampled_from("0123456789 .,-/'\"inftcm@"), max_size=9))
def test_any_text_is_a_length_or_one_sentence(text):
    try:
        assert math.isfinite(parse_length(text))
    except ValueError as error:
        assert str(error).startswith(repr(text.strip())) and str(error).endswith(".")


@pytest.mark.parametrize(
    ("text", "units"),
    [
        ("75", {""}), ("0", set()), ("75mm", {"mm"}), ("7.5cm", {"cm"}), ("6m", {"m"}), ("3in", {"in"}),
        ("20ft", {"in"}), ("6' 3", {"in"}), ("3/8", {"in"}), ("290@-750,310@750", {""}),
        ("12in@0,310mm@75cm", {"in", "mm", "cm"}), ("41.5@widest", {""}), ("1 1/2:78@0~2m", {"in", "", "m"}),
        ("30mm..1 3/4", {"mm", "in"}), ("wide", set()),
    ],
)  # fmt: skip
def test_units_as_they_are_written(text, units):
    assert units_written(text) == units


@pytest.mark.parametrize(
    ("parse", "text", "bare"),
    [
        (parse_diameter, "29,5cm", "29"),
        (parse_diameter, "290@-750,31cm@750", "290"),
        (parse_lengths, "60,7.5cm", "60"),
        (parse_reading, "4.5cm@30", "30"),
        (parse_reading, "1 5/8@1200", "1200"),
        (parse_reading, "4.5cm@30cm~0.5", "0.5"),
        (parse_trial, "4.9:7.8cm@31cm", "4.9"),
    ],
)
def test_a_bare_number_beside_another_unit_is_never_guessed(parse, text, bare):
    with pytest.raises(ValueError, match=f"{bare} has no unit and another has.*{bare}mm"):
        parse(text)


def test_a_bare_number_beside_millimetres_is_one_of_them():
    assert parse_reading("41.5mm@1200") == parse_reading("41.5@1200mm")
    assert parse_diameter("29cm@0,31cm@80cm").points == ((0, 290), (800, 310))


@pytest.mark.parametrize(
    ("text", "units", "points"),
    [
        ("300", "mm", ((None, 300),)),
        ("290,310", "mm", ((None, 290), (None, 310))),
        ("290@-750,310@750", "mm", ((-750, 290), (750, 310))),
        ("290@-750, 300@0, 310@750", "mm", ((-750, 290), (0, 300), (750, 310))),
        ("10in,12in", "in", ((None, 254), (None, 304.8))),
        ("12in@0,310mm@750mm", "in", ((0, 304.8), (750, 310))),
    ],
)
def test_diameters(text, units, points):
    assert parse_diameter(text, units) == Diameter(points)


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("290@-750,310", "a station of its own, or none"),
        ("290@5,310@5", "a station of its own, or none"),
        ("290,300,310", "more than two diameters need stations"),
        ("290,", "'' is not a length"),
        ("290@", "'' is not a length"),
        ("290;310", "is not a length"),
    ],
)
def test_diameters_that_leave_a_question_open(text, why):
    with pytest.raises(ValueError, match=why):
        parse_diameter(text)


def test_bare_diameter_is_refused_where_units_are_inches():
    with pytest.raises(ValueError, match="write 12in or 12mm"):
        parse_diameter("11in,12", "in")


@pytest.mark.parametrize(
    ("text", "reading"),
    [
        ("41.5@1200", Reading(41.5, 1200, 0.5)),
        ("41.5@-1200~0.3", Reading(41.5, -1200, 0.3)),
        ("41.5@widest", Reading(41.5, None, 0.5)),
        ("41.5@Widest~1", Reading(41.5, None, 1.0)),
    ],
)
def test_readings(text, reading):
    assert parse_reading(text) == reading


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("41.5", "say where it was read"),
        ("41.5@", "say where it was read"),
        ("41.5@here", "'here' is not a length"),
        ("41.5@0~", "'' is not a length"),
        ("41.5@0~0", "must be above zero"),
        ("0@0", "must be above zero"),
        ("-3@0", "must be above zero"),
    ],
)
def test_readings_that_say_too_little(text, why):
    with pytest.raises(ValueError, match=why):
        parse_reading(text)


def test_a_reading_s_uncertainty_where_it_states_none():
    assert parse_reading("41.5@0", u_mm=0.7).u_mm == 0.7
    assert parse_reading("41.5@0~0.3", u_mm=0.7).u_mm == 0.3


@pytest.mark.parametrize(
    ("text", "units", "told"),
    [
        ("49:78@310", "mm", (49, 78, 310)),
        ("49:78.5@-310~2", "mm", (49, 78.5, -310)),
        ("49:78@Widest", "mm", (49, 78, None)),
        ("1 15/16in:3in@12 1/2in", "in", (49.2125, 76.2, 317.5)),
        ("1-15/16:3in@0", "in", (49.2125, 76.2, 0)),
    ],
)
def test_trials(text, units, told):
    t = parse_trial(text, units)
    assert (t.setting_mm, t.width_mm, t.station_mm) == told


@pytest.mark.parametrize(("units", "read"), [("mm", 0.289), ("in", 0.458)])
def test_a_trial_s_uncertainty_is_of_the_steps_read_and_the_hand(units, read):
    """The step's share, step / sqrt(12), is the published 0.289 and 0.458 mm."""
    t = parse_trial("49mm:78mm@310mm", units)
    assert t.u_setting_mm == pytest.approx(math.hypot(read, U_SCRIBED_MM), abs=5e-4)
    assert t.u_width_mm == pytest.approx(2**0.5 * math.hypot(read, U_LINE_MM), abs=1e-3)
    assert parse_trial("49mm:78mm@310mm~2mm", units).u_width_mm == 2.0


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("49:78", "say where it was measured"),
        ("49:78@", "say where it was measured"),
        ("78@310", "the points' setting and the width"),
        ("49/78@310", "'49/78@310': give the points' setting and the width"),
        (":78@310", "'' is not a length"),
        ("49:78@310~0", "must be above zero"),
        ("0:78@310", "must be above zero"),
        ("49:-78@310", "must be above zero"),
        ("49:78:80@310", "'78:80' is not a length"),
    ],
)
def test_trials_that_say_too_little(text, why):
    with pytest.raises(ValueError, match=why):
        parse_trial(text)


@pytest.mark.parametrize(
    ("mm", "units", "text"),
    [
        (47.0, "mm", "47 mm"),
        (47.04, "mm", "47 mm"),
        (47.46, "mm", "47.5 mm"),
        (-0.01, "mm", "0 mm"),
        (-310.0, "mm", "-310 mm"),
        (47.625, "in", "1 7/8 in"),
        (76.2, "in", "3 in"),
        (76.0, "in", "3 in"),
        (12.7, "in", "1/2 in"),
        (0.2, "in", "0 in"),
        (-0.2, "in", "0 in"),
        (-38.1, "in", "-1 1/2 in"),
    ],
)
def test_lengths_as_written(mm, units, text):
    assert format_length(mm, units) == text


def test_written_sixteenths_read_back():
    for sixteenths in range(97):
        mm = sixteenths * SIXTEENTH_MM
        assert abs(parse_length(format_length(mm, "in"), "in") - mm) < 1e-12


@pytest.mark.parametrize(
    ("mm", "rounded"), [(57.0, 57), (57.001, 58), (57.999, 58), (0.1 + 0.2 + 56.7, 57)]
)
def test_round_up_to_the_next_millimetre(mm, rounded):
    assert round_up(mm, "mm") == rounded


def test_a_whole_sixteenth_is_not_bumped_by_float_noise():
    for sixteenths in range(1, 97):
        exact = sixteenths * SIXTEENTH_MM
        for noise in (-1e-9, 0.0, 1e-9):
            assert round_up(exact + noise, "in") == exact
        assert round_up(exact + 0.01, "in") == (sixteenths + 1) * SIXTEENTH_MM


@pytest.mark.parametrize("units", ["mm", "in"])
def test_what_is_not_known_is_said_to_be_so(units):
    nan = float("nan")
    assert format_length(nan, units) == distance_text(nan, units) == "unknown"
    assert quantity_text(Quantity(nan, nan, nan), units) == "unknown"


def test_ends_have_no_station_yet():
    assert parse_ends("290,310").points == ((None, 290.0), (None, 310.0))
    assert parse_ends("11 1/2in").points == ((None, 292.1),)
    with pytest.raises(ValueError, match="the left and the right end"):
        parse_ends("290@-750,310@750")
