"""A two-hour recording in bounded memory: the private memory of a fresh process, measured by the system."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import soundfile as sf

SCRIPT = """
import sys, threading, time
from sibilant.audio import read_recording
def private():
    fields = dict(line.split(":", 1) for line in open("/proc/self/status"))
    return int(fields["RssAnon"].split()[0]) // 1024
most = [0]
def watch():
    while True:
        most[0] = max(most[0], private())
        time.sleep(0.002)
threading.Thread(target=watch, daemon=True).start()
recording = read_recording(sys.argv[1])
total = 0.0
for start in range(0, recording.samples.size, 1 << 20):
    total += float(abs(recording.samples[start : start + (1 << 20)]).sum())
print(recording.samples.size, most[0], private())
"""


@pytest.mark.long
@pytest.mark.skipif(not Path("/proc/self/status").exists(), reason="needs Linux's /proc to measure memory")
def test_two_hours_stay_within_the_bound(tmp_path: Path) -> None:
    minute = (np.random.default_rng(1).standard_normal(44_100 * 60) * 3000).astype(np.int16)
    with sf.SoundFile(tmp_path / "long.wav", "w", 44_100, 1, "PCM_16") as sound:
        for _ in range(120):
            sound.write(minute)
    done = subprocess.run(
        [sys.executable, "-c", SCRIPT, str(tmp_path / "long.wav")], capture_output=True, text=True, check=True
    )
    n_samples, most_mb, private_mb = map(int, done.stdout.split())
    print(f"two hours: {n_samples} samples, private memory {most_mb} MB at most, {private_mb} MB at the end")
    assert n_samples == 120 * minute.size
    assert most_mb < 250, "120 MB of held blocks may pass through; the samples themselves are mapped"
