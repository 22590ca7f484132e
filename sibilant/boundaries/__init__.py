"""Utterance and slots to bounded sibilants, or why not."""

from .slots import SibilantSearch, bound, find_all, find_sibilants

__all__ = ["SibilantSearch", "bound", "find_all", "find_sibilants"]
