"""What the pipeline gives: all that was found in a recording, and what a later measuring of a clip of it needs."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from ..terms import (
    Cut,
    Interval,
    Measurement,
    NoiseSpectrum,
    Sound,
    Source,
    Suitability,
    TokenSupport,
    Utterance,
)


@dataclass(frozen=True, slots=True)
class Kept:
    """What a whole recording showed of each sound, kept so that a clip can be measured again to the same figures.

    ``support`` by the sound's id, its noise included; ``cut`` is the recording's; ``noise`` is that of the word, for a
    sound that had none of its own because a person bounded it.
    """

    support: Mapping[str, TokenSupport]
    cut: Cut | None
    noise: NoiseSpectrum | None = None

    def over(self, judged: Suitability, names: Sequence[str]) -> Suitability:
        """A clip's suitability with what the recording showed in its place, sound by sound."""
        tokens = tuple(
            self.support.get(name) or replace(own, noise=self.noise or own.noise)
            for name, own in zip(names, judged.tokens, strict=True)
        )
        return replace(judged, tokens=tokens, cut=self.cut)


@dataclass(frozen=True, slots=True)
class Analysis:
    """All that was found in a recording.

    ``sounds`` in the order of the prompts; ``measurements`` of all sounds heard, method after method; ``missing`` are
    the 1-based places of prompts not heard; ``strays`` are stretches of sound that match no prompt; ``kept`` is what a
    later measuring of a clip needs; ``own_cut`` is where the recording by itself seems cut off.
    """

    source: Source
    sampling_rate_hz: int
    duration_s: float
    sounds: tuple[Sound, ...]
    measurements: tuple[Measurement, ...]
    utterances: tuple[Utterance, ...]
    missing: tuple[int, ...]
    strays: tuple[Interval, ...]
    suitability: Suitability
    kept: Kept
    own_cut: Cut | None = None
