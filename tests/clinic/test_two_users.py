"""Two real users on one machine: the second reads nothing, reaches nothing, learns no code. Invented data.

The first is who runs the tests; the second is the account `nobody`, which only root can become.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType

import pytest
from sibilant_cli.main import run

from sibilant import store
from sibilant.clinic import exchange, sharing
from sibilant.clinic.caseload import CaseloadHandle
from sibilant.terms.clinic import Event
from sibilant.web.opening import OpeningFile

CODE = "C-7QXK"
SIGNS = (CODE, "plantedword")

pytestmark = pytest.mark.skipif(
    not hasattr(os, "getuid") or os.getuid() != 0, reason="only root can work as a second user of the machine"
)


def as_nobody(*command: str, given: str = "") -> str:
    """What the second user sees on the screen of a command."""
    done = subprocess.run(
        command,
        user="nobody",
        group="nogroup",
        extra_groups=[],
        input=given,
        capture_output=True,
        text=True,
        timeout=60,
    )
    return done.stdout + done.stderr


@pytest.fixture
def place() -> Iterator[Path]:
    """A folder that everybody may enter, as a shared disk is."""
    folder = Path(tempfile.mkdtemp(prefix="two-users-", dir="/tmp"))
    folder.chmod(0o755)
    yield folder
    shutil.rmtree(folder)


@pytest.fixture(params=["new", "there before"])
def folder(request: pytest.FixtureRequest, place: Path, material: ModuleType) -> Path:
    """A caseload with a client, a kept word, a take under way and something in the bin, made under a wide umask."""
    found = place / "case"
    before = os.umask(0o022)
    try:
        if request.param == "there before":
            found.mkdir(mode=0o755)
        with store.open_caseload(found) as one:
            store.add_client(one, material.client(reason="plantedword"))
            store.add_event(one, CODE, Event(material.DAY, "plantedword"))
            store.keep_clip(one, b"plantedword as a sound", ".flac")
            store.write_draft(one, CODE, "0001.wav", b"plantedword as a take")
        os.umask(0o077)
        exchange.export_client(CaseloadHandle(found), CODE, place / "export", allowed=["plantedword"])
        assert run(["caseload", "backup", str(place / "one.backup"), "--caseload", str(found)]) == 0
    finally:
        os.umask(before)
    return found


def test_nothing_can_be_read_or_listed(folder: Path, place: Path) -> None:
    own = {path for path in place.rglob("*") if path.is_file()}
    assert len(own) >= 10 and any(b"plantedword" in path.read_bytes() for path in own)
    for path in own:
        seen = as_nobody("cat", str(path)).replace(str(path), "")
        assert "denied" in seen and not any(sign in seen for sign in SIGNS), path
    seen = as_nobody("find", str(folder))
    assert "denied" in seen and not any(sign in seen for sign in SIGNS)
    assert as_nobody("grep", "-rl", "plantedword", str(place)).count("denied") >= 2
    assert "denied" in as_nobody("sh", "-c", f"echo x > {folder}/caseload.toml")
    assert "denied" in as_nobody("sh", "-c", f"ln -s / {folder}/link")


def test_the_page_lets_nobody_in_and_its_process_tells_nothing(folder: Path, place: Path) -> None:
    command = [sys.executable, "-m", "sibilant_cli", "page", "--caseload", str(folder)]
    quiet = subprocess.DEVNULL
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=quiet, stdin=quiet, text=True) as page:
        assert page.stdout is not None
        try:
            address = page.stdout.readline().split()[1]
            port, key = address.split(":")[2].split("/")[0], address.split("key=")[1]
            head = f"GET / HTTP/1.1\\r\\nHost: 127.0.0.1:{port}\\r\\nConnection: close\\r\\n\\r\\n"
            seen = as_nobody("bash", "-c", f"exec 3<>/dev/tcp/127.0.0.1/{port}; printf '{head}' >&3; cat <&3")
            assert "403" in seen.splitlines()[0] and not any(sign in seen for sign in SIGNS)
            listening = [
                line.split()[1]
                for line in as_nobody("cat", "/proc/net/tcp").splitlines()
                if f":{int(port):04X} " in line
            ]
            assert set(listening) == {f"0100007F:{int(port):04X}"}, "on 127.0.0.1 and nowhere else"
            time.sleep(0.2)
            told = as_nobody("ps", "-eo", "args") + as_nobody("cat", f"/proc/{page.pid}/environ")
            told += as_nobody("ls", "-l", f"/proc/{page.pid}/fd") + as_nobody("cat", f"/proc/{page.pid}/maps")
            assert told.count("denied") >= 3
            assert key not in told and CODE not in told and "plantedword" not in told
        finally:
            page.terminate()
            page.wait(20)


def test_what_lies_on_the_disk_for_a_while_is_not_theirs_to_read(
    folder: Path, place: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The second user reads all that can be read in the folder for temporary files, again and again, meanwhile."""
    temporary = place / "temporary"
    temporary.mkdir()
    temporary.chmod(0o1777)
    monkeypatch.setattr(tempfile, "tempdir", str(temporary))
    everything = f"{temporary}/.[!.]* {temporary}/*/* {temporary}/.[!.]*/* {temporary}/.[!.]*/*/*"
    loop = f"while [ ! -e {place}/stop ]; do cat {everything} 2>/dev/null; done; ls -laR {temporary}"
    how = {"user": "nobody", "group": "nogroup", "extra_groups": [], "stdout": subprocess.PIPE, "text": True}
    with subprocess.Popen(["bash", "-c", loop], **how) as reading:
        handle = CaseloadHandle(folder)
        (temporary / "sibilant-open").mkdir()
        (temporary / "sibilant-open" / "readable.txt").write_text("zqreadable")
        with sharing.aside(handle) as made:
            sharing.backup_file(handle, made, None)
            assert "denied" in as_nobody("ls", str(made)) and "plantedword" not in as_nobody(
                "ls", "-la", str(temporary)
            )
        assert sharing.export_zip(handle, CODE, allowed=["plantedword"])
        opening = OpeningFile("http://127.0.0.1:1", "zqsecret")
        as_nobody("cat", str(opening.path))
        opening.erase()
        (place / "stop").touch()
        told = reading.communicate(timeout=60)[0]
    assert "zqreadable" in told, "it did read what can be read"
    assert not any(sign in told for sign in (*SIGNS, "zqsecret"))
