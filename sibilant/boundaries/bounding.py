"""One run of frication to bounded sibilants, cut where several slots share it."""

from __future__ import annotations

from dataclasses import replace

from ..terms import Edge, Interval, SibilantInterval, SibilantSlot
from ..terms.vocabulary import AFFRICATES
from .edges import Bounds, bounds_of
from .frication import Run, is_burst
from .seams import seam
from .slot_assignment import overlap
from .stage import FINE_REACH_S, Stage
from .track import Beyond

# Chosen on hand marks and invented words (docs/boundaries.md), where no other origin is named.
REACH_S, HIDDEN_REACH_S = 0.2, 0.03  # an edge is looked for so far outside the run; of one hidden in a voice
CUT_S = 0.003  # nearer to the recording's end an edge is the cut's
WEAK_DB, STOP_LIKE_MS = 25.0, 30.0
"""Told in docs/boundaries.md: 25 dB below the loudest voice is weak, a core under 30 ms stop-like."""
LONG_MS = 400.0
"""A core beyond this is longer than a sibilant between other sounds lasts (common practice, no source)."""


def bounded(stage: Stage, run: Run, slots: tuple[SibilantSlot, ...]) -> SibilantInterval:
    """Bound a run for a slot, for the slots that share it (as one), or as an extra (no slot)."""
    fine = stage.fine_about(run)
    seed = stage.frames_of(run, fine)
    reached = round(FINE_REACH_S / stage.levels.hop_s) + 1
    near = [r for r in stage.runs if r.last >= run.first - reached and r.first <= run.last + reached]
    others = [stage.frames_of(r, fine) for r in near if r.kind == "frication" and not overlap(r, run)]
    before = max((r.stop for r in others if r.stop <= seed.start + 1), default=0)
    after = min((r.start for r in others if r.start >= seed.stop - 1), default=fine.n_frames)
    reach = round((HIDDEN_REACH_S if run.hidden else REACH_S) / fine.hop_s)
    limits = slice(max(min(before, seed.start), seed.start - reach, 0), min(max(after, seed.stop), seed.stop + reach))
    beyond = Beyond(slots[0].phone, slots[0].previous_phone, slots[-1].next_phone) if slots else Beyond()
    return _sound(bounds_of(fine, seed, limits, beyond), run, slots[0] if slots else None, stage)


def shared(stage: Stage, run: Run, slots: tuple[SibilantSlot, ...]) -> list[SibilantInterval]:
    """Bound one frication, and cut it where several slots share it (``doubled``: the cut is little but a guess)."""
    rest = bounded(stage, run, slots)
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


def _sound(bounds: Bounds, run: Run, slot: SibilantSlot | None, stage: Stage) -> SibilantInterval:
    onset, offset = bounds.onset, bounds.offset
    if onset.time_s < CUT_S:
        onset = replace(onset, beside="edge_of_recording")
    if offset.time_s > stage.recording.duration_s - CUT_S:
        offset = replace(offset, beside="edge_of_recording")
    release = is_burst(run, run.n_frames * stage.levels.hop_s) and (slot is None or slot.phone not in AFFRICATES)
    in_speech = slot is not None and bool(slot.previous_phone or slot.next_phone)
    flags = {
        "weak": run.hidden or run.high_db < stage.scene.loudest_low_db - WEAK_DB,
        "stop_like": release or bounds.core.duration_ms < STOP_LIKE_MS,
        "long": in_speech and bounds.core.duration_ms > LONG_MS,
        "floor_limited": onset.floor_limited or offset.floor_limited,
    }
    confidence = min(onset.confidence, offset.confidence)
    named = tuple(name for name, holds in flags.items() if holds)
    return SibilantInterval(
        slot, Interval(onset.time_s, offset.time_s), bounds.core, onset, offset, confidence, named
    )  # fmt: skip
