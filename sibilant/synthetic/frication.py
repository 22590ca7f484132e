"""The noises of a score: sibilants, other fricatives, bursts and faint tails."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ..terms.vocabulary import HUSHED
from .hiss import Envelope, Hiss
from .score import VOWEL_RMS, MadeSibilant, Score, SibilantPlan, Sound, near
from .shapes import Hump, SibilantShape
from .speakers import Speaker


def add_noises(score: Score, speaker: Speaker, plan: SibilantPlan, rng: np.random.Generator) -> None:
    """Add bursts, weak fricatives, sibilants and their faint tails to a score."""
    for i, sound in enumerate(score.sounds):
        manner = sound.kind.manner
        if manner in ("stop", "affricate") and sound.released:
            score.noises.append(_burst(score.sounds, i, speaker, rng))
        if manner == "fricative":
            envelope = _edges(score.sounds, i, rng)
            score.noises.append(
                Hiss(envelope, _weak_shape(sound, speaker), VOWEL_RMS * 10 ** (sound.kind.level_db / 20))
            )
        if manner in ("sibilant", "affricate"):
            _sibilant(score, i, speaker, plan, rng)


def _sibilant(score: Score, i: int, speaker: Speaker, plan: SibilantPlan, rng: np.random.Generator) -> None:
    sound = score.sounds[i]
    kind = plan.kind_of(sound.slot - 1, speaker)
    before, after = near(score.sounds, i)
    hushed = sound.phone in HUSHED
    spread = speaker.spread_hz * (0.5 if hushed else 1.0)
    shape = (speaker.sh if hushed else speaker.s_shape(kind)).moved(spread * float(rng.standard_normal()))
    if shape.ridge is not None:
        shape = replace(shape, ridge=replace(shape.ridge, glide_hz=shape.ridge.glide_hz * float(rng.uniform(-1, 1))))
    if not hushed and any(s is not None and s.kind.rounded for s in (before, after)):
        shape = shape.moved(-speaker.rounding_hz)
    level = speaker.sh_level_db if hushed else speaker.level_of(kind)
    level += sound.kind.level_db + speaker.level_spread_db * float(rng.standard_normal())
    if plan.level_db is not None and not hushed:
        level = plan.level_db
    rms = VOWEL_RMS * 10 ** (level / 20)
    envelope = _edges(score.sounds, i, rng)
    hiss = Hiss(envelope, shape, rms, sound.kind.voiced)
    if (after is None or after.kind.manner == "stop") and rng.random() < 0.4:
        score.noises.append(_tail(hiss, rng, last=after is None))
    doubled = any(s is not None and s.kind.manner == "sibilant" for s in (before, after))
    score.sibilants.append(MadeSibilant(sound, hiss, sound.slot, "typical" if hushed else kind, level, doubled))


def _edges(sounds: list[Sound], i: int, rng: np.random.Generator) -> Envelope:
    """Envelope of a frication with ramps that suit its neighbours."""
    sound = sounds[i]
    before, after = near(sounds, i)
    start, end = sound.start_s, sound.end_s
    u = rng.uniform
    if sound.kind.manner == "affricate":
        start, rise = sound.open_s, float(u(0.010, 0.018))
    elif before is None:
        rise = float(u(0.045, 0.085))
    elif before.kind.manner in ("stop", "affricate"):
        start, rise = before.open_s, float(u(0.012, 0.022))
    elif before.kind.manner in ("fricative", "sibilant", "aspirate"):
        start, rise = start - 0.012, 0.024
    else:
        start, rise = start - float(u(0.005, 0.016)), float(u(0.030, 0.050))
    if after is None:
        fall = float(u(0.06, 0.12))
    elif after.kind.manner in ("stop", "affricate"):
        fall = float(u(0.018, 0.032))
    elif after.kind.manner in ("fricative", "sibilant", "aspirate"):
        end, fall = end + 0.012, 0.024
    else:
        end, fall = end + float(u(0.003, 0.014)), float(u(0.022, 0.038))
    longest = 0.48 * (end - start)
    return Envelope(start, end, min(rise, longest), min(fall, longest), wobble_db=_wobble(rng))


def _weak_shape(sound: Sound, speaker: Speaker) -> SibilantShape:
    k = speaker.tract_scale
    if sound.kind.place == "labial":
        return SibilantShape((Hump(8500 * k**0.5, 4500), Hump(1500 * k, 900, -5.0)), -12.0)
    return SibilantShape((Hump(9000 * k**0.5, 4000), Hump(5200 * k**0.5, 2500, -3.0)), -12.0)


def _burst(sounds: list[Sound], i: int, speaker: Speaker, rng: np.random.Generator) -> Hiss:
    sound, after = sounds[i], near(sounds, i)[1]
    k, place = speaker.tract_scale, sound.kind.place
    front = after is None or after.kind.formants_hz[1] > 1600
    if place in ("alveolar", "palatal"):
        shape = SibilantShape((Hump(4300 * k, 1300), Hump(7000 * k**0.5, 2200, -3.0)), -24.0)
    elif place == "velar":
        centre = (2500 if front else 1500) * k
        shape = SibilantShape((Hump(centre, 330), Hump(centre * 2.3, 900, -9.0)), -26.0)
    else:
        shape = SibilantShape((Hump(900 * k, 700), Hump(3500 * k, 2500, -10.0)), -24.0)
    before_r = after is not None and after.phone == "R" and place == "alveolar"
    length = float(rng.uniform(0.035, 0.055)) if before_r else float(rng.uniform(0.010, 0.022))
    level = sound.kind.level_db + float(rng.normal(0.0, 2.0)) - (6.0 if after is None else 0.0)
    if sound.kind.manner == "affricate":
        level, length = -12.0, 0.012
    return Hiss(
        Envelope(sound.open_s, sound.open_s + length, 0.0015, length - 0.002), shape, VOWEL_RMS * 10 ** (level / 20)
    )


def _wobble(rng: np.random.Generator) -> tuple[float, ...]:
    return tuple(float(v) for v in rng.normal(0.0, 0.8, 5))


def _tail(hiss: Hiss, rng: np.random.Generator, *, last: bool) -> Hiss:
    """Faint noise after a sibilant, in a closure or at a word's end: 36 to 42 dB below it, under the criterion."""
    end = hiss.envelope.end_s
    length = float(rng.uniform(0.05, 0.15) if last else rng.uniform(0.015, 0.03))
    envelope = Envelope(end - 0.03, end + length, 0.02, 0.6 * length)
    return Hiss(envelope, hiss.shape, hiss.rms * 10 ** (float(rng.uniform(-42, -36)) / 20))
