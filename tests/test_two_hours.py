"""A two-hour recording is measured in bounded memory (long: writes docs/evidence/two_hours.csv).

Invented data – not a person.
"""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import soundfile as sf

from sibilant.lexicon import builtin_list
from sibilant.synthetic import child_speaker, probe

ROOT = Path(__file__).parent.parent
CODE = """
import sys, time
from sibilant_cli.main import run
begin = time.perf_counter()
assert run(["measure", sys.argv[1], "--to", sys.argv[2]]) == 0
took = time.perf_counter() - begin
peak = next(line for line in open("/proc/self/status") if line.startswith("VmHWM"))
print(took, int(peak.split()[1]) / 1024)
"""


@pytest.mark.long
def test_two_hours_stay_under_700_mb(tmp_path: Path) -> None:
    """Peak resident memory of the whole process, pages of the mapped recording included."""
    spoken = probe(builtin_list("core-a"), child_speaker(5), 5)
    once = np.asarray(spoken.samples, dtype=np.float32)
    path, table = tmp_path / "long.wav", tmp_path / "long.csv"
    with sf.SoundFile(path, "w", 44100, 1, "PCM_16") as stream:
        for _ in range(int(7200 * 44100 / once.size)):
            stream.write(once)
    done = subprocess.run(
        [sys.executable, "-c", CODE, str(path), str(table)], capture_output=True, text=True, check=True
    )
    took, peak = (float(number) for number in done.stdout.split())
    n_sibilants = sum(1 for _ in table.open(encoding="utf-8")) - 1
    asked = ["git", "rev-parse", "--short", "HEAD"]
    commit = subprocess.run(asked, cwd=ROOT, capture_output=True, text=True, check=True).stdout.strip()
    (ROOT / "docs" / "evidence" / "two_hours.csv").write_text(
        f"minutes,sibilants,seconds,peak_mb,commit\n120,{n_sibilants},{took:.0f},{peak:.0f},{commit}\n",
        encoding="utf-8",
    )
    assert peak < 700
