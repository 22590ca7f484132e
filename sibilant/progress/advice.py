"""When to take the next baseline, while none of the later probes has been taken."""

from __future__ import annotations

from collections.abc import Sequence

from ..terms.clinic import Client, Session
from ..terms.therapy import NOT_STATED
from .phases import with_phases
from .related import next_baseline
from .series import Series, series_of


def baseline_advice(client: Client, sessions: Sequence[Session]) -> str:
    """Return when to take the next baseline and what taking it sooner costs; empty where there are enough.

    Parameters
    ----------
    client : Client
        With what was said of therapy.
    sessions : sequence of Session
        The client's sessions so far.

    Examples
    --------
    >>> import datetime as dt
    >>> client = Client("C-7QXK", 80, dt.date(2026, 1, 5))
    >>> baseline_advice(client, [Session("C-7QXK", 1, dt.date(2026, 1, 12))])[:34]
    'next baseline: 2026-02-02 or later'
    """
    lines = series_of(with_phases(client.therapy, sorted(sessions, key=lambda one: (one.on, one.number))))
    return advice_for(lines[0]) if lines else ""


def advice_for(line: Series) -> str:
    """Return the same for a client's main line."""
    if line.later or line.reference not in ("baseline", NOT_STATED):
        return ""
    told = next_baseline([session.on for session in line.baseline])
    if told and line.reference == NOT_STATED:
        return f"if therapy has not started, the {told}"
    return told
