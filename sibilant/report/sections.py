"""Sections that several kinds of report share: each returns a tuple of parts."""

from __future__ import annotations

import itertools
import math
from collections import Counter
from collections.abc import Sequence

from .. import charts
from ..charts import alt_text, render, wording
from ..terms.case_view import CaseView
from ..terms.document import Blank, Box, Facts, Heading, Listing, Paragraph, Part, Picture, Table
from ..terms.reference import INSIDE_SENTENCE
from ..terms.summaries import SessionSummary
from ..terms.therapy import NOT_STATED
from . import goals, plain
from .plain import ReportSettings


def opening(view: CaseView, *blanks: Blank) -> tuple[Part, ...]:
    """Who (a code; name and whatever else identifies stand empty), which period, which probes."""
    if not view.summaries:
        return (
            Blank("Name", by_hand=True),
            *blanks,
            Facts("Client and period", (("Client", view.client.code), ("Probes", "none yet"))),
        )
    first, last = view.summaries[0], view.summaries[-1]
    phases = Counter(summary.phase for summary in view.summaries)
    counted = ", ".join(f"{n} {_named(phase)}" for phase, n in phases.items())
    hearing = f"; hearing: {view.client.hearing}" if view.client.hearing else ""
    rows: tuple[tuple[str, str], ...] = (
        ("Client", f"{view.client.code}, {plain.age_text(last.age_months)} at the last probe{hearing}"),
        ("Period", f"{plain.day_text(first.on)} to {plain.day_text(last.on)}"),
        ("Probes", f"{len(view.summaries)} ({counted}); last one: {plain.conditions(last) or 'conditions not noted'}"),
        *((("Attendance", goals.visits_sentence(view)),) if view.visits else ()),
    )
    return (Blank("Name", by_hand=True), *blanks, Facts("Client and period", rows))


def _named(phase: str) -> str:
    return "of a phase not stated" if phase == NOT_STATED else phase


def heard(view: CaseView, *, by_position: bool = False) -> tuple[Part, ...]:
    """Judged accuracy: the sentence first, then the table it came from."""
    sentences = " ".join(part for part in (plain.heard_sentences(view), plain.gained_sentence(view.gained)) if part)
    parts: list[Part] = [Heading("What was heard"), Paragraph(sentences, tone="lead")]
    parts += _presence(view)
    rows = heard_rows(view, by_position=by_position)
    if rows:
        parts.append(Table("Judged by ear", ("Probe", "Correct", "Percent (95\u2009% interval)"), rows))
    return tuple(parts)


def _presence(view: CaseView) -> list[Part]:
    """Whether /s/ was there, probe by probe, where it is left out."""
    said = plain.presence_sentence(view)
    if not said:
        return []
    days = {summary.number: plain.day_text(summary.on) for summary in view.summaries}
    rows = tuple(
        (
            days[one.session],
            f"{one.n_heard} of {one.n_scored}" if one.n_scored else "not judged",
            f"{one.n_found} of {one.n_said}" if one.n_said else "–",
        )
        for one in view.presence
    )
    return [Paragraph(said), Table("Whether /s/ was there", ("Probe", "Heard by ear", "Frication found"), rows)]


def heard_rows(view: CaseView, *, by_position: bool) -> tuple[tuple[str, ...], ...]:
    """First and last probe, the last one by position where asked, and words gained and lost."""
    judged = [s for s in view.summaries if s.accuracy and s.accuracy.n_scored]
    if not judged:
        return ()
    ends = [judged[0], judged[-1]] if len(judged) > 1 else judged
    rows = [(plain.day_text(s.on), plain.count_text(s.accuracy), plain.share_text(s.accuracy)) for s in ends]
    rows += [
        (
            f"{plain.day_text(judged[-1].on)}, {cell.value}",
            plain.count_text(cell.accuracy),
            plain.share_text(cell.accuracy),
        )
        for cell in judged[-1].accuracy_by
        if by_position and cell.by == "position" and cell.accuracy.n_scored
    ]
    if view.gained is not None:
        gained = view.gained
        shown = f"{gained.gained} gained, {gained.lost} lost; {plain.p_text(gained.p)}"
        days = f"{plain.day_text(gained.early_on)} and {plain.day_text(gained.late_on)}"
        rows.append((f"words scored on {days}", f"{gained.n_same}", shown))
    return tuple(rows)


def sessions(view: CaseView, *, keys: Sequence[str]) -> tuple[Part, ...]:
    """Every probe in one table."""
    measures = [wording.measure_of(key) for key in keys]
    same = len({plain.conditions(summary) for summary in view.summaries}) <= 1
    under = () if same else ("Level, cue",)
    header = ("Probe", "Month", "Phase", *under, "Judged correct", *(m.name for m in measures), "Measured")
    rows = []
    for summary in view.summaries:
        shown = [plain.shown_measure(summary, key) for key in keys]
        main = shown[0] if shown else None
        rows.append(
            (
                f"{plain.day_text(summary.on)}{' *' if _stands_apart(summary, keys) else ''}",
                wording.month_text(summary.month),
                summary.phase,
                *(() if same else (plain.conditions(summary),)),
                f"{plain.count_text(summary.accuracy)}, {plain.share_text(summary.accuracy)}",
                *(plain.measure_cell(one) for one in shown),
                f"{main.n_measured} of {main.n_expected}" if main else "–",
            )
        )
    return (Table("All probes", header, tuple(rows), _sessions_note(view, keys, same=same)),)


def _stands_apart(summary: SessionSummary, keys: Sequence[str]) -> bool:
    return bool(summary.apart) or any(summary.apart_in(key) for key in keys)


def _sessions_note(view: CaseView, keys: Sequence[str], *, same: bool) -> str:
    parts = ["In brackets: 95\u2009% intervals, over words for the measure."]
    if same and view.summaries:
        parts.append(f"All probes: {plain.conditions(view.summaries[0])}.")
    if any(_stands_apart(summary, keys) for summary in view.summaries):
        parts.append(
            "*\u2009Stands apart: made under other conditions or in a narrower band, not joined with the others."
        )
    return " ".join(parts)


def change_row(view: CaseView, key: str) -> tuple[str, ...]:
    """One measure against the baseline: what stands in the table of change."""
    measure = wording.measure_of(key)
    error, change, last = view.error_of(key), plain.last_change(view, key), view.last
    mean = (
        change.baseline if change is not None and plain.finite(change.baseline) else error.mean if error else math.nan
    )
    allowed = plain.limit_of(view, key)
    baseline = wording.quantity(measure, mean, allowed) if error else "–"
    now = plain.measure_cell(plain.shown_measure(last, key)) if last else "–"
    difference = limit = "–"
    if change is not None and plain.finite(change.difference):
        difference = plain.signed(wording.interval_text(measure, change.difference, change.low, change.high))
    if plain.finite(allowed):
        limit = wording.quantity(measure, allowed, allowed)
    return (measure.name, baseline, now, difference, limit, plain.verdict_text(view, key))


def change_table(view: CaseView, *, keys: Sequence[str]) -> tuple[Part, ...]:
    """The measures against the client's own baseline; one row in family, school and payer reports."""
    header = (
        "Measure of /s/",
        f"{wording.capital(wording.reference_words(view))} mean",
        "Last probe",
        "Difference",
        "Limit of error",
        "Verdict",
    )
    keys = [key for key in keys if key == view.main_measure or _was_measured(view, key)]
    rows = tuple(change_row(view, key) for key in keys)
    plain_names = "; ".join(wording.measure_of(key).plain_name for key in keys)
    return (
        Table(
            f"Measured, against the client's own {wording.reference_words(view)}: {plain_names}",
            header,
            rows,
            _change_note(view, keys),
        ),
    )


def _was_measured(view: CaseView, key: str) -> bool:
    """Whether any sound of any probe has a value; a measure without one is left out of the table."""
    return any(key in summary.measures and summary.measures[key].n_measured for summary in view.summaries)


def _change_note(view: CaseView, keys: Sequence[str]) -> str:
    change = plain.last_change(view, keys[0])
    words = ""
    if change is not None:
        words = (
            f" Difference: over the {change.n_shared_words} words measured in both; looked at {change.n_looks} times."
        )
    other = " Only the first row was chosen at the start; the others are exploratory." if len(keys) > 1 else ""
    several = max((one.n_measures for one in view.changes if one.key in keys[1:]), default=1)
    shared = f" Their limits share one promise between {several} of them." if several > 1 else ""
    beside = "".join(f" {line}" for line in plain.limit_lines(view, keys[0]))
    return f"In brackets: 95\u2009% intervals.{words}{other}{shared}{beside}"


def measured(
    view: CaseView, settings: ReportSettings, *, keys: Sequence[str], heading: bool = True
) -> tuple[Part, ...]:
    """The plain sentence of the main measure, then its table, then a range where one was ticked."""
    parts: list[Part] = [Heading("What was measured")] if heading else []
    parts.append(Paragraph(plain.measured_sentences(view, keys[0])))
    parts += change_table(view, keys=keys)
    if settings.range_sentence:
        said = settings.range_sentence
        parts.append(Paragraph(said if INSIDE_SENTENCE in said else f"{said} {INSIDE_SENTENCE}"))
    return tuple(parts)


def picture(view: CaseView, settings: ReportSettings) -> tuple[Part, ...]:
    """The months chart of the main measure, where there is anything to draw and a format for it."""
    if not settings.picture_forms or not wording.summary_of(view, view.main_measure):
        return ()
    figure = charts.months_chart(view, method=settings.method, bracket=settings.bracket, in_report=True)
    images: dict[str, bytes] = {form: render(figure, form, dpi=220) for form in settings.picture_forms}
    return (Picture("change-over-months", alt_text(figure), images),)


def missing(view: CaseView, settings: ReportSettings) -> tuple[Part, ...]:
    """What is missing, said aloud."""
    lines = plain.missing_lines(view, settings)
    return (Heading("What is missing or limited"), Listing(lines)) if lines else ()


def methods_box(view: CaseView, settings: ReportSettings) -> Box:
    """Device, method, counts, error, rule and range source in a few lines."""
    lines = (
        _devices(view, settings),
        _method_line(view, settings),
        _count_line(view),
        _error_line(view),
        _rule_line(view, settings),
    )
    return Box("How this was measured", tuple(line for line in lines if line))


def _devices(view: CaseView, settings: ReportSettings) -> str:
    known = {device.name: device for device in view.devices}
    names = [name for name, _ in itertools.groupby(s.session.device for s in view.summaries)]
    shown = []
    for name in dict.fromkeys(names):
        device = known.get(name)
        details = [name or "device not noted"]
        if device is not None:
            distance = f"{device.distance_cm:g}\u2009cm" if device.distance_cm else "distance not noted"
            details += [part for part in (device.kind, device.place, distance) if part]
        shown.append(", ".join(details))
    rates = ", ".join(f"{rate / 1000:g}\u2009kHz" for rate in settings.sampling_rates_hz) or "as recorded"
    verdicts = Counter(s.session.verdict or "not noted" for s in view.summaries)
    judged = ", ".join(f"{verdict} in {n}" for verdict, n in sorted(verdicts.items()))
    return f"Recording: {'; '.join(shown)}. Sampling rate: {rates}. Recordings judged: {judged}."


def _method_line(view: CaseView, settings: ReportSettings) -> str:
    measured = [one.measures[view.main_measure] for one in view.summaries if view.main_measure in one.measures]
    narrower = sorted({one.method for one in measured if one.apart})
    more = f"; probes in a narrower band: {', '.join(narrower)}" if narrower else ""
    return f"Method: {wording.method_text(settings.method)}{more}."


def _count_line(view: CaseView) -> str:
    last = view.last
    summary = plain.shown_measure(last, view.main_measure) if last else None
    if last is None or summary is None:
        return ""
    counted = wording.spelled(summary.counted)
    return f"Sounds: {counted} in the last probe; {last.n_checked} of {last.n_tokens} checked by a person."


def _error_line(view: CaseView) -> str:
    measure, error = wording.measure_of(view.main_measure), view.error_of(view.main_measure)
    named = wording.reference_words(view)
    probes = "probes" if named.endswith("probes") else f"{named} probes"
    if error is None or not plain.finite(error.limit):
        reasons = wording.brief(error.reasons) if error is not None else ""
        return f"Measurement error: cannot be judged: {reasons or 'three probes on different days are needed'}."
    sem, sdc = (wording.quantity(measure, v, v) for v in (error.sem, error.sdc))
    return (
        f"Measurement error of {measure.name}, from {error.k} {probes}{wording.more_clients(error)}: one later probe"
        f" may differ by {wording.limit_text(error)}; "
        f"standard error of measurement {sem}, smallest detectable change {sdc}."
    )


def _rule_line(view: CaseView, settings: ReportSettings) -> str:
    accuracy = next((s.accuracy for s in reversed(view.summaries) if s.accuracy), None)
    rule = (
        f"Judged by ear (Wilson intervals): {accuracy.rule}{f', listener {accuracy.rater}' if accuracy.rater else ''}. "
        if accuracy
        else ""
    )
    if settings.bracket is not None:
        source = f"Range: {settings.bracket.text} Source: {settings.bracket.source}"
    else:
        source = "Range: stated above with its source." if settings.range_sentence else "No published range is shown."
    return f"{rule}{source}"


def closing(view: CaseView, settings: ReportSettings, *, blanks: Sequence[Blank]) -> tuple[Part, ...]:
    """Methods, the notes that always stand, and the clinician's own fields."""
    notes = Paragraph(" ".join(plain.closing_lines()), tone="small")
    return (methods_box(view, settings), notes, *blanks)
