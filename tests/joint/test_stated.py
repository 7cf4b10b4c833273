"""Diameters and --card-on that the photographs contradict: named as what they likely are."""

from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest
from helpers.demo import FOLDER, TRUTH, options
from helpers.simulator import PROTOCOLS, draw_joint, fit
from PIL import Image

from gapvision.answer.caution_text import caution_text
from gapvision.errors import JointNotFitted, MeasurementError
from gapvision.inputs.diameters import radius_along
from gapvision.inputs.options import MeasureOptions, check_options
from gapvision.joint.gather import gather_photos
from gapvision.joint.stated import (
    EXCHANGED,
    GIRTH,
    RADIUS,
    Contradicted,
    _check_hung,
    check_stated,
    contradicted,
)
from gapvision.lengths import parse_diameter
from gapvision.photo.cards import find_cards
from gapvision.photo.lens.prior import choose_lens
from gapvision.photo.photo import load_photo
from gapvision.photo.pose import card_pose
from gapvision.scene.card import outline_mm
from gapvision.scene.priors import Beliefs, Priors
from gapvision.spine import measure

LEVEL = TRUTH["files"][0]


def gathered(**stated):
    asked = {k: parse_diameter(v) if "diameter" in k else v for k, v in stated.items()}
    return gather_photos(MeasureOptions(photos=(FOLDER / LEVEL,), **asked), Priors(), None)


# --- the log that the cards hang on, by one photograph --------------------------------------------


@pytest.mark.parametrize(
    ("stated", "likely"),
    [
        ("855", "Is that its girth? Then it is 272 mm thick."),
        ("136", "half of it? Then write 272."),
    ],
)
def test_a_girth_or_a_radius_of_the_cards_log_is_refused(stated, likely):
    """It is 272 mm thick."""
    with pytest.raises(JointNotFitted, match="widest point, it is about 2[678]0 mm") as caught:
        gathered(upper_diameter=stated)
    assert caught.value.code == "bad-diameter" and likely in caught.value.text
    assert "cloth" not in caught.value.text


@pytest.mark.parametrize("stated", ["272", "250", "300"])
def test_a_diameter_taped_roughly_is_let_pass(stated):
    assert len(gathered(upper_diameter=stated).photos) == 1


@pytest.mark.parametrize(
    ("stated_mm", "likely"),
    [(60.0, None), (75.0, None), (188.0, "Is that its girth?"), (30.0, "half of it?"), (110.0, "")],
)
def test_an_odd_size_is_refused_only_where_the_card_shows_another(stated_mm, likely):
    """A log 120 mm thick is odd, and may be one."""
    if likely is None:
        return _check_hung("upper", stated_mm, 60.0)
    with pytest.raises(JointNotFitted, match="about 120 mm") as caught:
        _check_hung("upper", stated_mm, 60.0)
    assert likely in caught.value.text and ("Is that" in caught.value.text) == bool(likely)


def test_cards_that_stand_free_tell_nothing_of_a_diameter():
    """As where they are stated to hang, and hang elsewhere, half of the pictures are looked at again."""
    asked = MeasureOptions(photos=(), card_on="free")

    def looked_at():
        raise AssertionError("a photograph was looked at")
        yield

    check_stated(looked_at(), 0.0, asked, {"upper": lambda x: 30.0 + 0 * x, "lower": None})


def test_cards_on_the_upper_log_stated_on_the_lower():
    with pytest.raises(JointNotFitted, match="the gap is below the card") as caught:
        gathered(card_on="lower")
    assert caught.value.code == "bad-card-on" and "--card-on upper" in caught.value.text


def cards_on_the_lower_log(file):
    """The level photograph with its cards moved down to the lower log, wood where they were."""
    photo = load_photo(FOLDER / LEVEL)
    lens, _ = choose_lens(photo.facts, None)
    size, moved = photo.facts.size, photo.bgr.copy()
    rim = np.c_[1.05 * (outline_mm() + [0, 47.0]) - [0, 47.0], np.zeros(4)]
    for s in find_cards(photo.bgr, LEVEL):
        camera = card_pose(s, lens, size)
        card, beside, lower = (
            camera.project(rim + at) for at in ([0, 0, 0], [330, 0, 0], [0, -308, 0])
        )
        for source, target in ((beside, card), (card, lower)):
            warp = cv2.getPerspectiveTransform(np.float32(source), np.float32(target))
            mask = np.zeros(size[::-1], np.uint8)
            cv2.fillConvexPoly(mask, np.rint(target).astype(np.int32), 1)
            moved[mask > 0] = cv2.warpPerspective(photo.bgr, warp, size)[mask > 0]
    with Image.open(FOLDER / LEVEL) as original:
        exif = original.getexif()
    Image.fromarray(moved[..., ::-1]).save(file, quality=95, exif=exif)
    return file


def test_cards_on_the_lower_log_with_card_on_forgotten(tmp_path):
    asked = MeasureOptions(photos=(cards_on_the_lower_log(tmp_path / "lower.jpg"),))
    with pytest.raises(
        JointNotFitted, match="the gap is above the card.* add --card-on lower"
    ) as caught:
        gather_photos(asked, Priors(), None)
    assert caught.value.code == "bad-card-on" and "cloth" not in caught.value.text
    assert len(gather_photos(replace(asked, card_on="lower"), Priors(), None).photos) == 1


# --- after the fit --------------------------------------------------------------------------------


def looked_at(seed, upper=1.0, lower=1.0, swap=False):
    """What is said of a simulated joint from three heights whose diameters were stated otherwise."""
    joint = draw_joint(np.random.default_rng(seed), PROTOCOLS["heights"])
    fitted = fit(joint)
    at = np.zeros(1)
    true = {log: 2 * float(joint.stated[log](at)[0]) for log in ("upper", "lower")}
    said = dict(zip(true, reversed(true.values()), strict=True)) if swap else true
    mm = {"upper": said["upper"] * upper, "lower": said["lower"] * lower}
    half = {log: radius_along(parse_diameter(f"{d:.0f}"), (0, 1)) for log, d in mm.items()}
    beliefs = Beliefs(joint.lenses, half, Priors())
    return true, contradicted(fitted, beliefs, MeasureOptions(photos=(), card_on=joint.hung_on))


@pytest.mark.parametrize("seed", range(4))
def test_right_diameters_are_not_contradicted(seed):
    assert looked_at(seed)[1] == ()


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize(("times", "meant"), [(np.pi, GIRTH), (0.5, RADIUS)])
def test_a_girth_or_a_radius_of_the_upper_log(seed, times, meant):
    true, found = looked_at(seed, upper=times)
    assert [(c.log, c.meant) for c in found] == [("upper", meant)]
    assert found[0].shown_mm == pytest.approx(true["upper"], rel=0.15)


@pytest.mark.parametrize("seed", range(3))
def test_a_girth_of_the_lower_log(seed):
    _, found = looked_at(seed, lower=np.pi)
    assert [(c.log, c.meant) for c in found] == [("lower", GIRTH)]


def test_logs_exchanged():
    """Where they differ by more than the photographs know; of those nearer none is called so wrongly."""
    met = 0
    for seed in range(20):
        true, found = looked_at(seed, swap=True)
        if abs(true["upper"] - true["lower"]) > 60:
            met += 1
            assert [c.meant for c in found] == [EXCHANGED]
        assert all(c.meant == EXCHANGED for c in found)
    assert met >= 2


@pytest.mark.parametrize(
    ("found", "units", "said"),
    [
        (
            Contradicted("lower", 942.0, 310.0, GIRTH),
            "mm",
            "Is that its girth? Then it is 300 mm thick.",
        ),
        (
            Contradicted("upper", 150.0, 310.0, RADIUS),
            "in",
            "Is that half of it? Then it is 11 13/16 in",
        ),
        (
            Contradicted("upper", 330.0, 260.0, EXCHANGED),
            "mm",
            "The two logs' diameters seem exchanged",
        ),
        (
            Contradicted("upper", 500.0, 310.0, "untold"),
            "mm",
            "shows? about 310 mm. Correct --upper",
        ),
    ],
)
def test_what_is_said_of_it(found, units, said):
    from gapvision.advice.caution import Caution

    text = caution_text(Caution("diameter-contradicted", facts={"found": found}), (), units)
    assert said.replace("shows? ", "show ") in text


def test_a_girth_of_the_lower_log_makes_the_answer_doubtful():
    m = measure(options(LEVEL, lower_diameter=parse_diameter("1000")))
    (told,) = [c for c in m.cautions if c.code == "diameter-contradicted"]
    assert m.status == "doubtful" and told.facts["found"].meant == GIRTH


def test_right_ones_do_not():
    m = measure(options(LEVEL))
    assert "diameter-contradicted" not in [c.code for c in m.cautions]


# --- before any photograph is read ----------------------------------------------------------------


def test_a_decimal_comma():
    asked = MeasureOptions(photos=(Path("a.jpg"),), upper_diameter=parse_diameter("290,5"))
    with pytest.raises(MeasurementError, match="Write 290.5, with a point") as caught:
        check_options(asked)
    assert caught.value.code == "bad-diameter"
    check_options(replace(asked, upper_diameter=parse_diameter("290,305")))
    with pytest.raises(MeasurementError, match="that many inches"):
        check_options(replace(asked, upper_diameter=parse_diameter("12,13")))


def test_inches_without_their_unit_are_told_as_they_were_typed():
    """The hint is copied: another number than the builder's would be measured with."""
    asked = MeasureOptions(photos=(Path("a.jpg"),), upper_diameter=parse_diameter("11.4"))
    with pytest.raises(MeasurementError, match=r"stated as 11\.4 mm .*write 11\.4in"):
        check_options(asked)
