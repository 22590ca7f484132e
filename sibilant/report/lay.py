"""Reports for a school, a payer and a family: plain sentences and counts; what was measured stands in an appendix."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from types import MappingProxyType

from .. import charts
from ..charts import alt_text, render, wording
from ..charts.wording import day_text
from ..terms.by_ear import Accuracy
from ..terms.case_view import CaseView
from ..terms.change import LARGER, UNJUDGED
from ..terms.document import Blank, Facts, Heading, Listing, Paragraph, Part, Picture, PracticeItem, Table
from . import errors, goals, plain, sections
from .plain import ReportSettings
from .readers import Reader, conditions_said

SIGNED = (Blank("Clinician and credentials", by_hand=True), Blank("Signature and date", by_hand=True))
HOME = "Five to ten minutes, five days a week, in good humour (common practice, no source)."
_MOST_WORDS = 12  # named in a line; the rest is counted
_SHOWN_MM: Mapping[Reader, float] = MappingProxyType({"school": 36.0, "payer": 36.0, "family": 58.0})


def heard_sentences(view: CaseView, reader: Reader) -> str:
    """Return what was heard in the last judged probe, and in the first one made alike; the days are named."""
    if not view.summaries:
        return "No probe has been recorded yet."
    points = charts.alike_probes(view)
    if not points:
        return "No probe has been judged by ear yet, so nothing is counted."
    first, last = points[0], points[-1]
    n, low, high = last[1].n_scored, wording.percent(last[1].low), wording.percent(last[1].high)
    under = conditions_said(last[0].session.level, last[0].session.cue, reader)
    said = [
        f"On {day_text(last[0].on)}, {_of(last[1], reader)}{f' ({under})' if under else ''}.",
        f"With {_sounds(n, reader)}, the share may lie between {low} and {high}.",
    ]
    if len(points) > 1:
        said.append(f"On {day_text(first[0].on)} it was {first[1].n_correct} of {first[1].n_scored}.")
    return " ".join(said)


def _of(accuracy: Accuracy, reader: Reader) -> str:
    n, of = accuracy.n_correct, accuracy.n_scored
    if reader == "family":
        return f"{n} of {of} had a clear s"
    return f"{n} of {of} /s/ sounds were heard as correct ({wording.percent(accuracy.share)})"


def _sounds(n: int, reader: Reader) -> str:
    return (
        f"only {n} {'word' if n == 1 else 'words'}" if reader == "family" else f"{n} {'sound' if n == 1 else 'sounds'}"
    )


def gained_sentence(view: CaseView) -> str:
    """Return the same words on two days, without a test."""
    gained = view.gained
    if gained is None:
        return ""
    cautions = "".join(f" {wording.capital(one)}." for one in gained.cautions)
    was = "was" if gained.lost == 1 else "were"
    return (
        f"Of {gained.n_same} words heard on both {day_text(gained.early_on)} and {day_text(gained.late_on)},"
        f" {gained.gained} became correct and {gained.lost} no longer {was}.{cautions}"
    )


def measured_sentence(view: CaseView) -> str:
    """Return what the measurement adds, without a figure: and since when."""
    key = view.main_measure
    change = plain.last_change(view, key)
    if change is None or change.verdict == UNJUDGED:
        return "Measured from the recordings, a change cannot be judged yet; the appendix says why."
    if change.verdict == LARGER:
        said = wording.change_sentence(view, key)
        return f"Measured from the recordings: {said[:1].lower()}{said[1:]}."
    return (
        "Measured from the recordings, the change is not larger than what such a measurement varies by from day to day."
    )


def compose_school(view: CaseView, settings: ReportSettings) -> tuple[Part, ...]:
    """Compose a report for a school: taking part, what was heard, goals; nothing of teeth, ears or illness."""
    return (
        *_opening(view, Blank("Birth date", by_hand=True)),
        Heading("Taking part at school"),
        Blank("Being understood in class and by friends", 2),
        Blank("Reading aloud", 2),
        Blank("Educational effect", 2),
        *_heard(view, settings, "school"),
        *_goals(view, "school", Blank("Goal, in the school team's words", 2)),
        Blank("Progress in the school's period", 2),
        *goals.attendance(view),
        *_missing(view),
        *_closing(SIGNED),
        *_appendix(view, settings),
    )


def compose_payer(view: CaseView, settings: ReportSettings) -> tuple[Part, ...]:
    """Compose a report for a payer: function, what was heard, goals, attendance, plan, need."""
    own = (Blank("Birth date", by_hand=True), Blank("Identifiers", by_hand=True))
    identity = ("Referrer and date of referral", "Diagnosis and code", "Service codes")
    plan = ("Plan dates", "Frequency and duration", "Units", "Standardised measure and score")
    return (
        *_opening(view, *own, *(Blank(label) for label in identity)),
        Heading("Function"),
        Blank("Function at start", 2),
        Blank("Function now", 2),
        *_heard(view, settings, "payer"),
        *goals.events(view),
        *_goals(view, "payer", Blank("Measurable goals", 2)),
        *_attended(view),
        *_missing(view),
        Heading("Plan"),
        *(Blank(label) for label in plan),
        Blank("End point", 2),
        Blank("Why skilled service is needed", 3),
        Blank("Prognosis", 2),
        *_closing(
            (Blank("Clinician, credentials and licence", by_hand=True), Blank("Signature and date", by_hand=True))
        ),
        *_appendix(view, settings, dates=True),
    )


def compose_family(view: CaseView, settings: ReportSettings) -> tuple[Part, ...]:
    """Compose a page for a family: what was heard, worked towards, to practise; no figure in hertz."""
    return (
        Blank("For", by_hand=True),
        Paragraph(heard_sentences(view, "family"), tone="lead"),
        *_family_words(view),
        *_chart(view, settings, "family"),
        *_family_goals(view),
        *_to_practise(view),
        Paragraph(
            "Counts go up and down from day to day. They help the clinician, who listens and decides; a low one on a"
            " tired day is nothing to worry about.",
            tone="small",
        ),
        Blank("What goes well at home"),
        Blank("Questions, and whom to ask"),
    )


def _opening(view: CaseView, *blanks: Blank) -> tuple[Part, ...]:
    """Who, which period, how many probes; phases and hearing stand in the appendix."""
    rows: list[tuple[str, str]] = [("Client", view.client.code)]
    if view.summaries:
        first, last = view.summaries[0], view.summaries[-1]
        rows[0] = ("Client", f"{view.client.code}, {plain.age_text(last.age_months)} on {day_text(last.on)}")
        rows.append(("Period", f"{day_text(first.on)} to {day_text(last.on)}"))
    rows.append(("Probes", str(len(view.summaries)) if view.summaries else "none yet"))
    return (Blank("Name", by_hand=True), *blanks, Facts("Client and period", tuple(rows)))


def _heard(view: CaseView, settings: ReportSettings, reader: Reader) -> tuple[Part, ...]:
    said = " ".join(one for one in (heard_sentences(view, reader), gained_sentence(view)) if one)
    return (
        Heading("What was heard"),
        Paragraph(said, tone="lead"),
        *_chart(view, settings, reader),
        *errors.errors_heard(view, reader),
        *_by_probe(view, reader),
        *((Paragraph(measured_sentence(view)),) if view.summaries else ()),
    )


def _by_probe(view: CaseView, reader: Reader) -> tuple[Part, ...]:
    rows = tuple(
        (
            day_text(one.on),
            conditions_said(one.session.level, one.session.cue, reader) or "not noted",
            plain.count_text(one.accuracy),
            plain.share_text(one.accuracy),
        )
        for one in view.summaries
    )
    header = ("Probe", "Said as", "Correct", "Percent (may lie between)")
    return (Table("Judged by ear, probe by probe", header, rows),) if rows else ()


def _chart(view: CaseView, settings: ReportSettings, reader: Reader) -> tuple[Part, ...]:
    if not settings.picture_forms or not charts.alike_probes(view):
        return ()
    figure = charts.shares_chart(view, body_mm=_SHOWN_MM[reader])
    images: dict[str, bytes] = {form: render(figure, form, dpi=220) for form in settings.picture_forms}
    return (Picture("correct-over-time", alt_text(figure), images),)


def _goals(view: CaseView, reader: Reader, empty: Blank) -> tuple[Part, ...]:
    return (Heading("Goals"), *(goals.goals_table(view, reader) or (empty,)))


def _attended(view: CaseView) -> tuple[Part, ...]:
    return (Heading("Attendance"), *(goals.attendance(view) or (Blank("Dates and units attended"),)))


def _missing(view: CaseView) -> tuple[Part, ...]:
    lines = missing_lines(view)
    return (Heading("What is missing"), Listing(lines)) if lines else ()


def missing_lines(view: CaseView) -> tuple[str, ...]:
    """What is missing and matters to someone who reads no figures."""
    lines = [] if view.client.hearing else ["Hearing status unknown: no screening or audiology result is recorded."]
    dates = [day_text(one.on) for one in view.summaries if one.accuracy is None or not one.accuracy.n_scored]
    if dates:
        lines.append(f"Not judged by ear: the probe{'s' * (len(dates) > 1)} of {', '.join(dates)}.")
    before = [one for one in view.summaries if one.phase == "baseline"]
    if view.reference == "reference under treatment":
        lines.append("No baseline: therapy was under way before the first probe.")
    elif view.summaries and view.reference == "baseline" and len(before) < 3:
        lines.append(
            f"Probes before therapy: {len(before)}; three on different days are needed to tell change from chance."
        )
    if any(one.apart for one in view.summaries):
        lines.append("Some probes were made under other conditions; the appendix names them.")
    return tuple(lines)


def _closing(blanks: Sequence[Blank]) -> tuple[Part, ...]:
    return (Paragraph(" ".join(plain.closing_lines()), tone="small"), *blanks)


def _appendix(view: CaseView, settings: ReportSettings, *, dates: bool = False) -> tuple[Part, ...]:
    """The statistics, for those who want them."""
    limited = plain.missing_lines(view, settings, hearing=False)
    return (
        Heading("Appendix: how this was worked out", appendix=True),
        *sections.measured(view, settings, keys=(view.main_measure,), heading=False),
        *sections.picture(view, settings),
        *_same_words(view),
        *((Heading("Limits of the figures", 3), Listing(limited)) if limited else ()),
        *(goals.attendance(view, dates=True)[1:] if dates else ()),
        sections.methods_box(view, settings),
    )


def _same_words(view: CaseView) -> tuple[Part, ...]:
    gained = view.gained
    if gained is None:
        return ()
    days = f"{day_text(gained.early_on)} and {day_text(gained.late_on)}"
    told = f"{gained.n_same}: {gained.gained} gained, {gained.lost} lost; exact McNemar test, {plain.p_text(gained.p)}"
    return (Facts("The same words on two days", ((f"Words scored on {days}", told),)),)


def _family_words(view: CaseView) -> tuple[Part, ...]:
    """Which words had a clear s, and how many did not yet."""
    last = errors.last_judged(view)
    found = next((one for one in view.words_heard if last is not None and one.session == last.number), None)
    if found is None or not found.correct:
        return ()
    rest = f" In {len(found.other)} the s was not clear yet." if found.other else ""
    return (Paragraph(f"Clear: {_listed(found.correct)}.{rest}"),)


def _listed(words: Sequence[str]) -> str:
    more = f" and {len(words) - _MOST_WORDS} more" if len(words) > _MOST_WORDS else ""
    return f"{', '.join(words[:_MOST_WORDS])}{more}"


def _family_goals(view: CaseView) -> tuple[Part, ...]:
    wanted = goals.open_goals(view)
    heading = Heading("What we are working towards")
    if not wanted:
        return (heading, Blank("Next aim", 1))
    return (heading, Listing(tuple(goal.behaviour for goal in wanted), by_person=True))


def _to_practise(view: CaseView) -> tuple[Part, ...]:
    """The words put on practice sheets last, in large print; how often, as common practice has it."""
    treated = view.client.treated
    latest = max(treated.values(), default=None)
    words = sorted(word for word, day in treated.items() if day == latest)[:_MOST_WORDS]
    listed = (PracticeItem("   ".join(words), n_ticks=0),) if words else ()
    return (Heading("To practise at home"), *listed, Paragraph(HOME), Blank("How", 1))
