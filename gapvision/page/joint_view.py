"""A joint at work as its screens show it: in a line of a list, its photographs, how far it is."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from gapvision.page.answer_view import answer_view
from gapvision.page.drafts import ANSWERED, MEASURING, REFUSED, Draft
from gapvision.page.joint_head import joint_head
from gapvision.page.labels import in_page_words
from gapvision.page.photographs import Photograph
from gapvision.page.plan_view import HEIGHTS, Taken, plan_drawing

_OWN_NAME = re.compile(r"^photo-\d+\.\w+: ")  # a sentence of a list's line need not begin with it


@dataclass(frozen=True, slots=True)
class JointRow:
    """A joint in a list: ``sign`` is an icon's name, ``word`` and ``number`` its setting."""

    url: str
    title: str
    text: str
    sign: str
    word: str = ""
    number: str = ""


@dataclass(frozen=True, slots=True)
class PhotoItem:
    """A photograph in a list: ``kind`` is an icon's name, ``word`` says the same.

    ``title`` is what sentences call it, ``name`` what the phone called it.
    """

    sha256: str = ""
    title: str = ""
    name: str = ""
    kind: str = "wait"
    word: str = ""
    text: str = ""
    dropped: bool = False


def joint_row(
    draft: Draft, photos: Sequence[Photograph], answer: dict | None, is_of_before: bool = False
) -> JointRow:
    """A draft as a line of the list of what is at work; no number where the answer is of before."""
    url, title = f"/joint/{draft.id}", draft.joint.title
    if draft.state == MEASURING:
        return JointRow(url, title, "measuring", "busy")
    if draft.state == REFUSED:
        return JointRow(url, title, in_page_words(draft.sentence), "bad")
    if draft.state == ANSWERED and is_of_before:
        return JointRow(url, title, "changed: measure again", "warn")
    if draft.state == ANSWERED and answer is not None:
        view = answer_view(answer, draft.units)
        number = f"{view.value} {view.unit}" if view.value else ""
        text = "not kept yet" if number else view.first_line
        sign = "good" if view.kind == "set" else "warn"
        return JointRow(f"{url}/answer", title, text, sign, view.word if number else "", number)
    return JointRow(url, title, counted(sum(not p.dropped for p in photos)), "camera")


def counted(photographs: int) -> str:
    """``3 photographs``."""
    if not photographs:
        return "no photograph yet"
    return "1 photograph" if photographs == 1 else f"{photographs} photographs"


def photo_item(photo: Mapping[str, Any]) -> PhotoItem:
    """A photograph of a joint's state as a line of its list."""
    told = photo["sha256"], f"photo-{photo['number']}", photo["name"]
    if photo["dropped"]:
        return PhotoItem(*told, "drop", "Left out", "", True)
    verdict = photo["verdict"]
    if verdict is None:
        return PhotoItem(*told, "busy", "Looking at it", "")
    text = _OWN_NAME.sub("", in_page_words(verdict["text"]))
    text = f"{text[:1].upper()}{text[1:]}"
    details = verdict["details"]
    if details.get("code") == "slip":
        return PhotoItem(*told, "keep", "A slip", text)
    if not verdict["ok"] or "from_mm" not in details:
        return PhotoItem(*told, "bad", "Take it again", text)
    if details.get("off_mm") or details.get("unread"):
        return PhotoItem(*told, "warn", "Better once more", text)
    return PhotoItem(*told, "good", "Good", text)


def joint_context(draft: Draft, state: Mapping[str, Any]) -> dict[str, Any]:
    """What the screen of a joint's photographs shows, from its state."""
    items = [photo_item(p) for p in state["photos"]]
    usable = any(item.kind in ("good", "warn", "busy") for item in items)
    return {
        "joint": joint_head(draft)
        | {
            "sentence": in_page_words(draft.sentence) if draft.state == REFUSED else "",
            "next": state["next"],
            "enough": usable,
        },
        "plan": plan_drawing(taken(state)),
        "photographs": items,
        "blank": PhotoItem(),
    }


def taken(state: Mapping[str, Any]) -> Taken:
    """Which heights were photographed, and which is due."""
    return Taken(Counter(_heights(state["photos"])), state["due"])


def _heights(photos: Iterable[Mapping[str, Any]]) -> Iterable[str]:
    for photo in photos:
        verdict = photo["verdict"]
        if verdict and verdict["ok"] and not photo["dropped"]:
            height = verdict["details"].get("height")
            if height in HEIGHTS:
                yield height


def measuring_context(draft: Draft, progress: Mapping[str, int]) -> dict[str, Any]:
    """What the screen of a joint being measured shows."""
    return {
        "joint": joint_head(draft),
        "progress": progress,
        "said": progress_text(progress),
    }


def progress_text(progress: Mapping[str, int]) -> str:
    """How far measuring is."""
    done, total = progress["done"], progress["total"]
    if not total:
        return "Waiting for its turn."
    if done < total:
        return f"{done} of {total} photographs looked at."
    return "All photographs looked at; fitting the logs."
