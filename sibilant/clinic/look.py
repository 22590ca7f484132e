"""One kept token to listen to and look at: its word's samples, its edges, its picture; and what to look at first."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from .. import audio, lexicon, store
from ..errors import CaseloadError, RefusedError
from ..progress import followed, judgement_by, main_rater
from ..progress.session import measured_under, values_under
from ..terms import MEASURES, Interval, Recording, SibilantInterval, Sound
from ..terms.clinic import Case
from ..terms.kept import KeptToken
from .answers import Tokens
from .caseload import CaseloadHandle, client_or_last, opened, session_or_last, used
from .sessions import unlike_tokens

TOP_HZ = 15_000.0  # shown up to here
SHOWN_RANGE_DB = 50.0  # below the loudest
N_TIMES = 600  # columns of the picture
SPECTRUM_STEP_HZ = 100.0  # points of the spectrum
UNLIKE_FROM = 3.5  # robust distance from which a sound is called unlike (common practice, no source)


@dataclass(frozen=True, slots=True)
class KeptSound:
    """A kept word and where its sibilant lies, or is expected: ``first`` and ``last`` sample, both -1 in a foil."""

    recording: Recording
    start_s: float
    first: int = -1
    last: int = -1


@dataclass(frozen=True, slots=True)
class Strip:
    """Levels of a kept word over time and frequency for a picture: 0 is paper, 255 full ink; shape (times, steps).

    One step and ``top_hz`` 0: loudness alone.
    """

    ink: npt.NDArray[np.uint8]
    from_s: float
    to_s: float
    top_hz: float


def sound(caseload: CaseloadHandle, code: str | None, number: int | None, key: str) -> KeptSound:
    """Return a token's kept word with its sibilant marked to the sample.

    Raises
    ------
    RefusedError
        When its sound was not kept.
    """
    with opened(caseload) as one:
        _, _, kept = _found(one, code, number, key)
        return _sound(one, kept)


def _sound(one: store.Caseload, kept: KeptToken) -> KeptSound:
    if not kept.clip:
        raise RefusedError(f"{kept.prompt}: its sound was not kept; judge or review it from the recording")
    suffix, start_s = store.clip_of(one, kept.clip)
    recording = audio.recording_from_bytes(store.clip_bytes(one, kept.clip, suffix), "kept word")
    edges = _hiss_or_place(kept.sound)
    if edges is None:
        return KeptSound(recording, start_s)
    rate, size = recording.sampling_rate_hz, recording.samples.size
    first, last = (min(max(0, round((edge - start_s) * rate)), size) for edge in edges)
    return KeptSound(recording, start_s, first, last)


def _hiss_or_place(one: Sound) -> tuple[float, float] | None:
    """Edges of the bounded sibilant, or the half of the word where one is expected; None for a foil.

    So no key tells the ear that none was found.
    """
    if one.edges is not None:
        return one.edges.interval.onset_s, one.edges.interval.offset_s
    if one.slot is None or one.utterance is None:
        return None
    word = one.utterance.interval
    begins = {"initial": 0.0, "medial": 0.25, "final": 0.5}[one.slot.position]
    onset_s = word.onset_s + begins * word.duration_s
    return onset_s, onset_s + 0.5 * word.duration_s


def strip(caseload: CaseloadHandle, code: str | None, number: int | None, key: str) -> Strip:
    """Return the picture of a token's kept word, up to 15 kHz, full ink at its sibilant's loudest part.

    Until the session's set is judged it is the loudness over time alone, one step high: enough to set edges by, and
    nothing that tells one hiss from another.
    """
    with opened(caseload) as one:
        case, session, kept = _found(one, code, number, key)
        held = _sound(one, kept)
    return _picture(held) if case.opens_session(session) else _loudness(held)


def _loudness(held: KeptSound) -> Strip:
    """The level of all frequencies together, in ink from 50 dB under the loudest."""
    from ..acoustics import spectrogram

    recording = held.recording
    times_s, _, level_db = spectrogram(recording, n_times=N_TIMES)
    loudness_db = 10.0 * np.log10(np.maximum(np.mean(10.0 ** (level_db / 10.0), axis=1, keepdims=True), 1e-20))
    ink = np.clip((loudness_db - float(loudness_db.max())) / SHOWN_RANGE_DB + 1.0, 0.0, 1.0)
    return Strip(np.round(255 * ink).astype(np.uint8), *_span(held, times_s), 0.0)


def _picture(held: KeptSound) -> Strip:
    from ..acoustics import spectrogram

    recording = held.recording
    top_hz = min(TOP_HZ, recording.sampling_rate_hz / 2)
    times_s, _, level_db = spectrogram(recording, band_hz=(0.0, top_hz), n_times=N_TIMES)
    rate = recording.sampling_rate_hz
    inside = (times_s >= held.first / rate) & (times_s <= held.last / rate)
    loudest = float(np.percentile(level_db[inside] if inside.any() else level_db, 99.5))
    ink = np.clip((level_db - loudest) / SHOWN_RANGE_DB + 1.0, 0.0, 1.0)
    return Strip(np.round(255 * ink).astype(np.uint8), *_span(held, times_s), top_hz)


def _span(held: KeptSound, times_s: npt.NDArray[np.float64]) -> tuple[float, float]:
    """Where a picture begins and ends in the recording, half a column beyond its first and last."""
    half = 0.5 * float(times_s[1] - times_s[0]) if times_s.size > 1 else 0.004
    return held.start_s + float(times_s[0]) - half, held.start_s + float(times_s[-1]) + half


def token(caseload: CaseloadHandle, code: str | None, number: int | None, key: str) -> dict[str, Any]:
    """Return a token's edges, voice and attempts; its figures only where the ear has judged it (or that is off)."""
    with opened(caseload) as one:
        case, session, kept = _found(one, code, number, key)
        start_s = store.clip_of(one, kept.clip)[1] if kept.clip else 0.0
        average = _average(case, kept, _sound(one, kept)) if kept.clip else None
    spoken = kept.sound.utterance
    judged = judgement_by(kept, main_rater(case.tokens_of(session)))
    return {
        **_place(kept),
        "session": session,
        "letters": _letters(kept.sound),
        "finding": kept.sound.finding,
        "sure": spoken.sure if spoken is not None else False,
        "voice": kept.sound.voice,
        "counts": kept.sound.counts,
        "attempts": _attempts(case, session, kept),
        "has_sound": bool(kept.clip),
        "from_s": start_s,
        "word_s": [spoken.interval.onset_s, spoken.interval.offset_s] if spoken is not None else None,
        "edges": _edges(kept.sound.edges),
        "opened": case.opens_session(session),
        "heard": judged.heard if judged is not None else "",
        "figures": _figures(case, kept),
        "average": average,
        "checked": kept.reviewed,
    }


def _place(kept: KeptToken) -> dict[str, Any]:
    slot = kept.sound.slot
    return {
        "key": kept.key,
        "prompt": kept.prompt,
        "prompt_index": kept.prompt_index,
        "attempt": kept.attempt,
        "slot": slot.index if slot is not None else 1,
        "phone": kept.sound.phone,
        "position": kept.sound.position,
        "cluster": kept.sound.cluster,
    }


def _letters(one: Sound) -> list[int]:
    """Start and stop of the sibilant's letters in the word as written; empty where unknown."""
    if one.slot is None or one.utterance is None or one.utterance.prompt is None:
        return []
    start, stop = lexicon.sibilant_letters(one.utterance.prompt)[one.slot.index - 1]
    return [start, stop] if stop > start else []


def _attempts(case: Case, session: int, kept: KeptToken) -> list[dict[str, Any]]:
    found: dict[int, dict[str, Any]] = {}
    for other in case.tokens_of(session):
        spoken = other.sound.utterance
        if other.prompt_index == kept.prompt_index and spoken is not None:
            found.setdefault(
                other.attempt,
                {"attempt": other.attempt, "key": other.key, "counts": spoken.counts, "voice": spoken.voice},
            )
    return [found[number] for number in sorted(found)]


def _edges(sibilant: SibilantInterval | None) -> dict[str, Any] | None:
    if sibilant is None:
        return None
    review = sibilant.review
    return {
        "automatic": [sibilant.automatic.onset_s, sibilant.automatic.offset_s],
        "now": [sibilant.interval.onset_s, sibilant.interval.offset_s],
        "uncertain_ms": [sibilant.onset.uncertainty_ms, sibilant.offset.uncertainty_ms],
        "beside": [sibilant.onset.beside, sibilant.offset.beside],
        "reviewed_by": review.by if review is not None else "",
    }


def _average(case: Case, kept: KeptToken, held: KeptSound) -> dict[str, Any] | None:
    """The sibilant's average spectrum under the followed method, with mean and peak; nothing before the ear."""
    found = measured_under(kept, followed(case).of(kept.session))
    if not case.opens(kept) or found is None:
        return None
    if held.last <= held.first:
        return None
    rate = held.recording.sampling_rate_hz
    if "centroid_hz" not in found.measures.values:
        return None
    from .. import acoustics

    spectrum = acoustics.spectrum(held.recording, Interval(held.first / rate, held.last / rate), found.method)
    low, high = found.method.band_hz
    frequency_hz = np.arange(low, high + 1.0, SPECTRUM_STEP_HZ)
    power = np.interp(frequency_hz, spectrum.frequency_hz, spectrum.power_density)
    level_db = 10.0 * np.log10(np.maximum(power / max(float(power.max()), 1e-20), 1e-8))
    values = found.measures.values
    return {
        "hz": [round(float(each)) for each in frequency_hz],
        "db": [round(float(each), 1) for each in level_db],
        "mean_hz": values["centroid_hz"],
        "peak_hz": values.get("peak_hz"),
        "method": found.method.label,
    }


def _figures(case: Case, kept: KeptToken) -> list[dict[str, Any]]:
    """The followed method's main measure and length; nothing before the ear has judged."""
    if not case.opens(kept):
        return []
    rows = []
    for key in dict.fromkeys((case.client.main_measure, "duration_ms")):
        value = _value(case, kept, key)
        if value is not None:
            measure = MEASURES[key]
            rows.append({"name": measure.plain_name, "value": f"{value:.{measure.decimals}f} {measure.unit}"})
    return rows


def _value(case: Case, kept: KeptToken, key: str) -> float | None:
    value = values_under(kept, followed(case).of(kept.session)).get(key)
    return value if value is not None and np.isfinite(value) else None


def to_look_at(caseload: CaseloadHandle, code: str | None, number: int | None) -> Tokens:
    """Return a session's tokens, those first that a person should look at, each with its reasons.

    That a sound is unlike the rest (3.5 robust standard deviations or more; own choice) is told only where the ear has
    judged.
    """
    with opened(caseload) as one:
        name = client_or_last(one, code)
        session = session_or_last(one, name, number)
        case = store.read_case(one, name)
        used(one, name, session)
    unlike = {
        kept.key: f"unlike the rest in {far.reason}"
        for kept, far in unlike_tokens(case, session)
        if round(far.distance, 1) >= UNLIKE_FROM
    }
    rows = [
        {**place, "reasons": [*_questions(kept), *([reason] if reason else [])], "checked": kept.reviewed}
        for kept in case.tokens_of(session)
        for place in [_place(kept)]
        for reason in [unlike.get(kept.key, "")]
    ]
    rows.sort(key=lambda row: (row["checked"], not row["reasons"], row["prompt_index"], row["key"]))
    return {"client": name, "session": session, "tokens": rows}


def _questions(kept: KeptToken) -> list[str]:
    one = kept.sound
    spoken = one.utterance
    asked = {
        "unsure": "not sure that this is the word",
        "no_frication": "no frication found where a sibilant is expected",
        "extra": "frication where none is expected",
        "prompt_missing": "not heard",
    }
    found = [asked[one.finding]] if one.finding in asked else []
    if spoken is not None and spoken.voice == "unsure" and spoken.counts:
        found.append("whose voice is not confirmed")
    return found


def _found(one: store.Caseload, code: str | None, number: int | None, key: str) -> tuple[Case, int, KeptToken]:
    name = client_or_last(one, code)
    session = session_or_last(one, name, number)
    case = store.read_case(one, name)
    kept = next((token for token in case.tokens_of(session) if token.key == key), None)
    if kept is None:
        raise CaseloadError(f"{name} session {session}: no token {key[:20]}; load the page again")
    return case, session, kept
