"""Worked examples with their sources: agreement, single-case indices, trend, percent correct, means and resampling.

Where a source is a third party quoting a paper, or memory, it says so, as in the project's table of worked examples.
"""

from __future__ import annotations

import math
from types import ModuleType

import numpy as np
import pytest
from scipy import stats

from sibilant.progress import means, reliability, single_case
from sibilant.progress.accuracy import accuracy
from sibilant.progress.proportions import mcnemar_exact, newcombe, wilson
from sibilant.progress.trend import exact_p, kendall_s, normal_p, theil_sen, trend

SIX = [[9, 2, 5, 8], [6, 1, 3, 2], [8, 4, 6, 8], [7, 1, 2, 6], [10, 5, 6, 9], [6, 2, 4, 7]]


class TestAgreement:
    """Section 1."""

    def test_six_intraclass_correlations(self) -> None:
        """Shrout & Fleiss 1979, Psychol Bull 86:420-428, Tables 2 and 4: mean squares, (2,1) and (3,1) read in a public
        test file quoting them; the others from memory."""
        found = reliability.intraclass(SIX)
        assert found.targets_ms == pytest.approx(11.24, abs=0.005)
        assert found.judges_ms == pytest.approx(32.49, abs=0.005)
        assert found.error_ms == pytest.approx(1.02, abs=0.005)
        published = (0.17, 0.29, 0.71, 0.44, 0.62, 0.91)
        own = (0.165742, 0.289764, 0.714841, 0.442797, 0.620051, 0.909316)
        got = (found.one_way, found.agreement, found.consistency, found.one_way_mean, found.agreement_mean,
               found.consistency_mean)  # fmt: skip
        assert got == pytest.approx(published, abs=0.005)
        assert got == pytest.approx(own, abs=1e-6)

    def test_weighted_and_unweighted_kappa(self) -> None:
        """Cohen 1968, Psychol Bull 70:213-220, Table 1: N and weights read in a reprint; cells memory."""
        table = [[88, 10, 2], [14, 40, 6], [18, 10, 12]]
        plain = reliability.kappa(table)
        weighted = reliability.kappa(table, weights=np.array([[0, 1, 3], [1, 0, 6], [3, 6, 0]], float))
        assert (plain.value, weighted.value) == pytest.approx((0.492, 0.348), abs=0.0005)
        assert (plain.se, plain.low, plain.high) == pytest.approx((0.051002, 0.3916, 0.5915), abs=5e-5)
        assert weighted.se == pytest.approx(0.075504, abs=1e-6)

    @pytest.mark.parametrize(
        ("table", "agree", "value", "se", "interval"),
        [([[20, 5], [10, 15]], 0.70, 0.4000, 0.1270, (0.151, 0.649)),
         ([[45, 15], [25, 15]], 0.60, 0.1304, 0.0987, (-0.063, 0.324)),
         ([[25, 35], [5, 35]], 0.60, 0.2593, 0.0772, (0.108, 0.410))],
    )  # fmt: skip
    def test_prevalence_and_bias_in_kappa(self, table: list[list[int]], agree: float, value: float, se: float,
                                          interval: tuple[float, float]) -> None:  # fmt: skip
        """Textbook illustrations, from memory: the same agreement, another kappa."""
        found = reliability.kappa(table)
        assert np.trace(table) / np.sum(table) == pytest.approx(agree)
        assert (found.value, found.se) == pytest.approx((value, se), abs=5e-5)
        assert (found.low, found.high) == pytest.approx(interval, abs=5e-4)

    def test_many_judges(self) -> None:
        """Fleiss-type kappa of 10 items, 14 judges, 5 categories: .2099, from memory."""
        counts = [[0, 0, 0, 0, 14], [0, 2, 6, 4, 2], [0, 0, 3, 5, 6], [0, 3, 9, 2, 0], [2, 2, 8, 1, 1],
                  [7, 7, 0, 0, 0], [3, 2, 6, 3, 0], [2, 5, 3, 2, 2], [6, 5, 2, 1, 0], [0, 2, 2, 3, 7]]  # fmt: skip
        assert reliability.fleiss(counts) == pytest.approx(0.2099, abs=5e-5)

    def test_alpha_with_missing_judgements(self) -> None:
        """Krippendorff 2011, example C: ordinal .815 read in a public study protocol; the rest from memory."""
        rows = (
            "1 2 3 3 2 1 4 1 2 . . .",
            "1 2 3 3 2 2 4 1 2 5 . 3",
            ". 3 3 3 2 3 4 2 2 5 1 .",
            "1 2 3 3 2 4 4 1 2 5 1 .",
        )
        data = [[math.nan if cell == "." else float(cell) for cell in row.split()] for row in rows]
        scales: tuple[reliability.ScaleOf, ...] = ("nominal", "ordinal", "interval", "ratio")
        got = [reliability.alpha(data, scale) for scale in scales]
        assert got == pytest.approx([0.743, 0.815, 0.849, 0.797], abs=0.0005)
        assert got == pytest.approx([0.743421, 0.815388, 0.849107, 0.797403], abs=1e-6)

    def test_intraclass_correlations_drop_with_the_spread_of_people(self) -> None:
        """Weir 2005, J Strength Cond Res 19:231-240, p. 236: data read in a public test citing it; data B from memory:
        the same differences, while the ICC drops."""
        a = list(zip([146, 148, 170, 90, 157, 156, 176, 205], [140, 152, 152, 99, 145, 153, 167, 218], strict=True))
        b = list(zip([166, 168, 160, 150, 147, 146, 156, 155], [160, 172, 142, 159, 135, 143, 147, 168], strict=True))
        iccs = [reliability.intraclass(a), reliability.intraclass(b)]
        assert (iccs[0].one_way, iccs[0].agreement, iccs[0].consistency) == pytest.approx(
            (0.95005, 0.94998, 0.94702), abs=5e-6
        )
        assert (iccs[1].one_way, iccs[1].agreement, iccs[1].consistency) == pytest.approx(
            (0.5589, 0.5527, 0.5377), abs=5e-5
        )
        assert math.sqrt(iccs[0].error_ms) == pytest.approx(7.6, abs=0.05), "the paper's standard error of measurement"
        assert iccs[1].error_ms == pytest.approx(iccs[0].error_ms, abs=1e-9)


A, B = [20, 20, 26, 25, 22, 23], [28, 25, 24, 27, 30, 30, 29]


class TestSingleCase:
    """Section 2."""

    def test_nap_on_a_published_data_set(self) -> None:
        """Parker, Vannest & Davis 2011, Behav Modif 35:303-322; read in a public test named after the paper."""
        assert single_case.nap(A, B) == pytest.approx(38.5 / 42)

    def test_libraries_agree_on_nap_and_tau(self) -> None:
        """scipy's rank-sum statistic and Somers' d on the same data."""
        assert stats.mannwhitneyu(B, A).statistic / 42 == pytest.approx(single_case.nap(A, B))
        phase = np.repeat([0, 1], [6, 7])
        assert stats.somersd(phase, A + B).statistic == pytest.approx(35 / 42)

    def test_nap_near_its_ceiling(self) -> None:
        """Parker & Vannest 2009, Behav Ther 40:357-367: data read in documentation; NAP .96 from memory."""
        a, b = [4, 3, 4, 3, 4, 7, 5, 2, 3, 2], [5, 9, 7, 9, 7, 5, 9, 11, 11, 10, 9]
        assert single_case.nap(a, b) == pytest.approx(106 / 110)

    def test_exact_p_of_a_rise(self) -> None:
        """Data invented; Kendall's exact p by scipy on the same."""
        y = [40, 45, 42, 50, 55, 52, 60, 62]
        assert exact_p(y) == pytest.approx(0.001736, abs=5e-7)
        assert exact_p(y) == pytest.approx(stats.kendalltau(range(8), y, method="exact").pvalue)

    @pytest.mark.parametrize(("m", "n", "se"), [(3, 3, 0.255), (3, 6, 0.215)])
    def test_nap_interval_at_chance(self, m: int, n: int, se: float) -> None:
        """Null standard errors of NAP: own, exact: sqrt((m + n + 1) / (12 m n)); Newcombe's at 1/2 too."""
        assert math.sqrt((m + n + 1) / (12 * m * n)) == pytest.approx(se, abs=0.0005)
        low, high = single_case.auc_interval(0.5, m, n)
        assert low == pytest.approx(1 - high, abs=1e-9) and 0 < low < 0.5 - se


class TestTrend:
    """Section 3."""

    def test_theil_sen(self) -> None:
        """Sen 1968, JASA 63:1379-1389; read in scipy's own tests."""
        found = trend("x", "treatment", [1, 2, 3, 4, 10, 12, 18], [9, 15, 19, 20, 45, 55, 78])
        assert found.slope_per_month == 4
        limits = stats.theilslopes([9, 15, 19, 20, 45, 55, 78], [1, 2, 3, 4, 10, 12, 18], 0.93)
        assert (limits.low_slope, limits.high_slope) == pytest.approx((26 / 7, 35 / 8))

    def test_kendall_with_ties(self) -> None:
        """Kendall 1970, ex. 3.1, p. 35; read in a public test file."""
        x = [1, 2.5, 2.5, 4.5, 4.5, 6.5, 6.5, 8, 9.5, 9.5]
        y = [1, 2, 4.5, 4.5, 4.5, 4.5, 8, 8, 8, 10]
        assert stats.kendalltau(x, y).statistic == pytest.approx(0.859, abs=0.0005)
        # Three of the pairs tied in x differ in y (2 and 4.5, 4.5 and 8, 8 and 10): S of y in its order counts them.
        pairs = len(x) * (len(x) - 1) / 2
        free_x, free_y = pairs - 4, pairs - (6 + 3)
        assert (kendall_s(y) - 3) / math.sqrt(free_x * free_y) == pytest.approx(0.859, abs=0.0005)

    def test_five_points(self) -> None:
        """S 6, one-sided p 14/120: from memory, US EPA data-quality guidance; scipy's exact p on the same."""
        y = [5, 6, 11, 8, 10]
        assert kendall_s(y) == 6
        assert exact_p(y) == pytest.approx(2 * 14 / 120)
        assert exact_p(y) == pytest.approx(stats.kendalltau(range(5), y, method="exact").pvalue)

    @pytest.mark.parametrize(("n", "p"), [(3, 0.3333), (4, 0.0833), (5, 0.0167), (6, 0.0028)])
    def test_least_p_of_a_perfect_trend(self, n: int, p: float) -> None:
        """Own, exact: 2/n!."""
        assert exact_p(list(range(n))) == pytest.approx(p, abs=5e-5)

    def test_no_p_under_five_probes(self) -> None:
        found = trend("x", "treatment", [0, 1, 2, 3], [1, 2, 3, 4])
        assert found.p is None and "4 probes" in found.reasons[0]

    @pytest.mark.parametrize("y", [[1, 1, 2, 2, 3], [0, 3, 3, 3, 1, 1], [1, 2, 2, 4, 3, 5], [2, 2, 2, 2]])
    def test_exact_p_with_ties_equals_enumeration(self, y: list[float]) -> None:
        """scipy's exact permutation of the same statistic."""
        result = stats.permutation_test(
            (np.asarray(y, float),), lambda z: kendall_s(list(z)), permutation_type="pairings", n_resamples=np.inf,
            vectorized=False,
        )  # fmt: skip
        assert exact_p(y) == pytest.approx(result.pvalue, abs=1e-12)

    def test_theil_sen_and_its_interval_as_scipy_has_them(self) -> None:
        """scipy's theilslopes on 300 seeded sets with ties in both."""
        rng = np.random.default_rng(7)
        for _ in range(300):
            n = int(rng.integers(2, 15))
            x, y = [0.0, *rng.integers(1, 8, n)], np.round(rng.normal(size=n + 1), 1)
            ours, theirs = theil_sen(x, y), stats.theilslopes(y, x, 0.95)
            named = (theirs.slope, theirs.intercept, theirs.low_slope, theirs.high_slope)
            assert (ours.slope, ours.intercept, ours.low, ours.high) == pytest.approx(named, rel=1e-12, abs=1e-12)

    @pytest.mark.parametrize("spread", [100.0, 1.0])
    def test_normal_p_beyond_the_exact_one(self, spread: float) -> None:
        """The exact distribution at 51 values, free and tied."""
        rng = np.random.default_rng(8)
        for _ in range(30):
            y = np.round(spread * rng.normal(size=51) + spread * rng.normal() * 0.03 * np.arange(51))
            assert normal_p(y) == pytest.approx(exact_p(y), abs=0.003)

    def test_p_is_exact_to_fifty_probes(self) -> None:
        y = list(np.random.default_rng(9).normal(size=51).round(1))
        assert trend("x", "treatment", range(50), y[:50]).p == exact_p(y[:50])
        assert trend("x", "treatment", range(51), y).p == normal_p(y)
        free = list(np.random.default_rng(10).normal(size=50))
        assert exact_p(free) == pytest.approx(stats.kendalltau(range(50), free, method="exact").pvalue, rel=1e-9)

    @pytest.mark.parametrize(
        ("m", "n", "p"), [(1, 3, 0.25), (1, 6, 0.143), (2, 3, 0.10), (2, 6, 0.036), (3, 3, 0.05), (3, 6, 0.012),
                          (4, 4, 0.014), (5, 5, 0.004)],
    )  # fmt: skip
    def test_least_p_of_a_phase_comparison(self, m: int, n: int, p: float) -> None:
        """Own, exact: 1/C(m+n, m); scipy's exact rank-sum test on complete separation."""
        assert 1 / math.comb(m + n, m) == pytest.approx(p, abs=0.0005)
        assert single_case.nap(range(m), range(m, m + n)) == 1.0
        separated = stats.mannwhitneyu(range(m, m + n), range(m), alternative="greater", method="exact")
        assert separated.pvalue == pytest.approx(1 / math.comb(m + n, m))


class TestPercentCorrect:
    """Section 4."""

    @pytest.mark.parametrize(
        ("k", "n", "low", "high"),
        [(81, 263, 0.2553, 0.3662), (15, 148, 0.0624, 0.1605), (0, 20, 0.0, 0.1611), (1, 29, 0.0061, 0.1718)],
    )
    def test_wilson(self, k: int, n: int, low: float, high: float) -> None:
        """Newcombe 1998, Stat Med 17:857-872, Table I, method 3; read in several public test files."""
        from statsmodels.stats.proportion import proportion_confint

        assert wilson(k, n) == pytest.approx((low, high), abs=5e-5)
        assert wilson(k, n) == pytest.approx(proportion_confint(k, n, method="wilson"), abs=1e-9)

    @pytest.mark.parametrize(
        ("later", "earlier", "low", "high"), [((56, 70), (48, 80), 0.0524, 0.3339), ((9, 10), (3, 10), 0.1705, 0.8090)]
    )
    def test_newcombe(self, later: tuple[int, int], earlier: tuple[int, int], low: float, high: float) -> None:
        """Newcombe 1998, Stat Med 17:873-890, Table II, method 10; read."""
        from statsmodels.stats.proportion import confint_proportions_2indep

        assert newcombe(later, earlier)[1:] == pytest.approx((low, high), abs=5e-5)
        library = confint_proportions_2indep(*later, *earlier, method="newcomb")
        assert newcombe(later, earlier)[1:] == pytest.approx(library, abs=1e-9)

    def test_same_words_both_times(self) -> None:
        """8 gained, 2 lost: 112/1024, read in a public test; 7 and 1: .0703."""
        assert mcnemar_exact(8, 2) == 112 / 1024
        assert mcnemar_exact(7, 1) == pytest.approx(0.0703, abs=5e-5)

    @pytest.mark.parametrize(
        ("k", "low", "high"),
        [(8, 22, 61), (10, 30, 70), (12, 39, 78), (14, 48, 85), (16, 58, 92), (18, 70, 97), (20, 84, 100)],
    )
    def test_what_twenty_words_can_show(self, k: int, low: int, high: int) -> None:
        """Own."""
        assert [round(100 * limit) for limit in wilson(k, 20)] == [low, high]

    @pytest.mark.parametrize(
        ("k", "least"), [(0, 5), (2, 8), (4, 10), (6, 13), (8, 15), (10, 16), (12, 18), (14, 19), (16, None)]
    )
    def test_least_later_count_that_shows_a_change(self, k: int, least: int | None) -> None:
        """Own: Newcombe's interval excludes 0, n = 20."""
        shown = [later for later in range(k, 21) if newcombe((later, 20), (k, 20))[1] > 0]
        assert (shown[0] if shown else None) == least

    def test_twelve_to_seventeen_is_not_shown(self) -> None:
        """Own."""
        assert newcombe((17, 20), (12, 20))[1:] == pytest.approx((-0.028, 0.485), abs=0.0005)
        assert stats.fisher_exact([[12, 8], [17, 3]]).pvalue == pytest.approx(0.155, abs=0.0005)

    def test_rules_of_percent_correct(self, material: ModuleType) -> None:
        """Own, invented tokens; the rule that forgives distortions after Shriberg et al. 1997, JSLHR 40 (memory)."""
        heard = [("correct", ())] * 15 + [("distorted", ("dentalised",)), ("distorted", ("lateral",))]
        heard += [("substituted", ()), ("substituted", ()), ("omitted", ()), ("added", ())]
        judgements = [material.judgement("k", word, types=types) for word, types in heard]
        counts = {
            rule: accuracy(judgements, rule)
            for rule in ("strict", "distortions forgiven", "common distortions forgiven")
        }
        assert {rule: (one.n_correct, one.n_scored) for rule, one in counts.items()} == {
            "strict": (15, 20), "distortions forgiven": (17, 20), "common distortions forgiven": (16, 20),
        }  # fmt: skip
        assert all("percent /s/ correct" in one.rule for one in counts.values())


class TestMeans:
    """Section 5."""

    def test_paired_and_unpaired(self) -> None:
        """Student 1908, sleep data, from memory."""
        g1 = [0.7, -1.6, -0.2, -1.2, -0.1, 3.4, 3.7, 0.8, 0, 2]
        g2 = [1.9, 0.8, 1.1, 0.1, -0.1, 4.4, 5.5, 1.6, 4.6, 3.4]
        found = means.paired(g1, g2)
        assert (found.statistic, found.df, found.p) == pytest.approx((-4.062128, 9, 0.002833), abs=5e-7)
        assert (found.low, found.high) == pytest.approx((-2.459886, -0.700114), abs=5e-7)
        unpaired = means.welch(g1, g2)
        assert (unpaired.statistic, unpaired.df, unpaired.p) == pytest.approx((-1.860813, 17.7765, 0.079394), abs=5e-5)
        assert (unpaired.low, unpaired.high) == pytest.approx((-3.365483, 0.205483), abs=5e-7)

    @pytest.mark.parametrize(
        ("sd", "halves", "least"),
        [(300, (215, 140, 112), (282, 192, 155)), (500, (358, 234, 187), (470, 320, 258)),
         (700, (501, 328, 261), (658, 448, 362)), (1000, (715, 468, 373), (940, 640, 517))],
    )  # fmt: skip
    def test_smallest_change_in_a_session_mean(
        self, sd: float, halves: tuple[int, ...], least: tuple[int, ...]
    ) -> None:
        """Own."""
        assert tuple(round(means.half_width(sd, n)) for n in (10, 20, 30)) == halves
        assert tuple(round(means.least_difference(sd, n)) for n in (10, 20, 30)) == least

    @pytest.mark.parametrize(("day_sd", "least"), [(200, (585, 635, 704, 832)), (300, (852, 887, 938, 1037))])
    def test_a_day_to_day_sd_cannot_be_bought_back(self, day_sd: float, least: tuple[int, ...]) -> None:
        """Own: 1.96 sqrt(2 (s^2/20 + d^2))."""
        got = [means.least_difference(sd, 20, day_sd=day_sd) for sd in (300, 500, 700, 1000)]
        assert got == pytest.approx(least, abs=1)
