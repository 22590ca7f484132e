"""Damaged files: cut short, or with bytes changed; one clear line or a recording of finite samples, never a crash."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import soundfile as sf

from sibilant.audio import read_recording
from sibilant.errors import RecordingError

PLAIN = {
    "a.wav": ("WAV", "PCM_16"), "b.wav": ("WAV", "FLOAT"), "c.flac": ("FLAC", "PCM_16"), "d.opus": ("OGG", "OPUS"),
    "e.mp3": ("MP3", "MPEG_LAYER_III"), "f.aiff": ("AIFF", "PCM_24"), "g.caf": ("CAF", "ALAC_16"),
    "h.w64": ("W64", "PCM_16"), "i.wav": ("WAVEX", "PCM_24"), "j.au": ("AU", "PCM_16"),
}  # fmt: skip
PHONE = {"k.m4a": "aac", "l.webm": "libopus", "m.mka": "flac"}
N_EACH = 24


def whole(folder: Path, name: str) -> bytes:
    """Bytes of a sound file of half a second."""
    samples = (0.1 * np.random.default_rng(1).standard_normal(24_000)).astype(np.float32)
    if name in PLAIN:
        kind, subtype = PLAIN[name]
        sf.write(folder / name, samples, 48_000, subtype, format=kind)
    else:
        av = pytest.importorskip("av", reason="the extra sibilant[phone] is not installed")
        form = {"aac": "fltp", "libopus": "flt", "flac": "s16"}[PHONE[name]]
        with av.open(str(folder / name), "w") as container:
            stream = container.add_stream(PHONE[name], rate=48_000, layout="mono")
            for start in range(0, samples.size, 960):
                piece = samples[None, start : start + 960]
                piece = (piece * 32_767).astype(np.int16) if form == "s16" else piece
                frame = av.AudioFrame.from_ndarray(np.ascontiguousarray(piece), form, "mono")
                frame.sample_rate, frame.pts = 48_000, start
                container.mux(stream.encode(frame))
            container.mux(stream.encode(None))
    return (folder / name).read_bytes()


def damaged(content: bytes, seed: int) -> bytes:
    """Cut short somewhere, or with one to eight bytes changed, mostly near the start."""
    rng = np.random.default_rng(seed)
    if seed % 3 == 0:
        return content[: int(rng.integers(1, min(len(content), 300 if seed % 2 else len(content))))]
    changed = bytearray(content)
    reach = min(len(changed), 200 if seed % 3 == 1 else len(changed))
    for place in rng.integers(0, reach, int(rng.integers(1, 9))):
        changed[place] = int(rng.integers(0, 256))
    return bytes(changed)


@pytest.mark.parametrize("name", [*PLAIN, *PHONE])
def test_damaged_files(tmp_path: Path, name: str, capfd: pytest.CaptureFixture[str]) -> None:
    content = whole(tmp_path, name)
    for seed in range(N_EACH):
        (tmp_path / name).write_bytes(damaged(content, seed))
        try:
            recording = read_recording(tmp_path / name)
        except RecordingError as error:
            text = str(error)
            assert "\n" not in text and text.startswith(name) and str(tmp_path) not in text and len(text) < 300
        else:
            assert np.isfinite(recording.samples).all() and recording.samples.size < 1_000_000
            assert 1_000 <= recording.sampling_rate_hz <= 1_000_000
    assert capfd.readouterr().err == "", "decoders' own warnings don't reach the user"
