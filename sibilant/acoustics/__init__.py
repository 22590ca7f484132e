"""From a bounded sibilant and a method to spectra and measures."""

from __future__ import annotations

from .frames import spectrum
from .holding import sustained
from .measuring import measure, timings
from .moments import moments
from .noise import noise_spectra, noise_spectrum
from .pictures import spectrogram

__all__ = ["measure", "moments", "noise_spectra", "noise_spectrum", "spectrogram", "spectrum", "sustained", "timings"]
