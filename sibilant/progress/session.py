"""One session summed up: means over words, spread, and every expected token accounted for."""

from __future__ import annotations

import math
from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence

import numpy as np

from ..terms import MEASURES, Measurement
from ..terms.kept import KeptToken
from ..terms.summaries import MeasureSummary, WordValue
from .accuracy import counts, judgement_by
from .means import Estimate, mean_interval, robust_sd, sd_interval
from .pooled import LEVELS, Sums, pooled_level

FLAG_REASONS = (
    "clipped", "noise", "low_snr", "short", "band_too_wide", "moments_not_supported", "peak_at_edge", "stop_like",
    "weak", "levels_not_supported", "durations_not_supported", "buried",
)  # fmt: skip

UNCORRECTED, TAKEN_OUT = "uncorrected", "taken out"


def is_main_s(token: KeptToken) -> bool:
    """Say whether a token is an /s/ of the main figures: not /z/, not /str/, not an affricate."""
    return token.sound.phone == "S" and not token.sound.cluster.startswith("str")


def is_str(token: KeptToken) -> bool:
    """Say whether a token is the /s/ of /str/, near /ʃ/ in many accents and apart for that reason."""
    return token.sound.phone == "S" and token.sound.cluster.startswith("str")


def is_z(token: KeptToken) -> bool:
    """Say whether a token is a /z/."""
    return token.sound.phone == "Z"


def word_key(token: KeptToken) -> str:
    """Name the place in the list's material that a token stands for: the prompt's text and its slot."""
    slot = token.sound.slot
    index = slot.index if slot is not None else 0
    return f"{token.prompt.casefold()}#{index}"


def reason_left_out(token: KeptToken, key: str, method: str) -> str:
    """Return why a token has no value of a measure under a method; empty when it has one.

    Order: not heard or nothing bounded, another voice, a person's "not scorable", no measurement, its flags, voiced.
    """
    if why := _not_taken(token):
        return why
    measured = measured_under(token, method)
    if measured is None:
        return _first_flag(token.flags, "not_measured")
    if not math.isfinite(value_of(measured, key)):
        return _first_flag((*measured.measures.flags, *measured.flags), "not_measured")
    if key in MEASURES and MEASURES[key].spectral and "voiced" in (*measured.measures.flags, *measured.flags):
        return "voiced"
    return ""


def _not_taken(token: KeptToken) -> str:
    """Why a sound enters no figure, whatever is measured of it."""
    if token.sound.finding != "found":
        return token.sound.finding
    utterance = token.sound.utterance
    if utterance is not None and utterance.voice != "client":
        return "other_voice" if utterance.voice == "other" else "voice_unsure"
    return "not_scorable" if any(judgement.heard == "not_scorable" for judgement in token.judgements) else ""


def value_of(measured: Measurement, key: str) -> float:
    """Return a sound's value of a measure, NaN without one.

    An SD that doesn't stand clear of the noise is its uncut one where the sound's power stands clear: a threshold of
    its own would keep the wide ones.
    """
    value = measured.value(key)
    if value is None and key == "sd_hz" and "centroid_hz" in measured.measures.values:
        value = measured.measures.uncut.get(key, (math.nan,))[0]
    return math.nan if value is None else float(value)


def _powers(measured: Measurement, key: str) -> tuple[float, float] | None:
    """Return both powers that a level rests on, None where it is none or they are not known."""
    over, under = LEVELS.get(key, ("", ""))
    sums = measured.measures.sums
    return (sums[over], sums[under]) if over in sums and under in sums else None


def _error_of(measured: Measurement, key: str) -> float:
    """One standard error of the estimator for this one sound, NaN where the measure has no interval."""
    one = measured.measures
    _, low, high = one.uncut.get(key, (math.nan, one.low.get(key, math.nan), one.high.get(key, math.nan)))
    return (high - low) / (2 * 1.959964)


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
    found: list[tuple[KeptToken, Measurement]] = []
    for token in places:
        reason = reason_left_out(token, key, method)
        measured = measured_under(token, method)
        pooled = measured is not None and _powers(measured, key) is not None and not _not_taken(token)
        if measured is not None and (pooled or not reason):
            found.append((token, measured))
        else:
            left_out[reason] += 1
    found, uncorrected = _of_one_kind(key, found, left_out)
    label = found[-1][1].method.label if found else method
    clear = [(token, measured) for token, measured in found if math.isfinite(value_of(measured, key))]
    values = [_word_value(token, key, measured, rater) for token, measured in clear]
    means = np.asarray(list(by_word(values).values()), dtype=float)
    sd = float(np.std(means, ddof=1)) if means.size > 1 else math.nan
    sums = _sums(found, key)
    estimate = mean_interval(means) if len(clear) == len(found) else _pooled(sums, sd)
    sd_low, sd_high = sd_interval(sd, means.size - 1)
    return MeasureSummary(
        key=key,
        method=label,
        mean=estimate.value,
        low=estimate.low,
        high=estimate.high,
        sd=sd,
        n_words=max(means.size, len(sums)),
        n_measured=len(found),
        n_expected=len(places),
        left_out=dict(left_out),
        words=tuple(values),
        spread=robust_sd(means),
        sd_low=sd_low,
        sd_high=sd_high,
        snr_db=_snr_db(found),
        uncorrected=uncorrected,
        sums=sums,
        left_in=2 * sum(_left_in(key, measured) for _, measured in found) > len(found),
    )


def _left_in(key: str, measured: Measurement) -> bool:
    """Whether noise is in the figure: of a length, where the floor moves so that its level can't be known."""
    spectral = key not in MEASURES or MEASURES[key].spectral
    return (spectral and measured.method.noise != TAKEN_OUT) or UNCORRECTED in (
        *measured.measures.flags,
        *measured.flags,
    )


def _snr_db(found: Sequence[tuple[KeptToken, Measurement]]) -> float:
    """Mean over the sounds that have one."""
    ratios = [measured.snr_db for _, measured in found if measured.snr_db is not None]
    return math.fsum(ratios) / len(ratios) if ratios else math.nan


def _sums(found: Sequence[tuple[KeptToken, Measurement]], key: str) -> dict[str, tuple[float, float]]:
    """Both powers of a level by word, added where a word was said more than once."""
    added: dict[str, tuple[float, float]] = {}
    for token, measured in found:
        pair = _powers(measured, key)
        if pair is not None:
            before = added.get(word_key(token), (0.0, 0.0))
            added[word_key(token)] = (before[0] + pair[0], before[1] + pair[1])
    return added


def _pooled(sums: Sums, spread_db: float) -> Estimate:
    """A session's level where some sounds are buried: their powers together, with two standard errors about it."""
    level = pooled_level(sums, spread_db=spread_db if math.isfinite(spread_db) else 0.0)
    return Estimate(level.value, level.value - 2 * level.error, level.value + 2 * level.error)


def _of_one_kind(
    key: str, found: list[tuple[KeptToken, Measurement]], left_out: Counter[str]
) -> tuple[list[tuple[KeptToken, Measurement]], bool]:
    """Sounds with the noise taken out, or those without, whichever are more; the two are never averaged."""
    if key in MEASURES and not MEASURES[key].spectral:
        return found, False
    without = [pair for pair in found if UNCORRECTED in (*pair[1].measures.flags, *pair[1].flags)]
    if not without:
        return found, False
    if 2 * len(without) > len(found):
        if len(found) > len(without):
            left_out["corrected"] += len(found) - len(without)
        return without, True
    left_out[UNCORRECTED] += len(without)
    return [pair for pair in found if pair not in without], False


def by_word(values: Sequence[WordValue]) -> dict[str, float]:
    """Return one value a word: the mean of those said more than once."""
    groups: dict[str, list[float]] = defaultdict(list)
    for value in values:
        groups[value.word].append(value.value)
    return {word: math.fsum(group) / len(group) for word, group in groups.items()}


def _word_value(token: KeptToken, key: str, measured: Measurement, rater: str) -> WordValue:
    judgement = judgement_by(token, rater) if rater else None
    return WordValue(
        key=token.key,
        word=word_key(token),
        value=value_of(measured, key),
        heard=judgement.heard if judgement is not None else None,
        treated=token.treated,
        position=token.sound.position,
        cluster=token.sound.cluster,
        clip=token.clip,
        error=_error_of(measured, key),
    )
