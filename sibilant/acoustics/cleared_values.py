"""Spectral measures of spectra with the noise taken out: values where they stand clear, and their intervals."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from .certainty import coarser, cubed_draws, excitation_draws, spans_of
from .cleared import CLEAR, Cleared, clear_moments, cleared_moments, level_reaches, moment_reaches
from .moments import MOMENT_KEYS
from .peaks import Tops, clear_low, height_over_low_db, near_tops, tops
from .setup import Setup
from .shape import (
    LEAST_SLOPE_HZ,
    auditory_peak,
    excitation,
    half_bandwidth,
    level_values,
    pattern_peak,
    smoothed,
)
from .tapers import Rows

Flags = npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Valued:
    """Values of t sounds by key.

    ``columns`` (t, 1 + v) for the edges as found and as moved, NaN where none is given; ``low`` and ``high`` (t,) ends
    of the 95 % intervals; ``buried`` (t,) which keys rest on power that does not stand clear; ``uncut`` value, low and
    high (t,) of mean, SD and levels for every sound, buried or not; ``no_peak`` (t,) where there is none at all.
    """

    columns: dict[str, Rows]
    low: dict[str, Rows]
    high: dict[str, Rows]
    buried: dict[str, Flags]
    uncut: dict[str, tuple[Rows, Rows, Rows]]
    no_peak: dict[str, Flags]


def cleared_values(stacks: Rows, cleared: Cleared, setup: Setup) -> Valued:
    """All spectral measures of ``stacks`` (t, 1 + v, m), the noise taken out, the first of each sound being its own."""
    n_sounds, n_shifts, n_bins = stacks.shape
    flat = stacks.reshape(-1, n_bins)
    broad, middle = (tops(cleared, span, setup) for span in (setup.band, setup.mid_band or setup.band))
    columns = cleared_moments(flat, setup) | level_values(flat, setup)
    columns |= _peaks(flat, broad, middle, n_shifts, setup)
    columns |= spreads(flat, setup)
    columns["peak_erb"] = auditory_peak(flat, setup)
    shaped = {key: column.reshape(n_sounds, n_shifts) for key, column in columns.items()}
    sides, side_clear = slopes(stacks, shaped["peak_hz"], cleared, setup)
    shaped |= sides
    levels = level_reaches(cleared, setup)
    uncut = {key: reach[:3] for key, reach in levels.items()} | moment_reaches(cleared, setup)
    stands = clear_moments(cleared, setup) | side_clear | _clear_spreads(cleared, setup)
    stands |= {key: reach[3] for key, reach in levels.items()}
    stands["peak_erb"] = stands["centroid_hz"]
    if "amplitude_difference_db" in shaped:
        stands["amplitude_difference_db"] = clear_low(cleared, setup)
    low, high = _intervals(shaped, uncut, cleared, (broad, middle), setup)
    buried = {key: ~good for key, good in stands.items()}
    for key, gone in buried.items():
        shaped[key] = np.where(gone[:, np.newaxis], np.nan, shaped[key])
    return Valued(shaped, low, high, buried, uncut, _without(broad, middle))


def _without(broad: Tops, middle: Tops) -> dict[str, Flags]:
    """Which sounds have no peak at all, rather than one at the band's edge."""
    return {key: ~top.stands & ~top.at_edge for key, top in (("peak_hz", broad), ("mid_peak_hz", middle))}


def _peaks(flat: Rows, broad: Tops, middle: Tops, n_shifts: int, setup: Setup) -> dict[str, Rows]:
    """Peak, mid-band peak and the latter's height over the low band, for rows in the order of sounds and shifts."""
    sharp = smoothed(np.maximum(flat, 0.0), half_bandwidth(setup) - 1)
    found = {}
    for key, span, top in (("peak_hz", setup.band, broad), ("mid_peak_hz", setup.mid_band, middle)):
        if span is not None:
            place = near_tops(sharp, np.repeat(top.bin, n_shifts), span, setup)[0]
            found[key] = np.where(np.repeat(top.stands, n_shifts), place, np.nan)
    if setup.mid_band is not None and setup.low_band is not None:
        found["amplitude_difference_db"] = height_over_low_db(flat, found["mid_peak_hz"], setup)
    return found


def _intervals(
    columns: dict[str, Rows],
    uncut: dict[str, tuple[Rows, Rows, Rows]],
    cleared: Cleared,
    found: tuple[Tops, Tops],
    setup: Setup,
) -> tuple[dict[str, Rows], dict[str, Rows]]:
    """Ends (t,) of the intervals; those of skewness, kurtosis and peaks from drawn spectra.

    The draws also tell how far the height over the low band is off by its being a highest over a lowest, which is
    taken out of its column.
    """
    low = {key: reach[1] for key, reach in uncut.items()}
    high = {key: reach[2] for key, reach in uncut.items()}
    spans, bias = simulated(cleared, found, setup)
    if "amplitude_difference_db" in columns:
        columns["amplitude_difference_db"] = columns["amplitude_difference_db"] - bias[:, np.newaxis]
    for key, span in spans.items():
        if key in columns:
            value = columns[key][:, 0]
            low[key], high[key] = value + span[:, 0], value + span[:, 1]
    return low, high


def simulated(cleared: Cleared, found: tuple[Tops, Tops], setup: Setup) -> tuple[dict[str, Rows], Rows]:
    """Reaches (t, 2) below and above of skewness, kurtosis and peaks, and the bias (t,) of the height over the low.

    Observed spectra smoothed over the estimator's bandwidth, draws about them with the degrees of freedom that their
    variance leaves, the noise taken out of each; otherwise as `certainty.simulated_spans`.
    """
    coarse, every = coarser(setup)
    weights = setup.moment_weights[0]
    pieces_s = np.sum(cleared.observed**2 * weights, axis=1) / np.sum(cleared.variance * weights, axis=1)
    dof = 2 * pieces_s * setup.correlation_hz
    smooth, noise = smoothed(cleared.observed, half_bandwidth(setup)), cleared.noise
    thin = smooth[:, np.newaxis, ::every]
    stack = _drawn_about(thin, cubed_draws(dof, thin.shape[2], coarse, setup))
    stack -= noise[:, np.newaxis, ::every]
    flat, n_rows = stack.reshape(-1, stack.shape[2]), stack.shape[1]
    columns = {key: value for key, value in cleared_moments(flat, coarse).items() if key in MOMENT_KEYS[2:]}
    broad, middle = (Tops(top.bin // every, top.stands, top.at_edge) for top in found)
    columns |= _peaks(flat, broad, middle, n_rows, coarse)
    shaped = {key: column.reshape(-1, n_rows) for key, column in columns.items()}
    height = shaped.pop("amplitude_difference_db", np.full((len(dof), n_rows), np.nan))
    shaped["peak_erb"] = _auditory(smooth, noise, dof, setup)
    spans = spans_of(np.stack([*shaped.values(), height]))
    return dict(zip([*shaped, "amplitude_difference_db"], spans, strict=True)), _bias(height)


def _bias(drawn: Rows) -> Rows:
    """How far the mean of the draws (t, 1 + n) lies above the first; 0 where unknown."""
    known = np.isfinite(drawn[:, 1:])
    mean = np.sum(np.where(known, drawn[:, 1:], 0.0), axis=1) / np.maximum(np.sum(known, axis=1), 1)
    return np.where(np.isfinite(drawn[:, 0]) & known.any(axis=1), mean - drawn[:, 0], 0.0)


def _auditory(smooth: Rows, noise: Rows, dof: Rows, setup: Setup) -> Rows:
    """Auditory peaks (t, 1 + n) of smoothed spectra and of draws about their excitation, the noise's taken out."""
    pattern, floor = (excitation(rows, setup)[:, np.newaxis] for rows in (smooth, noise))
    factor: Rows = excitation_draws(setup) * np.sqrt(2 / dof)[:, np.newaxis, np.newaxis]
    factor += 1
    stack = _drawn_about(pattern, np.maximum(factor, 1e-3, out=factor))
    stack -= floor
    return pattern_peak(stack.reshape(-1, stack.shape[2]), setup.erb_number).reshape(stack.shape[:2])


def _drawn_about(spectra: Rows, factors: Rows) -> Rows:
    """Spectra (t, 1, m), each with its draws after it: (t, 1 + n, m)."""
    stack = np.empty((factors.shape[0], 1 + factors.shape[1], factors.shape[2]))
    stack[:, :1] = spectra
    np.multiply(spectra, factors, out=stack[:, 1:])
    return stack


def slopes(stacks: Rows, peak_hz: Rows, cleared: Cleared, setup: Setup) -> tuple[dict[str, Rows], dict[str, Flags]]:
    r"""Slopes (t, 1 + v) in dB per kHz below and above the peak, and whether both halves they rest on stand clear.

    The band between the peak and the band's end is halved; the slope is the difference of the halves' levels over the
    distance of their middles, which for a spectrum that is straight in decibels is its slope exactly, and needs only
    two sums of power.
    """
    low, high = setup.method.band_hz
    columns, clear = {}, {}
    for key, ends in (("slope_below_db_khz", (low, peak_hz)), ("slope_above_db_khz", (peak_hz, high))):
        start, stop = np.broadcast_arrays(np.asarray(ends[0], dtype=np.float64), np.asarray(ends[1], dtype=np.float64))
        middle = (start + stop) / 2
        halves = [_between(begin, end, setup) for begin, end in ((start, middle), (middle, stop))]
        first, second = (np.sum(stacks * share, axis=2) for share in halves)
        wide = stop - start >= LEAST_SLOPE_HZ
        with np.errstate(divide="ignore", invalid="ignore"):
            level = 10 * np.log10(second / first) / ((stop - start) / 2000)
        columns[key] = np.where(wide & np.isfinite(level), level, np.nan)
        own = [share[:, 0] for share in halves]
        errors = [cleared.own_noise_errors(share, setup) for share in own]
        sums = [np.sum(cleared.rows * share, axis=1) for share in own]
        good = [total > CLEAR * error for total, error in zip(sums, errors, strict=True)]
        clear[key] = good[0] & good[1] | ~wide[:, 0]
    return columns, clear


def _between(start_hz: Rows, stop_hz: Rows, setup: Setup) -> Rows:
    """Weights (t, 1 + v, m) of a sum of power between two frequencies, each bin by its share; 0 where unknown."""
    left, right = setup.frequency_hz - setup.step_hz / 2, setup.frequency_hz + setup.step_hz / 2
    with np.errstate(invalid="ignore"):
        inside = np.minimum(right, stop_hz[..., np.newaxis]) - np.maximum(left, start_hz[..., np.newaxis])
    return np.where(inside > 0, inside, 0.0)


def spreads(rows: Rows, setup: Setup) -> dict[str, Rows]:
    """Widths (r,) of the middle 50 % and 90 % of the band's power; the running sum may fall where bins are negative."""
    running = _running(rows, setup)
    found = [_quantile(running, share, setup) for share in (0.05, 0.25, 0.75, 0.95)]
    return {"spread_50_hz": found[2] - found[1], "spread_90_hz": found[3] - found[0]}


def _running(rows: Rows, setup: Setup) -> Rows:
    first, last = setup.band
    inside = rows[:, first : last + 1]
    running = np.zeros((rows.shape[0], inside.shape[1]))
    np.cumsum((inside[:, 1:] + inside[:, :-1]) / 2, axis=1, out=running[:, 1:])
    return running


def _quantile(running: Rows, share: float, setup: Setup) -> Rows:
    """Frequency (r,) up to which a share of the power lies: as many bins as lie under it, the last one by its part."""
    target = share * running[:, -1]
    after = np.clip(np.count_nonzero(running < target[:, np.newaxis], axis=1), 1, running.shape[1] - 1)
    row = np.arange(running.shape[0])
    low, high = running[row, after - 1], running[row, after]
    with np.errstate(divide="ignore", invalid="ignore"):
        part = np.clip((target - low) / (high - low), 0.0, 1.0)
    part = np.where(np.isfinite(part), part, 0.5)
    return np.where(running[:, -1] > 0, (after - 1 + part) * setup.step_hz, np.nan)


def _clear_spreads(cleared: Cleared, setup: Setup) -> dict[str, Flags]:
    """Whether the power outside each spread, half of it on either side, stands clear of its error."""
    running = _running(cleared.rows, setup)
    first_hz = setup.frequency_hz[setup.band[0]]
    last_hz = setup.frequency_hz[setup.band[1]]
    found = {}
    for key, tail in (("spread_50_hz", 0.25), ("spread_90_hz", 0.05)):
        good = running[:, -1] > 0
        for ends in ((0.0, tail), (1 - tail, 1.0)):
            at = [
                first_hz + (_quantile(running, end, setup) if 0 < end < 1 else end * (last_hz - first_hz))
                for end in ends
            ]
            start, stop = (np.broadcast_to(np.asarray(edge, dtype=np.float64), good.shape) for edge in at)
            error = cleared.own_noise_errors(_between(start, stop, setup), setup)
            good = good & (tail * running[:, -1] * setup.step_hz > CLEAR * error)
        found[key] = good
    return found
