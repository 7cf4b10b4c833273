"""Values of a form, a TOML file that a person fills in: each refused by its key where it cannot be."""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Mapping
from difflib import get_close_matches
from pathlib import Path
from typing import Any, TypeGuard, TypeVar

from gapvision.errors import MeasurementError
from gapvision.files import read_regular
from gapvision.lengths import Diameter, parse_diameter, parse_length

Parsed = TypeVar("Parsed")
Element = TypeVar("Element")
CARD_ON = ("upper", "lower", "free")


def read_toml(path: Path) -> dict[str, Any]:
    """The values of a form.

    Raises
    ------
    MeasurementError
        ``no-file`` or ``bad-form``.
    """
    import tomllib

    try:
        return tomllib.loads(read_regular(path).decode("utf-8"))
    except OSError as error:
        text = f"{path} cannot be read ({error.strerror or error}): name another folder."
        raise MeasurementError("no-file", text) from None
    except (RecursionError, ValueError) as error:
        raise bad_form(path, f"it is no TOML: {error}") from None


def check_keys(path: Path, values: Mapping[str, object], known: Collection[str]) -> None:
    """Refuse a key that is not known, and name the one that was meant, perhaps.

    Raises
    ------
    MeasurementError
        ``bad-form``.
    """
    unknown = sorted(set(values) - set(known))
    if unknown:
        near = get_close_matches(unknown[0], known, 1)
        meant = f", perhaps {near[0]}" if near else ""
        raise bad_form(path, f"unknown key {unknown[0]}{meant}")


def bad_form(path: Path, why: str) -> MeasurementError:
    """What is said of a form that cannot be used."""
    return MeasurementError("bad-form", f"{path} cannot be used ({why}): correct that file.")


# --- values; each raises a ValueError with its key ------------------------------------------------


def length_of(key: str, value: object) -> float | None:
    """Of a number, mm, or a text as one types it."""
    return None if value is None else _named(key, lambda: parse_length(typed(value)))


def diameter_of(key: str, value: object) -> Diameter | None:
    """Likewise, or of both ends or stations."""
    return None if value is None else _named(key, lambda: parse_diameter(typed(value)))


def _named(key: str, parse: Callable[[], Parsed]) -> Parsed:
    try:
        return parse()
    except ValueError as error:
        raise ValueError(f"{key}: {error}") from None


def typed(value: object) -> str:
    """A number of mm, or a text, as one would type it; anything else is no length."""
    if isinstance(value, str):
        return value
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise ValueError(f"{value!r} is neither a number of mm nor a length as a text")
    return f"{value:.6f}".rstrip("0").rstrip(".") + ("mm" if math.isfinite(value) else "")


def text_of(key: str, value: object) -> str:
    """A text, as it stands."""
    if not isinstance(value, str):
        raise ValueError(f"{key} is a text, not {value!r}")
    return value


def card_on_of(value: object) -> str:
    """The log that the cards hang on."""
    if value not in CARD_ON:
        raise ValueError(f"card_on is one of {', '.join(CARD_ON)}, not {value!r}")
    return value


def cards_of(value: object) -> tuple[int, ...]:
    """Numbers of the cards that hang inside."""
    if not is_list_of(value, int):
        raise ValueError(f"inside_cards are card numbers, as [5, 6], not {value!r}")
    return tuple(value)


def is_list_of(value: object, of: type[Element]) -> TypeGuard[list[Element]]:
    """Whether it is a list of such values alone."""
    return isinstance(value, list) and all(
        isinstance(v, of) and not isinstance(v, bool) for v in value
    )


def files_of(folder: Path, key: str, names: object) -> tuple[Path, ...]:
    """Files or folders beside the form."""
    if not is_list_of(names, str):
        raise ValueError(f'{key} are files or folders, as ["level.jpg"], not {names!r}')
    return tuple(beside(folder, key, name) for name in names)


def beside(folder: Path, key: str, name: str) -> Path:
    """A file of the form's folder: a form that somebody sent names nothing else on this computer."""
    if Path(name).is_absolute() or ".." in Path(name).parts:
        raise ValueError(f"{key} must lie beside the form or below, not {name!r}")
    return folder / name
