"""The server: its address, the code that a phone reads, and serving until it is stopped."""

from __future__ import annotations

import io
import socket
from collections.abc import Callable
from pathlib import Path

import segno
import uvicorn

from gapvision.page.app import page_app
from gapvision.page.drafts import drafts_folder

LOOPBACK, EVERY = "127.0.0.1", "0.0.0.0"


def serve(archive: Path | None, network: bool, port: int, say: Callable[[str], None]) -> None:
    """Serve the page until it is stopped.

    Raises
    ------
    MeasurementError
        Where the archive cannot be written to, or the port is taken.
    """
    drafts = drafts_folder(archive)
    say(_told(network, port))
    app = page_app(drafts)
    config = uvicorn.Config(
        app, host=EVERY if network else LOOPBACK, port=port, log_level="warning",
        server_header=False, access_log=False,
    )  # fmt: skip
    uvicorn.Server(config).run()


def _told(network: bool, port: int) -> str:
    address = f"http://{own_address() if network else LOOPBACK}:{port}/"
    if not network:
        return f"Open {address} on this computer. Ctrl-C ends it."
    code = io.StringIO()
    segno.make(address, error="m").terminal(code, compact=True)
    return f"{code.getvalue()}\nPoint the phone's camera at it, or open {address}\nCtrl-C ends it."


def own_address() -> str:
    """This computer's address on the network that it would reach others by; nothing is sent."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asked:
        try:
            asked.connect(("192.0.2.1", 9))
            return asked.getsockname()[0]
        except OSError:
            return LOOPBACK
