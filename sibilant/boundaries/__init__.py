"""Utterance and slots to bounded sibilants, or why not."""

from .marking import matched
from .reading import SlotReading
from .slots import SibilantSearch, bound, find_all, find_sibilants

__all__ = ["SibilantSearch", "SlotReading", "bound", "find_all", "find_sibilants", "matched"]
