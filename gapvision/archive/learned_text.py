"""What was learned from outcomes, for people and for programs."""

from __future__ import annotations

from gapvision.archive.learning import FEWEST, KINDS, Learned
from gapvision.phrases import signed_text, wrap


def learned_json(by_kind: dict[str, Learned], joints: int) -> dict:
    """The summary for programs, lengths in mm."""
    return {
        "format": "gapvision-outcomes",
        "version": 1,
        "joints": joints,
        "differences": {
            kind: {
                "n": x.n,
                "mean_mm": x.mean_mm,
                "u_mm": x.u_mm,
                "U95_mm": x.U95_mm,
                "held": x.held,
                "expected_held": list(x.expected),
            }
            for kind, x in by_kind.items()
        },
    }


def learned_text(by_kind: dict[str, Learned], joints: int, units: str = "mm") -> str:
    """The summary for people, with the correction it offers; nothing is ever corrected by itself."""
    if not joints:
        return "Nothing was told yet of any joint asked for: archive outcome adds it."
    lines = [f"Joints with outcomes: {joints}.", ""]
    lines.append(f"{'':24}{'joints':>6}  {'mean, and its 95 %':26}held (expected)")
    for kind, x in by_kind.items():
        if x.mean_mm is None:
            lines.append(f"{KINDS[kind]:24}{0:>6}  nothing to compare")
            continue
        mean = signed_text(x.mean_mm, units)
        if x.U95_mm is not None:
            low, high = x.mean_mm - x.U95_mm, x.mean_mm + x.U95_mm
            ends = (signed_text(end, units) for end in (low, high))
            mean += f" ({' to '.join(ends)})"
        held = f"{x.held} of {x.n} ({x.expected[0]} to {x.expected[1]})"
        lines.append(f"{KINDS[kind]:24}{x.n:>6}  {f'{mean} {units}':26}{held}")
    lines += ["", "Held: the difference lies within the stated ±, as 95 in 100 should."]
    for kind, x in by_kind.items():
        lines += wrap(_too_narrow(kind, x), "- ") if x.held < x.expected[0] else []
    if (offset := by_kind["gap"].offset_mm) is not None:
        lines += wrap(_gap_offer(offset, units), "- ")
    for kind in ("trial", "cover"):
        if (offset := by_kind[kind].offset_mm) is not None:
            lines += wrap(_cover_offer(kind, offset, units), "- ")
    if max(x.n for x in by_kind.values()) < FEWEST:
        lines += wrap(f"From fewer than {FEWEST} joints little can be said.")
    lines += wrap("Nothing is corrected by itself.")
    return "\n".join(lines)


def _too_narrow(kind: str, x: Learned) -> str:
    return (
        f"{KINDS[kind]}: fewer held than expected. The ± is stated too narrow for your "
        "joints, or something moved or was read wrongly."
    )


def _gap_offer(mean_mm: float, units: str) -> str:
    size = _plain(abs(mean_mm), units)
    if mean_mm > 0:
        return (
            f"The photographs read the gap {size} wider than your caliper. First measure the check "
            f"bar of the print and try the caliper on something known; if both are right, a setting "
            f"{size} smaller would do."
        )
    return (
        f"The photographs read the gap {size} narrower than your caliper. First measure the check "
        f"bar of the print and try the caliper on something known; if both are right, set the "
        f"points {size} wider."
    )


def _cover_offer(kind: str, mean_mm: float, units: str) -> str:
    size = _plain(abs(mean_mm), units)
    what = {"trial": "trial lines are", "cover": "cut covers are"}[kind]
    if mean_mm > 0:
        return f"Your {what} {size} narrower than predicted: ask for a cover {size} larger."
    return f"Your {what} {size} wider than predicted: a cover {size} smaller would do."


def _plain(mm: float, units: str) -> str:
    return f"{signed_text(mm, units).lstrip('+-')} {units}"
