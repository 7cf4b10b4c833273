"""What every screen of a joint at work says of it."""

from __future__ import annotations

from typing import Any

from gapvision.inputs.joint_name import as_folder
from gapvision.page.drafts import ANSWERED, KEPT, Draft


def joint_head(draft: Draft) -> dict[str, Any]:
    """What every screen of a joint says of it."""
    joint = draft.joint
    return {
        "id": draft.id,
        "title": joint.title,
        "record": draft.record,
        "answered": draft.state in (ANSWERED, KEPT),
        "changed": False,
        "file": as_folder(f"{joint.building} {joint.wall} {joint.log}".strip()),
    }
