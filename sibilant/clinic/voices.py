"""Whose voice after a model: the replies that are sure confirmed by a person as a set, the others one by one."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from .. import store
from ..errors import RefusedError
from ..terms.clinic import Case
from ..terms.kept import AS_SET, Correction, KeptToken
from .answers import SetConfirmed, SetUndone, SetWaiting
from .caseload import CaseloadHandle, client_or_last, opened, session_or_last, used
from .judge import rater_or_last

TO_HEAR = 3  # least certain replies heard before a set is confirmed; own choice


def waiting(caseload: CaseloadHandle, code: str | None, number: int | None) -> SetWaiting:
    """Return what waits for a person's word on whose voice it is.

    ``n`` replies can be confirmed as a set, once the least certain of them (``hear``: key, prompt, attempt, file of the
    kept word, times) are heard; ``one_by_one`` are those of which it is not sure what was said or who said it;
    ``confirmed`` counts tokens that stand confirmed as a set, which can be taken back.
    """
    with opened(caseload) as one:
        name = client_or_last(one, code)
        session = session_or_last(one, name, number)
        case = store.read_case(one, name, session=session)
        used(one, name, session)
        sure, unsure = _replies(case, session)
        hear = [_to_hear(one, reply[0]) for reply in _least_certain(sure)]
    return {
        "client": name,
        "session": session,
        "n": len(sure),
        "hear": hear,
        "one_by_one": sorted({token.prompt for reply in unsure for token in reply}),
        "confirmed": sum(_confirmed_as_set(token) for token in case.tokens_of(session)),
    }


def confirm_set(
    caseload: CaseloadHandle, code: str | None, number: int | None, *, heard: Sequence[str], rater: str = ""
) -> SetConfirmed:
    """Confirm as the client's, on a person's word, every reply that is sure; kept as confirmed by set.

    Raises
    ------
    RefusedError
        When nothing waits, or the least certain three were not all heard.
    """
    with opened(caseload, who=rater) as one:
        name = client_or_last(one, code)
        session = session_or_last(one, name, number)
        case = store.read_case(one, name, session=session)
        sure, _ = _replies(case, session)
        if not sure:
            raise RefusedError(f"{name} session {session}: no reply waits to be confirmed as a set")
        if missing := [reply[0].prompt for reply in _least_certain(sure) if reply[0].key not in heard]:
            raise RefusedError(
                f"hear the least certain replies first: {', '.join(missing)} not heard yet as the client's;"
                " one that is not the client's is corrected by itself"
            )
        person, now = rater_or_last(one, rater), one.clock()
        by = _by_set(person)
        made = [
            Correction(token.key, by, now, voice="client", counts=None if _counts(token) else True)
            for reply in sure
            for token in reply
        ]
        store.add_corrections(one, name, session, made, made_on=case.revision)
        used(one, name, session)
    return {"client": name, "session": session, "confirmed": len(sure)}


def undo_set(caseload: CaseloadHandle, code: str | None, number: int | None, *, rater: str = "") -> SetUndone:
    """Take back what was confirmed as a set: those tokens wait again; both words stay in the trail.

    Raises
    ------
    RefusedError
        When nothing stands confirmed as a set.
    """
    with opened(caseload, who=rater) as one:
        name = client_or_last(one, code)
        session = session_or_last(one, name, number)
        case = store.read_case(one, name, session=session)
        tokens = [token for token in case.tokens_of(session) if _confirmed_as_set(token)]
        if not tokens:
            raise RefusedError(f"{name} session {session}: nothing stands confirmed as a set")
        by, now = _by_set(rater_or_last(one, rater)), one.clock()
        made = [
            Correction(token.key, by, now, voice="unsure", counts=False if _last(token).counts else None)
            for token in tokens
        ]
        store.add_corrections(one, name, session, made, made_on=case.revision)
        used(one, name, session)
    return {"client": name, "session": session, "taken_back": len(tokens)}


def _by_set(person: str) -> str:
    return person[: 40 - len(AS_SET)] + AS_SET


def _last(token: KeptToken) -> Correction:
    """The last word on whose voice it is."""
    return [correction for correction in token.corrections if correction.voice is not None][-1]


def _counts(token: KeptToken) -> bool:
    return token.sound.counts


def _confirmed_as_set(token: KeptToken) -> bool:
    if all(correction.voice is None for correction in token.corrections):
        return False
    return _last(token).as_set and _last(token).voice == "client"


def _replies(case: Case, session: int) -> tuple[list[list[KeptToken]], list[list[KeptToken]]]:
    """Tokens of each reply that waits, those that are sure apart from those to be looked at one by one.

    Sure: the match of word and sound is, and no second attempt at the prompt may be the client's too.
    """
    attempts: dict[int, dict[int, list[KeptToken]]] = {}
    for token in case.tokens_of(session):
        spoken = token.sound.utterance
        if spoken is not None and token.prompt_index and spoken.voice != "other":
            attempts.setdefault(token.prompt_index, {}).setdefault(token.attempt, []).append(token)
    sure: list[list[KeptToken]] = []
    unsure: list[list[KeptToken]] = []
    for of_prompt in attempts.values():
        alone = len(of_prompt) == 1
        for reply in of_prompt.values():
            if any(_voice(token) == "unsure" for token in reply):
                plain = alone and all(_is_sure(token) for token in reply)
                (sure if plain else unsure).append(reply)
    return sure, unsure


def _voice(token: KeptToken) -> str:
    return token.sound.voice


def _is_sure(token: KeptToken) -> bool:
    spoken = token.sound.utterance
    return spoken is not None and spoken.sure and token.sound.finding != "unsure"


def _least_certain(replies: Sequence[list[KeptToken]]) -> list[list[KeptToken]]:
    def confidence(reply: list[KeptToken]) -> tuple[float, int]:
        spoken = reply[0].sound.utterance
        return (spoken.confidence if spoken is not None else 0.0, reply[0].prompt_index)

    return sorted(replies, key=confidence)[:TO_HEAR]


def _to_hear(one: store.Caseload, token: KeptToken) -> dict[str, Any]:
    spoken = token.sound.utterance
    assert spoken is not None  # a reply was said
    clip = ""
    if token.clip and not one.encrypted:
        clip = str(store.read_clip(one, token.clip, store.clip_of(one, token.clip)[0]))
    return {
        "key": token.key,
        "prompt": token.prompt,
        "prompt_index": token.prompt_index,
        "clip": clip,
        "has_sound": bool(token.clip),
        "at_s": [round(spoken.interval.onset_s, 2), round(spoken.interval.offset_s, 2)],
    }
