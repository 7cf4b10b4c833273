"""What every screen of a joint at work says of it."""

from __future__ import annotations

from typing import Any

from gapvision.inputs.joint_name import as_folder
from gapvision.page.drafts import ANSWERED, KEPT, Draft


def joint_head(draft: Draft, changed: bool = False) -> dict[str, Any]:
    """What every screen of a joint says of it; ``changed``: since its answer."""
    joint = draft.joint
    return {
        "id": draft.id,
        "title": joint.title,
        "record": draft.record,
        "answered": draft.state in (ANSWERED, KEPT),
        "changed": changed,
        "file": as_folder(f"{joint.building} {joint.wall} {joint.log}".strip()),
    }
