"""Recording and prompts to utterances; utterance and slots to bounded sibilants, or why not."""

from .frames import CoarseLevels, coarse_levels
from .slots import SibilantSearch, bound, find_all, find_sibilants
from .words import find_words
from .wordsearch import WordSearch

__all__ = [
    "CoarseLevels",
    "SibilantSearch",
    "WordSearch",
    "bound",
    "coarse_levels",
    "find_all",
    "find_sibilants",
    "find_words",
]
