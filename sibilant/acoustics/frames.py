"""Power densities of tapered windows: float32 transforms, float64 sums in a fixed order."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from ..errors import MethodError
from ..terms import Interval, Method, MicrophoneResponse, Recording, Spectrum
from .placing import Placement, place
from .setup import Setup, prepare, whole
from .tapers import Rows

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy.typing as npt


AT_ONCE = 32
"""Windows transformed at once, so that they stay in the processor's cache; no figure depends on it."""


def starts_of(placement: Placement, rate_hz: int) -> tuple[int, ...]:
    """First sample of each window."""
    n_samples = round(placement.length_s * rate_hz)
    return tuple(round(centre * rate_hz - n_samples / 2) for centre in placement.centres_s)


def power_densities(samples: npt.NDArray[np.float32], starts: Sequence[int], setup: Setup) -> Rows:
    r"""One-sided power density of each window, shape (w, m), full scale squared per Hz.

    :math:`P(f) = \frac{2}{r K} \sum_k |\sum_t h_k(t) x(t) e^{-2 \pi i f t / r}|^2` with tapers of unit energy and
    sampling rate r, times the setup's gain.

    Parameters
    ----------
    samples : array of float32, shape (n,)
        The recording.
    starts : sequence of int
        First sample of each window; all windows lie inside the recording.
    setup : Setup
        Method and rate.
    """
    from scipy.fft import rfft

    first, last = setup.bins
    density = np.empty((len(starts), last - first))
    for begin in range(0, len(starts), AT_ONCE):
        windows = np.stack([samples[start : start + setup.n_samples] for start in starts[begin : begin + AT_ONCE]])
        tapered = windows[:, np.newaxis, :] * setup.tapers
        transform = rfft(tapered, n=setup.n_fft, axis=-1, overwrite_x=True)[..., first:last]
        power = transform.real**2
        power += transform.imag**2
        np.add.reduce(power, axis=1, dtype=np.float64, out=density[begin : begin + AT_ONCE])
    density *= setup.gain * (2.0 / (setup.rate_hz * setup.tapers.shape[0]))
    return density


def fits(recording: Recording, starts: tuple[int, ...], n_samples: int) -> bool:
    """Whether all windows lie inside the recording."""
    return min(starts) >= 0 and max(starts) + n_samples <= recording.samples.size


def spectrum(
    recording: Recording, interval: Interval, method: Method, *, response: MicrophoneResponse | None = None
) -> Spectrum:
    """Averaged power spectral density of a fricative under a method.

    Parameters
    ----------
    recording : Recording
        The sound.
    interval : Interval
        The fricative.
    method : Method
        Windows, tapers, pre-emphasis; powers are averaged over windows and tapers.
    response : MicrophoneResponse, optional
        Divided out of the power.

    Returns
    -------
    Spectrum
        From 0 Hz to half the sampling rate; ``dof`` counts the effective independent averages, twice.

    Raises
    ------
    MethodError
        When a window reaches outside the recording.

    Examples
    --------
    >>> from sibilant.methods import HOUSE_10K
    >>> from sibilant.terms import Source
    >>> noise = np.random.default_rng(1).standard_normal(22050).astype(np.float32) / 8
    >>> hiss = Recording(noise, 44100, Source("buffer", ""))
    >>> found = spectrum(hiss, Interval(0.1, 0.3), HOUSE_10K)
    >>> found.frequency_hz.size, found.estimator
    (442, '5 dpss tapers (NW 4) in 9 windows of 20 ms')
    """
    placement = place(method, interval)
    setup = whole(prepare(method, recording.sampling_rate_hz, _n(placement, recording), response), response)
    starts = starts_of(placement, recording.sampling_rate_hz)
    if not fits(recording, starts, setup.n_samples):
        raise MethodError(
            f"method {method.name} needs sound from {placement.region.onset_s:.3f} to"
            f" {placement.region.offset_s:.3f} s; the recording lasts {recording.duration_s:.3f} s"
        )
    density = power_densities(recording.samples, starts, setup)
    mean = np.zeros(density.shape[1])
    for row in density:
        mean += row / len(starts)
    dof = 2 * setup.effective_s(tuple(sorted(starts))) * setup.correlation_hz
    tapers = (
        f"{setup.tapers.shape[0]} dpss tapers (NW {method.time_bandwidth:g})"
        if method.taper == "dpss"
        else (f"{method.taper} taper")
    )
    estimator = f"{tapers} in {len(starts)} window{'s' * (len(starts) > 1)} of {1000 * placement.length_s:g} ms"
    return Spectrum(setup.frequency_hz.copy(), mean, estimator, dof)


def _n(placement: Placement, recording: Recording) -> int:
    return round(placement.length_s * recording.sampling_rate_hz)
