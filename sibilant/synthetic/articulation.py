"""From phones to a score: durations, voicing and aspiration on one time line."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ..terms.vocabulary import SIBILANTS
from .frication import add_noises
from .hiss import Envelope
from .phones import PHONES, is_stressed, plain
from .score import Score, SibilantPlan, Sound, near
from .speakers import Speaker
from .tract import Voicing

LEAD_S = 0.12  # silence before the first sound


def plan_score(
    phones: Sequence[tuple[str, int]], speaker: Speaker, plan: SibilantPlan, rng: np.random.Generator
) -> Score:
    """Lay ``phones`` (phone with stress, 0-based word) on the time line.

    Raises
    ------
    ValueError
        When a phone is unknown, or there is none or every one is left out.
    """
    if not phones:
        raise ValueError("nothing to say: the prompt has no phones")
    sounds, omitted = _chosen(phones, speaker, plan)
    t = LEAD_S
    for i in range(len(sounds)):
        t = _time(sounds, i, t, speaker, plan, rng)
    score = Score(sounds, t + 0.25, omitted=omitted)
    _voice(score, speaker, rng)
    add_noises(score, speaker, plan, rng)
    return score


def _chosen(phones: Sequence[tuple[str, int]], speaker: Speaker, plan: SibilantPlan) -> tuple[list[Sound], list[int]]:
    """Phones that are said, sibilants numbered from 1, and the numbers of those left out."""
    sounds, omitted, slot = [], [], 0
    for phone, word in phones:
        name = plain(phone)
        if name not in SIBILANTS:
            sounds.append(Sound(name, PHONES[name], is_stressed(phone), word))
            continue
        slot += 1
        if plan.kind_of(slot - 1, speaker) == "omitted":
            omitted.append(slot)
        else:
            sounds.append(Sound(name, PHONES[name], is_stressed(phone), word, slot))
    if not sounds:
        raise ValueError("nothing to say: every phone of the prompt is left out")
    return sounds, omitted


def _time(
    sounds: list[Sound], i: int, t: float, speaker: Speaker, plan: SibilantPlan, rng: np.random.Generator
) -> float:
    sound = sounds[i]
    before, after = near(sounds, i)
    last = not any(s.kind.manner == "vowel" for s in sounds[i + 1 :])
    length = sound.kind.duration_s[0 if sound.stressed else 1] * float(np.exp(0.07 * rng.standard_normal()))
    length *= _lengthening(sound, before, after, last=last) / speaker.tempo
    if sound.kind.manner == "sibilant" and sound.phone in plan.durations:
        length = plan.durations[sound.phone]
    sound.start_s = t
    if sound.kind.manner in ("stop", "affricate"):
        sound.release_s = _release(sound, before, after, speaker, rng)
        length = (0.015 if before is None else length) + sound.release_s
    sound.end_s = t + length
    return sound.end_s


def _lengthening(sound: Sound, before: Sound | None, after: Sound | None, *, last: bool) -> float:
    manner = sound.kind.manner
    if manner == "vowel":
        factor = 1.45 if last else 1.0
        if after is not None and not after.kind.voiced and after.kind.manner == "stop":
            factor *= 0.85
        return factor
    if manner == "sibilant":
        if after is None:
            return 1.35
        beside_stop = after.kind.manner == "stop" or (before is not None and before.kind.manner == "stop")
        return 0.72 if beside_stop else 0.82 if after.kind.manner != "vowel" else 1.1 if before is None else 0.85
    return 1.25 if after is None else 1.0


def _release(
    sound: Sound, before: Sound | None, after: Sound | None, speaker: Speaker, rng: np.random.Generator
) -> float:
    if sound.kind.manner == "affricate":
        return float(rng.uniform(0.085, 0.115) if not sound.kind.voiced else rng.uniform(0.055, 0.075))
    if after is None:
        sound.released = bool(rng.random() < speaker.release_share)
        return float(rng.uniform(0.06, 0.11)) if sound.released else 0.02
    if after.kind.manner in ("stop", "affricate"):
        sound.released = bool(rng.random() < 0.4)
        return 0.012
    if after.kind.manner in ("sibilant", "fricative"):
        return float(rng.uniform(0.004, 0.012))
    if sound.kind.voiced:
        return float(rng.uniform(0.006, 0.016)) + (0.008 if sound.phone == "G" else 0.0)
    if before is not None and before.phone == "S":
        return float(rng.uniform(0.010, 0.024))
    base = {"P": 0.050, "T": 0.062, "K": 0.070}[sound.phone]
    return base * float(rng.uniform(0.8, 1.2)) * (1.0 if after.stressed or before is None else 0.5)


def _is_voiced(sounds: list[Sound], i: int) -> bool:
    sound = sounds[i]
    before, after = near(sounds, i)
    if sound.kind.manner in ("stop", "affricate"):
        return sound.kind.voiced and before is not None and before.kind.voiced and after is not None
    return sound.kind.voiced


def _voice(score: Score, speaker: Speaker, rng: np.random.Generator) -> None:
    sounds, i = score.sounds, 0
    while i < len(sounds):
        if not _is_voiced(sounds, i):
            i += 1
            continue
        j = i
        while j + 1 < len(sounds) and _is_voiced(sounds, j + 1):
            j += 1
        score.voicing.append(_stretch(sounds, i, j, rng))
        i = j + 1
    for k, sound in enumerate(sounds):
        _aspirate(score, k, sound, speaker, rng)


def _stretch(sounds: list[Sound], i: int, j: int, rng: np.random.Generator) -> Voicing:
    before, after = near(sounds, i)[0], near(sounds, j)[1]
    start, end = sounds[i].start_s, sounds[j].end_s
    if before is not None:
        start += float(rng.uniform(-0.003, 0.006))
    if after is not None:
        end += (
            float(rng.uniform(-0.002, 0.006)) if after.kind.manner == "sibilant" else float(rng.uniform(-0.004, 0.010))
        )
    elif sounds[j].kind.manner in ("sibilant", "fricative"):
        end -= float(rng.uniform(0.35, 0.6)) * (end - sounds[j].start_s)
    knots = [(start, 0.35 if before is None else 0.45)]
    for k in range(i, j + 1):
        sound = sounds[k]
        level = 10 ** (_voice_level_db(sound) / 20)
        ramp = min(0.022, 0.4 * (sound.end_s - sound.start_s))
        knots += [(sound.start_s + ramp, level), (max(sound.start_s + ramp, sound.end_s - ramp), level)]
    knots = [(t, g) for t, g in knots if start <= t < end]
    knots[0] = (start, knots[0][1] * 10 ** (_voice_level_db(sounds[i]) / 20))
    fade = 0.12 if after is None else 0.030
    low = 0.04 if after is None else 0.22
    last = knots[-1][1]
    knots = [(t, g) for t, g in knots if t < end - fade] or [knots[0]]
    return Voicing(start, end, (*knots, (max(end - fade, knots[-1][0] + 1e-4), last), (end, last * low)))


def _voice_level_db(sound: Sound) -> float:
    manner = sound.kind.manner
    if manner == "vowel":
        return sound.kind.level_db - (0.0 if sound.stressed else 4.0)
    if manner in ("stop", "affricate"):
        return -11.0
    return -9.0 if manner in ("sibilant", "fricative") else sound.kind.level_db


def _aspirate(score: Score, i: int, sound: Sound, speaker: Speaker, rng: np.random.Generator) -> None:
    after = near(score.sounds, i)[1]
    if sound.kind.manner == "aspirate":
        score.aspiration.append(Envelope(sound.start_s - 0.01, sound.end_s + 0.02, 0.03, 0.03))
        score.aspiration_gain.append(10 ** (sound.kind.level_db / 20))
    if sound.kind.manner == "stop" and not sound.kind.voiced and sound.released and sound.release_s > 0.02:
        if after is not None and after.kind.manner in ("sibilant", "fricative"):
            return
        end = sound.end_s + (0.015 if after is not None else 0.0)
        fall = max(0.012, 0.5 * sound.release_s)
        score.aspiration.append(Envelope(sound.open_s + 0.002, end, 0.006, fall))
        score.aspiration_gain.append(10 ** ((-20.0 if after is not None else -23.0) / 20))
