"""Sound read and made in memory only: as by files, and no file is ever opened. Invented data – not a person."""

from __future__ import annotations

import builtins
import tempfile
from pathlib import Path

import numpy as np
import pytest

from sibilant import audio
from sibilant.audio import gathering
from sibilant.errors import OutputError, RecordingError

NOISE = np.random.default_rng(3).normal(0, 0.1, 30_000).astype(np.float32)
EXACT = (np.rint(NOISE * 32768) / 32768).astype(np.float32)


@pytest.fixture
def no_files(monkeypatch: pytest.MonkeyPatch) -> None:
    """Opening any file, a temporary one too, fails."""

    def refuse(*_: object, **__: object) -> None:
        raise AssertionError("a file was opened")

    audio.recording_from_bytes(audio.flac_bytes(EXACT, 44_100))  # what is loaded on first use is loaded
    for module, name in ((builtins, "open"), (tempfile, "TemporaryFile"), (tempfile, "mkstemp")):
        monkeypatch.setattr(module, name, refuse)


@pytest.mark.parametrize("samples", [NOISE, EXACT])
def test_the_same_bytes_as_in_a_file(tmp_path: Path, samples: np.ndarray) -> None:
    audio.write_flac(tmp_path / "a.flac", samples, 44_100)
    assert audio.flac_bytes(samples, 44_100) == (tmp_path / "a.flac").read_bytes()
    for coding in ("float", "pcm24", "pcm16"):
        audio.write_wav(tmp_path / "a.wav", samples[:29_999], 48_000, coding=coding)
        assert audio.wav_bytes(samples[:29_999], 48_000, coding=coding) == (tmp_path / "a.wav").read_bytes()


def test_the_same_recording_as_from_a_file(tmp_path: Path) -> None:
    for name, content in (("a.flac", audio.flac_bytes(EXACT, 44_100)), ("b.wav", audio.wav_bytes(NOISE, 48_000))):
        (tmp_path / name).write_bytes(content)
        held, read = audio.recording_from_bytes(content, name), audio.read_recording(tmp_path / name)
        assert np.array_equal(held.samples, read.samples) and held.source == read.source
        assert held.sampling_rate_hz == read.sampling_rate_hz


def test_no_file_is_opened_however_long(no_files: None, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(gathering, "MEMORY_BOUND_SAMPLES", 1000)
    for content in (audio.flac_bytes(EXACT, 44_100), audio.wav_bytes(EXACT, 44_100)):
        assert np.array_equal(audio.recording_from_bytes(content).samples, EXACT)


def test_a_browsers_recording_is_read_from_memory(tmp_path: Path) -> None:
    av = pytest.importorskip("av")
    with av.open(str(tmp_path / "a.webm"), "w") as container:
        stream = container.add_stream("libopus", rate=48_000)
        stream.layout = "mono"
        frame = av.AudioFrame.from_ndarray(NOISE[None, :], format="fltp", layout="mono")
        frame.sample_rate = 48_000
        for packet in [*stream.encode(frame), *stream.encode(None)]:
            container.mux(packet)
    held = audio.recording_from_bytes((tmp_path / "a.webm").read_bytes(), "a.webm")
    read = audio.read_recording(tmp_path / "a.webm")
    assert np.array_equal(held.samples, read.samples) and held.source == read.source


def test_what_is_no_sound_is_one_line(capfd: pytest.CaptureFixture[str]) -> None:
    good = audio.flac_bytes(EXACT, 44_100)
    for content, words in (
        (b"", "empty"), (b"hello", "not a sound"), (b"\0" * 5000, "not a sound"), (good[:20], "not a sound"),
        (good[:9000], "damaged|sound"), (b"\x1aE\xdf\xa3" + bytes(100), "can't be read"),
    ):  # fmt: skip
        with pytest.raises(RecordingError, match=words) as refused:
            audio.recording_from_bytes(content, "word")
        assert "\n" not in str(refused.value) and str(refused.value).startswith("word")
    for made in (audio.flac_bytes, audio.wav_bytes):
        with pytest.raises(OutputError):
            made(np.empty(0, np.float32), 44_100)
    assert capfd.readouterr().err == ""
