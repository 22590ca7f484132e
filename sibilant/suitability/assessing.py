"""A recording and the sibilants bounded in it come in; what each sound and the recording can support goes out.

The one verb of the room: it asks every sign once, so that no two callers weigh a recording differently.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from ..terms import Interval, Recording, SibilantInterval
from ..terms.suitability import Suitability
from . import band, level, noise, processing, rate, room, within
from .evidence import Evidence, gather
from .rules import ALL, OWN, Reading, Rule
from .verdicts import assessed


def read_no_sibilant(evidence: Evidence) -> Iterator[Reading]:
    """Number of sibilants, when it is none."""
    if not evidence.sounds:
        yield Reading(0.0)


NO_SIBILANT = Rule(
    "no_sibilant",
    "no sibilant found",
    "number of sibilants found in the recording",
    "",
    None,
    0.5,
    (),
    ALL,
    "No hiss was found, so nothing can be said of one: check that this is the right recording, and record nearer to the"
    " microphone.",
    OWN,
    read_no_sibilant,
    below=True,
    weight=9,
)

SIGNS: tuple[Rule, ...] = (
    NO_SIBILANT,
    *level.RULES,
    *band.RULES,
    *noise.RULES,
    *within.RULES,
    *processing.RULES,
    *room.RULES,
    *rate.RULES,
)
"""Every sign, with its thresholds and their sources; ``docs/signs.md`` is made from this."""


def assess(
    recording: Recording, sounds: Sequence[SibilantInterval], *, words: Sequence[Interval | None] = ()
) -> Suitability:
    """Say what a recording, and each sibilant in it, can and cannot support.

    Parameters
    ----------
    recording : Recording
        One channel at its native rate.
    sounds : sequence of SibilantInterval
        The sibilants found; none is allowed, and is then the first finding.
    words : sequence of Interval or None, optional
        For each sound the stretch of the word it is in, where known, so that a closure inside a word is never taken
        for a pause.

    Returns
    -------
    Suitability
        Findings with values and thresholds, the recording's verdict (that of its worst quarter of sounds, and of the
        signs that concern the whole), and one ``TokenSupport`` for each sound, in order.

    Raises
    ------
    ValueError
        When ``words`` are given but not one for each sound.

    Examples
    --------
    >>> import numpy as np
    >>> from sibilant.terms import Source
    >>> assess(Recording(np.zeros(44_100, np.float32), 44_100, Source("silence", "")), ()).verdict.worst
    'not usable'
    """
    if words and len(words) != len(sounds):
        raise ValueError(f"one word (or None) for each sound was asked: {len(sounds)} sounds, {len(words)} words")
    return assessed(gather(recording, sounds, words), SIGNS)
