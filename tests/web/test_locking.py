"""The page of an encrypted caseload locks itself when nobody uses it; its terminal unlocks it. Invented data."""

from __future__ import annotations

import getpass
import shutil
import sys
import threading
from collections.abc import Callable
from pathlib import Path

import pytest

from sibilant import store, web
from sibilant.clinic import encryption
from sibilant.clinic.caseload import CaseloadHandle
from sibilant.clinic.holding import Held
from sibilant.errors import CaseloadError, LockedError
from sibilant.store import keys
from sibilant.web.locking import locking

PASSPHRASE = "six blue horses walk"


class Watch:
    """A clock that a test sets."""

    def __init__(self) -> None:
        self.now_s = 0.0

    def __call__(self) -> float:
        return self.now_s


@pytest.fixture
def watch() -> Watch:
    return Watch()


@pytest.fixture
def handle(
    tmp_path: Path, caseload: Path, watch: Watch, monkeypatch: pytest.MonkeyPatch, cheap_scrypt: None
) -> CaseloadHandle:
    """An encrypted caseload of a page, its passphrase in the environment."""
    monkeypatch.setenv("SIBILANT_PASSPHRASE", PASSPHRASE)
    folder = shutil.copytree(caseload, tmp_path / "case")
    with store.open_caseload(folder) as one:
        store.encrypt(one, PASSPHRASE, tell=lambda code: None)
    found = CaseloadHandle(folder, held=Held(lambda _: PASSPHRASE, watch))
    assert encryption.unlock(found)
    return found


def typed(monkeypatch: pytest.MonkeyPatch, answer: str) -> None:
    """A person at the terminal who types this."""
    monkeypatch.setattr(sys.stdin, "isatty", lambda: True, raising=False)
    monkeypatch.setattr(getpass, "getpass", lambda prompt: answer)


def test_locked_after_a_while_and_unlocked_in_the_terminal(
    handle: CaseloadHandle, watch: Watch, serve_handle: Callable[[CaseloadHandle], web.Running],
    asked_of: Callable[[web.Running, str], tuple[int, str]], monkeypatch: pytest.MonkeyPatch,
) -> None:  # fmt: skip
    running = serve_handle(handle)
    for minutes in (0, 14, 28):  # each use begins the time anew
        watch.now_s = 60.0 * minutes
        assert asked_of(running, "/")[0] == 200
    watch.now_s = 60.0 * 43
    status, body = asked_of(running, "/")
    assert status == 423 and "15 minutes" in body and "C-7QXK" not in body  # whatever the environment holds
    typed(monkeypatch, "another passphrase of nobody")
    with pytest.raises(CaseloadError, match="does not open"):
        encryption.unlock_again(handle)
    assert asked_of(running, "/")[0] == 423
    typed(monkeypatch, PASSPHRASE)
    encryption.unlock_again(handle)
    status, body = asked_of(running, "/")
    assert status == 200 and "C-7QXK" in body


def test_nobody_needs_to_ask_for_it_to_be_forgotten(handle: CaseloadHandle, watch: Watch) -> None:
    told = threading.Event()
    assert keys.stretched.cache_info().currsize
    with locking(handle, told.set, every_s=0.005):
        assert not told.wait(0.05)
        watch.now_s = 901.0
        assert told.wait(10)
    assert not keys.stretched.cache_info().currsize
    with pytest.raises(LockedError):
        handle.passphrase()


def test_the_clinics_own_time(handle: CaseloadHandle, watch: Watch) -> None:
    (handle.folder / "caseload.toml").write_text("lock_after_minutes = 2\n", encoding="utf-8")
    watch.now_s = 121.0
    with pytest.raises(LockedError, match="2 minutes"), handle.opened():
        pass
    handle.held.give(PASSPHRASE)
    (handle.folder / "caseload.toml").write_text("lock_after_minutes = 0\n", encoding="utf-8")
    watch.now_s = 1e7
    with handle.opened() as one:  # never, where the clinic says so
        assert store.codes(one)
    for wrong in ("lock_after_minutes = -1", "lock_after_minutes = true", "lock_after_minutes = 99999", "locks = 1"):
        (handle.folder / "caseload.toml").write_text(wrong + "\n", encoding="utf-8")
        with pytest.raises(CaseloadError, match=r"caseload\.toml"):
            handle.idle_s()


def test_a_long_command_asks_again(tmp_path: Path, watch: Watch, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("SIBILANT_PASSPHRASE", raising=False)
    said: list[Path] = []
    held = Held(lambda folder: said.append(folder) or PASSPHRASE, watch)
    for now_s, n_asked in ((0.0, 1), (899.0, 1), (1797.0, 1), (2697.0, 2)):
        watch.now_s = now_s
        assert held.passphrase(tmp_path, 900.0) == PASSPHRASE and len(said) == n_asked
