"""Templates to pages: everything escaped, static files by a name that changes with their contents."""

from __future__ import annotations

import gzip
import hashlib
from functools import cache
from pathlib import Path
from typing import Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from starlette.datastructures import MutableHeaders
from starlette.requests import Request
from starlette.responses import HTMLResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from gapvision.lengths import format_length
from gapvision.page.asking import look_of, units_of

HERE = Path(__file__).parent
SCREENS, STATIC = HERE / "screens", HERE / "static"
SEE_OTHER = 303
GZIP = 5  # an answer of 75 kB becomes 12 in a millisecond


def page(request: Request, name: str, status: int = 200, **context: Any) -> Response:
    """A screen, with what every screen knows: the look, and the static files' addresses."""
    known = {
        "look": look_of(request), "units": units_of(request),
        "here": request.url.path, "static": static, "length": format_length,
    }  # fmt: skip
    text = _environment().get_template(name).render(request=request, **known, **context)
    content, headers = text.encode(), {"Cache-Control": "no-store", "Vary": "Accept-Encoding"}
    if "gzip" in request.headers.get("accept-encoding", ""):
        content, headers = gzip.compress(content, GZIP), headers | {"Content-Encoding": "gzip"}
    return HTMLResponse(content, status, headers)


def see(path: str) -> Response:
    """On to another page, after a form was sent."""
    return RedirectResponse(path, SEE_OTHER)


@cache
def static(name: str) -> str:
    """The address of a static file, which changes with what it holds."""
    digest = hashlib.sha256((STATIC / name).read_bytes()).hexdigest()[:12]
    return f"/static/{name}?{digest}"


def lasting(app: ASGIApp) -> ASGIApp:
    """Files that a phone need not ask for again, as far as their addresses change with them."""

    async def sending(scope: Scope, receive: Receive, send: Send) -> None:
        async def kept(message: Message) -> None:
            if message["type"] == "http.response.start" and scope["query_string"]:
                headers = MutableHeaders(scope=message)
                headers["Cache-Control"] = "private, max-age=31536000, immutable"
            await send(message)

        await app(scope, receive, kept)

    return sending


@cache
def _environment() -> Environment:
    return Environment(
        loader=FileSystemLoader(SCREENS), autoescape=True, undefined=StrictUndefined,
        trim_blocks=True, lstrip_blocks=True,
    )  # fmt: skip
