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
from sibilant.web import afterwards, connections, guard, opening

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


def test_keys_that_never_arrive_whole_make_room_and_end(served, monkeypatch) -> None:
    """Anybody on the machine may post to the entrance; what is sent in part holds no place for long."""
    monkeypatch.setattr(guard, "KEY_S", 1.0)
    secret = served.running.entrance.secret
    head = f"POST /open HTTP/1.1\r\nHost: {served.host}\r\nContent-Length: 900\r\n\r\nkey=".encode()
    held = [socket.create_connection(("127.0.0.1", served.running.port), timeout=5) for _ in range(40)]
    try:
        for one in held:
            one.sendall(head)
        status, _, _ = served.asked("POST", "/open", f"key={secret}".encode(), bare=True, origin="null")
        assert status == 200, "ours, which comes whole, is let in beside them"
        for one in held:
            one.settimeout(10)
            assert one.recv(20).startswith(b"HTTP/1.1 403")
    finally:
        for one in held:
            one.close()


@pytest.mark.parametrize("sent", [b"[" * 100_000 + b"]" * 100_000, b'{"a":' * 50_000, b"\xff", b"", b"null"])
def test_json_that_is_none_of_ours_is_refused_in_a_line(served, sent: bytes) -> None:
    for path in ("/do/take/begin", "/do/again/one"):
        status, _, body = served.asked("POST", f"{path}?client={served.handle}", sent)
        assert status == 400 and b"load the page again" in body, path
    head = len(sent).to_bytes(4, "little") + sent
    assert served.asked("POST", "/do/bring/look", head)[0] == 400


def test_what_a_form_is_answered_with_has_an_address_of_its_own(served) -> None:
    """A browser writes down the body of a form whose answer it shows, so it is sent on to the answer."""
    served.asked("GET", "/")  # names the client by a handle
    how = {"sec_fetch_mode": "navigate", "content_type": "application/x-www-form-urlencoded"}
    wrong = f"client={served.handle}&age=no+age+at+all&hearing=plantedtext".encode()
    status, headers, body = served.asked("POST", "/details", wrong, **how)
    assert status == 303 and not body and "plantedtext" not in str(headers)
    for _ in range(2):  # a page loaded again is there still
        status, answered, body = served.asked("GET", headers["location"])
        assert status == 400 and b'role="alert"' in body and answered["cache-control"] == "no-store"
    assert served.asked("GET", headers["location"], cookie=None)[0] == 403
    assert served.asked("GET", "/answer/x")[0] == 404
    direct = served.asked("POST", "/devices", f"name=desk&client={served.handle}".encode(), **how)
    assert direct[0] == 303 and "/answer/" not in direct[1]["location"], "what leads elsewhere goes as it is"
    for _ in range(afterwards.MOST_KEPT):
        served.asked("POST", "/details", wrong, **how)
    assert served.asked("GET", headers["location"])[0] == 404, "the oldest makes room"


def test_a_browsers_profile_keeps_no_code_no_key_and_nothing_typed(play, served, tmp_path: Path, monkeypatch) -> None:
    """Opened by the file while the machine is slow, used, texts refused, closed; then every file is searched."""
    monkeypatch.setattr(guard, "ENTERED", opening.ENTERED.replace('content="0;', 'content="4;'))
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
    page.goto(f"{served.base}/reports?client={served.handle}&kind=monthly")
    page.fill("textarea >> nth=0", "zqtyped")
    page.goto(f"{served.base}/details?client={served.handle}")
    page.fill("#event-on", "2026-02-03")
    page.fill("#event-text", "zqkept")
    page.press("#event-text", "Enter")
    page.wait_for_load_state("networkidle")
    page.evaluate("document.querySelectorAll('details').forEach(one => one.open = true)")
    page.fill("#hearing", "zqbeside")
    page.fill("#age", "zqrefused")
    page.press("#age", "Enter")
    page.wait_for_url("**/answer/*")
    assert "zqrefused" in page.inner_text("[role=alert]")
    page.wait_for_timeout(11_000)  # Chromium writes its history within ten seconds
    browser.close()
    file.erase()
    signs = ("zqtyped", "zqkept", "zqbeside", "zqrefused")
    found = {sign: [str(path.relative_to(profile)) for path in profile.rglob("*")
                    if path.is_file() and (sign.encode() in (content := path.read_bytes())
                                           or sign.encode("utf-16-le") in content)]
             for sign in (secret, served.running.token, "C-7QXK", *signs, served.handle)}  # fmt: skip
    assert found.pop(served.handle), "its history is there"
    assert [places for places in found.values() if places] == [] and len(found) == 7, found
