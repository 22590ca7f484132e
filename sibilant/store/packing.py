"""Sounds and measurements without their keys: told as objects (in exports), kept as lists in a fixed order.

The lists take a third of the room, and a view over them (``by_hand``) gives every figure its name back. Nothing is
rounded or lost here: ``told`` of ``packed`` is what it was, to the last bit. A measure that has no place here, such as
one of an earlier program, is kept beside the lists by its name.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import fields
from functools import lru_cache
from typing import Any

from ..terms import Edge, SibilantSlot

PLACES = (
    "centroid_hz", "sd_hz", "low_mid_db", "mid_high_db", "skewness", "excess_kurtosis", "peak_erb", "spread_50_hz",
    "spread_90_hz", "slope_below_db_khz", "slope_above_db_khz", "peak_hz", "mid_peak_hz", "amplitude_difference_db",
    "centroid_slope_hz_ms", "centroid_course_0_hz", "centroid_course_1_hz", "centroid_course_2_hz",
    "centroid_course_3_hz", "level_course_0_db", "level_course_1_db", "level_course_2_db", "level_course_3_db",
    "duration_ms", "core_duration_ms", "relative_duration", "rise_ms", "level_re_vowel_db", "voiced_share",
    "tonality_db", "tonality_width_hz", "centroid_movement_hz", "peak_course_0_hz", "peak_course_1_hz",
    "peak_course_2_hz", "peak_course_3_hz", "take_duration_s", "steadiness_db", "drift_hz_per_s", "n_breaks",
    "whistle_width_hz", "tonality_1_db",
)  # fmt: skip
"""The place of each measure in the lists. It grows at its end alone: a place is never given to another measure."""
UNCUT = PLACES[:4]  # what comes of sums over the band is also kept uncut
SUMS = ("power", "first", "second", "low", "mid", "high")
PARTS = ("values", "low", "high", "boundary")
ORDERS = {**dict.fromkeys(PARTS, PLACES), "uncut": UNCUT, "sums": SUMS}
UTTERANCE = ("onset_s", "offset_s", "confidence", "voice", "sure", "counts", "attempt", "prompted")
ENDS = ("onset_s", "offset_s")
EDGES = ("automatic", "core", "onset", "offset", "confidence", "flags", "has_slot")
Told = Mapping[str, Any]


@lru_cache(maxsize=4)
def _names(kind: Any) -> tuple[str, ...]:
    return tuple(field.name for field in fields(kind))


def _listed(order: Sequence[str], named: Told) -> list[Any]:
    """Values in the order of their names, null where one is missing; none after the last."""
    found = [named.get(name) for name in order]
    while found and found[-1] is None:
        found.pop()
    return found


def _named(order: Sequence[str], listed: Sequence[Any]) -> dict[str, Any]:
    if not isinstance(listed, list) or len(listed) > len(order):
        raise ValueError(f"a list of at most {len(order)} was expected")
    return {name: one for name, one in zip(order, listed, strict=False) if one is not None}


def _present(parts: Told) -> dict[str, Any]:
    return {name: one for name, one in parts.items() if one is not None and one != [] and one != {}}


def packed_measurement(told: Told) -> Told:
    """Return what one method measured as lists.

    Examples
    --------
    >>> figures = {"values": {"sd_hz": 900.5}, "low": {}, "high": {}, "boundary": {}, "flags": [], "region": None,
    ...     "n_frames": 5, "band_hz": None, "sampling_rate_hz": 44100}
    >>> kept = packed_measurement({"measures": figures, "snr_db": None, "bandwidth_hz": None, "flags": []})
    >>> kept
    {'values': [None, 900.5], 'n_frames': 5, 'sampling_rate_hz': 44100}
    >>> told_measurement(kept)["measures"] == figures
    True
    """
    own = {name: told[name] for name in ("snr_db", "bandwidth_hz", "flags")}
    one = told["measures"]
    if one is None:
        return _present(own)
    uncut, sums = one.get("uncut", {}), one.get("sums", {})
    kept = {
        **{part: _listed(PLACES, one[part]) for part in PARTS},
        "uncut": _listed(UNCUT, {key: _same_or(three, one, key) for key, three in uncut.items()}),
        "sums": _listed(SUMS, sums),
        "beside": _present({name: _without(order, one.get(name, {})) for name, order in ORDERS.items()}),
        "own_flags": _last_or(one["flags"], told["flags"]) or None,
        "region": _listed(ENDS, one["region"]) if one["region"] is not None else None,
        **{name: one[name] for name in ("n_frames", "band_hz", "sampling_rate_hz")},
        **own,
    }
    return {"values": kept["values"], **_present(kept)}


def _without(order: Sequence[str], named: Told) -> dict[str, Any]:
    return {name: one for name, one in named.items() if name not in order}


def _same_or(three: Sequence[float], one: Told, key: str) -> Any:
    """True where value, low and high stand clear of the noise, and so are the ones kept already."""
    return True if list(three) == [one[part].get(key) for part in PARTS[:3]] else list(three)


def _last_or(own: Sequence[str], flags: Sequence[str]) -> Any:
    """How many of a sound's last flags are the measures' own, where they stand there together; else they themselves."""
    return len(own) if list(own) == list(flags)[len(flags) - len(own) :] else own


def told_measurement(kept: Told) -> Told:
    """Return what one method measured as it is told; what is told already is returned as it is.

    Raises
    ------
    ValueError
        When a list is longer than there are measures.
    """
    if "measures" in kept:
        return dict(kept)
    own = {"snr_db": kept.get("snr_db"), "bandwidth_hz": kept.get("bandwidth_hz"), "flags": kept.get("flags", [])}
    if "values" not in kept:
        return {"measures": None, **own}
    beside = kept.get("beside", {})
    parts = {part: {**_named(PLACES, kept.get(part, [])), **beside.get(part, {})} for part in PARTS}
    uncut = {
        key: [parts[part][key] for part in PARTS[:3]] if three is True else three
        for key, three in _named(UNCUT, kept.get("uncut", [])).items()
    }
    sums, flags = _named(SUMS, kept.get("sums", [])), kept.get("own_flags", 0)
    measures = {
        **parts,
        "flags": own["flags"][len(own["flags"]) - flags :] if isinstance(flags, int) else flags,
        "region": _named(ENDS, kept["region"]) if "region" in kept else None,
        "n_frames": kept["n_frames"],
        "band_hz": kept.get("band_hz"),
        "sampling_rate_hz": kept["sampling_rate_hz"],
        **_present({"uncut": {**uncut, **beside.get("uncut", {})}, "sums": {**sums, **beside.get("sums", {})}}),
    }
    return {"measures": measures, **own}


def packed_sound(told: Told) -> Told:
    """Return what was observed of a sound as lists."""
    spoken, slot, edges, place = (told.get(name) for name in ("utterance", "slot", "sibilant", "slot_place"))
    kept = {
        "prompt_text": told["prompt_text"],
        "utterance": _listed(UTTERANCE, spoken) if spoken is not None else None,
        "slot": _listed(_names(SibilantSlot), slot) if slot is not None else None,
        "edges": _packed_edges(edges) if edges is not None else None,
        "place": [*_listed(ENDS, place["interval"]), place["probability"]] if place is not None else None,
        "reader": told.get("reader") or None,
    }
    return _present(kept)


def _packed_edges(told: Told) -> list[Any]:
    ends = [_listed(ENDS, told[name]) for name in EDGES[:2]]
    edges = [_listed(_names(Edge), told[name]) for name in EDGES[2:4]]
    return [*ends, *edges, *(told[name] for name in EDGES[4:])]


def told_sound(kept: Told) -> Told:
    """Return what was observed of a sound as it is told; what is told already is returned as it is."""
    if "sibilant" in kept:
        return dict(kept)
    spoken, slot, edges, place = (kept.get(name) for name in ("utterance", "slot", "edges", "place"))
    read = {"interval": _named(ENDS, place[:2]), "probability": place[2]} if place is not None else None
    return {
        "prompt_text": kept["prompt_text"],
        "utterance": _named(UTTERANCE, spoken) if spoken is not None else None,
        "slot": _named(_names(SibilantSlot), slot) if slot is not None else None,
        "sibilant": _told_edges(edges) if edges is not None else None,
        **_present({"slot_place": read, "reader": kept.get("reader")}),
    }


def _told_edges(kept: Sequence[Any]) -> dict[str, Any]:
    told = dict(zip(EDGES, kept, strict=True))
    orders = dict(zip(EDGES[:4], (ENDS, ENDS, _names(Edge), _names(Edge)), strict=True))
    return {**told, **{name: _named(order, told[name]) for name, order in orders.items()}}


Turn = Callable[[Told], Told]
COLUMNS: dict[str, tuple[str, Turn, Turn]] = {
    "tokens": ("observed", packed_sound, told_sound),
    "measurements": ("measured", packed_measurement, told_measurement),
}
"""Where lists are kept: by table its column, and both ways."""
