"""What is said of a sorted camera roll: text for people, and one dict for programs."""

from __future__ import annotations

from dataclasses import asdict

from gapvision.phrases import wrap
from gapvision.shoot.roll import Roll, name_of

FORMAT, VERSION = "gapvision-roll", 1


def roll_text(roll: Roll) -> str:
    """The groups, what is in none, and what to look at; at most 80 columns wide."""
    lines = []
    for group in roll.groups:
        count = len(group.photos)
        lines += wrap(f"{name_of(group.slip)}: {count} photograph{'s' * (count != 1)}")
        lines += wrap(", ".join(p.name for p in group.photos) or "none", "  ")
    reasons: dict[str, list[str]] = {}
    for path, why in roll.unsorted:
        reasons.setdefault(why, []).append(path.name)
    if reasons:
        lines += ["", "NOT SORTED:"]
        for why, names in reasons.items():
            lines += wrap(f"{why}: {', '.join(names)}", "- ")
    if roll.cautions:
        lines += ["", "Cautions:"]
        for caution in roll.cautions:
            lines += wrap(caution, "- ")
    lines += [
        "",
        *wrap(
            "A slip that was not seen leaves its photographs with the joint before it: check the "
            "counts."
        ),
    ]
    return "\n".join(lines)


def roll_json(roll: Roll) -> dict:
    """The same for programs."""
    return {
        "format": FORMAT,
        "version": VERSION,
        "groups": [
            {
                **asdict(group.slip.joint),
                "slip_photos": [str(p) for p in group.slip_photos],
                "photos": [str(p) for p in group.photos],
            }
            for group in roll.groups
        ],
        "not_sorted": [{"photo": str(p), "why": why} for p, why in roll.unsorted],
        "cautions": list(roll.cautions),
    }
