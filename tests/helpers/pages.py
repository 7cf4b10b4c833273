"""The page served for a test, and a client that asks as a browser would."""

import os
import socket
import subprocess
import sys
import threading
import time
from contextlib import contextmanager
from pathlib import Path

import httpx
import uvicorn
from helpers.demo import FOLDER

from gapvision.page.app import page_app
from gapvision.page.drafts import drafts_folder
from gapvision.page.serve import LOOPBACK, bound_to

PHOTOS = tuple(Path(str(FOLDER.joinpath(f"photo{k}.jpg"))) for k in range(3))
JOINT = {"building": "Barn", "wall": "north", "log": "3", "cover": "75"}
APPEND = {"Content-Type": "application/offset+octet-stream"}


@contextmanager
def serving(archive, pairing=None, tell_mistake=None):
    """The address of a page that is served in a thread, and the folder of its drafts."""
    drafts = drafts_folder(archive)
    app = page_app(drafts, pairing, tell_mistake)
    with bound_to(LOOPBACK, 0) as listening:
        config = uvicorn.Config(app, log_level="critical", server_header=False, access_log=False)
        server = uvicorn.Server(config)
        thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]})
        thread.start()
        try:
            wait_for(lambda: server.started)
            yield f"http://{LOOPBACK}:{listening.getsockname()[1]}", drafts
        finally:
            server.should_exit = True
            thread.join(30)


@contextmanager
def program(archive, port, *more, env=None, log=subprocess.PIPE):
    """`gapvision page` as a process of its own, once it answers; long ones want a file as their log."""
    code = "from gapvision.cli.main import main; main()"
    command = [sys.executable, "-c", code, "page", "--archive", str(archive), "--port", str(port)]
    process = subprocess.Popen(
        [*command, *more], env=os.environ | (env or {}), stdout=log, text=True,
        stderr=subprocess.STDOUT,
    )  # fmt: skip
    try:
        wait_for(lambda: process.poll() is not None or answers(f"http://{LOOPBACK}:{port}"))
        yield process
    finally:
        if process.poll() is None:
            process.kill()
        process.communicate()


def answers(base):
    try:
        httpx.get(base, timeout=1)
    except httpx.HTTPError:
        return False
    return True


def client(base, **more):
    """A client whose requests are the page's own, as a browser marks them."""
    # The server closes what is idle for five seconds: no connection is used again by then.
    limits = httpx.Limits(keepalive_expiry=2.0)
    return httpx.Client(base_url=base, headers={"Origin": base}, timeout=60, limits=limits, **more)


def new_joint(page, **fields):
    """The address of a joint just begun."""
    response = page.post("/new", data=JOINT | fields)
    assert response.status_code == 303, response.text
    return response.headers["location"]


def begin(page, joint, content, name="photo.jpg"):
    """The address of an upload just begun."""
    headers = {"Upload-Length": str(len(content)), "Upload-Name": name}
    response = page.post(f"{joint}/uploads", headers=headers)
    assert response.status_code == 201, response.text
    return response.headers["location"]


def send(page, joint, content, name="photo.jpg"):
    """Send a photograph whole; what is answered."""
    upload = begin(page, joint, content, name)
    return page.patch(upload, content=content, headers=APPEND | {"Upload-Offset": "0"})


def raw(base, method, path, headers, body=b""):
    """A connection over which a request's head and what there is of its body were sent."""
    host = base.removeprefix("http://")
    lines = [f"{method} {path} HTTP/1.1", f"Host: {host}", f"Origin: {base}"]
    lines += [f"{name}: {value}" for name, value in headers.items()]
    address, port = host.split(":")
    line = socket.create_connection((address, int(port)), timeout=30)
    line.sendall("\r\n".join([*lines, "", ""]).encode() + body)
    return line


def state_of(page, joint):
    return page.get(f"{joint}/state").json()


def wait_for(true, seconds=60.0, every=0.02):
    """Wait until something holds."""
    end = time.monotonic() + seconds
    while not (found := true()):
        assert time.monotonic() < end, "it never came"
        time.sleep(every)
    return found


def judged(page, joint, seconds=60.0, every=0.02):
    """The state of a joint once every photograph has its verdict."""

    def all_judged():
        told = state_of(page, joint)
        return told if all(p["verdict"] for p in told["photos"]) else None

    return wait_for(all_judged, seconds, every)


def measured(page, joint):
    """The state of a joint once it is measured no longer."""

    def done():
        told = state_of(page, joint)
        return told if told["state"] != "measuring" else None

    return wait_for(done)
