"""Sounds, measurements, prompts and methods come in, JSON text goes out, and back, nothing lost.

Written by hand: kept text holds its shape for ever, and older text lacks parts.
"""

from __future__ import annotations

import json
import math
import re
from collections.abc import Mapping
from dataclasses import asdict, fields
from functools import lru_cache
from operator import attrgetter
from typing import Any

from ..terms import (
    MEASURES,
    NOT_MEASURED,
    Edge,
    Interval,
    Measurement,
    Measures,
    Method,
    Prompt,
    SibilantInterval,
    SibilantSlot,
    Sound,
    Utterance,
    Window,
    Word,
)
from ..terms.vocabulary import CUES, LEVELS
from .packing import COLUMNS, packed_measurement, packed_sound, told_measurement, told_sound

GUARD = 2
"""Digits that a figure is kept with beyond those it is printed with."""
SNR_DECIMALS, TIME_DECIMALS = 1, 4
"""As tables print them."""


def dump(value: Any) -> str:
    """Return JSON text, short and in a fixed order of keys; not-a-number is refused."""
    return json.dumps(value, ensure_ascii=False, separators=(",", ":"), sort_keys=True, allow_nan=False)


def load(text: str) -> Any:
    """Return what :func:`dump` wrote, None for empty text."""
    return json.loads(text) if text else None


@lru_cache(maxsize=16)
def _names(kind: Any) -> tuple[str, ...]:
    return tuple(field.name for field in fields(kind))


def _flat(value: Any) -> dict[str, Any]:
    """Return a noun without nouns inside it as a dict, as ``asdict`` does, without its deep copies."""
    kind: Any = type(value)
    names = _names(kind)
    return dict(zip(names, attrgetter(*names)(value), strict=True))


def told_cells(table: str, row: Mapping[str, Any]) -> Mapping[str, Any]:
    """Return a row as it is told in an export: its lists as objects by name.

    Raises
    ------
    ValueError, KeyError, TypeError, IndexError
        When the lists can't be read.
    """
    return _turned(table, row, 1)


def kept_cells(table: str, row: Mapping[str, Any]) -> Mapping[str, Any]:
    """Return a row as it is kept: what is told as objects by name in lists."""
    return _turned(table, told_cells(table, row), 0)


def _turned(table: str, row: Mapping[str, Any], way: int) -> dict[str, Any]:
    if table not in COLUMNS:
        return dict(row)
    column, *turns = COLUMNS[table]
    return {**row, column: dump(turns[way](load(row[column])))}


def prompt_text(prompt: Prompt) -> str:
    """Return a prompt as JSON text."""
    words, slots = ([_flat(part) for part in parts] for parts in (prompt.words, prompt.slots))
    for word in words:
        if not word["guessed"]:
            del word["guessed"]
    return dump({**_flat(prompt), "words": words, "slots": slots})


def prompt_from(text: str) -> Prompt:
    """Return a prompt from JSON text; a level or cue that is no word for one (older caseloads) is not stated."""
    content = load(text)
    words = tuple(
        Word(word["spelling"], tuple(word["phones"]), word.get("guessed", False)) for word in content.pop("words")
    )
    slots = tuple(SibilantSlot(**slot) for slot in content.pop("slots"))
    level, cue = LEVELS.find(content.pop("level")) or "", CUES.find(content.pop("cue")) or ""
    return Prompt(words=words, slots=slots, level=level, cue=cue, **content)


def method_text(method: Method) -> str:
    """Return a method's whole definition as JSON text."""
    return dump(asdict(method))


def method_from(text: str) -> Method:
    """Return a method from JSON text; a key that this program does not know is passed over."""
    content = load(text)
    known = {field.name for field in fields(Method)}
    kept: dict[str, Any] = {
        key: tuple(value) if isinstance(value, list) else value for key, value in content.items() if key in known
    }
    kept["windows"] = tuple(Window(**window) for window in content["windows"])
    return Method(**kept)


def observed_text(sound: Sound) -> str:
    """Return what hangs on no method: the attempt, the slot, both edges, and where a reader put the slot."""
    spoken = sound.utterance
    utterance = None
    if spoken is not None:
        utterance = {
            "onset_s": spoken.interval.onset_s,
            "offset_s": spoken.interval.offset_s,
            "confidence": spoken.confidence,
            "voice": spoken.voice,
            "sure": spoken.sure,
            "counts": spoken.counts,
            "attempt": spoken.attempt,
            "prompted": spoken.prompt is not None,
        }
    told = {
        "prompt_text": sound.prompt_text,
        "utterance": utterance,
        "slot": _flat(sound.slot) if sound.slot is not None else None,
        "sibilant": _sibilant(sound.edges) if sound.edges is not None else None,
        **_read(sound),
    }
    return dump(packed_sound(told))


def _read(sound: Sound) -> dict[str, Any]:
    """Return where a slot lies and what read it; nothing where earlier programs kept none."""
    place = sound.place
    kept = {"interval": _flat(place), "probability": sound.slot_probability} if place is not None else None
    return {name: found for name, found in (("slot_place", kept), ("reader", sound.reader)) if found}


def _sibilant(edges: SibilantInterval) -> dict[str, Any]:
    return {
        "automatic": _flat(edges.automatic),
        "core": _flat(edges.core),
        "onset": _flat(edges.onset),
        "offset": _flat(edges.offset),
        "confidence": edges.confidence,
        "flags": list(edges.flags),
        "has_slot": edges.slot is not None,
    }


def measured_text(measured: Measurement) -> str:
    """Return what one method measured in a sound, with its flags and what the sound bears.

    A figure keeps two digits more than it is printed with, and is printed the same.
    """
    told = {
        "measures": _measures(measured.measures) if measured.measures != NOT_MEASURED else None,
        "snr_db": kept_number(measured.snr_db, SNR_DECIMALS) if measured.snr_db is not None else None,
        "bandwidth_hz": measured.bandwidth_hz,
        "flags": list(measured.flags),
    }
    return dump(packed_measurement(told))


def kept_number(value: float, decimals: int) -> float:
    """Return a figure as it is kept: two digits beyond its decimals, the nearest of those that are printed the same.

    Examples
    --------
    >>> kept_number(6000.123456, 0), kept_number(8413.4999, 0), round(8413.4999), round(8413.5)
    (6000.12, 8413.49, 8413, 8414)
    """
    if not math.isfinite(value):
        return value
    kept = round(value, decimals + GUARD)
    if round(kept, decimals) != round(value, decimals):  # rounding twice would move the printed digit
        kept = round(kept + math.copysign(10.0 ** -(decimals + GUARD), value - kept), decimals + GUARD)
    return kept


def _figure(key: str, value: float) -> float:
    return kept_number(float(value), MEASURES[key].decimals) if key in MEASURES else float(value)


def _measures(one: Measures) -> dict[str, Any]:
    region = one.region
    ends = {} if region is None else {name: kept_number(end, TIME_DECIMALS) for name, end in _flat(region).items()}
    return {
        **{name: _finite(getattr(one, name)) for name in ("values", "low", "high", "boundary")},
        "flags": list(one.flags),
        "region": ends or None,
        "n_frames": one.n_frames,
        "band_hz": list(one.band_hz) if one.band_hz is not None else None,
        "sampling_rate_hz": one.sampling_rate_hz,
        **_uncut(one),
    }


def _uncut(one: Measures) -> dict[str, Any]:
    """Return what stays in a session's figure though the sound does not stand clear of the noise."""
    uncut = {
        key: [_figure(key, value) for value in three]
        for key, three in one.uncut.items()
        if all(map(math.isfinite, three))
    }
    sums = {key: float(f"{value:.8g}") for key, value in one.sums.items() if math.isfinite(value)}
    kept = {"uncut": uncut, "sums": sums}
    return {name: found for name, found in kept.items() if found}


def _finite(values: Mapping[str, float]) -> dict[str, float]:
    return {key: _figure(key, value) for key, value in values.items() if math.isfinite(value)}


Measured = tuple[Measures, float | None, float | None, tuple[str, ...]]
"""What is kept of a measurement beside its sound and method: measures, SNR in dB, bandwidth in Hz, flags."""


FIRST_TONALITY = {"tonality_db": "tonality_1_db"}
"""How the tonality of version 1 is called where an earlier program kept it under version 2; its width had the name that
is version 1's alone now."""


def read_measured(text: str, method: str = "") -> Measured:
    """Return what one method measured from JSON text, ready to follow sound and method in a ``Measurement``.

    ``method`` is the label that it is kept under: no name holds two measures.
    """
    found = told_measurement(load(text))
    if found["measures"] is not None and not re.search(r"^house-.*/1\b", method):
        values = found["measures"]["values"]
        if "tonality_width_hz" in values and "whistle_width_hz" not in values:
            found["measures"]["values"] = {FIRST_TONALITY.get(key, key): value for key, value in values.items()}
    return _measures_from(found["measures"]), found["snr_db"], found["bandwidth_hz"], tuple(found["flags"])


def sound_from(row: Mapping[str, Any], prompt: Prompt | None) -> Sound:
    """Return a sound from its row and its prompt."""
    observed = told_sound(load(row["observed"]))
    slot = SibilantSlot(**observed["slot"]) if observed["slot"] is not None else None
    read = observed.get("slot_place")
    return Sound(
        id=row["key"],
        finding=row["finding"],
        utterance=_utterance(row, observed["utterance"], prompt),
        slot=slot,
        edges=_edges_from(observed["sibilant"], slot),
        place=Interval(**read["interval"]) if read is not None else None,
        slot_probability=read["probability"] if read is not None else None,
        prompt_text=observed["prompt_text"],
        prompt_index=row["prompt_index"],
        reader=observed.get("reader", ""),
    )


def _utterance(row: Mapping[str, Any], kept: Mapping[str, Any] | None, prompt: Prompt | None) -> Utterance | None:
    if kept is None:
        return None
    return Utterance(
        prompt=prompt if kept["prompted"] else None,
        prompt_index=row["prompt_index"],
        attempt=kept["attempt"],
        interval=Interval(kept["onset_s"], kept["offset_s"]),
        confidence=kept["confidence"],
        voice=kept["voice"],
        sure=kept["sure"],
        counts=kept["counts"],
    )


def _edges_from(kept: Mapping[str, Any] | None, slot: SibilantSlot | None) -> SibilantInterval | None:
    if kept is None:
        return None
    return SibilantInterval(
        slot=slot if kept["has_slot"] else None,
        automatic=Interval(**kept["automatic"]),
        core=Interval(**kept["core"]),
        onset=Edge(**kept["onset"]),
        offset=Edge(**kept["offset"]),
        confidence=kept["confidence"],
        flags=tuple(kept["flags"]),
    )


def _measures_from(kept: Mapping[str, Any] | None) -> Measures:
    if kept is None:
        return NOT_MEASURED
    return Measures(
        values=kept["values"],
        low=kept["low"],
        high=kept["high"],
        boundary=kept["boundary"],
        flags=tuple(kept["flags"]),
        region=Interval(**kept["region"]) if kept["region"] is not None else None,
        n_frames=kept["n_frames"],
        band_hz=(kept["band_hz"][0], kept["band_hz"][1]) if kept["band_hz"] is not None else None,
        sampling_rate_hz=kept["sampling_rate_hz"],
        uncut={key: (three[0], three[1], three[2]) for key, three in kept.get("uncut", {}).items()},
        sums=kept.get("sums", {}),
    )
