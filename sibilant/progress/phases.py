"""Phases of the probes, from when therapy ran as a person said it; what nobody said is a question, never a guess."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from ..terms.clinic import Client, Session
from ..terms.therapy import NOT_STATED, REFERENCES, Therapy
from ..terms.vocabulary import Phase
from .alike import settled
from .change import LEAST_BASELINE
from .series import first_baseline

_A_PERSONS_OWN: frozenset[Phase] = frozenset({"maintenance", "follow-up", "reference under treatment", "pause"})
"""Kept phases that only a person sets; earlier versions guessed the other two."""


def with_phases(therapy: Therapy | None, sessions: Sequence[Session]) -> tuple[Session, ...]:
    """Return sessions with the phases that follow from when therapy ran.

    Parameters
    ----------
    therapy : Therapy or None
        What was said; with None kept phases are read as they are, and those not stated stay so.
    sessions : sequence of Session
        In the order of their days.

    Returns
    -------
    tuple of Session
        Where therapy was under way before the first probe, the first three days of probes under the first one's
        conditions are the reference under treatment, never a baseline. A new baseline for another device, kept while
        therapy runs, is a reference under treatment too. What a person set (maintenance, follow-up) stays.

    Examples
    --------
    >>> import datetime as dt
    >>> days = [dt.date(2026, month, 3) for month in (8, 9, 10, 11)]
    >>> probes = [Session("C-7QXK", number, day) for number, day in enumerate(days, start=1)]
    >>> [one.phase for one in with_phases(Therapy(under_way=True), probes)][2:]
    ['reference under treatment', 'treatment']
    >>> [one.phase for one in with_phases(Therapy(dt.date(2026, 10, 1)), probes)]
    ['baseline', 'baseline', 'treatment', 'treatment']
    """
    if therapy is None or not sessions:
        return tuple(sessions)
    derived = [replace(one, phase=_phase(therapy, one)) for one in sessions]
    anchor = first_baseline(derived)
    assert anchor is not None
    there, alike = settled(derived, anchor)
    apart = {one.number for one in derived if alike[one.number] != there}
    first_days = _first_days([one for one in derived if one.number not in apart])
    under_way = not any(one.phase in REFERENCES for one in derived if one.number not in apart)
    new_line = {one.number for one in sessions if one.number in apart and one.phase == "baseline"}
    return tuple(
        replace(one, phase="reference under treatment")
        if one.phase == "treatment" and (one.number in new_line or (under_way and one.number in first_days))
        else one
        for one in derived
    )


def _phase(therapy: Therapy, session: Session) -> Phase:
    return session.phase if session.phase in _A_PERSONS_OWN else therapy.phase_on(session.on)


def _first_days(sessions: Sequence[Session]) -> set[int]:
    """Numbers of the probes on the first three days under treatment."""
    probes = [one for one in sessions if one.phase == "treatment" and not one.bridge]
    days = sorted({one.on for one in probes})[:LEAST_BASELINE]
    return {one.number for one in probes if one.on in days}


def phase_question(client: Client, sessions: Sequence[Session]) -> str:
    """Return what to ask where therapy was not stated and a probe's phase hangs on it; empty where nothing is open."""
    if client.therapy is not None or not any(one.phase == NOT_STATED for one in sessions):
        return ""
    return (
        "phase not stated: when did therapy of this sound start, or was it under way before the first probe?"
        " Until that is said, probes are called neither baseline nor treatment"
    )
