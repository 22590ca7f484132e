"""``compose``: a kind of report and a client's view come in, one ``Document`` goes out, its parts in their order."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from types import MappingProxyType

from ..charts import style, wording
from ..terms import MEASURES
from ..terms.case_view import CaseView
from ..terms.document import Blank, BlankTable, Document, Facts, Heading, Paragraph, Part, Table
from ..terms.groups import ContextCell
from ..terms.vocabulary import REPORT_KINDS, ReportKind
from . import errors, goals, lay, plain, sections
from .plain import ReportSettings

KINDS = REPORT_KINDS.words
_TITLES: Mapping[ReportKind, str] = MappingProxyType(
    {
        "monthly": "Monthly summary: /s/ in practice words",
        "quarterly": "Quarterly review: /s/ in practice words",
        "school": "Report for the school: /s/ in spoken words",
        "payer": "Report for the payer: /s/ in spoken words",
        "family": "How the s is coming along",
        "session": "Session note",
        "discharge": "Closing report: /s/ in spoken words",
    }
)
_MOST_CONTEXTS = 5  # what a page holds; the rest is counted beneath
_DENSE: tuple[ReportKind, ...] = ("monthly", "quarterly", "session", "discharge")
_SIGNED = (Blank("Clinician and credentials", by_hand=True), Blank("Signature and date", by_hand=True))


def compose(kind: ReportKind, view: CaseView, settings: ReportSettings) -> Document:
    """Compose one report from a client's view.

    Judged accuracy comes first and plain sentences before figures; what is missing is said; fields that only the
    clinician can fill stand empty.

    Parameters
    ----------
    kind : str
        ``monthly``, ``quarterly``, ``school``, ``payer``, ``family``, ``session`` or ``discharge``.
    view : CaseView
        The client, computed once.
    settings : ReportSettings
        Method, ranges that were ticked, session, pictures' formats.

    Returns
    -------
    Document
        The same for the same input.

    Raises
    ------
    ValueError
        For another kind, or a session that the client doesn't have.
    """
    kind = REPORT_KINDS.read(kind)
    view = plain.with_session(view, settings.session)
    last = f" · last probe {plain.day_text(view.last.on)}" if view.last else ""
    mark = style.INVENTED if view.client.invented else ""
    parts = _MAKERS[kind](view, settings)
    return Document(
        kind,
        _TITLES[kind],
        parts,
        f"{view.client.code}{last}",
        mark,
        large_print=kind == "family",
        dense=kind in _DENSE,
    )


def _monthly(view: CaseView, settings: ReportSettings) -> tuple[Part, ...]:
    return (
        *sections.opening(view),
        *sections.heard(view),
        *errors.errors_heard(view, "supervisor", table=False),
        *sections.measured(view, settings, keys=(view.main_measure,)),
        *sections.picture(view, settings),
        *goals.goals_short(view),
        *goals.events(view, heading=False),
        *sections.missing(view, settings),
        Blank("Next month"),
        *sections.closing(view, settings, blanks=_SIGNED),
    )


def _quarterly(view: CaseView, settings: ReportSettings) -> tuple[Part, ...]:
    return (
        *sections.opening(view),
        *sections.heard(view, by_position=True),
        *errors.errors_heard(view, "supervisor"),
        *sections.measured(view, settings, keys=view.measures),
        *sections.picture(view, settings),
        Heading("Every probe"),
        *sections.sessions(view, keys=(view.main_measure,)),
        *_generalisation(view),
        *_contexts(view),
        *_also(view),
        *_move_up(view),
        *_agreement(view),
        *sections.missing(view, settings),
        *goals.events(view),
        *_goals(view),
        *sections.closing(view, settings, blanks=(Blank("Clinician's reading", 2), *_SIGNED)),
    )


def _goals(view: CaseView) -> tuple[Part, ...]:
    empty = BlankTable("Filled by the clinician", ("State", "Goal", "By when", "Rule"), ("Met", "Continued", "New"))
    return (Heading("Goals"), *(goals.goals_table(view, "supervisor") or (empty,)))


def _session(view: CaseView, settings: ReportSettings) -> tuple[Part, ...]:
    last = view.last
    said: list[Part] = [Blank("Said by client, family, teacher; mood, illness, teeth", 2)]
    noted = [("Session note", last.session.note)] if last and last.session.note else []
    noted += [(plain.day_text(event.on), event.text) for event in (last.events if last else ())]
    if noted:
        said.insert(0, Facts("Noted on the day", tuple(noted), by_person=True))
    return (
        *sections.opening(view),
        Heading("S: what was said"),
        *said,
        Heading("O: what was observed"),
        *_observed(view, settings),
        *errors.errors_heard(view, "clinician", table=False),
        *_practised(view),
        Paragraph(plain.measured_sentences(view, view.main_measure)),
        *sections.change_table(view, keys=(view.main_measure,)),
        *goals.goals_short(view),
        Heading("A: the clinician's reading"),
        Blank("Reading, goal status, need for skilled help", 3),
        Heading("P: plan"),
        Blank("Next level, home practice, next probe", 3),
        *sections.closing(view, settings, blanks=_SIGNED),
    )


def _discharge(view: CaseView, settings: ReportSettings) -> tuple[Part, ...]:
    return (
        *sections.opening(view, Blank("Birth date", by_hand=True)),
        *sections.heard(view),
        *errors.errors_heard(view, "supervisor", table=False),
        *sections.measured(view, settings, keys=(view.main_measure,)),
        *sections.picture(view, settings),
        *_move_up(view),
        *goals.goals_short(view),
        *goals.events(view, heading=False),
        *sections.missing(view, settings),
        Blank("Criterion for closing, and how it was met"),
        Blank("Function at start and now"),
        Blank("Follow-up plan and dates"),
        *sections.closing(view, settings, blanks=_SIGNED),
    )


def _practised(view: CaseView) -> tuple[Part, ...]:
    """Practice of the session's own day, by cue: never a probe."""
    last = view.last
    rows = tuple(
        (f"Practice, {run.level}{f', {cue}' if cue else ''}", f"{right} of {said} correct")
        for run in view.runs
        if last is not None and run.on == last.on
        for cue, right, said in run.counted()
    )
    return (Facts("Practised on the day, apart from the probe", rows),) if rows else ()


def _observed(view: CaseView, settings: ReportSettings) -> tuple[Part, ...]:
    last = view.last
    if last is None:
        return (Paragraph("No probe has been recorded yet."),)
    session = last.session
    rows = [
        ("Level and cue", plain.conditions(last) or "not noted"),
        ("Word list", _list_name(session.list_form, settings.known_lists)),
        (
            "Sounds",
            f"{last.n_tokens} expected, {last.n_judged} judged, {last.n_checked} boundaries checked by a person",
        ),
        ("Judged correct", f"{plain.count_text(last.accuracy)}, {plain.share_text(last.accuracy)}"),
    ]
    rows += [
        (f"{cell.by}: {cell.value}", f"{plain.count_text(cell.accuracy)}, {plain.share_text(cell.accuracy)}")
        for cell in last.accuracy_by
        if cell.accuracy.n_scored
    ]
    rows += _additions(view, last.number)
    return (Paragraph(plain.heard_sentences(view)), Facts("Probe", tuple(rows)))


def _list_name(name: str, known: tuple[str, ...]) -> str:
    if not name:
        return "not noted"
    return name if name in known else "own list"


def _additions(view: CaseView, number: int) -> list[tuple[str, str]]:
    found = next((one for one in view.additions if one.session == number), None)
    if found is None or not found.n_foils:
        return []
    heard = (
        f"{found.n_foils_with_frication} of {found.n_foils} with frication, {found.n_added_by_ear} marked added by ear"
    )
    return [("Words without /s/", f"{heard}; to be listened to")]


def _generalisation(view: CaseView) -> tuple[Part, ...]:
    cells = view.generalisation
    if len(cells) < 2 or not any(cell.accuracy.n_correct for cell in cells):
        return ()  # one kind of word alone, or nothing yet that could carry over
    trained = any(cell.treated for cell in cells)
    rows = tuple(
        (cell.value, plain.count_text(cell.accuracy), plain.share_text(cell.accuracy)) for cell in view.generalisation
    )
    return (
        Heading("Does it carry over" if trained else "By kind of word"),
        Table("Judged by ear", ("Where", "Correct", "Percent (95\u2009% interval)"), rows),
    )


def _contexts(view: CaseView) -> tuple[Part, ...]:
    cells = [cell for cell in view.contexts if cell.key == view.main_measure]
    if not cells:
        return ()
    if all(cell.rank is None for cell in cells):
        return (Heading("By context"), Paragraph("Too few sounds in any one context to set contexts in order."))
    measure = wording.measure_of(view.main_measure)
    ordered = sorted(cells, key=lambda cell: (cell.rank is None, cell.rank or 0, cell.name))
    rows = tuple(
        (
            cell.name,
            str(cell.n),
            wording.interval_text(measure, cell.mean, cell.low, cell.high),
            _place(cell, cells),
        )
        for cell in ordered[:_MOST_CONTEXTS]
    )
    header = ("Context", "Sounds", f"Mean {measure.name}", "Place")
    first = "lowest" if view.client.direction in {"lower", "shorter"} else "highest"
    note = f"Own contexts, pooled over probes; a place says where the figure is {first}, not what to practise."
    if len(ordered) > _MOST_CONTEXTS:
        note += f" Not shown: {len(ordered) - _MOST_CONTEXTS} more."
    return (Heading("By context"), Table("Where in words", header, rows, note))


def _place(cell: ContextCell, cells: Sequence[ContextCell]) -> str:
    """A place in the order; said to be shared, and no place at all where no context is told from the others."""
    if cell.rank is None:
        return wording.spelled(cell.reason) or "not ranked"
    ranks = [one.rank for one in cells if one.rank is not None]
    if len(ranks) > 1 and len(set(ranks)) == 1:
        return "no difference"
    return f"{cell.rank}, shared" if ranks.count(cell.rank) > 1 else str(cell.rank)


def _also(view: CaseView) -> tuple[Part, ...]:
    """Spread, /s/ against /ʃ/, sets of three and words without /s/, one row each where there is something to say."""
    last = view.last
    rows = [
        *_spread_row(view),
        *_contrast_row(view),
        *_set_rows(view),
        *(_additions(view, last.number) if last else ()),
    ]
    return (Heading("Also looked at"), Facts("Measured or heard beside the main measure", tuple(rows))) if rows else ()


def _spread_row(view: CaseView) -> list[tuple[str, str]]:
    points = [point for point in view.spreads if point.key == view.main_measure and plain.finite(point.sd)]
    if len(points) < 2:
        return []
    measure = wording.measure_of(view.main_measure)
    ends = [wording.interval_text(measure, one.sd, one.low, one.high) for one in (points[0], points[-1])]
    return [("Spread over words", f"SD {ends[0]} in the first probe, {ends[1]} in the last")]


def _contrast_row(view: CaseView) -> list[tuple[str, str]]:
    found = [one for one in view.contrasts if one.key == view.main_measure]
    if not found:
        return []
    last = found[-1]
    left_out = f"; {wording.spelled(last.left_out_words)}" if last.left_out else ""
    if not plain.finite(last.difference):
        return [("/s/ against /ʃ/", f"cannot be judged: {wording.brief(last.reasons)}{left_out}")]
    difference = wording.interval_text(wording.measure_of(last.key), last.difference, last.low, last.high)
    auc = f"{wording.number(last.auc, 0.01)} {_bounds(last.auc_low, last.auc_high)}"
    return [("/s/ against /ʃ/", f"difference {difference}, area under the ROC curve {auc}, last probe{left_out}")]


def _set_rows(view: CaseView) -> list[tuple[str, str]]:
    rows = []
    for one in view.sets_of_three:
        what = MEASURES[one.key].name if one.key in MEASURES else "by ear"
        p = f" ({plain.p_text(one.p)}; {one.formula})" if one.p is not None else f" ({wording.brief(one.reasons)})"
        if one.n_sets:
            rows.append((f"Words said three times, {what}", f"{one.sentence}{p}"))
    return rows


def _move_up(view: CaseView) -> tuple[Part, ...]:
    rule = view.move_up
    if rule is None:
        return ()
    met = {True: "met", False: "not met", None: "cannot be told"}[rule.met]
    reasons = f" ({wording.brief(rule.reasons)})" if rule.reasons else ""
    shares = "; ".join(f"{plain.count_text(one)}, {plain.share_text(one)}" for one in rule.accuracies) or "–"
    rows = (("Rule", rule.rule), ("Level", rule.level), ("By the counts", f"{met}{reasons}"), ("Last probes", shares))
    return (Heading("The clinic's own rule for moving up"), Facts("Rule and counts", rows))


def _agreement(view: CaseView) -> tuple[Part, ...]:
    found = view.agreement
    if found is None:
        return ()
    rows = [("Listeners", f"{', '.join(found.raters)} ({found.kind})"), ("Sounds", str(found.n_tokens))]
    for label, value, low, high in (
        ("Point-to-point agreement", found.point_to_point, found.point_low, found.point_high),
        ("Cohen's kappa", found.kappa, found.kappa_low, found.kappa_high),
        ("Krippendorff's alpha", found.alpha, found.alpha_low, found.alpha_high),
    ):
        if plain.finite(value):
            rows.append(
                (label, f"{wording.number(value, 0.01)} ({wording.number(low, 0.01)} to {wording.number(high, 0.01)})")
            )
    return (Heading("Agreement of listeners"), Facts("Agreement, with 95\u2009% intervals", tuple(rows)))


def _bounds(low: float, high: float) -> str:
    return f"({wording.number(low, 0.01)} to {wording.number(high, 0.01)})"


_MAKERS: Mapping[ReportKind, Callable[[CaseView, ReportSettings], tuple[Part, ...]]] = MappingProxyType(
    {
        "monthly": _monthly,
        "quarterly": _quarterly,
        "school": lay.compose_school,
        "payer": lay.compose_payer,
        "family": lay.compose_family,
        "session": _session,
        "discharge": _discharge,
    }
)
