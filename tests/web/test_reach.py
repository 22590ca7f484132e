"""Who reaches the page: this session's own browser on this machine, and nobody else."""

from __future__ import annotations

import http.client
import json
import re
import signal
import socket
import subprocess
import sys
import urllib.error
import urllib.request
from pathlib import Path

import pytest

from sibilant import web
from sibilant.clinic.caseload import CaseloadHandle
from sibilant.errors import OutputError

HERE = Path(web.__file__).parent


@pytest.fixture(scope="module")
def served(serving, tmp_path_factory: pytest.TempPathFactory, caseload: Path):
    """One page for all of these."""
    yield from serving(tmp_path_factory.mktemp("reach"), caseload)


def test_without_the_key_nothing_is_answered(served) -> None:
    for path in ("/", "/capture?client=C-7QXK", "/static/house.css", "/do/take?client=C-7QXK", "/report", "/nowhere"):
        status, _, body = served.asked("GET", path, bare=True)
        assert status == 403 and b"sibilant page" in body and b"C-7QXK" not in body, path
    for wrong in ("", "x", served.running.token[:-1], served.running.token + "x"):
        cookie = f"sibilant={wrong}"
        assert served.asked("GET", "/", bare=True, cookie=cookie)[0] == 403
        assert served.asked("GET", f"/?key={wrong}", bare=True)[0] == 403
    assert served.asked("GET", f"/capture?key={served.running.entrance.secret}", bare=True)[0] == 403


def test_the_cookie_is_bound_to_the_path_that_only_this_session_has(served) -> None:
    """Browsers send a cookie to all ports of a host, but not outside its path: no other local server is sent it."""
    _, headers, _ = served.asked("GET", f"/?key={served.running.entrance.secret}", bare=True)
    root = served.running.root
    assert f"path={root}/" in headers["set-cookie"].split("; ") or f"Path={root}/" in headers["set-cookie"].split("; ")
    assert len(root) > 10 and served.running.token not in root
    request = http.client.HTTPConnection("127.0.0.1", served.running.port)
    request.request("GET", "/", headers={"Cookie": f"sibilant={served.running.token}"})
    assert request.getresponse().status == 403, "nothing outside it"
    request.close()


def test_the_key_becomes_a_cookie_and_leaves_the_address(served) -> None:
    status, headers, _ = served.asked("GET", f"/?key={served.running.entrance.secret}", bare=True)
    assert status == 303 and headers["location"] == f"{served.running.root}/"
    cookie = headers["set-cookie"].lower()
    assert "httponly" in cookie and "samesite=strict" in cookie
    assert served.asked("GET", "/")[0] == 200


@pytest.mark.parametrize("host", ["evil.example", "localhost:{port}", "127.0.0.1", "127.0.0.1:1", "[::1]:{port}", ""])
def test_another_host_name_is_refused(served, host: str) -> None:
    named = host.format(port=served.running.port)
    assert served.asked("GET", "/", host=named)[0] in (400, 421)


def test_only_its_own_origin_may_change_anything(served) -> None:
    for origin in (None, "null", "http://evil.example", "http://127.0.0.1:1", served.origin.replace("http", "https")):
        status, _, _ = served.asked("POST", "/do/take/throw-away?client=C-7QXK", b"{}", origin=origin)
        assert status == 403, origin
    assert served.asked("GET", "/do/take?client=C-7QXK", sec_fetch_site="cross-site")[0] == 403
    assert served.asked("POST", "/do/take/throw-away?client=C-7QXK", b"{}")[0] == 409


def test_what_every_answer_carries(served) -> None:
    for path in ("/", "/static/ask.js", "/do/take?client=C-7QXK", "/nowhere", "/progress/months.svg?client=C-7QXK"):
        _, headers, _ = served.asked("GET", path)
        policy = headers["content-security-policy"]
        assert "default-src 'none'" in policy and "script-src 'self'" in policy and "frame-ancestors 'none'" in policy
        assert "unsafe" not in policy and "http" not in policy and "*" not in policy and "data:" not in policy
        assert headers["cache-control"] == "no-store" and headers["x-content-type-options"] == "nosniff"
        assert "server" not in headers
    assert "content-security-policy" in served.asked("GET", "/", bare=True)[1]


def test_it_listens_on_loopback_only(served) -> None:
    (listening,) = [sock for server in served.running.server.servers for sock in server.sockets]
    assert listening.getsockname()[0] == "127.0.0.1" and listening.family == socket.AF_INET
    others = {info[4][0] for info in socket.getaddrinfo(socket.gethostname(), None, socket.AF_INET)} - {"127.0.0.1"}
    for address in sorted(others | {"127.0.0.2"}):
        with pytest.raises(OSError), socket.create_connection((address, served.running.port), timeout=1):
            pass


def test_a_port_that_is_taken_is_one_line(served) -> None:
    with pytest.raises(OutputError, match=r"port \d+: can't be had on 127.0.0.1 .*--port"):
        web.start(CaseloadHandle(served.folder), port=served.running.port)


def test_too_much_is_refused_before_it_is_read(served) -> None:
    status, _, body = served.asked("POST", "/do/trial?rate=44100", None, content_length=str(1 << 40))
    assert status == 413 and body.count(b"\n") == 1
    assert served.asked("POST", "/do/trial?rate=44100", None, content_length=None)[0] == 413


def code_at(served, address: str) -> str:
    """The code of the client that an address leads to."""
    assert not re.search(r"C-[A-Z0-9]{4}", address), "no code in an address"
    return re.search(r"<strong>(C-\w{4})</strong>", served.asked("GET", address)[2].decode())[1]


WRONG = {
    "/capture?client=C-7QXX": (400, "not a client code"),
    "/capture?client=C-M4RT": (422, "C-M4RT"),
    "/judge?client=C-7QXK&session=x": (400, "whole number"),
    "/progress?client=C-7QXK&measure=loudness": (400, "is not known"),
    "/report?client=C-7QXK&kind=monthly&form=exe": (400, "a report is made as"),
    "/report?client=C-7QXK&kind=praise": (400, "none of"),
    "/progress/months.svg?client=C-7QXK": (422, "nothing measured yet"),
    "/nowhere": (404, "no such place"),
    "/static/../serving.py": (404, "no such place"),
    "/do/review/token?client=C-7QXK&session=1&key=1.1.1": (400, "no session"),
}


@pytest.mark.parametrize("path", WRONG)
def test_what_is_wrong_is_one_plain_line(served, path: str) -> None:
    status, headers, body = served.asked("GET", path)
    wanted, words = WRONG[path]
    text = body.decode()
    assert status == wanted and "Traceback" not in text and str(served.folder) not in text
    if path.startswith("/do/"):
        line = json.loads(text)["error"]
    else:
        line = re.search(r'role="alert">([^<]*)<', text)[1]
    assert words in line.replace("&#39;", "'") and "\n" not in line, line
    assert headers["content-type"].startswith(("text/html", "application/json"))


@pytest.mark.parametrize("body", [b"", b"[]", b"{", b'{"rate": "x"}', b"\xff\xfe", b'{"rate":48000,"microphone":[]}'])
def test_nonsense_sent_is_one_plain_line(served, body: bytes) -> None:
    for path in ("/do/microphone", "/do/take/begin?client=C-7QXK", "/do/judge/one", "/do/review/save?client=C-7QXK"):
        status, _, answer = served.asked("POST", path, body)
        assert status in (400, 409, 422) and json.loads(answer)["error"], path


def test_what_people_type_stays_text(served) -> None:
    nasty = "<script>alert(1)</script>"
    body = f"age=7y4m&language={nasty}&hearing={nasty}&invented=yes".encode()
    status, headers, _ = served.asked("POST", "/clients", body)
    assert status == 303
    _, _, page = served.asked("GET", headers["location"])
    assert nasty.encode() not in page and b"added. Write the code" in page
    assert nasty.encode() not in served.asked("GET", f"/progress?client={nasty}")[2]


def test_consent_is_given_by_a_role(served) -> None:
    status, _, body = served.asked("POST", "/clients", b"age=7y4m&recording=yes")
    assert status == 400 and b"say who agreed" in body
    status, headers, _ = served.asked("POST", "/clients", b"age=8%3B2&consent_by=parent&recording=yes&teaching=yes")
    code = code_at(served, headers["location"])
    from sibilant.clinic import clients

    consent = clients.show_client(CaseloadHandle(served.folder), code)["consent"]
    assert (consent["by"], consent["recording"], consent["teaching"], consent["research"]) == (
        "parent", True, True, False,
    )  # fmt: skip
    _, headers, _ = served.asked("POST", "/clients", b"age=8y&consent_by=parent")
    code = code_at(served, headers["location"])
    given = {"words": "core-a", "rate": 48000, "microphone": {"noiseSuppression": False}}
    status, answer = served.told(f"/do/take/begin?client={code}", given)
    assert status == 409 and "no consent to recording" in answer["error"]


def test_nothing_is_fetched_from_elsewhere_and_nothing_stands_inline() -> None:
    for path in [*HERE.glob("templates/*"), *(path for path in HERE.glob("static/*") if path.is_file())]:
        text = path.read_text(encoding="utf-8")
        outside = re.findall(r"(?:https?:)?//[\w.-]+\.[a-z]{2,}", text.replace("http://www.w3.org/2000/svg", ""))
        assert not outside, (path.name, outside)
        if path.suffix == ".j2":
            assert not re.search(r"<script(?![^>]* src=)|\son\w+=|style=|<style", text), path.name
            assert not re.search(r'name="(?:\w*_)?(?:surname|first|last|fullname|birth\w*|dob)"', text), path.name


def test_the_command_prints_the_address_and_stops_when_asked(served) -> None:
    command = [sys.executable, "-m", "sibilant_cli", "page", "--caseload", str(served.folder)]
    running = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    try:
        line = running.stdout.readline()
        address = re.fullmatch(r"Open (http://127\.0\.0\.1:\d+/\?key=[\w-]{40,})\n", line)
        assert address, line
        with urllib.request.urlopen(address[1].split("/?")[0] + "/?key=" + address[1].split("=")[1]) as answer:
            assert answer.status == 403, "the cookie is needed from then on"
    except urllib.error.HTTPError as refused:
        assert refused.code == 403
    finally:
        running.send_signal(signal.SIGINT)
        _, err = running.communicate(timeout=20)
    assert running.returncode == 0 and "Traceback" not in err, err


def test_without_its_optional_part_the_command_says_so(monkeypatch, capsys) -> None:
    from sibilant_cli.main import run

    for name in [name for name in sys.modules if name.startswith("sibilant.web")]:
        monkeypatch.delitem(sys.modules, name)
    monkeypatch.setitem(sys.modules, "uvicorn", None)
    assert run(["page"]) == 3
    assert "pip install sibilant[page]" in capsys.readouterr().err


def test_it_begins_without_a_caseload(serving, tmp_path: Path) -> None:
    (tmp_path / "nothing").mkdir()
    for page in serving(tmp_path / "new", tmp_path / "nothing"):
        status, _, body = page.asked("GET", "/")
        assert status == 200 and b"no caseload here" in body and b"<details open>" in body
        assert b"There is no client yet" in page.asked("GET", "/capture")[2]
        status, headers, _ = page.asked("POST", "/clients", b"age=7y4m&invented=yes")
        assert status == 303 and page.asked("GET", headers["location"])[0] == 200


@pytest.mark.parametrize("form", ["pdf", "html", "docx"])
def test_a_report_is_handed_over_without_a_file(served, form: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """A report names a client's figures: nothing of it is left in a temporary folder, not even for a moment."""
    import tempfile

    def refused(*_: object, **__: object) -> None:
        raise AssertionError("a temporary file was made")

    for name in ("TemporaryDirectory", "NamedTemporaryFile", "mkdtemp", "mkstemp"):
        monkeypatch.setattr(tempfile, name, refused)
    monkeypatch.setattr("sibilant.files.whole_file", refused)
    status, headers, body = served.asked("GET", f"/report?client=C-7QXK&form={form}")
    assert status == 200 and f"report-monthly.{form}" in headers["content-disposition"]
    assert body.startswith({"pdf": b"%PDF", "html": b"<!", "docx": b"PK"}[form])
