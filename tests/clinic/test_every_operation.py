"""Each verb that changes a caseload, killed before every step: the caseload is as before or as after.

A step is a file operation or a statement to the database. A child is forked for each kill: some steps by default, every
one with ``-m long``, plain and encrypted, and as many again at random moments (evidence in
docs/evidence/every_operation.csv and random_moments.csv). Encrypting, another key and restoring have tests of their own
beside this. Invented data – not a person.
"""

from __future__ import annotations

import csv
import datetime as dt
import os
import random
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from functools import partial
from pathlib import Path
from types import ModuleType, SimpleNamespace

import numpy as np
import pytest
import sqlalchemy as sa

from sibilant import audio, pipeline, store
from sibilant.clinic import again, backups, exchange, removing, take
from sibilant.clinic.caseload import CaseloadHandle
from sibilant.store import keys
from sibilant.store.schema import METADATA
from sibilant.terms import Prompt

EVIDENCE = Path(__file__).parents[2] / "docs" / "evidence"
CODE, OTHER = "C-7QXK", "C-M4RT"
N_RANDOM = 25
FEWEST_STEPS = 16
"""Of the shortest verb, a take thrown away: the first kill lies among them."""
PASSPHRASE = "six blue horses walk"
CHANGING = {"os.remove", "os.rename", "os.mkdir", "os.rmdir"}
IGNORED = {"settings", "audit"}
"""What the last line of the trail and the client used last say differs with the moment, not with what is kept."""
NOISE = np.random.default_rng(5).normal(0, 0.01, 22_050).astype(np.float32)


@pytest.fixture(scope="module")
def starts(tmp_path_factory: pytest.TempPathFactory, material: ModuleType) -> dict[str, Path]:
    """Plain and encrypted: two sessions of three kept words, one of them in the bin, a take of another client."""
    root = tmp_path_factory.mktemp("start")
    filled(root / "other", material, CODE, (3, 4))
    filled(root / "plain" / "case", material, CODE, (1, 2))
    with pytest.MonkeyPatch.context() as patched:
        patched.setenv("SIBILANT_PASSPHRASE", PASSPHRASE)
        exchange.export_client(CaseloadHandle(root / "other"), CODE, root / "plain" / "export", audio=True)
        handle = CaseloadHandle(root / "plain" / "case")
        removing.remove_session(handle, CODE, 2)
        shutil.copytree(root / "plain", root / "encrypted")
        patched.setattr(keys, "wrap", partial(keys.wrap, n=2**4))
        with store.open_caseload(root / "encrypted" / "case") as one:
            store.encrypt(one, PASSPHRASE, tell=lambda code: None)
        for form in ("plain", "encrypted"):
            began(CaseloadHandle(root / form / "case"), material)
    return {form: root / form for form in ("plain", "encrypted")}


@pytest.fixture(autouse=True)
def heard_quickly(monkeypatch: pytest.MonkeyPatch, material: ModuleType) -> None:
    """In place of the analysis of a take: each word found where it is."""

    def listen(recording: object, prompts: Sequence[Prompt], **_: object) -> SimpleNamespace:
        tokens = tuple(material.token(i, {"centroid_hz": 6000.0 + i}, prompt=one) for i, one in enumerate(prompts))
        sounds = tuple(one.sound for one in tokens)
        verdict = SimpleNamespace(worst="usable", as_dict=lambda: {"durations": "usable"})
        return SimpleNamespace(
            sounds=sounds,
            measurements=tuple(each for one in tokens for each in one.measurements.values()),
            utterances=tuple(sound.utterance for sound in sounds),
            suitability=SimpleNamespace(verdict=verdict, remedies=(), as_dict=lambda: {"verdict": "usable"}),
            missing=(),
            strays=(),
            kept=SimpleNamespace(support={}, cut=None),
        )

    monkeypatch.setattr(pipeline, "analyse", listen)
    monkeypatch.setenv("SIBILANT_PASSPHRASE", PASSPHRASE)


def began(handle: CaseloadHandle, material: ModuleType) -> None:
    """A take of another client, two words said."""
    with handle.opened() as one:
        store.add_client(one, replace(material.client(), code=OTHER))
    listed = "word\nseal\nbus\nsun\n"
    state = take.begin(handle, OTHER, take.TakeRequest(listed=listed, level="word", sampling_rate_hz=44_100))
    for place in (1, 2):
        word = NOISE * np.where(np.arange(NOISE.size) // 4000 == 2, 20.0, 1.0 + place / 50).astype(np.float32)
        done = take.keep_stretch(handle, OTHER, word, take=state["take"], place=place, onward=True)
        assert done["again"] == ""


def filled(folder: Path, material: ModuleType, code: str, numbers: tuple[int, ...]) -> None:
    """One client with sessions of three kept words each."""
    with store.open_caseload(folder) as one:
        store.add_client(one, replace(material.client(), code=code))
        for number in numbers:
            words = [audio.flac_bytes(NOISE[10 * number + i :], 44_100) for i in range(3)]
            names = [store.keep_clip(one, word, ".flac") for word in words]
            clips = tuple(store.NewClip(i + 1, 1, name, ".flac", float(i)) for i, name in enumerate(names))
            sounds = material.new_sounds(material.token(i, {"centroid_hz": 6000.0 + i}) for i in range(3))
            prompts = tuple(material.prompt_of(i) for i in range(3))
            recording = store.NewRecording(f"{number:064d}", 44100, 30.0, {})
            session = replace(material.session(1), client=code, on=dt.date(2026, 3, number))
            store.keep_session(one, store.NewSession(session, prompts, (recording,), sounds, clips))


def to_bin(handle: CaseloadHandle) -> None:
    removing.remove_client(handle, CODE, "all")


def session_to_bin(handle: CaseloadHandle) -> None:
    removing.remove_session(handle, CODE, 1)


def out_of_bin(handle: CaseloadHandle) -> None:
    removing.restore_session(handle, CODE, 2)


def sound_to_bin(handle: CaseloadHandle) -> None:
    removing.remove_client(handle, CODE, "audio")


def erase(handle: CaseloadHandle) -> None:
    removing.remove_client(handle, CODE, "all", erase=True)


def export(handle: CaseloadHandle) -> None:
    exchange.export_client(handle, CODE, handle.folder.parent / "out", audio=True)


def export_fhir(handle: CaseloadHandle) -> None:
    exchange.export_fhir(handle, CODE, handle.folder.parent / "out")


def bring_in(handle: CaseloadHandle) -> None:
    exchange.import_folder(handle, handle.folder.parent / "export", new_code=True)


def begin(handle: CaseloadHandle) -> None:
    take.begin(handle, CODE, take.TakeRequest(words="core-a", level="word", sampling_rate_hz=44_100))


def finish(handle: CaseloadHandle) -> None:
    take.finish(handle, OTHER, anyway=True)


def throw_away(handle: CaseloadHandle) -> None:
    take.throw_away(handle, OTHER)


def measure(handle: CaseloadHandle) -> None:
    assert again.measure_client_again(handle, CODE)["measured"] == 3


def back_up(handle: CaseloadHandle) -> None:
    how = {"own_passphrase": False, "remind_after": None, "tell": lambda code: None}
    backups.backup(handle, handle.folder.parent / "one.backup", **how)


VERBS: dict[str, Callable[[CaseloadHandle], None]] = {
    "remove --all": to_bin,
    "remove --audio": sound_to_bin,
    "remove --all --erase": erase,
    "session remove": session_to_bin,
    "session restore": out_of_bin,
    "export --audio": export,
    "export --as fhir": export_fhir,
    "import": bring_in,
    "take begun": begin,
    "take finished": finish,
    "take thrown away": throw_away,
    "measure again": measure,
    "backup": back_up,
}
FORMS = ("plain", "encrypted")


def killed_at(step: int) -> None:
    """Have this process kill itself just before its n-th file operation in Python, or statement to the database."""
    left = step

    def one_more() -> None:
        nonlocal left
        left -= 1
        if not left:
            os.kill(os.getpid(), signal.SIGKILL)

    def before(event: str, arguments: tuple[object, ...]) -> None:
        if event in CHANGING or (event == "open" and arguments[1] != "r"):
            one_more()

    sys.addaudithook(before)
    sa.event.listen(sa.Engine, "before_cursor_execute", lambda *_: one_more())


def done_by_a_child(verb: str, handle: CaseloadHandle, step: int, after_s: float | None = None) -> bool:
    """Say whether a forked child did the verb to its end, before the n-th step or being killed after a time."""
    child = os.fork()
    if not child:
        code = 1
        try:
            killed_at(step)
            VERBS[verb](handle)
            code = 0
        finally:
            os._exit(code)
    if after_s is not None:
        time.sleep(after_s)
        os.kill(child, signal.SIGKILL)  # it is not waited for yet, so the number is still its own
    _, status = os.waitpid(child, 0)
    assert os.waitstatus_to_exitcode(status) in (0, -signal.SIGKILL), (verb, step)
    return os.waitstatus_to_exitcode(status) == 0


def state(folder: Path) -> tuple[object, ...]:
    """All rows, by table, and all sounds, checked; opening has cleared up what belongs to nobody."""
    with store.open_caseload(folder) as one:
        looked, heard = store.look_at_rows(one), store.look_at_sounds(one)
        assert looked.damaged == () and heard.found == {}, (looked, heard)
        with one.read() as connection:
            tables = [
                sorted(
                    str(
                        {
                            k: v
                            for k, v in row.items()
                            if k not in {"id", "checksum", "code", "put_at"} and "_id" not in k
                        }
                    )
                    for row in connection.execute(table.select()).mappings()
                )
                for table in METADATA.sorted_tables
                if table.name not in IGNORED
            ]
    found = [take.under_way(CaseloadHandle(folder), code) for code in store_codes(folder)]
    under_way = [(one["client"], one["place"], one["stretches"]) for one in found if one is not None]
    if not under_way:
        assert not list((folder / "takes").glob("*"))
    return tables, under_way, sorted(path.name for path in folder.glob("audio/??/*"))


def store_codes(folder: Path) -> tuple[str, ...]:
    with store.open_caseload(folder) as one:
        return store.codes(one)


def copies(start: Path, to: Path) -> Iterator[CaseloadHandle]:
    while True:
        shutil.rmtree(to, ignore_errors=True)
        to.mkdir()
        for name in ("case", "export"):
            shutil.copytree(start / name, to / name)
        yield CaseloadHandle(to / "case")


@pytest.mark.parametrize(
    ("verb", "form", "every"),
    [(verb, FORMS[place % 2], 31) for place, verb in enumerate(VERBS)]
    + [pytest.param(verb, form, 1, marks=pytest.mark.long) for form in FORMS for verb in VERBS],
)
def test_killed_before_every_step(verb: str, form: str, every: int, starts: dict[str, Path], tmp_path: Path) -> None:
    folders = copies(starts[form], tmp_path / "work")
    handle = next(folders)
    before = state(handle.folder)
    assert done_by_a_child(verb, handle, 10_000)
    after = state(handle.folder)
    counts = {"as_before": 0, "as_after": 0}
    step = 1 + random.Random(verb).randrange(min(every, FEWEST_STEPS))
    while not done_by_a_child(verb, handle := next(folders), step):
        counts[_whole(handle.folder, before, after, (verb, step))] += 1
        step += every
    assert sum(counts.values()), "none was killed"
    if every == 1:
        _write_evidence("every_operation.csv", f"{verb}, {form}", {"kills": step - 1, **counts})


@pytest.mark.long
@pytest.mark.parametrize("form", FORMS)
@pytest.mark.parametrize("verb", list(VERBS))
def test_killed_at_random_moments(verb: str, form: str, starts: dict[str, Path], tmp_path: Path) -> None:
    folders = copies(starts[form], tmp_path / "work")
    handle = next(folders)
    before = state(handle.folder)
    began_s = time.perf_counter()
    assert done_by_a_child(verb, handle, 10_000)
    one_s = time.perf_counter() - began_s
    after = state(handle.folder)
    moments = random.Random(f"{verb} {form}")
    counts = {"as_before": 0, "as_after": 0}
    n_done = 0
    for kill in range(N_RANDOM):
        handle = next(folders)
        n_done += done_by_a_child(verb, handle, 10_000, moments.uniform(0.0, 1.05 * one_s))
        counts[_whole(handle.folder, before, after, (verb, kill))] += 1
    _write_evidence("random_moments.csv", f"{verb}, {form}", {"kills": N_RANDOM, **counts, "done_before": n_done})


def _whole(folder: Path, before: object, after: object, told: object) -> str:
    """Which of the two the caseload is now; it is one of them, and nothing half-made is left."""
    found = state(folder)
    assert found in (before, after), told
    assert not _half_made(folder.parent), told
    if (out := folder.parent / "out").exists():
        assert any(out.iterdir())
    if (backup := folder.parent / "one.backup").exists():
        store.restore_backup(backup, folder.parent / "back", ask=lambda: PASSPHRASE)
    return "as_after" if found == after != before else "as_before"


def _half_made(work: Path) -> list[Path]:
    """What a killed export leaves beside its place, and half-written files in the caseload."""
    return [*work.glob(".out.*"), *work.glob(".one.backup.*"), *work.rglob("*.part"), *work.glob("case/.exporting-*")]


def _write_evidence(name: str, verb: str, counts: dict[str, int]) -> None:
    path = EVIDENCE / name
    commit = subprocess.run(
        ["git", "rev-parse", "--short", "HEAD"], cwd=EVIDENCE.parents[1], capture_output=True, text=True
    ).stdout.strip()
    rows = list(csv.DictReader(path.read_text(encoding="utf-8").splitlines())) if path.exists() else []
    fresh = {"verb": verb, **counts, "commit": commit}
    rows = [row for row in rows if row["verb"] not in (verb, verb.split(",")[0])] + [fresh]
    with path.open("w", newline="", encoding="utf-8") as stream:
        writer = csv.DictWriter(stream, list(fresh), lineterminator="\n")
        writer.writeheader()
        writer.writerows(sorted(rows, key=lambda row: str(row["verb"])))
