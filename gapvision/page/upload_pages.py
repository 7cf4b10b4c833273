"""Photographs as they arrive: several at once by a plain form."""

from __future__ import annotations

import hashlib

from anyio import to_thread
from starlette.requests import Request
from starlette.responses import Response

from gapvision.page.drafts import add_photograph, arriving, load_draft
from gapvision.page.jobs import Jobs, begin_verdict
from gapvision.page.rendering import see


async def photographs_form(request: Request) -> Response:
    """Several photographs by a plain form."""
    jobs: Jobs = request.app.state.jobs
    draft = load_draft(jobs.drafts, request.path_params["id"])
    async with request.form(max_files=40, max_fields=10) as form:
        for upload in form.getlist("photographs"):
            if getattr(upload, "size", 0):
                sha256 = await to_thread.run_sync(_taken, jobs, draft.id, upload)
                begin_verdict(jobs, draft.id, sha256)
    return see(f"/joint/{draft.id}")


def _taken(jobs: Jobs, draft_id: str, upload) -> str:
    digest = hashlib.sha256()
    with arriving(jobs.drafts, draft_id) as work:
        file = work / "part"
        content = upload.file.read()
        digest.update(content)
        file.write_bytes(content)
        add_photograph(jobs.drafts, draft_id, file, digest.hexdigest(), upload.filename or "")
    return digest.hexdigest()
