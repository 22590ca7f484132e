"""Recording and prompts to utterances; utterance and slots to bounded sibilants, or why not."""

from .frames import CoarseLevels, coarse_levels

__all__ = ["CoarseLevels", "coarse_levels"]
