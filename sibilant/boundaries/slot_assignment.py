"""Which run of frication each expected sibilant takes, and which runs pass for one that nobody expected."""

from __future__ import annotations

from collections.abc import Sequence

from ..levels.ranks import median
from ..terms import PhonePlaces, SibilantSlot
from ..terms.vocabulary import VOICED
from .align import kind_of
from .frication import Run, hidden_run, is_burst, joined_run
from .reading import is_left_out, read_room, read_run
from .stage import Stage

# Chosen on hand marks and invented words (docs/boundaries.md), where no other origin is named.
LEAST_SLOT_S = 0.025  # a run in a slot lasts at least so long
LEAST_EXTRA_S = 0.05  # one outside any slot (docs/boundaries.md)
CLOSURE_S, LONGEST_RELEASE_S = 0.022, 0.2
"""Silence that may be a stop's closure, and how long its release may last (docs/boundaries.md)."""
FADING_SHARE, FADING_OVER_FLOOR_DB, FADING_REACH_DB, FADING_BALANCE_DB = 0.75, 12.0, 35.0, -4.0
"""A hiss through which a voice fades is none: share of it, levels of the voice, balance."""


def taken_runs(
    stage: Stage, matched: dict[int, int], slots: Sequence[SibilantSlot], places: PhonePlaces | None = None
) -> dict[int, Run]:
    """Run of frication by slot index: matched, joined over its dips, or dug out where none was seen.

    With ``places`` only where a reader of the whole prompt puts the slot is dug.
    """
    out: dict[int, Run] = {}
    for slot in slots:
        if places is not None and is_left_out(places, slot):
            continue
        index = matched.get(slot.phone_index)
        if index is None or stage.runs[index].kind != "frication":
            run = _left_over(stage, slot, matched, places)
        else:
            run = _joined(stage, index, slot, set(matched.values()))
        if run is not None and slot.phone not in VOICED and _is_fading_voice(stage, run):
            run = None
        if run is None and places is not None:
            run = read_run(stage, places, slot.phone_index)
        if run is not None:
            out[slot.index] = run
    return out


def _is_fading_voice(stage: Stage, run: Run) -> bool:
    """Whether what looked like frication is a voice fading: heard all through, and outweighing what is above 3 kHz.

    Found on sounds left out of invented words (-6 dB and less) and on hand-marked voiceless sibilants (0 dB and more).
    """
    scene, inside = stage.scene, slice(run.first, run.last + 1)
    heard = scene.low_over_floor_db[inside] > FADING_OVER_FLOOR_DB
    heard &= scene.low_db[inside] > scene.loudest_low_db - FADING_REACH_DB
    balance = median(scene.high_db[inside] - scene.low_db[inside])
    return float(heard.mean()) > FADING_SHARE and balance < FADING_BALANCE_DB


def _left_over(stage: Stage, slot: SibilantSlot, matched: dict[int, int], places: PhonePlaces | None) -> Run | None:
    """Frication for a slot that took none: a run nobody took where the slot must lie, or a hidden one."""
    room = room_for(stage, slot, matched) if places is None else read_room(stage, places, slot.phone_index)
    taken = set(matched.values())
    free = [
        run
        for j, run in enumerate(stage.runs)
        if run.kind == "frication"
        and j not in taken
        and room.start <= run.first
        and run.last < room.stop
        and run.n_frames * stage.levels.hop_s > LEAST_SLOT_S
        and not is_burst(run, run.n_frames * stage.levels.hop_s)
    ]
    if free:
        return max(free, key=lambda run: run.high_db)
    return hidden_run(stage.scene, room, voiced=slot.phone in VOICED)


def room_for(stage: Stage, slot: SibilantSlot, matched: dict[int, int]) -> slice:
    """Coarse frames in which a slot without a run may lie: between the runs its neighbours took, theirs included."""
    before = [matched[i] for i in matched if i < slot.phone_index]
    after = [matched[i] for i in matched if i > slot.phone_index]
    first = stage.runs[max(before)] if before else None
    last = stage.runs[min(after)] if after else None
    begin = 0 if first is None else first.first if first.kind == "voice" else first.last + 1
    end = stage.levels.n_frames if last is None else last.last + 1 if last.kind == "voice" else last.first
    if stage.runs:
        begin, end = max(begin, stage.runs[0].first), min(end, stage.runs[-1].last + 1)
    return slice(begin, max(begin, end))


def _joined(stage: Stage, index: int, slot: SibilantSlot, taken: set[int]) -> Run:
    """Join the pieces that dips cut off a run, on the sides where no other hiss is expected."""
    runs, first, last = stage.runs, index, index
    if kind_of(slot.next_phone) in ("vowel", "sonorant"):
        while last + 1 < len(runs) and last + 1 not in taken and _touching(runs[last], runs[last + 1]):
            last += 1
    if kind_of(slot.previous_phone) in ("vowel", "sonorant"):
        while first > 0 and first - 1 not in taken and _touching(runs[first - 1], runs[first]):
            first -= 1
    return runs[index] if first == last else joined_run(stage.scene, runs[first], runs[last])


def _touching(left: Run, right: Run) -> bool:
    return left.kind == right.kind == "frication" and right.first == left.last + 1


def by_run(taken: dict[int, Run], slots: Sequence[SibilantSlot]) -> list[tuple[Run, tuple[SibilantSlot, ...]]]:
    """Slots grouped by the run they share, in order."""
    out: list[tuple[Run, tuple[SibilantSlot, ...]]] = []
    for slot in slots:
        run = taken.get(slot.index)
        if run is None:
            continue
        if out and out[-1][0] == run:
            out[-1] = (run, (*out[-1][1], slot))
        else:
            out.append((run, (slot,)))
    return out


def passes_for_sibilant(run: Run, stage: Stage, expected: str = "") -> bool:
    """Strong aperiodic energy at high frequencies, long enough and not a burst, aspiration or /f h θ/.

    ``expected`` is the kind of phone that took the run: where a stop or a faint fricative was expected, only a very
    clear sibilant is an extra, and what follows the stop's closure is its release.
    """
    length = run.n_frames * stage.levels.hop_s
    if run.kind != "frication" or length < LEAST_EXTRA_S or is_burst(run, length):
        return False
    below_loudest = stage.scene.loudest_high_db - run.high_db
    over_voice = run.high_db - stage.scene.loudest_low_db
    if expected == "stop" and length < LONGEST_RELEASE_S and _after_closure(run, stage):
        return False
    if expected in ("stop", "faint"):
        return below_loudest < 8.0 and run.balance_db > 22.0 and length > 0.08
    strong = over_voice > -19.5 and below_loudest < 10.0 and run.balance_db > -5.0
    clear = over_voice > -32.0 and below_loudest < 20.0 and run.balance_db > 8.0
    sharp = over_voice > -30.0 and run.balance_db > 20.0
    return strong or clear or sharp


def _after_closure(run: Run, stage: Stage) -> bool:
    """Whether a silence within the word comes before a run, as before a release; a hiss for a stop has none."""
    at = stage.runs.index(run)
    if at < 2 or stage.runs[at - 1].kind != "silence":
        return False
    return stage.runs[at - 1].n_frames * stage.levels.hop_s >= CLOSURE_S


def overlap(one: Run, other: Run) -> bool:
    """Whether two runs share a frame."""
    return one.first <= other.last and other.first <= one.last
