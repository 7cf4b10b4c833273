"""A served page, and phones that open it: Chromium of phone size, with touch.

Skipped where Playwright (of the extra `test`) or a Chromium of the system is lacking.
"""

from __future__ import annotations

import os
import shutil
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

import httpx
import pytest
from helpers.pages import PHOTOS

from gapvision.archive.store import FOLDER_VARIABLE as ARCHIVE_VARIABLE
from gapvision.inputs.user_folder import FOLDER_VARIABLE

CHROMIUM = next(
    filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None
)
UPRIGHT, SMALL, ACROSS = (390, 844), (360, 640), (844, 390)  # CSS px
WAIT_MS = 20_000
STARTS_S = 30.0


class Served:
    """The page served by a process of its own, which a test may kill and start again."""

    def __init__(self, folder: Path):
        self.folder = folder
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            self.port = free.getsockname()[1]
        self.address = f"http://127.0.0.1:{self.port}"
        self.process: subprocess.Popen | None = None

    def start(self) -> None:
        env = os.environ | {
            FOLDER_VARIABLE: str(self.folder / "own"),
            ARCHIVE_VARIABLE: str(self.folder),
        }
        command = [sys.executable, "-m", "gapvision.cli.main", "page", "--port", str(self.port)]
        command[1:3] = ["-c", "from gapvision.cli.main import main; main()"]
        with (self.folder / "said.txt").open("ab") as said:
            self.process = subprocess.Popen(
                [*command, "--archive", str(self.folder / "archive")],
                stdout=said, stderr=said, env=env, start_new_session=True,
            )  # fmt: skip
        end = time.monotonic() + STARTS_S
        while time.monotonic() < end:
            with suppress(httpx.TransportError):
                httpx.get(self.address)
                return
            time.sleep(0.1)
        raise RuntimeError((self.folder / "said.txt").read_text())

    def kill(self) -> None:
        """End it at once, with its workers, as where the laptop's battery is empty."""
        with suppress(ProcessLookupError):
            os.killpg(self.process.pid, signal.SIGKILL)
        self.process.wait()

    def client(self) -> httpx.Client:
        """Something that asks as the page itself would."""
        return httpx.Client(base_url=self.address, headers={"Origin": self.address}, timeout=60)


@pytest.fixture(scope="session")
def served(tmp_path_factory) -> Iterator[Served]:
    """The page, for all tests that do not stop it."""
    with _served(tmp_path_factory.mktemp("served")) as page:
        yield page


@pytest.fixture
def own_served(tmp_path) -> Iterator[Served]:
    """A page for one test alone."""
    with _served(tmp_path) as page:
        yield page


@contextmanager
def _served(folder: Path) -> Iterator[Served]:
    page = Served(folder)
    page.start()
    try:
        yield page
    finally:
        page.kill()


@pytest.fixture(scope="module")
def chromium():
    """The browser that the phones of a module share; its loop must not run on under other tests."""
    if CHROMIUM is None:
        pytest.skip("no Chromium is installed on this computer: the page is not tried in a browser")
    api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    with api.sync_playwright() as play:
        browser = play.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        yield browser
        browser.close()


@pytest.fixture
def phone(chromium, served):
    """Opens phones at the shared page; each fails its test where its console tells an error."""
    with _phones(chromium, served) as opened:
        yield opened


@pytest.fixture
def own_phone(chromium, own_served):
    """Likewise at the page of this test alone."""
    with _phones(chromium, own_served) as opened:
        yield opened


@contextmanager
def _phones(chromium, served: Served):
    contexts, errors = [], []

    def opened(size=UPRIGHT, look="auto", javascript=True, expected=(), **options):
        width, height = size
        context = chromium.new_context(
            base_url=served.address, viewport={"width": width, "height": height}, has_touch=True,
            is_mobile=True, java_script_enabled=javascript, accept_downloads=True, **options,
        )  # fmt: skip
        contexts.append(context)
        if look != "auto":
            context.add_cookies([{"name": "look", "value": look, "url": served.address}])
        page = context.new_page()
        page.set_default_timeout(WAIT_MS)

        def told(text: str) -> None:
            if not any(part in text for part in expected):
                errors.append(text)

        page.on("console", lambda m: told(m.text) if m.type == "error" else None)
        page.on("pageerror", lambda e: told(str(e)))
        return page

    try:
        yield opened
    finally:
        for context in contexts:
            context.close()
    assert not errors


@pytest.fixture(scope="session")
def measured(served) -> str:
    """The address of a joint of the bundled photographs that was measured: ``/joint/<id>``."""
    with served.client() as client:
        return measured_joint(client, log="3")


def begun(client: httpx.Client, log: str, **fields: str) -> str:
    """A joint begun without a browser, without a photograph."""
    names = {"building": "Barn", "wall": "north", "log": log, "units": "mm", "cover": "75"} | fields
    return client.post("/new", data=names).headers["location"]


def measured_joint(client: httpx.Client, log: str, **fields: str) -> str:
    """A joint begun, photographed and measured without a browser."""
    joint = begun(client, log, **fields)
    files = [("photographs", (p.name, p.read_bytes(), "image/jpeg")) for p in PHOTOS]
    client.post(f"{joint}/photographs", files=files)
    assert len(client.get(f"{joint}/state").json()["photos"]) == len(files)
    until(lambda: all(p["verdict"] for p in client.get(f"{joint}/state").json()["photos"]))
    client.post(f"{joint}/measure")
    until(lambda: client.get(f"{joint}/state").json()["state"] == "answered")
    return joint


def looked_at(page, count: int) -> None:
    """Wait until so many photographs, and no more, are in the list with a verdict that lets them be used."""
    rows = page.locator("#photographs > li")
    rows.and_(page.locator("[data-sha][data-kind=good]")).nth(count - 1).wait_for()
    assert rows.count() == count


def until(true, seconds: float = 30.0) -> None:
    """Wait until something is true."""
    end = time.monotonic() + seconds
    while not true():
        assert time.monotonic() < end, "waited in vain"
        time.sleep(0.1)
