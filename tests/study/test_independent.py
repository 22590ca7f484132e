"""Statistics of a study against independent computers, on open data of packages and on tables worked by hand."""

from __future__ import annotations

import ast
import math
import warnings
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from sibilant.errors import UsageError
from sibilant.study import (
    Question,
    agreement,
    all_effects,
    bounds,
    compare,
    evaluate,
    fit,
    missing_by_group,
    prepare,
    side_by_side,
)
from sibilant.study.where import kept

ROOT = Path(__file__).parents[2]
QUICK = {"n_permutations": 199, "n_chance": 19}


def iris() -> pd.DataFrame:
    """Fisher's flowers (open data, carried by scikit-learn); "speakers" are ten runs of five flowers of one kind."""
    from sklearn.datasets import load_iris

    data = load_iris(as_frame=True).frame
    names = {0: "setosa", 1: "versicolor", 2: "virginica"}
    return pd.DataFrame({
        "speaker": [f"P{k // 5}" for k in range(150)], "kind": data["target"].map(names), "prompt": "w",
        "length": data["sepal length (cm)"], "width": data["sepal width (cm)"],
    })  # fmt: skip


def test_mixed_model_on_open_data_by_statsmodels() -> None:
    """One random intercept, where statsmodels' own search is sure: estimates, errors, variances, likelihood."""
    import statsmodels.formula.api as smf

    frame = iris()
    question = Question("kind", measures=("length",))
    model = fit(prepare(frame, question), "length", question)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        theirs = smf.mixedlm("length ~ kind", frame, groups="speaker").fit(reml=True)
    assert model.converged
    assert [t.estimate for t in model.terms] == pytest.approx(theirs.fe_params.tolist(), rel=1e-6)
    assert [t.error for t in model.terms] == pytest.approx(theirs.bse_fe.tolist(), rel=1e-3)
    assert model.variances["residual"] == pytest.approx(theirs.scale, rel=1e-3)
    assert model.variances["speaker"] == pytest.approx(float(theirs.cov_re.iloc[0, 0]), abs=2e-3)
    assert model.deviance <= -2 * theirs.llf + 1e-6


def test_between_groups_on_open_data_by_scipy() -> None:
    """Welch's interval over speakers' means."""
    from scipy import stats

    frame = iris()
    question = Question("kind", measures=("length", "width"), reference="setosa", **QUICK)
    means = frame.groupby(["kind", "speaker"])["width"].mean()
    for effect in all_effects(prepare(frame, question), question):
        if effect.measure == "width":
            theirs = stats.ttest_ind(means[effect.second], means[effect.first], equal_var=False)
            ends = theirs.confidence_interval()
            assert (effect.low, effect.high) == pytest.approx((ends.low, ends.high))


def test_discriminants_by_scikit_learn() -> None:
    """Equal priors and balanced weights: the same calls on 30 random studies of two to four groups."""
    from sklearn.discriminant_analysis import LinearDiscriminantAnalysis
    from sklearn.linear_model import LogisticRegression
    from sklearn.pipeline import make_pipeline
    from sklearn.preprocessing import StandardScaler

    from sibilant.study.blocks import blocks_of
    from sibilant.study.classify import LinearRule, LogisticRule

    for seed in range(30):
        rng, n_groups = np.random.default_rng(seed), 2 + seed % 3
        speakers, codes = rng.integers(0, 9, 200), rng.integers(0, n_groups, 200)
        values = rng.normal(size=(200, 3)) * [1, 100, 0.1] + rng.normal(size=(n_groups, 3))[codes] * [1, 100, 0.1]
        blocks = blocks_of(values, codes.astype(str), speakers.astype(str))
        learnt = (blocks.speaker != 4).astype(float)
        rows = learnt[blocks.of_token] > 0
        group = blocks.group[blocks.of_token]
        equal = LinearDiscriminantAnalysis(priors=np.ones(n_groups) / n_groups)
        weighted = LogisticRegression(C=1.0, class_weight="balanced", tol=1e-8, max_iter=1000)
        for rule, model in ((LinearRule(blocks), equal), (LogisticRule(blocks), weighted)):
            weights, constants = rule.learn(learnt[np.newaxis], blocks.group)
            called = np.argmax(blocks.values @ weights[0] + constants[0], axis=1)
            theirs = make_pipeline(StandardScaler(), model).fit(blocks.values[rows], group[rows])
            assert np.array_equal(called, theirs.predict(blocks.values)), (seed, rule.name)


def test_alpha_by_an_independent_library() -> None:
    """krippendorff, nominal, on 100 tables with gaps; kappa by scikit-learn."""
    krippendorff = pytest.importorskip("krippendorff")
    from sklearn.metrics import cohen_kappa_score

    for seed in range(100):
        rng = np.random.default_rng(seed)
        heard = rng.integers(-1, 3, (40, 2 + seed % 3))
        heard[:, 1] = np.where(rng.random(40) < 0.6, heard[:, 0], heard[:, 1])
        told = agreement(heard, rng.integers(0, 8, 40), 3)
        both = heard[(heard >= 0).sum(axis=1) >= 2]
        codes = np.where(both < 0, np.nan, both).astype(float).T
        assert told.alpha == pytest.approx(krippendorff.alpha(codes, level_of_measurement="nominal"))
        assert told.n_tokens == len(both)
        if heard.shape[1] == 2:
            assert told.kappa == pytest.approx(cohen_kappa_score(both[:, 0], both[:, 1]))


def test_agreement_is_on_the_tokens_stated() -> None:
    """Tokens that one judge heard move neither count nor alpha (0.64 beside "580 of 631" before; 0.835 over them)."""
    heard = np.array([[0, 0], [1, 1], [0, 1], [1, 1], [0, 0]])
    alone = np.array([[0, -1]] * 50)
    one = agreement(heard, np.arange(5), 2)
    other = agreement(np.vstack([heard, alone]), np.arange(55), 2)
    assert one == other and other.n_tokens == 5 and other.n_alike == 4


def rows(n: int = 8) -> pd.DataFrame:
    rng = np.random.default_rng(1)
    made = []
    for s in range(n):
        for k, w in enumerate(("a", "b", "c")):
            own = {"speaker": f"S{s}", "type": ("x", "y")[s % 2], "prompt": w, "finding": "found", "phone": "S"}
            made.append({**own, "age": f"{5 + s}y{k}m", "sex": "fm"[s // 4 % 2], "rate": 3.0 + 0.2 * k + 0.1 * s,
                         "m": 10.0 * (s % 2) + k + rng.normal(0, 0.1)})  # fmt: skip
    return pd.DataFrame(made)


@pytest.mark.parametrize(
    ("told", "n"),
    [
        ("sex=f", 12),
        ("sex!=f", 12),
        ("prompt=a|b", 16),
        ("age>=9", 12),
        ("age<5y1m", 1),
        ("rate>3.75", 6),
        ("age!=", 24),
    ],
)
def test_filters_by_any_column(told: str, n: int) -> None:
    frame = rows()
    assert int(kept(frame, told).sum()) == n
    question = Question("type", measures=("m",), where=(told,))
    if n == 24 or told.startswith("prompt"):
        found = prepare(frame, question)
        assert found.n_tokens == n and found.left_out.get(f"not {told}", 0) == 24 - n


@pytest.mark.parametrize("told", ["nothing", "shoe=1", "sex>3", "age>old"])
def test_filters_that_cannot_be_read(told: str) -> None:
    with pytest.raises(UsageError, match="--where"):
        kept(rows(), told)


def test_missing_and_bounds_by_hand() -> None:
    """Two groups, one speaker's three sounds silent: by hand, the means with the outer twentieths in their place."""
    frame = rows()
    frame.loc[frame["speaker"] == "S1", "finding"] = "no_frication"
    frame.loc[(frame["speaker"] == "S0") & (frame["prompt"] == "a"), "m"] = math.nan
    question = Question("type", measures=("m",), **QUICK)
    prepared = prepare(frame, question)
    x, y = missing_by_group(prepared)
    assert (x.group, x.n_expected, x.n_measured, x.n_no_value, x.n_no_frication) == ("x", 12, 11, 1, 0)
    assert (y.group, y.n_expected, y.n_measured, y.n_no_value, y.n_no_frication) == ("y", 12, 9, 0, 3)
    values = prepared.tokens["m"].dropna()
    low, high = np.quantile(values, (0.05, 0.95))
    means = prepared.tokens.groupby(["type", "speaker"])["m"].mean()
    s0 = prepared.tokens.loc[prepared.tokens["speaker"] == "S0", "m"].sum()
    x_others = [means["x", name] for name in ("S2", "S4", "S6")]
    y_others = [means["y", name] for name in ("S3", "S5", "S7")]
    found = bounds(prepared, question)[0]
    assert found.least == pytest.approx(np.mean([*y_others, low]) - np.mean([*x_others, (s0 + high) / 3]))
    assert found.most == pytest.approx(np.mean([*y_others, high]) - np.mean([*x_others, (s0 + low) / 3]))
    assert found.difference == pytest.approx(np.mean(y_others) - np.mean([*x_others, means["x", "S0"]]))


def test_covariates_and_an_interaction_by_statsmodels() -> None:
    """Age as a number, sex and position as levels, group by rate: with one random intercept, as statsmodels has it."""
    import statsmodels.formula.api as smf

    rng = np.random.default_rng(3)
    made = []
    for s in range(24):
        own, age, sex = rng.normal(), 5 + s % 9 + 0.5, "fm"[s // 2 % 2]
        for k in range(10):
            value = own + 0.3 * age + 0.5 * (sex == "m") + 1.0 * (s % 2) + rng.normal()
            made.append((f"S{s:02d}", f"g{s % 2}", "w", f"{age - 0.5:.0f}y6m", sex, age, value))
    names = ["speaker", "type", "prompt", "age", "sex", "years", "m"]
    frame = pd.DataFrame(made, columns=names)
    question = Question("type", measures=("m",), covariates=("age", "sex"), interaction="age")
    model = fit(prepare(frame, question), "m", question)
    frame["years"] -= frame["years"].mean()
    frame["male"] = (frame["sex"] == "m") - 0.5
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        theirs = smf.mixedlm("m ~ type * years + male", frame, groups="speaker").fit(reml=True)
    mine = {term.name: term for term in model.terms}
    pairs = {"g1 - g0": "type[T.g1]", "age": "years", "sex: m - f": "male", "(g1 - g0) x age": "type[T.g1]:years"}
    for own, other in pairs.items():
        assert mine[own].estimate == pytest.approx(theirs.fe_params[other], rel=1e-4, abs=1e-5)
        assert mine[own].error == pytest.approx(theirs.bse_fe[other], rel=1e-3)
    assert mine["age"].df == pytest.approx(24 - 5)
    assert "(1 | speaker)" in model.formula and "type:age" in model.formula


def test_s_against_sh_and_several_levels() -> None:
    frame = rows(9)
    both = pd.concat([frame, frame.assign(phone="SH", m=frame["m"] - 5)])
    found = compare(both, Question("phone", measures=("m",), **QUICK))
    assert found.prepared.groups == ("S", "SH") and found.prepared.design == "within"
    assert found.analyses[0].estimate == pytest.approx(-5, abs=0.2) and found.analyses[0].claimed
    assert "itself among what is compared" in next(w for w in found.normalised if w.name == "own sh").why
    levels = frame.assign(level=[("word", "phrase", "sentence")[k % 3] for k in range(len(frame))])
    told = compare(levels, Question("level", measures=("m",), **QUICK))
    assert len(told.analyses) == 3 and told.models[0].joint[0].name == "group" and told.models[0].joint[0].df1 == 2


def test_analyses_that_disagree_say_so() -> None:
    """Eight speakers in both groups show nothing, thirty-two in one show much: told apart by the model alone."""
    rng = np.random.default_rng(4)
    made = []
    for s in range(40):
        own = rng.normal(0, 1)
        for g in (0, 1) if s < 8 else (s % 2,):
            shift = 2.5 * g if s >= 8 else 0.9 * rng.normal()
            made += [(f"S{s}", f"g{g}", f"w{w}", own + shift + rng.normal(0, 0.5)) for w in range(6)]
    frame = pd.DataFrame(made, columns=["speaker", "type", "prompt", "m"])
    found = compare(frame, Question("type", measures=("m",), primary="mixed", **QUICK))
    one = found.analyses[0]
    assert (one.n_speakers, one.other_n_speakers) == (40, 8) and found.effects[0].n_aside == 32
    assert one.claimed and not one.agree and "(40 and 8 speakers)" in one.words
    other = side_by_side(found.effects, found.models, Question("type", measures=("m",), primary="paired"))[0]
    assert other.primary == "paired" and other.estimate == one.other_estimate and not other.claimed
    assert found.effects[0].p_everyone < found.effects[0].p


def test_one_speakers_leverage_is_a_fit_without_that_speaker() -> None:
    frame = rows(12)
    frame.loc[frame["speaker"] == "S5", "m"] += 8
    question = Question("type", measures=("m",), **QUICK)
    contrast = fit(prepare(frame, question), "m", question).contrasts[0]
    assert contrast.without == "S5"
    again = fit(prepare(frame[frame["speaker"] != "S5"], question), "m", question).contrasts[0]
    assert (contrast.estimate_without, contrast.low_without) == pytest.approx((again.estimate, again.low), rel=1e-3)


def test_no_prior_leans_to_the_group_with_more_tokens() -> None:
    """59 of 1,000 tokens in the small group, groups well apart: both discriminants find it as often as the large."""
    rng = np.random.default_rng(2)
    made = []
    for s in range(20):
        for g, n in ((0, 47), (1, 3)):
            made += [(f"S{s}", f"g{g}", f"w{w}", 2.0 * g + rng.normal()) for w in range(n)]
    frame = pd.DataFrame(made, columns=["speaker", "type", "prompt", "m"])
    question = Question("type", measures=("m",), n_chance=19)
    for name in ("linear discriminant", "logistic regression"):
        found = evaluate(prepare(frame, question), question, name=name)
        shares = [found.confusion[k][k] / sum(found.confusion[k]) for k in (0, 1)]
        assert min(shares) > 0.75, (name, shares)


def test_no_circles_among_the_files_of_a_study() -> None:
    """Also not for types alone."""
    files = [*(ROOT / "sibilant/study").glob("*.py"), *(ROOT / "sibilant/workflow").glob("study*.py")]
    names = {f"{path.parent.name}.{path.stem}" for path in files if path.stem != "__init__"}
    needs: dict[str, set[str]] = {name: set() for name in names}
    for path in files:
        if path.stem == "__init__":
            continue
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.ImportFrom) and node.level == 1:
                found = [node.module] if node.module else [alias.name for alias in node.names]
                needs[f"{path.parent.name}.{path.stem}"] |= {f"{path.parent.name}.{one}" for one in found} & names
    while free := {name for name, own in needs.items() if not own}:
        needs = {name: own - free for name, own in needs.items() if name not in free}
    assert not needs, needs


def test_a_progress_line_is_for_terminals_only(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    from sibilant_cli import study as door

    monkeypatch.setattr(door, "QUIET_S", -1.0)
    with door.progress_line() as tell:
        tell("half", 0.5)
    assert capsys.readouterr().err == ""
    monkeypatch.setattr("sys.stderr.isatty", lambda: True, raising=False)
    with door.progress_line() as tell:
        tell("half", 0.5)
    told = capsys.readouterr()
    assert "half, about 0 s left" in told.err and told.out == ""


def test_a_group_that_is_not_learnt_from_keeps_the_others_from_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    """Its constant would grow for ever: twelve of Newton's steps must give what fifty give, and it is never called."""
    from sibilant.study import classify
    from sibilant.study.blocks import blocks_of

    rng = np.random.default_rng(4)
    speaker = np.repeat(np.arange(12), 20)
    group = speaker % 3
    blocks = blocks_of(
        rng.normal(size=(240, 4)) + group[:, np.newaxis],
        np.array([f"g{one}" for one in group]),
        np.array([f"s{one:02d}" for one in speaker]),
    )
    learnt = np.array([blocks.group != 2, np.ones(blocks.group.size)], dtype=np.float64)
    weights, constants = classify.LogisticRule(blocks).learn(learnt, blocks.group)
    monkeypatch.setattr(classify, "MOST_STEPS", 12)
    again, same = classify.LogisticRule(blocks).learn(learnt, blocks.group)
    np.testing.assert_allclose(again, weights, rtol=1e-9, atol=1e-9)
    np.testing.assert_allclose(same[:, :2], constants[:, :2], rtol=1e-6)
    assert constants[0, 2] == -np.inf and np.isfinite(constants[1]).all()
