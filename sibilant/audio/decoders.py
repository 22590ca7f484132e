"""Decoders: one over libsndfile, one over PyAV (the optional extra) for phone and browser recordings."""

from __future__ import annotations

import contextlib
import io
import os
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import IO, TYPE_CHECKING, Any, Protocol

import numpy as np

from ..errors import RecordingError

if TYPE_CHECKING:
    import numpy.typing as npt

BLOCK_VALUES = 1 << 18
"""Samples times channels decoded at once."""

FORMATS = frozenset({"WAV", "WAVEX", "RF64", "W64", "FLAC", "OGG", "MP3", "AIFF", "CAF", "AU", "NIST"})
BIT_DEPTHS = {"PCM_S8": 8, "PCM_U8": 8, "PCM_16": 16, "PCM_24": 24, "PCM_32": 32, "FLOAT": 32, "DOUBLE": 64}
"""Bits a sample, as the format names them."""
LOSSLESS = frozenset({*BIT_DEPTHS, "ALAC_16", "ALAC_20", "ALAC_24", "ALAC_32"})
AV_LOSSLESS_PREFIXES = ("pcm_", "flac", "alac")
_ONE_AT_A_TIME = threading.Lock()
KINDS = "WAV, FLAC, OGG, Opus, MP3, AIFF or CAF"


class Decoder(Protocol):
    """What reading needs of an open sound file."""

    sampling_rate_hz: int
    n_channels: int
    n_promised: int
    """Frames that the header promises, 0 where it says nothing."""
    bit_depth: int | None
    coding: str
    lossy: bool

    def blocks(self) -> Iterator[npt.NDArray[np.float32]]:
        """Yield blocks (n, channels) float32 until the sound ends."""
        ...


def open_decoder(path: Path) -> contextlib.AbstractContextManager[Decoder]:
    """Open a sound file with the decoder that its first bytes ask for.

    Only containers known by their first bytes reach PyAV, with the container named, so that a text file can't pose as
    a playlist that opens other files.

    Raises
    ------
    RecordingError
        When no decoder takes the file, or the optional extra is missing.
    """
    with path.open("rb") as stream:
        head = stream.read(64)
    container = _phone_container(head)
    return _open_phone(path, container) if container else _open_plain(path, chatty=_may_be_mp3(head))


def open_bytes(content: bytes, name: str) -> contextlib.AbstractContextManager[Decoder]:
    """Open a sound file's bytes as :func:`open_decoder` opens a file, without any file.

    Raises
    ------
    RecordingError
        When no decoder takes them, or the optional extra is missing.
    """
    container = _phone_container(content[:64])
    if container:
        return _phone(io.BytesIO(content), name, container)
    return _plain(io.BytesIO(content), name, chatty=_may_be_mp3(content[:64]))


def _phone_container(head: bytes) -> str:
    """Name of the container that only PyAV reads, or nothing."""
    if head[4:8] in (b"ftyp", b"moov", b"mdat", b"wide"):
        return "mov"
    if head[:4] == b"\x1aE\xdf\xa3":
        return "matroska"
    if head[:5] == b"#!AMR":
        return "amr"
    if len(head) > 1 and head[0] == 0xFF and head[1] & 0xF6 == 0xF0:
        return "aac"
    return ""


def _may_be_mp3(head: bytes) -> bool:
    return head[:3] == b"ID3" or (len(head) > 1 and head[0] == 0xFF and head[1] & 0xE0 == 0xE0)


@contextlib.contextmanager
def _hushed(*, chatty: bool) -> Iterator[None]:
    """Keep a decoder that writes its own warnings to standard error (that of MP3) from doing so.

    The stream is the process's, so this is done for MP3 only, one thread at a time.
    """
    if not chatty:
        yield
        return
    with _ONE_AT_A_TIME, Path(os.devnull).open("wb") as nowhere:
        kept = os.dup(2)
        try:
            os.dup2(nowhere.fileno(), 2)
            yield
        finally:
            os.dup2(kept, 2)
            os.close(kept)


class _Plain:
    """WAV and its relatives, by libsndfile."""

    def __init__(self, name: str, sound: Any, *, chatty: bool) -> None:
        self._name = name
        self._chatty = chatty
        self._sound = sound
        self.sampling_rate_hz = int(sound.samplerate)
        self.n_channels = int(sound.channels)
        self.n_promised = int(sound.frames)
        self.bit_depth = BIT_DEPTHS.get(sound.subtype)
        self.coding = f"{sound.format}/{sound.subtype}".lower()
        self.lossy = sound.subtype not in LOSSLESS

    def blocks(self) -> Iterator[npt.NDArray[np.float32]]:
        import soundfile as sf

        frames = max(256, BLOCK_VALUES // self.n_channels)
        while True:
            try:
                with _hushed(chatty=self._chatty):
                    block = self._sound.read(frames, dtype="float32", always_2d=True)
            except (sf.SoundFileError, RuntimeError) as error:
                raise RecordingError(f"{self._name}: the sound in it is damaged; copy or export it again") from error
            if not len(block):
                return
            yield block


@contextlib.contextmanager
def _open_plain(path: Path, *, chatty: bool) -> Iterator[Decoder]:
    try:
        stream = path.open("rb")
    except OSError as error:
        raise RecordingError(f"{path.name}: can't be opened; check the name and the rights") from error
    with stream, _plain(stream.fileno(), path.name, chatty=chatty) as decoder:
        yield decoder


@contextlib.contextmanager
def _plain(source: int | IO[bytes], name: str, *, chatty: bool) -> Iterator[Decoder]:
    """Decode from a file's descriptor, or from bytes in memory."""
    import soundfile as sf

    try:
        with _hushed(chatty=chatty):
            sound = sf.SoundFile(source, closefd=False)
    except (sf.SoundFileError, RuntimeError, TypeError, ValueError) as error:
        raise RecordingError(
            f"{name}: not a sound file that can be read, whatever its name says; export it as {KINDS}"
        ) from error
    with sound:
        if sound.format not in FORMATS:
            raise RecordingError(f"{name}: {sound.format} sound is not read; export it as {KINDS}")
        yield _Plain(name, sound, chatty=chatty)


class _Phone:
    """m4a, mp4, webm and their relatives, by PyAV."""

    def __init__(self, name: str, container: Any, kind: str) -> None:
        self._name = name
        stream = container.streams.audio[0]
        self._frames = _named_errors(name, container.decode(stream))
        self._first = next(self._frames, None)
        if self._first is None:
            raise RecordingError(f"{name}: a sound file without any sound in it; record again or export again")
        self.sampling_rate_hz = int(self._first.sample_rate)
        self.n_channels = len(self._first.layout.channels)
        self.n_promised = 0
        codec = str(stream.codec_context.name)
        self.lossy = not codec.startswith(AV_LOSSLESS_PREFIXES)
        self.bit_depth = None if self.lossy else 8 * int(self._first.format.bytes)
        self.coding = f"{kind}/{codec}"

    def blocks(self) -> Iterator[npt.NDArray[np.float32]]:
        frame = self._first
        while frame is not None:
            if (int(frame.sample_rate), len(frame.layout.channels)) != (self.sampling_rate_hz, self.n_channels):
                raise RecordingError(f"{self._name}: its rate or channels change on the way; export it as WAV")
            yield _float_block(frame, self.n_channels)
            frame = next(self._frames, None)


def _float_block(frame: Any, n_channels: int) -> npt.NDArray[np.float32]:
    """Samples of a frame as (n, channels) float32 in full scale."""
    values = frame.to_ndarray()
    table = values.T if frame.format.is_planar else values.reshape(-1, n_channels)
    block: npt.NDArray[np.float32] = table.astype(np.float32)
    if table.dtype == np.uint8:
        return (block - np.float32(128)) / np.float32(128)
    if table.dtype.kind == "i":
        return block / np.float32(2.0 ** (8 * table.dtype.itemsize - 1))
    return block


def _named_errors(name: str, frames: Iterator[Any]) -> Iterator[Any]:
    import av

    try:
        yield from frames
    except (av.FFmpegError, ValueError, OSError) as error:
        raise RecordingError(f"{name}: the sound in it is damaged; copy or export it again") from error


@contextlib.contextmanager
def _open_phone(path: Path, kind: str) -> Iterator[Decoder]:
    with path.open("rb") as stream, _phone(stream, path.name, kind) as decoder:
        yield decoder


@contextlib.contextmanager
def _phone(stream: IO[bytes], name: str, kind: str) -> Iterator[Decoder]:
    try:
        import av
    except ImportError as error:
        raise RecordingError(
            f'{name}: a phone or browser recording; to read these, pip install "sibilant[phone]", or export it as WAV'
        ) from error
    try:
        container = av.open(stream, format=kind, metadata_errors="ignore")
    except (av.FFmpegError, ValueError, OSError) as error:
        raise RecordingError(
            f"{name}: looks like a phone or browser recording, but can't be read; copy it again or export it as WAV"
        ) from error
    with container:
        if not container.streams.audio:
            raise RecordingError(f"{name}: holds no sound, only other tracks; export the sound as WAV")
        yield _Phone(name, container, kind)
