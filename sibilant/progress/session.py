"""One session summed up: means over words, spread, and every expected token accounted for."""

from __future__ import annotations

import math
from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence

import numpy as np

from ..terms import MEASURES, Measurement
from ..terms.change import MeasureSummary, WordValue
from ..terms.clinic import KeptToken
from .accuracy import counts, judgement_by
from .means import mean_interval, robust_sd, sd_interval

FLAG_REASONS = ("clipped", "noise", "low_snr", "short", "band_too_wide", "peak_at_edge", "stop_like", "weak")


def is_main_s(token: KeptToken) -> bool:
    """Say whether a token is an /s/ of the main figures: not /z/, not /str/, not an affricate."""
    slot = token.sound.slot
    return slot is not None and slot.phone == "S" and not slot.cluster.startswith("str")


def is_str(token: KeptToken) -> bool:
    """Say whether a token is the /s/ of /str/, near /ʃ/ in many accents and apart for that reason."""
    slot = token.sound.slot
    return slot is not None and slot.phone == "S" and slot.cluster.startswith("str")


def is_z(token: KeptToken) -> bool:
    """Say whether a token is a /z/."""
    slot = token.sound.slot
    return slot is not None and slot.phone == "Z"


def word_key(token: KeptToken) -> str:
    """Name the place in the list's material that a token stands for: the prompt's text and its slot."""
    slot = token.sound.slot
    index = slot.index if slot is not None else 0
    return f"{token.prompt.casefold()}#{index}"


def reason_left_out(token: KeptToken, key: str, method: str) -> str:
    """Return why a token has no value of a measure under a method; empty when it has one.

    Order: not heard or nothing bounded, another voice, a person's "not scorable", no measurement, its flags, voiced.
    """
    if token.sound.finding != "found":
        return token.sound.finding
    utterance = token.sound.utterance
    if utterance is not None and utterance.voice != "client":
        return "other_voice" if utterance.voice == "other" else "voice_unsure"
    if any(judgement.heard == "not_scorable" for judgement in token.judgements):
        return "not_scorable"
    measured = measured_under(token, method)
    if measured is None:
        return _first_flag(token.flags, "not_measured")
    value = measured.value(key)
    if value is None or not math.isfinite(value):
        return _first_flag((*measured.measures.flags, *measured.flags), "not_measured")
    if key in MEASURES and MEASURES[key].spectral and "voiced" in (*measured.measures.flags, *measured.flags):
        return "voiced"
    return ""


def _first_flag(flags: Sequence[str], otherwise: str) -> str:
    return next((flag for flag in FLAG_REASONS if flag in flags), flags[0] if flags else otherwise)


def measured_under(token: KeptToken, method: str) -> Measurement | None:
    """Return what a method made of a token: a label exactly, a bare name at its newest version.

    Examples
    --------
    A figure of another version is never returned for a label.

    >>> from sibilant.terms import Sound
    >>> measured_under(KeptToken(Sound("1.1.1", "found"), 1), "house-15k/2") is None
    True
    """
    if "/" in method:
        return token.measurements.get(method)
    versions = [label for label in token.measurements if label.split("/")[0] == method]
    return token.measurements[max(versions, key=lambda label: int(label.split("/")[1] or 0))] if versions else None


def values_under(token: KeptToken, method: str) -> Mapping[str, float]:
    """Return what was measured of a token under a method, by measure; empty where nothing was."""
    measured = measured_under(token, method)
    return measured.measures.values if measured is not None else {}


def expected(tokens: Iterable[KeptToken]) -> list[KeptToken]:
    """Return one token per expected place: the attempt that counts, or the first where none does."""
    by_place: dict[tuple[int, int], list[KeptToken]] = defaultdict(list)
    for token in tokens:
        slot = token.sound.slot
        if slot is not None:
            by_place[(token.prompt_index, slot.index)].append(token)
    chosen = []
    for place in sorted(by_place):
        attempts = sorted(by_place[place], key=lambda token: token.attempt)
        chosen.append(next((token for token in attempts if counts(token)), attempts[0]))
    return chosen


def summarise(tokens: Sequence[KeptToken], key: str, method: str, *, rater: str = "") -> MeasureSummary:
    """Return the mean of a measure over words with its t interval, and what was left out why.

    ``tokens`` are those of one session and one kind of sound; a word said more than once counts once, by its mean.
    """
    places = expected(tokens)
    left_out: Counter[str] = Counter()
    values: list[WordValue] = []
    label = method
    for token in places:
        reason = reason_left_out(token, key, method)
        if reason:
            left_out[reason] += 1
            continue
        measured = measured_under(token, method)
        assert measured is not None
        label = measured.method.label
        values.append(_word_value(token, measured.measures.values[key], rater))
    words = by_word(values)
    means = np.asarray(list(words.values()), dtype=float)
    estimate = mean_interval(means)
    sd = float(np.std(means, ddof=1)) if means.size > 1 else math.nan
    sd_low, sd_high = sd_interval(sd, means.size - 1)
    return MeasureSummary(
        key=key,
        method=label,
        mean=estimate.value,
        low=estimate.low,
        high=estimate.high,
        sd=sd,
        n_words=len(words),
        n_measured=len(values),
        n_expected=len(places),
        left_out=dict(left_out),
        words=tuple(values),
        spread=robust_sd(means),
        sd_low=sd_low,
        sd_high=sd_high,
    )


def by_word(values: Sequence[WordValue]) -> dict[str, float]:
    """Return one value a word: the mean of those said more than once."""
    groups: dict[str, list[float]] = defaultdict(list)
    for value in values:
        groups[value.word].append(value.value)
    return {word: math.fsum(group) / len(group) for word, group in groups.items()}


def _word_value(token: KeptToken, value: float, rater: str) -> WordValue:
    slot = token.sound.slot
    judgement = judgement_by(token, rater) if rater else None
    return WordValue(
        key=token.key,
        word=word_key(token),
        value=float(value),
        heard=judgement.heard if judgement is not None else None,
        treated=token.treated,
        position=slot.position if slot is not None else "",
        cluster=slot.cluster if slot is not None else "",
        clip=token.clip,
    )
