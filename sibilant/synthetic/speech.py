"""Say a prompt: one utterance by an invented speaker, in silence, with exact truth."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
import numpy.typing as npt

from ..terms import Interval, Prompt
from .articulation import VOWEL_RMS, MadeSibilant, Score, SibilantPlan, plan_score
from .edges import Components, edges_of
from .shapes import SIBILANT_TYPES
from .speakers import Speaker
from .tracks import Tracks, pitch_of, tracks_of
from .tract import Pulses, antiresonate, glottal_wave, pulses, resonate, softened, upper_tract
from .truth import Spoken, TruePhone, TrueSibilant, TrueStretch, Truth

Floats = npt.NDArray[np.float64]


def say(
    prompt: Prompt | str | Sequence[str],
    speaker: Speaker,
    seed: int | np.random.Generator,
    *,
    sibilant_type: str | Sequence[str] = "",
    sibilant_level_db: float | None = None,
    durations: Mapping[str, float] | None = None,
    sampling_rate_hz: int = 44100,
) -> Spoken:
    """Say one prompt once, without room or noise.

    Parameters
    ----------
    prompt : Prompt, str or sequence of str
        A prompt with its words' phones, or ARPABET phones (``"S IY1 L"``; ``|`` between words).
    speaker : Speaker
        Who speaks.
    seed : int or numpy.random.Generator
        Same seed, same sound.
    sibilant_type : str or sequence of str
        One of ``SIBILANT_TYPES`` or ``omitted``, for all sibilants or one for each in order; empty takes the
        speaker's own. It changes /s z/ only (``omitted`` any).
    sibilant_level_db : float, optional
        Level of the /s z/ plateau against the stressed vowel, RMS to RMS.
    durations : mapping, optional
        Seconds by phone without stress, such as ``{"S": 0.12}`` (between the middles of the ramps beside vowels).

    Returns
    -------
    Spoken
        0.12 s of silence, the utterance, 0.25 s of silence.

    Raises
    ------
    ValueError
        When a phone or type is not known, or the types are neither one nor one per sibilant.

    Examples
    --------
    >>> spoken = say("S IY1 L", woman(3), 1)
    >>> [s.phone for s in spoken.truth.sibilants]
    ['S']
    """
    rng = np.random.default_rng(seed)
    text, phones = phones_of(prompt)
    plan = SibilantPlan(_kinds(sibilant_type, phones), sibilant_level_db, dict(durations or {}))
    score = plan_score(phones, speaker, plan, rng)
    made = _sound(score, speaker, sampling_rate_hz, rng)
    total = made.total.astype(np.float32)
    stretch = TrueStretch(
        "word", loud_part(made.total, sampling_rate_hz), speaker.code, 0, 1, text, True,
        tuple(_true(s, made) for s in score.sibilants), tuple(score.omitted),
        tuple(TruePhone(s.phone, Interval(s.start_s, s.end_s)) for s in score.sounds),
    )  # fmt: skip
    return Spoken(total, sampling_rate_hz, Truth((stretch,)))


def phones_of(prompt: Prompt | str | Sequence[str]) -> tuple[str, list[tuple[str, int]]]:
    """Text and (phone, 0-based word) pairs of a prompt or a phone string."""
    if isinstance(prompt, Prompt):
        return prompt.text, [(phone, k) for k, word in enumerate(prompt.words) for phone in word.phones]
    words = prompt.split("|") if isinstance(prompt, str) else [" ".join(prompt)]
    return "", [(phone, k) for k, word in enumerate(words) for phone in word.split()]


def _kinds(given: str | Sequence[str], phones: list[tuple[str, int]]) -> tuple[str, ...]:
    kinds = (given,) if isinstance(given, str) else tuple(given)
    known = {*SIBILANT_TYPES, "omitted", ""}
    unknown = [k for k in kinds if k not in known]
    if unknown:
        raise ValueError(f"sibilant type {unknown[0]!r} is not known; known are {', '.join(SIBILANT_TYPES)}, omitted")
    n = sum(p.rstrip("012") in ("S", "Z", "SH", "ZH", "CH", "JH") for p, _ in phones)
    if len(kinds) > 1 and len(kinds) != n:
        raise ValueError(f"{len(kinds)} sibilant types were given for {n} sibilants; give one, or one for each")
    return kinds or ("",)


def _sound(score: Score, speaker: Speaker, rate_hz: int, rng: np.random.Generator) -> Components:
    n = round(score.end_s * rate_hz)
    tracks = tracks_of(score, speaker)
    pitch = pitch_of(score, speaker, rng)
    made = [p for p in (pulses(v, pitch, speaker, rng) for v in score.voicing) if p is not None]
    voice = _voiced(score, made, tracks, speaker, rate_hz, rng)
    total = voice.copy()
    opened = np.zeros(n)
    for stretch in made:
        opened += glottal_wave(stretch, n, rate_hz)[1]
    for hiss in [*score.noises, *(s.hiss for s in score.sibilants)]:
        first, noise = hiss.samples(rate_hz, rng)
        last = min(n, first + noise.size)
        noise = noise[: last - first]
        if hiss.modulated:
            wave = opened[first:last]
            noise = noise * np.where(wave.any(), 0.75 + 0.5 * np.clip(wave, 0, 1), 1.0)
        total[first:last] += noise
    return Components(total, voice, tuple(score.noises), tuple(made), tuple(score.sibilants), rate_hz, speaker.f0_hz)


def _voiced(
    score: Score, made: list[Pulses], tracks: Tracks, speaker: Speaker, rate_hz: int, rng: np.random.Generator
) -> Floats:
    """Voice and aspiration through the moving tract, scaled to the stressed vowel's RMS."""
    n = round(score.end_s * rate_hz)
    t = np.arange(n) / rate_hz
    source, breath = np.zeros(n), np.zeros(n)
    for stretch in made:
        wave, opened = glottal_wave(stretch, n, rate_hz)
        source += wave
        breath += opened * 10 ** (speaker.breathiness_db / 20) * 0.35
    source = softened(source, 2200.0, rate_hz)
    for envelope, gain in zip(score.aspiration, score.aspiration_gain, strict=True):
        breath += envelope.gain(t) * gain * 1.2
    hissing = np.flatnonzero(breath)
    if hissing.size:
        source[hissing] += breath[hissing] * rng.standard_normal(hissing.size) * 0.35
    out = upper_tract(source, 5450.0 * speaker.tract_scale, 1000.0 * speaker.tract_scale, rate_hz)
    out = _moving_tract(out, t, tracks, rate_hz)
    return out * _vowel_gain(score, out, rate_hz)


def _moving_tract(x: Floats, t: Floats, tracks: Tracks, rate_hz: int) -> Floats:
    top = 0.47 * rate_hz
    for k in range(5):
        frequency = np.interp(t, tracks.time_s, tracks.formant_hz[k])
        if frequency.max() < top:
            x = resonate(x, frequency, np.interp(t, tracks.time_s, tracks.bandwidth_hz[k]), rate_hz)
    if tracks.nasal.any():
        nasal = np.interp(t, tracks.time_s, tracks.nasal)
        pole = np.full(t.size, 280.0)
        zero = pole + nasal * (np.interp(t, tracks.time_s, tracks.zero_hz) - pole)
        width = 90.0 + 60.0 * nasal
        x = resonate(antiresonate(x, zero, width, rate_hz), pole, np.full(t.size, 90.0), rate_hz)
    return x


def _vowel_gain(score: Score, voice: Floats, rate_hz: int) -> float:
    """Gain that gives the stressed vowel's middle half its level (the table's dB under ``VOWEL_RMS``)."""
    vowels = [s for s in score.sounds if s.kind.manner == "vowel"]
    sounds = [s for s in vowels if s.stressed] or vowels or [s for s in score.sounds if s.kind.voiced]
    if not sounds:
        return 1.0
    chosen = sounds[0]
    quarter = 0.25 * (chosen.end_s - chosen.start_s)
    part = voice[round((chosen.start_s + quarter) * rate_hz) : round((chosen.end_s - quarter) * rate_hz)]
    rms = float(np.sqrt(np.mean(part**2))) if part.size else 0.0
    level = chosen.kind.level_db - (0.0 if chosen.stressed else 4.0)
    return VOWEL_RMS * 10 ** (min(0.0, level) / 40) / max(rms, 1e-9)


def _true(made: MadeSibilant, components: Components) -> TrueSibilant:
    edges = edges_of(made, components)
    sound = made.sound
    return TrueSibilant(
        sound.phone, made.index, edges.interval, edges.core, edges.onset_beside, edges.offset_beside, made.kind,
        made.level_db, made.hiss.shape, edges.band_hz, sound.kind.voiced, sound.word, made.doubled,
    )  # fmt: skip


def loud_part(x: Floats, rate_hz: int) -> Interval:
    """From where the 10 ms level first comes within 40 dB of its greatest to where it last does."""
    hop = max(1, rate_hz // 1000)
    n = x.size // hop
    power = np.convolve((x[: n * hop] ** 2).reshape(n, hop).mean(axis=1), np.ones(10) / 10, mode="same")
    loud = np.flatnonzero(power > power.max() * 1e-4)
    if not loud.size:
        return Interval(0.0, x.size / rate_hz)
    return Interval(float(loud[0] * hop / rate_hz), float((loud[-1] + 1) * hop / rate_hz))
