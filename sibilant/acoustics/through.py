"""Power densities once on a fixed grid through a fricative; every region and shifted edge is taken from them."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from ..terms import Interval, Method, MicrophoneResponse, Recording
from .frames import fits, power_densities, starts_of
from .pieces import Region, variance_densities
from .placing import Placement, frame_counts, place, shifted
from .setup import Setup, prepare
from .tapers import Rows

EDGE_SHIFTS_MS = tuple(
    (onset, offset)
    for onset in (-10.0, -5.0, 0.0, 5.0, 10.0)
    for offset in (-10.0, -5.0, 0.0, 5.0, 10.0)
    if (onset, offset) != (0.0, 0.0) and (0.0 in (onset, offset) or abs(onset) == abs(offset) == 10.0)
)
"""Each edge alone by 5 and 10 ms either way, and both together by 10 ms: twelve."""


@dataclass(frozen=True, slots=True, eq=False)
class Listened:
    """What was heard of one fricative under one method.

    ``rows`` (1 + v, m): the averaged spectrum, then one for each shift of the edges; for methods that average moments
    ``windows`` (v + 1, w, m) keeps the windows apart. ``grid`` (g, m) are single frames at ``grid_s`` (g,), inside the
    fricative, for methods that have frames; of these the ``own`` (first, one past last) are the method's windows.
    ``variance`` and ``fine`` (m,): variance densities of the averaged spectrum, where the noise is taken out.
    """

    setup: Setup
    placement: Placement
    rows: Rows
    windows: Rows | None
    effective_s: float
    grid: Rows | None = None
    grid_s: Rows | None = None
    own: tuple[int, int] = (0, 0)
    variance: Rows | None = None
    fine: Rows | None = None


def listen(
    recording: Recording, interval: Interval, method: Method, response: MicrophoneResponse | None
) -> Listened | None:
    """Spectra of a fricative under a method, or None where a window reaches outside the recording."""
    placement = place(method, interval)
    rate = recording.sampling_rate_hz
    setup = prepare(method, rate, round(placement.length_s * rate), response)
    starts = starts_of(placement, rate)
    if not fits(recording, starts, setup.n_samples):
        return None
    if method.frame_ms is not None and method.average == "spectra" and len(method.windows) == 1:
        return _on_grid(recording, interval, placement, setup)
    windows = power_densities(recording.samples, starts, setup)
    shifts = [_again(recording, shifted(interval, *shift), method, response, setup) for shift in EDGE_SHIFTS_MS]
    stack = np.stack([windows, *(windows if again is None else again for again in shifts)])
    effective_s = setup.effective_s(tuple(sorted(starts)))
    rows = _mean_over(stack)
    return Listened(setup, placement, rows, stack if method.average == "moments" else None, effective_s)


def _again(
    recording: Recording, interval: Interval, method: Method, response: MicrophoneResponse | None, like: Setup
) -> Rows | None:
    """Window spectra for moved edges on the frequencies of ``like``; None where they can't be had."""
    placement = place(method, interval)
    rate = recording.sampling_rate_hz
    setup = prepare(method, rate, round(placement.length_s * rate), response)
    starts = starts_of(placement, rate)
    if interval.duration_s <= 0 or not fits(recording, starts, setup.n_samples):
        return None
    density = power_densities(recording.samples, starts, setup)
    if setup is like:
        return density
    return np.stack([np.interp(like.frequency_hz, setup.frequency_hz, row) for row in density])


def _mean_over(stack: Rows) -> Rows:
    total = np.zeros((stack.shape[0], stack.shape[2]))
    for w in range(stack.shape[1]):
        total += stack[:, w] / stack.shape[1]
    return total


def _on_grid(recording: Recording, interval: Interval, placement: Placement, setup: Setup) -> Listened:
    """Frames every hop through the whole fricative, the method's own windows among them."""
    rate, hop_s = recording.sampling_rate_hz, (setup.method.hop_ms or setup.method.frame_ms or 0.0) / 1000
    half_s = placement.length_s / 2
    first, last = placement.centres_s[0], placement.centres_s[-1]
    n_before = max(0, int((first - half_s - max(0.0, interval.onset_s)) / hop_s + 1e-6))
    n_after = max(0, int((min(recording.duration_s, interval.offset_s) - last - half_s) / hop_s + 1e-6))
    centres = (
        *(first - hop_s * k for k in range(n_before, 0, -1)),
        *placement.centres_s,
        *(last + hop_s * k for k in range(1, n_after + 1)),
    )
    whole = Placement(placement.length_s, centres)
    starts = tuple(min(max(0, s), recording.samples.size - setup.n_samples) for s in starts_of(whole, rate))
    grid = power_densities(recording.samples, starts, setup)
    rows = _combine(_weights(interval, setup.method, np.array(centres), hop_s), grid)
    span = (n_before, len(starts) - n_after)
    own = starts[slice(*span)]
    heard = Listened(setup, placement, rows, None, setup.effective_s(own), grid, np.array(centres), span)
    if setup.method.noise == "observed":
        return heard
    region = Region(recording.samples, own, np.full(len(own), 1 / len(own)), grid[slice(*span)])
    variance, fine = variance_densities(region, setup)
    return replace(heard, variance=variance, fine=fine)


def _weights(interval: Interval, method: Method, centres_s: Rows, hop_s: float) -> Rows:
    """Share of each grid frame (1 + v, g) in the mean over the method's windows, for the edges as found and as moved.

    A window between two grid frames takes from both by its nearness; one beyond the grid takes the outermost.
    """
    moved = np.array([(0.0, 0.0), *EDGE_SHIFTS_MS]) / 1000
    onset_s, offset_s = interval.onset_s + moved[:, 0], interval.offset_s + moved[:, 1]
    count = frame_counts(method, method.windows[0].share or 1.0, 1000 * np.maximum(offset_s - onset_s, 0.0))
    first = (onset_s + np.maximum(offset_s, onset_s)) / 2 - hop_s * (count - 1) / 2
    window = np.arange(np.max(count))
    position = np.clip((first[:, np.newaxis] - centres_s[0]) / hop_s + window, 0.0, centres_s.size - 1.0)
    near = np.maximum(1 - np.abs(position[:, :, np.newaxis] - np.arange(centres_s.size)), 0.0)
    near[near < 1e-6] = 0.0
    near[window >= count[:, np.newaxis]] = 0.0
    total = np.zeros((count.size, centres_s.size))
    for k in window:
        total += near[:, k]
    return total / count[:, np.newaxis]


def _combine(weights: Rows, grid: Rows) -> Rows:
    """Weighted means of grid frames, added in the order of time."""
    total = np.zeros((weights.shape[0], grid.shape[1]))
    for g in range(grid.shape[0]):
        total += weights[:, g : g + 1] * grid[g]
    return total
