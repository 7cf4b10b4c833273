"""Photographs of many joints at once, sorted by the slips among them."""

from __future__ import annotations

from contextlib import suppress

from anyio import to_thread
from starlette.requests import Request
from starlette.responses import Response

from gapvision.page.asking import draft_of, jobs_of, units_of
from gapvision.page.drafts import Draft, NoDraft, load_draft, new_draft, remove_draft
from gapvision.page.jobs import begin_verdict
from gapvision.page.photographs import photographs
from gapvision.page.rendering import page, see
from gapvision.page.roll_view import roll_context
from gapvision.page.rolls import sort_into_drafts, sorted_roll
from gapvision.page.upload_pages import take_form


async def begin_roll(request: Request) -> Response:
    """A roll begins with its first photographs: those of each phone are one by themselves."""
    if request.method == "GET":
        return page(request, "roll.html", **roll_context(None))
    jobs = jobs_of(request)
    draft = new_draft(jobs.drafts, Draft("", "", "", "", units=units_of(request), roll=True))
    if request.headers.get("content-type", "").startswith("multipart/"):
        await take_form(request, draft.id)
    return see(f"/roll/{draft.id}")


async def roll(request: Request) -> Response:
    """How far a roll is: photographs by their slips, and the joints that they went to."""
    jobs, draft = jobs_of(request), draft_of(request)
    photos = photographs(jobs.drafts, draft.id)
    joints = []
    for draft_id, count in draft.sorted_into.items():
        with suppress(NoDraft):
            joints.append((load_draft(jobs.drafts, draft_id), count))
    found = sorted_roll(jobs.drafts, draft, photos)
    return page(request, "roll.html", **roll_context(draft, photos, found, joints))


async def sort(request: Request) -> Response:
    """Each photograph to its joint; what has no slip stays."""
    jobs, draft = jobs_of(request), draft_of(request)
    photos = photographs(jobs.drafts, draft.id)
    done = await to_thread.run_sync(sort_into_drafts, jobs.drafts, draft, photos)
    for draft_id in done.sorted_into:
        with suppress(NoDraft):
            for photo in photographs(jobs.drafts, draft_id):
                begin_verdict(jobs, draft_id, photo.sha256)
    left = photographs(jobs.drafts, draft.id)
    if not left and len(done.sorted_into) == 1 and not done.sentence:
        await to_thread.run_sync(remove_draft, jobs.drafts, draft.id)
        return see(f"/joint/{next(iter(done.sorted_into))}")
    return see(f"/roll/{draft.id}")
