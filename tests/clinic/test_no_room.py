"""A full disk and a read-only medium: reading, checking and removing work. Needs a mount of its own. Invented data."""

from __future__ import annotations

import contextlib
import datetime as dt
import os
import shutil
import subprocess
import zipfile
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from sibilant import store
from sibilant.clinic import backups, clients, encryption, exchange, removing
from sibilant.clinic.caseload import CaseloadHandle
from sibilant.errors import NoRoomError, SibilantError
from sibilant.store import clips
from sibilant.terms.clinic import Consent, Session

CODE, OTHER = "C-7QXK", "C-M4RT"
PASSPHRASE = "six blue horses walk"
N_SOUNDS, SOUND_BYTES = 20, 40_000
SIDES = ("-wal", "-shm")


def kept_sounds(folder: Path) -> list[Path]:
    return [path for path in (folder / "audio").rglob("*") if path.is_file() and not path.name.startswith(".")]


def fill(folder: Path) -> None:
    """One client with kept sound named by rows, and another without."""
    consent = Consent(dt.date(2026, 1, 12), "parent (invented)")
    for code in (CODE, OTHER):
        clients.add_client(CaseloadHandle(folder), "7y4m", code=code, fields={"invented": True, "consent": consent})
    with store.open_caseload(folder) as one, clips.at_work(one):
        rng = np.random.default_rng(5)
        hashes = [clips.keep_clip(one, rng.bytes(SOUND_BYTES), ".wav") for _ in range(N_SOUNDS)]
        kept = tuple(store.NewClip(n, 1, sha256, ".wav", 0.0) for n, sha256 in enumerate(hashes, start=1))
        store.keep_session(one, store.NewSession(Session(CODE, 1, dt.date(2026, 3, 9)), clips=kept))


@pytest.fixture(params=["plain", "encrypted"])
def medium(
    request: pytest.FixtureRequest, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, cheap_scrypt: None
) -> Iterator[Path]:
    """A small file system of its own with a caseload in it."""
    monkeypatch.setenv("SIBILANT_PASSPHRASE", PASSPHRASE)
    monkeypatch.setenv("SIBILANT_NEW_PASSPHRASE", f"{PASSPHRASE} home")
    disk = tmp_path / "disk"
    disk.mkdir()
    if os.name != "posix" or os.geteuid() or not shutil.which("mount"):
        pytest.skip("only the administrator can mount a file system")
    mounted = subprocess.run(["mount", "-t", "tmpfs", "-o", "size=6m", "tmpfs", str(disk)], check=False)
    if mounted.returncode:
        pytest.skip("no file system can be mounted here")
    try:
        fill(disk / "case")
        if request.param == "encrypted":
            pytest.importorskip("sqlcipher3")
            with store.open_caseload(disk / "case") as one:
                store.encrypt(one, PASSPHRASE, tell=lambda code: None)
        yield disk
    finally:
        subprocess.run(["umount", "-l", str(disk)], check=False)


def fill_up(disk: Path) -> None:
    with contextlib.suppress(OSError), (disk / "fill").open("wb", buffering=0) as stream:
        while True:
            stream.write(b"\1" * 4096)


def test_a_full_disk_is_said_and_reading_and_removing_work(medium: Path) -> None:
    folder = medium / "case"
    fill_up(medium)
    assert {row["client"] for row in clients.list_clients(CaseloadHandle(folder))} == {CODE, OTHER}
    assert clients.show_client(CaseloadHandle(folder), CODE)["code"] == CODE
    assert encryption.status(CaseloadHandle(folder))["sounds"] == N_SOUNDS
    with store.open_caseload(folder) as one:
        assert len(clips.clips_of_rows(one)) == N_SOUNDS
        for sha256, suffix in clips.clips_of_rows(one):
            assert len(clips.clip_bytes(one, sha256, suffix)) == SOUND_BYTES
    with pytest.raises(SibilantError, match="full"):
        for _ in range(200):
            clients.add_event(CaseloadHandle(folder), CODE, "an invented event of many words " * 100)
    for verb in (
        lambda: removing.remove_client(CaseloadHandle(folder), CODE, "audio"),  # into the bin, which needs room
        lambda: exchange.export_client(CaseloadHandle(folder), CODE, medium / "out", audio=True),
        lambda: backups.backup(CaseloadHandle(folder), medium / "one.backup", own_passphrase=False, remind_after=None,
                               tell=str),
    ):  # fmt: skip
        with pytest.raises(SibilantError, match=r"full|no space|no room") as said:
            verb()
        assert "\n" not in str(said.value)
    receipt = removing.remove_client(CaseloadHandle(folder), CODE, "all", erase=True)
    assert sum(line.startswith("sound ") for line in receipt.erased) == N_SOUNDS
    assert kept_sounds(folder) == []
    assert [row["client"] for row in clients.list_clients(CaseloadHandle(folder))] == [OTHER]


def test_an_older_form_that_has_no_room_to_be_brought_up_says_so(medium: Path) -> None:
    """Reading does not work then, and the line does not say that it does."""
    with zipfile.ZipFile(Path(__file__).parents[1] / "store" / "kept" / "format9_plain.zip") as kept:
        kept.extractall(medium / "older")
    (folder,) = {path.parent for path in (medium / "older").rglob("caseload.sqlite")}
    was = (folder / "caseload.sqlite").read_bytes()
    fill_up(medium)
    with pytest.raises(SibilantError, match="earlier version") as said:
        clients.list_clients(CaseloadHandle(folder))
    assert "reading works" not in str(said.value) and (folder / "caseload.sqlite").read_bytes() == was
    (medium / "fill").unlink()
    assert clients.list_clients(CaseloadHandle(folder))


@pytest.mark.parametrize("room_bytes", [0, 40_000, 1_000_000])
def test_another_form_that_has_no_room_says_how_much_it_needs(
    medium: Path, room_bytes: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """On the code before: another program held it, or a sound's hash could not be written."""
    folder = medium / "case"
    was = sorted(path.name for path in folder.rglob("*") if path.is_file() and not path.name.endswith(SIDES))
    (medium / "room").write_bytes(b"\1" * room_bytes)
    fill_up(medium)
    (medium / "room").unlink()
    tells: list[str] = []
    verbs = [encryption.rekey, encryption.decrypt] if (folder / "key.json").exists() else [encryption.encrypt]
    for verb in verbs:
        more = {} if verb is encryption.decrypt else {"tell": tells.append}
        with pytest.raises(NoRoomError, match=r"needs \d\.\d MB beside the old one, and the disk has") as said:
            verb(CaseloadHandle(folder), **more)
        assert "\n" not in str(said.value) and "make room" in str(said.value)
    clients.list_clients(CaseloadHandle(folder))  # takes away the marker of what failed
    now = [path.name for path in folder.rglob("*") if path.is_file() and not path.name.endswith(SIDES)]
    assert tells == [] and sorted(now) == was
    (medium / "fill").unlink()
    for verb in verbs:
        verb(CaseloadHandle(folder), **({} if verb is encryption.decrypt else {"tell": tells.append}))
        if verb is encryption.rekey:
            monkeypatch.setenv("SIBILANT_PASSPHRASE", os.environ["SIBILANT_NEW_PASSPHRASE"])
    assert len(clients.list_clients(CaseloadHandle(folder))) == 2 and len(kept_sounds(folder)) == N_SOUNDS


def test_a_disk_that_fills_in_the_middle_says_so_too(medium: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Another program may take what was free when it was looked at."""
    folder = medium / "case"
    if not (folder / "key.json").exists():
        verb, form = encryption.encrypt, False
    else:
        verb, form = encryption.rekey, True
    write = clips.write_clip

    def filling(*given: object) -> None:
        fill_up(medium)
        write(*given)  # type: ignore[arg-type]

    monkeypatch.setattr(clips, "write_clip", filling)
    with pytest.raises(NoRoomError, match="make room and do it again; nothing was changed"):
        verb(CaseloadHandle(folder), tell=lambda code: None)
    (medium / "fill").unlink()
    assert store.is_encrypted(folder) is form and len(clients.list_clients(CaseloadHandle(folder))) == 2
    assert len(kept_sounds(folder)) == N_SOUNDS


def test_a_read_only_medium_can_be_read(medium: Path) -> None:
    folder = medium / "case"
    subprocess.run(["mount", "-o", "remount,ro", str(medium)], check=True)
    assert clients.show_client(CaseloadHandle(folder), CODE)["code"] == CODE
    with store.open_caseload(folder) as one:
        assert {len(clips.clip_bytes(one, *clip)) for clip in clips.clips_of_rows(one)} == {SOUND_BYTES}
    with pytest.raises(SibilantError, match="read-only"):
        clients.add_event(CaseloadHandle(folder), CODE, "lost a tooth")
    with pytest.raises(SibilantError, match="read-only"):
        removing.remove_client(CaseloadHandle(folder), CODE, "all", erase=True)
    assert len(kept_sounds(folder)) == N_SOUNDS
