"""Say a prompt: one utterance by an invented speaker, in silence, with exact truth."""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence

import numpy as np
import numpy.typing as npt

from ..terms import Interval, Prompt
from ..terms.vocabulary import SIBILANTS
from .articulation import plan_score
from .edges import Components, edges_of
from .score import VOWEL_RMS, Score, SibilantPlan
from .shapes import SIBILANT_TYPES
from .speakers import Speaker
from .tracks import Tracks, every_sample, pitch_of, tracks_of
from .tract import antiresonate, coefficients, glottal_wave, pulses, resonate, softened, upper_tract
from .truth import Spoken, TruePhone, TrueSibilant, TrueStretch, Truth, clamped

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
        One of ``SIBILANT_TYPES``, of the speaker's own ``types``, or ``omitted``, for all sibilants or one for each
        in order; empty takes the speaker's own way. It changes /s z/ only (``omitted`` any).
    sibilant_level_db : float, optional
        Level of the /s z/ plateau against the stressed vowel, RMS to RMS.
    durations : mapping, optional
        Seconds by phone without stress, such as ``{"S": 0.12}`` (between the middles of the ramps beside vowels).
    sampling_rate_hz : int
        Rate of the samples; formants and noise above 0.47 of it are left out.

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
    >>> from sibilant.synthetic import woman
    >>> spoken = say("S IY1 L", woman(3), 1)
    >>> [s.phone for s in spoken.truth.sibilants]
    ['S']
    """
    rng = np.random.default_rng(seed)
    text, phones = phones_of(prompt)
    plan = SibilantPlan(_kinds(sibilant_type, phones, speaker), sibilant_level_db, dict(durations or {}))
    score = plan_score(phones, speaker, plan, rng)
    made = _sound(score, speaker, sampling_rate_hz, rng)
    total = made.total.astype(np.float32)
    stretch = TrueStretch(
        "word", loud_part(made.total, sampling_rate_hz), speaker.code, 0, 1, text, True,
        _true_sibilants(score, made), tuple(score.omitted),
        tuple(TruePhone(s.phone, Interval(s.start_s, s.end_s)) for s in score.sounds),
    )  # fmt: skip
    return Spoken(total, sampling_rate_hz, Truth((stretch,)))


def phones_of(prompt: Prompt | str | Sequence[str]) -> tuple[str, list[tuple[str, int]]]:
    """Text and (phone, 0-based word) pairs of a prompt or a phone string."""
    if isinstance(prompt, Prompt):
        return prompt.text, [(phone, k) for k, word in enumerate(prompt.words) for phone in word.phones]
    words = prompt.split("|") if isinstance(prompt, str) else [" ".join(prompt)]
    return "", [(phone, k) for k, word in enumerate(words) for phone in word.split()]


def _kinds(given: str | Sequence[str], phones: list[tuple[str, int]], speaker: Speaker) -> tuple[str, ...]:
    kinds = (given,) if isinstance(given, str) else tuple(given)
    known = {*SIBILANT_TYPES, *speaker.types, "omitted", ""}
    unknown = [k for k in kinds if k not in known]
    if unknown:
        raise ValueError(f"sibilant type {unknown[0]!r} is not known; known are {', '.join(SIBILANT_TYPES)}, omitted")
    n = sum(p.rstrip("012") in SIBILANTS for p, _ in phones)
    if len(kinds) > 1 and len(kinds) != n:
        raise ValueError(f"{len(kinds)} sibilant types were given for {n} sibilants; give one, or one for each")
    return kinds or ("",)


def _sound(score: Score, speaker: Speaker, rate_hz: int, rng: np.random.Generator) -> Components:
    n = round(score.end_s * rate_hz)
    pitch = pitch_of(score, speaker, rng)
    made = tuple(p for p in (pulses(v, pitch, speaker, rng) for v in score.voicing) if p is not None)
    wave, opened = np.zeros(n), np.zeros(n)
    for stretch in made:
        glottal_wave(stretch, wave, opened, rate_hz)
    source = softened(wave, speaker.tilt_hz, rate_hz) + _breath(score, opened, speaker, rate_hz, rng)
    scale = speaker.tract_scale
    voice = upper_tract(source, 5450.0 * scale, 1000.0 * scale, rate_hz)
    voice = _moving_tract(voice, tracks_of(score, speaker, rate_hz), rate_hz)
    voice *= _vowel_gain(score, voice, rate_hz)
    total = voice.copy()
    for hiss in [*score.noises, *(s.hiss for s in score.sibilants)]:
        first, noise = hiss.samples(rate_hz, rng)
        noise = noise[: n - first]
        if hiss.modulated:
            noise = noise * _flutter(opened[first : first + noise.size])
        total[first : first + noise.size] += noise
    return Components(total, voice, tuple(score.noises), made, tuple(score.sibilants), rate_hz, speaker.f0_hz)


def _breath(score: Score, opened: Floats, speaker: Speaker, rate_hz: int, rng: np.random.Generator) -> Floats:
    """Noise at the glottis: in the open part of each cycle, and where the score asks for aspiration."""
    gain = opened * (0.35 * 10 ** (speaker.breathiness_db / 20))
    for envelope, level in zip(score.aspiration, score.aspiration_gain, strict=True):
        first = max(0, int(envelope.start_s * rate_hz))
        last = min(gain.size, int(envelope.end_s * rate_hz))
        gain[first:last] += 1.2 * level * envelope.gain(np.arange(first, last) / rate_hz)
    sounding = np.flatnonzero(gain)
    gain[sounding] *= 0.35 * rng.standard_normal(sounding.size)
    return gain


def _flutter(opened: Floats) -> Floats:
    """Gain of a voiced frication over the glottal cycle, about 1 in the mean."""
    top = float(opened.max()) if opened.size else 0.0
    if top <= 0:
        return np.ones(opened.size)
    return np.asarray(1 + 0.5 * (opened - opened.mean()) / top)


def _moving_tract(x: Floats, tracks: Tracks, rate_hz: int) -> Floats:
    def moving(values: Floats) -> Floats:
        return every_sample(values, tracks.n_step, x.size)

    for k in range(5):
        if tracks.formant_hz[k].max() < 0.47 * rate_hz:
            a, b = coefficients(tracks.formant_hz[k], tracks.bandwidth_hz[k], rate_hz)
            x = resonate(x, moving(a), moving(b))
    if tracks.nasal.any():
        width = 100.0 + 60.0 * tracks.nasal
        a, b = coefficients(tracks.zero_hz, width, rate_hz)
        x = antiresonate(x, moving(a), moving(b))
        a, b = coefficients(tracks.pole_hz, width, rate_hz)
        x = resonate(x, moving(a), moving(b))
    return x


def _vowel_gain(score: Score, voice: Floats, rate_hz: int) -> float:
    """Gain that gives the middle halves of the stressed vowels together exactly ``VOWEL_RMS``."""
    vowels = [s for s in score.sounds if s.kind.manner == "vowel"]
    chosen = [s for s in vowels if s.stressed] or vowels or [s for s in score.sounds if s.kind.voiced]
    parts = []
    for sound in chosen:
        quarter = 0.25 * (sound.end_s - sound.start_s)
        parts.append(voice[round((sound.start_s + quarter) * rate_hz) : round((sound.end_s - quarter) * rate_hz)])
    power = float(np.mean(np.concatenate(parts) ** 2)) if parts else 0.0
    return float(VOWEL_RMS / np.sqrt(power)) if power > 0 else 1.0


def _true_sibilants(score: Score, parts: Components) -> tuple[TrueSibilant, ...]:
    """Give the sibilants their true edges; where two run into each other their shared edge is the middle."""
    found = [edges_of(made, parts) for made in score.sibilants]
    spans = [[e.interval.onset_s, e.interval.offset_s] for e in found]
    for before, after in itertools.pairwise(spans):
        if before[1] > after[0]:
            before[1] = after[0] = 0.5 * (before[1] + after[0])
    return tuple(
        TrueSibilant(
            made.sound.phone, made.index, Interval(*span), clamped(edges.core, *span), edges.onset_beside,
            edges.offset_beside, made.kind, made.level_db, made.hiss.shape, edges.band_hz, made.sound.kind.voiced,
            made.sound.word, made.doubled,
        )
        for made, edges, span in zip(score.sibilants, found, spans, strict=True)
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
