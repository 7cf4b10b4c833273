"""The page as an application: its addresses, and what a refusal looks like."""

from __future__ import annotations

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path

import anyio
from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Mount, Route
from starlette.staticfiles import StaticFiles

from gapvision.errors import MeasurementError
from gapvision.page import joint_pages, upload_pages
from gapvision.page.drafts import NoDraft
from gapvision.page.jobs import Jobs, resume
from gapvision.page.rendering import STATIC, page
from gapvision.page.workers import workers

GET, POST = ["GET"], ["POST"]

ROUTES = [
    Route("/", joint_pages.home, methods=GET),
    Route("/new", joint_pages.new_joint, methods=GET + POST),
    Route("/joint/{id}", joint_pages.joint, methods=GET),
    Route("/joint/{id}/form", joint_pages.joint_form, methods=GET + POST),
    Route("/joint/{id}/state", joint_pages.state, methods=GET),
    Route("/joint/{id}/photographs", upload_pages.photographs_form, methods=POST),
    Route("/joint/{id}/photo/{sha}/view.jpg", joint_pages.view, methods=GET),
    Route("/joint/{id}/photo/{sha}/drop", joint_pages.drop_photograph, methods=POST),
    Route("/joint/{id}/photo/{sha}/take-back", joint_pages.drop_photograph, methods=POST),
    Route("/joint/{id}/measure", joint_pages.measure, methods=POST),
    Route("/joint/{id}/cancel", joint_pages.stop, methods=POST),
    Route("/joint/{id}/answer", joint_pages.answer, methods=GET),
    Route("/joint/{id}/answer.json", joint_pages.answer_json, methods=GET),
    Mount("/static", StaticFiles(directory=STATIC)),
]


def page_app(drafts: Path) -> Starlette:
    """The application that serves the drafts of an archive."""
    app = Starlette(
        routes=ROUTES, lifespan=_at_work, exception_handlers={MeasurementError: _refused}
    )
    app.state.jobs = Jobs(drafts, workers())
    return app


@asynccontextmanager
async def _at_work(app: Starlette) -> AsyncIterator[None]:
    async with anyio.create_task_group() as tasks:
        app.state.jobs.tasks = tasks
        resume(app.state.jobs)
        yield
        tasks.cancel_scope.cancel()


async def _refused(request: Request, error: MeasurementError) -> Response:
    status = 404 if isinstance(error, NoDraft) else 422
    if "text/html" in request.headers.get("accept", ""):
        return page(request, "refused.html", status, sentence=error.text)
    return JSONResponse({"code": error.code, "sentence": error.text}, status)
