"""What a command loads before it answers: named commands load none of the heavy packages that they don't use."""

from __future__ import annotations

import subprocess
import sys
from dataclasses import replace
from pathlib import Path
from types import ModuleType

import pytest

from sibilant import store

STATISTICS = ("scipy.stats", "scipy.signal", "statsmodels", "sklearn", "pandas", "librosa")
DRAWING, SOUND = ("matplotlib", "typst", "docx"), ("parselmouth", "soundfile", "scipy.fft", "sibilant.pipeline")
COMPOSED = ("sibilant.report.kinds", "sibilant.charts.months", "sibilant.charts.strips")
SCRIPT = (
    "import sys\nfrom sibilant_cli.main import run\ncode = run(sys.argv[2:])\n"
    "print('LOADED', code, *(name for name in sys.argv[1].split(',') if name in sys.modules))"
)
CODE = "C-7QXK"


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory, material: ModuleType) -> Path:
    """A caseload of one invented client with five judged probes."""
    folder: Path = tmp_path_factory.mktemp("starts") / "kept"
    with store.open_caseload(folder) as one:
        store.add_client(one, material.client())
        for number in range(1, 6):
            tokens = [material.token(i, {"centroid_hz": 6000.0 + 9 * i + 40 * number}) for i in range(20)]
            recording = store.NewRecording(f"{number:064d}", 44100, 30.0, {})
            prompts = tuple(material.prompt_of(i) for i in range(20))
            session = replace(material.session(number), number=0)
            store.keep_session(one, store.NewSession(session, prompts, (recording,), material.new_sounds(tokens)))
            heard = [material.judgement(f"{i}.1.1", "correct") for i in range(1, 21)]
            store.add_judgements(one, CODE, number, heard)
    return folder


def loaded(forbidden: tuple[str, ...], *words: str) -> str:
    """Exit code and forbidden modules that a command loaded, in a process of its own."""
    command = [sys.executable, "-c", SCRIPT, ",".join(forbidden), *words]
    done = subprocess.run(command, check=True, capture_output=True, text=True)
    return done.stdout.rsplit("LOADED ", 1)[1].strip()


@pytest.mark.parametrize(
    ("words", "forbidden"),
    [
        ("expect seal", (*STATISTICS, *DRAWING, *SOUND, "numpy", "sqlalchemy")),
        ("lists", (*STATISTICS, *DRAWING, *SOUND, "numpy", "sqlalchemy")),
        ("client list", (*STATISTICS, *DRAWING, *SOUND, "alembic")),
        (f"progress {CODE}", (*STATISTICS, *DRAWING, *SOUND, *COMPOSED, "scipy.special", "alembic")),
        (f"report {CODE} --kind monthly --to REPORT", (*STATISTICS, *SOUND, "scipy.special", "alembic")),
    ],
)
def test_over_a_caseload(words: str, forbidden: tuple[str, ...], folder: Path, tmp_path: Path) -> None:
    named = [word.replace("REPORT", str(tmp_path / "monthly.pdf")) for word in words.split()]
    kept = [] if named[0] in {"expect", "lists"} else ["--caseload", str(folder)]
    assert loaded(forbidden, *named, *kept) == "0"


def test_over_a_recording() -> None:
    sound = Path(__file__).parent.parent / "reference_audio" / "probe-quiet.flac"
    unused = (*STATISTICS, *DRAWING, "sqlalchemy", "sibilant.terms.reference")
    assert loaded(unused, "measure", str(sound), "--words", "core-a") == "0"
    assert loaded(unused, "check", str(sound)) == "0"
