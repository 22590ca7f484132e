"""What must be alike for two probes to be joined; what nobody stated is a question, not a difference."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence

from ..terms.clinic import Session
from ..terms.kept import KeptToken

Conditions = tuple[str, str, str, str]
NAMES = ("device", "level", "cue", "list form")
_ASKED = (0, 2)
"""Places of device and cue: empty where nobody stated them."""
NARROW_HZ = 12000.0
"""Below this a recording may take away energy of /s/ that the ear would have heard (own choice)."""
_UNLIKE_SHARE = 0.8  # a band under this share of the others' is another bandwidth; own choice


def conditions(session: Session) -> Conditions:
    """Return what must be alike for two sessions to be joined, as stated."""
    return session.device, session.level, session.cue, session.list_form


def settled(sessions: Sequence[Session], anchor: Session) -> tuple[Conditions, Mapping[int, Conditions]]:
    """Return the conditions of the anchor's line, and each session's by number, with those not stated filled in.

    A device or cue that the anchor doesn't state is taken to be the first one stated; a session's to be the anchor's.

    Examples
    --------
    >>> import datetime as dt
    >>> day = dt.date(2026, 1, 12)
    >>> held = [Session("C-7QXK", 1, day), Session("C-7QXK", 2, day, device="desk")]
    >>> settled(held, held[0])[1][1]
    ('desk', 'word', 'spontaneous', '')
    """
    own = list(conditions(anchor))
    for place in _ASKED:
        own[place] = own[place] or next((c for one in sessions if (c := conditions(one)[place])), "")
    there = (own[0], own[1], own[2], own[3])
    return there, {one.number: _filled(conditions(one), there) for one in sessions}


def _filled(here: Conditions, there: Conditions) -> Conditions:
    return here[0] or there[0], here[1], here[2] or there[2], here[3]


def reasons_between(here: Conditions, there: Conditions) -> tuple[str, ...]:
    """Return how two conditions differ, such as ``another device (clip-on, was desk)``."""
    return tuple(
        f"another {name} ({now or 'not stated'}, was {then or 'not stated'})"
        for name, now, then in zip(NAMES, here, there, strict=True)
        if now != then
    )


def open_questions(sessions: Sequence[Session], anchor: Session) -> tuple[str, ...]:
    """Return what to ask of devices and cues that nobody stated, each for all its sessions at once."""
    there, _ = settled(sessions, anchor)
    found = []
    for place in _ASKED:
        missing = [one.number for one in sessions if not conditions(one)[place]]
        if missing and len(sessions) > 1:
            taken = f"taken as {there[place]} until it is said" if there[place] else "taken as the same all along"
            found.append(f"{NAMES[place]} not stated in {numbered(missing)}: which was it? ({taken})")
    return tuple(found)


def unlike_elicited(sessions: Sequence[Session]) -> str:
    """Return the sentence that words were had in unlike ways; empty where they were alike or nobody stated it."""
    ways: dict[str, list[int]] = defaultdict(list)
    for one in sessions:
        if one.elicited:
            ways[one.elicited].append(one.number)
    if len(ways) < 2:
        return ""
    said = "; ".join(f"{way} in {numbered(numbers)}" for way, numbers in sorted(ways.items(), key=lambda i: i[1]))
    return f"words were had in unlike ways ({said}): compared with that caution"


def unlike_bandwidth(early: Sequence[KeptToken], late: Sequence[KeptToken]) -> str:
    """Return the caution for an ear-to-ear comparison of recordings of unlike bandwidth; empty where they are alike."""
    ends = [_bandwidth_hz(tokens) for tokens in (early, late)]
    if None in ends:
        return ""
    first, last = (value for value in ends if value is not None)
    if min(first, last) >= NARROW_HZ or min(first, last) > _UNLIKE_SHARE * max(first, last):
        return ""
    return (
        "the recordings are cut off at unlike frequencies, within the range of /s/: where they were judged from the"
        " recording, not heard live, compare with care"
    )


def _bandwidth_hz(tokens: Sequence[KeptToken]) -> float | None:
    found = sorted(token.bandwidth_hz for token in tokens if token.bandwidth_hz is not None)
    return found[len(found) // 2] if found else None


def numbered(numbers: Sequence[int]) -> str:
    """Return sessions in words.

    Examples
    --------
    >>> numbered([3]), numbered([1, 2])
    ('session 3', 'sessions 1, 2')
    """
    return f"session{'s' * (len(numbers) > 1)} {', '.join(str(number) for number in numbers)}"
