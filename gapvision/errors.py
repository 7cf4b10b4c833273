"""What can go wrong with a photograph or a joint, in the builder's words."""

from __future__ import annotations


class MeasurementError(Exception):
    """A joint or a photograph that cannot be measured.

    Parameters
    ----------
    code : str
        Short stable word for programs, as in ``"no-card"``.
    text : str
        One sentence: what was seen, what was needed, and what to do.
    """

    def __init__(self, code: str, text: str) -> None:
        super().__init__(text)
        self.code = code
        self.text = text


class PhotoUnreadable(MeasurementError):
    """A file that is missing, empty, truncated, or no photograph."""


class PhotoUnusable(MeasurementError):
    """A photograph too small, dark, bright or blurred to measure in."""


class CardNotFound(MeasurementError):
    """No scale card, or none that can be trusted."""


class OutlinesNotFound(MeasurementError):
    """The open gap between the logs could not be traced."""


class JointNotFitted(MeasurementError):
    """Photographs, cards or entries that contradict each other."""


class PlanNotPossible(MeasurementError):
    """A site from which the joint cannot be photographed, or entries that contradict each other."""


class NotCalibrated(MeasurementError):
    """Photographs of the sheet that do not tell the lens, or a camera file that cannot be kept."""
