"""What a person changes in the lines of photographs, told by the page's script."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import Any

from anyio import to_thread
from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from gapvision.errors import MeasurementError
from gapvision.inputs.corrections import corrections_of
from gapvision.page.asking import draft_of, jobs_of
from gapvision.page.drafts import Draft, change_draft
from gapvision.page.photographs import drop, photograph
from gapvision.page.upload_pages import check_type

NO_STORE = {"Cache-Control": "no-store"}


async def outlines(request: Request) -> Response:
    """What was changed by hand, by the photographs' hashes; sent, it replaces that of those it names."""
    jobs, draft = jobs_of(request), draft_of(request)
    if request.method == "GET":
        return JSONResponse(draft.corrections, headers=NO_STORE)
    check_type(request, "application/json")
    sent = _read(await request.body())
    names = {sha: photograph(jobs.drafts, draft.id, sha).file_name for sha in sent}
    corrections_of(sent, names)
    for sha256, value in sent.items():
        if "dropped" in value:
            await to_thread.run_sync(drop, jobs.drafts, draft.id, sha256, value.pop("dropped"))

    def changed(old: Draft) -> Draft:
        kept = {sha: value for sha, value in (old.corrections | sent).items() if value}
        return replace(old, corrections=kept)

    await to_thread.run_sync(change_draft, jobs.drafts, draft.id, changed)
    return Response(status_code=204)


def _read(body: bytes) -> dict[str, dict[str, Any]]:
    try:
        sent = json.loads(body)
    except (RecursionError, ValueError):
        sent = None
    if not isinstance(sent, dict) or not all(isinstance(v, dict) for v in sent.values()):
        text = "What was changed by hand is a group of values by the photographs' hashes."
        raise MeasurementError("bad-correction", text)
    return sent
