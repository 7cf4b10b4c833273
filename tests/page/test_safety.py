"""Each threat that docs/page.md names, and that it is answered."""

import hmac
import re
import socket
import struct
import zlib
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import cv2
import httpx
import pytest
from anyio import CapacityLimiter, run
from helpers.archives import named, new_record
from helpers.pages import (
    APPEND,
    JOINT,
    begin,
    client,
    new_joint,
    program,
    raw,
    send,
    serving,
    state_of,
)

from gapvision.archive.record import add_record
from gapvision.archive.store import open_archive
from gapvision.page import safety
from gapvision.page.app import ROUTES
from gapvision.page.drafts import all_drafts
from gapvision.page.safety import COOKIE, MOST_FORM, MOST_WRONG, PAIR, Pairing, hosts_of
from gapvision.page.serve import EVERY, LOOPBACK, bound_to, own_address
from gapvision.page.verdicts import verdict_of
from gapvision.page.workers import Stopped, in_worker

SMALL = b"\xff\xd8\xff" + bytes(2000)
ROOT = Path(__file__).parents[2]


# --- who is reached ------------------------------------------------------------------------------


def test_without_network_nobody_else_is_served(tmp_path):
    with socket.socket() as free:
        free.bind((LOOPBACK, 0))
        port = free.getsockname()[1]
    try:
        own = own_address()
    except Exception:
        pytest.skip("this computer is on no network")
    with program(tmp_path / "archive", port), pytest.raises(OSError):
        socket.create_connection((own, port), timeout=2)


@pytest.fixture(scope="module")
def paired(tmp_path_factory):
    """A page served to phones, and its pairing."""

    async def nothing(*_):
        pass

    pairing = Pairing()
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("gapvision.page.app.warm", nothing)
        with serving(tmp_path_factory.mktemp("paired") / "archive", pairing) as (base, _):
            yield base, pairing


@pytest.fixture(autouse=True)
def forgotten(request):
    """What one test guessed wrongly is not held against the next."""
    if "paired" in request.fixturenames:
        request.getfixturevalue("paired")[1].wrong.clear()


@pytest.mark.parametrize(
    "route", [r for r in ROUTES if hasattr(r, "endpoint")], ids=lambda r: r.path
)
def test_a_phone_that_is_not_paired_gets_nothing(paired, route):
    base, _ = paired
    path = re.sub(r"\{(\w+)(:\w+)?\}", "1", route.path)
    for method in route.methods:
        answer = httpx.request(method, base + path, headers={"Origin": base})
        assert answer.status_code == 401, method
        assert "Scan the code" in answer.text or method == "HEAD"
    answer = httpx.get(base + path, headers={"Cookie": f"{COOKIE}=guessed"})
    assert answer.status_code == 401


def test_pairing_hides_the_secret_and_keeps_the_cookie_from_scripts_and_sites(paired):
    base, pairing = paired
    with client(base) as phone:
        answer = phone.get(PAIR + pairing.secret)
        assert answer.status_code == 303 and answer.headers["location"] == "/"
        cookie = answer.headers["set-cookie"].lower()
        assert "httponly" in cookie and "samesite=strict" in cookie and "path=/" in cookie
        assert pairing.secret not in answer.headers["set-cookie"]
        assert answer.headers["referrer-policy"] == "no-referrer"
        assert answer.headers["cache-control"] == "no-store"
        page = phone.get("/")
        assert page.status_code == 200 and pairing.secret not in page.text


def test_secrets_are_long_and_new_at_each_start():
    one, other = Pairing(), Pairing()
    assert len({one.secret, one.session, other.secret, other.session}) == 4
    assert all(len(text) >= 43 for text in (one.secret, one.session))  # 256 bits


def test_secrets_are_compared_in_constant_time(monkeypatch):
    pairing, compared, compare = Pairing(), [], hmac.compare_digest

    def listen(a, b):
        compared.append(b.decode())
        return compare(a, b)

    monkeypatch.setattr(safety.hmac, "compare_digest", listen)
    scope = {"method": "GET", "server": ("10.0.0.1", 80), "client": ("10.0.0.7", 1)}
    headers = [(b"host", b"10.0.0.1"), (b"cookie", f"{COOKIE}={pairing.session}".encode())]
    assert safety._refusal(scope | {"path": "/", "headers": headers}, pairing) is None
    safety._refusal(scope | {"path": PAIR + pairing.secret, "headers": headers}, pairing)
    assert compared == [pairing.session, pairing.secret]


def test_guessing_is_slowed_down_even_where_the_last_guess_is_right(paired):
    base, pairing = paired
    codes = [httpx.get(f"{base}{PAIR}guess{k}").status_code for k in range(MOST_WRONG)]
    assert codes == [403] * MOST_WRONG
    assert httpx.get(base + PAIR + pairing.secret).status_code == 429


def test_one_who_guesses_does_not_keep_others_out():
    pairing = Pairing()
    scope = {"type": "http", "method": "GET", "headers": [(b"host", b"10.0.0.1:8462")]}
    scope |= {"server": ("10.0.0.1", 8462), "path": PAIR + "wrong", "client": ("10.0.0.66", 1)}
    codes = [safety._refusal(scope, pairing).status_code for _ in range(MOST_WRONG + 1)]
    assert codes[-1] == 429
    right = scope | {"path": PAIR + pairing.secret, "client": ("10.0.0.7", 1)}
    assert safety._refusal(right, pairing).status_code == 303
    for k in range(2 * safety.MOST_ADDRESSES):
        safety._refusal(scope | {"client": (f"10.1.{k // 250}.{k % 250}", 1)}, pairing)
    assert len(pairing.wrong) <= safety.MOST_ADDRESSES


# --- other sites in the same browser --------------------------------------------------------------


@pytest.mark.parametrize(
    "host", ["evil.example", "evil.example:8462", "127.0.0.1.evil.example", "", "localhost:1"]
)
def test_a_name_that_was_bent_to_this_computer_is_refused(page, host):
    """DNS rebinding: the browser sends the name that it was told, and it is not ours."""
    answer = page.get("/", headers={"Host": host})
    assert answer.status_code == 421
    assert "Barn" not in answer.text


def test_the_names_of_this_computer_are_known(page):
    port = page.base_url.port
    assert (
        page.get("/", headers={"Host": f"localhost:{port}"}).status_code == 403
    )  # of another origin
    assert httpx.get(f"http://localhost:{port}/").status_code == 200
    named = {"server": ("192.168.43.20", 8462)}
    assert "192.168.43.20:8462" in hosts_of(named)
    assert f"{socket.gethostname().removesuffix('.local')}.local:8462".lower() in hosts_of(named)
    assert "localhost:8462" not in hosts_of(named)


@pytest.mark.parametrize("origin", ["http://evil.example", "null", "https://127.0.0.1", ""])
def test_another_site_may_ask_for_nothing(page, origin, drafts):
    before = len(all_drafts(drafts))
    for method, path in (("POST", "/new"), ("GET", "/"), ("POST", "/roll")):
        answer = page.request(method, path, data=JOINT, headers={"Origin": origin})
        assert answer.status_code == 403
    assert len(all_drafts(drafts)) == before


def test_what_changes_something_must_say_where_it_comes_from(served, drafts):
    before = len(all_drafts(drafts))
    assert httpx.post(f"{served[0]}/new", data=JOINT).status_code == 403
    cross = {"Sec-Fetch-Site": "cross-site"}
    assert httpx.post(f"{served[0]}/new", data=JOINT, headers=cross).status_code == 403
    assert len(all_drafts(drafts)) == before


@pytest.mark.parametrize("dest", ["image", "script", "empty", "iframe"])
def test_another_site_may_not_take_a_page_or_picture_in(served, dest):
    headers = {"Sec-Fetch-Site": "cross-site", "Sec-Fetch-Dest": dest, "Sec-Fetch-Mode": "no-cors"}
    assert httpx.get(f"{served[0]}/", headers=headers).status_code == 403
    followed = {"Sec-Fetch-Site": "cross-site", "Sec-Fetch-Dest": "document"}
    followed |= {"Sec-Fetch-Mode": "navigate"}
    assert (
        httpx.get(f"{served[0]}/", headers=followed).status_code == 200
    )  # a link that was followed


# --- what an answer may do in a browser -----------------------------------------------------------

PAGES = ["/", "/new", "/archive", "/walls", "/settings", "/nothing", "/joint/000000000000"]


@pytest.mark.parametrize("path", PAGES)
def test_every_answer_tells_the_browser_what_it_may_not(page, path):
    headers = page.get(path, headers={"Accept": "text/html"}).headers
    policy = headers["content-security-policy"]
    assert "default-src 'none'" in policy and "frame-ancestors 'none'" in policy
    assert (
        "unsafe" not in policy and "script-src 'self'" in policy and "form-action 'self'" in policy
    )
    assert headers["x-content-type-options"] == "nosniff"
    assert headers["x-frame-options"] == "DENY"
    assert headers["cross-origin-resource-policy"] == "same-origin"
    assert headers["referrer-policy"] == "same-origin"
    assert headers["content-type"].startswith(("text/html; charset=utf-8", "text/plain"))
    assert "server" not in headers


def test_a_page_is_packed_only_for_whoever_unpacks_it(page):
    plain = page.get("/new", headers={"Accept-Encoding": "identity"})
    packed = page.get("/new", headers={"Accept-Encoding": "gzip"})
    assert packed.headers["content-encoding"] == "gzip" and plain.text == packed.text
    assert "content-encoding" not in plain.headers
    assert int(packed.headers["content-length"]) < int(plain.headers["content-length"]) / 2


@pytest.mark.parametrize("path", PAGES)
def test_no_page_has_script_or_style_within_it(page, path):
    text = page.get(path, headers={"Accept": "text/html"}).text
    assert not re.search(r"<script(?![^>]*\bsrc=)[^>]*>|<style|\sstyle=|\son\w+=|javascript:", text)
    assert not re.search(r"(src|href|action)=[\"']?(https?:)?//", text)


EVIL = "<img src=x onerror=alert(1)>\"'&{{7*7}}"
PLAIN = "<img src=x onerror=alert(1)>"


def test_names_from_forms_and_phones_are_escaped(page):
    joint = new_joint(page, building=EVIL, wall=EVIL, log="1")
    send(page, joint, SMALL, EVIL + ".jpg")
    listed = {"building": EVIL, "wall": EVIL}
    for path in ("/", joint, f"{joint}/form", "/new"):
        text = page.get(path).text
        assert PLAIN not in text and "49" not in re.findall(r"'&amp;(\w+)", text)
        assert "&lt;img src=x" in text
    assert PLAIN not in page.get("/wall", params=listed).text
    assert PLAIN not in page.get("/archive", params={"q": EVIL, "building": EVIL}).text
    assert PLAIN not in page.get("/new", params=listed).text


def test_what_an_archive_holds_is_escaped(tmp_path, monkeypatch):
    async def nothing(*_):
        pass

    monkeypatch.setattr("gapvision.page.app.warm", nothing)
    with serving(tmp_path / "evil") as (base, drafts), client(base) as page:
        with open_archive(drafts.parent) as archive:
            add_record(archive, named(new_record(), EVIL, EVIL, EVIL))
        for path in ("/", "/archive", "/walls", "/record/1", "/record/1/outcome"):
            text = page.get(path).text
            assert PLAIN not in text and "&lt;img src=x" in text, path
        wall = page.get("/wall", params={"building": EVIL, "wall": EVIL}).text
        assert PLAIN not in wall and "&lt;img src=x" in wall


def test_a_form_leads_nowhere_else(page):
    for onward in ("//evil.example", "https://evil.example", "/\\evil.example"):
        answer = page.post("/settings", data={"look": "dark", "next": onward})
        assert answer.headers["location"] == "/"


# --- what is sent ---------------------------------------------------------------------------------


@pytest.mark.parametrize("length", [MOST_FORM + 1, 10**15])
def test_a_form_that_is_too_large_is_refused_before_it_is_read(page, length):
    headers = {"Content-Length": length, "Content-Type": "application/x-www-form-urlencoded"}
    with raw(str(page.base_url).rstrip("/"), "POST", "/new", headers, b"building=x") as line:
        assert line.recv(100).startswith(b"HTTP/1.1 413 ")


def test_a_form_that_never_ends_is_ended(page):
    def endless():
        for _ in range(200):
            yield b"building=" + b"x" * 100_000 + b"&"

    headers = {"Content-Type": "application/x-www-form-urlencoded"}
    try:
        answer = page.post("/new", content=endless(), headers=headers)
    except httpx.HTTPError:
        return  # cut off, which is as well
    assert answer.status_code == 413


@pytest.mark.parametrize("sent", ["text/plain", "application/json", "", "image/jpeg"])
def test_only_what_is_said_to_be_a_piece_of_a_photograph_is_taken(page, joint, sent):
    upload = begin(page, joint, SMALL)
    headers = {"Content-Type": sent, "Upload-Offset": "0"}
    assert page.patch(upload, content=SMALL, headers=headers).status_code == 415
    assert page.head(upload).headers["upload-offset"] == "0"
    if sent:
        answer = page.post(f"{joint}/photographs", content=b"x", headers={"Content-Type": sent})
        assert answer.status_code == 415


@pytest.mark.parametrize(
    "name",
    ["../../../../etc/passwd", "/etc/passwd", "..\\..\\x.jpg", "a\0b.jpg", "x" * 5000, ".", ""],
)
def test_a_files_name_is_never_a_path(page, joint, drafts, name):
    before = {p for p in drafts.parent.parent.rglob("*") if drafts not in p.parents}
    upload = page.post(
        f"{joint}/uploads",
        headers={
            "Upload-Length": str(len(SMALL)),
            "Upload-Name": httpx.QueryParams({"": name}).__str__()[1:],
        },
    ).headers["location"]
    sha256 = page.patch(upload, content=SMALL, headers=APPEND | {"Upload-Offset": "0"}).json()[
        "sha256"
    ]
    folder = drafts / joint.rpartition("/")[2] / "photos" / sha256
    # What is being written has a name of the program's own until it is whole.
    there = {p.name for p in folder.iterdir() if not p.name.startswith(".gapvision-")}
    assert there <= {"photo-1.jpg", "photo.json", "verdict.json"}
    assert {p for p in drafts.parent.parent.rglob("*") if drafts not in p.parents} == before
    assert len(state_of(page, joint)["photos"][0]["name"]) <= 200


@pytest.mark.parametrize(
    "path",
    [
        "/static/", "/static", "/static/../app.py", "/static/%2e%2e/app.py", "/static/..%2fapp.py",
        "/static//etc/passwd", "/joint/..%2f..%2farchive.sqlite/answer.json", "/joint/../state",
        "/joint/%2e%2e/answer.json", "/joint/uploads/answer.json", "/uploads/..%2f..%2farchive.sqlite",
        "/joint/000000000000/photo/..%2f..%2fdraft.json/view.jpg", "/record/99999999999999999999999",
        "/.env", "/drafts/",
    ],
)  # fmt: skip
def test_no_address_leads_out_of_its_folder_or_lists_one(page, path):
    with raw(str(page.base_url).rstrip("/"), "GET", path, {"Connection": "close"}) as line:
        answer = b"".join(iter(lambda: line.recv(65536), b""))
    assert answer.startswith((b"HTTP/1.1 404 ", b"HTTP/1.1 405 ")), answer[:200]
    assert b"page_app" not in answer and b"sqlite" not in answer


# --- what a picture does ---------------------------------------------------------------------------


def bomb(path, side=60_000):
    """A PNG of some hundred bytes that says that it has 3600 megapixels."""

    def chunk(kind, data):
        body = kind + data
        return struct.pack(">I", len(data)) + body + struct.pack(">I", zlib.crc32(body))

    head = struct.pack(">IIBBBBB", side, side, 8, 2, 0, 0, 0)
    rows = zlib.compress(bytes(1000))
    path.write_bytes(
        b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", rows) + chunk(b"IEND", b"")
    )
    return path


def test_pixels_are_counted_before_they_are_decoded(tmp_path, monkeypatch):
    from helpers.options import options_with

    def decode(*_):
        raise AssertionError("it was decoded")

    monkeypatch.setattr(cv2, "imdecode", decode)
    path = bomb(tmp_path / "photo-1.png")
    verdict, look = verdict_of(path, options_with((path,)))
    assert not verdict["ok"] and "60 million" in verdict["text"] and not look


def run_async(work):
    """In a thread of its own: a browser's driver may keep a loop in this one."""
    with ThreadPoolExecutor(1) as thread:
        return thread.submit(run, work).result()


def hungry():
    return len(bytearray(6 << 30))


def number():
    return 7


def test_a_worker_that_wants_too_much_memory_is_refused_it_and_the_next_one_works():
    pytest.importorskip("resource")

    async def both():
        limiter = CapacityLimiter(1)
        with pytest.raises(Stopped):
            await in_worker(limiter, hungry)
        return await in_worker(limiter, number)

    assert run_async(both) == 7


def dies():
    import os
    import signal

    os.kill(os.getpid(), signal.SIGKILL)


def test_a_worker_that_is_killed_is_told_and_the_next_one_works():
    async def both():
        limiter = CapacityLimiter(1)
        with pytest.raises(Stopped, match="stopped"):
            await in_worker(limiter, dies)
        return await in_worker(limiter, number)

    assert run_async(both) == 7


def test_the_port_of_another_program_is_told():
    with bound_to(LOOPBACK, 0) as taken, pytest.raises(Exception, match="is in use"):
        taken.listen()
        bound_to(LOOPBACK, taken.getsockname()[1])
    assert EVERY == "0.0.0.0"
