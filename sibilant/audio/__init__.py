"""From a sound file or a microphone's buffer to a ``Recording`` at its own rate, and kept copies without tags."""

from .reading import (
    MEMORY_BOUND_SAMPLES,
    read_recording,
    recording_from_bytes,
    recording_from_samples,
    sampling_rate_of,
)
from .writing import flac_bytes, wav_bytes, write_flac, write_wav

__all__ = [
    "MEMORY_BOUND_SAMPLES",
    "flac_bytes",
    "read_recording",
    "recording_from_bytes",
    "recording_from_samples",
    "sampling_rate_of",
    "wav_bytes",
    "write_flac",
    "write_wav",
]
