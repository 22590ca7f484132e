"""Which method a client is followed under, and what a narrower session is compared under. Invented data."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from types import ModuleType

import pytest

from sibilant.methods import get_method
from sibilant.progress import followed, view
from sibilant.terms.clinic import Case, MethodChoice

WIDE, TEN, SEVEN = (get_method(name) for name in ("house-15k", "house-10k", "house-7k"))
LOWER = {"house-15k": 0.0, "house-10k": 400.0, "house-7k": 1200.0}


def measured(material: ModuleType, means: list[float], holds: dict[int, tuple[str, ...]]) -> Case:
    """A case whose sessions hold the labels given (all three by default); a narrower band reads lower."""
    case = material.case(means)
    tokens = []
    for token in case.tokens:
        (one,) = token.measurements.values()
        labels = holds.get(token.session, ("house-15k/2", "house-10k/2", "house-7k/2"))
        under = {}
        for label in labels:
            method = get_method(label)
            values = {**one.measures.values, "centroid_hz": one.measures.values["centroid_hz"] - LOWER[method.name]}
            under[label] = replace(one, method=method, measures=replace(one.measures, values=values))
        tokens.append(replace(token, measurements=under))
    return replace(case, tokens=tuple(tokens))


MEANS = [6000.0, 6050.0, 5960.0, 6040.0, 6020.0, 6010.0]
NARROW = {5: ("house-10k/2", "house-7k/2"), 6: ("house-7k/2",)}


def test_the_baseline_fixes_the_method_and_no_narrow_session_narrows_another(material: ModuleType) -> None:
    found = view(measured(material, MEANS, NARROW))
    used = [one.measures["centroid_hz"].method for one in found.summaries]
    assert used == ["house-15k/2"] * 4 + ["house-10k/2", "house-7k/2"]
    changes = {change.session: change for change in found.changes_of("centroid_hz")}
    baseline = sum(MEANS[:3]) / 3
    assert [changes[n].difference for n in (4, 5, 6)] == pytest.approx([MEANS[n - 1] - baseline for n in (4, 5, 6)])
    assert [changes[n].baseline for n in (5, 6)] == pytest.approx([baseline - 400.0, baseline - 1200.0])
    assert "from 1 to 7.5 kHz" in changes[6].reasons[-1] and "holds no more" in changes[6].reasons[-1]
    assert not any(one.measures["core_duration_ms"].apart for one in found.summaries)
    assert [point.session for point in found.spreads] == [1, 2, 3, 4], "no spread of another band between them"


@pytest.mark.parametrize("n_narrow", [1, 3])
def test_a_baseline_that_holds_less_is_followed_there(material: ModuleType, n_narrow: int) -> None:
    holds = dict.fromkeys(range(1, n_narrow + 1), ("house-10k/2", "house-7k/2"))
    found = view(measured(material, MEANS, holds))
    assert {one.measures["centroid_hz"].method for one in found.summaries} == {"house-10k/2"}
    assert "followed under house-10k/2: the baseline holds no more" in found.joins


def test_versions_never_mix_and_an_unmeasurable_baseline_goes_on_under_its_own(material: ModuleType) -> None:
    first, both = ("house-15k/1", "house-10k/1"), ("house-15k/1", "house-10k/1", "house-15k/2", "house-10k/2")
    older = measured(material, MEANS, {1: first, 2: both, 3: both, 4: both, 5: both, 6: ("house-15k/2",)})
    assert followed(older).method == "house-15k/1"
    found = view(older)
    assert {one.measures["centroid_hz"].method for one in found.summaries[:5]} == {"house-15k/1"}
    assert found.summaries[5].measures["centroid_hz"].n_measured == 0
    assert any("sibilant session again" in sentence for sentence in found.joins)
    renewed = measured(material, MEANS, dict.fromkeys(range(1, 7), both))
    assert followed(renewed).method == "house-15k/2"


def test_a_method_chosen_by_hand_is_followed_and_differing_verdicts_are_named(material: ModuleType) -> None:
    case = measured(material, [6000.0, 6050.0, 5960.0, 6900.0, 6950.0, 7000.0], {})
    tokens = tuple(
        replace(one, measurements={k: v for k, v in one.measurements.items() if k != "house-10k/2" or one.session != 5})
        for one in case.tokens
    )
    client = replace(case.client, method="house-10k")
    choice = MethodChoice(dt.date(2026, 5, 3), "house-10k", "house-15k/2")
    chosen = replace(case, client=client, choices=(choice,), tokens=tokens)
    assert followed(chosen).method == "house-10k/2"
    said = view(chosen).joins[0]
    assert said.startswith("followed under house-10k/2 since 2026-05-03, under house-15k/2 before: session 5: ")
    assert "before: larger than error" in said
    same = replace(chosen, tokens=case.tokens)
    assert "no verdict of the main measure differs" in view(same).joins[0]
