"""Recording and prompts to utterances: every phone of a prompt placed."""

from .finding import find_words
from .placing import READER, place_phones
from .search import WordSearch

__all__ = ["READER", "WordSearch", "find_words", "place_phones"]
