"""The first page, and what one phone prefers."""

from __future__ import annotations

from starlette.requests import Request
from starlette.responses import Response

from gapvision.page.archive_pages import row_of, walls_of
from gapvision.page.asking import LOOKS, UNITS, jobs_of
from gapvision.page.drafts import KEPT, all_drafts
from gapvision.page.photographs import photographs
from gapvision.page.rendering import page, see
from gapvision.page.roll_view import roll_row

YEAR_S = 365 * 24 * 3600


async def home(request: Request) -> Response:
    """What is at work, and where to begin."""
    drafts = jobs_of(request).drafts
    rows = []
    for draft in all_drafts(drafts):
        if draft.roll:
            rows.append(roll_row(draft, photographs(drafts, draft.id)))
        elif draft.state != KEPT:
            rows.append(row_of(jobs_of(request), draft))
    return page(request, "home.html", joints=rows, walls=await walls_of(request))


async def settings(request: Request) -> Response:
    """Look and units of this phone, kept by itself."""
    if request.method == "GET":
        return page(request, "settings.html")
    form = await request.form()
    onward = str(form.get("next") or "/")
    # Of an address that a form names only a place on this very page is gone to.
    response = see(onward if onward.startswith("/") and onward[1:2] not in ("/", "\\") else "/")
    for name, known in (("look", LOOKS), ("units", UNITS)):
        if (value := str(form.get(name))) in known:
            response.set_cookie(
                name, value, max_age=YEAR_S, httponly=True, samesite="strict", path="/"
            )
    return response
