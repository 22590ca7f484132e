"""Encryption, decryption and a change of key that are killed: one process forks a child for each piece of work. Run by
test_encrypted_killed.py. Invented data – not a person.
"""

from __future__ import annotations

import os
import signal
import sys
from functools import partial
from pathlib import Path

from sibilant import store
from sibilant.store import keys

PASSPHRASE = "six blue horses walk"


def killed_at(step: int) -> None:
    """Have this process kill itself just before its n-th file operation in Python: open, make, move or remove."""
    left = step

    def before(event: str, arguments: tuple[object, ...]) -> None:
        nonlocal left
        if event in {"os.remove", "os.rename", "os.mkdir", "os.rmdir"} or (event == "open" and arguments[1] != "r"):
            left -= 1
            if not left:
                os.kill(os.getpid(), signal.SIGKILL)

    sys.addaudithook(before)


def work(verb: str, folder: Path, step: int) -> None:
    """Encrypt, decrypt or change the key; say that the work itself begins, and when it is done."""
    with store.open_caseload(folder) as one:
        tell("begins")
        if step:
            killed_at(step)
        if verb == "encrypt":
            store.encrypt(one, PASSPHRASE, tell=lambda code: tell("code told"))
        elif verb == "rekey":
            store.rekey(one, PASSPHRASE, tell=lambda code: tell("code told"))
        else:
            store.decrypt(one)
    tell("done")


def tell(text: str) -> None:
    """Say a line at once."""
    sys.stdout.write(text + "\n")
    sys.stdout.flush()


if __name__ == "__main__":
    keys.wrap = partial(keys.wrap, n=2**4)  # the kills are to fall into the work, not into stretching a passphrase
    os.environ["SIBILANT_PASSPHRASE"] = PASSPHRASE
    keys.need_extra()
    from cryptography.hazmat.primitives.ciphers.aead import AESGCM  # noqa: F401 - loaded once, for all children
    from cryptography.hazmat.primitives.kdf.hkdf import HKDF  # noqa: F401

    tell("ready")
    for line in sys.stdin:
        asked, step, place = line.rstrip("\n").split(" ", 2)
        child = os.fork()
        if not child:
            try:
                work(asked, Path(place), int(step))
            finally:
                sys.stdout.flush()
                os._exit(0)
        tell(f"at work {child}")
        os.waitpid(child, 0)
        tell("ended")
