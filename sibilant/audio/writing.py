"""Samples come in; kept copies in WAV or FLAC go out, without tags, whole or not at all."""

from __future__ import annotations

import io
import struct
from pathlib import Path
from typing import IO, TYPE_CHECKING, Any, Literal

import numpy as np

from ..errors import OutputError
from ..files import whole_file

if TYPE_CHECKING:
    import numpy.typing as npt

Coding = Literal["float", "pcm24", "pcm16"]

BLOCK_SAMPLES = 1 << 20  # for memory; no result depends on it
_BYTES = {"float": 4, "pcm24": 3, "pcm16": 2}  # bytes a sample


def write_wav(
    path: str | Path, samples: npt.NDArray[np.float32], sampling_rate_hz: int, *, coding: Coding = "float"
) -> None:
    """Write one channel as WAV: 32-bit float (exact), or 24- or 16-bit integers; no tags, the same bytes every time.

    Raises
    ------
    OutputError
        When the place can't be written, or integers are asked for samples beyond full scale, or the file would pass
        the 4 GB that WAV can hold.
    """
    path = Path(path)
    _check_wav(path.name, samples, coding)
    with whole_file(path) as stream:
        _wav_to(stream, samples, sampling_rate_hz, coding)


def wav_bytes(samples: npt.NDArray[np.float32], sampling_rate_hz: int, *, coding: Coding = "float") -> bytes:
    """Return the bytes that :func:`write_wav` writes, made in memory only.

    Raises
    ------
    OutputError
        As :func:`write_wav`.
    """
    _check_wav("buffer", samples, coding)
    stream = io.BytesIO()
    _wav_to(stream, samples, sampling_rate_hz, coding)
    return stream.getvalue()


def _check_wav(name: str, samples: npt.NDArray[np.float32], coding: Coding) -> None:
    _check_samples(name, samples, whole=coding == "float")
    if samples.size * _BYTES[coding] > 0xFFFF_FF00:
        raise OutputError(f"{name}: too long for a WAV file (4 GB); keep it as FLAC")


def _wav_to(stream: IO[bytes], samples: npt.NDArray[np.float32], sampling_rate_hz: int, coding: Coding) -> None:
    stream.write(_wav_header(coding, sampling_rate_hz, samples.size))
    for start in range(0, samples.size, BLOCK_SAMPLES):
        stream.write(_coded(samples[start : start + BLOCK_SAMPLES], coding))
    if samples.size * _BYTES[coding] % 2:
        stream.write(b"\0")


def write_flac(path: str | Path, samples: npt.NDArray[np.float32], sampling_rate_hz: int) -> None:
    """Write one channel as FLAC without tags: 16 bits where these hold the samples exactly, else 24.

    Raises
    ------
    OutputError
        When the place can't be written, a sample lies beyond full scale, or FLAC can't hold the rate.
    """
    path = Path(path)
    _check_samples(path.name, samples)
    with whole_file(path) as stream:
        _flac_to(stream, path.name, samples, sampling_rate_hz)


def flac_bytes(samples: npt.NDArray[np.float32], sampling_rate_hz: int) -> bytes:
    """Return the bytes that :func:`write_flac` writes, made in memory only.

    Raises
    ------
    OutputError
        As :func:`write_flac`.
    """
    _check_samples("buffer", samples)
    stream = io.BytesIO()
    _flac_to(stream, "buffer", samples, sampling_rate_hz)
    return stream.getvalue()


def _flac_to(stream: IO[bytes], name: str, samples: npt.NDArray[np.float32], sampling_rate_hz: int) -> None:
    import soundfile as sf

    exact = all(_is_16_bit(samples[i : i + BLOCK_SAMPLES]) for i in range(0, samples.size, BLOCK_SAMPLES))
    bits = 16 if exact else 24
    sink = _Sink(stream)
    try:
        with sf.SoundFile(sink, "w", int(sampling_rate_hz), 1, f"PCM_{bits}", format="FLAC") as sound:
            for start in range(0, samples.size, BLOCK_SAMPLES):
                sound.write(_integers(samples[start : start + BLOCK_SAMPLES], bits) << (32 - bits))
    except (sf.SoundFileError, RuntimeError, AssertionError) as error:
        if sink.failed is None:
            raise OutputError(f"{name}: FLAC can't hold sound at {sampling_rate_hz} Hz; keep it as WAV") from error
    if sink.failed is not None:
        raise sink.failed


class _Sink:
    """A write-only stream for libsndfile that remembers the first failure instead of printing it."""

    def __init__(self, stream: IO[bytes]) -> None:
        self._stream = stream
        self.failed: OSError | None = None

    def write(self, data: Any) -> int:
        if self.failed is None:
            try:
                self._stream.write(bytes(data))
            except OSError as error:
                self.failed = error
        return len(data)

    def seek(self, offset: int, whence: int = 0) -> int:
        try:
            return self._stream.seek(offset, whence)
        except OSError as error:
            self.failed = self.failed or error
            return 0

    def tell(self) -> int:
        try:
            return self._stream.tell()
        except OSError as error:
            self.failed = self.failed or error
            return 0

    def read(self, _n: int = -1) -> bytes:
        return b""


def _check_samples(name: str, samples: npt.NDArray[np.float32], *, whole: bool = False) -> None:
    if samples.ndim != 1 or not samples.size:
        raise OutputError(f"{name}: one channel of samples was asked, shape {samples.shape} was given")
    largest = max(float(np.abs(samples[i : i + BLOCK_SAMPLES]).max()) for i in range(0, samples.size, BLOCK_SAMPLES))
    if not np.isfinite(largest):
        raise OutputError(f"{name}: samples that are not numbers are not written")
    if largest > 1.0 and not whole:
        raise OutputError(f"{name}: samples beyond full scale can only be kept as float WAV")


def _wav_header(coding: Coding, sampling_rate_hz: int, n_samples: int) -> bytes:
    """RIFF header of one channel; the float form carries the ``fact`` chunk that the format asks for."""
    width = _BYTES[coding]
    tag = 3 if coding == "float" else 1
    form = struct.pack("<HHIIHH", tag, 1, sampling_rate_hz, sampling_rate_hz * width, width, 8 * width)
    fact = b"fact" + struct.pack("<II", 4, n_samples) if coding == "float" else b""
    size = n_samples * width
    body = b"WAVEfmt " + struct.pack("<I", len(form)) + form + fact + b"data" + struct.pack("<I", size)
    return b"RIFF" + struct.pack("<I", len(body) + size + size % 2) + body


def _coded(block: npt.NDArray[np.float32], coding: Coding) -> bytes:
    if coding == "float":
        return np.ascontiguousarray(block, "<f4").tobytes()
    if coding == "pcm16":
        return _integers(block, 16).astype("<i2").tobytes()
    return _integers(block, 24).astype("<i4").view(np.uint8).reshape(-1, 4)[:, :3].tobytes()


def _integers(block: npt.NDArray[np.float32], bits: int) -> npt.NDArray[np.int32]:
    """Samples as integers: ``round(x * 2**(bits - 1))``, the highest step kept for +1."""
    scale = 2 ** (bits - 1)
    whole: npt.NDArray[np.int32] = np.minimum(np.rint(block.astype(np.float64) * scale), scale - 1).astype(np.int32)
    return whole


def _is_16_bit(block: npt.NDArray[np.float32]) -> bool:
    scaled = block.astype(np.float64) * 32768
    return bool((scaled == np.rint(scaled)).all() and scaled.max(initial=0.0) <= 32767)
