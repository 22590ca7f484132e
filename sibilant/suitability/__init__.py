"""What a recording and each sibilant in it can support, by measured signs with declared thresholds."""

from .assessing import SIGNS, assess
from .methods_served import house_tops_hz
from .rules import Reading, Rule

__all__ = ["SIGNS", "Reading", "Rule", "assess", "house_tops_hz"]
