"""The pages of one joint at work: what was entered, its photographs, and the way to its answer."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import replace
from pathlib import Path

from anyio import to_thread
from starlette.requests import Request
from starlette.responses import FileResponse, JSONResponse, Response

from gapvision.errors import MeasurementError
from gapvision.inputs.preferences import load_preferences
from gapvision.page.asking import draft_of, jobs_of
from gapvision.page.drafts import (
    MEASURING,
    Draft,
    all_drafts,
    answer_of,
    change_draft,
    new_draft,
    remove_draft,
)
from gapvision.page.entries import asked_of, read_form
from gapvision.page.form_view import form_context, joined_ends
from gapvision.page.jobs import (
    asked_hash,
    begin_measuring,
    begin_verdict,
    cancel,
    given_photographs,
    progress_of,
)
from gapvision.page.joint_view import joint_context, measuring_context
from gapvision.page.photo_view import photo_context
from gapvision.page.photographs import (
    Photograph,
    drop,
    photo_folder,
    photo_path,
    photograph,
    photographs,
)
from gapvision.page.rendering import page, see
from gapvision.page.uploads import uploads_of
from gapvision.page.verdicts import make_views, sight_read
from gapvision.page.workers import in_worker

NO_STORE = {"Cache-Control": "no-store"}
PRIVATE = {"Cache-Control": "private, max-age=86400"}  # a photograph's address has its hash


async def new_joint(request: Request) -> Response:
    """The form of a new joint; what was entered last stands in it."""
    jobs, preferred = jobs_of(request), load_preferences()
    if request.method == "GET":
        last = next((d for d in all_drafts(jobs.drafts) if not d.roll), None)
        fields = _remembered(last) | {k: v[:80] for k, v in request.query_params.items()}
        return _form(request, None, fields, {})
    entered = read_form(joined_ends(await request.form()), preferred)
    if entered.faults:
        return _form(request, None, entered.fields, entered.faults, 422)
    joint = entered.joint
    draft = Draft(
        "", joint.building, joint.wall, joint.log, entered.entries, entered.fields["units"]
    )
    return see(f"/joint/{new_draft(jobs.drafts, draft).id}")


async def joint_form(request: Request) -> Response:
    """The same later."""
    jobs = jobs_of(request)
    draft = draft_of(request)
    if request.method == "GET":
        names = {"building": draft.building, "wall": draft.wall, "log": draft.log}
        fields = names | draft.entries | {"units": draft.units}
        return _form(request, draft, fields, {})
    entered = read_form(joined_ends(await request.form()), load_preferences())
    if entered.faults:
        return _form(request, draft, entered.fields, entered.faults, 422)
    joint = entered.joint

    def changed(old: Draft) -> Draft:
        return replace(
            old, building=joint.building, wall=joint.wall, log=joint.log, entries=entered.entries,
            units=entered.fields["units"],
        )  # fmt: skip

    change_draft(jobs.drafts, draft.id, changed)
    for photo in photographs(jobs.drafts, draft.id):  # of other logs it may say something else
        begin_verdict(jobs, draft.id, photo.sha256, anew=True)
    return see(f"/joint/{draft.id}")


async def joint(request: Request) -> Response:
    """Its photographs, and the button to measure."""
    draft = draft_of(request)
    if draft.roll:
        return see(f"/roll/{draft.id}")
    state = state_of(request, draft)
    if draft.state == MEASURING:
        return page(request, "measuring.html", **measuring_context(draft, state["progress"]))
    return page(request, "joint.html", **joint_context(draft, state))


async def state(request: Request) -> Response:
    """How far a joint is, for the page's script."""
    return JSONResponse(state_of(request, draft_of(request)), headers=NO_STORE)


async def drop_photograph(request: Request) -> Response:
    """Leave a photograph out."""
    draft, sha256 = draft_of(request), request.path_params["sha"]
    await to_thread.run_sync(drop, jobs_of(request).drafts, draft.id, sha256, True)
    return see(f"/joint/{draft.id}")


async def take_back(request: Request) -> Response:
    """Take it back; what could not be looked at is looked at again."""
    jobs, draft, sha256 = jobs_of(request), draft_of(request), request.path_params["sha"]
    await to_thread.run_sync(drop, jobs.drafts, draft.id, sha256, False)
    verdict = photograph(jobs.drafts, draft.id, sha256).verdict
    begin_verdict(jobs, draft.id, sha256, anew=verdict is not None and not verdict["ok"])
    return see(f"/joint/{draft.id}")


async def view(request: Request) -> Response:
    """A photograph to look at: upright, reduced, and without what its file tells of place and phone."""
    jobs, draft, sha256 = jobs_of(request), draft_of(request), request.path_params["sha"]
    photo, name = photograph(jobs.drafts, draft.id, sha256), Path(request.url.path).name
    place = photo_folder(jobs.drafts, draft.id, sha256) / name
    if not place.exists() and not await in_worker(
        jobs.looking, make_views, photo_path(jobs.drafts, draft.id, photo)
    ):
        raise MeasurementError("no-picture", "This photograph cannot be shown.")
    return FileResponse(place, media_type="image/jpeg", headers=PRIVATE)


async def photo(request: Request) -> Response:
    """A photograph with the lines that were traced in it, to look at and to correct."""
    jobs, draft, sha256 = jobs_of(request), draft_of(request), request.path_params["sha"]
    shown = photograph(jobs.drafts, draft.id, sha256)
    details = (shown.verdict or {}).get("details", {})
    size = (details["width_px"], details["height_px"]) if "width_px" in details else None
    told = answer_of(jobs.drafts, draft.id)
    context = photo_context(draft, shown, told, draft.corrections.get(sha256, {}), size)
    return page(request, "photo.html", **context)


async def measure(request: Request) -> Response:
    """Have it measured; where it is at work, its page tells how far."""
    draft = draft_of(request)
    begin_measuring(jobs_of(request), draft.id)
    return see(f"/joint/{draft.id}")


async def remove(request: Request) -> Response:
    """Forget a joint with its photographs; what is in the archive stays there."""
    jobs, draft = jobs_of(request), draft_of(request)
    cancel(jobs, draft.id)
    await to_thread.run_sync(remove_draft, jobs.drafts, draft.id)
    return see("/")


async def stop(request: Request) -> Response:
    """Measure no longer."""
    draft = draft_of(request)
    cancel(jobs_of(request), draft.id)
    return see(f"/joint/{draft.id}")


def state_of(request: Request, draft: Draft) -> dict:
    """How far a joint is: what its page's script is told."""
    jobs = jobs_of(request)
    photos = photographs(jobs.drafts, draft.id)
    given = given_photographs(photos)
    return {
        "state": draft.state,
        "sentence": draft.sentence,
        "record": draft.record,
        "progress": progress_of(jobs, draft.id),
        "photos": [
            {
                "sha256": p.sha256, "number": p.number, "name": p.name, "dropped": p.dropped,
                "verdict": p.verdict,
            }
            for p in photos
        ],
        **_next(draft, photos),
        "stale": bool(draft.asked) and draft.asked != asked_hash(draft, given),
        "uploads": uploads_of(jobs.drafts, draft.id),
    }  # fmt: skip


def _next(draft: Draft, photos: tuple[Photograph, ...]) -> dict[str, str]:
    """Which photograph to take next, by the verdicts of those that are used."""
    from gapvision.shoot.heights import due
    from gapvision.shoot.heights_text import next_text

    told = [p.verdict["details"] for p in photos if p.verdict and not p.dropped]
    sights = [sight for details in told if (sight := sight_read(details)) is not None]
    ends: tuple[float | None, float | None] = None, None
    with suppress(MeasurementError):  # which is told where it is measured
        stretch = asked_of(draft, (), load_preferences()).stretch
        ends = stretch.from_mm, stretch.to_mm
    wanted = due(sights, ends)
    said = next_text(wanted, [sight.distance_mm for sight in sights], draft.units)
    return {"due": wanted.height if wanted else "", "next": said}


def _form(
    request: Request, draft: Draft | None, fields: dict, faults: dict, status: int = 200
) -> Response:
    known = [d for d in all_drafts(jobs_of(request).drafts) if not d.roll]
    return page(request, "form.html", status, **form_context(draft, fields, faults, known))


def _remembered(last: Draft | None) -> dict[str, str]:
    """What the next joint has likely alike: all but the log, and where its notches are."""
    if last is None:
        return {}
    alike = {k: v for k, v in last.entries.items() if k not in ("from", "to")}
    return alike | {"building": last.building, "wall": last.wall, "units": last.units}
