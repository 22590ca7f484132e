"""Whole probe recordings: a list of prompts spoken in order, with everything that happens in a real session."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from ..terms import Prompt
from ..terms.vocabulary import SIBILANTS
from .room import SNR_BAND_HZ, Room, background, breath, click, cough, reverberated, scrape
from .score import VOWEL_RMS
from .shapes import SibilantShape
from .speakers import Speaker
from .speech import loud_part, phones_of, say
from .truth import Spoken, StretchKind, TrueStretch, Truth

Floats = npt.NDArray[np.float64]

_Noise = Callable[[int, float, np.random.Generator], Floats]
_NOISES: dict[StretchKind, _Noise] = {"breath": breath, "cough": cough, "click": click, "scrape": scrape}
_NOISE_LEVEL = {"breath": 0.006, "cough": 0.06, "click": 0.12, "scrape": 0.02}  # amplitudes; own choice
_OTHER_SAYS = ("OW1 K EY1", "G UH1 D", "Y EH1 S", "N EH1 K S T | W AH1 N", "AH0 HH AH1 M", "DH IH1 S | W AH1 N")


@dataclass(frozen=True, slots=True)
class ProbePlan:
    """What happens in a probe recording.

    ``repeats`` and ``false_starts``: how many prompts are said twice, or begun, broken off and said again.
    ``noises``: breaths, coughs, clicks and chair scrapes in the pauses. ``second_voice``: remarks of another speaker
    in the pauses. ``missing``: 1-based prompts never said. ``modelled``: another voice says each prompt first.
    ``pause_s``: least and greatest pause. ``snr_db``: how far this speaker's typical /s/ plateau lies above the
    background over 4 to 10 kHz (None for no background at all). ``room_t60_s`` 0 for a dry room.
    """

    repeats: int = 0
    false_starts: int = 0
    noises: int = 0
    second_voice: int = 0
    missing: tuple[int, ...] = ()
    modelled: bool = False
    pause_s: tuple[float, float] = (0.7, 1.3)
    room_t60_s: float = 0.0
    direct_to_reverberant_db: float = 12.0
    snr_db: float | None = 40.0
    lead_s: float = 0.5
    sampling_rate_hz: int = 44100

    def __post_init__(self) -> None:
        low, high = self.pause_s
        if not 0.05 <= low <= high:
            raise ValueError(f"pauses need 0.05 <= least <= greatest seconds; got {low} and {high}")
        if min(self.repeats, self.false_starts, self.noises, self.second_voice) < 0:
            raise ValueError("counts of repeats, false starts, noises and remarks can't be negative")


@dataclass(frozen=True, slots=True)
class SayPlan:
    """How the prompts are said, each field as in ``say``.

    ``types`` holds one entry for all prompts or one for each; ``added``: by 1-based prompt, a sibilant put before its
    first phone where none belongs, such as ``{7: "S"}``.
    """

    types: tuple[str | tuple[str, ...], ...] = ("",)
    level_db: float | None = None
    durations: Mapping[str, float] | None = None
    added: Mapping[int, str] | None = None

    def type_of(self, index: int) -> str | tuple[str, ...]:
        """Return the type for the ``index``-th prompt (0-based)."""
        return self.types[index] if len(self.types) > 1 else self.types[0]


@dataclass(frozen=True, slots=True)
class _Item:
    """One thing that sounds, dry, with its truth counted from its own start."""

    samples: Floats
    stretch: TrueStretch
    pause_factor: float = 1.0


def probe(
    prompts: Sequence[Prompt],
    speaker: Speaker,
    seed: int,
    *,
    plan: ProbePlan | None = None,
    says: SayPlan | None = None,
    other: Speaker | None = None,
) -> Spoken:
    """Speak a list of prompts in order as one recording.

    Parameters
    ----------
    prompts : sequence of Prompt
        What is to be said.
    speaker : Speaker
        The client.
    seed : int
        Same arguments and seed, same recording.
    plan : ProbePlan, optional
        What happens between and around the words.
    says : SayPlan, optional
        How the sibilants are said.
    other : Speaker, optional
        The second voice; an invented woman when left out.

    Returns
    -------
    Spoken
        With one true stretch for everything that sounds, in order of time.

    Raises
    ------
    ValueError
        When there is no prompt or more repeats and false starts are asked for than prompts are said.
    """
    if not prompts:
        raise ValueError("a probe needs at least one prompt")
    plan, says = plan or ProbePlan(), says or SayPlan()
    rng = np.random.default_rng([seed, 77])
    items = _items(prompts, (speaker, other or _assistant(seed)), plan, says, rng)
    items = _with_strays(items, plan, other or _assistant(seed), rng)
    dry, stretches = _laid_out(items, plan, rng)
    room = Room(plan.room_t60_s, plan.direct_to_reverberant_db)
    wet = reverberated(dry, room, plan.sampling_rate_hz, rng)
    if plan.snr_db is not None:
        level = typical_level_db(speaker, plan.sampling_rate_hz) - plan.snr_db
        wet = wet + background(wet.size, plan.sampling_rate_hz, level, rng)
    truth = Truth(tuple(stretches), tuple(sorted(plan.missing)), plan.snr_db, plan.room_t60_s)
    return Spoken(np.clip(wet, -1, 1).astype(np.float32), plan.sampling_rate_hz, truth)


def in_room(
    spoken: Spoken, speaker: Speaker, seed: int, *, room: Room | None = None, snr_db: float | None = 40.0
) -> Spoken:
    """Put a dry utterance into a room with background noise; ``snr_db`` as in ``ProbePlan``; the truth stays."""
    rng = np.random.default_rng([seed, 78])
    room = room or Room()
    wet = reverberated(spoken.samples.astype(np.float64), room, spoken.sampling_rate_hz, rng)
    if snr_db is not None:
        level = typical_level_db(speaker, spoken.sampling_rate_hz) - snr_db
        wet = wet + background(wet.size, spoken.sampling_rate_hz, level, rng)
    truth = replace(spoken.truth, snr_db=snr_db, t60_s=room.t60_s)
    return Spoken(np.clip(wet, -1, 1).astype(np.float32), spoken.sampling_rate_hz, truth)


def typical_level_db(speaker: Speaker, rate_hz: int = 44100) -> float:
    """Expected level of this speaker's typical /s/ plateau over 4 to 10 kHz (dB re full scale RMS)."""
    whole = 20 * np.log10(VOWEL_RMS) + speaker.s_level_db
    return float(whole + 10 * np.log10(_band_share(speaker.s, min(SNR_BAND_HZ[1], 0.48 * rate_hz), 0.5 * rate_hz)))


def _band_share(shape: SibilantShape, band_top: float, top: float) -> float:
    f = np.arange(20.0, top, 20.0)
    power = shape.power(f)
    return float(power[(f >= SNR_BAND_HZ[0]) & (f <= band_top)].sum() / power.sum())


def _assistant(seed: int) -> Speaker:
    from .speakers import woman

    return woman(seed + 5000, code="second-voice")


def _items(
    prompts: Sequence[Prompt], voices: tuple[Speaker, Speaker], plan: ProbePlan, says: SayPlan, rng: np.random.Generator
) -> list[_Item]:
    said = [k for k in range(len(prompts)) if k + 1 not in plan.missing]
    if plan.repeats + plan.false_starts > len(said):
        raise ValueError(f"{plan.repeats} repeats and {plan.false_starts} false starts don't fit {len(said)} prompts")
    chosen = [said[int(k)] for k in rng.permutation(len(said))[: plan.repeats + plan.false_starts]]
    again, broken = set(chosen[: plan.repeats]), set(chosen[plan.repeats :])
    items: list[_Item] = []
    for k in said:
        if plan.modelled:
            items.append(_word(prompts[k], voices[1], plan, SayPlan(), (k, 0), rng))
        attempt = 1
        if k in broken:
            items.append(_broken_off(prompts[k], voices[0], plan, says, k, rng))
            attempt += 1
        items.append(_word(prompts[k], voices[0], plan, says, (k, attempt), rng))
        if k in again:
            items.append(_word(prompts[k], voices[0], plan, says, (k, attempt + 1), rng))
    return items


def _word(
    prompt: Prompt, speaker: Speaker, plan: ProbePlan, says: SayPlan, place: tuple[int, int], rng: np.random.Generator
) -> _Item:
    index, attempt = place
    added = (says.added or {}).get(index + 1, "")
    kinds = says.type_of(index)
    if added and not isinstance(kinds, str):
        kinds = ("", *kinds)
    _, phones = phones_of(prompt)
    spoken = say(
        _joined(phones, added), speaker, rng, sibilant_type=kinds, sibilant_level_db=says.level_db,
        durations=says.durations, sampling_rate_hz=plan.sampling_rate_hz,
    )  # fmt: skip
    stretch = spoken.truth.stretches[0]
    sibilants = stretch.sibilants
    if added:
        sibilants = tuple(replace(s, slot_index=max(0, s.slot_index - 1)) for s in sibilants)
    kind: StretchKind = "word" if attempt else "model"
    stretch = replace(
        stretch, kind=kind, speaker=speaker.code, prompt_index=index + 1, attempt=attempt, text=prompt.text,
        sibilants=sibilants,
    )  # fmt: skip
    return _Item(spoken.samples.astype(np.float64), stretch, 1.0 if attempt else 0.6)


def _joined(phones: list[tuple[str, int]], added: str = "") -> str:
    """Phone string with ``|`` between words, with an added phone at the very start."""
    words: dict[int, list[str]] = {}
    for phone, word in phones:
        words.setdefault(word, []).append(phone)
    text = " | ".join(" ".join(w) for w in words.values())
    return f"{added} {text}" if added else text


def _broken_off(
    prompt: Prompt, speaker: Speaker, plan: ProbePlan, says: SayPlan, index: int, rng: np.random.Generator
) -> _Item:
    """Begin the prompt and stop after its first vowel (or halfway through its phones, when that is later)."""
    _, phones = phones_of(prompt)
    vowels = [i for i, (p, _) in enumerate(phones) if p[-1].isdigit()]
    last = min(max(1, len(phones) - 1), (vowels[0] + 1) if vowels else 2)
    kinds = says.type_of(index)
    part = phones[:last]
    n = sum(p.rstrip("012") in SIBILANTS for p, _ in part)
    kind = kinds if isinstance(kinds, str) else (kinds[:n] if n else "")
    spoken = say(
        _joined(part), speaker, rng, sibilant_type=kind, sibilant_level_db=says.level_db, durations=says.durations,
        sampling_rate_hz=plan.sampling_rate_hz,
    )  # fmt: skip
    stretch = replace(
        spoken.truth.stretches[0], kind="false_start", speaker=speaker.code, prompt_index=index + 1, attempt=1,
        text=prompt.text, complete=False,
    )  # fmt: skip
    return _Item(spoken.samples.astype(np.float64), stretch, 0.4)


def _with_strays(items: list[_Item], plan: ProbePlan, other: Speaker, rng: np.random.Generator) -> list[_Item]:
    strays = [_noise_item(plan, rng) for _ in range(plan.noises)]
    for _ in range(plan.second_voice):
        text = _OTHER_SAYS[int(rng.integers(len(_OTHER_SAYS)))]
        spoken = say(text, other, rng, sampling_rate_hz=plan.sampling_rate_hz)
        stretch = replace(spoken.truth.stretches[0], kind="other_voice", attempt=0)
        strays.append(_Item(spoken.samples.astype(np.float64), stretch))
    out = list(items)
    for stray in strays:
        out.insert(int(rng.integers(0, len(out) + 1)), stray)
    return out


def _noise_item(plan: ProbePlan, rng: np.random.Generator) -> _Item:
    kind = tuple(_NOISES)[int(rng.integers(4))]
    level = _NOISE_LEVEL[kind] * float(rng.uniform(0.5, 1.5))
    samples = _NOISES[kind](plan.sampling_rate_hz, level, rng)
    return _Item(samples, TrueStretch(kind, loud_part(samples, plan.sampling_rate_hz)), 0.7)


def _laid_out(items: list[_Item], plan: ProbePlan, rng: np.random.Generator) -> tuple[Floats, list[TrueStretch]]:
    """Place the items with pauses between where one falls silent and the next begins."""
    rate = plan.sampling_rate_hz
    starts, stretches, free = [], [], plan.lead_s
    for item in items:
        start = round((free - item.stretch.interval.onset_s) * rate)
        starts.append(start)
        stretches.append(item.stretch.moved(start / rate))
        free = stretches[-1].interval.offset_s + float(rng.uniform(*plan.pause_s)) * item.pause_factor
    n = max(start + item.samples.size for start, item in zip(starts, items, strict=True)) + round(plan.lead_s * rate)
    dry = np.zeros(n)
    for start, item in zip(starts, items, strict=True):
        skip = max(0, -start)
        dry[start + skip : start + item.samples.size] += item.samples[skip:]
    return dry, stretches
