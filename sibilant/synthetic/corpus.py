"""Demo-S: the plan of an invented corpus for a student, with two broken files and two invented judges."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..terms import Prompt
from .probes import ProbePlan, SayPlan, probe
from .shapes import SibilantType
from .speakers import Speaker, child_speaker, man, woman
from .truth import Spoken

CORPUS_TYPES: tuple[SibilantType, ...] = ("typical", "frontal", "lateral", "retracted", "whistled")
_CONFUSED = {
    "typical": ("frontal", "whistled"), "frontal": ("typical", "lateral"), "lateral": ("retracted", "frontal"),
    "retracted": ("lateral", "typical"), "whistled": ("typical", "retracted"),
}  # fmt: skip
_HIT = 0.86


@dataclass(frozen=True, slots=True)
class CorpusFile:
    """One file: who says the list in which way, or how the file is broken (``empty``, ``not_a_sound``)."""

    name: str
    speaker: Speaker
    sibilant_type: SibilantType
    seed: int
    broken: str = ""


@dataclass(frozen=True, slots=True)
class CorpusJudgement:
    """What one of the two invented judges called one token."""

    file: str
    prompt_index: int
    slot: int
    judge: str
    type: str


@dataclass(frozen=True, slots=True)
class DemoCorpus:
    """The whole plan: files and judgements. Invented data – not a person."""

    files: tuple[CorpusFile, ...]
    judgements: tuple[CorpusJudgement, ...]


def demo_s_corpus(n_speakers: int = 12, n_tokens: int = 40, seed: int = 2026) -> DemoCorpus:
    """Plan the corpus: ``n_speakers`` speakers, five ways of saying /s/, ``n_tokens`` tokens of each, two broken files.

    Speakers are children, women and men in turn. Each judge hears the way a token was made with probability 0.86 and
    else one of two ways it is mistaken for, so that kappa between the judges is near .7 in expectation.

    Examples
    --------
    >>> plan = demo_s_corpus()
    >>> len(plan.files), len(plan.judgements)
    (62, 4800)
    """
    invent = (child_speaker, woman, man)
    files: list[CorpusFile] = []
    for k in range(n_speakers):
        speaker = invent[k % 3](seed + k, code=f"S{k + 1:02d}")
        for j, kind in enumerate(CORPUS_TYPES):
            files.append(CorpusFile(f"{speaker.code}-{kind}", speaker, kind, seed * 100 + 10 * k + j))
    judged = _judged(files, n_tokens, seed)
    files.append(CorpusFile("S13-typical", woman(seed, code="S13"), "typical", 0, "empty"))
    files.append(CorpusFile("S14-typical", woman(seed, code="S14"), "typical", 0, "not_a_sound"))
    return DemoCorpus(tuple(files), tuple(judged))


def corpus_take(file: CorpusFile, prompts: Sequence[Prompt]) -> Spoken:
    """Speak one file: the prompts in order, in a quiet room, every /s/ in the file's way.

    Raises
    ------
    ValueError
        When the file is one of the broken ones: there is no sound in it.
    """
    if file.broken:
        raise ValueError(f"{file.name} is broken on purpose ({file.broken}); write no sound for it")
    plan = ProbePlan(pause_s=(0.35, 0.6), room_t60_s=0.25, snr_db=38.0)
    return probe(prompts, file.speaker, file.seed, plan=plan, says=SayPlan((file.sibilant_type,)))


def _judged(files: list[CorpusFile], n_tokens: int, seed: int) -> list[CorpusJudgement]:
    rng = np.random.default_rng([seed, 12])
    rows: list[CorpusJudgement] = []
    for file in files:
        for token in range(n_tokens):
            for judge in ("judge-1", "judge-2"):
                heard: str = file.sibilant_type
                if rng.random() > _HIT:
                    heard = _CONFUSED[heard][int(rng.integers(2))]
                rows.append(CorpusJudgement(file.name, token + 1, 1, judge, heard))
    return rows
