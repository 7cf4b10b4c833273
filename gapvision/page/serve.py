"""The server: its address, the code that a phone reads, and serving until it is stopped."""

from __future__ import annotations

import errno
import io
import logging
import os
import socket
import tempfile
import traceback
from collections.abc import Callable
from pathlib import Path

import segno
import uvicorn

from gapvision.errors import MeasurementError
from gapvision.files import held
from gapvision.page.app import page_app
from gapvision.page.drafts import UPLOADS, drafts_folder
from gapvision.page.safety import PAIR, Pairing

LOOPBACK, EVERY = "127.0.0.1", "0.0.0.0"
MOST_CONNECTIONS = 256
ELSEWHERE = ("192.0.2.1", 9)  # an address that is nobody's (RFC 5737)


def serve(
    archive: Path | None,
    network: bool,
    port: int,
    say: Callable[[str], None],
    tell_mistake: Callable[[Exception], None],
) -> None:
    """Serve the page until it is stopped.

    Parameters
    ----------
    archive : Path, optional
        The archive's folder, instead of the usual one.
    network : bool
        Whether other devices are served too, once they are paired.
    port : int
    say : callable
        Tells a line of text to the person at this computer.
    tell_mistake : callable
        Tells it of what nobody expected; of each mistake once.

    Raises
    ------
    MeasurementError
        Where the archive cannot be written to, or the port is taken.
    """
    drafts = drafts_folder(archive)
    tempfile.tempdir = str(drafts / UPLOADS)  # plain forms' files: nameless, and not in memory
    logging.getLogger("asyncio").setLevel(
        logging.ERROR
    )  # of workers that were killed it tells twice
    pairing = Pairing() if network else None
    with held(drafts) as alone:
        if not alone:
            raise MeasurementError(
                "archive-busy",
                f"Another gapvision page serves the archive {drafts.parent}: use it, or end it first.",
            )
        with bound_to(EVERY if network else LOOPBACK, port) as bound:
            say(told(own_address() if network else LOOPBACK, bound.getsockname()[1], pairing))
            app = page_app(drafts, pairing, _once(tell_mistake))
            config = uvicorn.Config(
                app, log_level="critical", server_header=False, access_log=False,
                limit_concurrency=MOST_CONNECTIONS, timeout_graceful_shutdown=3, ws="none",
            )  # fmt: skip
            uvicorn.Server(config).run(sockets=[bound])


def _once(tell: Callable[[Exception], None]) -> Callable[[Exception], None]:
    """Of the same mistake, at the same place, only the first is told."""
    known = set()

    def tell_new(error: Exception) -> None:
        place = traceback.extract_tb(error.__traceback__)[-1:]
        mistake = type(error), *((frame.filename, frame.lineno) for frame in place)
        if mistake not in known:
            known.add(mistake)
            tell(error)

    return tell_new


def told(address: str, port: int, pairing: Pairing | None) -> str:
    """What is to be done now: the address, and of a network the code that a phone reads."""
    place = f"http://{address}:{port}"
    if pairing is None:
        return f"Open {place}/ on this computer. Ctrl-C ends it."
    link = f"{place}{PAIR}{pairing.secret}"
    code = io.StringIO()
    segno.make(link, error="l", micro=False).terminal(code, compact=True, border=2)
    return (
        f"{code.getvalue()}\n"
        f"Point the phone's camera at the code, or open\n{link}\n"
        "Whoever sees the code can use the page. Not reached: docs/page.md tells why.\n"
        "Ctrl-C ends it."
    )


def own_address() -> str:
    """This computer's address on the network that it would reach others by; nothing is sent.

    Raises
    ------
    MeasurementError
        ``no-network``.
    """
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asked:
        try:
            asked.connect(ELSEWHERE)
            return asked.getsockname()[0]
        except OSError as error:
            raise MeasurementError(
                "no-network",
                "This computer is on no network: join the phone's hotspot, then start again; or leave "
                "--network out to use the page on this computer.",
            ) from error


def bound_to(host: str, port: int) -> socket.socket:
    """A socket at a port that nobody else listens at."""
    bound = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    if os.name != "nt":  # where it would let two programs listen at one port
        bound.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        bound.bind((host, port))
    except OSError as error:
        bound.close()
        taken = error.errno == errno.EADDRINUSE
        why = (
            "is in use, as by another gapvision page"
            if taken
            else f"cannot be used ({error.strerror})"
        )
        raise MeasurementError(
            "no-port", f"The port {port} {why}: end that one, or name another by --port."
        ) from error
    return bound
