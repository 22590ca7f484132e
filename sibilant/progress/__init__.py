"""Change that is real: summaries, error, change, trend, accuracy and agreement, as pure functions over values."""

from .accuracy import accuracy, judgement_by, main_rater, move_up, standing, words_gained
from .advice import baseline_advice
from .agreement import agreement, agreement_with_self
from .change import bridge, changes, compare, limit_factor, measurement_error
from .context import accuracy_map, context_map, context_of
from .contrast import additions, before_after
from .contrasts import contrast
from .following import Following
from .frame import NEXT, ViewRequest, Words, followed, make_frame
from .heard import goal_met, goal_probes
from .lending import RULE, Others, grounds_of, lend, lender
from .means import Estimate, half_width, least_difference, mean_interval, paired, sd_interval, welch
from .plan import Plan, PlanRow, plan
from .planning import YEAR_ALARM
from .proportions import mcnemar_exact, newcombe, wilson
from .rejudged import other_verdicts
from .related import DECAY_DAYS, FULL_GAP_DAYS
from .reliability import alpha, fleiss, intraclass, kappa
from .separation import separation
from .session import expected, reason_left_out, summarise, values_under
from .sets import fades, first_against_third, sets_of_three
from .shared_steps import shared_steps
from .single_case import nap, phase_effect
from .trend import exact_p, kendall_s, trend
from .unlike import WATCHED, Unlike, most_unlike
from .view import view

__all__ = [
    "DECAY_DAYS",
    "FULL_GAP_DAYS",
    "NEXT",
    "RULE",
    "WATCHED",
    "YEAR_ALARM",
    "Estimate",
    "Following",
    "Others",
    "Plan",
    "PlanRow",
    "Unlike",
    "ViewRequest",
    "Words",
    "accuracy",
    "accuracy_map",
    "additions",
    "agreement",
    "agreement_with_self",
    "alpha",
    "baseline_advice",
    "before_after",
    "bridge",
    "changes",
    "compare",
    "context_map",
    "context_of",
    "contrast",
    "exact_p",
    "expected",
    "fades",
    "first_against_third",
    "fleiss",
    "followed",
    "goal_met",
    "goal_probes",
    "grounds_of",
    "half_width",
    "intraclass",
    "judgement_by",
    "kappa",
    "kendall_s",
    "least_difference",
    "lend",
    "lender",
    "limit_factor",
    "main_rater",
    "make_frame",
    "mcnemar_exact",
    "mean_interval",
    "measurement_error",
    "most_unlike",
    "move_up",
    "nap",
    "newcombe",
    "other_verdicts",
    "paired",
    "phase_effect",
    "plan",
    "reason_left_out",
    "sd_interval",
    "separation",
    "sets_of_three",
    "shared_steps",
    "standing",
    "summarise",
    "trend",
    "values_under",
    "view",
    "welch",
    "wilson",
    "words_gained",
]
