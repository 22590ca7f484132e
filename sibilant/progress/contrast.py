"""Over-use of /s/, spread over time, held sounds, and pairs to play to a family."""

from __future__ import annotations

import math
from collections.abc import Sequence

from ..terms.by_ear import Additions
from ..terms.change import BeforeAfter
from ..terms.kept import KeptToken
from ..terms.summaries import MeasureSummary, SessionSummary, SpreadPoint, SustainedHold
from .accuracy import counts
from .session import values_under


def additions(tokens: Sequence[KeptToken], session: int) -> Additions | None:
    """Return foil words said and those with frication or an addition heard, and extra sibilants in other prompts.

    Foils are prompts with no sibilant expected; frication in one is a question with a place to listen, not a finding.
    """
    own = [token for token in tokens if counts(token)]
    with_slot = {token.prompt_index for token in own if token.sound.slot is not None}
    foils = {
        token.prompt_index
        for token in own
        if token.prompt_index
        and token.prompt_index not in with_slot
        and token.sound.finding in {"none_expected", "extra"}
    }
    heard = {token.prompt_index for token in own if any(j.heard == "added" for j in token.judgements)}
    extra = [token for token in own if token.sound.finding == "extra"]
    in_foils = {token.prompt_index for token in extra} & foils
    if not foils and not extra and not heard:
        return None
    words = {token.prompt_index: token.prompt for token in own}
    named = tuple(words[index] for index in sorted(in_foils | heard))
    n_elsewhere = sum(token.prompt_index not in foils for token in extra)
    return Additions(session, len(foils), len(in_foils | (heard & foils)), n_elsewhere, len(heard), named)


def spread_point(month: float, session: int, summary: MeasureSummary) -> SpreadPoint:
    """Return the variability of one session: SD over words with its chi-square interval, and a robust SD."""
    return SpreadPoint(
        summary.key, session, month, summary.sd, summary.sd_low, summary.sd_high, summary.spread, summary.n_words
    )


def sustained_holds(tokens: Sequence[KeptToken], method: str) -> tuple[SustainedHold, ...]:
    """Return every held /s/ measured, one by one: never averaged with the lengths of /s/ in words."""
    found = []
    for token in tokens:
        values = values_under(token, method)
        if "take_duration_s" in values and counts(token):
            steadiness, drift = (values.get(key, math.nan) for key in ("steadiness_db", "drift_hz_per_s"))
            n_breaks = int(values.get("n_breaks", 0))
            found.append(
                SustainedHold(token.session, token.key, values["take_duration_s"], steadiness, drift, n_breaks)
            )
    return tuple(found)


def before_after(summaries: Sequence[SessionSummary], key: str, *, most: int = 3) -> tuple[BeforeAfter, ...]:
    """Return words kept both early and late on one line, those nearest their session's mean first: undated pairs."""
    joined = [one for one in summaries if one.joined and key in one.measures and not one.measures[key].apart]
    if len(joined) < 2:
        return ()
    early, late = joined[0], joined[-1]
    first = {value.word: value for value in early.measures[key].words if value.clip}
    second = {value.word: value for value in late.measures[key].words if value.clip}

    def distance(word: str) -> float:
        return abs(first[word].value - early.measures[key].mean) + abs(second[word].value - late.measures[key].mean)

    words = sorted(first.keys() & second.keys(), key=lambda word: (distance(word), word))[:most]
    return tuple(
        BeforeAfter(word.split("#")[0], early.number, first[word].clip, late.number, second[word].clip)
        for word in words
    )
