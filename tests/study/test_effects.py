"""Effects, permutation, models, discriminants against handbook formulas, published fits, independent libraries.

Invented data – not a person.
"""

from __future__ import annotations

import math
import runpy
import warnings
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from sibilant.study import (
    Question,
    evaluate,
    fit,
    hedges_between,
    hedges_within,
    permuted_between,
    permuted_mixed,
    permuted_within,
    prepare,
)
from sibilant.study.blocks import blocks_of, folds, permuted_groups
from sibilant.study.classify import LinearRule
from sibilant.study.discriminate import accuracy
from sibilant.study.effects import adjusted, all_effects
from sibilant.study.noncentral import correction, found_at_80, noncentral_limits

SHARED = Path(__file__).parents[2].parent / "shared"


def tokens(
    n_speakers: int, groups: int, n_tokens: int, seed: int, *, between: bool, shift: float = 0.0
) -> pd.DataFrame:
    """Rows of a table: speakers N(0, 1), tokens N(0, 0.5), words N(0, 0.3); the last group shifted."""
    rng = np.random.default_rng(seed)
    words = rng.normal(0, 0.3, n_tokens)
    rows = []
    for s in range(n_speakers):
        own = rng.normal()
        for g in [s % groups] if between else range(groups):
            for w in range(n_tokens):
                value = own + words[w] + shift * (g == groups - 1) + rng.normal(0, 0.5)
                rows.append({"speaker": f"S{s:02d}", "type": f"g{g}", "prompt": f"w{w}", "centroid_hz": value})
    return pd.DataFrame(rows)


def test_hedges_correction() -> None:
    """Approximation 1 - 3 / (4 df - 1) of Hedges (1981), from memory; exact for many degrees of freedom."""
    for df in (5, 10, 30, 100):
        assert correction(df) == pytest.approx(1 - 3 / (4 * df - 1), abs=2e-3)


def test_noncentral_limits_by_an_independent_library() -> None:
    """scipy's noncentral t."""
    for t, df in ((2.0, 10), (0.0, 4), (6.0, 11), (-3.0, 2)):
        low, high = noncentral_limits(t, df)
        assert stats.nct.cdf(t, df, low) == pytest.approx(0.975, abs=1e-5)
        assert stats.nct.cdf(t, df, high) == pytest.approx(0.025, abs=1e-5)


def test_hedges_between_is_t_rescaled() -> None:
    rng = np.random.default_rng(1)
    x, y = rng.normal(0, 1, 8), rng.normal(1, 1, 11)
    g, low, high = hedges_between(x.tolist(), y.tolist())
    t = stats.ttest_ind(y, x).statistic
    assert g == pytest.approx(correction(17) * t * math.sqrt(1 / 8 + 1 / 11))
    assert low < g < high
    shifted = hedges_between((1000 * x + 5).tolist(), (1000 * y + 5).tolist())
    assert shifted == pytest.approx((g, low, high))


def test_hedges_within_leaves_zero_out_where_t_does() -> None:
    rng = np.random.default_rng(2)
    for shift in (0.0, 0.3, 0.6, 1.0):
        x = rng.normal(0, 1, 12)
        y = x + shift + rng.normal(0, 0.5, 12)
        g, low, high = hedges_within(x.tolist(), y.tolist())
        assert low < g < high
        assert (low > 0 or high < 0) == (stats.ttest_rel(y, x).pvalue < 0.05)


def test_no_spread_gives_no_figure() -> None:
    assert all(math.isnan(v) for v in hedges_between([1.0] * 4, [2.0] * 4))
    assert all(math.isnan(v) for v in hedges_within([1.0, 2.0, 3.0], [2.0, 3.0, 4.0]))


@pytest.mark.parametrize("sizes", [(4, 5), (6, 6)])
def test_permutation_by_an_independent_library(sizes: tuple[int, int]) -> None:
    """scipy.stats.permutation_test counts the same arrangements."""
    rng = np.random.default_rng(3)
    x, y = rng.normal(0, 1, sizes[0]), rng.normal(0.8, 1, sizes[1])

    def difference(a: np.ndarray, b: np.ndarray, axis: int) -> np.ndarray:
        return np.abs(b.mean(axis=axis) - a.mean(axis=axis))

    theirs = stats.permutation_test((x, y), difference, alternative="greater", vectorized=True, n_resamples=np.inf)
    assert permuted_between(x, y) == pytest.approx(theirs.pvalue)
    n = min(sizes)
    signed = stats.permutation_test(
        (y[:n] - x[:n],), lambda d, axis: np.abs(d.mean(axis=axis)), permutation_type="samples",
        alternative="greater", vectorized=True, n_resamples=np.inf,
    )  # fmt: skip
    assert permuted_within(x[:n], y[:n]) == pytest.approx(signed.pvalue)


def test_permutation_drawn_is_near_t() -> None:
    rng = np.random.default_rng(4)
    x, y = rng.normal(0, 1, 30), rng.normal(0.5, 1, 30)
    assert permuted_between(x, y) == pytest.approx(stats.ttest_ind(x, y).pvalue, abs=0.01)
    assert permuted_between(x, y) == permuted_between(x, y)


def test_adjusted_p_by_hand() -> None:
    """Holm (1979) and Benjamini & Hochberg (1995) on .01 .02 .03 .04, by hand."""
    frame = tokens(6, 2, 3, 1, between=True)
    effect = all_effects(prepare(frame, Question("type")), Question("type"))[0]
    from dataclasses import replace

    found = adjusted([replace(effect, p=p) for p in (0.01, 0.02, 0.03, 0.04)])
    assert [round(e.p_holm, 4) for e in found] == [0.04, 0.06, 0.06, 0.06]
    assert [round(e.p_fdr, 4) for e in found] == [0.04, 0.04, 0.04, 0.04]


def test_published_mixed_model_is_what_the_library_gives() -> None:
    """Belenky et al. (2003) as fitted by Bates et al. (2015), J Stat Softw 67(1); worked example 6.1."""
    path = SHARED / "reference/sleepdata.py"
    if not path.exists():
        pytest.skip("the shared reference values are not beside the checkout")
    import statsmodels.formula.api as smf

    data = runpy.run_path(str(path))["D"]
    rows = [(who, day, value) for who, values in data.items() for day, value in enumerate(values)]
    frame = pd.DataFrame(rows, columns=["who", "day", "value"])
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        full = smf.mixedlm("value ~ day", frame, groups="who", re_formula="~day").fit(reml=True)
        only = smf.mixedlm("value ~ day", frame, groups="who").fit(reml=False)
    assert full.params["Intercept"] == pytest.approx(251.405, rel=1e-4)
    assert full.params["day"] == pytest.approx(10.467, rel=1e-4)
    assert (full.bse["Intercept"], full.bse["day"]) == pytest.approx((6.825, 1.546), rel=1e-3)
    assert full.cov_re.iloc[0, 0] == pytest.approx(612.10, rel=1e-3)
    assert full.cov_re.iloc[1, 1] == pytest.approx(35.07, rel=1e-3)
    assert full.scale == pytest.approx(654.94, rel=1e-3)
    assert math.sqrt(only.scale) == pytest.approx(30.895434, rel=1e-3)
    assert only.llf == pytest.approx(-897.039322, rel=1e-4)


def test_model_between_speakers_is_the_nested_analysis_of_variance() -> None:
    """Balanced data, one word: REML variances are (MS_speaker - MS_token) / n and MS_token (Searle et al. 1992)."""
    frame = tokens(12, 2, 20, 5, between=True, shift=1.0).assign(prompt="w")
    question = Question("type")
    model = fit(prepare(frame, question), "centroid_hz", question)
    means = frame.groupby(["type", "speaker"])["centroid_hz"].mean()
    inside = frame.groupby("speaker")["centroid_hz"].var(ddof=1).mean()
    between = means.groupby("type").var(ddof=1).mean()
    assert model.variances["residual"] == pytest.approx(inside, rel=1e-3)
    assert model.variances["speaker"] == pytest.approx(between - inside / 20, rel=1e-3)
    groups = means.groupby("type").mean()
    term = model.terms[1]
    assert term.name == "g1 - g0" and term.df == 10
    assert term.estimate == pytest.approx(groups["g1"] - groups["g0"], rel=1e-4)
    assert term.error == pytest.approx(math.sqrt(between * (1 / 6 + 1 / 6)), rel=1e-3)


def test_model_within_speakers_holds_the_speakers_own_shift() -> None:
    """Balanced: the error of a difference is that of the paired t test over speakers (standard result)."""
    frame = tokens(12, 2, 20, 6, between=False, shift=0.5)
    rng = np.random.default_rng(6)
    own = {(s, g): rng.normal(0, 0.4) for s in frame["speaker"].unique() for g in ("g0", "g1")}
    frame["centroid_hz"] += [own[key] for key in zip(frame["speaker"], frame["type"], strict=True)]
    question = Question("type")
    model = fit(prepare(frame, question), "centroid_hz", question)
    means = frame.pivot_table(index="speaker", columns="type", values="centroid_hz")
    difference = means["g1"] - means["g0"]
    assert model.terms[1].estimate == pytest.approx(difference.mean(), rel=1e-3)
    assert model.terms[1].error == pytest.approx(difference.std(ddof=1) / math.sqrt(12), rel=0.02)
    assert model.terms[1].df == pytest.approx(11)
    assert "speaker:group" in model.variances and "word" in model.variances


def test_iris_is_told_apart_as_fisher_did() -> None:
    """147 of 150, on resubstitution and leaving one out (worked example 6.2); the same calls as scikit-learn's."""
    from sklearn.datasets import load_iris
    from sklearn.discriminant_analysis import LinearDiscriminantAnalysis

    data = load_iris()
    blocks = blocks_of(data.data, data.target.astype(str), np.arange(150).astype(str))
    rule = LinearRule(blocks)
    weights, constants = rule.learn(np.ones((1, 150)), blocks.group)
    again = np.argmax(blocks.values @ weights[0] + constants[0], axis=1)
    theirs = LinearDiscriminantAnalysis(priors=[1 / 3] * 3).fit(blocks.values, blocks.group).predict(blocks.values)
    assert again.tolist() == theirs.tolist()
    each = rule.learn(1 - np.eye(150), blocks.group)
    out = [int(np.argmax(blocks.values[k] @ each[0][k] + each[1][k])) for k in range(150)]
    assert int(np.sum(again == blocks.group)) == int(np.sum(np.array(out) == blocks.group)) == 147


def leaky() -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Worked example 6.3: speakers differ, classes are given to speakers at random."""
    rng = np.random.default_rng(7)
    speakers = np.repeat([f"S{k:02d}" for k in range(20)], 30)
    offsets = rng.normal(0, 1, (20, 6))
    values = np.repeat(offsets, 30, axis=0) + rng.normal(0, 0.3, (600, 6))
    groups = np.repeat(rng.permutation(["a"] * 10 + ["b"] * 10), 30)
    return values, groups, speakers


def test_speakers_do_not_leak() -> None:
    from sklearn.model_selection import KFold, cross_val_predict
    from sklearn.neighbors import KNeighborsClassifier

    values, groups, speakers = leaky()
    nearest = KNeighborsClassifier(5)
    shuffled = cross_val_predict(nearest, values, groups, cv=KFold(10, shuffle=True, random_state=0))
    assert np.mean(shuffled == groups) > 0.9
    names = [f"m{k}" for k in range(6)]
    frame = pd.DataFrame(values, columns=names).assign(speaker=speakers, type=groups)
    question = Question("type", measures=tuple(names))
    assert accuracy(prepare(frame, question), question) < 0.75


DESIGNS = ("between", "within", "mixed")


def placed(design: str, n_speakers: int, n_groups: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Values, groups and speakers of a design; in the mixed one every third speaker has all groups."""
    rng = np.random.default_rng(8)
    rows = []
    for s in range(n_speakers):
        every = design == "within" or (design == "mixed" and s % 3 == 0)
        for g in range(n_groups) if every else [s % n_groups]:
            rows += [(f"S{s}", f"g{g}", rng.normal()) for _ in range(4)]
    speakers, groups, values = (np.array(column) for column in zip(*rows, strict=True))
    return values[:, np.newaxis].astype(float), groups, speakers


@pytest.mark.parametrize("design", DESIGNS)
def test_no_speaker_is_on_both_sides_of_a_fold(design: str) -> None:
    blocks = blocks_of(*placed(design, 13, 3))
    fold = folds(blocks, blocks.group, 10, np.random.default_rng(1))
    assert fold.shape == (13,) and set(fold) == set(range(fold.max() + 1)) and fold.max() >= 1
    sizes = np.bincount(fold)
    assert sizes.max() - sizes.min() <= 1


@pytest.mark.parametrize("design", DESIGNS)
def test_permuted_groups_are_what_is_exchangeable(design: str) -> None:
    """Speakers keep how many groups they have, groups keep how many speakers, and everything that may move does."""
    blocks = blocks_of(*placed(design, 12, 2))
    rng = np.random.default_rng(1)
    moved = np.zeros(blocks.group.size, dtype=bool)
    for _ in range(50):
        other = permuted_groups(blocks, rng)
        assert np.bincount(other).tolist() == np.bincount(blocks.group).tolist()
        for one in range(blocks.n_speakers):
            own = other[blocks.speaker == one]
            assert np.unique(own).size == own.size
        moved |= other != blocks.group
    assert moved.all()


def test_neither_names_nor_order_of_rows_change_anything_drawn() -> None:
    """Renaming speakers and shuffling rows leaves accuracy, interval and p as they are (0.014 apart before)."""
    frame = tokens(14, 2, 10, 10, between=True, shift=0.5)
    question = Question("type", n_chance=19)
    one = evaluate(prepare(frame, question), question)
    rng = np.random.default_rng(3)
    new = {name: f"N{k}" for name, k in zip(frame["speaker"].unique(), rng.permutation(14), strict=True)}
    other = frame.assign(speaker=frame["speaker"].map(new)).sample(frac=1, random_state=1)
    again = evaluate(prepare(other, question), question)
    assert (again.balanced_accuracy, again.low, again.chance, again.p) == pytest.approx(
        (one.balanced_accuracy, one.low, one.chance, one.p)
    )


@pytest.mark.parametrize("design", DESIGNS)
def test_chance_is_chance_whoever_is_in_which_group(design: str) -> None:
    """Where 8 of 40 are in both groups chance was 0.69 to 0.73 when only their values were permuted."""
    rng = np.random.default_rng([5, 1])
    rows = []
    for s in range(40):
        own = rng.normal(0, 1, 3)
        both = design == "within" or (design == "mixed" and s < 8)
        for g in (0, 1) if both else [s % 2]:
            rows += [(f"S{s}", f"g{g}", *(own + rng.normal(0, 0.5, 3))) for _ in range(6)]
    names = ("m0", "m1", "m2")
    frame = pd.DataFrame(rows, columns=["speaker", "type", *names])
    question = Question("type", measures=names, n_chance=99)
    prepared = prepare(frame, question)
    assert prepared.design == design
    found = evaluate(prepared, question)
    assert found.chance == pytest.approx(0.5, abs=0.02)
    assert found.p > 0.02 and found.low < 0.5 < found.high
    assert abs(sum(map(sum, found.confusion)) - found.n_tokens) <= 2


def test_permutation_of_mixed_designs_by_an_independent_count() -> None:
    """Three pairs and two against two: all 2**3 * 6 = 48 arrangements, counted by itertools here."""
    import itertools

    rng = np.random.default_rng(2)
    a, b, x, y = rng.normal(0, 1, 3), rng.normal(1, 1, 3), rng.normal(0, 1, 2), rng.normal(1, 1, 2)
    inside, pooled = np.mean((b - a) ** 2) / 3, np.concatenate([x, y])
    outside = np.var(pooled, ddof=1) * (1 / 2 + 1 / 2)
    drawn = []
    for signs in itertools.product((1, -1), repeat=3):
        for chosen in itertools.combinations(range(4), 2):
            rest = [k for k in range(4) if k not in chosen]
            paired, apart = np.mean(np.array(signs) * (b - a)), pooled[rest].mean() - pooled[list(chosen)].mean()
            drawn.append(abs(paired / inside + apart / outside))
    observed = abs(np.mean(b - a) / inside + (y.mean() - x.mean()) / outside)
    assert permuted_mixed((a, b), x, y) == pytest.approx(np.mean(np.array(drawn) >= observed - 1e-12))


def test_smallest_difference_by_an_independent_library() -> None:
    """statsmodels' power of the two-sample t test: found four times in five, to three digits."""
    from statsmodels.stats.power import TTestIndPower, TTestPower

    for n in (6, 20, 64):
        d = TTestIndPower().solve_power(nobs1=n, alpha=0.05, power=0.8)
        assert found_at_80(math.sqrt(2 / n), 2 * n - 2) == pytest.approx(d, rel=1e-3)
        paired = TTestPower().solve_power(nobs=n, alpha=0.05, power=0.8)
        assert found_at_80(1 / math.sqrt(n), n - 1) == pytest.approx(paired, rel=1e-3)


def test_adjusted_p_by_an_independent_library() -> None:
    """statsmodels' Holm and Benjamini-Hochberg on 40 sets of p values with ties."""
    from statsmodels.stats.multitest import multipletests

    from sibilant.study.effects import holm_and_fdr

    rng = np.random.default_rng(1)
    for _ in range(40):
        p = np.round(rng.uniform(0, 1, rng.integers(1, 12)) ** 3, 2)
        holm, fdr = holm_and_fdr(p)
        assert holm == pytest.approx(multipletests(p, method="holm")[1])
        assert fdr == pytest.approx(multipletests(p, method="fdr_bh")[1])
