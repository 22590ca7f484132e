"""Work on a caseload while backups are taken, and backing up and restoring that are killed. Run by test_backups.py.

Invented data – not a person.
"""

from __future__ import annotations

import hashlib
import importlib.util
import os
import sys
from pathlib import Path
from types import ModuleType

import sqlalchemy as sa

from sibilant import store
from sibilant.store.schema import AUDIT, METADATA, SETTINGS

HERE = Path(__file__).parent


def module(path: Path) -> ModuleType:
    """A module of the tests by its path."""
    spec = importlib.util.spec_from_file_location(path.stem, path)
    assert spec is not None and spec.loader is not None
    found = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(found)
    return found


def state_of(one: store.Caseload) -> str:
    """A digest of every row of every table but the trail and what was used last, as it stands at one moment."""
    digest = hashlib.sha256()
    with one.read() as connection:
        for table in METADATA.sorted_tables:
            if table not in (SETTINGS, AUDIT):
                for row in connection.execute(sa.select(table).order_by(next(iter(table.primary_key.columns)))):
                    digest.update(repr((table.name, tuple(row))).encode())
    return digest.hexdigest()


def session(one: store.Caseload, number: int) -> None:
    """Keep a session of five words, each with a sound of its own."""
    clips = []
    with store.at_work(one):
        for place in range(1, 6):
            sound = hashlib.sha256(f"{number} {place}".encode()).digest() * 400
            clips.append(store.NewClip(place, 1, store.keep_clip(one, sound, ".flac"), ".flac", 0.0))
        prompts = tuple(M.prompt_of(i) for i in range(5))
        tokens = M.new_sounds(M.token(i, {"centroid_hz": 6000.0 + number + i}) for i in range(5))
        recording = store.NewRecording(f"{number:064d}", 44100, 30.0, {})
        store.keep_session(one, store.NewSession(M.session(1), prompts, (recording,), tokens, tuple(clips)))


def work_on(folder: Path) -> None:
    """Keep, change and remove sessions until told to stop; write each state that was, one a line."""
    tell("at work")
    number = 100
    while not (folder.parent / "stop").exists():
        number += 1
        with store.open_caseload(folder) as one:
            session(one, number)
            tell(state_of(one))
            kept = [held.number for held in store.sessions(one, "C-7QXK")]
            if number % 3 == 0:
                store.change_session(one, "C-7QXK", kept[-1], {"note": f"changed {number}"})
                tell(state_of(one))
            if len(kept) > 4:
                store.remove_session(one, "C-7QXK", kept[number % 3])
                tell(state_of(one))
    tell("stopped")


def work(verb: str, folder: Path, step: int) -> None:
    """Back up or restore; say when it is done."""
    killed_at = module(HERE / "encrypted_worker.py").killed_at
    tell("begins")
    if verb == "backup":
        with store.open_caseload(folder) as one:
            killed_at(step)
            store.write_backup(one, folder.parent / "new.backup")
    elif verb == "restore":
        killed_at(step)
        store.restore_backup(
            folder.parent / "kept.backup", folder, ask=lambda: os.environ["SIBILANT_PASSPHRASE"], in_place=True
        )
    elif verb == "rekey":
        with store.open_caseload(folder) as one:
            killed_at(step)
            store.rekey(one, os.environ["SIBILANT_PASSPHRASE"], tell=lambda code: None)
    tell("done")


def tell(text: str) -> None:
    """Say a line at once."""
    sys.stdout.write(text + "\n")
    sys.stdout.flush()


if __name__ == "__main__":
    M = module(HERE.parent / "progress" / "material.py")
    if sys.argv[1] == "work":
        work_on(Path(sys.argv[2]))
        sys.exit(0)
    with_n = module(HERE / "encrypted_worker.py").partial
    from sibilant.store import keys

    keys.wrap = with_n(keys.wrap, n=2**4)
    os.environ.setdefault("SIBILANT_PASSPHRASE", "six blue horses walk")
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
