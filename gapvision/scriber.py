"""What the builder's own scriber can be set to."""

from __future__ import annotations

from gapvision.lengths import format_length
from gapvision.options import MeasureOptions
from gapvision.result import Caution


def beyond_scriber(set_to_mm: float, options: MeasureOptions) -> tuple[Caution, ...]:
    """A caution where the setting is wider than the scriber opens; none where that is not stated."""
    largest = options.scriber_largest_mm
    if largest is None or set_to_mm <= largest:
        return ()
    say = options.units
    return (
        Caution(
            "scriber-too-small",
            f"The setting is wider than your scriber opens ({format_length(largest, say)}): take a "
            "larger scriber, or deepen the rough notches until the upper log lies at least "
            f"{format_length(set_to_mm - largest, say)} lower, and measure again.",
        ),
    )
