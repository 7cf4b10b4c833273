"""All that is decided of a joint, and how it is told."""

import json
import re
from dataclasses import replace

import numpy as np
import pytest
from helpers import joints
from helpers.decisions import STATION, Stacked, decided
from helpers.options import options_with

from gapvision.advice.caution import told
from gapvision.advice.cautions import decision_cautions
from gapvision.answer.as_json import answer_json, measurement_of
from gapvision.answer.caution_text import caution_text
from gapvision.answer.decision_text import details_text
from gapvision.answer.evidence_text import evidence_text
from gapvision.answer.picture.picture import draw_picture
from gapvision.answer.text import answer_text
from gapvision.answer.verdict_text import crayon_line, first_line
from gapvision.cli import main as cli
from gapvision.errors import MeasurementError
from gapvision.inputs.options import MeasureOptions, check_options
from gapvision.inputs.rules import RULES, parse_limit
from gapvision.quantity import Quantity


def even(x):
    return 30.0 + 0.0 * np.asarray(x)


def steep(x):
    return 60.0 + 0.03 * np.asarray(x)


def measured(gap=even, units="mm", status="measured", set_to=60.0, **options):
    """An answer around a decision."""
    d = decided(Stacked(gap), set_to, units=units, **options)
    base = joints.joint(first=-500.0, last=500.0, status=status, set_to_mm=set_to)
    widest = float(gap(STATION).max())
    return replace(
        base,
        cover_mm=76.2,
        widest_gap=Quantity(widest, 0.5, 1.0),
        cautions=decision_cautions(d),
        units=units,
        decision=d,
    )


def line(text, start):
    return next(x for x in text.splitlines() if x.startswith(start))


def test_ready_only_between_stated_notches_that_were_seen():
    assert "READY TO SCRIBE." in answer_text(measured()).splitlines()
    for m in (
        measured(to_mm=None),
        measured(status="doubtful"),
        measured(scriber_largest_mm=30.0, set_to=60.0, gap=lambda x: 12.0 + 0 * x),
        measured(steep, set_to=90.0),
        measured(limits=(parse_limit("width=50mm"),)),
    ):
        assert "READY" not in f"{answer_text(m)}\n{evidence_text(m)}"


def test_lower_first_tells_the_notch_and_no_setting():
    m = measured(steep, set_to=90.0)
    text = answer_text(m)
    # From 45 to 75 mm: the right notch by 30 makes it even at 45.
    assert text.startswith("LOWER FIRST: right notch 30 mm, then measure again\n")
    said = " ".join(text.split())
    assert "Too wide to scribe as it lies: 75.0 ± 1.0 mm" in said
    assert "handbooks fit down to 51 mm." in said
    assert "CRAYON: LOWER FIRST: R 30 | then measure again" in said
    assert not re.search(r"\b(90|56|SET|LOWER IT FIRST|needs)\b", text)
    details = " ".join(evidence_text(m).split())
    assert "Lowering first: deepen the right notch by 30 mm; then widest 45.0 ± " in details
    assert "do not cut to them, it comes down first." in details


def test_crayon_line_tells_to_lower_first():
    both = measured(steep, set_to=90.0, lower_to_mm=40.0)
    assert crayon_line(both) == "CRAYON: LOWER FIRST: L 5, R 35 | then measure again"
    assert first_line(both) == "LOWER FIRST: left notch 5 mm, right 35 mm, then measure again"
    assert measurement_of(answer_json(both)).verdict.notches_mm == (5.0, 35.0)
    inches = measured(steep, "in", set_to=90.0)
    assert crayon_line(inches, "in") == 'CRAYON: LOWER FIRST: R 1 3/16" | then measure again'
    assert first_line(inches, "in") == "LOWER FIRST: right notch 1 3/16 in, then measure again"
    assert "LOWER" not in crayon_line(measured())
    assert measurement_of(answer_json(measured())).verdict.notches_mm == (0, 0)


def test_a_wanted_widest_gap_and_ends_that_are_no_known_notches():
    m = measured(steep, set_to=90.0, lower_to_mm=40.0, to_mm=None)
    assert "The notches are taken at the ends of what was" in " ".join(answer_text(m).split())
    text = " ".join(evidence_text(m).split())
    assert "deepen the left notch by 5 mm, the right one by 35 mm (notches taken at the" in text
    ready = " ".join(evidence_text(measured(lower_to_mm=35.0)).split())
    assert "Lowering not needed, wanted 35 mm." in ready


def test_scriber_too_small_comes_first():
    m = measured(set_to=60.0, scriber_largest_mm=50.0)
    assert first_line(m) == "LOWER FIRST: both notches 10 mm, then measure again"
    assert "Your scriber opens 10 mm too little as the log lies." in answer_text(m)
    text = " ".join(evidence_text(m).split())
    assert "first, by 10 mm or more for your scriber: deepen both notches by 10 mm" in text


def test_a_contradiction_goes_before_lowering_and_what_was_not_seen_does_not():
    unseen = told("not-seen", "A hole.", -300.0, -200.0, doubtful=True)
    misfit = told("misfit", "A misfit.", doubtful=True)
    m = measured(steep, set_to=90.0, status="doubtful")
    low = replace(m, cautions=(unseen,))
    assert first_line(low).startswith("LOWER FIRST")
    assert "As far as seen." in answer_text(low)
    assert first_line(replace(m, cautions=(unseen, misfit))) == "MEASURE AGAIN"


def test_what_follows_in_the_answer():
    text = evidence_text(measured(underscribe_mm=8.0))
    assert line(text, "Log drops").startswith("Log drops         52 mm; groove deepest 30.0 ± ")
    assert line(text, "Notches") == "Notches           set to 52 mm: your underscribe of 8 mm"
    # 12 in logs at 3 in of cover: 3.87 mm of cover for a mm.
    assert "More cover        1 mm of setting buys 3.9 mm; a cover of 86.2 mm" in text
    assert "Notches  " not in evidence_text(measured())


def test_limits_kept_are_one_line_and_broken_ones_cautions():
    kept = measured(limits=(parse_limit("cover=60"),), set_to=42.0)
    assert "Limits            kept: your own" in evidence_text(kept)
    broken = measured(rules="ilba-2000", set_to=60.0)
    (caution,) = broken.cautions
    assert caution.code == "limit-width"
    assert (caution.from_mm, caution.to_mm) == (-500.0, 500.0)
    text = caution_text(caution, broken.cards, "mm")
    assert "more than 3/8 of the upper log's diameter, 114 mm" in text
    assert "Rule ilba-2000, read; local code comes first." in text
    assert "Limits   " not in evidence_text(broken)
    assert not measured(set_to=60.0).cautions  # none is asked for, none is judged


def test_heights_outside_the_stretch_are_cautioned():
    m = measured(heights_at_mm=(0.0, 900.0))
    assert [c.code for c in m.cautions] == ["height-outside"]
    assert [h.station_mm for h in m.decision.course.heights] == [-500.0, 0.0, 500.0]


@pytest.mark.parametrize("units", ["mm", "in"])
@pytest.mark.parametrize("gap", [even, steep])
def test_no_line_is_wider_than_a_terminal(units, gap):
    m = measured(
        gap, units, rules="ilba-2000", limits=(parse_limit("log=400mm"),), underscribe_mm=6.35,
        heights_at_mm=(0.0, 2000.0), covers_mm=(50.8, 101.6), set_to=90.0,
    )  # fmt: skip
    text = "\n".join(tell(m, units) for tell in (answer_text, evidence_text, details_text))
    assert max(map(len, text.splitlines())) <= 80
    for said in ("Other covers", "Along the log", "What follows", "Limits", "Local code comes before",
                 "No published table gives an underscribe"):  # fmt: skip
        assert said in " ".join(text.split())


def test_details_without_limits_or_lowering():
    text = " ".join(details_text(measured()).split())
    assert "Deepening a notch makes the gap hardly evener." in text
    assert "None asked for: --rules names a published set" in text


def test_an_answer_without_a_decision_has_none():
    m = joints.joint()
    assert answer_json(m)["decision"] is None
    assert details_text(m) == ""
    assert "READY" not in answer_text(m)


def test_json_of_a_decision():
    m = measured(steep, set_to=90.0, rules="ilba-2000", heights_at_mm=(0.0,), covers_mm=(60.0,))
    d = json.loads(json.dumps(answer_json(m)["decision"], allow_nan=False))
    assert list(d) == ["lowering", "covers", "course", "along", "rules", "limits"]
    assert (d["lowering"]["ready"], d["lowering"]["right_mm"]) == (False, 30.0)
    assert [row["cover_mm"] for row in d["covers"]] == [60.0, 76.2]
    assert d["course"]["drop_mm"] == 90.0
    assert len({len(values) for values in d["along"].values()}) == 1
    assert [x["what"] for x in d["limits"]] == ["cover", "run", "width", "depth", "log", "log"]


def whole(units="mm", **options):
    """A decision that has something in all of its parts."""
    return measured(
        steep, units, rules="ilba-2000", limits=(parse_limit("log=400mm"),), underscribe_mm=6.35,
        heights_at_mm=(0.0, 2000.0), set_to=90.0, **options,
    )  # fmt: skip


@pytest.mark.parametrize("units", ["mm", "in"])
@pytest.mark.parametrize("m", [whole, measured], ids=["whole", "least"])
def test_a_decision_read_back_is_told_as_it_was(m, units):
    m = m(units=units)
    written = json.loads(json.dumps(answer_json(m)))
    back = measurement_of(written)
    assert answer_json(back) == written
    assert crayon_line(back, units) == crayon_line(m, units)
    assert answer_text(back, units) == answer_text(m, units)
    said, again = (evidence_text(x, units).splitlines() for x in (m, back))
    # U95 of the narrowest groove is not in the JSON: 1.96 u instead of the draws' 95 %.
    assert [a for a in again if not a.startswith("Narrowest")] == [
        t for t in said if not t.startswith("Narrowest")
    ]
    # But for digits: the JSON has four decimals, and the groove's width from the profile, which this
    # made-up joint has of its own.
    details = (re.sub(r"[\d./ ]+", "#", details_text(x, units)) for x in (m, back))
    assert next(details) == next(details)
    assert back.decision.heights_outside_mm == m.decision.heights_outside_mm


@pytest.mark.parametrize(
    ("options", "asked"),
    [({}, False), ({"units": "in"}, False), ({"covers_mm": (60.0, 90.0)}, True)],
)
def test_whether_covers_and_a_gap_were_asked_for_is_seen_in_the_numbers(options, asked):
    m = measured(steep, set_to=90.0, **options)
    d = measurement_of(answer_json(m)).decision
    assert d.covers.asked == m.decision.covers.asked == asked
    assert not d.lowering.wanted.stated
    wanted = measured(steep, set_to=90.0, lower_to_mm=40.0)
    assert measurement_of(answer_json(wanted)).decision.lowering.wanted.stated


def test_the_groove_s_width_along_the_log_is_read_from_the_profile():
    written = answer_json(measured())
    width = written["profile"]["groove_width_mm"]
    width[3:5] = None, None  # not seen, and so not among the decision's stations
    for row in written["decision"]["along"].values():
        del row[3:5]
    back = measurement_of(written).decision
    assert back.groove_width_mm == pytest.approx([w for w in width if w is not None])


@pytest.mark.parametrize("lost", ["lowering", "covers", "course", "along", "rules", "limits"])
def test_a_decision_that_lacks_a_part_tells_the_others(lost):
    written = answer_json(whole())
    del written["decision"][lost]
    back = measurement_of(written)
    assert answer_text(back).startswith("LOWER FIRST") == (lost != "lowering")
    text = evidence_text(back)
    assert ("Log drops" in text) == (lost != "course")
    assert ("More cover" in text) == (lost != "covers")
    assert (details_text(back) == "") == (lost in ("lowering", "course"))
    again = answer_json(back)["decision"]
    assert not again[lost] or lost in ("along", "rules")


def test_a_scriber_of_which_a_file_does_not_tell_how_far_it_opens_is_still_told():
    written = answer_json(measured(set_to=60.0, scriber_largest_mm=50.0))
    written["decision"]["lowering"]["scriber_least_mm"] = None
    back = measurement_of(written)
    assert "Your scriber opens too little as the log lies." in answer_text(back)
    text = " ".join(evidence_text(back).split())
    assert "first for your scriber: deepen both notches by 10 mm" in text


@pytest.mark.parametrize(
    ("options", "code"),
    [
        ({"lower_to_mm": 5.0}, "bad-lower-to"),
        ({"lower_to_mm": 500.0}, "bad-lower-to"),
        ({"underscribe_mm": -1.0}, "bad-underscribe"),
        ({"underscribe_mm": 60.0}, "bad-underscribe"),
        ({"covers_mm": (60.0, 0.0)}, "bad-cover"),
        ({"covers_mm": (900.0,)}, "bad-cover"),
        ({"limits": (parse_limit("cover=2"),)}, "bad-limit"),
        ({"limits": (parse_limit("cover=100in"),)}, "bad-limit"),
        ({"limits": (parse_limit("run=300"),)}, "run-without-cover"),
    ],
)
def test_options_that_no_joint_can_have(options, code):
    check_options(MeasureOptions(photos=()))
    with pytest.raises(MeasurementError) as caught:
        check_options(options_with(**options))
    assert caught.value.code == code


def test_options_as_they_are_typed(asked, plain_terminal):
    from typer.testing import CliRunner

    def run(*args):
        return CliRunner().invoke(cli.app, ["measure", "a.jpg", *args])

    result = run(
        "--lower-to", "2in", "--covers", "60mm,75mm,3 1/2in", "--rules", "ilba-2000", "--limit",
        "width=3/8", "--limit", "cover=60", "--heights-at", "-500,500", "--underscribe", "6",
        "--details", "--units", "mm",
    )  # fmt: skip
    assert result.exit_code == 0, result.output
    o = asked[0].to_decide
    assert (o.lower_to_mm, o.covers_mm, o.rules) == (50.8, (60.0, 75.0, 88.9), "ilba-2000")
    assert [r.what for r in o.limits] == ["width", "cover"]
    assert (o.heights_at_mm, o.underscribe_mm) == ((-500.0, 500.0), 6.0)
    for bad in (
        ("--rules", "mine"),
        ("--limit", "60"),
        ("--covers", "60;75"),
        ("--units", "in", "--lower-to", "2"),
    ):
        assert run(*bad).exit_code == 2


def test_rules_are_all_named_in_the_help():
    from typer.testing import CliRunner

    shown = " ".join(CliRunner().invoke(cli.app, ["measure", "--help"]).stdout.split())
    assert all(name in shown.replace("- ", "-") for name in RULES)


def test_picture_shows_the_lowered_gap_and_the_covers_asked_for(said):
    picture = np.zeros(joints.PHOTO_SHAPE, np.uint8)
    plain = draw_picture(measured(), lambda _: picture)
    assert not any("other covers" in t or "LOWER" in t for t in said)
    asked = draw_picture(measured(covers_mm=(60.0, 90.0)), lambda _: picture)
    assert len(asked) > len(plain) + 400
    assert "Setting for other covers, and what to set (mm)" in said
    said.clear()
    draw_picture(measured(steep, set_to=90.0, covers_mm=(60.0, 90.0)), lambda _: picture)
    assert said[:2] == ["LOWER FIRST", "right notch 30 mm, then measure again"]
    assert "gap with the notches deepened" in said
    # No setting, nor a groove or other covers that are cut at one.
    assert not any(re.search(r"\b(90|56) mm|other covers|Groove", t) for t in said)
    assert not any("decides" in t for t in said)


def test_covers_too_close_to_be_numbered_leave_the_number_of_the_wanted_one(said):
    picture = np.zeros(joints.PHOTO_SHAPE, np.uint8)
    m = measured(covers_mm=(60.0, 75.0, 90.0))
    draw_picture(m, lambda _: picture)
    start = next(i for i, t in enumerate(said) if "other covers" in t)
    settings = {r.cover_mm: r.set_to_mm for r in m.decision.covers.rows}
    numbers = [t for t in said[start:] if t.endswith(" mm") and "wanted" not in t]
    assert numbers == [f"{settings[c]:g} mm" for c in (60.0, 76.2, 90.0)]
