"""A probe of two minutes costs at most 1.3 times what it did without noise taken out and kept (issue: the mouth).

Both in one run, in processes of their own, user time: `keep_probe` as it is, and the same with the earlier versions of
the three house methods, which leave the noise in, and nothing kept around the words. A folder of an earlier program
given by ``SIBILANT_EARLIER`` (its checkout) is measured in the same run too, and then that is what is held against.
"""

from __future__ import annotations

import os
import resource
import subprocess
import sys
from pathlib import Path

import pytest

from sibilant import audio, lexicon, synthetic

RUN = """
import sys, datetime as dt
from pathlib import Path
from sibilant.clinic import clients, probe
try:
    from sibilant.clinic.caseload import CaseloadHandle as Handle
except ImportError:
    Handle = Path
folder, wav, words, how = Path(sys.argv[1]), Path(sys.argv[2]), sys.argv[3], sys.argv[4]
more = {}
if how == "earlier methods":
    from sibilant import methods
    from sibilant.clinic import probe as rooms
    more = {"methods": tuple(methods.get_method(f"{name}/1") for name in ("house-15k", "house-10k", "house-7k"))}
    rooms.surroundings_of = lambda each: []
clients.add_client(Handle(folder), "34y", code="C-7QXK", fields={"invented": True})
for number in range(int(sys.argv[5])):
    probe.keep_probe(Handle(folder), "C-7QXK", probe.ProbeRequest([wav], words, on=dt.date(2026, 1, 5), **more))
"""


@pytest.fixture(scope="module")
def two_minutes(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """A recording of two minutes and its list."""
    folder = tmp_path_factory.mktemp("cost")
    prompts = [*lexicon.builtin_list("core-a"), *lexicon.builtin_list("core-a"), *lexicon.builtin_list("core-a")]
    said = synthetic.probe(prompts, synthetic.child_speaker(3), 1)
    audio.write_wav(folder / "probe.wav", said.samples[: 120 * said.sampling_rate_hz], said.sampling_rate_hz)
    heard = round(len(prompts) * min(1.0, 120 * said.sampling_rate_hz / said.samples.size)) - 1
    words = "word\n" + "\n".join(prompt.text for prompt in prompts[:heard]) + "\n"
    (folder / "list.csv").write_text(words, encoding="utf-8")
    return folder / "probe.wav", folder / "list.csv"


def user_s(folder: Path, given: tuple[Path, Path], how: str, *, root: Path | None = None) -> float:
    """User seconds of one probe, start and imports of the process taken off."""
    environment = {**os.environ, "OMP_NUM_THREADS": "1", **({"PYTHONPATH": str(root)} if root is not None else {})}
    spent = []
    for n in (0, 1):
        asked = [sys.executable, "-c", RUN, str(folder / f"{how}{n}"), str(given[0]), str(given[1]), how, str(n)]
        before = resource.getrusage(resource.RUSAGE_CHILDREN).ru_utime
        subprocess.run(asked, check=True, capture_output=True, env=environment, cwd=root or Path.cwd())
        spent.append(resource.getrusage(resource.RUSAGE_CHILDREN).ru_utime - before)
    return spent[1] - spent[0]


@pytest.mark.benchmark
def test_a_probe_of_two_minutes(two_minutes: tuple[Path, Path], tmp_path: Path) -> None:
    earlier = os.environ.get("SIBILANT_EARLIER", "")
    present, before = [], []
    for turn in range(3):
        place = tmp_path / str(turn)
        place.mkdir()
        present.append(user_s(place, two_minutes, "present"))
        how = "earlier program" if earlier else "earlier methods"
        before.append(user_s(place, two_minutes, how, root=Path(earlier) if earlier else None))
    ratio = min(present) / min(before)
    print(f"a probe of two minutes: {min(present):.2f} s user, {ratio:.2f} times the {how}'s {min(before):.2f} s")
    assert ratio <= 1.3
