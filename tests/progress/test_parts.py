"""Sets of three, additions, contrast, contexts, pairs to play, plans: each against values known beforehand."""

from __future__ import annotations

from dataclasses import replace
from types import ModuleType

import numpy as np
import pytest

from sibilant.progress import additions, before_after, contrast, fades, plan, sets_of_three, view
from sibilant.progress.context import accuracy_map
from sibilant.progress.planning import spacings, trade
from sibilant.terms import Interval, Prompt, Sound, Utterance, Word
from sibilant.terms.kept import KeptToken
from sibilant.terms.lending import ClinicSpread


def three_of(material: ModuleType, first: int, values: tuple[float, float, float], heard: str) -> list[object]:
    """One set as three prompts running with the same text; ``heard`` is c or d for each."""
    made = []
    for step, (value, letter) in enumerate(zip(values, heard, strict=True)):
        prompt = replace(material.prompt_of(first), level="set-of-three")
        one = material.token(3 * first + step, {"centroid_hz": value}, prompt=prompt)
        judgement = material.judgement(one.key, "correct" if letter == "c" else "distorted")
        made.append(material.kept(1, material.changed(one, prompt_text=prompt.text), judgement, level="set-of-three"))
    return made


def test_first_against_third_in_sets_counts_falling_ones(material: ModuleType) -> None:
    """Exact values by hand: seven of eight sets fall by ear, so McNemar 2 / 2^7; all eight in the measure, 2 / 2^8."""
    tokens = [
        token for n in range(8) for token in three_of(material, n, (6000 + n, 5900, 5500 + n), "ccd" if n else "ccc")
    ]
    assert len(sets_of_three(tokens)) == 8
    by_ear, by_measure = fades(tokens, ["centroid_hz"], "house-15k", "R1")
    assert by_ear.sentence == "third lower than first in 7 of 8 sets" and by_ear.p == pytest.approx(2 / 2**7)
    assert by_measure.n_falling == 8 and by_measure.p == pytest.approx(2 / 2**8)
    assert (by_measure.first, by_measure.third) == (6003.5, 5503.5)


def test_a_prompt_of_three_equal_words_is_a_set_and_a_broken_one_is_not(material: ModuleType) -> None:
    words = tuple(Word("sock", ("S", "AA1", "K")) for _ in range(3))
    slots = tuple(replace(material.slot_of(3), index=i + 1, word_index=i) for i in range(3))
    prompt = Prompt("sock sock sock", words, slots, level="set-of-three")
    tokens = [
        material.kept(1, material.token(0, 6000.0 - i, slot=slots[i], prompt=prompt), level="set-of-three")
        for i in range(3)
    ]
    assert [token.sound.slot.index for token in sets_of_three(tokens)[0]] == [1, 2, 3]
    assert sets_of_three(tokens[:2]) == []


def test_additions_reconcile_with_the_foils_said(material: ModuleType) -> None:
    def foil(index: int, finding: str, key: str, *heard: str) -> object:
        said = Utterance(Prompt("tar"), index, 1, Interval(index, index + 0.4))
        edges = material.edges(index + 0.1, None) if finding == "extra" else None
        one = Sound(key, finding, said, edges=edges, prompt_text=f"foil {index}", prompt_index=index)
        return material.kept(1, KeptToken(one, 1), *(material.judgement(key, word) for word in heard))

    tokens = [
        foil(1, "none_expected", "1.1"),
        foil(2, "none_expected", "2.1", "added"),
        foil(3, "none_expected", "3.1"),
        foil(3, "extra", "3.1.x1"),
        material.kept(1, material.token(4, 6000.0)),
        foil(5, "extra", "5.1.x1"),
    ]
    in_word = material.changed(tokens[5], prompt_index=5)
    found = additions([*tokens[:5], in_word, material.kept(1, material.token(4, 6000.0))], 1)
    assert (found.n_foils, found.n_foils_with_frication, found.n_extra, found.n_added_by_ear) == (3, 2, 1, 1)
    assert found.words == ("foil 2", "foil 3")
    assert additions([material.kept(1, material.token(0, 6000.0))], 1) is None


def test_contrast_needs_seven_accepted_of_each_and_finds_the_truth(material: ModuleType) -> None:
    """Truth of two normal classes 1.5 SD apart: AUC Phi(1.5 / sqrt 2) = .8556; libraries: sklearn's AUC on the same."""
    from sklearn.metrics import roc_auc_score

    random = np.random.default_rng(3)
    s, sh = random.normal(7000, 400, 4000), random.normal(6400, 400, 4000)

    def kept(values: np.ndarray, phone: str, heard: str = "correct") -> list[object]:
        slot = replace(material.slot_of(0), phone=phone)
        return [
            material.kept(1, one, material.judgement(one.key, heard))
            for i, value in enumerate(values)
            for one in [material.token(i, float(value), slot=slot)]
        ]

    few = contrast(kept(s[:12], "S") + kept(sh[:6], "SH"), 1, "centroid_hz", "house-15k", "R1")
    assert few.reasons == ("12 /s/ and 6 /ʃ/ measured, sounds judged correct; 7 of each are needed",)
    unheard = contrast(kept(s[:12], "S", "distorted") + kept(sh[:12], "SH"), 1, "centroid_hz", "house-15k", "R1")
    assert unheard.n_s == 0 and unheard.reasons
    many = contrast(kept(s, "S") + kept(sh, "SH"), 1, "centroid_hz", "house-15k", "R1")
    assert many.auc == pytest.approx(0.8556, abs=0.02) and many.auc_low < many.auc < many.auc_high
    assert many.auc == pytest.approx(roc_auc_score([1] * 4000 + [0] * 4000, [*s, *sh]), abs=1e-12)
    assert many.difference == pytest.approx(600, abs=30) and many.low < 600 < many.high
    assert contrast(kept(s[:12], "S"), 1, "centroid_hz", "house-15k", "R1") is None


def test_pairs_to_play_are_the_same_word_early_and_late(material: ModuleType) -> None:
    case = material.case([6000, 6050, 5960, 6040])
    tokens = tuple(replace(token, clip=f"{token.session}-{token.key}") for token in case.tokens)
    found = view(replace(case, tokens=tokens)).before_after
    assert len(found) == 3
    for pair in found:
        place = material.WORDS.index(pair.word) + 1
        assert (pair.early_clip, pair.late_clip) == (f"1-{place}.1.1", f"4-{place}.1.1")
    assert before_after(view(case).summaries, "centroid_hz") == ()


def test_map_by_ear_ranks_only_cells_of_eight(material: ModuleType) -> None:
    tokens = [material.kept(1, material.token(i, 6000.0)) for i in range(20)]
    judged = [(token, token.sound.slot.position != "final") for token in tokens]
    cells = accuracy_map(judged)
    assert sum(cell.n for cell in cells) == 20
    assert {cell.rank for cell in cells if cell.n < 8} == {None}
    assert all(cell.low <= cell.mean <= cell.high for cell in cells)


def test_plan_names_three_ways_to_be_wrong_and_calls_nothing_under_four_in_five_enough() -> None:
    """Own: 800 Hz at day SD 200 Hz, three baselines of twenty words, is missed in two of three by the plain rule."""
    found = plan("centroid_hz", 800.0, 500.0, day_sd=200.0)
    row = next(one for one in found.rows if (one.n_words, one.k_baseline) == (20, 3))
    assert not row.enough and 0.55 < row.missed < 0.70
    assert all(one.missed <= 0.2 and one.year <= 0.05 for one in found.rows if one.enough)
    assert any(one.enough for one in found.rows)
    lent = plan("centroid_hz", 800.0, 500.0, day_sd=200.0, lent=ClinicSpread(229.0, 0.57, 20))
    helped = next(one for one in lent.rows if (one.n_words, one.k_baseline) == (20, 3))
    assert helped.missed < row.missed - 0.15


def test_plan_tells_what_spacing_costs_as_counted_by_another_generator() -> None:
    """Days alike over 60 days, three baselines of twenty words: docs/evidence/change_days.csv has 7.2 % alarms a year
    for weekly baselines by the plain rule, 4.5 % three weeks apart (clients there differ in their spread, here not).
    """
    design = next(one for one in trade(800.0, 500.0, day_sd=200.0) if (one.n_words, one.k_baseline) == (20, 3))
    week, _, three = spacings(800.0, 500.0, design, day_sd=200.0)
    assert (week.gap_days, three.gap_days) == (7, 21)
    assert week.year == pytest.approx(0.072, abs=0.02) and three.year == pytest.approx(0.045, abs=0.015)
    assert week.year_allowed < week.year and week.found_allowed < week.found


def test_plan_says_when_more_words_cannot_help() -> None:
    """Own: with a day-to-day SD of 300 Hz the limit of five baselines is about 900 Hz however many words."""
    hopeless = plan("centroid_hz", 600.0, 500.0, day_sd=300.0)
    assert hopeless.smallest is None and "finds four in five" in hopeless.advice
    assert min(row.limit for row in hopeless.rows if row.k_baseline == 5) > 800
    easy = plan("centroid_hz", 2500.0, 500.0, day_sd=200.0)
    assert easy.smallest is not None and easy.smallest.k_baseline == 3
