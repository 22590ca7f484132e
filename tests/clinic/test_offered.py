"""Whether to encrypt is asked in a terminal before anything is kept; scripts are never kept waiting. Invented data."""

from __future__ import annotations

import contextlib
import os
import pty
import select
import subprocess
import sys
import time
from pathlib import Path

import pytest

from sibilant import store

ADD = [sys.executable, "-m", "sibilant_cli", "client", "add", "--age", "7y4m", "--code", "C-7QXK", "--caseload"]
PASSPHRASE = "six blue horses walk"
WITHOUT = {name: value for name, value in os.environ.items() if name != "SIBILANT_PASSPHRASE"}


def typed(command: list[str], answers: list[tuple[str, str]]) -> tuple[int, str]:
    """Run a command in a terminal of its own; wait for each prompt and type its answer. Return exit code and screen."""
    child, terminal = pty.fork()
    if not child:
        os.execve(command[0], command, WITHOUT)
    screen, until, left = "", time.monotonic() + 60, list(answers)
    with contextlib.suppress(OSError):  # the terminal is gone when the command ends
        while time.monotonic() < until and (select.select([terminal], [], [], 1.0)[0] or True):
            if select.select([terminal], [], [], 0.1)[0]:
                screen += os.read(terminal, 4096).decode()
            if left and screen.rstrip().endswith(left[0][0]):
                os.write(terminal, f"{left.pop(0)[1]}\n".encode())
                screen += "\n"
    _, status = os.waitpid(child, 0)
    os.close(terminal)
    assert not left, screen
    return os.waitstatus_to_exitcode(status), screen


def test_yes_encrypts_before_the_first_client(tmp_path: Path) -> None:
    folder = tmp_path / "case"
    answers = [
        ("(yes or no):", ""),  # nothing is no answer
        ("(yes or no):", "perhaps"),
        ("(yes or no):", "yes"),
        ("new passphrase:", PASSPHRASE),
        ("the same again:", PASSPHRASE),
    ]
    code, screen = typed([*ADD, str(folder)], answers)
    assert code == 0 and "recovery code, shown once" in screen and PASSPHRASE not in screen
    assert store.is_encrypted(folder) and not (folder / "caseload.sqlite").exists()
    with store.open_caseload(folder, ask=lambda: PASSPHRASE) as one:
        assert store.codes(one) == ("C-7QXK",)


def test_a_clear_no_is_kept(tmp_path: Path) -> None:
    folder = tmp_path / "case"
    code, screen = typed([*ADD, str(folder)], [("(yes or no):", "no")])
    assert code == 0 and "not encrypted" in screen and not store.is_encrypted(folder)
    again = [*ADD[:-2], "C-M4RT", "--caseload", str(folder)]
    code, screen = typed(again, [])
    assert code == 0 and "yes or no" not in screen


@pytest.mark.parametrize("more", [[], ["--json"]])
def test_scripts_are_not_kept_waiting(tmp_path: Path, more: list[str]) -> None:
    folder = tmp_path / "case"
    done = subprocess.run(
        [*ADD, str(folder), *more], stdin=subprocess.DEVNULL, capture_output=True, text=True, timeout=60, env=WITHOUT
    )
    assert done.returncode == 0 and "not encrypted" in done.stdout + done.stderr and "yes or no" not in done.stderr
    assert not store.is_encrypted(folder)
