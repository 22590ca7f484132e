"""A client's view in; the lines that say how all that is told of the client was worked out, in groups."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from ..terms import MEASURES
from ..terms.by_ear import EarAndFigure, MoveUp, WordsGained
from ..terms.case_view import CaseView
from ..terms.change import LARGER, UNJUDGED, Change, MeasurementError
from ..terms.groups import ContextCell, Contrast

TOLD_FROM = 0.1
"""Share of the limit from which on what unlike noise may still do is told."""
SUPPORT = "Acoustic figures support, and do not replace, clinical judgement."


def _p(value: float) -> str:
    """Say a p value; never zero."""
    return "p < 0.001" if value < 0.001 else f"p {value:.3f}"


def number(key: str, value: float) -> str:
    """Return a value with the decimals of its measure."""
    return f"{value:.{MEASURES[key].decimals if key in MEASURES else 1}f}"


def with_interval(key: str, value: float, low: float, high: float) -> str:
    """Return a value with its unit, and its interval where it has one."""
    interval = f" ({number(key, low)} to {number(key, high)})" if math.isfinite(low) else ""
    return f"{number(key, value)} {MEASURES[key].unit}{interval}".replace("  ", " ")


Step = tuple[int, str]
"""A line, after how many steps it stands in beneath the one that it belongs to."""


@dataclass(frozen=True, slots=True)
class Group:
    """What is told together: a head (empty for none), what it is of, and its lines with the steps they stand in."""

    head: str
    of: Literal["main measure", "exploratory measure", "ear", "more", "notes"]
    steps: tuple[Step, ...]

    @property
    def lines(self) -> tuple[str, ...]:
        """The same as text, two spaces before each step in."""
        return tuple("  " * step + line for step, line in self.steps)


def lines(view: CaseView) -> list[str]:
    """Return what stands below the table of sessions: errors, changes in the fixed words, trend, what is not joined."""
    found: list[str] = []
    for group in groups(view):
        found += [*([] if group.of == "notes" else [""]), *([group.head] if group.head else []), *group.lines]
    return [*found, *_last_lines(view)]


def _short_lines(view: CaseView, key: str) -> list[str]:
    changes, error = view.changes_of(key), view.error_of(key)
    if key == view.main_measure:
        return [_change_line(change) for change in changes] or list(error.reasons if error is not None else ())
    return [_change_line(change) for change in changes[-1:] if change.verdict != UNJUDGED or change.awaits]


def _last_lines(view: CaseView) -> list[str]:
    return [*(["Invented data – not a person"] if view.client.invented else []), SUPPORT]


def in_short(view: CaseView) -> list[str]:
    """Return what a first look needs: each session's verdict on the main measure, the last on the others, the notes."""
    found: list[str] = []
    for key in view.measures:
        lines = _short_lines(view, key)
        found += [_measure_head(view, key), *("  " + line for line in lines)] if lines else []
    found += [line for group in groups(view) if group.of == "notes" for line in group.lines]
    return [*found, *_last_lines(view)]


def groups(view: CaseView) -> tuple[Group, ...]:
    """Return the same in its groups: how everything that is told of a client was worked out."""
    found = [Group(_measure_head(view, key), _role(view, key), tuple(_of_measure(view, key))) for key in view.measures]
    notes = (
        *(f"advice: {sentence}" for sentence in view.advice),
        *(f"question: {sentence}" for sentence in (*view.questions, *view.asked_of_devices)),
        *(f"note: {sentence}" for sentence in view.joins),
    )
    found += [
        Group("", "ear", tuple(_ear_lines(view))),
        Group("", "more", tuple((0, line) for line in _other_lines(view))),
        Group("", "notes", tuple((0, line) for line in notes)),
    ]
    return tuple(group for group in found if group.head or group.steps)


def _role(view: CaseView, key: str) -> Literal["main measure", "exploratory measure"]:
    return "main measure" if key == view.main_measure else "exploratory measure"


def _of_measure(view: CaseView, key: str) -> Iterator[Step]:
    yield from ((1, line) for line in _error_lines(view, key))
    for change in view.changes_of(key):
        yield 1, _change_line(change)
        yield from ((2, line) for line in _beside_lines(change))
        if change.verdict != UNJUDGED or change.awaits:
            own = [one for one in view.own_comparisons if (one.key, one.session) == (key, change.session)]
            yield from ((2, _own_line(one)) for one in own)
    yield from ((1, line) for line in (*_trend_lines(view, key), *_spread_lines(view, key)))


def _measure_head(view: CaseView, key: str) -> str:
    measure = MEASURES[key]
    role = "main measure" if key == view.main_measure else "exploratory"
    expected = (
        f", expected {view.client.direction}" if key == view.main_measure and view.client.direction != "none" else ""
    )
    methods = sorted({one.measures[key].method for one in view.summaries if key in one.measures})
    return f"{measure.plain_name} ({measure.name}), {role}{expected}; {', '.join(methods) or 'not measured'}"


def _error_lines(view: CaseView, key: str) -> list[str]:
    error = view.error_of(key)
    if error is None:
        return []
    rows = list(error.reasons)
    if error.k >= 2:
        unit = MEASURES[key].unit
        sem = f"{number(key, error.sem)} ({number(key, error.sem_low)} to {number(key, error.sem_high)})"
        limit = f"; limit for one later probe {_limits(key, error)}" if math.isfinite(error.limit) else ""
        rows.insert(
            0,
            f"baseline of {error.k} probes {number(key, error.mean)} {unit}; error of measurement {sem},"
            f" smallest detectable change {number(key, error.sdc)}{limit} {unit}".rstrip(),
        )
    return rows


def _limits(key: str, error: MeasurementError) -> str:
    """The limit that gives the verdicts, from the fourth look on another where it is."""
    later = f" (from the fourth look on {number(key, error.later_limit)})" if error.later_limit != error.limit else ""
    return f"{number(key, error.limit)}{later}"


def _change_line(change: Change) -> str:
    key = change.key
    size = with_interval(key, change.difference, change.low, change.high) if math.isfinite(change.difference) else ""
    looked = f"looked at {change.n_looks} {'time' if change.n_looks == 1 else 'times'}"
    words = f"{change.n_shared_words} words shared, measured {change.n_measured} of {change.n_expected} expected"
    which = f", {change.word}" if change.word != "none" and change.verdict == "larger than error" else ""
    reasons = f" ({'; '.join(change.reasons).replace('_', ' ')})" if change.reasons else ""
    told = f"{change.verdict}{which}{reasons}" + (f": {size}" if size else "")
    return f"session {change.session}: {told}; {words}; {looked}"


def _own_line(change: Change) -> str:
    """The same less what was probed beside it, where the day and the microphone are taken off."""
    which = f", {change.word}" if change.word != "none" and change.verdict == LARGER else ""
    reasons = f" ({'; '.join(change.reasons)})" if change.reasons else ""
    size = with_interval(change.key, change.difference, change.low, change.high)
    return f"{change.against}: {change.verdict}{which}{reasons}: {size}; limit {number(change.key, change.limit)}"


def _beside_lines(change: Change) -> list[str]:
    """The limit with what it rests on, the plain rule beside it, and the verdict under a stated decay."""
    key = change.key
    rows: list[str] = []
    if change.verdict == UNJUDGED and not change.awaits:
        return rows
    shared = f", shared by {change.n_measures} exploratory measures" if change.n_measures > 1 else ""
    if (lent := change.lent) is not None:
        rows.append(
            f"limit {number(key, change.limit)}{shared}, by the spread of {lent.n_clients} other clients (typical SD"
            f" {number(key, lent.typical)}, log spread {lent.spread:.2f}, fitted {lent.fitted_on}); plain rule:"
            f" {change.plain_verdict}, limit {number(key, change.plain_limit)}"
        )
    elif shared:
        rows.append(f"limit {number(key, change.limit)}{shared}")
    if math.isfinite(change.limit) and change.noise > TOLD_FROM * change.limit:
        rows.append(
            f"noise unlike the baseline's may still move it by {number(key, change.noise)}; the limit holds that"
        )
    if change.provisional:
        basis = f" ({change.related_basis})" if change.related_basis else ""
        rows.append(
            f"provisional: {change.provisional}. With days alike over {change.related_days:.0f} days{basis}:"
            f" {change.related_verdict}, limit {number(key, change.related_limit)}"
        )
    return rows


def _trend_lines(view: CaseView, key: str) -> list[str]:
    rows = []
    for trend in (one for one in view.trends if one.key == key and math.isfinite(one.slope_per_month)):
        p = f", exact {_p(trend.p)}" if trend.p is not None else ""
        why = f" ({'; '.join(trend.reasons)})" if trend.reasons else ""
        slope = f"{number(key, trend.slope_per_month)} {MEASURES[key].unit} a month"
        rows.append(f"trend in {trend.phase}: {slope} over {trend.n} probes{p}{why}; {trend.formula}")
    for effect in (one for one in view.effects if one.key == key and math.isfinite(one.nap)):
        rows.append(
            f"later against baseline: NAP {effect.nap:.2f} ({effect.nap_low:.2f} to {effect.nap_high:.2f}),"
            f" Tau {effect.tau:.2f}; baseline slope {number(key, effect.baseline_slope)} a month; {effect.formula}"
        )
    return rows


def _spread_lines(view: CaseView, key: str) -> list[str]:
    """Variability by session: SD over words with its interval; a falling spread is itself a result."""
    points = [one for one in view.spreads if one.key == key and math.isfinite(one.sd)]
    if not points:
        return []
    shown = ", ".join(
        f"{one.session}: {number(key, one.sd)} ({number(key, one.low)} to {number(key, one.high)})" for one in points
    )
    return [f"spread over words (SD) by session: {shown}"]


def _ear_lines(view: CaseView) -> Iterator[Step]:
    judged = [one.accuracy for one in view.summaries if one.accuracy is not None]
    if judged:
        yield 0, f"by ear: {judged[-1].rule}"
    if view.gained is not None:
        yield 1, _gained_line(view.gained)
        yield from ((1, caution) for caution in view.gained.cautions)
    for there in view.presence:
        yield (
            1,
            f"session {there.session}: /s/ there by ear in {there.n_heard} of {there.n_scored}, frication found in"
            f" {there.n_found} of {there.n_said}",
        )
    for cell in view.generalisation:
        yield (
            1,
            f"{cell.value}: {cell.accuracy.n_correct} of {cell.accuracy.n_scored} correct"
            f" ({100 * cell.accuracy.low:.0f} to {100 * cell.accuracy.high:.0f} %)",
        )
    yield from ((1, line) for line in _by_level_and_cue(view))
    if view.move_up is not None:
        yield 1, _rule_line(view.move_up)


def _gained_line(one: WordsGained) -> str:
    return (
        f"same words on {one.early_on} and {one.late_on} (sessions {one.early_session} and {one.late_session}):"
        f" {one.gained} gained, {one.lost} lost"
        f" of {one.n_same} (exact McNemar {_p(one.p)}); difference {100 * one.difference:.0f} points"
        f" ({100 * one.low:.0f} to {100 * one.high:.0f}, Newcombe)"
    )


def _rule_line(one: MoveUp) -> str:
    answer = {True: "met", False: "not met", None: "cannot be told"}[one.met]
    shown = ", ".join(
        f"{each.n_correct} of {each.n_scored} ({100 * each.low:.0f} to {100 * each.high:.0f} %)"
        for each in one.accuracies
    )
    why = f" ({'; '.join(one.reasons)})" if one.reasons else ""
    return f"the clinic's rule at level {one.level}: {one.rule}: {answer}{why}: {shown}"


def _by_level_and_cue(view: CaseView) -> list[str]:
    """Levels and cues of the latest judged session apart, where it has more than one."""
    latest = next((one for one in reversed(view.summaries) if one.accuracy is not None), None)
    if latest is None:
        return []
    rows = []
    for by in ("level", "cue"):
        cells = [cell for cell in latest.accuracy_by if cell.by == by]
        if len(cells) > 1:
            counts = ", ".join(f"{c.value} {c.accuracy.n_correct} of {c.accuracy.n_scored}" for c in cells)
            rows.append(f"by {by} in session {latest.number}, not joined: {counts}")
    return rows


def _other_lines(view: CaseView) -> list[str]:
    rows = [f"{one.sentence} ({one.key}; {one.formula}{f', p {one.p:.3f}' if one.p is not None else ''})"
            for one in view.sets_of_three]  # fmt: skip
    for added in view.additions:
        where = f" ({', '.join(added.words)})" if added.words else ""
        rows.append(
            f"session {added.session}: frication or an addition heard in {added.n_foils_with_frication} of"
            f" {added.n_foils} foil words, {added.n_extra} extra elsewhere, please listen{where}"
        )
    rows += [
        f"session {held.session}: /s/ held for {held.duration_s:.2f} s, level steady within"
        f" {held.steadiness_db:.1f} dB, drift {held.drift_hz_per_s:.0f} Hz a second, {held.n_breaks} breaks"
        for held in view.sustained
    ]
    rows += [_contrast_line(one) for one in (*view.contrasts, *view.contrasts_beside)]
    if view.ear_and_figure is not None:
        rows.append(_ear_line(view.ear_and_figure))
    rows += [
        f"earlier, not joined ({one.source}): {one.on.isoformat()}"
        + (f", {one.n_correct} of {one.n_scored} correct" if one.n_scored is not None else "")
        + (f", {one.measure} {one.value:g}" if one.value is not None else "")
        for one in view.earlier
    ]
    ranked = [cell for cell in view.contexts if cell.rank is not None]
    rows += [_context_line(cell) for cell in ranked[:6]]
    return rows


def _context_line(cell: ContextCell) -> str:
    """Say a context's mean with its interval, and that mean drawn towards the whole, by which it is ranked."""
    if cell.key == "accuracy":
        found = f"{100 * cell.mean:.0f} % by ear ({100 * cell.low:.0f} to {100 * cell.high:.0f})"
        drawn = f"{100 * cell.shrunk:.0f} %"
    else:
        found = with_interval(cell.key, cell.mean, cell.low, cell.high)
        drawn = f"{number(cell.key, cell.shrunk)} {MEASURES[cell.key].unit}".strip()
    return f"context {cell.rank}: {cell.name}, {cell.n} tokens, {found}; drawn towards the whole {drawn}"


def _contrast_line(one: Contrast) -> str:
    left_out = f"; {one.left_out_words}" if one.left_out else ""
    if one.reasons:
        return f"session {one.session}: /s/ and /{one.against}/ cannot be judged: {'; '.join(one.reasons)}{left_out}"
    return (
        f"session {one.session}: /s/ minus /{one.against}/, {one.over},"
        f" {with_interval(one.key, one.difference, one.low, one.high)},"
        f" area under the curve {one.auc:.2f} ({one.auc_low:.2f} to {one.auc_high:.2f}),"
        f" overlap {one.overlap:.2f} ({one.overlap_low:.2f} to {one.overlap_high:.2f}){left_out}"
    )


def _ear_line(one: EarAndFigure) -> str:
    name = MEASURES[one.key].name if one.key in MEASURES else one.key
    if one.reasons:
        return f"ear and figure ({name}): {'; '.join(one.reasons)}"
    return (
        f"ear and figure: within a session a sound heard as right has the higher {name} than one heard as wrong in"
        f" {100 * one.auc:.0f} % of pairs ({100 * one.low:.0f} to {100 * one.high:.0f};"
        f" {one.n_right} heard as right, {one.n_wrong} as wrong; 50 % would be no bond)"
    )
