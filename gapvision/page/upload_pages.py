"""Photographs as they arrive: several at once by a plain form, or each in pieces that can be resumed."""

from __future__ import annotations

import shutil
from collections.abc import AsyncIterator
from contextlib import ExitStack, asynccontextmanager, suppress
from urllib.parse import unquote

from anyio import CancelScope, Event, move_on_after, to_thread
from starlette.datastructures import UploadFile
from starlette.requests import ClientDisconnect, Request
from starlette.responses import JSONResponse, Response

from gapvision.archive.refusals import in_words
from gapvision.errors import MeasurementError
from gapvision.page.asking import draft_of, jobs_of
from gapvision.page.jobs import Jobs, begin_verdict
from gapvision.page.rendering import see
from gapvision.page.uploads import (
    MOST_BYTES,
    Upload,
    appending,
    begin_upload,
    check_length,
    check_room,
    finish_upload,
    load_upload,
    remove_upload,
)

MOST_FILES = 40  # of one plain form; more go in two
MOST_SENT = 400_000_000  # bytes of one plain form
PIECE = 1 << 20  # written at a time
SILENT_S = 60.0  # without a byte
APPENDS = frozenset({"application/offset+octet-stream", "application/partial-upload"})


def most_bytes(path: str) -> int | None:
    """How much one request to a path may bring; None where it brings no photographs."""
    if path.endswith("/photographs") or path == "/roll":
        return MOST_SENT
    return MOST_BYTES if path.startswith("/uploads/") else None


async def photographs_form(request: Request) -> Response:
    """Several photographs by a plain form."""
    draft = draft_of(request)
    check_type(request, "multipart/form-data")
    await take_form(request, draft.id)
    return see(f"/roll/{draft.id}" if draft.roll else f"/joint/{draft.id}")


async def take_form(request: Request, draft_id: str) -> None:
    """Take the photographs of a plain form into a draft."""
    jobs = jobs_of(request)
    length = int(request.headers.get("content-length", 0))
    await to_thread.run_sync(check_room, jobs.drafts, draft_id, 2 * length, 0)  # a copy each
    async with request.form(max_files=MOST_FILES, max_fields=10) as form:
        for upload in form.getlist("photographs"):
            if isinstance(upload, UploadFile) and upload.size:
                begin_verdict(
                    jobs, draft_id, await to_thread.run_sync(take, jobs, draft_id, upload)
                )


def take(jobs: Jobs, draft_id: str, sent: UploadFile) -> str:
    """The hash of one photograph of a plain form, taken as if it had come in pieces."""
    upload = begin_upload(jobs.drafts, draft_id, sent.filename or "", sent.size or 0)
    try:
        with appending(jobs.drafts, upload, 0) as file:
            shutil.copyfileobj(sent.file, file, PIECE)
        return finish_upload(jobs.drafts, upload).sha256
    finally:
        remove_upload(jobs.drafts, upload.uid)


async def create(request: Request) -> Response:
    """Begin an upload: ``Upload-Length``, and ``Upload-Name``, percent-encoded."""
    jobs = jobs_of(request)
    draft = draft_of(request)
    length = _number(request, "upload-length")
    name = unquote(request.headers.get("upload-name", ""))[:200]
    check_length(length)
    upload = await to_thread.run_sync(begin_upload, jobs.drafts, draft.id, name, length)
    headers = {"Location": f"/uploads/{upload.uid}", "Upload-Offset": "0"}
    return JSONResponse({"uid": upload.uid}, 201, headers)


async def offset(request: Request) -> Response:
    """How much has come; whoever asks is about to go on, so what still hangs is ended."""
    jobs = jobs_of(request)
    async with _alone(jobs, request.path_params["uid"]):
        upload, come = load_upload(jobs.drafts, request.path_params["uid"])
    return Response(status_code=204, headers=_headers(upload, come))


async def append(request: Request) -> Response:
    """Go on from ``Upload-Offset``; where it is whole, the photograph's hash."""
    jobs = jobs_of(request)
    check_type(request, *APPENDS)
    uid, start = request.path_params["uid"], _number(request, "upload-offset")
    async with _alone(jobs, uid):
        upload, come = load_upload(jobs.drafts, uid)
        if start != come:
            return Response(status_code=409, headers=_headers(upload, come))
        if not upload.sha256:
            come += await _written(jobs, upload, come, request)
        if come < upload.length:
            return Response(status_code=204, headers=_headers(upload, come))
        with CancelScope(shield=True):
            done = await to_thread.run_sync(finish_upload, jobs.drafts, upload)
    begin_verdict(jobs, upload.draft, done.sha256)
    told = {"sha256": done.sha256, "name": upload.name, "again": done.again}
    return JSONResponse(told, headers=_headers(upload, come))


async def abandon(request: Request) -> Response:
    """Forget an upload that its phone no longer wants."""
    jobs = jobs_of(request)
    async with _alone(jobs, request.path_params["uid"]):
        remove_upload(jobs.drafts, request.path_params["uid"])
    return Response(status_code=204)


async def _written(jobs: Jobs, upload: Upload, start: int, request: Request) -> int:
    """Bytes that came before the connection ended, whichever way; they are on the disk then."""
    written, piece, opened = 0, bytearray(), ExitStack()
    file = await to_thread.run_sync(opened.enter_context, appending(jobs.drafts, upload, start))

    async def flush() -> None:
        nonlocal written
        with CancelScope(shield=True), in_words(jobs.drafts.parent, (OSError,)):
            await to_thread.run_sync(file.write, bytes(piece))
        written += len(piece)
        piece.clear()

    try:
        with suppress(ClientDisconnect):
            stream = request.stream()
            while (chunk := await _next_piece(stream)) is not None:
                if start + written + len(piece) + len(chunk) > upload.length:
                    text = "More came than was announced: send the photograph anew."
                    raise MeasurementError("too-large", text)
                piece += chunk
                if len(piece) >= PIECE:
                    await flush()
    finally:
        try:
            await flush()
        finally:
            with CancelScope(shield=True):
                await to_thread.run_sync(opened.close)
    return written


async def _next_piece(stream: AsyncIterator[bytes]) -> bytes | None:
    """What comes next; None at the end, or where nothing comes for long: the phone is gone then."""
    with move_on_after(SILENT_S):
        return await anext(stream, None)
    return None


@asynccontextmanager
async def _alone(jobs: Jobs, uid: str) -> AsyncIterator[None]:
    """Nobody else appends meanwhile: of a phone that lost its connection the old one may still hang."""
    while (other := jobs.arriving.get(uid)) is not None:
        scope, ended = other
        scope.cancel()
        await ended.wait()
    scope, ended = CancelScope(), Event()
    jobs.arriving[uid] = scope, ended
    try:
        with scope:
            yield
        if scope.cancelled_caught:
            raise MeasurementError("taken-over", "The phone goes on with this in another request.")
    finally:
        del jobs.arriving[uid]
        ended.set()


def check_type(request: Request, *types: str) -> None:
    """Refuse what is sent as anything else.

    Raises
    ------
    MeasurementError
        ``bad-type``.
    """
    sent = request.headers.get("content-type", "").partition(";")[0].strip().lower()
    if sent not in types:
        raise MeasurementError("bad-type", f"This must be sent as {' or '.join(types)}.")


def _number(request: Request, header: str) -> int:
    told = request.headers.get(header, "")
    if not (told.isascii() and told.isdigit()) or len(told) > 12:
        raise MeasurementError("bad-header", f"The header {header} must be a number of bytes.")
    return int(told)


def _headers(upload: Upload, come: int) -> dict[str, str]:
    return {
        "Upload-Offset": str(come),
        "Upload-Length": str(upload.length),
        "Upload-Complete": "?1" if come == upload.length else "?0",
        "Cache-Control": "no-store",
    }
