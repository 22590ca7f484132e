"""A score and a speaker come in; tracks of formants, nasal coupling and pitch over time go out.

Source and tract follow them sample by sample.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from .score import Score, Sound
from .speakers import Speaker

Floats = npt.NDArray[np.float64]
_NASAL_POLE = 950.0  # and its zero, which moves; Hz of a man's tract
_UPPER = (3450.0, 4450.0)  # F4 and F5 of a man's tract, steady
_BANDWIDTHS = (70.0, 95.0, 140.0, 190.0, 240.0)  # F1 to F5, Hz


@dataclass(frozen=True, slots=True)
class Tracks:
    """Moving values every ``n_step`` samples: ``formant_hz`` and ``bandwidth_hz`` (5, m), the rest (m,).

    ``nasal`` runs from 0 to 1; with it the nose's zero moves away from its pole.
    """

    n_step: int
    formant_hz: Floats
    bandwidth_hz: Floats
    nasal: Floats
    pole_hz: Floats
    zero_hz: Floats


def tracks_of(score: Score, speaker: Speaker, rate_hz: int) -> Tracks:
    """Join each phone's targets and smooth them over about 40 ms, scaled to the speaker's tract."""
    n_step = max(1, round(0.002 * rate_hz))
    time = np.arange(int(score.end_s * rate_hz) // n_step + 2) * (n_step / rate_hz)
    times, targets = _knots(score.sounds)
    window = np.hanning(23)[1:-1]
    window /= window.sum()
    formants = np.empty((5, time.size))
    for k in range(3):
        joined = np.interp(time, times, targets[:, k])
        formants[k] = np.convolve(np.pad(joined, 10, mode="edge"), window, mode="valid") * speaker.tract_scale
    for k in (3, 4):
        formants[k] = _UPPER[k - 3] * speaker.tract_scale
    nasal = np.zeros(time.size)
    zero = np.full(time.size, _NASAL_POLE)
    for sound in score.sounds:
        if sound.kind.manner == "nasal":
            near = (time > sound.start_s - 0.03) & (time < sound.end_s + 0.03)
            ramp = np.minimum(time - sound.start_s + 0.03, sound.end_s + 0.03 - time) / 0.035
            nasal = np.where(near, np.maximum(nasal, np.clip(ramp, 0, 1)), nasal)
            zero = np.where(near, {"M": 1250.0, "N": 1700.0}.get(sound.phone, 2500.0), zero)
    bandwidth = np.array(_BANDWIDTHS)[:, None] * speaker.tract_scale**0.5 * np.ones(time.size)
    bandwidth[:2] *= 1 + 1.0 * nasal
    pole = np.full(time.size, _NASAL_POLE * speaker.tract_scale)
    return Tracks(n_step, formants, bandwidth, nasal, pole, pole + nasal * (zero * speaker.tract_scale - pole))


def every_sample(values: Floats, n_step: int, n: int) -> Floats:
    """Join values (m,) given every ``n_step`` samples by straight lines, for n samples (m * n_step > n)."""
    share = np.arange(n_step) / n_step
    return np.asarray((values[:-1, None] + np.diff(values)[:, None] * share).ravel()[:n])


def _knots(sounds: list[Sound]) -> tuple[Floats, Floats]:
    times: list[float] = []
    rows: list[tuple[float, float, float]] = []
    for i, sound in enumerate(sounds):
        length = sound.end_s - sound.start_s
        target = _target(sounds, i)
        if sound.kind.manner == "vowel":
            points = [(0.3, target), (0.75, sound.kind.end_hz or target)]
        elif sound.kind.manner in ("stop", "affricate"):
            closed = (190.0 if sound.kind.voiced else 250.0, target[1], target[2])
            points = [(0.0, closed), (max(0.01, 1 - sound.release_s / length), closed)]
        else:
            points = [(0.35, target), (0.65, target)]
        times += [sound.start_s + share * length for share, _ in points]
        rows += [row for _, row in points]
    return np.array(times), np.array(rows)


def _target(sounds: list[Sound], i: int) -> tuple[float, float, float]:
    """Formant targets of one phone; velars and /h/ take after the vowel beside them, final /l/ is dark."""
    sound = sounds[i]
    own = sound.kind.formants_hz
    vowel = next((s for s in [*sounds[i + 1 : i + 2], *sounds[max(0, i - 1) : i]] if s.kind.manner == "vowel"), None)
    if vowel is not None:
        near = vowel.kind.formants_hz
        if sound.kind.manner == "aspirate":
            return near
        if sound.kind.place == "velar":
            return own[0], 0.35 * own[1] + 0.72 * near[1], own[2]
        if sound.kind.place == "alveolar" and sound.kind.manner != "liquid":
            return own[0], 0.75 * own[1] + 0.25 * near[1], own[2]
    if sound.phone == "L" and (i + 1 == len(sounds) or sounds[i + 1].kind.manner != "vowel"):
        return 420.0, 880.0, 2650.0
    return own


def pitch_of(score: Score, speaker: Speaker, rng: np.random.Generator) -> tuple[Floats, Floats]:
    """Pitch knots (times_s, hertz): a rise to the first stressed vowel, then a fall, with small random bends."""
    vowels = [s for s in score.sounds if s.kind.manner == "vowel"] or score.sounds
    peak = next((s for s in vowels if s.stressed), vowels[0])
    top = 0.6 * peak.start_s + 0.4 * peak.end_s
    times = np.array([0.0, top, max(top + 0.05, 0.5 * (top + score.end_s - 0.25)), score.end_s])
    bend = 1 + 0.03 * np.clip(rng.standard_normal(4), -2, 2)
    return times, speaker.f0_hz * np.array([1.0, 1.08, 0.97, 0.80]) * bend
