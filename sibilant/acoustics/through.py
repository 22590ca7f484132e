"""Power densities once on a fixed grid through a fricative; every region and shifted edge is taken from them."""

from __future__ import annotations

from collections.abc import Sequence
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
    recording: Recording, intervals: Sequence[Interval], method: Method, response: MicrophoneResponse | None
) -> list[Listened | None]:
    """Spectra of each fricative under a method; None where a window reaches outside the recording."""
    rate = recording.sampling_rate_hz
    found: dict[int, Listened] = {}
    able: dict[int, tuple[Interval, Placement, Setup]] = {}
    for number, interval in enumerate(intervals):
        placement = place(method, interval)
        setup = prepare(method, rate, round(placement.length_s * rate), response)
        if fits(recording, starts_of(placement, rate), setup.n_samples):
            able[number] = interval, placement, setup
    if able and method.frame_ms is not None and method.average == "spectra" and len(method.windows) == 1:
        placed = [(interval, placement) for interval, placement, _ in able.values()]
        found.update(zip(able, _on_grid(recording, placed, setup), strict=True))
    else:
        found.update({number: _by_itself(recording, *each, response) for number, each in able.items()})
    return [found.get(number) for number in range(len(intervals))]


def _by_itself(
    recording: Recording, interval: Interval, placement: Placement, setup: Setup, response: MicrophoneResponse | None
) -> Listened:
    """One fricative by the method's own windows, and by those of its shifted edges."""
    method = setup.method
    starts = starts_of(placement, recording.sampling_rate_hz)
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


def _on_grid(recording: Recording, placed: Sequence[tuple[Interval, Placement]], setup: Setup) -> list[Listened]:
    """Frames every hop through each whole fricative, the method's own windows among them; one transform for all."""
    hop_s = _hop_s(setup.method)
    laid = [_frames_through(recording, *each, hop_s) for each in placed]
    last = recording.samples.size - setup.n_samples
    starts = [tuple(min(max(0, s), last) for s in starts_of(whole, setup.rate_hz)) for whole, _ in laid]
    every = power_densities(recording.samples, [start for own in starts for start in own], setup)
    grids = np.split(every, np.cumsum([len(own) for own in starts])[:-1])
    shares = _weights([interval for interval, _ in placed], setup.method, [whole.centres_s for whole, _ in laid])
    heard = [
        Listened(
            setup, placement, _combine(share, grid), None, setup.effective_s(own[slice(*span)]), grid,
            np.array(whole.centres_s), span,
        )
        for (_, placement), (whole, span), own, grid, share in zip(placed, laid, starts, grids, shares, strict=True)
    ]  # fmt: skip
    if setup.method.noise == "observed":
        return heard
    regions = [_region(recording, one, own) for one, own in zip(heard, starts, strict=True)]
    densities = variance_densities(regions, setup)
    return [replace(one, variance=v, fine=fine) for one, (v, fine) in zip(heard, densities, strict=True)]


def _hop_s(method: Method) -> float:
    return (method.hop_ms or method.frame_ms or 0.0) / 1000


def _frames_through(
    recording: Recording, interval: Interval, placement: Placement, hop_s: float
) -> tuple[Placement, tuple[int, int]]:
    """Frames every hop inside the fricative, and which of them (first, one past last) are the method's own windows."""
    half_s = placement.length_s / 2
    first, last = placement.centres_s[0], placement.centres_s[-1]
    n_before = max(0, int((first - half_s - max(0.0, interval.onset_s)) / hop_s + 1e-6))
    n_after = max(0, int((min(recording.duration_s, interval.offset_s) - last - half_s) / hop_s + 1e-6))
    centres = (
        *(first - hop_s * k for k in range(n_before, 0, -1)),
        *placement.centres_s,
        *(last + hop_s * k for k in range(1, n_after + 1)),
    )
    return Placement(placement.length_s, centres), (n_before, len(centres) - n_after)


def _region(recording: Recording, heard: Listened, starts: tuple[int, ...]) -> Region:
    """Where the method's own windows of a fricative were taken."""
    assert heard.grid is not None
    own = slice(*heard.own)
    n_own = len(starts[own])
    return Region(recording.samples, starts[own], np.full(n_own, 1 / n_own), heard.grid[own])


def _weights(intervals: Sequence[Interval], method: Method, centres_s: Sequence[tuple[float, ...]]) -> Rows:
    """Share of each grid frame (t, 1 + v, g) in the mean over the method's windows, for the edges as found and moved.

    A window between two grid frames takes from both by its nearness; one beyond the grid takes the outermost. Shorter
    grids are filled up with shares of nothing.
    """
    hop_s, moved = _hop_s(method), np.array([(0.0, 0.0), *EDGE_SHIFTS_MS]) / 1000
    edges = np.array([(interval.onset_s, interval.offset_s) for interval in intervals])
    onset_s, offset_s = edges[:, :1] + moved[:, 0], edges[:, 1:] + moved[:, 1]
    count = frame_counts(method, method.windows[0].share or 1.0, 1000 * np.maximum(offset_s - onset_s, 0.0))
    first = (onset_s + np.maximum(offset_s, onset_s)) / 2 - hop_s * (count - 1) / 2
    sizes = np.array([len(own) for own in centres_s])
    begin_s, outermost = np.array([own[0] for own in centres_s]), (sizes - 1.0)[:, np.newaxis]
    offset, frames = (first - begin_s[:, np.newaxis]) / hop_s, np.arange(np.max(sizes))
    total = np.zeros((*count.shape, frames.size))
    for k in range(np.max(count)):
        position = np.clip(offset + k, 0.0, outermost)
        near = np.maximum(1 - np.abs(position[:, :, np.newaxis] - frames), 0.0)
        near[near < 1e-6] = 0.0
        near[k >= count] = 0.0
        total += near
    return total / count[:, :, np.newaxis]


def _combine(weights: Rows, grid: Rows) -> Rows:
    """Weighted means (1 + v, m) of grid frames (g, m), added in the order of time; weights beyond them are nothing."""
    found: Rows = np.einsum("vg,gm->vm", weights[:, : grid.shape[0]], grid, optimize=False)
    return found
