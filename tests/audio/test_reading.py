"""Reading: right samples from every format, one clear line from everything else."""

from __future__ import annotations

import struct
import subprocess
import sys
import wave
from pathlib import Path

import numpy as np
import pytest
import soundfile as sf

from sibilant.audio import read_recording, recording_from_samples, write_flac, write_wav
from sibilant.errors import OutputError, RecordingError
from sibilant.files import sha256_of


def noise(n: int, seed: int = 1) -> np.ndarray:
    return (0.2 * np.random.default_rng(seed).standard_normal(n)).clip(-0.9, 0.9).astype(np.float32)


def one_line(caught: pytest.ExceptionInfo[Exception], name: str) -> str:
    text = str(caught.value)
    assert "\n" not in text and text.startswith(name) and "/" not in text.split(":")[0]
    assert ";" in text or "," in text, "an error names the way out"
    return text


@pytest.mark.parametrize(
    ("name", "subtype", "tolerance"),
    [
        ("a.wav", "PCM_16", 2**-15), ("a.wav", "PCM_24", 2**-23), ("a.wav", "FLOAT", 0), ("a.wav", "PCM_U8", 2**-7),
        ("a.flac", "PCM_16", 2**-15), ("a.aiff", "PCM_24", 2**-23), ("a.caf", "ALAC_16", 2**-15),
        ("a.wav", "DOUBLE", 0), ("a.rf64", "PCM_16", 2**-15), ("a.w64", "PCM_16", 2**-15), ("a.au", "PCM_16", 2**-15),
    ],
)  # fmt: skip
@pytest.mark.parametrize("rate", [8_000, 44_100, 192_000])
def test_lossless_formats_give_the_samples(
    tmp_path: Path, name: str, subtype: str, tolerance: float, rate: int
) -> None:
    samples = noise(5_000)
    sf.write(tmp_path / name, samples, rate, subtype)
    recording = read_recording(tmp_path / name)
    assert recording.sampling_rate_hz == rate and recording.samples.dtype == np.float32
    assert np.abs(recording.samples - samples).max() <= tolerance
    assert not recording.source.lossy and not recording.samples.flags.writeable
    assert recording.source.sha256 == sha256_of(tmp_path / name) and recording.source.path == name


@pytest.mark.parametrize(("name", "subtype"), [("a.mp3", "MPEG_LAYER_III"), ("a.opus", "OPUS"), ("a.ogg", "OPUS")])
def test_lossy_formats_are_marked(tmp_path: Path, name: str, subtype: str) -> None:
    sf.write(tmp_path / name, noise(48_000), 48_000, subtype, format="MP3" if name == "a.mp3" else "OGG")
    recording = read_recording(tmp_path / name)
    assert recording.source.lossy and recording.source.bit_depth is None
    assert abs(recording.duration_s - 1.0) < 0.1


def test_against_the_standard_library(tmp_path: Path) -> None:
    """Source: CPython's ``wave`` module, an independent reader of 16-bit WAV."""
    write_wav(tmp_path / "a.wav", noise(3_001), 22_050, coding="pcm16")
    with wave.open(str(tmp_path / "a.wav")) as stream:
        assert (stream.getframerate(), stream.getnchannels(), stream.getsampwidth()) == (22_050, 1, 2)
        expected = np.frombuffer(stream.readframes(stream.getnframes()), "<i2") / 32768
    assert np.array_equal(read_recording(tmp_path / "a.wav").samples, expected.astype(np.float32))


def av_write(path: Path, samples: np.ndarray, rate: int, codec: str, layout: str = "mono", **options: object) -> None:
    av = pytest.importorskip("av", reason="the extra sibilant[phone] is not installed")
    with av.open(str(path), "w") as container:
        stream = container.add_stream(codec, rate=rate, layout=layout, **options)
        table = np.atleast_2d(samples)
        step = 1024
        for start in range(0, table.shape[1], step):
            frame = av.AudioFrame.from_ndarray(np.ascontiguousarray(table[:, start : start + step]), "fltp", layout)
            frame.sample_rate, frame.pts = rate, start
            container.mux(stream.encode(frame))
        container.mux(stream.encode(None))


@pytest.mark.parametrize(
    ("name", "codec", "lossy"),
    [("a.m4a", "aac", True), ("a.mp4", "aac", True), ("a.webm", "libopus", True), ("a.m4a", "alac", False),
     ("a.aac", "aac", True), ("a.mka", "flac", False), ("a.mov", "pcm_s16le", False)],
)  # fmt: skip
def test_phone_formats(tmp_path: Path, name: str, codec: str, lossy: bool) -> None:
    time_s = np.arange(48_000) / 48_000
    tone = (0.3 * np.sin(2 * np.pi * 5_000 * time_s)).astype(np.float32)
    if codec in ("alac", "flac", "pcm_s16le"):
        av_write_integers(tmp_path / name, tone, 48_000, codec)
    else:
        av_write(tmp_path / name, tone, 48_000, codec)
    recording = read_recording(tmp_path / name)
    assert recording.sampling_rate_hz == 48_000 and recording.source.lossy is lossy
    assert abs(recording.duration_s - 1) < 0.1
    spectrum = np.abs(np.fft.rfft(recording.samples * np.hanning(recording.samples.size)))
    assert abs(np.argmax(spectrum) * 48_000 / recording.samples.size - 5_000) < 5
    assert abs(np.abs(recording.samples[10_000:30_000]).max() - 0.3) < 0.03


def av_write_integers(path: Path, samples: np.ndarray, rate: int, codec: str) -> None:
    av = pytest.importorskip("av", reason="the extra sibilant[phone] is not installed")
    kind = "s16p" if codec == "alac" else "s16"
    with av.open(str(path), "w") as container:
        stream = container.add_stream(codec, rate=rate, layout="mono")
        stream.format = kind
        for start in range(0, samples.size, 1024):
            values = np.rint(samples[start : start + 1024] * 32767).astype(np.int16)[None, :]
            frame = av.AudioFrame.from_ndarray(values, kind, "mono")
            frame.sample_rate, frame.pts = rate, start
            container.mux(stream.encode(frame))
        container.mux(stream.encode(None))


def test_phone_formats_without_the_extra_say_how(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "a.m4a").write_bytes(b"\0\0\0\x20ftypM4A " + bytes(100))
    monkeypatch.setitem(sys.modules, "av", None)
    with pytest.raises(RecordingError) as caught:
        read_recording(tmp_path / "a.m4a")
    assert 'pip install "sibilant[phone]"' in one_line(caught, "a.m4a")


def test_same_sound_in_all_channels_is_taken(tmp_path: Path) -> None:
    samples = noise(4_000)
    sf.write(tmp_path / "a.wav", np.stack([samples] * 12, axis=1), 44_100, "FLOAT")
    recording = read_recording(tmp_path / "a.wav")
    assert np.array_equal(recording.samples, samples)
    assert (recording.source.channel, recording.source.n_channels) == (1, 12)


def test_different_channels_must_be_chosen(tmp_path: Path) -> None:
    first, second = noise(4_000, 1), noise(4_000, 2)
    sf.write(tmp_path / "a.wav", np.stack([first, second], axis=1), 44_100, "FLOAT")
    with pytest.raises(RecordingError) as caught:
        read_recording(tmp_path / "a.wav")
    assert "--channel" in one_line(caught, "a.wav")
    assert np.array_equal(read_recording(tmp_path / "a.wav", channel=2).samples, second)
    with pytest.raises(RecordingError, match="channel 3 was asked"):
        read_recording(tmp_path / "a.wav", channel=3)
    with pytest.raises(RecordingError, match="channel 0 was asked"):
        read_recording(tmp_path / "a.wav", channel=0)


def test_a_phones_two_equal_channels_are_taken_after_lossy_coding(tmp_path: Path) -> None:
    time_s = np.arange(48_000) / 48_000
    voice = sum(np.sin(2 * np.pi * 150 * k * time_s) / k for k in range(1, 30)) * np.hanning(48_000) * 0.2
    one = (voice + 0.01 * np.random.default_rng(1).standard_normal(48_000)).astype(np.float32)
    other = (0.5 * np.roll(one, 30) + 0.02 * np.random.default_rng(2).standard_normal(48_000)).astype(np.float32)
    av_write(tmp_path / "same.m4a", np.stack([one, one]), 48_000, "aac", "stereo")
    assert read_recording(tmp_path / "same.m4a").source.n_channels == 2
    av_write(tmp_path / "apart.m4a", np.stack([one, other]), 48_000, "aac", "stereo")
    with pytest.raises(RecordingError, match="--channel N"):
        read_recording(tmp_path / "apart.m4a")


def test_a_silent_channel_is_named(tmp_path: Path) -> None:
    sf.write(tmp_path / "a.wav", np.stack([noise(4_000), np.zeros(4_000, np.float32)], axis=1), 44_100, "FLOAT")
    with pytest.raises(RecordingError, match="2: silent"):
        read_recording(tmp_path / "a.wav")


def riff(rate: int = 44_100, channels: int = 1, data: bytes = b"", claimed: int | None = None, bits: int = 16) -> bytes:
    width = bits // 8 * channels
    form = struct.pack("<HHIIHH", 1, channels, rate, (rate * width) & 0xFFFFFFFF, width & 0xFFFF, bits)
    size = len(data) if claimed is None else claimed
    body = b"WAVEfmt " + struct.pack("<I", 16) + form + b"data" + struct.pack("<I", size & 0xFFFFFFFF) + data
    return b"RIFF" + struct.pack("<I", (len(body) + size - len(data)) & 0xFFFFFFFF) + body


HOSTILE = {
    "empty.wav": b"",
    "text.wav": b"word,phones\nseal,S IY1 L\n" * 40,
    "header.wav": riff(data=bytes(400))[:20],
    "fmt.wav": riff(data=bytes(400))[:36],
    "zero_rate.wav": riff(rate=0, data=bytes(400)),
    "one_hertz.wav": riff(rate=1, data=bytes(400)),
    "huge_rate.wav": riff(rate=0xFFFFFFFF, data=bytes(400)),
    "no_channels.wav": riff(channels=0, data=bytes(400)),
    "many_channels.wav": riff(channels=5_000, data=bytes(400)),
    "no_data.wav": riff(),
    "zeros.wav": bytes(4_000),
    "random.wav": np.random.default_rng(3).bytes(8_000),
    "random.mp3": np.random.default_rng(4).bytes(8_000),
    "random.flac": b"fLaC" + np.random.default_rng(5).bytes(8_000),
    "random.ogg": b"OggS" + np.random.default_rng(6).bytes(8_000),
    "random.m4a": b"\0\0\0\x20ftypM4A " + np.random.default_rng(7).bytes(8_000),
    "random.webm": b"\x1aE\xdf\xa3" + np.random.default_rng(8).bytes(8_000),
    "random.aac": b"\xff\xf1" + np.random.default_rng(9).bytes(8_000),
    "random.amr": b"#!AMR\n" + np.random.default_rng(10).bytes(8_000),
    "noise.raw": bytes(4_000),
    "picture.wav": b"\x89PNG\r\n\x1a\n" + bytes(400),
    "archive.wav": b"PK\x03\x04" + bytes(400),
    "playlist.m4a": b"#EXTM3U\n#EXTINF:1,\nfile:///etc/hostname\n",
}


@pytest.mark.parametrize("name", HOSTILE)
def test_hostile_files_give_one_line(tmp_path: Path, name: str, capfd: pytest.CaptureFixture[str]) -> None:
    (tmp_path / name).write_bytes(HOSTILE[name])
    try:
        recording = read_recording(tmp_path / name)
    except RecordingError as error:
        text = str(error)
        assert "\n" not in text and text.startswith(name) and ";" in text and str(tmp_path) not in text
    else:
        assert np.isfinite(recording.samples).all() and recording.samples.size <= 100_000
        assert name.startswith("random"), "only noise may by chance be a sound"
    assert "Traceback" not in "".join(capfd.readouterr())


def test_a_claimed_length_allocates_nothing(tmp_path: Path) -> None:
    import tracemalloc

    (tmp_path / "long.wav").write_bytes(riff(data=bytes(4_000), claimed=0xFFFFFFF0))
    tracemalloc.start()
    recording = read_recording(tmp_path / "long.wav")
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert recording.samples.size == 2_000 and peak < 8e6


def test_places_that_are_not_files(tmp_path: Path) -> None:
    import os

    os.mkfifo(tmp_path / "pipe.wav")
    cases = {tmp_path: "a folder", tmp_path / "gone.wav": "no such file", tmp_path / "pipe.wav": "not an ordinary"}
    cases[tmp_path / ("x" * 300 + ".wav")] = "can't be opened"
    cases[tmp_path / "a\0b.wav"] = ""
    for place, words in cases.items():
        with pytest.raises(RecordingError) as caught:
            read_recording(place)
        assert words in str(caught.value) and "\n" not in str(caught.value)


@pytest.mark.parametrize("bad", [np.nan, np.inf, -np.inf, 1e20])
def test_samples_that_are_not_numbers(tmp_path: Path, bad: float) -> None:
    samples = noise(5_000)
    samples[4_410] = bad
    sf.write(tmp_path / "a.wav", samples, 44_100, "FLOAT")
    with pytest.raises(RecordingError, match=r"at 0\.100 s is (not a number|far beyond)"):
        read_recording(tmp_path / "a.wav")


def test_numbers_missing_in_the_other_channel_are_no_warning(tmp_path: Path) -> None:
    other = noise(5_000)
    other[100:102] = np.nan, np.inf
    sf.write(tmp_path / "a.wav", np.stack([noise(5_000), other], axis=1), 44_100, "FLOAT")
    with pytest.raises(RecordingError, match="--channel N"):
        read_recording(tmp_path / "a.wav")
    assert read_recording(tmp_path / "a.wav", channel=1).samples.size == 5_000


def test_one_sample_is_a_recording(tmp_path: Path) -> None:
    sf.write(tmp_path / "a.wav", noise(1), 44_100)
    assert read_recording(tmp_path / "a.wav").samples.size == 1


def test_float_beyond_full_scale_is_kept(tmp_path: Path) -> None:
    sf.write(tmp_path / "a.wav", np.array([0.5, 1.7, -2.0]), 44_100, "FLOAT")
    assert read_recording(tmp_path / "a.wav").samples.tolist() == pytest.approx([0.5, 1.7, -2.0])


def test_long_recordings_are_mapped(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    import sibilant.audio.gathering as gathering

    monkeypatch.setattr(gathering, "MEMORY_BOUND_SAMPLES", 300_000)
    samples = noise(1_000_000)
    write_wav(tmp_path / "a.wav", samples, 44_100)
    recording = read_recording(tmp_path / "a.wav")
    assert isinstance(recording.samples, np.memmap) and np.array_equal(recording.samples, samples)
    assert not recording.samples.flags.writeable


def test_no_room_for_a_long_recording_says_so(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    import sibilant.audio.gathering as gathering

    def full(**_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(gathering, "MEMORY_BOUND_SAMPLES", 1_000)
    monkeypatch.setattr(gathering.tempfile, "TemporaryFile", full)
    write_wav(tmp_path / "a.wav", noise(5_000), 44_100)
    with pytest.raises(RecordingError, match="no space left"):
        read_recording(tmp_path / "a.wav")


def test_kept_copies(tmp_path: Path) -> None:
    samples = np.rint(noise(44_101) * 32768).astype(np.float32) / 32768
    for name, write in (("a.flac", write_flac), ("a.wav", write_wav)):
        write(tmp_path / name, samples, 44_100)
        first = (tmp_path / name).read_bytes()
        write(tmp_path / name, samples, 44_100)
        assert (tmp_path / name).read_bytes() == first, "the same bytes every time"
        assert np.array_equal(read_recording(tmp_path / name).samples, samples)
    assert sf.info(str(tmp_path / "a.flac")).subtype == "PCM_16"
    fine = noise(44_101, 5)
    write_flac(tmp_path / "b.flac", fine, 44_100)
    assert np.abs(read_recording(tmp_path / "b.flac").samples - fine).max() <= 2**-24
    write_wav(tmp_path / "b.wav", fine, 44_100, coding="pcm24")
    assert np.abs(read_recording(tmp_path / "b.wav").samples - fine).max() <= 2**-24
    with sf.SoundFile(tmp_path / "b.flac") as sound:
        assert not any(sound.copy_metadata().values()), "no tags in a kept copy"


def test_what_cannot_be_written(tmp_path: Path) -> None:
    loud = np.array([0.0, 1.5], np.float32)
    write_wav(tmp_path / "loud.wav", loud, 44_100)
    for write in (lambda p, s: write_flac(p, s, 44_100), lambda p, s: write_wav(p, s, 44_100, coding="pcm16")):
        with pytest.raises(OutputError, match="beyond full scale"):
            write(tmp_path / "x.bin", loud)
    with pytest.raises(OutputError, match="can't be written"):
        write_flac(tmp_path / "no" / "a.flac", noise(10), 44_100)
    with pytest.raises(OutputError, match="folder"):
        write_wav(tmp_path, noise(10), 44_100)
    with pytest.raises(OutputError, match="FLAC can't hold"):
        write_flac(tmp_path / "a.flac", noise(10), 900_000)
    assert sorted(p.name for p in tmp_path.iterdir()) == ["loud.wav"]


def test_a_full_disk_leaves_nothing(tmp_path: Path) -> None:
    script = (
        "import resource, signal, sys, numpy as np; from pathlib import Path; from sibilant.audio import write_flac;"
        "import soundfile; signal.signal(signal.SIGXFSZ, signal.SIG_IGN);"
        "resource.setrlimit(resource.RLIMIT_FSIZE, (20000, 20000));"
        "from sibilant.errors import OutputError\n"
        "try: write_flac(Path(sys.argv[1]) / 'a.flac', np.random.default_rng(1).uniform(-1, 1, 200000)"
        ".astype('float32'), 44100)\n"
        "except OutputError as error: print(error)"
    )
    done = subprocess.run([sys.executable, "-c", script, str(tmp_path)], capture_output=True, text=True, check=True)
    assert done.stdout.startswith("a.flac: can't be written") and not done.stderr
    assert not list(tmp_path.iterdir())


def test_buffers() -> None:
    assert recording_from_samples(np.zeros(4), 8_000, name="mic").source.path == "mic"
    for samples, rate in ((np.zeros((2, 3)), 44_100), ([], 44_100), ([np.nan], 44_100), ([0.0], 0)):
        with pytest.raises(RecordingError):
            recording_from_samples(samples, rate)
