"""Progress of one client: the view that charts and reports share, as plain values, as lines, as a picture."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Literal

from .. import files, progress, store
from ..errors import OutputError, UsageError
from ..terms import MEASURES, Method
from ..terms.change import (
    LARGER,
    UNJUDGED,
    CaseView,
    Change,
    ContextCell,
    Contrast,
    EarAndFigure,
    MeasurementError,
    SessionSummary,
)
from ..terms.clinic import Case
from .caseload import CaseloadHandle, client_or_last, opened, used
from .lending import lent_to
from .plain import plain

__all__ = ["case_view", "figure", "lines", "method_of", "plain", "session_rows"]

FORMS = {".svg": "svg", ".pdf": "pdf", ".png": "png"}
TOLD_FROM = 0.1
"""Share of the limit from which on what unlike noise may still do is told."""
SUPPORT = "Acoustic figures support, and do not replace, clinical judgement."


def case_view(
    caseload: CaseloadHandle,
    code: str | None = None,
    *,
    measures: Sequence[str] = (),
    words: str = "untreated",
    rater: str = "",
) -> tuple[CaseView, Case]:
    """Return everything of one client, computed, and what it was computed from.

    Raises
    ------
    UsageError
        When a measure or a set of words is not known.
    """
    _check_asked(measures, words)
    with opened(caseload) as one:
        name = client_or_last(one, code)
        case = store.read_case(one, name)
        asked = _with_what_is_lent(one, case, measures, words, rater)
        if one.setting("last_client") != name:
            used(one, name)
    return progress.view(case, asked), case


def view_of(
    caseload: CaseloadHandle, case: Case, *, measures: Sequence[str] = (), words: str = "untreated", rater: str = ""
) -> CaseView:
    """Return everything of one client, computed from a case that is at hand.

    Raises
    ------
    UsageError
        When a measure or a set of words is not known.
    """
    _check_asked(measures, words)
    with opened(caseload) as one:
        asked = _with_what_is_lent(one, case, measures, words, rater)
    return progress.view(case, asked)


def _with_what_is_lent(
    one: store.Caseload, case: Case, measures: Sequence[str], words: str, rater: str
) -> progress.ViewRequest:
    asked = progress.ViewRequest(tuple(measures), words, rater, store.day_of(one))  # type: ignore[arg-type]
    found = lent_to(one, case, asked)
    lent = {place: given.lent for place, given in found.given.items() if given.lent is not None}
    return replace(asked, lent=lent, not_lent=found.reasons, questions=found.asked)


def _check_asked(measures: Sequence[str], words: str) -> None:
    unknown = [key for key in measures if key not in MEASURES]
    if unknown:
        raise UsageError(f"measure {unknown[0][:40]!r} is not known; docs/measures.md lists them, such as centroid_hz")
    if words not in {"untreated", "treated", "all"}:
        raise UsageError(f"--words {words[:20]!r}: untreated, treated or all")


def figure(view: CaseView, case: Case, to: Path, *, key: str = "") -> None:
    """Draw the months chart of a view into a file (.svg, .pdf or .png).

    Raises
    ------
    OutputError
        When the file's ending is another, or it can't be written.
    """
    form = FORMS.get(to.suffix.lower())
    if form is None:
        raise OutputError(f"{to.name}: a picture ends in .svg, .pdf or .png")
    from .. import charts

    drawn = charts.months_chart(view, method=method_of(view, case), key=key)
    files.write_bytes(to, charts.render(drawn, form))  # type: ignore[arg-type]


def months_picture(view: CaseView, case: Case, *, key: str = "", width_mm: float = 170.0) -> bytes:
    """Return the months chart of a view as SVG.

    Raises
    ------
    OutputError
        When nothing was measured yet.
    """
    from .. import charts

    return charts.render(charts.months_chart(view, method=method_of(view, case), key=key, width_mm=width_mm), "svg")


def months_places(
    view: CaseView, case: Case, *, key: str = "", width_mm: float = 170.0
) -> tuple[float, dict[int, tuple[float, float]]]:
    """Return how high the months chart is for its width, and where each session's point stands on it (see charts).

    Raises
    ------
    OutputError
        When nothing was measured yet.
    """
    from .. import charts

    figure = charts.months_chart(view, method=method_of(view, case), key=key, width_mm=width_mm)
    width, height = figure.get_size_inches()
    return float(height / width), charts.session_places(figure, view, key or view.main_measure)


def months_words(view: CaseView, case: Case, *, key: str = "") -> str:
    """Return the sentences that say what the months chart of a view shows.

    Raises
    ------
    OutputError
        When nothing was measured yet.
    """
    from .. import charts

    method_of(view, case)
    return charts.months_alt(view, key)


def method_of(view: CaseView, case: Case) -> Method:
    """Return the method whose figures a view holds.

    Raises
    ------
    OutputError
        When nothing was measured yet.
    """
    measured = [summary for one in view.summaries for summary in one.measures.values() if summary.n_measured]
    labels = [one.method for one in sorted(measured, key=lambda one: bool(one.apart))]
    for token in case.tokens:
        for found in token.measurements.values():
            if not labels or found.method.label == labels[0]:
                return found.method
    raise OutputError(f"{view.client.code}: nothing measured yet, so there is nothing to draw")


def _p(value: float) -> str:
    """Say a p value; never zero."""
    return "p < 0.001" if value < 0.001 else f"p {value:.3f}"


def session_rows(view: CaseView, key: str = "") -> list[dict[str, Any]]:
    """Return one row a session: day, conditions, accuracy by ear with its interval, the measure with its interval."""
    return [_session_row(one, key or view.main_measure) for one in view.summaries]


def nearest_sounds(view: CaseView, key: str = "") -> dict[int, tuple[str, str]]:
    """Return by session the token (key, word) whose value lies nearest the session's mean: what the figure sounds like.

    Only words whose sound is kept; a session without a figure, or without sound, has none.
    """
    found: dict[int, tuple[str, str]] = {}
    for one in view.summaries:
        summary = one.measures.get(key or view.main_measure)
        heard = [word for word in summary.words if word.clip] if summary is not None else []
        if summary is not None and heard:
            near = min(heard, key=lambda word: (abs(word.value - summary.mean), word.key))
            found[one.number] = (near.key, near.word.split("#")[0])
    return found


def _session_row(one: SessionSummary, key: str) -> dict[str, Any]:
    row: dict[str, Any] = {
        "session": one.number,
        "on": one.on.isoformat(),
        "phase": one.phase,
        "level": one.session.level,
        "cue": one.session.cue,
        "device": one.session.device,
        "correct": "",
        "by ear": "",
    }
    if one.accuracy is not None and one.accuracy.n_scored:
        found = one.accuracy
        row["correct"] = f"{found.n_correct} of {found.n_scored}"
        row["by ear"] = f"{100 * found.share:.0f} % ({100 * found.low:.0f} to {100 * found.high:.0f})"
    summary = one.measures.get(key)
    if summary is None:
        row["figure"] = f"judge first ({one.n_tokens - one.n_judged} left)" if not one.shown else ""
    elif summary.n_words:
        apart = f", {summary.method}" if summary.apart else ""
        row["figure"] = f"{_with_interval(key, summary.mean, summary.low, summary.high)}{apart}"
    row["measured"] = f"{summary.n_measured} of {summary.n_expected}" if summary is not None else ""
    row["checked"] = f"{one.n_checked} of {one.n_tokens}"
    return row


def _number(key: str, value: float) -> str:
    return f"{value:.{MEASURES[key].decimals if key in MEASURES else 1}f}"


def _with_interval(key: str, value: float, low: float, high: float) -> str:
    interval = f" ({_number(key, low)} to {_number(key, high)})" if math.isfinite(low) else ""
    return f"{_number(key, value)} {MEASURES[key].unit}{interval}".replace("  ", " ")


@dataclass(frozen=True, slots=True)
class Group:
    """What is told together: a head (empty for none), what it is of, and its lines, two spaces before each step in."""

    head: str
    of: Literal["main measure", "exploratory measure", "ear", "more", "notes"]
    lines: tuple[str, ...]

    @property
    def steps(self) -> tuple[tuple[int, str], ...]:
        """Each line with how many steps it stands in."""
        return tuple(((len(line) - len(line.lstrip())) // 2, line.strip()) for line in self.lines)


def lines(view: CaseView) -> list[str]:
    """Return what stands below the table of sessions: errors, changes in the fixed words, trend, what is not joined."""
    found: list[str] = []
    for group in groups(view):
        found += [*([] if group.of == "notes" else [""]), *([group.head] if group.head else []), *group.lines]
    if view.client.invented:
        found.append("Invented data – not a person")
    return [*found, SUPPORT]


def groups(view: CaseView) -> tuple[Group, ...]:
    """Return the same in its groups: how everything that is told of a client was worked out."""
    found = [Group(_measure_head(view, key), _role(view, key), _measure_lines(view, key)) for key in view.measures]
    notes = (
        *(f"advice: {sentence}" for sentence in view.advice),
        *(f"question: {sentence}" for sentence in (*view.questions, *view.asked_of_devices)),
        *(f"note: {sentence}" for sentence in view.joins),
    )
    found += [
        Group("", "ear", tuple(_ear_lines(view))),
        Group("", "more", tuple(_other_lines(view))),
        Group("", "notes", notes),
    ]
    return tuple(group for group in found if group.head or group.lines)


def _role(view: CaseView, key: str) -> Literal["main measure", "exploratory measure"]:
    return "main measure" if key == view.main_measure else "exploratory measure"


def _measure_lines(view: CaseView, key: str) -> tuple[str, ...]:
    found = _error_lines(view, key)
    for change in view.changes_of(key):
        found.append(_change_line(change))
        if change.verdict != UNJUDGED or change.awaits:
            found += [_own_line(o) for o in view.own_comparisons if (o.key, o.session) == (key, change.session)]
    return (*found, *_trend_lines(view, key), *_spread_lines(view, key))


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
    rows = [f"  {reason}" for reason in error.reasons]
    if error.k >= 2:
        unit = MEASURES[key].unit
        sem = f"{_number(key, error.sem)} ({_number(key, error.sem_low)} to {_number(key, error.sem_high)})"
        limit = f"; limit for one later probe {_limits(key, error)}" if math.isfinite(error.limit) else ""
        rows.insert(
            0,
            f"  baseline of {error.k} probes {_number(key, error.mean)} {unit}; error of measurement {sem},"
            f" smallest detectable change {_number(key, error.sdc)}{limit} {unit}".rstrip(),
        )
    return rows


def _limits(key: str, error: MeasurementError) -> str:
    """The limit that gives the verdicts, from the fourth look on another where it is."""
    later = f" (from the fourth look on {_number(key, error.later_limit)})" if error.later_limit != error.limit else ""
    return f"{_number(key, error.limit)}{later}"


def _change_line(change: Change) -> str:
    key = change.key
    size = _with_interval(key, change.difference, change.low, change.high) if math.isfinite(change.difference) else ""
    looked = f"looked at {change.n_looks} {'time' if change.n_looks == 1 else 'times'}"
    words = f"{change.n_shared_words} words shared, measured {change.n_measured} of {change.n_expected} expected"
    which = f", {change.word}" if change.word != "none" and change.verdict == "larger than error" else ""
    reasons = f" ({'; '.join(change.reasons)})" if change.reasons else ""
    beside = "".join(f"\n    {line}" for line in _beside_lines(change))
    return f"  session {change.session}: {change.verdict}{which}{reasons}: {size}; {words}; {looked}{beside}"


def _own_line(change: Change) -> str:
    """The same less what was probed beside it, where the day and the microphone are taken off."""
    which = f", {change.word}" if change.word != "none" and change.verdict == LARGER else ""
    reasons = f" ({'; '.join(change.reasons)})" if change.reasons else ""
    size = _with_interval(change.key, change.difference, change.low, change.high)
    return f"    {change.against}: {change.verdict}{which}{reasons}: {size}; limit {_number(change.key, change.limit)}"


def _beside_lines(change: Change) -> list[str]:
    """The limit with what it rests on, the plain rule beside it, and the verdict under a stated decay."""
    key = change.key
    rows: list[str] = []
    if change.verdict == UNJUDGED and not change.awaits:
        return rows
    shared = f", shared by {change.n_measures} exploratory measures" if change.n_measures > 1 else ""
    if (lent := change.lent) is not None:
        rows.append(
            f"limit {_number(key, change.limit)}{shared}, by the spread of {lent.n_clients} other clients (typical SD"
            f" {_number(key, lent.typical)}, log spread {lent.spread:.2f}, fitted {lent.fitted_on}); plain rule:"
            f" {change.plain_verdict}, limit {_number(key, change.plain_limit)}"
        )
    elif shared:
        rows.append(f"limit {_number(key, change.limit)}{shared}")
    if math.isfinite(change.limit) and change.noise > TOLD_FROM * change.limit:
        rows.append(
            f"noise unlike the baseline's may still move it by {_number(key, change.noise)}; the limit holds that"
        )
    if change.provisional:
        basis = f" ({change.related_basis})" if change.related_basis else ""
        rows.append(
            f"provisional: {change.provisional}. With days alike over {change.related_days:.0f} days{basis}:"
            f" {change.related_verdict}, limit {_number(key, change.related_limit)}"
        )
    return rows


def _trend_lines(view: CaseView, key: str) -> list[str]:
    rows = []
    for trend in (one for one in view.trends if one.key == key and math.isfinite(one.slope_per_month)):
        p = f", exact {_p(trend.p)}" if trend.p is not None else ""
        why = f" ({'; '.join(trend.reasons)})" if trend.reasons else ""
        slope = f"{_number(key, trend.slope_per_month)} {MEASURES[key].unit} a month"
        rows.append(f"  trend in {trend.phase}: {slope} over {trend.n} probes{p}{why}; {trend.formula}")
    for effect in (one for one in view.effects if one.key == key and math.isfinite(one.nap)):
        rows.append(
            f"  later against baseline: NAP {effect.nap:.2f} ({effect.nap_low:.2f} to {effect.nap_high:.2f}),"
            f" Tau {effect.tau:.2f}; baseline slope {_number(key, effect.baseline_slope)} a month; {effect.formula}"
        )
    return rows


def _spread_lines(view: CaseView, key: str) -> list[str]:
    """Variability by session: SD over words with its interval; a falling spread is itself a result."""
    points = [one for one in view.spreads if one.key == key and math.isfinite(one.sd)]
    if not points:
        return []
    shown = ", ".join(
        f"{one.session}: {_number(key, one.sd)} ({_number(key, one.low)} to {_number(key, one.high)})" for one in points
    )
    return [f"  spread over words (SD) by session: {shown}"]


def _ear_lines(view: CaseView) -> list[str]:
    rows: list[str] = []
    judged = [one.accuracy for one in view.summaries if one.accuracy is not None]
    if judged:
        rows.append(f"by ear: {judged[-1].rule}")
    if view.gained is not None:
        one = view.gained
        rows.append(
            f"  same words on {one.early_on} and {one.late_on} (sessions {one.early_session} and {one.late_session}):"
            f" {one.gained} gained, {one.lost} lost"
            f" of {one.n_same} (exact McNemar {_p(one.p)}); difference {100 * one.difference:.0f} points"
            f" ({100 * one.low:.0f} to {100 * one.high:.0f}, Newcombe)"
        )
        rows += [f"  {caution}" for caution in one.cautions]
    rows += [
        f"  session {one.session}: /s/ there by ear in {one.n_heard} of {one.n_scored}, frication found in"
        f" {one.n_found} of {one.n_said}"
        for one in view.presence
    ]
    rows += [
        f"  {cell.value}: {cell.accuracy.n_correct} of {cell.accuracy.n_scored} correct"
        f" ({100 * cell.accuracy.low:.0f} to {100 * cell.accuracy.high:.0f} %)"
        for cell in view.generalisation
    ]
    rows += _by_level_and_cue(view)
    if view.move_up is not None:
        answer = {True: "met", False: "not met", None: "cannot be told"}[view.move_up.met]
        shown = ", ".join(
            f"{one.n_correct} of {one.n_scored} ({100 * one.low:.0f} to {100 * one.high:.0f} %)"
            for one in view.move_up.accuracies
        )
        why = f" ({'; '.join(view.move_up.reasons)})" if view.move_up.reasons else ""
        rows.append(f"  the clinic's rule at level {view.move_up.level}: {view.move_up.rule}: {answer}{why}: {shown}")
    return rows


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
            rows.append(f"  by {by} in session {latest.number}, not joined: {counts}")
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
        found = _with_interval(cell.key, cell.mean, cell.low, cell.high)
        drawn = f"{_number(cell.key, cell.shrunk)} {MEASURES[cell.key].unit}".strip()
    return f"context {cell.rank}: {cell.name}, {cell.n} tokens, {found}; drawn towards the whole {drawn}"


def _contrast_line(one: Contrast) -> str:
    left_out = f"; {one.left_out_words}" if one.left_out else ""
    if one.reasons:
        return f"session {one.session}: /s/ and /{one.against}/ cannot be judged: {'; '.join(one.reasons)}{left_out}"
    return (
        f"session {one.session}: /s/ minus /{one.against}/, {one.over},"
        f" {_with_interval(one.key, one.difference, one.low, one.high)},"
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
