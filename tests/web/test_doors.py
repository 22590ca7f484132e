"""What a second user of the machine, a browser's history or a program on the page's old port can get. Invented data."""

from __future__ import annotations

import hashlib
import hmac
import http.server
import logging
import os
import re
import shutil
import socket
import stat
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest

from sibilant.clinic import clients
from sibilant.clinic.caseload import CaseloadHandle
from sibilant.web import connections, opening

CODE = re.compile(rb"C-[A-Z0-9]{4}")


def test_a_key_is_good_once_and_another_follows(served) -> None:
    first = served.running.address.split("key=")[1]
    told = []
    served.running.entrance.renewed = lambda: told.append(served.running.address)
    assert served.asked("GET", f"/?key={first}", bare=True, sec_purpose="prefetch")[0] == 403, (
        "a look ahead spends none"
    )
    status, headers, _ = served.asked("GET", f"/?key={first}", bare=True)
    assert status == 303 and first not in str(headers), "the cookie is not the key"
    assert served.asked("GET", f"/?key={first}", bare=True)[0] == 403
    assert len(told) == 1 and first not in told[0]
    assert served.asked("GET", told[0].removeprefix(served.origin), bare=True)[0] == 303


def test_the_file_that_opens_the_page_is_the_users_own_and_spent_at_first_use(served) -> None:
    secret = served.running.entrance.secret
    file = opening.OpeningFile(served.origin, secret)
    assert stat.S_IMODE(file.path.stat().st_mode) == 0o600 and stat.S_IMODE(file.folder.stat().st_mode) == 0o700
    assert f'action="{served.origin}/open"' in file.path.read_text("utf-8") and secret in file.path.read_text("utf-8")
    for wrong in (b"", b"key=", b"key=x", b"key=" + b"x" * 2000):
        assert served.asked("POST", "/open", wrong, bare=True, origin="null")[0] == 403
    status, headers, body = served.asked("POST", "/open", f"key={secret}".encode(), bare=True, origin="null")
    assert status == 200 and "httponly" in headers["set-cookie"].lower()
    assert secret.encode() not in body and served.running.token.encode() not in body
    assert served.asked("POST", "/open", f"key={secret}".encode(), bare=True, origin="null")[0] == 403
    file.erase()
    assert not file.folder.exists()


def test_the_browser_is_started_on_a_file_and_no_argument_holds_a_key(caseload: Path, tmp_path: Path) -> None:
    """``page --open`` starts what the system opens files with; its arguments are read as every local user can."""
    seen = tmp_path / "seen"
    starter = tmp_path / "bin" / "xdg-open"
    starter.parent.mkdir()
    starter.write_text(
        f'#!/bin/sh\ncp "$1" {tmp_path}/copy.html\nprintf %s "$*" > {seen}.part\nmv {seen}.part {seen}\n'
    )
    starter.chmod(0o755)
    environment = {**os.environ, "PATH": f"{starter.parent}:{os.environ['PATH']}"}
    command = [
        sys.executable,
        "-m",
        "sibilant_cli",
        "page",
        "--caseload",
        str(caseload),
        "--open",
        "--port",
        free_port(),
    ]
    with subprocess.Popen(command, env=environment, stdout=subprocess.PIPE, stderr=subprocess.PIPE) as running:
        try:
            for _ in range(600):
                if seen.exists():
                    break
                time.sleep(0.05)
            key = running.stdout.readline().decode().split("key=")[1].strip()
            path = Path(seen.read_text())
            assert key not in str(path) and key in (tmp_path / "copy.html").read_text()
            assert stat.S_IMODE(path.stat().st_mode) == 0o600
        finally:
            running.terminate()
            running.communicate(timeout=20)
    assert not path.parent.exists(), "taken away when the page stops"


def free_port() -> str:
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        return str(one.getsockname()[1])


PLACES = ("/", "/?client={}", "/capture", "/capture?client={}", "/judge?client={}", "/review?client={}",
          "/progress?client={}", "/nowhere")  # fmt: skip


def test_no_address_of_any_place_holds_a_code_or_the_token(served) -> None:
    clients.add_client(CaseloadHandle(served.folder), "8y0m", code="C-M4RT", fields={"invented": True})
    seen = 0
    for place in PLACES:
        body = served.asked("GET", place.format(served.handle))[2]
        for address in re.findall(rb'(?:href|src|srcset|action|name="client" value|data-client)="([^"]*)"', body):
            assert not CODE.search(address) and served.running.token.encode() not in address, (place, address)
            seen += served.handle.encode() in address
    assert seen > 10, "but the handle is in them"
    for form, body in (("/clients", b"age=7y4m"), ("/devices", b"name=desk&client=C-7QXK")):
        _, headers, _ = served.asked("POST", form, body)
        assert "client=k" in headers["location"] and not CODE.search(headers["location"].encode())
    scripts = Path(opening.__file__).parent / "static"
    for script in scripts.glob("*.js"):
        assert not re.search(r"client=\$\{(?!client\})", script.read_text("utf-8")), script.name


def test_a_handle_of_an_earlier_run_names_nobody(served) -> None:
    status, _, body = served.asked("GET", "/capture?client=k0123456789a")
    assert status == 400 and b"of an earlier time" in body


def test_the_program_proves_that_it_made_the_page(served) -> None:
    page = served.asked("GET", "/")[2]
    proof = re.search(rb'data-proof="([0-9a-f]{64})"', page)[1].decode()
    challenge = "5e" * 32
    status, headers, body = served.asked("GET", f"/proof?challenge={challenge}", bare=True)
    wanted = hmac.new(bytes.fromhex(proof), challenge.encode(), hashlib.sha256).hexdigest()
    assert status == 200 and body.decode() == wanted and proof not in str(headers)
    for wrong in ("", "xyz", "5e" * 8, "5e" * 100):
        assert served.asked("GET", f"/proof?challenge={wrong}", bare=True)[0] == 400


class Taker(http.server.BaseHTTPRequestHandler):
    """Another program on the page's port: it answers everything as well as it can, and notes what it was sent."""

    got: list[tuple[str, str, int, str]]

    def do_GET(self) -> None:
        length = int(self.headers.get("content-length") or 0)
        self.rfile.read(length)
        self.got.append((self.command, self.path, length, self.headers.get("cookie") or ""))
        body = (
            b"0" * 64
            if self.path.startswith("/proof")
            else b'{"place": 2, "words": ["seal"], "said": [1], "take": "x"}'
        )
        self.send_response(200)
        self.send_header("content-length", str(len(body)))
        self.end_headers()
        self.wfile.write(body)

    do_POST = do_GET

    def log_message(self, *_: object) -> None:
        """Say nothing."""


def test_what_takes_the_port_is_sent_neither_sound_nor_cookie(browse, served) -> None:
    page = browse()
    page.goto(served.running.address)
    page.goto(f"{served.base}/capture?client={served.handle}")
    send = """async () => {
      const here = document.querySelector('script[src$="capture.js"]').src;
      const asking = await import(here.replace('capture.js', 'ask.js'));
      try { await asking.tellSamples('do/trial', { rate: 44100 }, new Float32Array(44100)); return 'sent'; }
      catch (error) { return error.message; }
    }"""
    assert page.evaluate(send) == "sent", "the page's own program is sent it"
    served.running.stop()
    Taker.got = []
    http.server.HTTPServer.allow_reuse_address = True
    taker = http.server.ThreadingHTTPServer(("127.0.0.1", served.running.port), Taker)
    threading.Thread(target=taker.serve_forever, daemon=True).start()
    try:
        assert "not the program that made this page" in page.evaluate(send)
    finally:
        taker.shutdown()
        taker.server_close()
    assert [(method, path.split("?")[0], n, cookie) for method, path, n, cookie in Taker.got] == [
        ("GET", "/proof", 0, "")
    ]


def test_half_open_requests_do_not_silence_the_page(served) -> None:
    held = [socket.create_connection(("127.0.0.1", served.running.port), timeout=5) for _ in range(300)]
    try:
        for one in held:
            try:
                one.sendall(b"GET / HTTP/1.1\r\nHost: x\r\nX: ")
            except OSError:
                continue  # ended already, as it should be
        began = time.monotonic()
        assert served.asked("GET", "/")[0] == 200
        assert time.monotonic() - began < 5
        assert len(served.running.server.server_state.connections) <= connections.MOST_IDLE + 8
    finally:
        for one in held:
            one.close()


@pytest.mark.parametrize(
    "sent", [b"", b"GET / HTTP/1.1\r\n", b"POST /x HTTP/1.1\r\nHost: x\r\nContent-Length: 9\r\n\r\na"]
)
def test_a_head_that_is_not_whole_in_time_ends_the_connection(served, sent: bytes, monkeypatch) -> None:
    monkeypatch.setattr(connections, "HEAD_S", 0.5)
    from sibilant import web

    running = web.start(CaseloadHandle(served.folder))
    try:
        with socket.create_connection(("127.0.0.1", running.port), timeout=12) as one:
            one.sendall(sent)
            began = time.monotonic()
            with pytest.raises(OSError):
                while time.monotonic() - began < 11:
                    one.sendall(b"x")
                    time.sleep(0.05)
                pytest.fail("it was let wait")
            assert time.monotonic() - began < 8
    finally:
        running.stop()


def test_lines_logged_are_bounded(caplog) -> None:
    connections.quiet_logs()
    log = logging.getLogger("asyncio")
    for _ in range(10_000):
        log.error("socket.accept() out of system resource")
    assert 0 < len(caplog.records) <= connections.MOST_LINES
    assert "not shown" in caplog.records[-1].getMessage()


def test_a_browsers_profile_keeps_no_code_and_no_key(play, served, tmp_path: Path) -> None:
    """Opened by the file, used, closed; then every file of the browser's profile is searched."""
    secret = served.running.entrance.secret
    file = opening.OpeningFile(served.origin, secret)
    profile = tmp_path / "profile"
    browser = play.chromium.launch_persistent_context(
        profile, executable_path=shutil.which("chromium"), headless=True, chromium_sandbox=False, args=["--disable-gpu"]
    )
    page = browser.new_page()
    page.goto(file.path.as_uri())
    page.wait_for_url(f"{served.base}/")
    page.click(f"a[href$='/?client={served.handle}']")
    page.wait_for_url("**/?client=*")
    page.click("a.button.first")
    page.wait_for_selector("#setup")
    page.click("nav a[href*='/progress']")
    page.wait_for_load_state("networkidle")
    page.wait_for_timeout(11_000)  # Chromium writes its history within ten seconds
    browser.close()
    file.erase()
    found = {sign: [str(path.relative_to(profile)) for path in profile.rglob("*")
                    if path.is_file() and sign.encode() in path.read_bytes()]
             for sign in (secret, served.running.token, "C-7QXK", served.handle)}  # fmt: skip
    assert found.pop(served.handle), "its history is there"
    assert found == {secret: [], served.running.token: [], "C-7QXK": []}
