"""Measures and what their sound can support in, the measures that stand out, the others named by their reasons."""

from __future__ import annotations

from dataclasses import replace

from ..methods import HOUSE_7K, HOUSE_10K, HOUSE_15K, supports
from ..terms import MEASURES, Cut, Measure, Measures, Method, Support, TokenSupport

LEAST_SNR_DB = 10.0
"""Below this ratio at 4-10 kHz a method that leaves the noise in gives no spectral value (docs/recordings.md)."""


def supported(measures: Measures, support: TokenSupport, method: Method, rate_hz: int, cut: Cut | None) -> Measures:
    """Return the measures without those that the sound can't support, each with its reason among the flags."""
    reasons: dict[str, str] = {}
    drowned = method.noise == "observed" and support.snr_db is not None and support.snr_db < LEAST_SNR_DB
    if not supports(method, rate_hz, cut.frequency_hz if cut is not None else None):
        reasons["moments"] = "band_too_wide"
    elif drowned or _moments_support(support, method) == "not usable":
        reasons["moments"] = "moments_not_supported"
    if drowned or support.verdict.levels == "not usable":
        reasons["levels"] = "levels_not_supported"
    if support.verdict.durations == "not usable":
        reasons["durations"] = "durations_not_supported"
    if not reasons:
        return measures
    out = {key for key in measures.values if _aspect(MEASURES[key]) in reasons}
    flags = tuple(dict.fromkeys((*measures.flags, *reasons.values())))
    kept = [
        {key: value for key, value in values.items() if key not in out}
        for values in (measures.values, measures.low, measures.high, measures.boundary)
    ]
    bare = replace(measures, values=kept[0], low=kept[1], high=kept[2], boundary=kept[3], flags=flags)
    return replace(bare, uncut={}, sums={}) if "moments" in reasons else bare


def _aspect(measure: Measure) -> str:
    """Which verdict a measure hangs on: moments where the spectrum makes it, else levels, durations, or none."""
    if measure.spectral:
        return "moments"
    return {"dB": "levels", "ms": "durations"}.get(measure.unit, "")


def _moments_support(support: TokenSupport, method: Method) -> Support:
    """Support of the house method whose top lies nearest below the method's, or of the narrowest."""
    fitting = [house for house in (HOUSE_15K, HOUSE_10K, HOUSE_7K) if house.band_hz[1] <= method.band_hz[1]]
    return support.verdict.moments[(fitting or [HOUSE_7K])[0].name]
