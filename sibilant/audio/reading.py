"""Reading one channel of a sound file at its native rate, in bounded memory."""

from __future__ import annotations

import hashlib
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from ..errors import RecordingError
from ..files import sha256_of
from ..terms import Recording, Source
from .decoders import Decoder, open_bytes, open_decoder
from .gathering import MEMORY_BOUND_SAMPLES, Gathering

if TYPE_CHECKING:
    import numpy.typing as npt

__all__ = ["MEMORY_BOUND_SAMPLES", "read_recording", "recording_from_bytes", "recording_from_samples"]

LOWEST_RATE_HZ, HIGHEST_RATE_HZ = 1_000, 1_000_000  # rates outside are damage
LARGEST_SAMPLE = 1e5  # a float beyond is damage
LONGEST_S = 9_000.0
"""Two and a half hours: no recording of practice words is longer, and a small file can hold days of silence."""

MOST_SAMPLES = 96_000 * 9_000  # two and a half hours at 96 kHz


def read_recording(path: str | Path, *, channel: int | None = None) -> Recording:
    """Read one channel of a sound file at its own rate; nothing is resampled, mixed down or normalised.

    WAV, FLAC, OGG, Opus, MP3, AIFF, CAF, AU, W64 and RF64 are always read; m4a, mp4, mov, webm, mka, aac, amr with the
    optional extra ``sibilant[phone]``. The file is decoded in blocks; beyond ``MEMORY_BOUND_SAMPLES`` samples (about
    ten minutes) these go to a nameless temporary file which the result maps read-only, so that memory stays flat.

    Parameters
    ----------
    path : str or Path
        The sound file.
    channel : int, optional
        1-based channel. Without it a file of several channels is read only when all of them hold the same sound, as
        phones write it; channel 1 is then taken and ``source.n_channels`` says so.

    Returns
    -------
    Recording
        ``samples`` (n,) float32, read-only, in full scale (-1 to 1; a float file may go beyond, and keeps it).

    Raises
    ------
    RecordingError
        When the file is missing, a folder, empty, not a sound, damaged, holds samples that are not numbers, or has
        several different channels and none was chosen. One line: base name, what is there, the way out.

    Notes
    -----
    docs/recordings.md tells what is read, and what a file has to hold to support figures.

    Examples
    --------
    >>> import tempfile
    >>> import numpy as np
    >>> from sibilant.audio import write_wav
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     write_wav(Path(folder) / "hiss.wav", np.zeros(44_100, np.float32), 44_100)
    ...     recording = read_recording(Path(folder) / "hiss.wav")
    >>> recording.sampling_rate_hz, recording.samples.size, recording.source.coding
    (44100, 44100, 'wav/float')
    """
    path = Path(path)
    _check_place(path)
    with open_decoder(path) as decoder:
        samples = _gathered(path.name, decoder, channel, in_memory=False)
    return Recording(samples, decoder.sampling_rate_hz, _source(path.name, _hash(path), decoder, channel))


def sampling_rate_of(path: str | Path) -> int:
    """Sampling rate of a sound file in Hz, from its head; its sound is not read.

    Raises
    ------
    RecordingError
        When the file is missing, or no decoder takes it.

    Examples
    --------
    >>> import tempfile
    >>> import numpy as np
    >>> from sibilant.audio import write_wav
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     write_wav(Path(folder) / "hiss.wav", np.zeros(160, np.float32), 16_000)
    ...     sampling_rate_of(Path(folder) / "hiss.wav")
    16000
    """
    _check_place(Path(path))
    with open_decoder(Path(path)) as decoder:
        return decoder.sampling_rate_hz


def recording_from_bytes(content: bytes, name: str = "buffer", *, channel: int | None = None) -> Recording:
    """Read one channel of a sound file held in memory, as :func:`read_recording` reads a file; no file is ever made.

    Raises
    ------
    RecordingError
        When the bytes are none, not a sound, damaged, or have several different channels and none was chosen.

    Examples
    --------
    >>> import numpy as np
    >>> from sibilant.audio import flac_bytes
    >>> recording_from_bytes(flac_bytes(np.zeros(441, np.float32), 44_100), "word").source.coding
    'flac/pcm_16'
    """
    if not content:
        raise RecordingError(f"{name}: empty (0 bytes); record it again")
    with open_bytes(content, name) as decoder:
        samples = _gathered(name, decoder, channel, in_memory=True)
    digest = hashlib.sha256(content).hexdigest()
    return Recording(samples, decoder.sampling_rate_hz, _source(name, digest, decoder, channel))


def _gathered(name: str, decoder: Decoder, channel: int | None, *, in_memory: bool) -> npt.NDArray[np.float32]:
    """Decode one channel whole, checked block by block."""
    _check_header(name, decoder, channel)
    gathering = Gathering(name, decoder.n_channels, channel, lossy=decoder.lossy, in_memory=in_memory)
    for block in decoder.blocks():
        gathering.add(block)
        _check_length(name, gathering.n_samples, decoder)
        _check_values(name, gathering.latest, gathering.n_samples - len(gathering.latest), decoder)
    if decoder.n_channels > 1 and channel is None:
        gathering.refuse_different_channels()
    samples = gathering.samples()
    if not samples.size:
        raise RecordingError(f"{name}: a sound file without any sound in it; record again or export again")
    return samples


def _source(name: str, sha256: str, decoder: Decoder, channel: int | None) -> Source:
    return Source(
        path=name,
        sha256=sha256,
        channel=channel or 1,
        bit_depth=decoder.bit_depth,
        n_channels=decoder.n_channels,
        coding=decoder.coding,
        lossy=decoder.lossy,
    )


def recording_from_samples(samples: npt.ArrayLike, sampling_rate_hz: int, name: str = "buffer") -> Recording:
    """Make a ``Recording`` from one channel of samples, such as a microphone's buffer; they are copied.

    Raises
    ------
    RecordingError
        When the samples are none, not one channel, or not all finite numbers, or the rate is not one.

    Examples
    --------
    >>> recording_from_samples([0.0, 0.5, -0.5], 48_000).duration_s
    6.25e-05
    """
    array: npt.NDArray[Any] = np.array(samples, dtype=np.float32)
    if array.ndim != 1 or array.size == 0:
        raise RecordingError(f"{name}: one channel of samples was asked, shape {array.shape} is there; give one row")
    if not np.isfinite(array).all():
        raise RecordingError(f"{name}: holds samples that are not numbers; record again")
    if not LOWEST_RATE_HZ <= sampling_rate_hz <= HIGHEST_RATE_HZ:
        raise RecordingError(f"{name}: {sampling_rate_hz} Hz can't be a sound's sampling rate; give the true one")
    digest = hashlib.sha256(np.ascontiguousarray(array, "<f4").tobytes()).hexdigest()
    return Recording(array, int(sampling_rate_hz), Source(name, digest, bit_depth=32, coding="buffer/float"))


def _check_place(path: Path) -> None:
    try:
        if path.is_dir():
            raise RecordingError(f"{path.name or path}: a folder, not a sound file; name a file in it")
        if not path.exists():
            raise RecordingError(f"{path.name}: no such file; check the name and the folder")
        if not path.is_file():
            raise RecordingError(f"{path.name}: not an ordinary file; copy the sound into a file first")
        if path.stat().st_size == 0:
            raise RecordingError(f"{path.name}: the file is empty (0 bytes); copy or record it again")
        with path.open("rb"):
            pass
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or "not a usable name"
        raise RecordingError(f"{path.name[:80]}: can't be opened ({reason.lower()}); check name and rights") from error


def _check_header(name: str, decoder: Decoder, channel: int | None) -> None:
    rate, count = decoder.sampling_rate_hz, decoder.n_channels
    if not LOWEST_RATE_HZ <= rate <= HIGHEST_RATE_HZ:
        raise RecordingError(
            f"{name}: its header gives a sampling rate of {rate} Hz, which no recorder uses; export it again"
        )
    if channel is not None and not 1 <= channel <= count:
        holds = "one channel" if count == 1 else f"channels 1 to {count}"
        raise RecordingError(f"{name}: channel {channel} was asked, the file holds {holds}; choose one of these")
    _check_length(name, decoder.n_promised, decoder)


def _check_length(name: str, n_samples: int, decoder: Decoder) -> None:
    """Refuse sound that is too long, by its header before anything is decoded, and again while it is decoded."""
    if n_samples > min(LONGEST_S * decoder.sampling_rate_hz, MOST_SAMPLES):
        raise RecordingError(
            f"{name}: {n_samples / decoder.sampling_rate_hz / 3600:.1f} h of sound at {decoder.sampling_rate_hz} Hz,"
            f" at most {LONGEST_S / 3600:.1f} h (at 96 kHz); cut it into parts"
        )


def _check_values(name: str, block: npt.NDArray[np.float32], start: int, decoder: Decoder) -> None:
    if not block.size:
        return
    largest = float(np.abs(block).max())
    if largest <= LARGEST_SAMPLE:
        return
    bad = int(np.argmax(~(np.abs(block) <= LARGEST_SAMPLE)))
    when = (start + bad) / decoder.sampling_rate_hz
    what = "not a number" if not np.isfinite(block[bad]) else f"far beyond full scale ({block[bad]:.3g})"
    raise RecordingError(f"{name}: the sample at {when:.3f} s is {what}; export the recording again")


def _hash(path: Path) -> str:
    try:
        return sha256_of(path)
    except OSError as error:
        raise RecordingError(f"{path.name}: can't be read to its end; copy the file again") from error
