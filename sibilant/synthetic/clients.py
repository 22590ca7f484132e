"""Five invented clients: how they speak from session to session, what happened, and what an invented rater heard."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache
from typing import Literal

import numpy as np

from ..terms import Prompt
from .probes import ProbePlan, SayPlan, probe
from .room import DeviceCurve, through_device
from .shapes import Hump, Ridge, SibilantShape, mixed, sh_shape, shape_of
from .speakers import Speaker
from .truth import Spoken

Phase = Literal["baseline", "therapy"]
SHARES = tuple(k / 10 for k in range(11))


@dataclass(frozen=True, slots=True)
class StoryEvent:
    """Something that happened to an invented client, counted in days from the first session."""

    day: int
    kind: str
    note: str


@dataclass(frozen=True, slots=True)
class StorySession:
    """One session: when, what was read, how the client spoke that day, and through which microphone.

    ``share``: mean share (0 to 1) of the way this client is heading for in each /s/, the rest being the way of the
    first day; ``share_sd`` from token to token. ``omitted_share``: how often /s/ is left out in clusters. ``added``:
    foil words (by spelling) said with an /s/ before them.
    """

    number: int
    day: int
    phase: Phase
    share: float
    share_sd: float = 0.12
    spread_hz: float = 350.0
    lists: tuple[str, ...] = ("core-a",)
    device: str = "headset"
    omitted_share: float = 0.0
    added: tuple[str, ...] = ()
    snr_db: float = 34.0
    room_t60_s: float = 0.3


@dataclass(frozen=True, slots=True)
class ClientStory:
    """One invented client: speaker, the two ways of saying /s/ between which the sounds lie, sessions and events.

    ``distortion``: what the invented rater calls sounds near ``first``; ``heading``: what this client's /s/ becomes as
    the share grows. ``age_months`` at the first session.
    """

    code: str
    age_months: int
    summary: str
    speaker: Speaker
    distortion: str
    first: SibilantShape
    heading: SibilantShape
    sessions: tuple[StorySession, ...]
    events: tuple[StoryEvent, ...] = ()
    first_level_db: float = 0.0
    correct_from: float = 0.5
    seed: int = 0
    devices: Mapping[str, DeviceCurve] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class InventedJudgement:
    """What an invented rater heard: from how the sound was made, never from a measure of it."""

    prompt_index: int
    attempt: int
    slot: int
    accuracy: str
    type: str = ""
    certainty: str = "sure"
    rater: str = "rater-1"


@dataclass(frozen=True, slots=True)
class StoryTake:
    """One session's recording with its truth and the invented rater's judgements."""

    spoken: Spoken
    judgements: tuple[InventedJudgement, ...]


def story_take(story: ClientStory, session: StorySession, prompts: Sequence[Prompt]) -> StoryTake:
    """Speak one session of a story; same story, session and prompts give the same take.

    Parameters
    ----------
    story, session : ClientStory, StorySession
        Who, and which day.
    prompts : sequence of Prompt
        The lists of the session joined in order, with their slots (from the room ``lexicon``).

    Returns
    -------
    StoryTake
    """
    rng = np.random.default_rng([story.seed, session.number, 11])
    kinds, shares = _kinds(story, session, prompts, rng)
    added = {k + 1: "S" for k, p in enumerate(prompts) if p.text in session.added}
    plan = ProbePlan(
        pause_s=(0.45, 0.7), room_t60_s=session.room_t60_s, snr_db=session.snr_db, noises=1, repeats=0, false_starts=0,
    )  # fmt: skip
    spoken = probe(
        prompts, session_speaker(story, session), story.seed * 100 + session.number, plan=plan,
        says=SayPlan(tuple(kinds), added=added),
    )  # fmt: skip
    curve = story.devices.get(session.device)
    if curve is not None:
        spoken = through_device(spoken, curve)
    return StoryTake(spoken, tuple(_heard(story, prompts, shares, added, rng)))


def session_speaker(story: ClientStory, session: StorySession) -> Speaker:
    """Return the client's voice on one day, with one way of saying /s/ for each tenth of the share."""
    types = {_name(story, s): mixed(story.first, story.heading, s) for s in SHARES}
    levels = {_name(story, s): story.first_level_db * (1 - s) for s in SHARES}
    return replace(story.speaker, types=types, levels_db=levels, spread_hz=session.spread_hz)


def _name(story: ClientStory, share: float) -> str:
    return f"{story.distortion or 'typical'}~{round(100 * share):02d}"


def _kinds(
    story: ClientStory, session: StorySession, prompts: Sequence[Prompt], rng: np.random.Generator
) -> tuple[list[str | tuple[str, ...]], list[list[float]]]:
    kinds: list[str | tuple[str, ...]] = []
    shares: list[list[float]] = []
    for prompt in prompts:
        row, drawn = [], []
        for slot in prompt.slots:
            share = float(np.clip(session.share + session.share_sd * rng.standard_normal(), 0, 1))
            share = round(10 * share) / 10
            left_out = slot.phone == "S" and bool(slot.cluster) and rng.random() < session.omitted_share
            row.append("omitted" if left_out else _name(story, share))
            drawn.append(-1.0 if left_out else share)
        kinds.append(tuple(row) if row else "")
        shares.append(drawn)
    return kinds, shares


def _heard(
    story: ClientStory, prompts: Sequence[Prompt], shares: list[list[float]],
    added: Mapping[int, str], rng: np.random.Generator,
) -> list[InventedJudgement]:  # fmt: skip
    """Let the invented rater hear each sound as made, mistaken once in 20, unsure near the line."""
    heard: list[InventedJudgement] = []
    for k, prompt in enumerate(prompts):
        if k + 1 in added:
            heard.append(InventedJudgement(k + 1, 1, 0, "added"))
        for j, slot in enumerate(prompt.slots):
            if slot.phone != prompt.target or slot.phone not in ("S", "SH"):
                continue
            share = shares[k][j] if slot.phone == "S" else 1.0
            heard.append(_one_heard(story, (k + 1, slot.index), share, rng))
    return heard


def _one_heard(story: ClientStory, place: tuple[int, int], share: float, rng: np.random.Generator) -> InventedJudgement:
    if share < 0:
        return InventedJudgement(place[0], 1, place[1], "omitted")
    good = share >= story.correct_from
    if rng.random() < 0.05:
        good = not good
    unsure = abs(share - story.correct_from) < 0.15
    accuracy = "correct" if good else "approximation" if share > 0.6 * story.correct_from else "distorted"
    kind = "" if good else story.distortion
    return InventedJudgement(place[0], 1, place[1], accuracy, kind, "unsure" if unsure else "sure")


@lru_cache(maxsize=1)
def invented_clients() -> tuple[ClientStory, ...]:
    """Five invented clients of an invented clinic, "Room 4". Invented data – not a person.

    Examples
    --------
    >>> [story.code for story in invented_clients()]
    ['C-7QXK', 'C-M4RT', 'C-9HVD', 'C-2WPN', 'C-A83L']
    """
    return _frontal(), _lateral(), _cluster(), _two_microphones(), _whistling()


def _days(shares: Sequence[float], n_baselines: int = 3) -> list[tuple[int, int, Phase, float]]:
    """Number, day, phase and share of each session: baselines a week apart, then one probe every 30 days."""
    rows: list[tuple[int, int, Phase, float]] = []
    for k, share in enumerate(shares):
        if k < n_baselines:
            rows.append((k + 1, 7 * k, "baseline", share))
        else:
            rows.append((k + 1, 7 * (n_baselines - 1) + 30 * (k - n_baselines + 1), "therapy", share))
    return rows


def _child(code: str, f0_hz: float, scale: float, s: SibilantShape, sh: SibilantShape) -> Speaker:
    return Speaker(
        code, f0_hz, scale, s, sh, "child", s_level_db=-7.0, sh_level_db=-5.0, tempo=0.9, jitter=0.011, shimmer=0.07,
        breathiness_db=-19.0, open_quotient=0.6, rounding_hz=150.0,
    )  # fmt: skip


def _frontal() -> ClientStory:
    heading = shape_of("typical").centred(9200.0)
    first = shape_of("frontal").centred(6900.0)
    shares = (0.14, 0.14, 0.14, 0.17, 0.19, 0.10, 0.52, 0.62, 0.72)
    share_sds = (0.17, 0.17, 0.17, 0.17, 0.16, 0.15, 0.11, 0.08, 0.06)
    spreads = (520, 520, 520, 500, 480, 480, 300, 260, 220)
    sessions = tuple(
        StorySession(n, day, phase, share, share_sd, spread, ("core-a", "sh-a", "sh-b"))
        for (n, day, phase, share), share_sd, spread in zip(_days(shares), share_sds, spreads, strict=True)
    )
    return ClientStory(
        "C-7QXK", 80, "frontal /s/; the distance to /sh/ grows and the spread shrinks after month 3",
        _child("C-7QXK", 262.0, 1.42, heading, sh_shape().centred(4700.0)), "frontal", first, heading, sessions,
        (StoryEvent(14 + 80, "tooth", "upper front teeth lost before month 3"),), first_level_db=-8.0, seed=96,
    )  # fmt: skip


def _lateral() -> ClientStory:
    first = SibilantShape((Hump(2500, 420), Hump(4300, 650, 1.0), Hump(7800, 1500, -7.0)), -24.0).centred(4500.0)
    heading = SibilantShape((Hump(4400, 620), Hump(5900, 600, -9.0)), -30.0).centred(4560.0)
    shares = (0.12, 0.15, 0.12, 0.22, 0.27, 0.30, 0.34, 0.37, 0.40)
    sessions = tuple(StorySession(n, day, phase, share, 0.22, 260.0) for n, day, phase, share in _days(shares))
    return ClientStory(
        "C-M4RT", 98, "lateral /s/; judged 10 to 45 percent correct while the centroid hardly moves",
        _child("C-M4RT", 248.0, 1.36, shape_of("typical"), sh_shape().centred(4300.0)), "lateral", first, heading,
        sessions, first_level_db=-1.0, seed=72,
    )  # fmt: skip


def _cluster() -> ClientStory:
    typical = shape_of("typical").centred(8900.0)
    shares = (1.0,) * 7
    left_out = (0.9, 0.9, 0.8, 0.8, 0.6, 0.6, 0.4)
    added = (("tar", "led"),) * 3 + (("tar", "led"), ("led",), ("led",), ())
    sessions = tuple(
        StorySession(n, day, phase, share, 0.0, 300.0, ("core-a", "foils"), omitted_share=out, added=extra)
        for (n, day, phase, share), out, extra in zip(_days(shares), left_out, added, strict=True)
    )
    return ClientStory(
        "C-9HVD", 85, "/s/ left out in clusters, and an /s/ put on two words that have none",
        _child("C-9HVD", 270.0, 1.40, typical, sh_shape().centred(4600.0)), "", typical, typical, sessions, seed=73,
        correct_from=0.3,
    )  # fmt: skip


def _two_microphones() -> ClientStory:
    first, heading = shape_of("dentalised").centred(9700.0), shape_of("typical").centred(8600.0)
    shares = (0.2, 0.22, 0.18, 0.25, 0.35, 0.45, 0.5, 0.6, 0.7)
    sessions = tuple(
        StorySession(n, day, phase, share, 0.15, 300.0, device="tablet" if n == 7 else "headset")
        for n, day, phase, share in _days(shares)
    )
    tablet = DeviceCurve(((0.0, 0.0), (4000.0, 0.0), (7000.0, -4.0), (10000.0, -12.0), (16000.0, -24.0)))
    return ClientStory(
        "C-2WPN", 136, "dentalised /s/; month 4 was recorded with another microphone",
        _child("C-2WPN", 228.0, 1.28, heading, sh_shape().centred(4200.0)), "dentalised", first, heading, sessions,
        (StoryEvent(14 + 120, "device", "tablet instead of the headset"),), first_level_db=-3.0, seed=74,
        devices={"tablet": tablet},
    )  # fmt: skip


def _whistling() -> ClientStory:
    heading = shape_of("typical", 0.78)
    first = replace(heading, ridge=Ridge(6600.0, 160.0, 500.0, 9.0))
    shares = (0.0, 0.0, 0.1, 0.1, 0.2, 0.3)
    sessions = tuple(StorySession(n, day, phase, share, 0.2, 180.0) for n, day, phase, share in _days(shares))
    adult = Speaker(
        "C-A83L", 118.0, 1.0, heading, sh_shape(0.75), "man", s_level_db=-9.0, sh_level_db=-7.0, breathiness_db=-26.0,
        open_quotient=0.48, spread_hz=180.0,
    )  # fmt: skip
    return ClientStory(
        "C-A83L", 408, "an adult whose /s/ whistles: a narrow peak that glides", adult, "whistled", first, heading,
        sessions, first_level_db=1.0, seed=75,
    )  # fmt: skip
