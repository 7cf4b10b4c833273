"""What the answer comes to: the setting, at least that, measure again, or lower the log first.

The one place that decides it; screen, picture, slip, report and JSON tell it in the same order: the
verdict, where it is decided, whether to scribe, and what to do.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from gapvision.advice.caution import Caution
from gapvision.advice.decision import Decision
from gapvision.advice.limits import LIKELY
from gapvision.advice.to_do import BY_HAND, Step
from gapvision.quantity import Place

Kind = Literal["set", "at-least", "measure-again", "lower-first"]

NOT_SEEN = "not-seen"
# Cautions that can make an answer doubtful. Asked only of those that were read back from a file of
# before it told which of them did.
MAY_DOUBT = frozenset({
    NOT_SEEN, "misfit", "line-steps", "log-moved", "odd-size", "reading-disagrees",
    "trial-disagrees", "card-bent",
})  # fmt: skip
# No doubt about the number, and yet nobody should scribe before it is cleared.
HOLD = frozenset({"scriber-too-small", "station-origin", "perhaps-origin", *BY_HAND})


@dataclass(frozen=True, slots=True)
class Verdict:
    """The answer as facts.

    Attributes
    ----------
    kind : Kind
        ``at-least`` where stretches were not seen and nothing else is wrong: the setting is a bound.
        ``measure-again`` where the data contradict: it is not even that.
    because : str
        The code of the caution that makes it so; empty where none does.
    decides : Place
        Where the setting is decided, as far as seen.
    ready : bool
        Whether to scribe now: the stretch between stated notches was seen, nothing is doubtful.
    notches_mm : pair of float
        By how much to deepen the left and the right notch first; zeros unless ``lower-first``.
    as_far_as_seen : bool
        Whether a stretch was not seen, whatever the kind.
    to_do : tuple of Step
        At most three, in the order in which one walks.
    """

    kind: Kind
    because: str
    decides: Place
    ready: bool
    notches_mm: tuple[float, float]
    as_far_as_seen: bool
    to_do: tuple[Step, ...]

    @property
    def has_setting(self) -> bool:
        """Whether there is a number to set the points to, or at least to."""
        return self.kind in ("set", "at-least")


def verdict_of(
    doubtful: bool,
    cautions: Sequence[Caution],
    decision: Decision | None,
    decides: Place,
    to_do: tuple[Step, ...] = (),
) -> Verdict:
    """The verdict on an answer.

    Parameters
    ----------
    doubtful : bool
        The answer's status.
    cautions : sequence of Caution
        Gravest first. Of those that were read back without saying whether they doubt, all that can are
        taken to: an answer may then be measured again for nothing, never cut to for nothing.
    decision : Decision or None
    decides : Place
    to_do : tuple of Step
        As `to_do.find_to_do` has it.
    """
    kind, because = kind_of(doubtful, cautions, decision)
    lowering = None if decision is None else decision.lowering
    notches = (0.0, 0.0)
    if kind == "lower-first" and lowering is not None:
        notches = lowering.notches.left_mm, lowering.notches.right_mm
    ready = (
        kind == "set"
        and decision is not None
        and lowering is not None
        and lowering.ready
        and lowering.notches.stated
        and not any(c.code in HOLD for c in cautions)
        and not any(j.chance >= LIKELY for j in decision.judged)
    )
    unseen = doubtful and any(c.code == NOT_SEEN for c in cautions)
    return Verdict(kind, because, decides, ready, notches, unseen, to_do)


def kind_of(
    doubtful: bool, cautions: Sequence[Caution], decision: Decision | None
) -> tuple[Kind, str]:
    """The kind, and the code of the caution that makes it so."""
    because = [c.code for c in cautions if _doubts(c)] if doubtful else []
    contradicts = [code for code in because if code != NOT_SEEN]
    if contradicts or (doubtful and not because):
        # What was entered by hand goes first: a wrong entry pulls the photographs apart.
        contradicts.sort(key=lambda code: code not in BY_HAND)
        return "measure-again", contradicts[0] if contradicts else ""
    x = None if decision is None else decision.lowering
    if x is not None and not x.ready and (x.notches.left_mm or x.notches.right_mm):
        return "lower-first", ""
    return ("at-least", NOT_SEEN) if doubtful else ("set", "")


def _doubts(c: Caution) -> bool:
    return c.code in MAY_DOUBT if c.doubtful is None else c.doubtful
