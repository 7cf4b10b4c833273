"""Values that no section of a report knows, listed as they stand."""

from __future__ import annotations

import re
from dataclasses import replace

from gapvision.answer.report.section import Section
from gapvision.lengths import format_length

LONGEST_LIST = 12  # of values of which no section knows what they are
_UNIT = re.compile(r"_(mm|deg|px)$")


def listed_section(title: str, value: object, units: str) -> Section:
    """A dict as rows, a list of dicts as a table where all are alike, anything else as text."""
    if isinstance(value, dict):
        plain = {k: v for k, v in value.items() if not isinstance(v, (dict, list)) or _is_flat(v)}
        parts = tuple(
            listed_section(key_words(k), v, units) for k, v in value.items() if k not in plain
        )
        rows = tuple((key_words(k), _value(k, v, units)) for k, v in plain.items())
        return Section(title, rows=rows, parts=parts)
    if isinstance(value, list) and value and all(isinstance(v, dict) for v in value):
        parts = tuple(listed_section(str(i + 1), v, units) for i, v in enumerate(value))
        return Section(title, parts=parts) if len(parts) > 1 else replace(parts[0], title=title)
    return Section(title, text=(_value("", value, units),))


def _is_flat(value: object) -> bool:
    return isinstance(value, list) and not any(isinstance(v, (dict, list)) for v in value)


def _value(key: str, value: object, units: str) -> str:
    if isinstance(value, list):
        if len(value) > LONGEST_LIST:
            return f"{len(value)} values"
        return ", ".join(_value(key, v, units) for v in value) or "none"
    if value is None:
        return "unknown"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, (int, float)):
        found = _UNIT.search(key)
        unit = found[1] if found else ""
        if unit == "mm":
            return format_length(float(value), units)
        return f"{value:g}" + {"deg": "°", "px": " px"}.get(unit, "")
    return str(value)


def key_words(key: str) -> str:
    """A key as a person reads it: ``setting_used_mm`` -> Setting used."""
    words = _UNIT.sub("", key).replace("_", " ").strip()
    return words[:1].upper() + words[1:]
