"""The pages of one joint's answer: itself, its picture and report, what is told by hand, and keeping it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from anyio import to_thread
from starlette.requests import Request
from starlette.responses import FileResponse, JSONResponse, Response

from gapvision.errors import MeasurementError
from gapvision.lengths import parse_length, parse_reading, parse_trial
from gapvision.page.answer_view import answer_context
from gapvision.page.asking import draft_of, jobs_of
from gapvision.page.drafts import (
    ANSWER,
    KEPT,
    MEASURING,
    PICTURE,
    REFUSED,
    Draft,
    answer_of,
    change_draft,
    folder_of_draft,
)
from gapvision.page.jobs import (
    Jobs,
    asked_hash,
    begin_measuring,
    given_photographs,
    is_of_before,
    options_of,
)
from gapvision.page.joint_head import joint_head
from gapvision.page.joint_pages import NO_STORE
from gapvision.page.measuring import record_of, report_of
from gapvision.page.photographs import photographs
from gapvision.page.profile_view import profile_view
from gapvision.page.rendering import page, see
from gapvision.page.workers import in_worker

if TYPE_CHECKING:
    from gapvision.archive.record import NewRecord

REPORTS = {".html": "text/html; charset=utf-8", ".pdf": "application/pdf"}
# A report has its styles and pictures within, and no script.
REPORT_POLICY = (
    "default-src 'none'; style-src 'unsafe-inline'; img-src data:; base-uri 'none'; form-action 'none'; "
    "frame-ancestors 'none'"
)
CHANGED = "Something was changed since this answer: measure again first."
MOST_ENTRIES = 40  # readings and trial lines of one joint


async def answer(request: Request) -> Response:
    """What to set the points to, or why there is nothing to set."""
    drafts, draft = jobs_of(request).drafts, draft_of(request)
    told = answer_of(drafts, draft.id)
    if draft.state == MEASURING or told is None:
        return see(f"/joint/{draft.id}")
    if draft.state == REFUSED and told["status"] != "refused":  # it was interrupted
        return see(f"/joint/{draft.id}")
    photos = photographs(drafts, draft.id)
    context = answer_context(draft, told, photos)
    context["joint"]["changed"] = is_of_before(draft, photos)
    return page(request, "answer.html", **context)


async def answer_json(request: Request) -> Response:
    """The same for programs, as `measure --json` writes it."""
    _, told = _answered(request, refused_too=True)
    return JSONResponse(told, headers=NO_STORE)


async def picture(request: Request) -> Response:
    """The picture of the answer."""
    draft, _ = _answered(request)
    place = folder_of_draft(jobs_of(request).drafts, draft.id) / PICTURE
    if not place.exists():
        raise MeasurementError("no-answer", "The picture is not there: measure again.")
    return FileResponse(place, media_type="image/jpeg", headers=NO_STORE)


async def picture_page(request: Request) -> Response:
    """The picture, to look at with two fingers."""
    from gapvision.answer.as_json import measurement_of

    draft, told = _answered(request)
    words = profile_view(measurement_of(told), draft.units).words
    return page(request, "picture.html", joint=joint_head(draft), words=words)


async def report(request: Request) -> Response:
    """The report of the answer, to share."""
    draft, _ = _answered(request)
    jobs, kind, paper = jobs_of(request), kind_of(request), paper_of(draft.units)
    file = folder_of_draft(jobs.drafts, draft.id) / ANSWER
    content = await in_worker(jobs.fitting, report_of, file, draft.joint, draft.units, kind, paper)
    return report_response(content, kind)


def kind_of(request: Request) -> str:
    """``.html`` or ``.pdf``, as the address ends."""
    return Path(request.url.path).suffix


def paper_of(units: str) -> str:
    """The paper that is at hand where these units are used."""
    return "letter" if units == "in" else "a4"


def report_response(content: bytes, kind: str) -> Response:
    """A report as the browser may show it, and do no more."""
    headers = NO_STORE | {"Content-Security-Policy": REPORT_POLICY}
    return Response(content, media_type=REPORTS[kind], headers=headers)


async def readings(request: Request) -> Response:
    """A caliper reading or a trial line more, or one less; then it is measured again."""
    jobs, draft = jobs_of(request), draft_of(request)
    form = await request.form()
    kind = "trials" if form.get("kind") == "trial" else "readings"
    told = answer_of(jobs.drafts, draft.id)
    entry = None if form.get("remove") is not None else entry_of(form, draft.units, told)

    def changed(old: Draft) -> Draft:
        entries = list(getattr(old, kind))
        if entry is None:
            entries = [text for text in entries if text != form["remove"]]
        elif entry not in entries:
            entries.append(entry)
        told = tuple(entries[:MOST_ENTRIES])
        return replace(old, trials=told) if kind == "trials" else replace(old, readings=told)

    change_draft(jobs.drafts, draft.id, changed)
    if told is not None and draft.state != KEPT:
        begin_measuring(jobs, draft.id)
    return see(f"/joint/{draft.id}")


def entry_of(form: Mapping[str, object], units: str, answer: dict | None) -> str:
    """A reading or trial line as `measure` takes it, from the fields of a form.

    ``value``, and ``setting`` of a trial line; ``place`` along the log from the first card's nail, or
    from the ``card`` of a number, to its ``hand`` left or right; or the widest place where none is told.

    Raises
    ------
    MeasurementError
        ``bad-entry``.
    """
    fields = {
        k: str(form.get(k) or "").strip() for k in ("value", "setting", "place", "card", "hand")
    }
    try:
        at = _station(fields, units, answer)
        if form.get("kind") == "trial":
            text = f"{fields['setting']}:{fields['value']}@{at}"
            parse_trial(text, units)
        else:
            text = f"{fields['value']}@{at}"
            parse_reading(text, units)
    except ValueError as error:
        said = str(error)
        raise MeasurementError("bad-entry", f"{said[:1].upper()}{said[1:]}") from None
    return text


def _station(fields: dict[str, str], units: str, answer: dict | None) -> str:
    """Where it was read, as `--reading` takes it."""
    if not fields["place"] and not fields["card"]:
        return "widest"
    place_mm = parse_length(fields["place"] or "0", units)
    if fields["card"]:
        cards = {str(c["number"]): c["station_mm"] for c in (answer or {}).get("cards", ())}
        if fields["card"] not in cards:
            raise ValueError(f"card {fields['card']} is none of the answer's: name one that is.")
        place_mm = cards[fields["card"]] + (-place_mm if fields["hand"] == "left" else place_mm)
    return f"{place_mm:.1f}mm" if units == "mm" else f"{place_mm / 25.4:.3f}in"


async def keep(request: Request) -> Response:
    """Keep the answer in the archive."""
    jobs = jobs_of(request)
    draft, told = _answered(request)
    if draft.state == KEPT:
        return see(f"/record/{draft.record}")
    given = given_photographs(photographs(jobs.drafts, draft.id))
    if draft.asked != asked_hash(draft, given):
        raise MeasurementError("changed", CHANGED)
    options = options_of(jobs, draft, given)
    folder = folder_of_draft(jobs.drafts, draft.id)
    new = await in_worker(jobs.fitting, record_of, draft.joint, options, told, folder)
    record = await to_thread.run_sync(_kept, jobs, draft, new)
    return see(f"/record/{record}")


def _kept(jobs: Jobs, draft: Draft, new: NewRecord) -> int | None:
    """The record of a draft, made once whatever is pressed twice."""
    from gapvision.archive.record import add_record
    from gapvision.archive.store import open_archive

    def kept(old: Draft) -> Draft:
        if old.state == KEPT:
            return old
        with open_archive(jobs.drafts.parent, create=True) as opened:
            return replace(old, state=KEPT, record=add_record(opened, new).record)

    return change_draft(jobs.drafts, draft.id, kept).record


def _answered(request: Request, refused_too: bool = False) -> tuple[Draft, dict]:
    draft = draft_of(request)
    told = answer_of(jobs_of(request).drafts, draft.id)
    if told is None or (told["status"] == "refused" and not refused_too):
        raise MeasurementError("no-answer", "This joint has no answer yet: measure it first.")
    return draft, told
