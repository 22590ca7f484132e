"""Corrections by a person: edges, whose voice, which attempt counts; the automatic values stay beside them."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any, TypedDict

from .. import audio, store, tables
from ..errors import ListError, UsageError
from ..terms import NOT_MEASURED, Measurement, Recording, Sound
from ..terms.clinic import Case
from ..terms.kept import Correction, KeptToken
from ..terms.vocabulary import VOICES
from .around import by_own_margins, kept_of, kept_word, measured_in
from .caseload import CaseloadHandle, client_or_last, opened, session_or_last, used
from .judge import find_token, rater_or_last

SPECTRAL_LOST = "audio_not_kept"


class Reviewed(TypedDict):
    """What a review did: rows kept, sounds measured again (some without their sound), and how many stand checked."""

    client: str
    session: int
    rater: str
    corrected: int
    measured_again: int
    without_sound: int
    checked: int
    of: int


def review_from(
    caseload: CaseloadHandle,
    code: str | None,
    number: int | None,
    path: Path,
    *,
    rater: str = "",
    recording: Path | None = None,
) -> Reviewed:
    """Keep the corrections of REVIEW.csv and measure moved sibilants again between their new edges.

    The sound measured is the kept word, or ``recording``, whose hash must be the session's. A row without edges, voice
    or counts says that a person has checked the token and left it.

    Raises
    ------
    ListError
        When the file can't be read, names a token that the session does not hold, or edges that lie outside the word.
    """
    rows = tables.read_reviews(path)
    if not rows:
        raise ListError(f"{path.name}: no corrections below its first line")
    return review_rows(caseload, code, number, rows, rater=rater, recording=recording, named=path.name)


def review_one(
    caseload: CaseloadHandle, code: str | None, number: int | None, given: Mapping[str, Any], *, rater: str = ""
) -> Reviewed:
    """Keep one correction, given as plain values named as in REVIEW.csv; what was not set is left out or None.

    Raises
    ------
    UsageError
        When a value is not one that can be.
    """
    try:
        onset, offset = (None if given.get(name) is None else float(given[name]) for name in ("onset_s", "offset_s"))
        index, attempt, slot = (int(given[name]) for name in ("prompt_index", "attempt", "slot"))
    except (KeyError, TypeError, ValueError) as wrong:
        raise UsageError("a correction needs its place (prompt, attempt, slot) and plain numbers") from wrong
    together = (onset is None) == (offset is None)
    if not together or (onset is not None and offset is not None and not 0 <= onset < offset < math.inf):
        raise UsageError("the beginning of a sibilant lies before its end; move an edge back")
    voice, counts = VOICES.read_or_empty(str(given.get("voice") or "")), given.get("counts")
    if counts not in {None, True, False}:
        raise UsageError("an attempt counts or does not")
    row = tables.ReviewRow(index, attempt, slot, onset, offset, voice, counts)
    return review_rows(caseload, code, number, [row], rater=rater)


def review_rows(
    caseload: CaseloadHandle,
    code: str | None,
    number: int | None,
    rows: Sequence[tables.ReviewRow],
    *,
    rater: str = "",
    recording: Path | None = None,
    named: str = "review",
) -> Reviewed:
    """Keep corrections given as rows; ``named`` is what errors call their source. See :func:`review_from`."""
    with opened(caseload, who=rater) as one:
        name = client_or_last(one, code)
        session = session_or_last(one, name, number)
        person = rater_or_last(one, rater)
        case = store.read_case(one, name, session=session)
        corrections = [made for row in rows for made in _corrections(case, session, row, named, (person, one))]
        whole = _whole(case, session, recording)
        around = store.read_surroundings(one, name, session=session).get(session, {})
        measured = [
            found
            for correction in corrections
            if correction.onset_s is not None
            for found in _again(one, _token(case, session, correction.token), correction, whole, named, around)
        ]
        store.add_corrections(one, name, session, corrections, measured, made_on=case.revision)
        used(one, name, session)
        store.remember(one, {"last_rater": person})
        lost = sum(SPECTRAL_LOST in found.flags for found in measured)
        touched = {correction.token for correction in corrections}
        checked = [token for token in case.tokens_of(session) if token.reviewed or token.key in touched]
        return {
            "client": name,
            "session": session,
            "rater": person,
            "corrected": len(rows),
            "measured_again": len({found.sound_id for found in measured}),
            "without_sound": lost,
            "checked": len(checked),
            "of": len(case.tokens_of(session)),
        }


def _token(case: Case, session: int, key: str) -> KeptToken:
    return next(token for token in case.tokens_of(session) if token.key == key)


def _corrections(
    case: Case, session: int, row: tables.ReviewRow, file_name: str, by: tuple[str, store.Caseload]
) -> list[Correction]:
    """The row's own correction, and those of other tokens that follow from it.

    A voice or a choice of attempt holds for the whole utterance; the attempt that counts is one of a prompt's.
    """
    person, one = by
    token = find_token(case, session, (row.prompt_index, row.attempt, row.slot), file_name)
    counts = row.counts
    of_prompt = [other for other in case.tokens_of(session) if other.prompt_index == row.prompt_index]
    if row.voice == "client" and counts is None and not any(_counts(other) for other in of_prompt):
        counts = True
    now = one.clock()
    made = [Correction(token.key, person, now, row.onset_s, row.offset_s, row.voice or None, counts)]
    for other in of_prompt:
        if other.key == token.key or other.sound.utterance is None:
            continue
        same = other.attempt == token.attempt
        if same and (row.voice or counts is not None):
            made.append(Correction(other.key, person, now, voice=row.voice or None, counts=counts))
        elif not same and counts and _counts(other):
            made.append(Correction(other.key, person, now, counts=False))
    return made


def _counts(token: KeptToken) -> bool:
    return token.sound.may_count


def _whole(case: Case, session: int, path: Path | None) -> Recording | None:
    if path is None:
        return None
    recording = audio.read_recording(path)
    kept = next(one for one in case.sessions if one.number == session)
    if recording.source.sha256 not in kept.recordings:
        raise ListError(f"{path.name}: not a recording of session {session}; name the file that was kept then")
    return recording


def _again(
    one: store.Caseload,
    kept: KeptToken,
    correction: Correction,
    whole: Recording | None,
    file_name: str,
    around: store.Around,
) -> list[Measurement]:
    """Measure one token again under each of its methods, between the edges a person set, with the noise kept of it."""
    assert correction.onset_s is not None and correction.offset_s is not None
    recording, start_s = (whole, 0.0) if whole is not None else kept_word(one, kept.clip)
    sound = store.corrected(kept.sound, [*kept.corrections, correction])
    if recording is None:
        return [_durations_only(sound, found) for found in kept.measurements.values()]
    if not 0 <= correction.onset_s - start_s < correction.offset_s - start_s <= recording.duration_s + 1e-3:
        raise ListError(
            f"{file_name}: token {kept.key}: the edges {correction.onset_s:g} to {correction.offset_s:g} s lie outside"
            f" the kept word ({start_s:.3f} to {start_s + recording.duration_s:.3f} s); name the recording by"
            " --recording"
        )
    known = kept_of(kept, around)
    found = []
    for before in kept.measurements.values():
        (again,) = measured_in(recording, start_s, [sound], before.method, known)
        again = replace(again, snr_db=before.snr_db if again.snr_db is None else again.snr_db)
        found.append(again if known is not None or whole is not None else by_own_margins(again))
    return found


def _durations_only(sound: Sound, before: Measurement) -> Measurement:
    """Return what is left of a sound that was not kept: the new length; all else is left out with its reason."""
    if before.measures == NOT_MEASURED or sound.edges is None:
        return before
    values = {"duration_ms": sound.edges.interval.duration_ms}
    measures = replace(
        before.measures, values=values, low={}, high={}, boundary={}, flags=(SPECTRAL_LOST,), region=None
    )
    return replace(before, measures=measures, flags=(SPECTRAL_LOST,))
