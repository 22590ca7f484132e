"""The columns of a study's tables, each with type, meaning and unit.

Header, CSVW description and data dictionary are made from them.
"""

from __future__ import annotations

from ..tables import Column

P_DECIMALS = 4  # of p values in tables


def _c(name: str, what: str, unit: str = "", decimals: int | None = None) -> Column:
    return Column(name, "number" if decimals is not None else "string", what, unit, decimals)


def _n(name: str, what: str) -> Column:
    return Column(name, "integer", what)


_ENDS = (_c("low", "Lower end of its 95 % interval", "", 6), _c("high", "Upper end of its 95 % interval", "", 6))
_PAIR = (
    _c("measure", "Measure compared"), _c("unit", "Its unit"), _c("first", "Group that is taken away"),
    _c("second", "Group it is taken from"),
)  # fmt: skip
_ADJUSTED = (
    _c("p_holm", "p after Holm", "", P_DECIMALS), _c("p_fdr", "p after Benjamini and Hochberg", "", P_DECIMALS),
)  # fmt: skip
_FOUND = _c("found_at_80", "Smallest true difference that would be found four times in five (5 %, not adjusted)", "", 6)
EFFECT = (
    *_PAIR, _n("n_first", "Speakers of the first group"), _n("n_second", "Speakers of the second group"),
    _c("mean_first", "Mean over speakers, first group", "", 6),
    _c("mean_second", "Mean over speakers, second group", "", 6),
    _c("difference", "Second less first, in the measure's unit", "", 6), *_ENDS,
    _c("g", "Hedges's g", "", 3), _c("g_low", "Lower end of its 95 % interval", "", 3),
    _c("g_high", "Upper end of its 95 % interval", "", 3), _c("p", "p by permutation of speakers", "", P_DECIMALS),
    *_ADJUSTED, _c("kind", "paired over speakers with both groups, between over those with one"),
    _n("n_tokens_first", "Tokens of those speakers, first group"),
    _n("n_tokens_second", "Tokens of those speakers, second group"),
    _n("n_aside", "Speakers of either group that this comparison can't use"),
    _c("p_everyone", "p with those too, permuted within and between speakers", "", P_DECIMALS),
    _FOUND,
)  # fmt: skip
NORMALISED = (_c("way", "How the speaker was taken out"), *EFFECT)
MOVED = (_c("way", "How both edges of every sound were moved"), *EFFECT)
WAY = (
    _c("way", "Name"), _c("how", "How"), _c("done", "yes or no"), _c("why", "Why it was not done"),
    _c("balanced_accuracy", "Linear discriminant, folds by speaker", "", 3),
)  # fmt: skip
MODEL = (
    _c("measure", "Measure"), _c("unit", "Its unit"), _c("formula", "Model"), _n("n_rows", "Tokens it was fitted to"),
    _n("n_speakers", "Speakers"), _n("n_words", "Words"),
    _c("term", "Fixed effect, joint test of several, or SD of a random part"),
    _c("estimate", "In the measure's unit", "", 6), _c("error", "Standard error (Kenward and Roger)", "", 6),
    _c("df", "Degrees of freedom (Satterthwaite, never more than speakers allow)", "", 1), *_ENDS,
    _c("in_sd", "Estimate over the residual SD", "", 3), _c("f", "Wald's F of a joint test", "", 2),
    _n("df1", "Coefficients tested together"), _c("p", "p by t, or by F", "", P_DECIMALS),
    _c("share", "Share of the random variance (intraclass correlation)", "", 3),
)  # fmt: skip
FIT = (
    _c("measure", "Measure"), _c("unit", "Its unit"), _c("formula", "Model"), _n("n_rows", "Tokens it was fitted to"),
    _n("n_speakers", "Speakers"), _n("n_words", "Words"),
    _c("converged", "yes where slope and curvature say that the optimum was found"),
    _c("deviance", "-2 log restricted likelihood", "", 6), _c("singular", "Random parts without spread"),
    _c("icc_speaker", "Share of speakers in the random variance", "", 3),
    _c("r2_fixed", "Share of the variance that the fixed effects tell", "", 3),
    _c("r2_all", "Share that fixed and random effects tell", "", 3), _c("structure", "Why this random structure"),
    _c("checks", "What the residuals show"), _c("notes", "What to be careful with"),
)  # fmt: skip
CONTRAST = (
    *_PAIR, _c("estimate", "Second less first in the model", "", 6), _c("error", "Standard error", "", 6),
    _c("df", "Degrees of freedom", "", 1), *_ENDS, _c("p", "p by t", "", P_DECIMALS), *_ADJUSTED, _FOUND,
    _c("without", "Speaker that moves it most"), _c("estimate_without", "Estimate without that speaker", "", 6),
    _c("low_without", "Lower end of its 95 % interval", "", 6),
    _c("high_without", "Upper end of its 95 % interval", "", 6),
)  # fmt: skip
ANALYSES = (
    *_PAIR, _c("primary", "The primary analysis: mixed (model) or paired (over speakers' means)"),
    _c("estimate", "Second less first by it", "", 6), *_ENDS, _c("p", "Its p", "", P_DECIMALS),
    _c("p_holm", "p after Holm", "", P_DECIMALS), _n("n_speakers", "Its speakers"), _n("n_tokens", "Its tokens"),
    _FOUND,
    _c("other", "The other analysis"), _c("other_estimate", "Second less first by it", "", 6),
    _c("other_low", "Lower end of its 95 % interval", "", 6), _c("other_high", "Upper end of its 95 % interval", "", 6),
    _c("other_p", "Its p", "", P_DECIMALS), _c("other_p_holm", "p after Holm", "", P_DECIMALS),
    _n("other_n_speakers", "Its speakers"), _n("other_n_tokens", "Its tokens"),
    _c("claimed", "yes where the primary analysis tells the groups apart"),
    _c("paired", "yes where the analysis over means rests on speakers who have both groups"),
    _c("agree", "yes where both say the same"), _c("words", "How they stand to each other"),
)  # fmt: skip
EVALUATION = (
    _c("name", "Discriminant"), _n("n_tokens", "Tokens"), _n("n_speakers", "Speakers"),
    _n("n_folds", "Folds by speaker"), _n("n_repeats", "How often folds were dealt out anew"),
    _c("features", "Measures used"), _c("balanced_accuracy", "Mean share of each group's tokens called so", "", 3),
    _c("low", "Lower end of its 95 % interval over speakers", "", 3),
    _c("high", "Upper end of its 95 % interval over speakers", "", 3),
    _c("chance", "The same with groups permuted within and between speakers", "", 3),
    _c("chance_high", "95 % point of chance", "", 3), _c("p", "Share of permutations that do as well", "", P_DECIMALS),
    _c("notes", "What was left out"),
)  # fmt: skip
CONFUSION = (
    _c("name", "Discriminant"), _c("group", "Group of the tokens"), _c("called", "What they were called"),
    _n("n_tokens", "How many, mean over repeats"),
)  # fmt: skip
CURVE = (
    _c("name", "Discriminant"), _n("n_learnt_from", "Speakers learnt from, mean over folds"),
    _c("balanced_accuracy", "Balanced accuracy on unseen speakers", "", 3),
)  # fmt: skip
SENSITIVITY = (
    *_PAIR, _c("difference", "Claimed difference, as measured", "", 6), *_ENDS,
    _c("against", "With all edges moved against it, the worst that could be", "", 6),
    _c("against_low", "Lower end of its 95 % interval", "", 6),
    _c("against_high", "Upper end of its 95 % interval", "", 6),
    _c("moved_low", "2.5 % point of the difference over means when edges move by chance", "", 6),
    _c("moved_high", "97.5 % point of it", "", 6), _c("holds", "yes where the interval at the worst leaves 0 out"),
    _c("inside", "yes where the worst lies inside the interval as measured"),
)  # fmt: skip
MISSING = (
    _c("measure", "Measure"), _c("group", "Group"), _n("n_expected", "Sounds expected"),
    _n("n_measured", "Of them with a value"), _n("n_missing", "Of them without"),
    _n("n_no_value", "Found, but without a value of this measure"), _n("n_no_frication", "No frication found"),
    _n("n_unsure", "Unsure"), _n("n_prompt_missing", "Prompt not heard"), _n("n_unreadable", "Recording unreadable"),
    _c("share_missing", "Share of the expected that is missing", "", 3),
)  # fmt: skip
BOUND = (
    *_PAIR, _n("n_missing_first", "Missing of the first group"), _n("n_missing_second", "Missing of the second group"),
    _c("difference", "Over speakers' means, as measured", "", 6),
    _c("least", "If all missing were as it would be least", "", 6),
    _c("most", "If all missing were as it would be most", "", 6),
    _c("one_sided", "yes where both lie on one side of 0"),
)  # fmt: skip
SPEAKER = (
    _c("speaker", "Speaker"), _c("group", "Group"), _c("measure", "Measure"), _n("n_tokens", "Tokens"),
    _c("mean", "Mean over tokens, in the measure's unit", "", 6), _c("sd", "SD over tokens", "", 6),
)  # fmt: skip
SEPARATION = (
    _c("speaker", "Speaker"), _c("measure", "Measure"), _n("n_s", "Tokens of the compared sibilant"),
    _n("n_sh", "Tokens of /sh/"), _c("difference", "Mean of s less mean of sh", "", 6),
    _c("difference_low", "Lower end of its 95 % interval", "", 6),
    _c("difference_high", "Upper end of its 95 % interval", "", 6), _c("auc", "Area under the ROC curve", "", 3),
    _c("auc_low", "Lower end of its 95 % interval", "", 3), _c("auc_high", "Upper end of its 95 % interval", "", 3),
    _c("overlap", "Common area of two bell curves", "", 3), _c("why", "Why it could not be judged"),
)  # fmt: skip
COUNT = (
    _c("what", "What is counted"), _c("which", "Of which kind"), Column("value", "number", "How many, or what share"),
)  # fmt: skip
JUDGES = (
    _n("n_judges", "Judges"), _n("n_tokens", "Tokens of the study that two judges or more heard"),
    _n("n_speakers", "Their speakers"), _n("n_alike", "Tokens that all judges heard alike"),
    _n("n_unjudged", "Tokens of the study that nobody judged"),
    _n("n_elsewhere", "Judged tokens that are not in the study and enter nothing"),
    _c("alpha", "Krippendorff's alpha, nominal", "", 3), _c("alpha_low", "Lower end of its 95 % interval", "", 3),
    _c("alpha_high", "Upper end of its 95 % interval", "", 3), _c("kappa", "Cohen's kappa, of two judges", "", 3),
    _c("kappa_low", "Lower end of its 95 % interval", "", 3), _c("kappa_high", "Upper end of its 95 % interval", "", 3),
)  # fmt: skip
DICTIONARY = (
    _c("table", "File the column stands in"), _c("name", "Name of the column"),
    _c("datatype", "string, integer or number"), _c("unit", "Unit, empty where there is none"),
    Column("lowest", "number", "Lowest value found, empty for text"),
    Column("highest", "number", "Highest value found, empty for text"),
    _c("how", "What it is and how it is computed"), _c("missing", "How a missing value is written"),
    _n("n_missing", "How many are missing"),
)  # fmt: skip
