"""The pages of one joint at work: what was entered, its photographs, and the way to its answer."""

from __future__ import annotations

from dataclasses import replace

from starlette.requests import Request
from starlette.responses import FileResponse, JSONResponse, Response

from gapvision.inputs.preferences import load_preferences
from gapvision.page.answer_view import answer_context
from gapvision.page.drafts import (
    MEASURING,
    Draft,
    all_drafts,
    answer_of,
    change_draft,
    drop,
    load_draft,
    new_draft,
    photo_path,
    photograph,
    photographs,
)
from gapvision.page.entries import read_form
from gapvision.page.form_view import form_context, joined_ends
from gapvision.page.jobs import Jobs, begin_measuring, cancel, progress_of
from gapvision.page.joint_view import joint_context, joint_row, measuring_context
from gapvision.page.rendering import page, see

NO_STORE = {"Cache-Control": "no-store"}


async def home(request: Request) -> Response:
    """What is at work, and where to begin."""
    drafts = _jobs(request).drafts
    rows = [
        joint_row(d, photographs(drafts, d.id), answer_of(drafts, d.id)) for d in all_drafts(drafts)
    ]
    return page(request, "home.html", joints=rows, walls=[])


async def new_joint(request: Request) -> Response:
    """The form of a new joint; what was entered last stands in it."""
    jobs, preferred = _jobs(request), load_preferences()
    if request.method == "GET":
        last = next(iter(all_drafts(jobs.drafts)), None)
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
    jobs = _jobs(request)
    draft = _draft(request)
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
    return see(f"/joint/{draft.id}")


async def joint(request: Request) -> Response:
    """Its photographs, and the button to measure."""
    draft = _draft(request)
    state = _state(request, draft)
    if draft.state == MEASURING:
        return page(request, "measuring.html", **measuring_context(draft, state["progress"]))
    return page(request, "joint.html", **joint_context(draft, state))


async def state(request: Request) -> Response:
    """How far a joint is, for the page's script."""
    return JSONResponse(_state(request, _draft(request)), headers=NO_STORE)


async def drop_photograph(request: Request) -> Response:
    """Leave a photograph out, or take it back."""
    draft = _draft(request)
    drop(
        _jobs(request).drafts,
        draft.id,
        request.path_params["sha"],
        request.url.path.endswith("/drop"),
    )
    return see(f"/joint/{draft.id}")


async def view(request: Request) -> Response:
    """A photograph to look at."""
    drafts, draft = _jobs(request).drafts, _draft(request)
    photo = photograph(drafts, draft.id, request.path_params["sha"])
    return FileResponse(photo_path(drafts, draft.id, photo), media_type="image/jpeg")


async def measure(request: Request) -> Response:
    """Have it measured; where it is at work, its page tells how far."""
    draft = _draft(request)
    begin_measuring(_jobs(request), draft.id)
    return see(f"/joint/{draft.id}")


async def stop(request: Request) -> Response:
    """Measure no longer."""
    draft = _draft(request)
    cancel(_jobs(request), draft.id)
    return see(f"/joint/{draft.id}")


async def answer(request: Request) -> Response:
    """What to set the points to."""
    drafts, draft = _jobs(request).drafts, _draft(request)
    told = answer_of(drafts, draft.id)
    if draft.state == MEASURING or told is None:
        return see(f"/joint/{draft.id}")
    context = answer_context(draft, told, photographs(drafts, draft.id))
    return page(request, "answer.html", **context)


async def answer_json(request: Request) -> Response:
    """The same for programs, as `measure --json` writes it."""
    told = answer_of(_jobs(request).drafts, _draft(request).id)
    if told is None:
        return JSONResponse({"sentence": "This joint was not measured yet."}, 404)
    return JSONResponse(told, headers=NO_STORE)


def _state(request: Request, draft: Draft) -> dict:
    jobs = _jobs(request)
    photos = photographs(jobs.drafts, draft.id)
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
        "next": "",
        "uploads": [],
    }  # fmt: skip


def _form(
    request: Request, draft: Draft | None, fields: dict, faults: dict, status: int = 200
) -> Response:
    known = all_drafts(_jobs(request).drafts)
    return page(request, "form.html", status, **form_context(draft, fields, faults, known))


def _remembered(last: Draft | None) -> dict[str, str]:
    """What the next joint has likely alike: all but the log, and where its notches are."""
    if last is None:
        return {}
    alike = {k: v for k, v in last.entries.items() if k not in ("from", "to")}
    return alike | {"building": last.building, "wall": last.wall, "units": last.units}


def _jobs(request: Request) -> Jobs:
    return request.app.state.jobs


def _draft(request: Request) -> Draft:
    return load_draft(_jobs(request).drafts, request.path_params["id"])
