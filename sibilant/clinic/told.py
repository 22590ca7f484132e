"""What is told of a client first: sentences with their days; how they were worked out is told apart."""

from __future__ import annotations

from ..terms.case_view import CaseView


def sentences(view: CaseView) -> tuple[str, ...]:
    """Return what was heard, what changed, goals and visits, each with its day.

    The wording is that of the reports: one sentence is said in one way wherever it is read.
    """
    from ..report import goals, lay, plain
    from ..report.errors import added_sentence, consistency_sentence, errors_sentence

    measured = plain.measured_sentences(view, view.main_measure) if view.summaries else ""
    aims = (f"Goal: {goal.behaviour}: {goals.standing(view, goal)}." for goal in goals.open_goals(view))
    said = (
        plain.heard_sentences(view),
        lay.gained_sentence(view),
        errors_sentence(view, "clinician"),
        consistency_sentence(view),
        added_sentence(view),
        plain.presence_sentence(view),
        measured,
        *aims,
        goals.visits_sentence(view),
    )
    return tuple(one for one in said if one)
