"""What a kill, a removal or an encryption may leave behind, and who may read what is kept. Invented data."""

from __future__ import annotations

import datetime as dt
import json
import os
import shutil
import stat
import subprocess
import sys
import threading
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest

from sibilant import audio, store
from sibilant.clinic import clients, encryption, removing
from sibilant.clinic.caseload import CaseloadHandle
from sibilant.errors import CaseloadError, RefusedError
from sibilant.store import clips, converting, drafts, rights
from sibilant.terms.clinic import Consent
from sibilant.terms.kept import Judgement

PASSPHRASE = "six blue horses walk"
CODE = "C-7QXK"
WORD = audio.wav_bytes(np.zeros(4410, np.float32), 44_100)


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A caseload with one invented client."""
    monkeypatch.setenv("SIBILANT_PASSPHRASE", PASSPHRASE)
    consent = Consent(dt.date(2026, 1, 12), "parent (invented)")
    clients.add_client(
        CaseloadHandle(tmp_path / "case"), "7y4m", code=CODE, fields={"invented": True, "consent": consent}
    )
    return tmp_path / "case"


def sounds_in(folder: Path) -> list[str]:
    """Every file below a folder whose bytes are a plain sound."""
    return [str(p.relative_to(folder)) for p in folder.rglob("*") if p.is_file() and p.read_bytes()[:4] == b"RIFF"]


@pytest.mark.usefixtures("cheap_scrypt")
def test_a_take_that_begins_while_the_caseload_is_encrypted_leaves_nothing_plain(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The take waits for the encryption and is then told to begin again; on the code before, its word stayed plain."""
    pytest.importorskip("sqlcipher3")
    said: list[str] = []

    def begins() -> None:
        try:
            store.write_draft(other, CODE, "0001.wav", WORD)
            said.append("kept")
        except CaseloadError as refused:
            said.append(str(refused))

    other = store.open_caseload(folder)
    beginning = threading.Thread(target=begins)
    settle = converting._settle

    def settle_and_begin(new: store.Caseload) -> None:
        settle(new)
        beginning.start()
        beginning.join(0.5)

    monkeypatch.setattr(converting, "_settle", settle_and_begin)
    with store.open_caseload(folder) as one:
        store.encrypt(one, PASSPHRASE, tell=lambda code: None)
    beginning.join(10)
    other.close()
    assert "encrypted or decrypted meanwhile" in said[0]
    assert sounds_in(folder) == [] and encryption.status(CaseloadHandle(folder))["plain_pieces_of_takes"] == 0


@pytest.mark.usefixtures("cheap_scrypt")
def test_takes_in_the_other_form_and_of_nobody_are_counted_and_swept(folder: Path) -> None:
    pytest.importorskip("sqlcipher3")
    with store.open_caseload(folder) as one:
        store.encrypt(one, PASSPHRASE, tell=lambda code: None)
    with store.open_caseload(folder) as one:
        store.write_draft(one, CODE, "take.json", b"{}")
    left = folder / "takes" / CODE / "0001.wav"
    left.parent.mkdir()
    left.write_bytes(WORD)
    (folder / "takes" / "C-M4RT").mkdir()
    status = encryption.status(CaseloadHandle(folder))
    assert status["plain_pieces_of_takes"] == 1 and any("1 plain pieces of takes" in note for note in status["notes"])
    with store.open_caseload(folder) as one:
        assert store.read_draft(one, CODE, "take.json") == b"{}", "what is somebody's stays"
        assert [path.parent.name for path in drafts.of_nobody(one)] == []
    assert sounds_in(folder) == [] and len(list((folder / "takes").iterdir())) == 1
    assert encryption.status(CaseloadHandle(folder))["plain_pieces_of_takes"] == 0


def test_a_half_written_piece_of_a_take_is_swept(folder: Path) -> None:
    """Killed while it wrote: what the kill before each step found in a plain caseload."""
    with store.open_caseload(folder) as one:
        store.write_draft(one, CODE, "take.json", b"{}")
    (folder / "takes" / CODE / ".0001.wav.5e5e5e5e5e5e5e5e.part").write_bytes(WORD[:99])
    with store.open_caseload(folder) as one:
        assert store.read_draft(one, CODE, "take.json") == b"{}" and sounds_in(folder) == []
    (folder / "takes" / CODE / "take.json").rename(folder / "takes" / CODE / ".take.json.5e5e5e5e5e5e5e5e.part")
    store.open_caseload(folder).close()
    assert not list((folder / "takes").iterdir()), "nor is a take that never was begun"


def test_what_comes_and_goes_while_it_is_looked_at_is_no_fault(folder: Path) -> None:
    """A page answers many at once: one throws a take away while another opens the caseload."""
    take, sound, side = folder / "takes" / CODE, folder / "audio" / "ab", folder / "caseload.sqlite-journal"
    ended = threading.Event()

    def comes_and_goes() -> None:
        while not ended.is_set():
            for place in (take, sound):
                place.mkdir(parents=True, exist_ok=True)
                (place / "0001.wav").write_bytes(WORD[:100])
            side.write_bytes(b"")
            side.unlink()
            for place in (take, sound):
                shutil.rmtree(place, ignore_errors=True)

    changing = threading.Thread(target=comes_and_goes)
    before = sys.getswitchinterval()
    sys.setswitchinterval(1e-5)
    try:
        with store.open_caseload(folder) as one:
            changing.start()
            for _ in range(200):
                drafts.of_nobody(one)
                drafts.any_drafts(one)
                clips.clip_files(one)
                rights.close_caseload(one.place)
                encryption.status(CaseloadHandle(folder))
    finally:
        ended.set()
        changing.join(10)
        sys.setswitchinterval(before)


def test_nothing_is_swept_while_somebody_works(folder: Path) -> None:
    with store.open_caseload(folder) as one:
        left = folder / "takes" / "C-M4RT" / "0001.wav"
        left.parent.mkdir(parents=True)
        left.write_bytes(WORD)
        with clips.together(one), store.open_caseload(folder):
            assert left.exists()
    store.open_caseload(folder).close()
    assert not left.exists()


KILLED = """
import os, signal, sys
from pathlib import Path
from sibilant.store import removal
from sibilant.clinic import removing
from sibilant.clinic.caseload import CaseloadHandle
def die(*_):
    os.kill(os.getpid(), signal.SIGKILL)
setattr(removal, sys.argv[2], die)
removing.remove_client(CaseloadHandle(Path(sys.argv[1])), "C-7QXK", "all", erase=True)
"""


@pytest.mark.parametrize("before", ["_remove_all_rows", "_erase", "_compact"])
def test_a_removal_that_is_killed_leaves_no_take(folder: Path, before: str) -> None:
    with store.open_caseload(folder) as one:
        store.write_draft(one, CODE, "take.json", b"{}")
        store.write_draft(one, CODE, "0001.wav", WORD)
    ended = subprocess.run([sys.executable, "-c", KILLED, str(folder), before], check=False, timeout=60)
    assert ended.returncode == -9
    assert sounds_in(folder) == []
    with store.open_caseload(folder) as one:
        assert not (folder / "takes" / CODE).exists()
        assert (CODE in store.codes(one)) == (before == "_remove_all_rows")


def test_a_word_of_a_client_removed_meanwhile_is_not_kept(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with store.open_caseload(folder) as one:
        removing.remove_client(CaseloadHandle(folder), CODE, "all", erase=True)
        with pytest.raises(CaseloadError, match="no such client any more"):
            store.write_draft(one, CODE, "0001.wav", WORD)
    assert sounds_in(folder) == []


def test_a_held_clients_take_stays(folder: Path) -> None:
    clients.hold_client(CaseloadHandle(folder), CODE, "court order (invented)")
    with store.open_caseload(folder) as one:
        store.write_draft(one, CODE, "0001.wav", WORD)
    with pytest.raises(RefusedError, match="on hold"):
        removing.remove_client(CaseloadHandle(folder), CODE, "all", erase=True)
    assert len(sounds_in(folder)) == 1


EXPORTS = """
import os, signal, sys
from pathlib import Path
from sibilant import store
with store.open_caseload(Path(sys.argv[1])) as one, store.outside(one, Path(sys.argv[2])) as made:
    (made / "whole").mkdir()
    (made / "whole" / "a.wav").write_bytes(b"RIFF")
    print(made, flush=True)
    if sys.argv[3] == "killed":
        os.kill(os.getpid(), signal.SIGKILL)
    sys.stdin.read()
"""


def test_an_export_that_is_killed_is_swept_by_the_next_start(folder: Path, tmp_path: Path) -> None:
    command = [sys.executable, "-c", EXPORTS, str(folder), str(tmp_path / "out" / "x")]
    ended = subprocess.run([*command, "killed"], capture_output=True, text=True, check=False, timeout=60)
    made = Path(ended.stdout.strip())
    assert ended.returncode == -9 and made.is_dir() and stat.S_IMODE(made.stat().st_mode) == 0o700
    assert encryption.status(CaseloadHandle(folder))["exports_unfinished"] == 1
    store.open_caseload(folder).close()
    assert not made.exists() and encryption.status(CaseloadHandle(folder))["exports_unfinished"] == 0


def test_an_export_being_made_is_let_be(folder: Path, tmp_path: Path) -> None:
    command = [sys.executable, "-c", EXPORTS, str(folder), str(tmp_path / "out" / "x"), "goes on"]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as running:
        made = Path(running.stdout.readline().strip())
        store.open_caseload(folder).close()
        assert (made / "whole" / "a.wav").exists()
        running.communicate(timeout=60)
    assert not made.exists() and not list(folder.glob(".exporting-*"))


ASIDE = """
import os, signal, sys
from pathlib import Path
from sibilant.clinic import sharing
from sibilant.clinic.caseload import CaseloadHandle
with sharing.aside(CaseloadHandle(Path(sys.argv[1]))) as made:
    (made / "voice.wav").write_bytes(b"RIFF")
    print(made, flush=True)
    os.kill(os.getpid(), signal.SIGKILL)
"""


def test_what_the_page_makes_to_hand_on_is_swept_when_it_is_killed(folder: Path, tmp_path: Path) -> None:
    """An export, an import or a backup on the page is made in the folder for temporary files."""
    place = tmp_path / "temporary"
    place.mkdir()
    environment = {**os.environ, "TMPDIR": str(place)}
    command = [sys.executable, "-c", ASIDE, str(folder)]
    ended = subprocess.run(command, capture_output=True, text=True, check=False, timeout=60, env=environment)
    made = Path(ended.stdout.strip())
    assert ended.returncode == -9 and made.parent == place and stat.S_IMODE(made.stat().st_mode) == 0o700
    store.open_caseload(folder).close()
    assert list(place.iterdir()) == []


def test_a_folder_made_for_an_export_that_got_no_further_is_swept(folder: Path, tmp_path: Path) -> None:
    sign = "5e" * 16
    made, other = tmp_path / f".out.{sign[:8]}", tmp_path / f".kept.{sign[:8]}"
    made.mkdir()
    other.mkdir()
    (other / "kept.txt").write_text("kept")
    for place in (made, other):
        (folder / f".exporting-{sign}").write_text(json.dumps(str(place)))
        store.open_caseload(folder).close()
    assert not made.exists() and (other / "kept.txt").exists()


def test_a_folder_in_the_making_killed_while_it_is_erased_is_swept(folder: Path, tmp_path: Path) -> None:
    """Its sign goes last: with it gone first, what was left beside it was never swept."""
    made = """
import os, pathlib, signal, sys
from sibilant import store
left = int(sys.argv[2])
def before(event, arguments):
    global left
    if event in ("os.remove", "os.rmdir") and not (left := left - 1):
        os.kill(os.getpid(), signal.SIGKILL)
with store.open_caseload(pathlib.Path(sys.argv[1])) as one:
    with store.outside(one, pathlib.Path(sys.argv[3])) as folder:
        for name in ("a", ".a", "z"):
            (folder / name).write_text("x")
        (folder / "whole").mkdir()
        sys.addaudithook(before)
"""
    for step in range(1, 9):
        arguments = [sys.executable, "-c", made, str(folder), str(step), str(tmp_path / "out")]
        killed = subprocess.run(arguments, check=False).returncode
        assert killed == (-9 if step < 8 else 0), "three files, a folder, the sign, their folder, the marker"
        (folder / ".backups.json.0123.part").write_text("{")
        with store.open_caseload(folder):
            assert {path.name for path in tmp_path.iterdir()} == {"case"}, step
            assert not [*folder.glob(".exporting-*"), *folder.glob("*.part")], step


def test_a_take_that_became_a_session_is_nobodys(folder: Path, material: ModuleType) -> None:
    """Killed between the two, the take's sound would stay beside the session."""
    with store.open_caseload(folder) as one:
        store.write_draft(one, CODE, "take.json", b"{}")
        store.write_draft(one, CODE, "0001.wav", WORD)
        store.announce_session(one, CODE, [f"{1:064d}"])
        store.open_caseload(folder).close()
        assert len(sounds_in(folder)) == 1, "nothing is kept of it yet"
        recording = store.NewRecording(f"{1:064d}", 44100, 30.0, {})
        session = store.NewSession(material.session(1), (material.prompt_of(0),), (recording,), ())
        store.keep_session(one, session)
    store.open_caseload(folder).close()
    assert sounds_in(folder) == [] and not list((folder / "takes").iterdir())


def test_a_marker_planted_leads_to_no_other_folder(folder: Path, tmp_path: Path) -> None:
    victim = tmp_path / "victim"
    victim.mkdir()
    (victim / "kept.txt").write_text("kept")
    (folder / ".exporting-00").write_text(json.dumps(str(victim)))
    (folder / ".exporting-01").write_bytes(b"\xff not json")
    store.open_caseload(folder).close()
    assert (victim / "kept.txt").exists() and not list(folder.glob(".exporting-*"))


@pytest.mark.skipif(os.name != "posix", reason="rights as POSIX has them")
@pytest.mark.parametrize("umask", [0o022, 0o000])
def test_a_folder_that_was_there_before_is_closed_to_others(tmp_path: Path, umask: int) -> None:
    before = os.umask(umask)
    try:
        folder = tmp_path / "case"
        (folder / "audio").mkdir(parents=True)
        (folder / "caseload.toml").write_text("ear_first = true\n")
        consent = Consent(dt.date(2026, 1, 12), "parent (invented)")
        clients.add_client(CaseloadHandle(folder), "7y4m", code=CODE, fields={"invented": True, "consent": consent})
        with store.open_caseload(folder) as one:
            store.write_draft(one, CODE, "0001.wav", WORD)
            with clips.at_work(one):
                clips.keep_clip(one, WORD, ".wav")
            with one.change("looked", ""):
                open_to_others = [
                    (str(path.relative_to(tmp_path)), oct(path.stat().st_mode))
                    for path in [folder, *folder.rglob("*")]
                    if path.stat().st_mode & 0o077 and path.name not in {"caseload.toml", ".lock"}
                ]
    finally:
        os.umask(before)
    assert open_to_others == []


@pytest.mark.skipif(os.name != "posix", reason="rights as POSIX has them")
def test_a_folder_with_other_things_keeps_its_rights_and_the_caseload_in_it_has_its_own(tmp_path: Path) -> None:
    tmp_path.chmod(0o755)
    (tmp_path / "notes.txt").write_text("mine")
    clients.add_client(CaseloadHandle(tmp_path), "7y4m", code=CODE, fields={"invented": True})
    (tmp_path / "caseload.sqlite").chmod(0o644)
    (tmp_path / "audio").mkdir(exist_ok=True)
    (tmp_path / "audio").chmod(0o755)
    clients.show_client(CaseloadHandle(tmp_path), CODE)
    modes = {name: stat.S_IMODE((tmp_path / name).stat().st_mode) for name in (".", "caseload.sqlite", "audio")}
    assert modes == {".": 0o755, "caseload.sqlite": 0o600, "audio": 0o700}


def test_a_correction_stands_though_the_clock_ran_a_day_ahead_before(folder: Path) -> None:
    from sibilant.progress import judgement_by
    from sibilant.terms.kept import KeptToken

    day = dt.datetime(2026, 3, 4, tzinfo=dt.UTC)
    ahead = Judgement("1.1.1", "distorted", "R7", day + dt.timedelta(days=1))
    right = Judgement("1.1.1", "correct", "R7", day)
    token = KeptToken.__new__(KeptToken)
    object.__setattr__(token, "judgements", (ahead, right))
    assert judgement_by(token, "R7") is right
