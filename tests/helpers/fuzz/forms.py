"""TOML that lies in folders: preferences, cameras, a joint's form, a field test's."""

from __future__ import annotations

import dataclasses
import math
from contextlib import contextmanager
from pathlib import Path
from unittest.mock import patch

import tomlkit
from helpers.fuzz.entrance import Entrance, mutated, odd_texts, odd_values
from hypothesis import strategies as st

from gapvision.errors import MeasurementError
from gapvision.inputs import field_test, joint_form, preferences
from gapvision.inputs.options import MeasureOptions, check_options
from gapvision.photo.facts import PhotoFacts
from gapvision.photo.lens.files import NEEDED, read_camera
from gapvision.photo.lens.prior import choose_lens

_DEEP = (
    b"a = " + b"[" * 2000,
    b"a = " + b"{b = " * 2000,
    b"[" + b"a." * 2000 + b"b]",
    b"\xff\xfe\0a",
)

_PREFERENCES = {
    "units": "in", "cover_mm": 76.0, "scriber_largest_mm": 150.0, "scriber_step_mm": 1.0,
    "printed_bar_mm": 99.4, "camera": "phone.toml", "printed_bars": {"blue": 99.1},
}  # fmt: skip
_CAMERA = {
    "format": "gapvision-camera", "version": 1, "focal_px": 3100.0, "u_focal_px": 6.0, "k1": 0.02,
    "u_k1": 0.004, "width_px": 4032, "height_px": 3024, "distance_mm": 600.0, "make": "Own",
    "model": "One", "lens": "wide", "focal35_mm": 26,
}  # fmt: skip
_JOINT = {
    "building": "Barn", "wall": "north", "log": "3", "cover": 76, "upper_diameter": "290,310",
    "lower_diameter": 320, "from": -700, "to": "27 1/2in", "card_on": "lower", "inside": ["in1.jpg"],
    "inside_cards": [5, 6], "wall_thickness": 330,
}  # fmt: skip
_FIELD_TEST = {
    "format": field_test.FORMAT, "version": 1, "who": "", "cover": 76, "card_on": "upper",
    "printed_bar": 100, "from": -700, "to": 700, "upper_diameter": "290@-700,310@700",
    "u_reading": 0.3, "u_station": 3, "readings": [[-600, 31.5, 0.3], [-450, 33.0]],
    "widest": [310, 41.5, 0.3], "trials": [[310, 49, 78, 1.5]], "photos": ["."],
}  # fmt: skip


@st.composite
def _changed(draw, base: dict) -> bytes:
    """The form with some values odd, some keys missing, new or misspelt; or its bytes damaged."""
    if draw(st.integers(0, 9)) == 0:
        return draw(st.sampled_from(_DEEP))
    values = dict(base)
    for _ in range(draw(st.integers(1, 3))):
        key = draw(st.one_of(st.sampled_from(sorted(base)), odd_texts))
        if draw(st.booleans()):
            values[key] = draw(odd_values)
        else:
            values.pop(key, None)
    try:
        text = tomlkit.dumps(values).encode()
    except Exception:  # what TOML itself cannot hold, as null
        text = repr(values).encode(errors="replace")
    return draw(mutated(text, edits=2)) if draw(st.integers(0, 3)) == 0 else text


@contextmanager
def user_folder(folder: Path):
    """The user's own folder is this one."""
    with patch.dict("os.environ", {"GAPVISION_CONFIG_DIR": str(folder)}):
        yield


def _check_preferences(content: bytes, folder: Path) -> None:
    (folder / "preferences.toml").write_bytes(content)
    with user_folder(folder):
        try:
            stated = preferences.load_preferences()
        except MeasurementError as error:
            assert error.text
            return
        for key in preferences.LIMITS_MM:
            value = getattr(stated, key)
            assert value is None or (math.isfinite(value) and value > 0)
        preferences.preferences_text(stated, folder / "preferences.toml")


def _check_camera(content: bytes, folder: Path) -> None:
    path = folder / "cameras" / "phone.toml"
    path.parent.mkdir()
    path.write_bytes(content)
    photo = PhotoFacts(
        path, "0" * 64, 4032, 3024, 3100.0, 100.0, "exif", "Own", "One", "wide", 26.0, None, None
    )
    with user_folder(folder):
        lens, _ = choose_lens(photo)
        assert 0 < lens.focal_px < math.inf and 0 < lens.u_focal_px < math.inf
        assert math.isfinite(lens.k1) and 0 < lens.u_k1 < math.inf
    try:
        camera = read_camera(path)
    except MeasurementError as error:
        assert error.text
        return
    for name in (*NEEDED, "distance_mm"):
        value = getattr(camera, name)
        assert value is None or math.isfinite(value)
    assert camera.focal_px > 0 and camera.u_focal_px > 0 and camera.width_px > 0
    if camera.key is not None:
        assert camera.key.width_px > 0 and camera.key.height_px > 0


def _check_joint(content: bytes, folder: Path) -> None:
    (folder / joint_form.FORM).write_bytes(content)
    try:
        form = joint_form.load_joint_form(folder)
        options = joint_form.with_form(MeasureOptions(photos=(folder,)), form)
        check_options(options)
    except MeasurementError as error:
        assert error.text
        return
    _finite(options)


def _check_field_test(content: bytes, folder: Path) -> None:
    path = folder / field_test.FORM
    path.write_bytes(content)
    try:
        form = field_test.load_field_test(path)
    except MeasurementError as error:
        assert error.text
        return
    _finite(form)


def _finite(value: object) -> None:
    if isinstance(value, float):
        assert math.isfinite(value)
    elif isinstance(value, tuple):
        for part in value:
            _finite(part)
    elif dataclasses.is_dataclass(value):
        for field in dataclasses.fields(value):
            _finite(getattr(value, field.name))


ENTRANCES = {
    "preferences.toml": Entrance(_changed(_PREFERENCES), _check_preferences, 40),
    "cameras/phone.toml": Entrance(_changed(_CAMERA), _check_camera, 40),
    "joint.toml": Entrance(_changed(_JOINT), _check_joint, 40),
    "field_test.toml": Entrance(_changed(_FIELD_TEST), _check_field_test, 40),
}
