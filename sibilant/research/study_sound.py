"""What a study takes from the recordings again: cepstra, and the measures with the edges moved."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from .. import acoustics, audio, files, study
from ..acoustics.cepstra import cepstra
from ..errors import RecordingError
from ..study import Effect, Evaluation, Prepared, Question
from ..terms import MEASURES, Edge, Interval, Method, Recording, SibilantInterval

N_CEPSTRA = 12  # 1 to 12, the usual number (common practice, no source)
# Own choice.
MOVES_MS = {"5 ms inward": 5.0, "10 ms inward": 10.0, "5 ms outward": -5.0, "10 ms outward": -10.0}
MIDDLE = "middle half"


@dataclass(frozen=True, slots=True)
class Moved:
    """The effects of a study with all edges moved in one way."""

    way: str
    effects: tuple[Effect, ...]


def with_cepstra(prepared: Prepared, question: Question, root: Path) -> tuple[Evaluation, ...]:
    """Tell groups apart by cepstra alone, and by cepstra and measures together.

    Raises
    ------
    RecordingError
        When a recording is not there, or not the one that was measured.
    """
    names = tuple(f"cepstrum_{k}" for k in range(1, N_CEPSTRA + 1))
    tokens = prepared.tokens.reset_index(drop=True)
    found = np.full((len(tokens), N_CEPSTRA), np.nan)
    for place, recording, interval in _sounds(tokens, root):
        found[place] = cepstra(recording, interval, n_coefficients=N_CEPSTRA)
    tokens[list(names)] = found
    missing = {name: int(tokens[name].isna().sum()) for name in names}
    alone = replace(prepared, tokens=tokens, measures=names, missing=missing)
    both = replace(
        prepared, tokens=tokens, measures=(*prepared.measures, *names), missing={**prepared.missing, **missing}
    )
    return tuple(
        replace(study.evaluate(used, question), name=f"linear discriminant, {what}")
        for used, what in ((alone, "cepstra"), (both, "measures and cepstra"))
        if not study.why_not(used)
    )


def with_edges_moved(prepared: Prepared, question: Question, root: Path, method: Method) -> tuple[Moved, ...]:
    """Measure every token again with its edges moved, and compare the groups again by the spectral measures.

    The same tokens are compared: one whose figure was ruled out as measured has none here either. Durations are left
    out, since they move with the edges by definition.

    Raises
    ------
    RecordingError
        When a recording is not there, or not the one that was measured.
    """
    tokens = prepared.tokens.reset_index(drop=True)
    ways = (*MOVES_MS, MIDDLE)
    spectral = tuple(m for m in prepared.measures if m in MEASURES and MEASURES[m].spectral)
    values = {way: {m: np.full(len(tokens), np.nan) for m in spectral} for way in ways}
    for place, recording, interval in _sounds(tokens, root):
        sounds = [_bounded(_moved(interval, way, recording)) for way in ways]
        for way, measured in zip(ways, acoustics.measure(recording, sounds, method), strict=True):
            for measure in spectral:
                values[way][measure][place] = measured.values.get(measure, np.nan)
    found = []
    for way in ways:
        again = {m: np.where(tokens[m].notna(), found_again, np.nan) for m, found_again in values[way].items()}
        moved = replace(prepared, tokens=tokens.assign(**again), measures=spectral)
        found.append(Moved(way, tuple(study.all_effects(moved, question))))
    return tuple(found)


def _moved(interval: Interval, way: str, recording: Recording) -> Interval:
    """A stretch with both edges moved; never shorter than a millisecond nor beyond the recording."""
    inward = interval.duration_s / 4 if way == MIDDLE else MOVES_MS[way] / 1000
    middle = (interval.onset_s + interval.offset_s) / 2
    return Interval(
        max(0.0, min(interval.onset_s + inward, middle - 0.0005)),
        min(recording.duration_s, max(interval.offset_s - inward, middle + 0.0005)),
    )


def _bounded(interval: Interval) -> SibilantInterval:
    onset, offset = (Edge(time, "silence", 0.0, 1.0) for time in (interval.onset_s, interval.offset_s))
    return SibilantInterval(None, interval, interval, onset, offset, 1.0)


def _sounds(tokens: Any, root: Path) -> Iterator[tuple[int, Recording, Interval]]:
    """Yield each token's place, recording and stretch; each recording is read once and checked by its hash."""
    for name, own in tokens.groupby("recording", sort=True):
        path = root / str(name)
        recording = audio.read_recording(path)
        told = str(own["sha256"].iloc[0]) if "sha256" in own else ""
        if told and told != files.sha256_of(path):
            raise RecordingError(f"{path.name}: not the recording that was measured; name its folder by --recordings")
        for place, onset, offset in zip(own.index, own["onset_s"], own["offset_s"], strict=True):
            yield int(place), recording, Interval(float(onset), float(offset))
