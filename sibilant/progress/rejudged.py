"""Verdicts that differ where a client is followed under another method than before."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from ..terms.case_view import CaseView
from ..terms.clinic import Case

View = Callable[[Case], CaseView]


def other_verdicts(before: CaseView, after: CaseView) -> list[str]:
    """Say for which sessions the main measure's verdict differs, by the plain rule, which hangs on no other client."""
    key = after.main_measure
    was = {change.session: change.plain_verdict for change in before.changes_of(key)}
    return [
        f"session {change.session}: {change.plain_verdict}, before: {was.get(change.session, 'not compared')}"
        for change in after.changes_of(key)
        if was.get(change.session) != change.plain_verdict
    ]


def changed_method(case: Case, now: CaseView, label: str, view: View) -> str:
    """Return the sentence of the last change of method: its day, what was followed before, and verdicts that differ.

    Empty where the method was never changed, or it made no difference to what is followed.
    """
    last = case.choices[-1] if case.choices else None
    if last is None or not last.before or last.before == label:
        return ""
    earlier = view(replace(case, choices=(), client=replace(case.client, method=last.before)))
    differing = other_verdicts(earlier, now)
    verdicts = "; ".join(differing) or "no verdict of the main measure differs"
    return f"followed under {label} since {last.on.isoformat()}, under {last.before} before: {verdicts}"
