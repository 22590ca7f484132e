"""Sentences of the methods paragraph on the sounds: recording, measuring, what is missing, edges."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

_GONE = (
    ("n_no_frication", "no frication"),
    ("n_unsure", "unsure"),
    ("n_prompt_missing", "prompt missing"),
    ("n_unreadable", "unreadable"),
)


def recorded(found: Mapping[str, Any]) -> list[str]:
    """Rates, edges and what matched words to sound."""
    told = []
    if found["rates"]:
        rates = ", ".join(f"{rate} Hz ({n} tokens)" for rate, n in found["rates"].items())
        told.append(f"Sampling rate: {rates}.")
    if found["edges"]:
        told.append(f"Edges of the sounds: {', '.join(f'{how} ({n} tokens)' for how, n in found['edges'].items())}.")
    if found["readers"]:
        named = ", ".join(f"{name} ({n} tokens)" for name, n in found["readers"].items())
        told.append(f"Words were matched to sound by {named}.")
    return told


def misplaced(found: Mapping[str, Any]) -> list[str]:
    """Share of slots that are expected to be misplaced on this corpus."""
    if found["misplaced_all"] is None:
        return []
    groups = ", ".join(f"{group} {share}" for group, share in found["misplaced"].items())
    return [
        f"By the slots' own probabilities ({found['n_rated']} tokens) a share of {found['misplaced_all']} is not the"
        f" sound that its slot expects ({groups})."
    ]


def measuring(method: Mapping[str, Any] | None) -> list[str]:
    """Window, tapers, band and weighting."""
    if not method:
        return []
    low, high = method["band_hz"]
    emphasis = f"pre-emphasis {method['pre_emphasis']}" if method["pre_emphasis"] is not None else "no pre-emphasis"
    frames = (
        f"in frames of {method['frame_ms']:g} ms every {method['hop_ms']:g} ms"
        if method["frame_ms"]
        else "as one window"
    )
    where = [
        f"the middle {window['share']:g} of the fricative's length" for window in method["windows"] if window["share"]
    ]
    return [
        f"Spectra were taken over {' and '.join(where) or 'the windows of the method'} {frames} with"
        f" {method['n_tapers']} {method['taper']} tapers, and measured from {low:g} to {high:g} Hz with"
        f" {method['weighting']} weighting and {emphasis} (method {method['name']}, version {method['version']})."
    ]


def missing(run: Mapping[str, Any]) -> list[str]:
    """What was expected and not measured, by group (of the first measure), and what it could do to the differences."""
    if not run["missing"]:
        return []
    measure = run["missing"][0]["measure"]
    groups = [_missing_of(one) for one in run["missing"] if one["measure"] == measure]
    bounds = run["n_bounds"]
    return [
        f"Missing of {measure}, by group: {'; '.join(groups)} (every measure in missing.csv).",
        f"Were all missing sounds of one group as low and of the other as high as the outer twentieths of all tokens,"
        f" {bounds['one_sided']} of {bounds['all']} differences over speakers' means would stay on their side of 0.",
    ]


def _missing_of(one: Mapping[str, Any]) -> str:
    gone = [f"{one[key]} {name}" for key, name in _GONE if one[key]]
    if one["n_no_value"]:
        gone.append(f"{one['n_no_value']} without a value")
    return f"{one['group']} {one['n_missing']} of {one['n_expected']}" + (f" ({', '.join(gone)})" if gone else "")


def edges_of(run: Mapping[str, Any]) -> list[str]:
    """What moved edges do to the differences that are claimed."""
    n, n_held = run["n_moved"], run["n_held"]
    if not n:
        return []
    return [
        f"With the edges moved by up to 10 ms to the disadvantage of what is claimed, {n_held} of {n} claimed"
        " differences kept their interval off 0."
    ]
