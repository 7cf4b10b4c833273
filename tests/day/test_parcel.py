"""A joint made ready for another machine is laid out there as it is at home."""

import pickle
from dataclasses import replace
from pathlib import Path

import pytest

from gapvision.day.parcel import at_home, can_travel, laid_out, parcel_of
from gapvision.day.processes import Finished
from gapvision.errors import MeasurementError
from gapvision.inputs.options import MeasureOptions
from gapvision.joint.gather import paths_of
from gapvision.photo.lens.files import camera_folder, camera_paths


@pytest.fixture
def asked(tmp_path, monkeypatch):
    """A joint of two folders with the same names in them, one of them from inside, and a camera file."""
    monkeypatch.chdir(tmp_path)
    for place in ("z/out/1.jpg", "z/out/2.jpg", "a/in/2.jpg", "z/out/notes.txt"):
        path = tmp_path / place
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(place)
    (tmp_path / "lens.toml").write_text("k1 = 0")
    outside = Path("z/out")
    return MeasureOptions(
        (outside,), (outside / "../../a/in",), 80.0, camera=tmp_path / "lens.toml"
    )


def sent(parcel):
    return pickle.loads(pickle.dumps(parcel))


@pytest.mark.parametrize("shared", [False, True])
def test_photographs_lie_there_in_their_order_under_their_names(asked, shared):
    assert can_travel(asked)
    with laid_out(sent(parcel_of(asked, shared))) as (options, home):
        there, here = paths_of(options)[0], paths_of(asked)[0]
        assert [(p.parent.name, p.name, side) for p, side in there] == [
            (p.parent.name, p.name, side) for p, side in here
        ]
        assert [p.read_bytes() for p, _ in there] == [p.read_bytes() for p, _ in here]
        assert [home[str(p)][0] for p, _ in there] == [str(p) for p, _ in here]
        assert options.cover_mm == 80.0 and options.camera.read_text() == "k1 = 0"
        assert options.camera.name == "lens.toml"
    assert not there[0][0].exists()


def test_this_machine_s_cameras_come_along_and_no_other_is_used(asked):
    camera_folder().mkdir(parents=True)
    (camera_folder() / "phone.toml").write_text("width_px = 4")
    parcel = parcel_of(asked)
    (camera_folder() / "phone.toml").rename(camera_folder() / "another.toml")
    with laid_out(sent(parcel)):
        assert [(p.name, p.read_text()) for p in camera_paths()] == [("phone.toml", "width_px = 4")]
    assert [p.name for p in camera_paths()] == ["another.toml"]


def test_what_is_told_names_the_files_of_home(asked):
    with laid_out(parcel_of(asked)) as (options, home):
        path = str(options.inside[0])
        answer = {"measured_at": "2026-05-14T09:00:00+00:00", "photos": [{"file": path}]}
        told = at_home(Finished(answer | {"reason": f"of {path}: dark"}, failed=f"at {path}"), home)
    (given,) = (str(p) for p, side in paths_of(asked)[0] if side == "inside")
    assert told.answer["photos"] == [{"file": given}] and told.failed == f"at {given}"
    assert told.answer["reason"] == f"of {given}: dark"


def test_a_photograph_that_lacks_or_is_empty_keeps_its_joint_at_home(asked, tmp_path):
    assert not can_travel(replace(asked, photos=(tmp_path / "no.jpg",)))
    assert not can_travel(replace(asked, photos=(tmp_path / "empty",)))
    (tmp_path / "z/out/1.jpg").write_bytes(b"")
    assert not can_travel(asked)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda p: p.write_text("other"), "is another file on"),
        (lambda p: p.unlink(), "cannot be read"),
    ],
)
def test_a_shared_photograph_that_is_not_the_same_there_is_one_sentence(
    asked, tmp_path, change, said
):
    parcel = parcel_of(asked, shared=True)
    change(tmp_path / "z/out/1.jpg")
    with pytest.raises(MeasurementError, match=said) as refused, laid_out(parcel):
        pass
    assert "leave --shared out" in refused.value.text


def test_a_photograph_that_was_changed_on_its_way_is_not_measured(asked):
    parcel = parcel_of(asked)
    changed = replace(parcel.photographs[0], content=b"other")
    with (
        pytest.raises(MeasurementError, match=r"1\.jpg was changed on its way"),
        laid_out(replace(parcel, photographs=(changed,))),
    ):
        pass
