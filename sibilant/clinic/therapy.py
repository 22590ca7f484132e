"""When therapy of a target ran: what a person says, added to what was said before, refused where it can't be."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from ..errors import UsageError
from ..progress.phases import phase_question, with_phases
from ..terms.clinic import Client, Session
from ..terms.therapy import Therapy
from .notes import Note


def read_therapy(said: Mapping[str, Any], before: Therapy | None) -> Therapy | None:
    """Return therapy as a person says it, after what was said before.

    Parameters
    ----------
    said : mapping
        ``starts`` (a day), ``under_way`` (true: it ran before the first probe), ``pauses``, ``resumes`` (days),
        ``not_stated`` (true: take back all that was said); what is absent or None stays as it was.
    before : Therapy or None
        What was said before.

    Raises
    ------
    UsageError
        When it contradicts itself, in one line with the way out.

    Examples
    --------
    >>> read_therapy({"starts": dt.date(2026, 2, 2), "pauses": dt.date(2026, 7, 1)}, None).text
    'starts on 2026-02-02; paused on 2026-07-01'
    """
    if said.get("not_stated"):
        return None
    starts, under_way = said.get("starts"), bool(said.get("under_way"))
    pauses, resumes = said.get("pauses"), said.get("resumes")
    if starts is not None and under_way:
        raise UsageError("--therapy-starts, --therapy-under-way: therapy starts on a day or was under way; say one")
    if before is None and starts is None and not under_way:
        raise UsageError(
            "--therapy-pauses, --therapy-resumes: nobody has said when therapy started; say --therapy-starts DATE"
            " or --therapy-under-way"
        )
    try:
        return _added(_begun(before, starts, under_way=under_way), pauses, resumes)
    except ValueError as error:
        raise UsageError(f"therapy: {error}") from error


def _begun(before: Therapy | None, starts: dt.date | None, *, under_way: bool) -> Therapy:
    if before is not None and starts is None and not under_way:
        return before
    fresh = Therapy(starts, under_way)
    return replace(fresh, pauses=before.pauses) if before is not None else fresh


def _added(therapy: Therapy, pauses: dt.date | None, resumes: dt.date | None) -> Therapy:
    """Add a pause and the day it ends, the earlier of the two first."""
    ends_before = resumes is not None and pauses is not None and resumes <= pauses
    if resumes is not None and ends_before:
        therapy, resumes = therapy.resumed(resumes), None
    if pauses is not None:
        therapy = therapy.paused(pauses)
    return therapy.resumed(resumes) if resumes is not None else therapy


def in_its_phase(client: Client, kept: Sequence[Session], session: Session) -> tuple[Session, tuple[Note, ...]]:
    """Return a kept session in the phase that follows from when therapy ran, and the question where nobody said it."""
    phased = with_phases(client.therapy, kept)
    found = next((one for one in phased if one.number == session.number), session)
    question = phase_question(client, phased)
    way_out = f"sibilant client change {client.code} --therapy-starts DATE or --therapy-under-way"
    return found, (Note(question, way_out),) if question else ()
