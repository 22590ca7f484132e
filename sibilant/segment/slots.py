"""Expected sibilants in an utterance: which frication belongs to which slot, what is extra, and what is absent."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from ..terms import Edge, Interval, Recording, SibilantInterval, SibilantSlot, Utterance
from .edges import Beyond, Bounds, bounds_of
from .frames import CoarseLevels, FineLevels, coarse_levels, fine_levels
from .frication import Run, Scene, hidden_run, joined_run, runs_of, scene_of
from .seams import seam

MARGIN_S = 0.25
REACH_S = 0.2
SIBILANTS = frozenset({"S", "Z", "SH", "ZH", "CH", "JH"})
STOPS = frozenset({"P", "T", "K", "B", "D", "G"})
FAINT_FRICATIVES = frozenset({"F", "TH", "HH", "V", "DH"})
SONORANTS = frozenset({"M", "N", "NG", "L", "R", "W", "Y"})
LONGEST_BLOCK_S = 30.0


@dataclass(frozen=True, slots=True)
class SibilantSearch:
    """What was found in one utterance: bounded slots, slots without frication, and sibilants nobody expected."""

    found: tuple[SibilantInterval, ...]
    absent: tuple[SibilantSlot, ...]
    extras: tuple[SibilantInterval, ...]


@lru_cache(maxsize=256)
def kind_of(phone: str) -> str:
    """Return the kind of an ARPABET phone: sibilant, stop, faint (fricative), sonorant or vowel (empty for none).

    Examples
    --------
    >>> [kind_of(p) for p in ("S", "IY1", "T", "HH", "N")]
    ['sibilant', 'vowel', 'stop', 'faint', 'sonorant']
    """
    base = phone.rstrip("012")
    if not base:
        return ""
    for kind, members in (
        ("sibilant", SIBILANTS),
        ("stop", STOPS),
        ("faint", FAINT_FRICATIVES),
        ("sonorant", SONORANTS),
    ):
        if base in members:
            return kind
    return "vowel"


SKIP_PHONE = {"vowel": 3.0, "sonorant": 0.6, "stop": 0.6, "faint": 1.0, "sibilant": 5.0}
VOICE_COST = {"vowel": 0.0, "sonorant": 0.2, "faint": 1.0, "stop": 1.2}


@dataclass(frozen=True, slots=True)
class _Yard:
    """What the runs of one utterance are compared with: its strongest frication and its length of a frame."""

    loudest_db: float
    balance_db: float
    hop_s: float

    def likeness(self, run: Run, phone: str = "") -> float:
        """How much a run of frication is like this utterance's clearest sibilant, 0 to 1; a weak or odd one has less.

        Balance does not count for a voiced ``phone``, nor an abrupt beginning for an affricate.
        """
        length = run.n_frames * self.hop_s
        faint = float(np.clip((self.loudest_db - run.high_db) / 20.0, 0.0, 1.2))
        dull = float(np.clip((self.balance_db - run.balance_db) / 30.0, 0.0, 1.2))
        short = float(np.clip((0.06 - length) / 0.045, 0.0, 1.0))
        burst = float(run.rise_db > 27.0 and length < 0.15)
        dull *= phone not in ("Z", "ZH", "JH")
        burst *= phone not in ("CH", "JH")
        return max(0.0, 1.0 - 0.6 * faint - 0.35 * dull - 0.8 * short - 0.4 * burst)


def _yard(runs: Sequence[Run], hop_s: float) -> _Yard:
    hisses = [
        run
        for run in runs
        if run.kind == "frication" and run.n_frames * hop_s > 0.035 and (run.balance_db > 0 or not run.voiced)
    ]
    loudest = max((run.high_db for run in hisses), default=-140.0)
    balance = max((run.balance_db for run in hisses if run.high_db > loudest - 20.0), default=0.0)
    return _Yard(loudest, balance, hop_s)


def _match_cost(kind: str, phone: str, run: Run, yard: _Yard) -> float | None:
    """Cost of taking a run for a phone; None when it can't be."""
    if run.kind == "silence":
        return 0.0 if kind == "stop" else None
    if run.kind == "voice":
        return VOICE_COST.get(kind)
    like = yard.likeness(run, phone)
    if kind == "sibilant":
        return 3.0 * (1.0 - like) + 0.3 * (run.voiced and phone not in ("Z", "ZH", "JH"))
    if kind == "stop":
        long = float(np.clip((run.n_frames * yard.hop_s - 0.16) / 0.03, 0.0, 4.0))
        return 0.2 + long + 1.5 * like
    if kind == "faint":
        return 0.2 + 2.5 * like
    return 1.5 + 2.0 * like


def _skip_cost(run: Run, yard: _Yard) -> float:
    """Cost of leaving a run without a phone."""
    if run.kind == "silence":
        return 0.0
    length = run.n_frames * yard.hop_s
    if run.kind == "voice":
        return float(np.clip(length / 0.05, 0.3, 3.0))
    return 0.2 + 3.0 * yard.likeness(run)


def _stay_cost(kind: str, run: Run) -> float | None:
    """Cost of a phone sharing the run that the phone before it took; None when it can't."""
    if run.kind == "voice":
        return {"sonorant": 0.1, "vowel": 0.5, "faint": 0.5, "stop": 0.6}.get(kind)
    if run.kind == "frication":
        return {"sibilant": 0.8, "stop": 0.5, "faint": 0.8, "vowel": 4.0}.get(kind)
    return 0.6 if kind == "stop" else None


def align(phones: Sequence[str], runs: Sequence[Run], hop_s: float) -> dict[int, int]:
    """Match phones to runs in order at the least cost; returns run by phone index for the phones that got one.

    Several phones may share a voiced run, or a doubled or merged frication; phones and runs may be left out.
    """
    n, m = len(phones), len(runs)
    yard = _yard(runs, hop_s)
    kinds = [kind_of(phone) for phone in phones]
    skips = [_skip_cost(run, yard) for run in runs]
    far = float("inf")
    cost = np.full((n + 1, m + 1), far)
    used = np.full((n + 1, m + 1), far)
    move: dict[tuple[int, int, bool], tuple[int, int, bool, bool]] = {}
    cost[0, 0] = 0.0
    for i in range(n + 1):
        for j in range(m + 1):
            if i and j:
                match = _match_cost(kinds[i - 1], phones[i - 1], runs[j - 1], yard)
                free, held = cost[i - 1, j - 1], used[i - 1, j - 1]
                if match is not None and min(free, held) + match < used[i, j]:
                    used[i, j] = min(free, held) + match
                    move[i, j, True] = (i - 1, j - 1, bool(held <= free), True)
                stay = _stay_cost(kinds[i - 1], runs[j - 1]) if i > 1 and j else None
                if stay is not None and used[i - 1, j] + stay < used[i, j]:
                    used[i, j] = used[i - 1, j] + stay
                    move[i, j, True] = (i - 1, j, True, True)
            if i and used[i - 1, j] + SKIP_PHONE[kinds[i - 1]] < used[i, j]:
                used[i, j] = used[i - 1, j] + SKIP_PHONE[kinds[i - 1]]
                move[i, j, True] = (i - 1, j, True, False)
            if i and cost[i - 1, j] + SKIP_PHONE[kinds[i - 1]] < cost[i, j]:
                cost[i, j] = cost[i - 1, j] + SKIP_PHONE[kinds[i - 1]]
                move[i, j, False] = (i - 1, j, False, False)
            if j:
                best = min(cost[i, j - 1], used[i, j - 1]) + skips[j - 1]
                if best < cost[i, j]:
                    cost[i, j] = best
                    move[i, j, False] = (i, j - 1, bool(used[i, j - 1] < cost[i, j - 1]), False)
    out: dict[int, int] = {}
    i, j, flag = n, m, bool(used[n, m] <= cost[n, m])
    while (i, j, flag) in move:
        before_i, before_j, before_flag, matched = move[i, j, flag]
        if matched:
            out[i - 1] = j - 1
        i, j, flag = before_i, before_j, before_flag
    return out


@dataclass(frozen=True, slots=True)
class _Stage:
    """One stretch of a recording, looked at coarsely and finely."""

    recording: Recording
    levels: CoarseLevels
    scene: Scene
    runs: tuple[Run, ...]
    fine: FineLevels

    def seed(self, run: Run) -> slice:
        """Fine frames of a run."""
        first = self.fine.frame_at(self.levels.start_s + run.first * self.levels.hop_s)
        last = self.fine.frame_at(self.levels.start_s + run.last * self.levels.hop_s)
        return slice(first, max(first, last) + 1)

    def time_of(self, frame: int) -> float:
        """Centre of a coarse frame."""
        return self.levels.start_s + frame * self.levels.hop_s


def _stage(recording: Recording, interval: Interval, margin_s: float = MARGIN_S) -> _Stage:
    wide = Interval(
        max(0.0, interval.onset_s - margin_s), min(recording.duration_s, max(interval.offset_s + margin_s, 0.0))
    )
    levels = coarse_levels(recording, wide)
    scene = scene_of(levels)
    inside = levels.frames_of(Interval(max(0.0, interval.onset_s - 0.05), interval.offset_s + 0.05))
    runs = tuple(run for run in runs_of(scene) if run.last >= inside.start and run.first < inside.stop)
    return _Stage(recording, levels, scene, runs, fine_levels(recording, wide))


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
        In order of time; every slot of the prompt is in ``found`` or ``absent``.
    """
    stage = _stage(recording, utterance.interval)
    prompt = utterance.prompt
    slots = prompt.slots if prompt is not None else ()
    phones = prompt.phones if prompt is not None else ()
    matched = align(phones, stage.runs, stage.levels.hop_s) if phones else {}
    taken = _taken_runs(stage, matched, slots)
    found: list[SibilantInterval] = []
    for run, sharing in _by_run(taken, slots):
        found.extend(_shared(stage, run, sharing))
    absent = tuple(slot for slot in slots if slot.index not in taken)
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
            run = hidden_run(stage.scene, _room_for(stage, slot, matched))
        else:
            run = _joined(stage, index, slot, set(matched.values()))
        if run is not None:
            out[slot.index] = run
    return out


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
    """Every stretch of a recording that passes for a sibilant, without any prompt, in blocks of 30 s."""
    out: list[SibilantInterval] = []
    begin = 0.0
    while begin < recording.duration_s:
        end = min(recording.duration_s, begin + LONGEST_BLOCK_S)
        stage = _stage(recording, Interval(begin, end), 0.5)
        for run in stage.runs:
            if begin <= stage.time_of(run.first) < end and passes_for_sibilant(run, stage):
                out.append(_bounded(stage, run, ()))
        begin = end
    return tuple(out)


def bound(recording: Recording, search_interval: Interval, slot: SibilantSlot | None = None) -> SibilantInterval | None:
    """Bound the strongest frication inside a stretch; None when there is none at all."""
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

    ``expected`` is the kind of phone that took the run: never an extra where a stop was expected, and only a very
    clear one where a faint fricative was.
    """
    length = run.n_frames * stage.levels.hop_s
    if run.kind != "frication" or expected == "stop" or length < 0.05 or (run.rise_db > 25.0 and length < 0.18):
        return False
    scene = stage.scene
    strong = run.high_db > max(scene.loudest_high_db - 20.0, scene.loudest_low_db - 32.0)
    if expected == "faint":
        strong = run.high_db > scene.loudest_high_db - 8.0 and run.balance_db > 22.0 and length > 0.08
    return strong and run.balance_db > (0.0 if run.voiced else 8.0)


def _bounded(stage: _Stage, run: Run, slots: tuple[SibilantSlot, ...]) -> SibilantInterval:
    """Bound a run for a slot, for the slots that share it (as one), or as an extra (no slot)."""
    others = [r for r in stage.runs if r.kind == "frication" and (r.last < run.first or r.first > run.last)]
    before = max((stage.seed(r).stop for r in others if r.last < run.first), default=0)
    after = min((stage.seed(r).start for r in others if r.first > run.last), default=stage.fine.n_frames)
    seed = stage.seed(run)
    reach = round(REACH_S / stage.fine.hop_s)
    limits = slice(max(min(before, seed.start), seed.start - reach, 0), min(max(after, seed.stop), seed.stop + reach))
    beyond = Beyond(slots[0].phone, slots[0].previous_phone, slots[-1].next_phone) if slots else Beyond()
    return _sound(bounds_of(stage.fine, seed, limits, beyond), run, slots[0] if slots else None, stage)


def _shared(stage: _Stage, run: Run, slots: tuple[SibilantSlot, ...]) -> list[SibilantInterval]:
    """Bound one frication and cut it where several slots share it (``doubled``: the cut is hardly more than a guess)."""
    whole = _bounded(stage, run, slots)
    out: list[SibilantInterval] = []
    rest = whole
    for k, slot in enumerate(slots[:-1]):
        cut = seam(stage.fine, rest.automatic, len(slots) - k, alike=slot.phone == slots[k + 1].phone)
        left, right = split_at(rest, cut)
        out.append(replace(left, slot=slot))
        rest = right
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
    automatic = Interval(bounds.onset.time_s, bounds.offset.time_s)
    flags = []
    if run.high_db < stage.scene.loudest_low_db - 25.0:
        flags.append("weak")
    if bounds.core.duration_ms < 30.0:
        flags.append("stop_like")
    if bounds.onset.floor_limited or bounds.offset.floor_limited:
        flags.append("floor_limited")
    confidence = min(bounds.onset.confidence, bounds.offset.confidence)
    return SibilantInterval(slot, automatic, bounds.core, bounds.onset, bounds.offset, confidence, tuple(flags))
