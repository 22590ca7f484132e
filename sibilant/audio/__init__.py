"""From a sound file or a microphone's buffer to a ``Recording`` at its own rate, and kept copies without tags."""

from .reading import MEMORY_BOUND_SAMPLES, read_recording, recording_from_samples
from .writing import write_flac, write_wav

__all__ = ["MEMORY_BOUND_SAMPLES", "read_recording", "recording_from_samples", "write_flac", "write_wav"]
