"""The page as an application: its addresses, and what a refusal looks like."""

from __future__ import annotations

from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from pathlib import Path

import anyio
from starlette.applications import Starlette
from starlette.requests import ClientDisconnect, Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Mount, Route
from starlette.staticfiles import StaticFiles
from starlette.types import ASGIApp

from gapvision.errors import MeasurementError
from gapvision.files import FULL
from gapvision.page import (
    answer_pages,
    archive_pages,
    correcting_pages,
    home_pages,
    joint_pages,
    roll_pages,
    upload_pages,
)
from gapvision.page.asking import jobs_of
from gapvision.page.drafts import NoDraft
from gapvision.page.jobs import Jobs, begin, clean, log_mistake, resume
from gapvision.page.rendering import STATIC, lasting, page
from gapvision.page.safety import Pairing, guarded
from gapvision.page.workers import warm

GET, POST, BOTH = ["GET"], ["POST"], ["GET", "POST"]
STATUS = {
    "too-large": 413, "bad-type": 415, "archive-full": 507, "not-written": 507, "too-many": 429,
    "taken-over": 409, "changed": 409, "no-record": 404, "no-answer": 404, "no-picture": 404,
}  # fmt: skip

_JOINT = [
    Route("/", joint_pages.joint, methods=GET),
    Route("/form", joint_pages.joint_form, methods=BOTH),
    Route("/state", joint_pages.state, methods=GET),
    Route("/remove", joint_pages.remove, methods=POST),
    Route("/photographs", upload_pages.photographs_form, methods=POST),
    Route("/uploads", upload_pages.create, methods=POST),
    Route("/photo/{sha}", joint_pages.photo, methods=GET),
    Route("/photo/{sha}/view.jpg", joint_pages.view, methods=GET),
    Route("/photo/{sha}/thumb.jpg", joint_pages.view, methods=GET),
    Route("/photo/{sha}/drop", joint_pages.drop_photograph, methods=POST),
    Route("/photo/{sha}/take-back", joint_pages.take_back, methods=POST),
    Route("/outlines", correcting_pages.outlines, methods=BOTH),
    Route("/measure", joint_pages.measure, methods=POST),
    Route("/cancel", joint_pages.stop, methods=POST),
    Route("/answer", answer_pages.answer, methods=GET),
    Route("/answer.json", answer_pages.answer_json, methods=GET),
    Route("/picture", answer_pages.picture_page, methods=GET),
    Route("/picture.jpg", answer_pages.picture, methods=GET),
    Route("/readings", answer_pages.readings, methods=POST),
    Route("/keep", answer_pages.keep, methods=POST),
    Route("/report.html", answer_pages.report, methods=GET),
    Route("/report.pdf", answer_pages.report, methods=GET),
]
ROUTES = [
    Route("/", home_pages.home, methods=GET),
    Route("/settings", home_pages.settings, methods=BOTH),
    Route("/new", joint_pages.new_joint, methods=BOTH),
    *(
        Route("/joint/{id}" + r.path.rstrip("/"), r.endpoint, methods=list(r.methods or ()))
        for r in _JOINT
    ),
    Route("/roll", roll_pages.begin_roll, methods=BOTH),
    Route("/roll/{id}", roll_pages.roll, methods=GET),
    Route("/roll/{id}/sort", roll_pages.sort, methods=POST),
    Route("/archive", archive_pages.archive, methods=GET),
    Route("/walls", archive_pages.walls, methods=GET),
    Route("/wall", archive_pages.wall, methods=GET),
    Route("/wall/report.html", archive_pages.wall_report, methods=GET),
    Route("/wall/report.pdf", archive_pages.wall_report, methods=GET),
    Route("/record/{number:int}", archive_pages.record, methods=GET),
    Route("/record/{number:int}/report.html", archive_pages.record_report, methods=GET),
    Route("/record/{number:int}/report.pdf", archive_pages.record_report, methods=GET),
    Route("/record/{number:int}/outcome", archive_pages.outcome, methods=BOTH),
    Route("/uploads/{uid}", upload_pages.offset, methods=["HEAD"]),
    Route("/uploads/{uid}", upload_pages.append, methods=["PATCH"]),
    Route("/uploads/{uid}", upload_pages.abandon, methods=["DELETE"]),
    Mount("/static", lasting(StaticFiles(directory=STATIC))),
]


def page_app(
    drafts: Path,
    pairing: Pairing | None = None,
    tell_mistake: Callable[[Exception], None] | None = None,
) -> ASGIApp:
    """The application that serves the drafts of an archive, behind its guard.

    Parameters
    ----------
    drafts : Path
        As `drafts_folder` makes it.
    pairing : Pairing, optional
        Where phones are served, and not this computer alone.
    tell_mistake : callable, optional
        Tells the person at this computer of what nobody expected; logged where there is none.
    """
    app = Starlette(
        routes=ROUTES,
        lifespan=_at_work,
        exception_handlers={
            MeasurementError: _refused,
            OSError: _disk,
            ClientDisconnect: _gone,
            Exception: _failed,
        },
    )
    app.router.redirect_slashes = False
    app.state.jobs = Jobs(drafts, tell_mistake=tell_mistake or log_mistake)
    return guarded(app, pairing, upload_pages.most_bytes)


@asynccontextmanager
async def _at_work(app: Starlette) -> AsyncIterator[None]:
    jobs = app.state.jobs
    async with anyio.create_task_group() as tasks:
        jobs.tasks = tasks
        begin(jobs, warm, jobs.looking)
        begin(jobs, clean, jobs)
        resume(jobs)
        yield
        tasks.cancel_scope.cancel()


async def _refused(request: Request, error: Exception) -> Response:
    assert isinstance(error, MeasurementError)
    status = 404 if isinstance(error, NoDraft) else STATUS.get(error.code, 422)
    return _said(request, error.code, error.text, status)


async def _disk(request: Request, error: Exception) -> Response:
    """What the disk refuses: it may be full, or unplugged."""
    assert isinstance(error, OSError)
    folder = jobs_of(request).drafts.parent
    why = error.strerror or type(error).__name__
    text = f"The disk of the archive {folder} refuses ({why}): is it full, or unplugged?"
    return _said(request, "not-written", text, 507 if error.errno in FULL else 503)


async def _gone(request: Request, error: Exception) -> Response:
    """Nobody waits for this answer."""
    return Response(status_code=408)


async def _failed(request: Request, error: Exception) -> Response:
    """What nobody expected ends this request alone."""
    jobs_of(request).tell_mistake(error)
    text = f"The program failed at this ({type(error).__name__}). What was sent before is safe."
    return _said(request, "failed", text, 500)


def _said(request: Request, code: str, text: str, status: int) -> Response:
    if "text/html" in request.headers.get("accept", ""):
        return page(request, "refused.html", status, sentence=text)
    return JSONResponse({"code": code, "sentence": text}, status)
