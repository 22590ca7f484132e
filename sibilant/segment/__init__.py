"""Recording and prompts to utterances; utterance and slots to bounded sibilants, or why not."""

from .frames import CoarseLevels, coarse_levels
from .words import WordSearch, find_words

__all__ = ["CoarseLevels", "WordSearch", "coarse_levels", "find_words"]
