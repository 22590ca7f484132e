"""The words that conditions, judgements and findings are told in: each set declared once, with its one reader.

In comes what a person types or an older table keeps (``M+``, ``Set of three``, ``model with cue``); out goes the one
word that is kept and compared. A word that is none of a set is refused in one line that names those allowed, so that
two spellings of a thing never part what belongs together.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Generic, Literal, TypeVar, get_args

from ..errors import WordError

Level = Literal[
    "isolation",
    "syllable",
    "word",
    "set-of-three",
    "phrase",
    "sentence",
    "reading",
    "retelling",
    "structured talk",
    "conversation",
]
PracticeLevel = Literal["isolation", "syllable", "word", "set-of-three", "phrase", "sentence"]
Cue = Literal["spontaneous", "delayed model", "model", "model with a cue", "joint", "read aloud"]
Phase = Literal["baseline", "treatment", "maintenance", "follow-up", "reference under treatment", "pause", "not stated"]
Keep = Literal["words", "all", "none"]
Elicited = Literal["picture", "reading", "repetition", "talk"]
Heard = Literal[
    "correct", "approximation", "distorted", "substituted", "omitted", "added", "no_response", "not_scorable"
]
Distortion = Literal[
    "frontal", "interdental", "dentalised", "lateral", "palatal", "retracted", "whistled", "nasalised", "other"
]
Support = Literal["usable", "with care", "not usable"]
Finding = Literal["found", "no_frication", "extra", "none_expected", "unsure", "prompt_missing", "unreadable"]
ReportKind = Literal["monthly", "quarterly", "school", "payer", "family", "session", "discharge"]
VisitKind = Literal["attended", "called off by the family", "called off by the clinic", "not attended"]
Voice = Literal["client", "other", "unsure"]
Position = Literal["initial", "medial", "final"]
Target = Literal["S", "Z", "SH", "ZH", "TH"]
Sibilant = Literal["S", "Z", "SH", "ZH", "CH", "JH"]

Word_co = TypeVar("Word_co", bound=str, covariant=True)


@dataclass(frozen=True, slots=True)
class Vocabulary(Generic[Word_co]):
    """One set of words: what it is of, the words as they are kept, in order, and other spellings of them.

    Examples
    --------
    >>> CUES.read("M+"), LEVELS.read("Set of three"), TARGETS.read("/ʃ/")
    ('model with a cue', 'set-of-three', 'SH')
    >>> "word" in LEVELS, "wrod" in LEVELS
    (True, False)
    """

    of: str
    words: tuple[Word_co, ...]
    others: Mapping[str, Word_co] = field(default_factory=dict)
    _by_spelling: Mapping[str, Word_co] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        known = {_plain(word): word for word in self.words}
        known |= {_plain(spelling): word for spelling, word in self.others.items()}
        object.__setattr__(self, "others", MappingProxyType(dict(self.others)))
        object.__setattr__(self, "_by_spelling", MappingProxyType(known))

    def __iter__(self) -> Iterator[Word_co]:
        return iter(self.words)

    def __len__(self) -> int:
        return len(self.words)

    def __contains__(self, word: object) -> bool:
        return word in self.words

    def index(self, word: str) -> int:
        """Return the place of a word in the set's order, from 0."""
        return self.words.index(self.read(word))

    def find(self, text: str) -> Word_co | None:
        """Return the word that a text is a spelling of, None where it is of none."""
        return self._by_spelling.get(_plain(text))

    def read(self, text: str) -> Word_co:
        """Return the word that a text is a spelling of.

        Raises
        ------
        WordError
            When it is of none; the line names those allowed.

        Examples
        --------
        >>> PHASES.read("later")
        Traceback (most recent call last):
        sibilant.errors.WordError: phase 'later' is none of baseline, treatment, maintenance, follow-up, reference...
        """
        if (found := self.find(text)) is None:
            raise WordError(f"{self.of} {str(text)[:20]!r} is none of {self.allowed}")
        return found

    def read_or_empty(self, text: str) -> Word_co | Literal[""]:
        """Return the word that a text is a spelling of, and an empty text as it is: not stated."""
        return self.read(text) if text.strip() else ""

    @property
    def allowed(self) -> str:
        """The words with commas between them, each with its letter where the trade has one."""
        letters = {word: letter for letter, word in self.others.items() if letter.isupper() and len(letter) <= 2}
        return ", ".join(f"{letters[word]} ({word})" if word in letters else word for word in self.words)


def check_words(noun: object, **allowed: Collection[str]) -> None:
    """Refuse a noun one of whose parts, named with the words it can be, is none of them; None is not stated.

    Raises
    ------
    WordError
        Names the part, the word, and those allowed.
    """
    for part, words in allowed.items():
        word = getattr(noun, part)
        if word is not None and word not in words:
            raise WordError(f"{part} {str(word)[:20]!r} is none of {', '.join(filter(None, words))}")


def _plain(text: str) -> str:
    """A spelling without case, and with hyphens, underscores and runs of spaces as one space."""
    return re.sub(r"[-_\s]+", " ", str(text)).strip().casefold()


LEVELS: Vocabulary[Level] = Vocabulary(
    "level",
    get_args(Level),
    {
        "sound": "isolation",
        "syllables": "syllable",
        "words": "word",
        "phrases": "phrase",
        "carrier phrase": "phrase",
        "sentences": "sentence",
        "reading aloud": "reading",
        "passage": "reading",
        "retell": "retelling",
        "talk": "structured talk",
    },
)
"""The trade's hierarchy of practice, the least demanding first."""

PRACTICE_LEVELS: Vocabulary[PracticeLevel] = Vocabulary("level", get_args(PracticeLevel), {"sound": "isolation"})
"""Levels that a practice sheet, and a list shown by the page, can be of."""

CUES: Vocabulary[Cue] = Vocabulary(
    "cue",
    get_args(Cue),
    {
        "S": "spontaneous",
        "D": "delayed model",
        "M": "model",
        "M+": "model with a cue",
        "J": "joint",
        "delayed": "delayed model",
        "direct model": "model",
        "model with cue": "model with a cue",
        "model+": "model with a cue",
        "joint production": "joint",
        "reading": "read aloud",
    },
)
"""Help given before an answer, the most independent first; letters as the trade writes them."""

CUE_LETTERS: Mapping[str, Cue] = MappingProxyType(
    {letter: cue for letter, cue in CUES.others.items() if letter.isupper()}
)
CUES_WITH_MODEL: frozenset[Cue] = frozenset({"delayed model", "model", "model with a cue", "joint"})
"""Cues with which another person says the word first, or along."""

PHASES: Vocabulary[Phase] = Vocabulary("phase", get_args(Phase), {"followup": "follow-up"})
KEEPS: Vocabulary[Keep] = Vocabulary("kept sound", get_args(Keep))
ELICITED: Vocabulary[Elicited] = Vocabulary("way the words were had", get_args(Elicited))
"""From a picture, read aloud, said after someone, or in talk."""

HEARD: Vocabulary[Heard] = Vocabulary("accuracy", get_args(Heard))
DISTORTIONS: Vocabulary[Distortion] = Vocabulary("distortion", get_args(Distortion), {"dentalized": "dentalised"})
SUPPORTS: Vocabulary[Support] = Vocabulary("support", get_args(Support))
"""The best first: the worst of several is the one with the highest place."""

FINDINGS: Vocabulary[Finding] = Vocabulary("finding", get_args(Finding))
REPORT_KINDS: Vocabulary[ReportKind] = Vocabulary("kind of report", get_args(ReportKind))
VISITS: Vocabulary[VisitKind] = Vocabulary(
    "kind of visit", get_args(VisitKind), {"family": "called off by the family", "clinic": "called off by the clinic"}
)
VOICES: Vocabulary[Voice] = Vocabulary("voice", get_args(Voice))
POSITIONS: Vocabulary[Position] = Vocabulary("position", get_args(Position))
_SIGNS: Mapping[str, Target] = MappingProxyType({
    "/s/": "S", "/z/": "Z", "/sh/": "SH", "/zh/": "ZH", "ʃ": "SH", "/ʃ/": "SH", "ʒ": "ZH", "/ʒ/": "ZH",
    "/th/": "TH", "θ": "TH", "/θ/": "TH",
})  # fmt: skip
TARGETS: Vocabulary[Target] = Vocabulary("phone", get_args(Target), _SIGNS)
"""What a prompt can be for: sibilant fricatives, and /θ/, to be set against /s/. Affricates are never targets."""

SIBILANTS: Vocabulary[Sibilant] = Vocabulary("sibilant", get_args(Sibilant), {"tʃ": "CH", "dʒ": "JH"})
HUSHED: frozenset[Sibilant] = frozenset({"SH", "ZH", "CH", "JH"})
BESIDE_SIBILANTS: frozenset[str] = frozenset({"TH"})
"""No sibilant: a place for it only where a prompt is for it."""
VOICED: frozenset[Sibilant] = frozenset({"Z", "ZH", "JH"})
AFFRICATES: frozenset[Sibilant] = frozenset({"CH", "JH"})
