"""A stretch of a recording comes in; it goes out with its runs of hiss and voice, ready to be searched."""

from __future__ import annotations

from dataclasses import dataclass

from ..levels.coarse import CoarseLevels, coarse_levels
from ..levels.fine import FineLevels, fine_levels
from ..terms import Interval, Recording
from .frication import Run, Scene, runs_of, scene_of

# Chosen on hand marks and invented words (docs/boundaries.md), where no other origin is named.
MARGIN_S = 0.25  # a word is looked at with so much on either side
EDGE_S = 0.05  # what counts as the word's own levels reaches so far outside it
LONGEST_FINE_S = 25.0  # longer stretches have fine levels run by run, for memory
FINE_REACH_S = 0.6  # with so much around each run


@dataclass(frozen=True, slots=True)
class Stage:
    """One stretch of a recording and its runs; looked at finely as a whole (``fine``) unless it is long."""

    recording: Recording
    levels: CoarseLevels
    scene: Scene
    runs: tuple[Run, ...]
    fine: FineLevels | None

    def time_of(self, frame: int) -> float:
        """Centre of a coarse frame."""
        return self.levels.start_s + frame * self.levels.hop_s

    def interval_of(self, frames: slice, within: Interval) -> Interval:
        """Time of some coarse frames, within a stretch."""
        onset = min(max(within.onset_s, self.time_of(frames.start)), within.offset_s)
        return Interval(onset, max(onset, min(within.offset_s, self.time_of(frames.stop))))

    def fine_about(self, run: Run) -> FineLevels:
        """Fine levels that hold a run and what is beside it."""
        first, last = self.time_of(run.first) - FINE_REACH_S, self.time_of(run.last) + FINE_REACH_S
        if self.fine is not None:
            return self.fine.cut(self.fine.frame_at(first), self.fine.frame_at(last))
        return fine_levels(self.recording, Interval(max(0.0, first), max(0.0, last)))

    def frames_of(self, run: Run, fine: FineLevels) -> slice:
        """Fine frames of a run."""
        first, last = fine.frame_at(self.time_of(run.first)), fine.frame_at(self.time_of(run.last))
        return slice(first, max(first, last) + 1)


def stage_of(recording: Recording, interval: Interval, margin_s: float = MARGIN_S) -> Stage:
    """Look at a stretch and a margin about it; runs that reach no further than the stretch are kept."""
    begin = max(0.0, interval.onset_s - margin_s)
    wide = Interval(begin, max(begin, min(recording.duration_s, interval.offset_s + margin_s)))
    levels = coarse_levels(recording, wide)
    scene = scene_of(levels)
    inside = levels.frames_of(Interval(max(0.0, interval.onset_s - EDGE_S), interval.offset_s + EDGE_S))
    runs = tuple(run for run in runs_of(scene) if run.last >= inside.start and run.first < inside.stop)
    fine = fine_levels(recording, wide) if wide.duration_s <= LONGEST_FINE_S else None
    return Stage(recording, levels, scene, runs, fine)
