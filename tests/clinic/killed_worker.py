"""Work that is killed: one verb again and again on a caseload, each end told on standard output. Run by test_killed.py.

Sound and tokens are made by hand, so that nearly all the time goes into keeping. Invented data – not a person.
"""

from __future__ import annotations

import importlib.util
import os
import sys
import traceback
from pathlib import Path
from types import ModuleType, SimpleNamespace

import numpy as np

from sibilant import audio, pipeline, store
from sibilant.clinic import clients, exchange, judge, probe, removing
from sibilant.clinic.caseload import CaseloadHandle


def material() -> ModuleType:
    """The module of invented material."""
    path = Path(__file__).parent.parent / "progress" / "material.py"
    spec = importlib.util.spec_from_file_location("progress_material", path)
    assert spec is not None and spec.loader is not None
    found = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(found)
    return found


class Verdict(SimpleNamespace):
    """A verdict that says usable to all."""

    worst = "usable"

    def as_dict(self) -> dict[str, object]:
        return {"durations": "usable", "levels": "usable", "comparison": "usable", "moments": {}}


def listen(recording: object, prompts: object, **_: object) -> SimpleNamespace:
    """In place of the analysis: twenty words found where they are."""
    tokens = tuple(M.token(i, {"centroid_hz": 6000.0 + i}) for i in range(20))
    found = SimpleNamespace(verdict=Verdict(), remedies=(), as_dict=lambda: {"verdict": "usable"})
    sounds = tuple(t.sound for t in tokens)
    return SimpleNamespace(
        sounds=sounds,
        measurements=tuple(one for t in tokens for one in t.measurements.values()),
        utterances=tuple(sound.utterance for sound in sounds),
        suitability=found,
        missing=(),
        strays=(),
        kept=SimpleNamespace(support={}, cut=None),
    )


def work(verb: str, folder: Path, place: Path, start: int) -> None:
    """Do the verb until killed; say what is done, and only then."""
    number = start
    path = place / f"probe-{start}.wav"
    rows = "".join(f"{i},1,1,correct\n" for i in range(1, 21))
    (place / "judgements.csv").write_text("prompt_index,attempt,slot,accuracy\n" + rows, encoding="utf-8")
    while True:
        number += 1
        if verb in {"probe", "judge", "remove"}:
            sound = np.random.default_rng(number).normal(0, 0.05, 21 * 8000).astype(np.float32)
            audio.write_wav(path, sound, 8000, coding="pcm16")
        if verb == "probe":
            kept = probe.keep_probe(CaseloadHandle(folder), "C-7QXK", probe.ProbeRequest([path], "core-a"))
            tell(kept.session.recordings[0])
        elif verb == "judge":
            with store.open_caseload(folder) as one:
                begun = bool(store.sessions(one, "C-7QXK"))
            if not begun:
                probe.keep_probe(CaseloadHandle(folder), "C-7QXK", probe.ProbeRequest([path], "core-a"))
                tell("ready")
            done = judge.judge_from(
                CaseloadHandle(folder), "C-7QXK", None, place / "judgements.csv", rater=f"R{number}"
            )
            tell(f"R{number} {done['session']}")
        elif verb == "remove":
            added, _ = clients.add_client(CaseloadHandle(folder), "7y4m")
            probe.keep_probe(CaseloadHandle(folder), added.code, probe.ProbeRequest([path], "core-a"))
            tell(f"kept {added.code}")
            removing.remove_client(CaseloadHandle(folder), added.code, "all", erase=True)
            tell(f"gone {added.code}")
        elif verb == "import":
            with store.open_caseload(folder) as one:
                left = [code for code in store.codes(one) if code != "C-7QXK"]
            for code in left:  # imported by a round that was killed before it took it out again
                removing.remove_client(CaseloadHandle(folder), code, "all", erase=True)
                tell(f"gone {code}")
            done = exchange.import_folder(CaseloadHandle(folder), place / "export", new_code=True)
            tell(done["client"])
            removing.remove_client(CaseloadHandle(folder), done["client"], "all", erase=True)
            tell(f"gone {done['client']}")


def tell(text: str) -> None:
    """Say a line at once."""
    sys.stdout.write(text + "\n")
    sys.stdout.flush()


if __name__ == "__main__":
    M = material()
    pipeline.analyse = listen  # type: ignore[assignment]
    store.open_caseload(Path(sys.argv[2])).close()
    tell("ready")
    for line in sys.stdin:  # one fork for each kill: what is loaded stays loaded
        child = os.fork()
        if not child:
            try:
                work(sys.argv[1], Path(sys.argv[2]), Path(sys.argv[3]), int(line))
            except Exception:
                traceback.print_exc()
                raise
            finally:
                os._exit(70)  # only when it failed: it never ends by itself
        tell(f"at work {child}")
        os.waitpid(child, 0)
        tell("killed")
