"""One photograph with the lines traced in it, to look at and to correct."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from gapvision.page.drafts import Draft
from gapvision.page.joint_head import joint_head
from gapvision.page.joint_view import photo_item
from gapvision.page.photographs import Photograph

PX_DECIMALS = 1  # what a screen shows


def photo_context(
    draft: Draft,
    photo: Photograph,
    answer: dict[str, Any] | None,
    by_hand: Mapping[str, Any],
    size_px: tuple[int, int] | None,
) -> dict[str, Any]:
    """What the screen of a photograph shows.

    Parameters
    ----------
    draft : Draft
    photo : Photograph
    answer : dict or None
        The JSON of the draft's last answer.
    by_hand : mapping
        What was changed by hand in this photograph, as `inputs.corrections` has it.
    size_px : (int, int) or None
        Width and height of the upright picture; the outlines are in its px. None where not known.
    """
    item = photo_item(
        {"sha256": photo.sha256, "number": photo.number, "name": photo.name,
         "dropped": photo.dropped, "verdict": photo.verdict}
    )  # fmt: skip
    lines = traced_lines(answer, photo.sha256)
    return {
        "joint": joint_head(draft),
        "photo": {
            "sha256": photo.sha256,
            "title": item.title,
            "dropped": photo.dropped,
            "text": f"{item.word}. {item.text}".strip(),
            "width": size_px[0] if size_px else 0,
            "height": size_px[1] if size_px else 0,
        },
        "lines": lines,
        "by_hand": dict(by_hand),
        "back": f"/joint/{draft.id}/answer" if any(lines.values()) else f"/joint/{draft.id}",
    }


def traced_lines(answer: dict[str, Any] | None, sha256: str) -> dict[str, list]:
    """The two lines of a photograph as ``[x, y, station_mm]`` a point; empty where nothing was traced."""
    lines: dict[str, list] = {"upper": [], "lower": []}
    photos = (answer or {}).get("photos", ())
    outlines = next((p.get("outlines") for p in photos if p["sha256"] == sha256), None)
    if not outlines:
        return lines
    blocks = outlines["blocks"]
    for log in lines:
        seen = [
            station
            for station, state in zip(blocks["station_mm"], blocks[f"{log}_state"], strict=True)
            if state == "seen"
        ]
        points = zip(outlines[log], seen, strict=True)
        lines[log] = [
            [round(x, PX_DECIMALS), round(y, PX_DECIMALS), station] for (x, y), station in points
        ]
    return lines
