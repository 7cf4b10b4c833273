"""The answer of one joint as a value: what `measure` returns, and text, JSON, picture and report tell."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from gapvision.advice.caution import Caution
from gapvision.advice.to_do import Step
from gapvision.advice.verdict import Verdict, verdict_of
from gapvision.joint.by_hand import ByHand
from gapvision.joint.gap import Profile
from gapvision.joint.photo_results import CardResult, PhotoResult
from gapvision.quantity import Place, Quantity

if TYPE_CHECKING:
    from gapvision.advice.decision import Decision
    from gapvision.advice.lowering import Lowering


@dataclass(frozen=True, slots=True)
class Alone:
    """What the photographs tell without anything measured by hand."""

    widest_gap: Quantity
    setting: Quantity


@dataclass(frozen=True, eq=False, slots=True)
class Measurement:
    """The whole answer of one joint; ``status`` is ``"measured"`` or ``"doubtful"``.

    ``units``, ``"mm"`` or ``"in"``, are those that it was asked in. A refusal is no Measurement but a
    MeasurementError.
    """

    status: str
    cover_mm: float
    widest_gap: Quantity
    widest_place: Place
    setting: Quantity
    set_to_mm: float
    deciding_place: Place
    narrowest_groove: Quantity
    narrowest_place: Place
    profile: Profile
    photos: tuple[PhotoResult, ...]
    cards: tuple[CardResult, ...]
    cautions: tuple[Caution, ...]
    decision: Decision | None = None
    by_hand: tuple[ByHand, ...] = ()
    alone: Alone | None = None  # where anything was measured by hand
    units: str = "mm"
    to_do: tuple[Step, ...] = ()  # at most three, in the order in which one walks

    @property
    def lowering(self) -> Lowering | None:
        """Whether to lower the log first, and how; None where that is not decided, or not told."""
        return None if self.decision is None else self.decision.lowering

    @property
    def verdict(self) -> Verdict:
        """What the answer comes to."""
        doubtful = self.status == "doubtful"
        return verdict_of(doubtful, self.cautions, self.decision, self.deciding_place, self.to_do)
