"""Tokens, prompts and methods as JSON text and back, nothing lost."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from dataclasses import asdict, fields
from functools import lru_cache
from operator import attrgetter
from typing import Any

from ..terms import (
    Edge,
    Interval,
    Measures,
    Method,
    Prompt,
    SibilantInterval,
    SibilantSlot,
    SlotPlace,
    Token,
    Utterance,
    Window,
    Word,
)
from ..terms.vocabulary import CUES, LEVELS


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


def observed_text(token: Token) -> str:
    """Return what does not hang on the method: the attempt, the slot, the sibilant with both its edges."""
    spoken, sound = token.utterance, token.sibilant
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
    return dump(
        {
            "prompt_text": token.prompt_text,
            "utterance": utterance,
            "slot": _flat(token.slot) if token.slot is not None else None,
            "sibilant": _sibilant(sound) if sound is not None else None,
            **({"slot_place": _place(token.place)} if token.place is not None else {}),
            **({"reader": token.reader} if token.reader else {}),
        }
    )


def _place(place: SlotPlace) -> dict[str, Any]:
    return {"interval": _flat(place.interval), "probability": place.probability}


def _place_from(kept: Mapping[str, Any] | None) -> SlotPlace | None:
    """Return the place of a slot; None where an earlier program kept none."""
    return SlotPlace(Interval(**kept["interval"]), kept["probability"]) if kept is not None else None


def _sibilant(sound: SibilantInterval) -> dict[str, Any]:
    return {
        "automatic": _flat(sound.automatic),
        "core": _flat(sound.core),
        "onset": _flat(sound.onset),
        "offset": _flat(sound.offset),
        "confidence": sound.confidence,
        "flags": list(sound.flags),
        "has_slot": sound.slot is not None,
    }


def measured_text(token: Token) -> str:
    """Return what one method measured in a token, with its flags and trust."""
    measures = None
    if token.measures is not None:
        one = token.measures
        measures = {
            **{name: _finite(getattr(one, name)) for name in ("values", "low", "high", "boundary")},
            "flags": list(one.flags),
            "region": _flat(one.region) if one.region is not None else None,
            "n_frames": one.n_frames,
            "band_hz": list(one.band_hz) if one.band_hz is not None else None,
            "sampling_rate_hz": one.sampling_rate_hz,
            **_uncut(one),
        }
    return dump(
        {
            "measures": measures,
            "snr_db": token.snr_db,
            "bandwidth_hz": token.bandwidth_hz,
            "flags": list(token.flags),
        }
    )


def _uncut(one: Measures) -> dict[str, Any]:
    """Return what stays in a session's figure though the sound does not stand clear of the noise."""
    uncut = {
        key: [float(value) for value in three] for key, three in one.uncut.items() if all(map(math.isfinite, three))
    }
    kept = {"uncut": uncut, "sums": _finite(one.sums)}
    return {name: found for name, found in kept.items() if found}


def _finite(values: Mapping[str, float]) -> dict[str, float]:
    return {key: float(value) for key, value in values.items() if math.isfinite(value)}


def read_measured(text: str) -> Measures | None:
    """Return the measures of one method's JSON text."""
    content = load(text)
    return _measures_from(content["measures"]) if content is not None else None


def token_from(
    row: Mapping[str, Any], observed: Mapping[str, Any], prompt: Prompt | None, measured: str, method: Method | None
) -> Token:
    """Return a token from its row, its observed part, its prompt, and one method's JSON text."""
    slot = SibilantSlot(**observed["slot"]) if observed["slot"] is not None else None
    found = load(measured) or {"measures": None, "snr_db": None, "bandwidth_hz": None, "flags": []}
    return Token(
        id=row["key"],
        utterance=_utterance(row, observed["utterance"], prompt),
        finding=row["finding"],
        slot=slot,
        sibilant=_sound_from(observed["sibilant"], slot),
        measures=_measures_from(found["measures"]),
        method=method,
        prompt_text=observed["prompt_text"],
        prompt_index=row["prompt_index"],
        snr_db=found["snr_db"],
        bandwidth_hz=found["bandwidth_hz"],
        flags=tuple(found["flags"]),
        place=_place_from(observed.get("slot_place")),
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


def _sound_from(kept: Mapping[str, Any] | None, slot: SibilantSlot | None) -> SibilantInterval | None:
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


def _measures_from(kept: Mapping[str, Any] | None) -> Measures | None:
    if kept is None:
        return None
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
