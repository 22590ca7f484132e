"""What ``bench.py`` measures on, made anew in a folder of the run. Invented data – not a person."""

from __future__ import annotations

import importlib.util
import io
import shutil
import subprocess
import sys
import tarfile
from dataclasses import replace
from pathlib import Path
from types import ModuleType

import numpy as np

from sibilant import store
from sibilant.audio import write_wav
from sibilant.lexicon import builtin_list
from sibilant.synthetic import ProbePlan, child_speaker, man, probe, woman

ROOT = Path(__file__).parents[2]
CODE = "C-7QXK"
PASSPHRASE = "six blue horses walk"
RATE = 44_100
COMMAND = "import sys; from sibilant_cli.main import run; sys.exit(run(sys.argv[1:]))"


def material() -> ModuleType:
    """The tests' module of invented clients."""
    spec = importlib.util.spec_from_file_location("bench_invented", ROOT / "tests" / "progress" / "material.py")
    assert spec is not None and spec.loader is not None
    sys.modules[spec.name] = module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def two_minutes(folder: Path) -> Path:
    """Two minutes at 44.1 kHz: 20 words of a child, padded with the room's own quiet."""
    spoken = probe(builtin_list("core-a"), child_speaker(5), 5, plan=ProbePlan(pause_s=(5.0, 5.6)))
    path = folder / "two-minutes.wav"
    write_wav(path, np.asarray(spoken.samples)[: 120 * RATE], RATE)
    return path


def ten_probes(folder: Path) -> tuple[Path, Path]:
    """Ten probes of 20 words by ten invented speakers: a manifest without words, and one with them."""
    folder.mkdir()
    bare, listed = ["recording"], ["recording,prompts"]
    for number in range(10):
        words = builtin_list(("core-a", "core-b")[number % 2])
        said = probe(
            words, (woman, man, child_speaker)[number % 3](number), number, plan=ProbePlan(pause_s=(0.35, 0.6))
        )
        write_wav(folder / f"{number}.wav", said.samples, said.sampling_rate_hz)
        bare.append(f"{number}.wav")
        listed.append(f'{number}.wav,"{", ".join(prompt.text for prompt in words)}"')
    for name, lines in (("bare", bare), ("listed", listed)):
        (folder / f"{name}.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    return folder / "bare.csv", folder / "listed.csv"


def links(manifest: Path, folder: Path, times: int) -> Path:
    """The recordings of a manifest without words, each ``times`` over under another name."""
    folder.mkdir()
    lines = ["recording"]
    for path in sorted(manifest.parent.glob("*.wav")):
        for number in range(times):
            (folder / f"{path.stem}-{number}.wav").hardlink_to(path)
            lines.append(f"{path.stem}-{number}.wav")
    (folder / "m.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    return folder / "m.csv"


def caseload(folder: Path, *, n_clients: int, n_sessions: int, n_words: int = 20) -> Path:
    """Clients under checked codes, each with judged probes."""
    from sibilant.store.people import new_code

    made = material()
    with store.open_caseload(folder) as one:
        codes = [CODE]
        while len(codes) < n_clients:
            codes.append(new_code({*codes}))
        for place, code in enumerate(codes):
            store.add_client(one, replace(made.client(), code=code))
            for number in range(1, n_sessions + 1):
                _keep(one, made, (code, place, number), n_words)
    return folder


def encrypted(caseload: Path, folder: Path) -> Path:
    """The same caseload, encrypted."""
    shutil.copytree(caseload, folder)
    with store.open_caseload(folder) as one:
        store.encrypt(one, PASSPHRASE, tell=lambda code: None)
    return folder


OLD = """
import sys
sys.path[:0] = [sys.argv[1], sys.argv[1] + "/named"]
del sys.argv[1]
"""
"""Has a script run an earlier program, whose folder is the first word after it."""
OLD_CASELOAD = """
import importlib.util
from dataclasses import replace
from pathlib import Path
from sibilant import store
spec = importlib.util.spec_from_file_location("invented", sys.path[0] + "/tests/progress/material.py")
sys.modules["invented"] = made = importlib.util.module_from_spec(spec)
spec.loader.exec_module(made)
with store.open_caseload(Path(sys.argv[1])) as one:
    store.add_client(one, made.client())
    for number in range(1, 10):
        tokens = [made.token(i, {"centroid_hz": 6000.0 + 9 * i + 40 * number, "core_duration_ms": 90.0 + i})
                  for i in range(20)]
        recording = store.NewRecording(f"{number:064d}", 44100, 30.0, {"verdict": "usable"})
        session = replace(made.session(number), number=0)
        prompts = tuple(made.prompt_of(i) for i in range(20))
        store.keep_session(one, store.NewSession(session, prompts, (recording,), tuple((0, each) for each in tokens)))
        heard = [made.judgement(f"{i}.1.1", "correct") for i in range(1, 21)]
        store.add_judgements(one, session.client, number, heard)
"""
"""Nine judged probes of twenty words, as the program at 6d87046 keeps them."""


def program_at(commit: str, folder: Path) -> Path | None:
    """The program as it stood at a commit, from this checkout's history; None where that does not reach back to it."""
    packed = subprocess.run(["git", "archive", commit], cwd=ROOT, capture_output=True, check=False)
    if packed.returncode:
        return None
    with tarfile.open(fileobj=io.BytesIO(packed.stdout)) as archive:
        archive.extractall(folder, filter="data")
    (folder / "named").mkdir()
    (folder / "named" / "sibilant_cli").symlink_to(folder / "cli")
    return folder


def caseload_by(program: Path, folder: Path) -> Path:
    """A caseload that an earlier program has made."""
    subprocess.run([sys.executable, "-c", OLD + OLD_CASELOAD, str(program), str(folder)], check=True)
    return folder


def _keep(one: store.Caseload, made: ModuleType, which: tuple[str, int, int], n_words: int) -> None:
    code, place, number = which
    tokens = [made.token(i, {"centroid_hz": 6000.0 + 9 * i + 40 * number, "core_duration_ms": 90.0 + i})
              for i in range(n_words)]  # fmt: skip
    recording = store.NewRecording(f"{1000 * place + number:064d}", RATE, 30.0, {"verdict": "usable"})
    prompts = tuple(made.prompt_of(i) for i in range(n_words))
    session = replace(made.session(number), client=code, number=0)
    store.keep_session(one, store.NewSession(session, prompts, (recording,), made.new_sounds(tokens)))
    heard = [made.judgement(f"{i}.1.1", "correct") for i in range(1, n_words + 1)]
    store.add_judgements(one, code, number, heard)


def views(n_sessions: int) -> float:
    """Seconds that the whole view of one client of ``n_sessions`` probes takes, a probe."""
    import datetime as dt
    import time

    from sibilant.progress import view

    made, rng = material(), np.random.default_rng(1)
    held = [made.session(i + 1, on=made.DAY + dt.timedelta(days=3 * i)) for i in range(n_sessions)]
    case = made.case((6000 + 300 * rng.random(n_sessions)).tolist(), sessions=held)
    view(made.case([6000.0, 6100.0, 6050.0]))
    start = time.process_time()
    view(case)
    return (time.process_time() - start) / n_sessions


def reads(n_sessions: int) -> float:
    """Seconds that reading the whole case of one client of ``n_sessions`` probes takes, a probe."""
    import tempfile
    import time

    with tempfile.TemporaryDirectory() as folder:
        path = caseload(Path(folder) / "case", n_clients=1, n_sessions=n_sessions)
        with store.open_caseload(path) as one:
            store.read_case(one, CODE, session=1)
            start = time.process_time()
            store.read_case(one, CODE)
            return (time.process_time() - start) / n_sessions


def words(n_words: int) -> float:
    """Seconds that finding a list of ``n_words`` in its recording takes, a word."""
    import time

    from sibilant.terms import Recording, Source
    from sibilant.words import find_words

    prompts = (builtin_list("core-a") + builtin_list("core-b")) * (-(-n_words // 40))
    said = probe(prompts[:n_words], woman(3), 3, plan=ProbePlan(pause_s=(0.35, 0.6)))
    recording = Recording(said.samples, said.sampling_rate_hz, Source("invented", ""))
    start = time.process_time()
    find_words(recording, prompts[:n_words])
    return (time.process_time() - start) / n_words


PEAK = (
    "import sys; from sibilant_cli.main import run; code = run(sys.argv[1:]);"
    "print('PEAK', [line for line in open('/proc/self/status') if line.startswith('VmHWM')][0].split()[1]);"
    "sys.exit(code)"
)
"""The program, which says in kB what memory it had at its most; ``ru_maxrss`` would hold its parent's from the fork."""


def command_s(*words: object, script: str = COMMAND) -> tuple[float, str]:
    """User and system seconds of a command of the program as a whole process, and what it printed."""
    import resource

    def spent() -> float:
        used = resource.getrusage(resource.RUSAGE_CHILDREN)
        return used.ru_utime + used.ru_stime

    start = spent()
    asked = [sys.executable, "-c", script, *map(str, words)]
    told = subprocess.run(asked, check=True, stdout=subprocess.PIPE, text=True).stdout
    return spent() - start, told


def tokens(n_tokens: int) -> float:
    """Seconds a token that a corpus of ``n_tokens``, words not given, takes on one core, start and tables and all.

    Prints the peak of its memory.
    """
    import tempfile

    with tempfile.TemporaryDirectory() as folder:
        bare, _ = ten_probes(Path(folder) / "ten")
        lines = links(bare, Path(folder) / "many", -(-n_tokens // 200)).read_text(encoding="utf-8").splitlines()
        manifest = Path(folder) / "many" / "some.csv"
        manifest.write_text("\n".join(lines[: 1 + n_tokens // 20]) + "\n", encoding="utf-8")
        spent, told = command_s("corpus", manifest, "--to", Path(folder) / "to", "--workers", 1, script=PEAK)
        print("PEAK", told.rsplit("PEAK", 1)[1].strip())
        return spent / n_tokens


GATHERED = """
import sys, time
from pathlib import Path
from sibilant.corpus import CorpusRequest, parts, run
parts.is_done = lambda *_: True  # recordings are hashed anew where a run is gone on with, not where it gathers
start = time.process_time()
run(CorpusRequest(Path(sys.argv[1]), Path(sys.argv[2]), resume=True))
print("SPENT", time.process_time() - start)
print("PEAK", [line for line in open("/proc/self/status") if line.startswith("VmHWM")][0].split()[1])
"""
"""Tables made of what is measured already: the seconds it takes, and in kB the peak of memory."""


def gathering(n_tokens: int) -> float:
    """Seconds a token that planning and joining ``n_tokens`` takes whose recordings are measured; prints the peak.

    Ten recordings are measured; the others' parts are theirs under other names.
    """
    import tempfile

    with tempfile.TemporaryDirectory() as folder:
        bare, _ = ten_probes(Path(folder) / "ten")
        manifest, to = links(bare, Path(folder) / "many", n_tokens // 200), Path(folder) / "to"
        _measured_by_likeness(manifest, to)
        asked = [sys.executable, "-c", GATHERED, str(manifest), str(to)]
        told = subprocess.run(asked, check=True, stdout=subprocess.PIPE, text=True).stdout
    print("PEAK", told.rsplit("PEAK", 1)[1].strip())
    return float(told.split("SPENT")[1].split()[0]) / n_tokens


def _measured_by_likeness(manifest: Path, to: Path) -> None:
    """Keep the part of every recording of a manifest; one of those that are the same sound is measured."""
    from sibilant.corpus.manifest import planned
    from sibilant.corpus.parts import part_path
    from sibilant.corpus.pieces import measured_piece
    from sibilant.corpus.request import CorpusRequest

    plan = planned(CorpusRequest(manifest, to))
    measured: dict[str, tuple[str, str]] = {}
    for piece in plan.pieces:
        sound = piece.recording.split("-")[0]
        if sound not in measured:
            measured[sound] = piece.recording, measured_piece(piece, plan.methods)
        path, (name, part) = part_path(to, piece), measured[sound]
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(part.replace(name, piece.recording), encoding="utf-8")


def clients(n_clients: int) -> float:
    """Seconds that ``progress`` of one client takes in a caseload of many, a client of the caseload."""
    import tempfile

    with tempfile.TemporaryDirectory() as folder:
        path = caseload(Path(folder) / "case", n_clients=n_clients, n_sessions=1)
        return min(command_s("progress", CODE, "--caseload", path)[0] for _ in range(3)) / n_clients


if __name__ == "__main__":
    known = {
        "views": views,
        "reads": reads,
        "words": words,
        "tokens": tokens,
        "gathering": gathering,
        "clients": clients,
    }
    print("FIGURE", known[sys.argv[1]](int(sys.argv[2])))
