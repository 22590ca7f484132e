"""Stretches that a person marked come in with the slots of the prompts; which mark belongs to which slot goes out."""

from __future__ import annotations

from collections.abc import Sequence

from ..terms import Interval, Mark

# Chosen on hand marks and invented words (docs/boundaries.md), where no other origin is named.
REACH_S = 0.25  # a person's mark belongs to the nearest slot within this; own choice


def matched(marks: Sequence[Mark], slots: Sequence[tuple[str, Interval | None]]) -> dict[int, int]:
    """Place of the mark that each slot takes, by the slot's place: the nearest pairs first, each used once.

    ``slots``: phone (empty: no slot) and where it was found or is to be listened for. A mark with a phone fits slots of
    that phone, one without fits any; nothing is taken from farther than a quarter of a second.

    Examples
    --------
    >>> marks = [Mark(Interval(1.0, 1.1), "s", "S"), Mark(Interval(3.0, 3.1), "s", "S")]
    >>> matched(marks, [("S", Interval(0.9, 1.05)), ("SH", Interval(3.0, 3.1)), ("S", Interval(5.0, 5.1))])
    {0: 0}
    """
    pairs = sorted(
        (*_away(mark.interval, where), k, m)
        for k, (phone, where) in enumerate(slots)
        for m, mark in enumerate(marks)
        if phone and where is not None and mark.phone in ("", phone)
    )
    taken: dict[int, int] = {}
    for gap, _, k, m in pairs:
        if gap <= REACH_S and k not in taken and m not in taken.values():
            taken[k] = m
    return taken


def _away(one: Interval, other: Interval) -> tuple[float, float]:
    """Seconds between two stretches, and between their middles."""
    gap = max(0.0, one.onset_s - other.offset_s, other.onset_s - one.offset_s)
    return gap, abs(one.onset_s + one.offset_s - other.onset_s - other.offset_s) / 2
