"""A person's judgements, from a file or one by one; blind in a stored random order, without date, phase or figures."""

from __future__ import annotations

import datetime as dt
import math
import random
import secrets
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from .. import store, tables
from ..errors import ListError, UsageError
from ..progress import accuracy, main_rater, standing
from ..terms.clinic import Case
from ..terms.kept import Judgement, KeptToken
from ..terms.vocabulary import DISTORTIONS, Heard
from .answers import Judged
from .caseload import CaseloadHandle, client_or_last, opened, session_or_last, used

CERTAINTIES = ("sure", "unsure")


@dataclass(frozen=True, slots=True)
class Listening:
    """One token to be judged: its word and where to listen, nothing that would lead the ear.

    ``clip`` is the file of its kept word; empty where none was kept, or where it is ``sealed`` and has no file to open.
    """

    key: str
    prompt: str
    sound: str
    clip: str
    place: int
    of: int
    sealed: bool = False


@dataclass(frozen=True, slots=True)
class Queue:
    """What is left to judge of a session, in the order to judge it, as of a revision of the client."""

    client: str
    session: int
    rater: str
    turn: int
    blind: bool
    left: tuple[Listening, ...]
    revision: int | None = None


def rater_or_last(caseload: store.Caseload, rater: str) -> str:
    """Return the rater's code, or the one used last, or R1 for the first of all."""
    return (rater.strip() or caseload.setting("last_rater") or "R1")[:40]


def judge_from(
    caseload: CaseloadHandle, code: str | None, number: int | None, path: Path, *, rater: str = "", blind: bool = False
) -> Judged:
    """Keep the judgements of JUDGEMENTS.csv; return how many, and what percent correct they give.

    Raises
    ------
    ListError
        When the file can't be read or names a token that the session does not hold; nothing is then kept.
    """
    rows = tables.read_judgements(path)
    if not rows:
        raise ListError(f"{path.name}: no judgements below its first line")
    places = _places_on_line(path)
    with opened(caseload, who=rater) as one:
        name = client_or_last(one, code)
        session = session_or_last(one, name, number)
        person = rater_or_last(one, rater)
        case = store.read_case(one, name, session=session)
        turn = _turn(case.tokens_of(session), person) if blind else 1
        by = (person, one.clock(), turn, blind)
        made = [
            replace(_from_row(case, session, row, path, by), line=line) for row, line in zip(rows, places, strict=True)
        ]
        store.add_judgements(one, name, session, made, made_on=case.revision)
        _remember(one, name, session, person)
        return _after(store.read_case(one, name, session=session), session, person, len(made))


def _from_row(
    case: Case, session: int, row: tables.JudgementRow, path: Path, by: tuple[str, dt.datetime, int, bool]
) -> Judgement:
    person, on, turn, blind = by
    try:
        types = tuple(DISTORTIONS.read(kind) for kind in (row.type, row.type2) if kind.strip())
    except UsageError as wrong:
        raise ListError(f"{path.name}: prompt_index {row.prompt_index}: {wrong}") from wrong
    return Judgement(
        token=find_token(case, session, (row.prompt_index, row.attempt, row.slot), path.name).key,
        heard=row.accuracy,
        rater=person,
        on=on,
        types=types,
        substitute=row.substitute,
        certainty=row.certainty,
        cue=row.cue,
        self_corrected=bool(row.self_corrected),
        note=row.note,
        turn=turn,
        blind=blind,
    )


def _places_on_line(path: Path) -> list[float | None]:
    """Return the places on a 0 to 100 line, from an optional column ``line``.

    Raises
    ------
    ListError
        When one is no number from 0 to 100.
    """
    places: list[float | None] = []
    for number, cells in tables.read_rows(path, ["prompt_index"]):
        cell = cells.get("line", "")
        if cell and not (cell.replace(".", "", 1).isdecimal() and 0 <= float(cell) <= 100):
            raise ListError(f"{path.name}: line {number}, line: a number from 0 to 100 is needed, got '{cell[:20]}'")
        places.append(float(cell) if cell else None)
    return places


def find_token(case: Case, session: int, place: tuple[int, int, int], file_name: str) -> KeptToken:
    """Return the token at (prompt, attempt, slot); a foil, which has no slot, is slot 1; so is a prompt not heard.

    Raises
    ------
    ListError
        When the session holds none there.
    """
    index, attempt, slot = place
    tokens = {token.key: token for token in case.tokens_of(session)}
    for key in (f"{index}.{attempt}.{slot}", f"{index}.0.{slot}", f"{index}.{attempt}", f"{index}.0"):
        bare = key.count(".") == 1
        if key in tokens and (slot == 1 or not bare):
            return tokens[key]
    raise ListError(
        f"{file_name}: prompt_index {index}, attempt {attempt}, slot {slot} is no token of session {session};"
        " sibilant session show lists them"
    )


def queue(
    caseload: CaseloadHandle,
    code: str | None,
    number: int | None,
    *,
    rater: str = "",
    blind: bool = False,
    share: float = 1.0,
) -> Queue:
    """Return what a rater has left to judge of a session.

    Blind: the order is drawn once at random and stored, so that stopping and going on keeps it; a rater who has judged
    the whole session before judges a ``share`` of it a second time.

    Raises
    ------
    UsageError
        When the share is not between 0 and 1.
    """
    if not 0 < share <= 1:
        raise UsageError(f"--share {share:g}: between 0 and 1, such as 0.2")
    with opened(caseload, who=rater) as one:
        name = client_or_last(one, code)
        session = session_or_last(one, name, number)
        person = rater_or_last(one, rater)
        case = store.read_case(one, name, session=session)
        tokens = {token.key: token for token in case.tokens_of(session) if can_be_judged(token)}
        turn = _turn(tuple(tokens.values()), person) if blind else 1
        order = _order(one, (name, session, person, turn), list(tokens), share) if blind else tuple(tokens)
        left = [key for key in order if key in tokens and not _has(tokens[key], person, turn)]
        _remember(one, name, session, person)
        heard = tuple(_listening(one, tokens[key], order.index(key) + 1, len(order)) for key in left)
        return Queue(name, session, person, turn, blind, heard, case.revision)


def can_be_judged(token: KeptToken) -> bool:
    """Say whether there is something to judge: an attempt that may be the client's, or a prompt not heard."""
    spoken = token.sound.utterance
    return spoken is None or (spoken.counts and spoken.voice != "other")


def _order(one: store.Caseload, of: tuple[str, int, str, int], keys: list[str], share: float) -> tuple[str, ...]:
    stored = store.judging_order(one, *of)
    if stored:
        return stored
    drawn = list(keys)
    random.Random(secrets.randbits(64)).shuffle(drawn)
    drawn = drawn[: max(1, round(share * len(drawn)))] if drawn else []
    store.keep_order(one, *of, drawn)
    return tuple(drawn)


def _turn(tokens: Sequence[KeptToken], rater: str) -> int:
    """The turn a rater is in: the first until every token is judged, then the second and so on."""
    own = [j.turn for token in tokens for j in token.judgements if j.rater == rater]
    if not own:
        return 1
    whole = all(_has(token, rater, 1) for token in tokens if can_be_judged(token))
    return max(2, max(own)) if whole else 1


def _has(token: KeptToken, rater: str, turn: int) -> bool:
    return any(j.rater == rater and j.turn == turn for j in token.judgements)


def _listening(one: store.Caseload, token: KeptToken, place: int, of: int) -> Listening:
    slot = token.sound.slot
    sound = f"{slot.position} /{slot.phone.lower()}/" if slot is not None else "no sibilant expected"
    if slot is not None and slot.cluster:
        sound += f" in {slot.cluster}"
    clip = ""
    if token.clip and not one.encrypted:
        suffix, _ = store.clip_of(one, token.clip)
        clip = str(store.read_clip(one, token.clip, suffix))
    return Listening(token.key, token.prompt, sound, clip, place, of, sealed=bool(token.clip) and one.encrypted)


def record(caseload: CaseloadHandle, of: Queue, key: str, heard: Heard, **more: Any) -> None:
    """Keep one judgement at once, so that stopping loses nothing.

    ``more`` are fields of :class:`~sibilant.terms.kept.Judgement`: ``types``, ``substitute``, ``certainty``,
    ``line``, ``cue``, ``self_corrected``, ``note``.

    Raises
    ------
    UsageError
        When a word of it is not known.
    """
    more["types"] = tuple(DISTORTIONS.read(kind) for kind in more.get("types", ()))
    if more.get("certainty", "") not in {"", *CERTAINTIES}:
        raise UsageError(f"certainty is {' or '.join(CERTAINTIES)}")
    with opened(caseload, who=of.rater) as one:
        try:
            made = Judgement(key, heard, of.rater, one.clock(), turn=of.turn, blind=of.blind, **more)
        except ValueError as wrong:
            raise UsageError(str(wrong)) from wrong
        store.add_judgements(one, of.client, of.session, [made], made_on=of.revision)


def after(caseload: CaseloadHandle, of: Queue) -> Judged:
    """Return what a rater's judgements of a session give."""
    with opened(caseload) as one:
        session = session_or_last(one, of.client, of.session)
        return _after(store.read_case(one, of.client, session=session), session, of.rater, 0)


def _after(case: Case, session: int, rater: str, n_kept: int) -> Judged:
    tokens = case.tokens_of(session)
    targets = [token for token in tokens if token.sound.phone == "S" and can_be_judged(token)]
    found = accuracy(standing(targets, rater), rater=rater)
    return {
        "client": case.client.code,
        "session": session,
        "rater": rater,
        "kept": n_kept,
        "judged": sum(any(j.rater == rater for j in token.judgements) for token in targets),
        "to_judge": len(targets),
        "correct": found.n_correct,
        "scored": found.n_scored,
        "low": found.low if found.n_scored else None,
        "high": found.high if found.n_scored else None,
        "rule": found.rule,
        "main_rater": main_rater(tokens),
    }


def lines(done: Judged) -> list[str]:
    """Return what a rater's judgements give, as lines for the terminal."""
    found = counted(done)
    return [*found, f"figures: sibilant progress {done['client']}"] if done["scored"] else found


def counted(done: Judged) -> list[str]:
    """Return what a rater's judgements give: how many there are, and how many are correct with the interval."""
    head = f"{done['client']} session {done['session']}, {done['rater']}: {done['judged']} of {done['to_judge']} judged"
    if not done["scored"]:
        return [head]
    share = 100 * done["correct"] / done["scored"]
    low, high = (100 * (end if end is not None else math.nan) for end in (done["low"], done["high"]))
    found = f"{done['correct']} of {done['scored']} correct: {share:.0f} % ({low:.0f} to {high:.0f}); {done['rule']}"
    return [head, found]


def _remember(one: store.Caseload, code: str, session: int, rater: str) -> None:
    used(one, code, session)
    store.remember(one, {"last_rater": rater})
