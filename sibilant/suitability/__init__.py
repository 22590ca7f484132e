"""What a recording and each sibilant in it can support, by measured signs with declared thresholds."""

from .judging import SIGNS, judge
from .methods_served import house_tops_hz
from .rules import Reading, Rule

__all__ = ["SIGNS", "Reading", "Rule", "house_tops_hz", "judge"]
