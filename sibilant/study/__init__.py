"""Groups of speakers compared: effects with intervals, mixed models, discriminants with speaker-grouped folds.

Groups are described; nobody is diagnosed.
"""

from .answer import Study
from .comparing import compare
from .discriminate import Evaluation, evaluate, linear, logistic, why_not
from .effects import Effect, all_effects, hedges_between, hedges_within
from .frame import Prepared, prepare
from .judges import JudgedEffect, codes_of, judged_frame, soft_effects
from .mixed import Model, Term, fit
from .normalise import Normalised, normalisations
from .paragraph import CAUTION, paragraph
from .permute import permuted_between, permuted_within
from .question import DEFAULT_MEASURES, Question
from .sensitivity import Sensitivity, boundary_sensitivity

__all__ = [
    "CAUTION",
    "DEFAULT_MEASURES",
    "Effect",
    "Evaluation",
    "JudgedEffect",
    "Model",
    "Normalised",
    "Prepared",
    "Question",
    "Sensitivity",
    "Study",
    "Term",
    "all_effects",
    "boundary_sensitivity",
    "codes_of",
    "compare",
    "evaluate",
    "fit",
    "hedges_between",
    "hedges_within",
    "judged_frame",
    "linear",
    "logistic",
    "normalisations",
    "paragraph",
    "permuted_between",
    "permuted_within",
    "prepare",
    "soft_effects",
    "why_not",
]
