"""Collecting decoded blocks of one channel: in memory while short, in a nameless temporary file when long."""

from __future__ import annotations

import tempfile
from typing import IO, TYPE_CHECKING, Any

import numpy as np

from ..errors import ChannelsError, RecordingError

if TYPE_CHECKING:
    import numpy.typing as npt

MEMORY_BOUND_SAMPLES = 30_000_000
"""Above this many samples (10 min 25 s at 48 kHz; 120 MB) a recording is mapped from a temporary file."""

LOSSY_TOLERANCE = 0.2
"""Share of its RMS by which a channel of a lossy file may differ from the first and still hold the same sound.

Own: coders make noise of their own in each channel; one sound in both channels of a 96 kb/s AAC file differed by 0.16.
Two microphones apart differ by more.
"""


class Gathering:
    """Blocks (n, channels) in, samples (n,) of one channel out; notes whether the channels differ."""

    def __init__(
        self, name: str, n_channels: int, channel: int | None, *, lossy: bool, in_memory: bool = False
    ) -> None:
        self.name = name
        self._in_memory = in_memory
        self.n_samples = 0
        self.latest: npt.NDArray[np.float32] = np.empty(0, np.float32)
        self._column = (channel or 1) - 1
        self._tolerance = LOSSY_TOLERANCE if lossy else 0.0
        self._compare = n_channels > 1 and channel is None
        self._peaks = np.zeros(n_channels)
        self._difference = np.zeros(n_channels)
        self._energy = np.zeros(n_channels)
        self._blocks: list[npt.NDArray[np.float32]] = []
        self._spill: IO[bytes] | None = None

    def add(self, block: npt.NDArray[np.float32]) -> None:
        """Take one block, all channels of it."""
        self.latest = np.ascontiguousarray(block[:, self._column])
        self.n_samples += len(self.latest)
        if self._compare and len(block):
            with np.errstate(invalid="ignore", over="ignore"):
                self._peaks = np.maximum(self._peaks, np.abs(block).max(axis=0))
                self._difference += np.square(block - block[:, :1], dtype=np.float64).sum(axis=0)
                self._energy += np.square(block, dtype=np.float64).sum(axis=0)
        if self._spill is not None:
            self._write(self.latest)
            return
        self._blocks.append(self.latest)
        if self.n_samples > MEMORY_BOUND_SAMPLES and not self._in_memory:
            self._start_spill()

    def samples(self) -> npt.NDArray[np.float32]:
        """Return everything gathered, (n,) float32, as an array or a read-only map."""
        if self._spill is None:
            return np.concatenate(self._blocks) if self._blocks else np.empty(0, np.float32)
        self._spill.flush()
        mapped: npt.NDArray[np.float32] = np.memmap(self._spill, dtype=np.float32, mode="r", shape=(self.n_samples,))
        self._spill.close()
        return mapped

    def refuse_different_channels(self) -> None:
        """Raise unless all channels hold the same sound.

        Raises
        ------
        ChannelsError
            Naming each channel's peak, so that a silent one is seen, and ``--channel``.
        """
        if (self._difference <= self._tolerance**2 * self._energy.min()).all():
            return
        shown = ", ".join(f"{number}: {_peak_text(peak)}" for number, peak in enumerate(self._peaks[:8], start=1))
        more = ", …" if len(self._peaks) > 8 else ""
        raise ChannelsError(
            f"{self.name}: {len(self._peaks)} channels that differ (peaks {shown}{more}); they are never mixed: choose"
            f" one with --channel N"
        )

    def _start_spill(self) -> None:
        try:
            self._spill = tempfile.TemporaryFile(prefix="sibilant-")  # noqa: SIM115 - closed once mapped
        except OSError as error:
            raise self._no_room(error) from error
        for block in self._blocks:
            self._write(block)
        self._blocks.clear()

    def _write(self, block: npt.NDArray[np.float32]) -> None:
        stream: Any = self._spill
        try:
            stream.write(block.data)
        except OSError as error:
            raise self._no_room(error) from error

    def _no_room(self, error: OSError) -> RecordingError:
        reason = (error.strerror or "no room").lower()
        return RecordingError(
            f"{self.name}: too long to hold in memory, and the temporary folder can't take it ({reason}); cut the"
            f" recording or set TMPDIR to a folder with room"
        )


def _peak_text(peak: float) -> str:
    return f"{20 * np.log10(peak):.0f} dB" if peak > 0 else "silent"
