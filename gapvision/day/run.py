"""A day's joints gone through: what is answered already is taken as it stands, the rest is measured."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING

from gapvision.day.joints import DayJoint
from gapvision.day.processes import Finished, Work, in_processes, measured
from gapvision.day.state import asked_of, is_kept, known_answer, write_answer
from gapvision.errors import MeasurementError

if TYPE_CHECKING:
    from gapvision.archive.store import Archive
    from gapvision.day.cluster import Cluster


@dataclass(frozen=True, eq=False, slots=True)
class Outcome:
    """What came of one joint.

    Attributes
    ----------
    answer : dict or None
        The JSON of its answer or refusal; None where there is neither.
    new : bool
        Whether it was measured just now.
    lacked : str
        Why there is no answer, or why it was not written or kept.
    record : int or None
        Its number in the archive, where it was kept just now.
    """

    answer: dict | None
    new: bool = True
    lacked: str = ""
    record: int | None = None

    @property
    def complete(self) -> bool:
        """Whether it was measured, and written and kept as asked for."""
        return not self.lacked and self.answer is not None and self.answer["status"] != "refused"


def run_day(
    joints: Sequence[DayJoint],
    archive: Archive | None,
    processes: int,
    progress: Callable[[int, int], None] | None = None,
    stop: Callable[[], bool] = lambda: False,
    work: Work = measured,
    cluster: Cluster | None = None,
) -> Iterator[tuple[int, Outcome]]:
    """Each joint's number and outcome as it is known: first those known already, then in any order.

    Parameters
    ----------
    joints : sequence of DayJoint
    archive : Archive, optional
        Where to keep them; its one writer is this process.
    processes : int
        How many joints at a time.
    progress : callable, optional
        Called as ``progress(done, total)`` after each joint that had to be measured.
    stop : callable
        Asked before each joint is looked at or begun: whether to begin no more. Those are left out
        then.
    work : callable
        What measures one joint.
    cluster : Cluster, optional
        Where they are measured instead of in processes of this machine.

    Raises
    ------
    MeasurementError
        As `on_cluster`.
    """
    todo: dict[int, str] = {}
    for k, joint in enumerate(joints):
        if stop():  # photographs of thousands of joints are read for minutes
            return
        try:
            if joint.refused:
                raise joint.refused
            asked = asked_of(joint.options)
            known = known_answer(joint.folder, asked)
        except MeasurementError as error:
            yield k, Outcome(None, lacked=error.text)
            continue
        if known is None or (archive and not _settled(archive, known, joint)):
            todo[k] = asked
        else:
            yield k, Outcome(known, new=False)
    numbers = list(todo)
    if progress:
        progress(0, len(numbers))
    keep = archive is not None
    if cluster:
        runs = _on_cluster(cluster, {k: joints[k] for k in numbers}, keep, work, stop)
    else:
        runs = in_processes(numbers, lambda k: partial(work, joints[k], keep), processes, stop)
    for done, (k, finished) in enumerate(runs, 1):
        yield k, _finish(joints[k], finished, todo[k], archive)
        if progress:
            progress(done, len(numbers))


def _on_cluster(
    cluster: Cluster, joints: dict[int, DayJoint], keep: bool, work: Work, stop: Callable[[], bool]
) -> Iterator[tuple[int, Finished]]:
    """Each joint on the cluster; at home those of which a photograph lacks, which is told there."""
    from gapvision.day.cluster import on_cluster
    from gapvision.day.parcel import can_travel, parcel_job

    def job(k: int) -> Callable[[], Finished]:
        return parcel_job(joints[k], keep, work, cluster.shared)

    travel = [k for k, joint in joints.items() if can_travel(joint.options)]
    yield from on_cluster(cluster, travel, job, stop)
    stay = [k for k in joints if k not in set(travel)]
    yield from in_processes(stay, lambda k: partial(work, joints[k], keep), 1, stop)


def _settled(archive: Archive, known: dict, joint: DayJoint) -> bool:
    """Whether there is nothing to keep of a known answer, or it is kept already."""
    return known["status"] == "refused" or is_kept(archive, known, joint.name)


def _finish(joint: DayJoint, finished: Finished, asked: str, archive: Archive | None) -> Outcome:
    """What came of a joint, kept in the archive and written beside its photographs."""
    if finished.answer is None:
        text = f"The program failed ({finished.failed}): measure {joint.folder} by itself."
        return Outcome(None, lacked=finished.lacked or text)
    try:
        kept = None
        if archive and finished.record:
            from gapvision.archive.record import add_record

            kept = add_record(archive, finished.record)
        write_answer(joint.folder, finished.answer, asked, kept)
    except MeasurementError as error:
        return Outcome(finished.answer, lacked=error.text)
    return Outcome(finished.answer, record=kept.record if kept else None)
