"""The house methods from version 2 on: a sound's measures with the room's noise taken out."""

from __future__ import annotations

from collections.abc import Sequence
from math import isfinite

import numpy as np

from .cleared import Cleared
from .cleared_course import course_measures
from .cleared_values import Valued, cleared_values
from .drafts import Draft, ranges_of
from .moments import weighted_sums
from .noise import on_setup
from .setup import Setup
from .tapers import Rows


def add_cleared(drafts: Sequence[Draft], setup: Setup) -> None:
    """Spectral values with their intervals, edge ranges and courses, noise taken out, for sounds with one setup."""
    heard = [draft.heard for draft in drafts if draft.heard is not None]
    rooms = [_room(draft, setup) for draft in drafts]
    noise, noise_variance, drift = (np.stack([room[part] for room in rooms]) for part in range(3))
    cleared = Cleared(
        np.stack([one.rows[0] for one in heard]),
        noise,
        np.stack([one.rows[0] * 0 if one.variance is None else one.variance for one in heard]),
        np.stack([one.rows[0] * 0 if one.fine is None else one.fine for one in heard]),
        noise_variance,
        drift,
    )
    valued = cleared_values(np.stack([one.rows for one in heard]) - noise[:, np.newaxis], cleared, setup)
    sums = _sums(cleared, setup)
    ranges = dict(zip(valued.columns, ranges_of(np.stack(list(valued.columns.values()))), strict=True))
    for i, draft in enumerate(drafts):
        _fill(draft, valued, ranges, i)
        draft.sums.update({key: float(column[i]) for key, column in sums.items() if isfinite(column[i])})
    course_measures(drafts, cleared, setup)
    for draft in drafts:
        draft.flag_edges()
        if draft.noise is None:
            draft.flags.append("uncorrected")


def _room(draft: Draft, setup: Setup) -> tuple[Rows, Rows, Rows]:
    """Noise, its variance density and its drift (m,) under one sound; zero where none is known."""
    if draft.noise is None:
        nothing = np.zeros(setup.frequency_hz.size)
        return nothing, nothing, nothing
    noise, drift = on_setup(draft.noise, setup)
    effective_s = draft.noise.dof / (2 * setup.correlation_hz)
    return noise, noise**2 / effective_s, drift


def _fill(draft: Draft, valued: Valued, ranges: dict[str, Rows], i: int) -> None:
    """One sound's values, intervals and edge ranges, and why some are missing."""
    measured = {key: value for key, column in valued.columns.items() if isfinite(value := float(column[i, 0]))}
    draft.values.update(measured)
    draft.moved.update({key: float(ranges[key][i]) for key in measured})
    for key in measured:
        low, high = (ends[key][i] if key in ends else np.nan for ends in (valued.low, valued.high))
        if isfinite(low) and isfinite(high):
            draft.low[key], draft.high[key] = float(low), float(high)
    draft.uncut.update({key: (float(a[i]), float(b[i]), float(c[i])) for key, (a, b, c) in valued.uncut.items()})
    if any(bool(gone[i]) for gone in valued.buried.values()):
        draft.flags.append("buried")
    for key, flag in (("peak_hz", "peak_at_edge"), ("mid_peak_hz", "mid_peak_at_edge")):
        if key in valued.columns and key not in measured:
            draft.flags.append("no_peak" if valued.no_peak[key][i] else flag)
    draft.flags[:] = dict.fromkeys(draft.flags)


def _sums(cleared: Cleared, setup: Setup) -> dict[str, Rows]:
    """Uncut sums (t,) over the band's observed power: its power, first and second moment in Hz, and three bands."""
    observed = np.sum(cleared.observed * setup.moment_weights[0], axis=1)
    low, high = setup.method.band_hz
    middle, half = (low + high) / 2, (high - low) / 2
    power, first, second = weighted_sums(cleared.rows, setup.moment_weights[:3]).T / observed
    found = {
        "power": power,
        "first": middle * power + half * first,
        "second": middle**2 * power + 2 * middle * half * first + half**2 * second,
    }
    if setup.level_weights is not None:
        bands = weighted_sums(cleared.rows, setup.level_weights).T / observed
        found |= dict(zip(("low", "mid", "high"), bands, strict=False))
    return found
