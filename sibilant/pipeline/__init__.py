"""The one pipeline: a recording and its prompts become sounds and their measurements.

In come a recording, what was to be said, and methods; out come the sounds observed, once each, and one measurement a
sound and method. Clinic and corpus both call it, so that a clinic's number and a thesis's are the same number.
"""

from .analysing import analyse, analyse_marked, assess_alone, measure_again, observe
from .analysis import Analysis, Kept
from .strips import StripValues, strip_values

__all__ = [
    "Analysis",
    "Kept",
    "StripValues",
    "analyse",
    "analyse_marked",
    "assess_alone",
    "measure_again",
    "observe",
    "strip_values",
]
