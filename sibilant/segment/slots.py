"""Expected sibilants in an utterance: which frication belongs to which slot, what is extra, and what is absent."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from ..terms import Edge, Interval, Recording, SibilantInterval, SibilantSlot, Utterance
from .align import AFFRICATES, VOICED, align, kind_of
from .edges import Bounds, bounds_of
from .fine import FineLevels, fine_levels
from .frames import CoarseLevels, coarse_levels
from .frication import Run, Scene, hidden_run, is_burst, joined_run, runs_of, scene_of
from .seams import seam
from .track import Beyond

MARGIN_S = 0.25
REACH_S, HIDDEN_REACH_S = 0.2, 0.03
LEAST_SOUND_S = 0.012
CUT_S = 0.003
WEAK_DB, STOP_LIKE_MS = 25.0, 30.0
EDGE_S = 0.05
LEAST_SLOT_S = 0.025
LEAST_EXTRA_S = 0.05
BLOCK_S = 30.0
BLOCK_MARGIN_S = 0.5
LONGEST_FINE_S = 12.0
FINE_REACH_S = 0.6


@dataclass(frozen=True, slots=True)
class SibilantSearch:
    """What was found in one utterance: bounded slots, slots without frication, and sibilants nobody expected."""

    found: tuple[SibilantInterval, ...]
    absent: tuple[SibilantSlot, ...]
    extras: tuple[SibilantInterval, ...]


@dataclass(frozen=True, slots=True)
class _Stage:
    """One stretch of a recording and its runs; looked at finely as a whole (``fine``) unless it is long."""

    recording: Recording
    levels: CoarseLevels
    scene: Scene
    runs: tuple[Run, ...]
    fine: FineLevels | None

    def time_of(self, frame: int) -> float:
        """Centre of a coarse frame."""
        return self.levels.start_s + frame * self.levels.hop_s

    def fine_about(self, run: Run) -> FineLevels:
        """Fine levels that hold a run and what is beside it."""
        if self.fine is not None:
            return self.fine
        first, last = self.time_of(run.first) - FINE_REACH_S, self.time_of(run.last) + FINE_REACH_S
        return fine_levels(self.recording, Interval(max(0.0, first), max(0.0, last)))

    def frames_of(self, run: Run, fine: FineLevels) -> slice:
        """Fine frames of a run."""
        first, last = fine.frame_at(self.time_of(run.first)), fine.frame_at(self.time_of(run.last))
        return slice(first, max(first, last) + 1)


def _stage(recording: Recording, interval: Interval, margin_s: float = MARGIN_S) -> _Stage:
    begin = max(0.0, interval.onset_s - margin_s)
    wide = Interval(begin, max(begin, min(recording.duration_s, interval.offset_s + margin_s)))
    levels = coarse_levels(recording, wide)
    scene = scene_of(levels)
    inside = levels.frames_of(Interval(max(0.0, interval.onset_s - EDGE_S), interval.offset_s + EDGE_S))
    runs = tuple(run for run in runs_of(scene) if run.last >= inside.start and run.first < inside.stop)
    fine = fine_levels(recording, wide) if wide.duration_s <= LONGEST_FINE_S else None
    return _Stage(recording, levels, scene, runs, fine)


def find_sibilants(recording: Recording, utterance: Utterance) -> SibilantSearch:
    """Find, in one utterance, the frication of each expected slot and every sibilant that nobody expected.

    Inside a slot any frication is bounded, whatever its spectrum; outside, only what passes for a sibilant counts.

    Parameters
    ----------
    recording : Recording
        At its native rate.
    utterance : Utterance
        Where the prompt was spoken; its prompt's phones and slots say what to expect. Without a prompt every sibilant
        is an extra.

    Returns
    -------
    SibilantSearch
        In order of time; every slot of the prompt is in ``found`` or ``absent``. Never an error: silence, clipping and
        samples that are not finite end in ``absent`` or in flags.

    Examples
    --------
    Half a second of hiss between two seconds of near silence, without a prompt:

    >>> import numpy as np
    >>> from sibilant.terms import Recording, Source
    >>> noise = np.random.default_rng(1).standard_normal(40000) * np.where(np.arange(40000) // 8000 == 2, 0.1, 1e-4)
    >>> recording = Recording(noise.astype(np.float32), 16000, Source("hiss", ""))
    >>> search = find_sibilants(recording, Utterance(None, 0, 1, Interval(0.5, 2.0)))
    >>> [(round(s.automatic.onset_s, 2), round(s.automatic.offset_s, 2)) for s in search.extras]
    [(1.0, 1.5)]
    """
    stage = _stage(recording, utterance.interval)
    prompt = utterance.prompt
    slots = prompt.slots if prompt is not None else ()
    phones = prompt.phones if prompt is not None else ()
    matched = align(phones, stage.runs, stage.levels.hop_s, stage.scene.loudest_low_db) if phones else {}
    taken = _taken_runs(stage, matched, slots)
    found: list[SibilantInterval] = []
    for run, sharing in _by_run(taken, slots):
        found.extend(s for s in _shared(stage, run, sharing) if s.automatic.duration_s > LEAST_SOUND_S)
    bounded = {sound.slot for sound in found}
    absent = tuple(slot for slot in slots if slot not in bounded)
    expected = {j: kind_of(phones[i]) for i, j in matched.items()}
    extras = tuple(
        _bounded(stage, run, ())
        for j, run in enumerate(stage.runs)
        if passes_for_sibilant(run, stage, expected.get(j, "")) and not any(_overlap(run, r) for r in taken.values())
    )
    return SibilantSearch(tuple(found), absent, extras)


def _overlap(one: Run, other: Run) -> bool:
    return one.first <= other.last and other.first <= one.last


def _taken_runs(stage: _Stage, matched: dict[int, int], slots: Sequence[SibilantSlot]) -> dict[int, Run]:
    """Run of frication by slot index: matched, joined over its dips, or dug out where none was seen."""
    out: dict[int, Run] = {}
    for slot in slots:
        index = matched.get(slot.phone_index)
        if index is None or stage.runs[index].kind != "frication":
            run = _left_over(stage, slot, matched)
        else:
            run = _joined(stage, index, slot, set(matched.values()))
        if run is not None:
            out[slot.index] = run
    return out


def _left_over(stage: _Stage, slot: SibilantSlot, matched: dict[int, int]) -> Run | None:
    """Frication for a slot that took none: a run nobody took where the slot must lie, or a hidden one."""
    room = _room_for(stage, slot, matched)
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


def _room_for(stage: _Stage, slot: SibilantSlot, matched: dict[int, int]) -> slice:
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


def _joined(stage: _Stage, index: int, slot: SibilantSlot, taken: set[int]) -> Run:
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


def _by_run(taken: dict[int, Run], slots: Sequence[SibilantSlot]) -> list[tuple[Run, tuple[SibilantSlot, ...]]]:
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


def find_all(recording: Recording) -> tuple[SibilantInterval, ...]:
    """Every stretch of a recording that passes for a sibilant, without any prompt.

    Works in blocks of 30 s, so that memory stays bounded. Without a prompt one strong release or /f h θ/ in some twenty
    sounds is taken for a sibilant, and faint sibilants are not reported: where the words are known, use
    ``find_sibilants``.

    Parameters
    ----------
    recording : Recording
        At its native rate.

    Returns
    -------
    tuple of SibilantInterval
        In order of time, all without a slot.

    Examples
    --------
    >>> import numpy as np
    >>> from sibilant.terms import Recording, Source
    >>> noise = np.random.default_rng(1).standard_normal(40000) * np.where(np.arange(40000) // 8000 == 2, 0.1, 1e-4)
    >>> [s.slot for s in find_all(Recording(noise.astype(np.float32), 16000, Source("hiss", "")))]
    [None]
    """
    out: list[SibilantInterval] = []
    begin = 0.0
    while begin < recording.duration_s:
        end = min(recording.duration_s, begin + BLOCK_S)
        stage = _stage(recording, Interval(begin, end), BLOCK_MARGIN_S)
        for run in stage.runs:
            if begin <= stage.time_of(run.first) < end and passes_for_sibilant(run, stage):
                out.append(_bounded(stage, run, ()))
        begin = end
    return tuple(out)


def bound(recording: Recording, search_interval: Interval, slot: SibilantSlot | None = None) -> SibilantInterval | None:
    """Bound the strongest frication inside a stretch.

    Parameters
    ----------
    recording : Recording
        At its native rate.
    search_interval : Interval
        Where to look, such as what a person has drawn; the edges may lie up to 0.2 s outside.
    slot : SibilantSlot, optional
        What is expected there; its neighbours help to judge the edges.

    Returns
    -------
    SibilantInterval or None
        None when there is no frication at all.

    Examples
    --------
    >>> import numpy as np
    >>> from sibilant.terms import Recording, Source
    >>> noise = np.random.default_rng(1).standard_normal(40000) * np.where(np.arange(40000) // 8000 == 2, 0.1, 1e-4)
    >>> recording = Recording(noise.astype(np.float32), 16000, Source("hiss", ""))
    >>> round(bound(recording, Interval(0.9, 1.6)).automatic.duration_ms, -1)
    500.0
    """
    stage = _stage(recording, search_interval)
    inside = [run for run in stage.runs if run.kind == "frication"]
    if not inside:
        hidden = hidden_run(stage.scene, stage.levels.frames_of(search_interval))
        inside = [hidden] if hidden is not None else []
    if not inside:
        return None
    best = max(inside, key=lambda run: run.high_db + 10.0 * np.log10(run.n_frames))
    return _bounded(stage, best, (slot,) if slot is not None else ())


def passes_for_sibilant(run: Run, stage: _Stage, expected: str = "") -> bool:
    """Strong aperiodic energy at high frequencies, long enough and not a burst, aspiration or /f h θ/.

    ``expected`` is the kind of phone that took the run: where a stop or a faint fricative was expected, only a very
    clear sibilant is an extra.
    """
    length = run.n_frames * stage.levels.hop_s
    if run.kind != "frication" or length < LEAST_EXTRA_S or is_burst(run, length):
        return False
    below_loudest = stage.scene.loudest_high_db - run.high_db
    over_voice = run.high_db - stage.scene.loudest_low_db
    if expected in ("stop", "faint"):
        return below_loudest < 8.0 and run.balance_db > 22.0 and length > 0.08
    strong = over_voice > -19.5 and below_loudest < 10.0 and run.balance_db > -5.0
    clear = over_voice > -32.0 and below_loudest < 20.0 and run.balance_db > 8.0
    sharp = over_voice > -30.0 and run.balance_db > 20.0
    return strong or clear or sharp


def _bounded(stage: _Stage, run: Run, slots: tuple[SibilantSlot, ...]) -> SibilantInterval:
    """Bound a run for a slot, for the slots that share it (as one), or as an extra (no slot)."""
    fine = stage.fine_about(run)
    seed = stage.frames_of(run, fine)
    others = [stage.frames_of(r, fine) for r in stage.runs if r.kind == "frication" and not _overlap(r, run)]
    before = max((r.stop for r in others if r.stop <= seed.start + 1), default=0)
    after = min((r.start for r in others if r.start >= seed.stop - 1), default=fine.n_frames)
    reach = round((HIDDEN_REACH_S if run.hidden else REACH_S) / fine.hop_s)
    limits = slice(max(min(before, seed.start), seed.start - reach, 0), min(max(after, seed.stop), seed.stop + reach))
    beyond = Beyond(slots[0].phone, slots[0].previous_phone, slots[-1].next_phone) if slots else Beyond()
    return _sound(bounds_of(fine, seed, limits, beyond), run, slots[0] if slots else None, stage)


def _shared(stage: _Stage, run: Run, slots: tuple[SibilantSlot, ...]) -> list[SibilantInterval]:
    """Bound one frication, and cut it where several slots share it (``doubled``: the cut is little but a guess)."""
    rest = _bounded(stage, run, slots)
    fine = stage.fine_about(run)
    out: list[SibilantInterval] = []
    for k, slot in enumerate(slots[:-1]):
        alike = slot.phone == slots[k + 1].phone
        left, rest = split_at(rest, seam(fine, rest.automatic, len(slots) - k, alike=alike))
        out.append(replace(left, slot=slot))
    return [*out, replace(rest, slot=slots[-1])]


def split_at(sound: SibilantInterval, time_s: float) -> tuple[SibilantInterval, SibilantInterval]:
    """Cut a bounded frication in two at a seam."""
    whole, core = sound.automatic, sound.core
    unsure = 250.0 * min(time_s - whole.onset_s, whole.offset_s - time_s)
    edge = Edge(time_s, "frication", max(unsure, 5.0), 0.3)
    flags = tuple(dict.fromkeys((*sound.flags, "doubled")))
    left = replace(
        sound, automatic=Interval(whole.onset_s, time_s), core=Interval(min(core.onset_s, time_s), time_s),
        offset=edge, flags=flags, confidence=0.3,
    )  # fmt: skip
    right = replace(
        sound, automatic=Interval(time_s, whole.offset_s), core=Interval(time_s, max(core.offset_s, time_s)),
        onset=edge, flags=flags, confidence=0.3,
    )  # fmt: skip
    return left, right


def _sound(bounds: Bounds, run: Run, slot: SibilantSlot | None, stage: _Stage) -> SibilantInterval:
    onset, offset = bounds.onset, bounds.offset
    if onset.time_s < CUT_S:
        onset = replace(onset, beside="edge_of_recording")
    if offset.time_s > stage.recording.duration_s - CUT_S:
        offset = replace(offset, beside="edge_of_recording")
    release = is_burst(run, run.n_frames * stage.levels.hop_s) and (slot is None or slot.phone not in AFFRICATES)
    flags = {
        "weak": run.hidden or run.high_db < stage.scene.loudest_low_db - WEAK_DB,
        "stop_like": release or bounds.core.duration_ms < STOP_LIKE_MS,
        "floor_limited": onset.floor_limited or offset.floor_limited,
    }
    confidence = min(onset.confidence, offset.confidence)
    named = tuple(name for name, holds in flags.items() if holds)
    return SibilantInterval(
        slot, Interval(onset.time_s, offset.time_s), bounds.core, onset, offset, confidence, named
    )  # fmt: skip
