"""Plain sentences that reports are made of; each number in them also stands in one of the report's tables."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Literal

from ..charts import NO_CAUSE, SUPPORTING, wording
from ..charts.wording import day_text as day_text
from ..terms import Method
from ..terms.by_ear import Accuracy, WordsGained
from ..terms.case_view import CaseView
from ..terms.change import UNJUDGED, WITHIN, Change
from ..terms.summaries import MeasureSummary, SessionSummary

if TYPE_CHECKING:
    from ..charts import RangeBracket

NO_RANGE = "No published range fits this age and recording; values are compared with the client's own baseline."
PROVISIONAL = (
    "The verdict is provisional: the probes it is compared with lie less than three weeks apart, so that days may be"
    " alike."
)
_MOST_JOINS = 3  # told one by one; more are counted


@dataclass(frozen=True, slots=True)
class ReportSettings:
    """What the clinician chose for one report.

    ``bracket`` and ``range_sentence`` are given only where the clinician ticked that a published range be shown;
    ``no_range`` says otherwise why there is none. ``session`` is the session of a session note (the last when None).
    ``known_lists`` are names of word lists that may be printed; any other is "own list", since a file can be named
    after a person.
    """

    method: Method
    bracket: RangeBracket | None = None
    range_sentence: str = ""
    no_range: str = NO_RANGE
    session: int | None = None
    sampling_rates_hz: tuple[int, ...] = ()
    picture_forms: tuple[Literal["svg", "png"], ...] = ("svg", "png")
    known_lists: tuple[str, ...] = ()


FORBIDDEN: tuple[str, ...] = (
    r"\b(?:ab)?normal(?:ly|ity)?\b",
    r"\bcured?\b",
    r"\bprov(?:es|ed|en|ing)\b",
    r"\bproof\b",
    r"\bcaused by\b",
    r"\bbecause of\b",
    r"\bdue to\b",
    r"\bprognos\w+",
    r"\bdiagnos\w+",
    r"\bsignifican\w+",
    r"\blisp\w*",
    r"\bdisorder\w*",
    r"\bimpair\w*",
    r"\bdeficit\w*",
    r"\bdefect\w*",
    r"\bhearing loss\b",
    r"\b(?:dys|a)praxi\w+",
    r"\bdysarthri\w+",
    r"\bpatholog\w+",
    r"\b(?:other|typical|average) (?:children|clients|patients|child|client)\b",
    r"\bthan (?:his|her|their) peers\b",
    r"\bwill (?:improve|recover|resolve)\b",
    r"\bbetter\b",
    r"\bworse\b",
    r"\bimprov\w+",
)


def forbidden_in(text: str) -> tuple[str, ...]:
    """Words that generated text never uses, as found in a text; they never bind what a person writes.

    Examples
    --------
    >>> forbidden_in("This proves a cure."), forbidden_in("The change is larger than the measurement error.")
    (('proves', 'cure'), ())
    """
    found = [hit.group(0) for pattern in FORBIDDEN for hit in re.finditer(pattern, text, flags=re.IGNORECASE)]
    return tuple(sorted(found, key=text.find))


def age_text(months: int | None) -> str:
    """An age in years and months.

    Examples
    --------
    >>> age_text(88)
    '7 years 4 months'
    """
    if months is None:
        return "not known"
    years, rest = divmod(months, 12)
    return f"{years} year{'s' * (years != 1)} {rest} month{'s' * (rest != 1)}"


def conditions(summary: SessionSummary) -> str:
    """Level and cue of a session."""
    session = summary.session
    return ", ".join(part for part in (session.level, session.cue) if part)


def count_text(accuracy: Accuracy | None) -> str:
    """Such as ``13 of 20``."""
    return "not judged" if accuracy is None or not accuracy.n_scored else f"{accuracy.n_correct} of {accuracy.n_scored}"


def share_text(accuracy: Accuracy | None) -> str:
    """Percent correct by ear with its interval, such as ``65 % (43 to 82)``."""
    if accuracy is None or not accuracy.n_scored:
        return "–"
    return f"{wording.percent(accuracy.share)} ({100 * accuracy.low:.0f} to {100 * accuracy.high:.0f})"


def heard_sentences(view: CaseView) -> str:
    """What was heard in the last probe, with how far a rate from so few words can be off."""
    last = view.last
    if last is None:
        return "No probe has been recorded yet."
    accuracy = last.accuracy
    if accuracy is None or not accuracy.n_scored:
        return f"The probe of {day_text(last.on)} has not been judged by ear yet, so no percentage is given."
    low, high = wording.percent(accuracy.low), wording.percent(accuracy.high)
    return (
        f"In the probe of {day_text(last.on)}, {count_text(accuracy)} /s/ sounds were judged correct by ear "
        f"({wording.percent(accuracy.share)}). With {accuracy.n_scored} sounds, the true rate may lie between {low} "
        f"and {high}."
    )


def presence_sentence(view: CaseView) -> str:
    """Whether /s/ was there at all, first and last, where it is left out; empty where it is not."""
    days = {summary.number: summary.on for summary in view.summaries}
    heard = [one for one in view.presence if one.n_scored]
    if not heard:
        return ""
    ends = (heard[0], heard[-1]) if len(heard) > 1 else (heard[0],)
    by_ear = " and ".join(f"{one.n_heard} of {one.n_scored} on {day_text(days[one.session])}" for one in ends)
    by_sound = " and ".join(f"{one.n_found} of {one.n_said}" for one in ends if one.n_said)
    found = f"; frication was found in {by_sound}" if by_sound else ""
    return (
        f"/s/ is left out in part of the words, so first of all it is followed whether one is there: heard in {by_ear}"
        f"{found}."
    )


def gained_sentence(gained: WordsGained | None) -> str:
    """Words gained and lost between two probes, with the test that was made."""
    if gained is None:
        return ""
    return (
        f"Of {gained.n_same} words scored both on {day_text(gained.early_on)} and on {day_text(gained.late_on)}, "
        f"{gained.gained} were gained and {gained.lost} lost (exact McNemar test, {p_text(gained.p)})."
        f"{''.join(f' {wording.capital(one)}.' for one in gained.cautions)}"
    )


def p_text(p: float) -> str:
    """A p value with two or three decimals, never zero."""
    if p < 0.001:
        return "p < 0.001"
    return f"p = {p:.3f}" if p < 0.1 else f"p = {p:.2f}"


def signed(text: str) -> str:
    """A number with its sign before it."""
    return text if text.startswith((wording.MINUS, "–")) else f"+{text}"


def last_change(view: CaseView, key: str) -> Change | None:
    """The latest probe against the baseline."""
    changes = view.changes_of(key)
    return changes[-1] if changes else None


def measured_sentences(view: CaseView, key: str) -> str:
    """What the main measure did against measurement error, in the fixed words."""
    sentence = f"{wording.change_sentence(view, key)}."
    change = last_change(view, key)
    if change is None:
        return sentence
    if change.verdict == UNJUDGED:
        return f"{sentence} The reason: {wording.brief(change.reasons) or 'none is given'}."
    verdict = "is not larger than" if change.verdict == WITHIN else "is larger than"
    found = "at baseline" if view.reference == "baseline" else f"in the {wording.reference_words(view)}"
    early = f" {PROVISIONAL}" if change.provisional else ""
    return f"{sentence} The change {verdict} the measurement error found {found}.{early}"


def limit_of(view: CaseView, key: str) -> float:
    """Return the one limit shown: that of the last verdict, else the baseline's for the next probe."""
    change, error = last_change(view, key), view.error_of(key)
    if change is not None and finite(change.limit):
        return change.limit
    return error.limit if error is not None else math.nan


def limit_lines(view: CaseView, key: str) -> tuple[str, ...]:
    """What the last verdict's limit rests on, the plain rule beside it, and the verdict where days were alike."""
    change = last_change(view, key)
    if change is None or (change.verdict == UNJUDGED and not change.awaits):
        return ()
    measure, lines = wording.measure_of(key), []
    for one in view.own_comparisons:
        if (one.key, one.session) == (key, change.session) and not one.reasons:
            size = signed(wording.interval_text(measure, one.difference, one.low, one.high))
            lines.append(f"{wording.capital(one.against)}: {size}, {one.verdict}.")
    if (lent := change.lent) is not None:
        fitted = f", fitted {day_text(lent.fitted_on)}" if lent.fitted_on is not None else ""
        lines.append(
            f"The limit takes in the day-to-day spread of {lent.n_clients} more of the clinic's clients (SD"
            f" {wording.quantity(measure, lent.typical, lent.typical)}, spread of its logarithm"
            f" {lent.spread:.2f}{fitted}); by the client's own"
            f" {wording.reference_words(view)} alone: {change.plain_verdict}, limit"
            f" {wording.quantity(measure, change.plain_limit, change.plain_limit)}."
        )
    if change.provisional and change.related_verdict is not None:
        lines.append(
            f"Provisional: {change.provisional}. Were days alike over {change.related_days:.0f} days:"
            f" {change.related_verdict}, limit {wording.quantity(measure, change.related_limit, change.related_limit)}."
        )
    return tuple(lines)


def verdict_text(view: CaseView, key: str) -> str:
    """The verdict's fixed words, since when, and what limits it (the main measure's reasons stand above the table)."""
    change, main = last_change(view, key), last_change(view, view.main_measure)
    if change is None:
        return f"no probe after the {wording.reference_words(view)}"
    as_main = main is not None and set(change.reasons) == set(main.reasons)
    if change.verdict == UNJUDGED and as_main:
        return change.verdict
    day = wording.since_day(view, key)
    since = f" since {day}" if day and not change.awaits else f" on {day}" if day else ""
    reasons = f": {wording.brief(change.reasons)}" if change.reasons else ""
    waits = "; the next probe must agree" if change.awaits else ""
    return f"{change.verdict}{since}{reasons}{waits}"


def measure_cell(summary: MeasureSummary | None) -> str:
    """Mean over words with its interval."""
    if summary is None:
        return "–"
    return wording.interval_text(wording.measure_of(summary.key), summary.mean, summary.low, summary.high)


def shown_measure(summary: SessionSummary, key: str) -> MeasureSummary | None:
    """A session's summary of a measure, unless its figures are held back."""
    return summary.measures.get(key) if summary.shown else None


def missing_lines(view: CaseView, settings: ReportSettings, *, hearing: bool = True) -> tuple[str, ...]:
    """What is missing, said aloud: hearing, ranges, baselines, judgements, sounds left out, conditions that differ."""
    client, lines = view.client, []
    if hearing and not client.hearing:
        lines.append("Hearing status unknown: no screening or audiology result is recorded.")
    if settings.bracket is None and not settings.range_sentence:
        lines.append(settings.no_range)
    n_baseline = sum(summary.phase == "baseline" for summary in view.summaries)
    if view.reference == "reference under treatment":
        lines.append("No baseline: therapy was under way before the probes that later ones are compared with.")
    elif view.reference == "baseline" and n_baseline < 3:
        lines.append(
            f"Baseline probes: {n_baseline}. Three or more on different days are needed to judge measurement error."
        )
    lines += [f"{wording.capital(one)}." for one in view.questions]
    lines += _unjudged(view) + _left_out(view) + _joins(view)
    if view.agreement is None:
        lines.append("Agreement of two listeners: not checked in this period.")
    return tuple(lines)


def _unjudged(view: CaseView) -> list[str]:
    dates = [day_text(s.on) for s in view.summaries if s.accuracy is None or not s.accuracy.n_scored]
    held = [day_text(s.on) for s in view.summaries if not s.shown]
    lines = [f"Not judged by ear: the probe{'s' * (len(dates) > 1)} of {', '.join(dates)}."] if dates else []
    return lines + ([f"Figures held back until judged: {', '.join(held)}."] if held else [])


def _joins(view: CaseView) -> list[str]:
    """What is not joined: a few sentences, or how many there are and the first."""
    said = [wording.capital(wording.spelled(join).rstrip(".")) for join in view.joins]
    if len(said) <= _MOST_JOINS:
        return [f"{one}." for one in said]
    return [f"Not joined with the first baseline, or joined with care: {len(said)} probes; the first: {said[0]}."]


def _left_out(view: CaseView) -> list[str]:
    last = view.last
    summary = shown_measure(last, view.main_measure) if last else None
    if last is None or summary is None or summary.n_measured == summary.n_expected:
        return []
    return [f"Last probe: {wording.spelled(summary.counted)}."]


def with_session(view: CaseView, number: int | None) -> CaseView:
    """Return the view as it stood at a session: later sessions and their changes left away.

    Raises
    ------
    ValueError
        When the client has no such session.
    """
    if number is None:
        return view
    if all(summary.number != number for summary in view.summaries):
        raise ValueError(f"{view.client.code} has no session {number}; it has {[s.number for s in view.summaries]}")
    kept = {summary.number for summary in view.summaries if summary.number <= number}
    day = max(s.on for s in view.summaries if s.number in kept)
    return replace(
        view,
        summaries=tuple(s for s in view.summaries if s.number in kept),
        changes=tuple(c for c in view.changes if c.session in kept),
        gained=view.gained if view.gained and view.gained.late_session in kept else None,
        additions=tuple(a for a in view.additions if a.session in kept),
        contrasts=tuple(c for c in view.contrasts if c.session in kept),
        own_comparisons=tuple(c for c in view.own_comparisons if c.session in kept),
        spreads=tuple(s for s in view.spreads if s.session in kept),
        presence=tuple(p for p in view.presence if p.session in kept),
        sustained=tuple(s for s in view.sustained if s.session in kept),
        events=tuple(e for e in view.events if e.on <= day),
        heard=tuple(h for h in view.heard if h.session in kept),
        words_heard=tuple(w for w in view.words_heard if w.session in kept),
        consistency=tuple(c for c in view.consistency if c.session in kept),
        goals=tuple(g for g in view.goals if g.made_on <= day),
        visits=tuple(v for v in view.visits if v.on <= day),
        runs=tuple(r for r in view.runs if r.on <= day),
    )


def closing_lines() -> tuple[str, ...]:
    """The notes that every report ends with."""
    return (SUPPORTING, NO_CAUSE)


def finite(value: float) -> bool:
    """Whether there is a number."""
    return math.isfinite(value)
