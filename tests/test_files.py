"""Files written: whole or not at all, as open to others as the umask or the file they replace says."""

from __future__ import annotations

import os
import stat
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from sibilant import files
from sibilant.errors import OutputError
from sibilant.store import keys

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="file modes are those of POSIX")


def mode(path: Path) -> int:
    return stat.S_IMODE(path.stat().st_mode)


@pytest.fixture(params=[0o022, 0o027, 0o077, 0o002], ids=oct)
def umask(request: pytest.FixtureRequest) -> Iterator[int]:
    before = os.umask(request.param)
    yield request.param
    os.umask(before)


def test_a_new_file_is_as_open_as_the_umask_says(tmp_path: Path, umask: int) -> None:
    """As any program that opens a new file: 0666 without the umask's bits (POSIX.1, open)."""
    files.write_bytes(tmp_path / "new.csv", b"1")
    with (tmp_path / "plain").open("wb"):
        pass
    assert mode(tmp_path / "new.csv") == 0o666 & ~umask == mode(tmp_path / "plain")


@pytest.mark.parametrize("kept", [0o600, 0o640, 0o644, 0o664])
def test_a_file_written_over_keeps_its_mode(tmp_path: Path, umask: int, kept: int) -> None:
    path = tmp_path / "old.csv"
    path.write_bytes(b"before")
    path.chmod(kept)
    files.write_text(path, "after")
    assert (path.read_text(), mode(path)) == ("after", kept)


def test_a_file_under_way_is_never_more_open_than_the_one_it_replaces(tmp_path: Path) -> None:
    path = tmp_path / "old.csv"
    path.write_bytes(b"before")
    path.chmod(0o600)
    with files.whole_file(path) as stream:
        stream.write(b"after")
        (part,) = tmp_path.glob(".*.part")
        assert mode(part) == 0o600
    assert not list(tmp_path.glob(".*.part"))


def test_the_key_file_is_its_owners_alone_from_the_first_moment(
    tmp_path: Path, umask: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """No mode is ever set or asked for that others could read, not even for the length of a system call."""
    asked: list[int] = []
    real_open, real_chmod = os.open, os.chmod
    monkeypatch.setattr(os, "open", lambda path, flags, given=0o777, **more: (
        asked.append(given if flags & os.O_CREAT else 0), real_open(path, flags, given, **more))[1])  # fmt: skip
    monkeypatch.setattr(os, "chmod", lambda path, given, **more: (asked.append(given), real_chmod(path, given))[1])
    kept = keys.KeyFile("one", bytes(16), bytes(12), bytes(48), True, 1 << 14, 8, 1)
    for before in (None, 0o644):
        if before is not None:
            real_chmod(tmp_path / keys.KEY_FILE, before)
        keys.write_key_file(tmp_path, kept)
        assert mode(tmp_path / keys.KEY_FILE) == 0o600
    assert asked
    assert not [given for given in asked if given & 0o077]


def test_a_failure_leaves_what_was_there_and_nothing_beside_it(tmp_path: Path) -> None:
    path = tmp_path / "table.csv"
    path.write_bytes(b"before")
    with pytest.raises(OutputError, match=r"table\.csv: can't be written"), files.whole_file(path) as stream:
        stream.write(b"half")
        raise OSError(28, "No space left on device")
    assert path.read_bytes() == b"before"
    assert [each.name for each in tmp_path.iterdir()] == ["table.csv"]


def test_a_file_that_another_program_has_open_is_told_in_words(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Windows refuses to replace an open file with "Access is denied" (Microsoft, MoveFileEx); played here."""
    (tmp_path / "table.csv").write_text("before", encoding="utf-8")

    def refused(self: Path, target: Path) -> Path:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "replace", refused)
    with pytest.raises(OutputError, match=r"table\.csv: can't be written .*; close it where it is open, or choose"):
        files.write_bytes(tmp_path / "table.csv", b"after")
    assert (tmp_path / "table.csv").read_text(encoding="utf-8") == "before"
    assert [path.name for path in tmp_path.iterdir()] == ["table.csv"]


def test_two_openings_of_a_file_lock_each_other_out(tmp_path: Path) -> None:
    place = tmp_path / ".lock"
    with place.open("a+b") as first, place.open("a+b") as second:
        assert files.lock_file(first, shared=True) and files.lock_file(second, shared=True)
    with place.open("a+b") as first, place.open("a+b") as second:
        assert files.lock_file(first, shared=False) and not files.lock_file(second, shared=False)
    with place.open("a+b") as third:
        assert files.lock_file(third, shared=False), "closing lets go"


def test_without_flock_the_same_is_asked_of_windows(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Flags, length and the place of the offset as Microsoft documents LockFileEx; the system is played."""
    import ctypes
    import types

    asked: list[tuple[int, ...]] = []

    def lock_file_ex(handle: object, how: int, reserved: int, low: int, high: int, place: object) -> int:
        asked.append((how, reserved, low, high, ctypes.cast(place, ctypes.POINTER(ctypes.c_uint64))[2]))
        return int(how == 0)

    kernel = types.SimpleNamespace(LockFileEx=lock_file_ex)
    monkeypatch.setitem(sys.modules, "fcntl", None)
    monkeypatch.setitem(sys.modules, "msvcrt", types.SimpleNamespace(get_osfhandle=lambda number: number))
    monkeypatch.setattr(ctypes, "windll", types.SimpleNamespace(kernel32=kernel), raising=False)
    with (tmp_path / ".lock").open("a+b") as stream:
        assert files.lock_file(stream, shared=True) and not files.lock_file(stream, shared=False)
    assert asked == [(0, 0, 1, 0, 1 << 62), (3, 0, 1, 0, 1 << 62)]


def test_no_other_file_names_what_only_some_systems_have() -> None:
    """One door each: locks here, limits of a process where keys are opened, a terminal where the page is stopped."""
    import re

    found = {
        path.name
        for path in (Path(files.__file__).parent).rglob("*.py")
        if re.search(r"^\s*(?:import|from) (?:fcntl|resource|pwd|grp|termios|msvcrt)\b", path.read_text("utf-8"), re.M)
    }
    assert found == {"files.py", "opening.py", "locking.py"}
