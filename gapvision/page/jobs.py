"""What is at work beside the requests: verdicts of photographs that came, and joints being measured."""

from __future__ import annotations

import logging
from dataclasses import dataclass, field, replace
from pathlib import Path

from anyio import CancelScope, CapacityLimiter, to_thread
from anyio.abc import TaskGroup

from gapvision.errors import MeasurementError
from gapvision.inputs.preferences import load_preferences
from gapvision.page.drafts import (
    ANSWER,
    ANSWERED,
    COLLECTING,
    KEPT,
    MEASURING,
    PROGRESS,
    REFUSED,
    VERDICT,
    Draft,
    NoDraft,
    all_drafts,
    change_draft,
    folder_of_draft,
    load_draft,
    photo_path,
    photograph,
    photographs,
    read_json,
    write_beside,
)
from gapvision.page.entries import asked_of
from gapvision.page.measuring import measure_draft
from gapvision.page.verdicts import verdict_of
from gapvision.page.workers import Stopped, in_worker

LOG = logging.getLogger("gapvision.page")
INTERRUPTED = "Measuring was interrupted, as the program on the laptop ended: measure again."
NO_PHOTOGRAPHS = "There is no photograph to measure: add at least one."


@dataclass(eq=False, slots=True)
class Jobs:
    """The drafts' folder, and what is at work in it now."""

    drafts: Path
    limiter: CapacityLimiter
    tasks: TaskGroup | None = None
    measuring: dict[str, CancelScope] = field(default_factory=dict)


def resume(jobs: Jobs) -> None:
    """After a start: measurements that were at work are told as interrupted, lacking verdicts begun."""
    for draft in all_drafts(jobs.drafts):
        if draft.state == MEASURING:
            end = replace(draft, state=REFUSED, sentence=INTERRUPTED)
            change_draft(jobs.drafts, draft.id, lambda _, end=end: end)
        if draft.state != KEPT:
            for photo in photographs(jobs.drafts, draft.id):
                if photo.verdict is None and not photo.dropped:
                    begin_verdict(jobs, draft.id, photo.sha256)


def begin_verdict(jobs: Jobs, draft_id: str, sha256: str) -> None:
    """Have a photograph looked at, beside the requests."""
    jobs.tasks.start_soon(_verdict, jobs, draft_id, sha256)


async def _verdict(jobs: Jobs, draft_id: str, sha256: str) -> None:
    try:
        draft = await to_thread.run_sync(load_draft, jobs.drafts, draft_id)
        photo = await to_thread.run_sync(photograph, jobs.drafts, draft_id, sha256)
        path = photo_path(jobs.drafts, draft_id, photo)
        options = asked_of(draft, (path,), load_preferences())
        try:
            verdict = await in_worker(jobs.limiter, verdict_of, path, options)
        except Stopped as error:
            verdict = {"ok": False, "text": error.text, "details": {"code": error.code}}
        place = f"photos/{sha256}/{VERDICT}"
        await to_thread.run_sync(write_beside, jobs.drafts, draft_id, place, verdict)
    except NoDraft:
        return  # it was removed meanwhile
    except (MeasurementError, ValueError) as error:
        LOG.warning("no verdict of a photograph: %s", error)


def begin_measuring(jobs: Jobs, draft_id: str) -> None:
    """Measure a draft, beside the requests; nothing where it is being measured already.

    Raises
    ------
    MeasurementError
        As `change_draft`.
    """
    if draft_id in jobs.measuring:
        return
    begun = change_draft(jobs.drafts, draft_id, _at_work)
    if begun.state == MEASURING:
        jobs.measuring[draft_id] = CancelScope()
        jobs.tasks.start_soon(_measure, jobs, draft_id, jobs.measuring[draft_id])


def _at_work(draft: Draft) -> Draft:
    return draft if draft.state == KEPT else replace(draft, state=MEASURING, sentence="")


def cancel(jobs: Jobs, draft_id: str) -> None:
    """Stop measuring a draft: its worker is killed."""
    if scope := jobs.measuring.get(draft_id):
        scope.cancel()


def progress_of(jobs: Jobs, draft_id: str) -> dict[str, int]:
    """How many photographs of a draft that is being measured were looked at, of how many."""
    told = read_json(folder_of_draft(jobs.drafts, draft_id) / PROGRESS) or {}
    return {"done": int(told.get("done", 0)), "total": int(told.get("total", 0))}


async def _measure(jobs: Jobs, draft_id: str, scope: CancelScope) -> None:
    end = {"state": COLLECTING, "sentence": ""}  # where it is cancelled
    try:
        with scope:
            end = await _measured(jobs, draft_id)
    finally:
        jobs.measuring.pop(draft_id, None)
        with CancelScope(shield=True):
            await _write_end(jobs, draft_id, end)


async def _write_end(jobs: Jobs, draft_id: str, end: dict[str, str]) -> None:
    def ended(draft: Draft) -> Draft:
        return replace(draft, **end) if draft.state == MEASURING else draft

    try:
        await to_thread.run_sync(change_draft, jobs.drafts, draft_id, ended)
    except MeasurementError as error:
        LOG.warning("the state of a joint could not be written: %s", error)


async def _measured(jobs: Jobs, draft_id: str) -> dict[str, str]:
    """How it ends: the draft's new state and sentence, once the answer is written."""
    try:
        draft = load_draft(jobs.drafts, draft_id)
        used = [p for p in photographs(jobs.drafts, draft_id) if not p.dropped]
        if not used:
            return {"state": REFUSED, "sentence": NO_PHOTOGRAPHS}
        paths = tuple(photo_path(jobs.drafts, draft_id, p) for p in used)
        write_beside(jobs.drafts, draft_id, PROGRESS, {"done": 0, "total": len(used)})
        options = asked_of(draft, paths, load_preferences())
        place = folder_of_draft(jobs.drafts, draft_id) / PROGRESS
        answer = await in_worker(jobs.limiter, measure_draft, options, place)
        await to_thread.run_sync(write_beside, jobs.drafts, draft_id, ANSWER, answer)
    except (MeasurementError, ValueError) as error:
        return {"state": REFUSED, "sentence": str(error)}
    if answer["status"] == "refused":
        return {"state": REFUSED, "sentence": answer["reason"]["text"]}
    return {"state": ANSWERED, "sentence": ""}
