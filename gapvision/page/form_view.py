"""The form of a joint: its fields as they are typed on the page, an end of a log each by itself."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from gapvision.inputs.joint_name import as_counted
from gapvision.page.drafts import Draft
from gapvision.page.labels import LABELS
from gapvision.photo.lens.files import camera_paths

_LOGS = ("upper", "lower")
_TAPED = (
    "upper_diameter", "lower_diameter", "from", "to", "wall_thickness", "inside_cards", "camera",
)  # fmt: skip


def joined_ends(form: Mapping[str, object]) -> dict[str, object]:
    """A form as it was sent, the diameters of a log's two ends put together as ``290,310``."""
    out = dict(form)
    for log in _LOGS:
        ends = [str(out.pop(f"{log}_{end}", "") or "").strip() for end in ("left", "right")]
        if any(ends):
            out[f"{log}_diameter"] = ",".join(dict.fromkeys(end for end in ends if end))
    return out


def parted_ends(fields: Mapping[str, str]) -> dict[str, str]:
    """Fields as the page shows them: the diameters of a log's two ends apart."""
    out = dict(fields)
    for log in _LOGS:
        left, _, right = out.get(f"{log}_diameter", "").partition(",")
        out |= {f"{log}_left": left.strip(), f"{log}_right": right.strip()}
    return out


def form_context(
    draft: Draft | None,
    fields: Mapping[str, str],
    faults: Mapping[str, str],
    known: Iterable[Draft],
) -> dict[str, Any]:
    """What the form's screen shows; names that were used are offered again."""
    drafts = list(known)
    units = fields.get("units") or "mm"
    return {
        "heading": draft.joint.title if draft else "New joint",
        "button": "Save" if draft else "Start",
        "back": f"/joint/{draft.id}" if draft else "/",
        "fields": {"units": units, "card_on": "upper", "camera": ""} | parted_ends(fields),
        "faults": _beside_fields(faults),
        "labels": LABELS,
        "mode": "decimal" if units == "mm" else "text",
        "buildings": _names(d.building for d in drafts),
        "wall_names": _names(d.wall for d in drafts),
        "cameras": [("", "As they tell")] + [(p.stem, p.stem) for p in camera_paths()],
        "tape_open": any(fields.get(k) or faults.get(k) for k in _TAPED),
    }


def _beside_fields(faults: Mapping[str, str]) -> dict[str, str]:
    """Faults by the fields of the page: of both ends of a log at its left one."""
    moved = {f"{log}_diameter": f"{log}_left" for log in _LOGS}
    return {moved.get(name, name): text for name, text in faults.items()}


def _names(names: Iterable[str]) -> list[str]:
    return sorted({n for n in names if n}, key=as_counted)
