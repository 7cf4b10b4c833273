"""The command `page`: serve the page for the phone, and say where it is."""

from __future__ import annotations

from typing import Annotated

import typer

from gapvision.cli.keep import ArchiveOption
from gapvision.cli.terminal import exit_status, say

PORT = 8462


def page(
    network: Annotated[
        bool,
        typer.Option(
            "--network",
            help="Serve phones on the same network, which are paired by the QR code; "
            "without it only this computer.",
        ),
    ] = False,
    port: Annotated[
        int, typer.Option(min=1, max=65535, metavar="N", help="The port of the address.")
    ] = PORT,
    archive: ArchiveOption = None,
) -> None:
    """Serve the page for the phone at the wall: photographs in, the setting out, with no internet.

    \b
    Examples:
      gapvision page
      gapvision page --network

    It serves until Ctrl-C. What was begun is kept in the archive's folder, and found again.
    """
    with exit_status():
        from gapvision.cli.mistake import tell_mistake
        from gapvision.page.serve import serve

        serve(archive, network, port, say, tell_mistake)
