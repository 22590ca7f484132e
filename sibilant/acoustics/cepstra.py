"""A stretch and a band come in; cepstral coefficients by librosa go out, beside the spectral measures.

They serve studies only.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt

from ..terms import Interval, Recording

N_BANDS = 30  # common practice, no source, as are frame and step
FRAME_MS, HOP_MS = 20.0, 5.0  # frame and step


def cepstra(
    recording: Recording,
    interval: Interval,
    *,
    band_hz: tuple[float, float] = (1000.0, 15000.0),
    n_coefficients: int = 12,
) -> npt.NDArray[np.float64]:
    r"""Cosine transform of the log power in mel bands over the middle half of a stretch.

    Parameters
    ----------
    recording : Recording
        One channel at its own rate.
    interval : Interval
        The sibilant.
    band_hz : tuple of float
        Where the mel bands lie.
    n_coefficients : int
        How many, from the first; the zeroth, the level, is left out.

    Returns
    -------
    array (n_coefficients,)
        NaN where the middle half is shorter than one frame, or the band reaches beyond half the sampling rate.

    Notes
    -----
    Power spectra of frames of 20 ms every 5 ms under a Hann window are summed in 30 mel bands (Slaney's scale),
    averaged over the frames, taken as 10 lg, and transformed by the orthonormal cosine transform of the second kind, as
    ``librosa.feature.mfcc`` does; no frame is padded. They have no unit that means anything by itself.

    Examples
    --------
    >>> from sibilant.terms import Source
    >>> noise = np.random.default_rng(1).normal(0, 0.1, 8820).astype(np.float32)
    >>> cepstra(Recording(noise, 44100, Source("noise", "")), Interval(0.0, 0.2)).shape
    (12,)
    """
    rate = recording.sampling_rate_hz
    quarter = interval.duration_s / 4
    samples = recording.cut(Interval(interval.onset_s + quarter, interval.offset_s - quarter))
    n_frame = round(FRAME_MS / 1000 * rate)
    if samples.size < n_frame or band_hz[1] > rate / 2:
        return np.full(n_coefficients, np.nan)
    import librosa

    sound: Any = librosa.feature
    power = sound.melspectrogram(
        y=np.asarray(samples, dtype=np.float64), sr=rate, n_fft=n_frame, hop_length=round(HOP_MS / 1000 * rate),
        window="hann", center=False, power=2.0, n_mels=N_BANDS, fmin=band_hz[0], fmax=band_hz[1],
    )  # fmt: skip
    level_db = 10 * np.log10(np.maximum(power.mean(axis=1, keepdims=True), 1e-30))
    found = sound.mfcc(S=level_db, n_mfcc=n_coefficients + 1, dct_type=2, norm="ortho")
    return np.asarray(found[1:, 0], dtype=np.float64)
