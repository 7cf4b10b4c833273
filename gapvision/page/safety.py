"""Who may ask: this computer alone, or phones that were paired; and what no answer may do in a browser.

Each threat is told with its answer in docs/page.md and has a test in tests/page/test_safety.py.
"""

from __future__ import annotations

import hmac
import secrets
import socket
import time
from collections import OrderedDict
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import HTMLResponse, PlainTextResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from gapvision.errors import MeasurementError

COOKIE = "gapvision"
COOKIE_S = 7 * 24 * 3600
PAIR = "/pair/"
READS = frozenset({"GET", "HEAD"})
MOST_WRONG, WRONG_S = 5, 60.0  # wrong pairings of one address in so many seconds
MOST_ADDRESSES = 256  # whose wrong pairings are remembered
MOST_FORM = 1_000_000  # bytes of what is no photograph; the outlines of a dozen photographs
HEADERS = {
    "Content-Security-Policy": "default-src 'none'; script-src 'self'; style-src 'self'; "
    "img-src 'self' blob: data:; connect-src 'self'; manifest-src 'self'; form-action 'self'; "
    "base-uri 'none'; frame-ancestors 'none'",
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "geolocation=(), microphone=(), payment=(), usb=()",
    # Not "no-referrer": of such a page browsers send "Origin: null" with its own forms.
    "Referrer-Policy": "same-origin",
}
SCAN = (
    "<!doctype html><html lang=en><meta charset=utf-8>"
    "<meta name=viewport content='width=device-width, initial-scale=1'><title>Not paired</title>"
    "<h1>Scan the code on the laptop</h1><p>This phone is not paired, or the program on the laptop "
    "was started again: point the phone's camera at the code on its screen."
)


class TooLarge(MeasurementError):
    """More was sent than is taken."""


@dataclass(frozen=True, eq=False, slots=True)
class Pairing:
    """The secret of the code's address and what a paired phone then shows; both new at each start."""

    secret: str = field(default_factory=lambda: secrets.token_urlsafe(32))
    session: str = field(default_factory=lambda: secrets.token_urlsafe(32))
    wrong: OrderedDict[str, list[float]] = field(default_factory=OrderedDict)


def guarded(
    app: ASGIApp, pairing: Pairing | None, most_bytes: Callable[[str], int | None]
) -> ASGIApp:
    """The application behind all that a request has to pass.

    Parameters
    ----------
    app : ASGIApp
    pairing : Pairing or None
        None where only this computer is served.
    most_bytes : callable
        How much a path takes; None for `MOST_FORM`.
    """

    async def guard(scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            if scope["type"] == "lifespan":
                await app(scope, receive, send)
            return  # websockets are none of this page's
        sending = _with_headers(send)
        refusal = _refusal(scope, pairing)
        if refusal is not None:
            await refusal(scope, receive, sending)
            return
        most = most_bytes(scope["path"]) or MOST_FORM
        length = Headers(scope=scope).get("content-length", "0")
        if not length.isdecimal() or int(length) > most:
            await _too_large(scope, receive, sending)
            return
        with suppress(Exception):  # Starlette raises once more what it has answered and told
            await app(scope, _counted(receive, most), sending)

    return guard


def _refusal(scope: Scope, pairing: Pairing | None) -> Response | None:
    """Why a request goes no further, or the answer to a pairing; None where it may go on."""
    headers = Headers(scope=scope)
    if headers.get("host", "") not in hosts_of(scope):
        text = "This address is not the page's: open the one that the laptop shows."
        return PlainTextResponse(text, 421)
    if not _same_origin(scope, headers):
        return PlainTextResponse("Another site's page asked for this, which it may not.", 403)
    path = scope["path"]
    if pairing is None or path.startswith("/static/"):
        return None
    if path.startswith(PAIR):
        return _paired(scope, pairing, path.removeprefix(PAIR))
    if hmac.compare_digest(_cookie(headers).encode(), pairing.session.encode()):
        return None
    return HTMLResponse(SCAN, 401)


def hosts_of(scope: Scope) -> set[str]:
    """What a request may call this computer: the address that it came in by, or its name."""
    address, port = scope["server"] or ("", None)
    names = {address, f"{socket.gethostname().removesuffix('.local')}.local".lower()}
    if address in ("127.0.0.1", "::1"):
        names = {address, "localhost"}
    bracketed = {f"[{name}]" if ":" in name else name for name in names if name}
    return bracketed if port == 80 else {f"{name}:{port}" for name in bracketed}


def _same_origin(scope: Scope, headers: Headers) -> bool:
    """Whether the page itself asks, or a person who typed the address or scanned the code."""
    origin = headers.get("origin")
    if origin is not None:
        return origin == f"http://{headers['host']}"
    site = headers.get("sec-fetch-site")
    if scope["method"] not in READS:
        return site == "same-origin"
    goes = (
        headers.get("sec-fetch-mode") == "navigate" and headers.get("sec-fetch-dest") == "document"
    )
    return site in (None, "same-origin", "none") or goes


def _paired(scope: Scope, pairing: Pairing, told: str) -> Response:
    """A phone paired by the right secret, which its address bar then no longer shows."""
    address = (scope.get("client") or ("", 0))[0]
    wrong = [t for t in pairing.wrong.get(address, ()) if time.monotonic() - t < WRONG_S]
    if len(wrong) >= MOST_WRONG:
        return PlainTextResponse("Too many wrong codes: wait a minute, then scan again.", 429)
    if not hmac.compare_digest(told.encode(), pairing.secret.encode()):
        pairing.wrong[address] = [*wrong, time.monotonic()]
        pairing.wrong.move_to_end(address)
        while len(pairing.wrong) > MOST_ADDRESSES:
            pairing.wrong.popitem(last=False)
        return HTMLResponse(SCAN, 403)
    response = RedirectResponse("/", 303)
    response.set_cookie(
        COOKIE, pairing.session, max_age=COOKIE_S, httponly=True, samesite="strict", path="/"
    )
    response.headers["Referrer-Policy"] = "no-referrer"
    response.headers["Cache-Control"] = "no-store"
    return response


def _cookie(headers: Headers) -> str:
    for part in headers.get("cookie", "").split(";"):
        name, _, value = part.strip().partition("=")
        if name == COOKIE:
            return value
    return ""


def _with_headers(send: Send) -> Send:
    async def sending(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            for name, value in HEADERS.items():
                headers.setdefault(name, value)
        await send(message)

    return sending


def _counted(receive: Receive, most: int) -> Receive:
    """What arrives, and an end to it where more arrives than may, whatever was announced."""
    arrived = 0

    async def receiving() -> Message:
        nonlocal arrived
        message = await receive()
        arrived += len(message.get("body", b""))
        if arrived > most:
            raise TooLarge("too-large", _too_large_text(most))
        return message

    return receiving


def _too_large_text(most: int) -> str:
    return (
        f"More than {most / 1e6:.0f} MB was sent at once: send fewer photographs, or smaller ones."
    )


async def _too_large(scope: Scope, receive: Receive, send: Send) -> None:
    text = "More was sent at once than is taken: send fewer photographs, or smaller ones."
    await PlainTextResponse(text, 413)(scope, receive, send)
