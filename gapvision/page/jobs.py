"""What is at work beside the requests: verdicts of photographs that came, and joints being measured."""

from __future__ import annotations

import hashlib
import json
import logging
from collections.abc import Awaitable, Callable, Iterable
from contextlib import suppress
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from anyio import CancelScope, CapacityLimiter, Event, sleep, to_thread
from anyio.abc import TaskGroup

from gapvision.errors import MeasurementError
from gapvision.inputs.options import MeasureOptions
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
    read_json,
    remove_kept,
    write_beside,
)
from gapvision.page.entries import asked_of, corrected
from gapvision.page.looks import Looks, remember, remembered
from gapvision.page.measuring import measure_draft
from gapvision.page.photographs import Photograph, photo_path, photograph, photographs
from gapvision.page.rolls import shot_verdict
from gapvision.page.uploads import remove_stale
from gapvision.page.verdicts import SLIP, verdict_of
from gapvision.page.workers import Stopped, cores, in_worker

LOG = logging.getLogger("gapvision.page")
INTERRUPTED = "Measuring was interrupted, as the program on the laptop ended: measure again."
NO_PHOTOGRAPHS = "There is no photograph to measure: add at least one."
FAILED = "The program failed at this joint ({error}): measure it on the laptop by itself."
HOUR_S = 3600.0
WAITS_S = (2.0, 10.0, 60.0, 300.0)  # until a verdict is written that a full disk did not take


@dataclass(eq=False, slots=True)
class Jobs:
    """The drafts' folder, and what is at work in it now.

    Attributes
    ----------
    tell_mistake : callable
        Tells the person at this computer of what nobody expected.
    looking, fitting : CapacityLimiter
        How many photographs are looked at, and joints measured, at a time.
    measuring : dict
        By draft, what stops its measurement.
    arriving : dict
        By upload, what ends the request that it comes by, and tells that it has ended.
    """

    drafts: Path
    tell_mistake: Callable[[Exception], None]
    looking: CapacityLimiter = field(default_factory=lambda: CapacityLimiter(cores()))
    fitting: CapacityLimiter = field(default_factory=lambda: CapacityLimiter(max(1, cores() // 2)))
    tasks: TaskGroup = field(init=False)
    measuring: dict[str, CancelScope] = field(default_factory=dict)
    arriving: dict[str, tuple[CancelScope, Event]] = field(default_factory=dict)
    looks: Looks = field(default_factory=Looks)


def log_mistake(error: Exception) -> None:
    """What nobody expected, with where it was."""
    LOG.error("the page failed", exc_info=error)


def begin(jobs: Jobs, work: Callable[..., Awaitable[Any]], *args: Any) -> None:
    """Work beside the requests; what goes wrong in it is logged, and ends nothing else."""

    async def guarded() -> None:
        try:
            await work(*args)
        except Exception as error:
            jobs.tell_mistake(error)

    jobs.tasks.start_soon(guarded)


def resume(jobs: Jobs) -> None:
    """After a start: measurements that were at work are told as interrupted, lacking verdicts begun."""
    for draft in all_drafts(jobs.drafts):
        with suppress(MeasurementError):
            if draft.state == MEASURING:
                change_draft(jobs.drafts, draft.id, _interrupted)
            if draft.state != KEPT:
                for photo in photographs(jobs.drafts, draft.id):
                    if photo.verdict is None and not photo.dropped:
                        begin_verdict(jobs, draft.id, photo.sha256)


def _interrupted(draft: Draft) -> Draft:
    return replace(draft, state=REFUSED, sentence=INTERRUPTED)


async def clean(jobs: Jobs) -> None:
    """Remove, now and every hour, what nobody went on with."""
    while True:
        await to_thread.run_sync(remove_stale, jobs.drafts)
        await to_thread.run_sync(remove_kept, jobs.drafts)
        await sleep(HOUR_S)


# --- one photograph -------------------------------------------------------------------------------


def begin_verdict(jobs: Jobs, draft_id: str, sha256: str, anew: bool = False) -> None:
    """Have a photograph looked at, beside the requests; ``anew`` where that was done already."""
    begin(jobs, _verdict, jobs, draft_id, sha256, anew)


async def _verdict(jobs: Jobs, draft_id: str, sha256: str, anew: bool) -> None:
    with suppress(NoDraft):  # it was removed meanwhile
        draft = await to_thread.run_sync(load_draft, jobs.drafts, draft_id)
        photo = await to_thread.run_sync(photograph, jobs.drafts, draft_id, sha256)
        if photo.verdict is not None and not anew:
            return
        verdict, look = await _looked_at(jobs, draft, photo)
        if look:
            remember(jobs.looks, sha256, look)
        await _written(jobs, draft_id, f"photos/{sha256}/{VERDICT}", verdict)


async def _written(jobs: Jobs, draft_id: str, place: str, verdict: dict[str, Any]) -> None:
    """Write a verdict, later where the disk is full now: it would be waited for without end."""
    for wait_s in (*WAITS_S, None):
        try:
            await to_thread.run_sync(write_beside, jobs.drafts, draft_id, place, verdict)
            return
        except NoDraft:
            raise
        except MeasurementError as error:
            if wait_s is None:
                LOG.warning("a verdict could not be written: %s", error)
                return
            await sleep(wait_s)


async def _looked_at(jobs: Jobs, draft: Draft, photo: Photograph) -> tuple[dict[str, Any], bytes]:
    """The verdict of a photograph, tried twice where its worker is killed."""
    path = photo_path(jobs.drafts, draft.id, photo)
    for last in (False, True):
        try:
            if draft.roll:
                return await in_worker(jobs.looking, shot_verdict, path), b""
            options = asked_of(draft, (path,), load_preferences())
            return await in_worker(jobs.looking, verdict_of, path, options)
        except Stopped as error:
            if last:
                return {"ok": False, "text": error.text, "details": {"code": error.code}}, b""
        except MeasurementError as error:
            return {"ok": False, "text": error.text, "details": {"code": error.code}}, b""
    raise AssertionError("the second is the last")


# --- a joint --------------------------------------------------------------------------------------


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
        begin(jobs, _measure, jobs, draft_id, jobs.measuring[draft_id])


def _at_work(draft: Draft) -> Draft:
    if draft.roll:
        raise MeasurementError("roll", "These are photographs of many joints: sort them first.")
    return replace(draft, state=MEASURING, sentence="")


def cancel(jobs: Jobs, draft_id: str) -> None:
    """Stop measuring a draft: its worker is killed."""
    if scope := jobs.measuring.get(draft_id):
        scope.cancel()


def as_it_is(jobs: Jobs, draft: Draft) -> Draft:
    """A draft that says that it is being measured and is not, as where the disk took no end of it."""
    if draft.state == MEASURING and draft.id not in jobs.measuring:
        return _interrupted(draft)
    return draft


def progress_of(jobs: Jobs, draft_id: str) -> dict[str, int]:
    """How many photographs of a draft that is being measured were looked at, of how many."""
    told = read_json(folder_of_draft(jobs.drafts, draft_id) / PROGRESS) or {}
    return {"done": int(told.get("done", 0)), "total": int(told.get("total", 0))}


def given_photographs(photos: Iterable[Photograph]) -> list[Photograph]:
    """Those that a measurement is given: none of a slip, and none left out that was of no use anyway."""
    return [p for p in photos if not _idle(p)]


def _idle(photo: Photograph) -> bool:
    verdict = photo.verdict or {"ok": True, "details": {}}
    return verdict["details"].get("code") == SLIP or (photo.dropped and not verdict["ok"])


def asked_hash(draft: Draft, given: list[Photograph]) -> str:
    """What an answer depends on of its draft, so that a later change is told."""
    asked = [
        draft.entries, draft.units, draft.readings, draft.trials, draft.corrections,
        [(p.sha256, p.file_name, p.dropped) for p in given],
    ]  # fmt: skip
    return hashlib.sha256(json.dumps(asked, sort_keys=True).encode()).hexdigest()


def is_of_before(draft: Draft, photos: Iterable[Photograph]) -> bool:
    """Whether the answer that is there stands for something else than what is asked now."""
    if draft.state not in (ANSWERED, KEPT, REFUSED):
        return True
    return draft.asked != asked_hash(draft, given_photographs(photos))


def options_of(jobs: Jobs, draft: Draft, given: list[Photograph]) -> MeasureOptions:
    """What a draft asks of a measurement.

    Raises
    ------
    MeasurementError
        ``bad-entry`` or ``bad-correction``.
    """
    paths = tuple(photo_path(jobs.drafts, draft.id, p) for p in given)
    return asked_of(draft, paths, load_preferences(), corrected(draft, given))


async def _measure(jobs: Jobs, draft_id: str, scope: CancelScope) -> None:
    end = {"state": COLLECTING, "sentence": "", "asked": ""}  # where it is cancelled
    try:
        with scope:
            end = await _measured(jobs, draft_id)
    except Exception as error:
        jobs.tell_mistake(error)
        text = FAILED.format(error=type(error).__name__)
        end = {"state": REFUSED, "sentence": text, "asked": ""}
    finally:
        with CancelScope(shield=True):
            await _write_end(jobs, draft_id, end)
        jobs.measuring.pop(draft_id, None)


async def _write_end(jobs: Jobs, draft_id: str, end: dict[str, Any]) -> None:
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
        given = given_photographs(photographs(jobs.drafts, draft_id))
        asked = asked_hash(draft, given)
        if all(p.dropped for p in given):
            return {"state": REFUSED, "sentence": NO_PHOTOGRAPHS, "asked": asked}
        write_beside(jobs.drafts, draft_id, PROGRESS, {"done": 0, "total": len(given)})
        options, folder = options_of(jobs, draft, given), folder_of_draft(jobs.drafts, draft_id)
        looks = remembered(jobs.looks, [p.sha256 for p in given])
        answer = await in_worker(jobs.fitting, measure_draft, options, looks, folder)
        await to_thread.run_sync(write_beside, jobs.drafts, draft_id, ANSWER, answer)
    except MeasurementError as error:
        return {"state": REFUSED, "sentence": error.text, "asked": ""}
    if answer["status"] == "refused":
        return {"state": REFUSED, "sentence": answer["reason"]["text"], "asked": asked}
    return {"state": ANSWERED, "sentence": "", "asked": asked}
