"""Groups of speakers compared: effects with intervals, mixed models, discriminants with speaker-grouped folds.

Groups are described; nobody is diagnosed.
"""

from .agreement import Agreement, agreement
from .answer import Study
from .beside import LEVEL, Beside, side_by_side
from .comparing import compare
from .discriminate import Evaluation, evaluate, why_not
from .effects import Effect, all_effects, hedges_between, hedges_within
from .frame import Prepared, prepare
from .judges import JudgedEffect, judged_frame, soft_effects
from .missing import Bound, Missing, bounds, missing_by_group
from .mixed import Contrast, Model, Term, fit
from .noncentral import found_at_80
from .normalise import Normalised, normalisations
from .paragraph import CAUTION, paragraph
from .permute import permuted_between, permuted_mixed, permuted_within
from .question import DEFAULT_MEASURES, Question
from .sensitivity import Sensitivity, boundary_sensitivity

__all__ = [
    "CAUTION",
    "DEFAULT_MEASURES",
    "LEVEL",
    "Agreement",
    "Beside",
    "Bound",
    "Contrast",
    "Effect",
    "Evaluation",
    "JudgedEffect",
    "Missing",
    "Model",
    "Normalised",
    "Prepared",
    "Question",
    "Sensitivity",
    "Study",
    "Term",
    "agreement",
    "all_effects",
    "boundary_sensitivity",
    "bounds",
    "compare",
    "evaluate",
    "fit",
    "found_at_80",
    "hedges_between",
    "hedges_within",
    "judged_frame",
    "missing_by_group",
    "normalisations",
    "paragraph",
    "permuted_between",
    "permuted_mixed",
    "permuted_within",
    "prepare",
    "side_by_side",
    "soft_effects",
    "why_not",
]
