"""What a person states once: one TOML file in the user's own folder."""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, fields
from pathlib import Path

from gapvision.errors import MeasurementError
from gapvision.files import read_regular
from gapvision.inputs.mistakes import likely_unit
from gapvision.inputs.options import LEAST_COVER_MM, PRINTED_BAR_MM
from gapvision.inputs.user_folder import config_folder, write_text
from gapvision.lengths import Units, format_length, parse_length

BARS = "printed_bars"
HEADING = "What gapvision preferences were told; correct or remove it freely."
MOST_BYTES = 1_000_000  # of a file that has a dozen lines
# Least and largest of each length, mm: beyond them it is a slip of the pen.
LIMITS_MM = {
    "cover_mm": (LEAST_COVER_MM, 400.0),
    "scriber_largest_mm": (20.0, 400.0),
    "scriber_step_mm": (0.1, 10.0),
    "printed_bar_mm": PRINTED_BAR_MM,
}
MEANING = {
    "units": "units",
    "cover_mm": "usual cover",
    "scriber_largest_mm": "scriber's largest opening",
    "scriber_step_mm": "scriber's finest step",
    "printed_bar_mm": "printed bar",
    "camera": "camera file",
}


@dataclass(frozen=True, slots=True)
class Preferences:
    """What was stated, None for what was not; ``printed_bars`` is by the name of a printed batch."""

    units: Units | None = None
    cover_mm: float | None = None
    scriber_largest_mm: float | None = None
    scriber_step_mm: float | None = None
    printed_bar_mm: float | None = None
    camera: str | None = None
    printed_bars: Mapping[str, float] = field(default_factory=dict)


KEYS = tuple(f.name for f in fields(Preferences) if f.name != BARS)


def preferences_path() -> Path:
    """The file, which need not be there yet."""
    return config_folder() / "preferences.toml"


def load_preferences() -> Preferences:
    """What the file says; nothing where there is none.

    Raises
    ------
    MeasurementError
        ``bad-preferences``: a value that cannot be, by its key; a file that is empty or cannot be
        read. Defaults in its place would be a wrong number that nobody notices.
    """
    path = preferences_path()
    text = _written(path)
    if text is None:
        return Preferences()  # as mostly, and then nothing need be loaded to read it
    import tomllib

    try:
        values = tomllib.loads(text)
    except ValueError as error:
        raise _bad(path, str(error)) from None
    except RecursionError:
        raise _bad(path, "it is nested too deeply") from None
    bars = values.pop(BARS, {})
    unknown = sorted(set(values) - set(KEYS))
    if unknown:
        raise _bad(path, f"unknown key {unknown[0]}")
    if not isinstance(bars, dict):
        raise _bad(path, f"{BARS} are names with lengths, as {{blue = 99.4}}, not {bars!r}")
    try:
        for key, value in values.items():
            check_preference(key, value)
        for value in dict(bars).values():
            check_preference("printed_bar_mm", value)
    except (TypeError, ValueError) as error:
        raise _bad(path, str(error).rstrip(".")) from None
    return Preferences(**values, printed_bars=bars)


def check_preference(key: str, value: object) -> None:
    """Refuse a value that cannot be.

    Raises
    ------
    ValueError
        With the key's meaning and what is possible.
    """
    what = MEANING[key]
    if key == "units" and value not in ("mm", "in"):
        raise ValueError(f"the {what} are mm or in, not {value!r}.")
    if key == "camera" and not isinstance(value, str):
        raise ValueError(f"the {what} is a file's name, not {value!r}.")
    if key in LIMITS_MM:
        low, high = LIMITS_MM[key]
        likely = ""
        if isinstance(value, int | float) and not isinstance(value, bool):
            if low <= value <= high:  # which no NaN is
                return
            likely = likely_unit(value, (low, high)) if abs(value) < 1e6 else ""
        raise ValueError(f"the {what} is from {low:g} to {high:g} mm, not {value!r:.20}{likely}.")


def option_of(key: str) -> str:
    """The command line's name of a key: ``--scriber-step`` of ``scriber_step_mm``."""
    return "--" + key.removesuffix("_mm").replace("_", "-")


def key_of(name: str, preferences: Preferences) -> str:
    """The key that a name on the command line means, or the name of a printed batch.

    Raises
    ------
    ValueError
        Where there is neither.
    """
    by_name = {option_of(key).removeprefix("--"): key for key in KEYS}
    if name.removeprefix("--") in by_name:
        return by_name[name.removeprefix("--")]
    if name in preferences.printed_bars:
        return name
    raise ValueError(f"{name!r} is none of {', '.join([*by_name, *preferences.printed_bars])}.")


def change_preferences(
    changes: Mapping[str, object], bars: Mapping[str, float], forgotten: Sequence[str] = ()
) -> Path:
    """Set and forget what is named; all else in the file stays, comments too.

    Parameters
    ----------
    changes : mapping
        New values by key, checked before.
    bars : mapping
        Printed bars, mm, by the name of a batch.
    forgotten : sequence of str
        Keys, or names of batches.

    Raises
    ------
    MeasurementError
        ``bad-preferences`` where the file cannot be read, ``not-written`` if the disk refuses.
    """
    import tomlkit

    path = preferences_path()
    load_preferences()  # a file that somebody broke is not made worse
    doc = tomlkit.parse(_written(path) or f"# {HEADING}\n")
    batches = doc.pop(BARS, tomlkit.table())  # a key added after a table would belong to it
    for key in forgotten:
        (doc if key in KEYS else batches).pop(key, None)
    doc.update(changes)
    batches.update(bars)
    if batches:
        doc[BARS] = batches
    text = tomlkit.dumps(doc)
    # An empty file is what a write that failed leaves; one of which all was forgotten is not that.
    write_text(path, text if text.strip() else f"# {HEADING}\n", "the preferences", overwrite=True)
    return path


def printed_bar_of(text: str, preferences: Preferences) -> float:
    """A printed bar, mm, from what was typed: a length, or the name of a remembered batch.

    Raises
    ------
    ValueError
        Where it is neither.
    """
    if text in preferences.printed_bars:
        return float(preferences.printed_bars[text])
    try:
        return parse_length(text)  # mm whatever the units of the joint: the bar has 100 of them
    except ValueError:
        names = ", ".join(preferences.printed_bars)
        known = f"; remembered are {names}" if names else ""
        raise ValueError(f"{text!r} is not a length, nor a remembered print{known}.") from None


def parse_bar(text: str) -> tuple[str | None, float]:
    """A batch's name, None where there is none, and its bar in mm, from ``99.4`` or ``blue=99.4``.

    Raises
    ------
    ValueError
        Where the bar is no length or cannot be, or the name would be read as a length.
    """
    name, named, value = text.rpartition("=")
    mm = parse_length(value)
    check_preference("printed_bar_mm", mm)
    if not named:
        return None, mm
    name = name.strip()
    try:
        parse_length(name)
    except ValueError:
        if name:
            return name, mm
    raise ValueError(f"{name!r} cannot name a print: give it a word, as in blue=99.4.")


def preferences_text(preferences: Preferences, path: Path, units: str = "mm") -> str:
    """The preferences for people, in the units that they prefer, else in these."""
    p, units = preferences, preferences.units or units
    lines = [f"Preferences: {path}"]
    for key in KEYS:
        value = getattr(p, key)
        if value is None:
            shown = "not stated"
        elif key in LIMITS_MM and key != "printed_bar_mm":
            shown = _length(value, units)
        else:
            shown = f"{value:g} mm" if isinstance(value, float | int) else str(value)
        lines.append(f"  {MEANING[key]:27}{shown}")
    for name, mm in p.printed_bars.items():
        lines.append(f"  {'printed bar of ' + name:27}{mm:g} mm")
    return "\n".join(lines)


def _length(mm: float, units: str) -> str:
    """A length in the person's units; in mm where sixteenths would hide it."""
    text = format_length(mm, units)
    return text if units == "mm" or abs(parse_length(text) - mm) < 0.01 else f"{mm:g} mm"


def _written(path: Path) -> str | None:
    """What the file says; None where there is none, and only then: not where it cannot be had."""
    try:
        folder = path.parent
        if folder.is_symlink() and not folder.exists():
            raise _bad(path, f"{folder} leads to nothing")
        os.lstat(path)
    except FileNotFoundError:
        return None
    except OSError as error:
        raise _bad(path, error.strerror or str(error)) from None
    try:
        text = read_regular(path, MOST_BYTES).decode("utf-8")
    except OSError as error:
        raise _bad(path, error.strerror or str(error)) from None
    except ValueError as error:
        raise _bad(path, str(error)) from None
    if not text.strip():
        raise MeasurementError(
            "bad-preferences",
            f"The preferences in {path} are empty, and what was stated in them is lost: remove that "
            "file, then state it again.",
        )
    return text


def _bad(path: Path, why: str) -> MeasurementError:
    return MeasurementError(
        "bad-preferences", f"The preferences in {path} cannot be used ({why}): correct that file."
    )
