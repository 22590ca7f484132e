"""Spectra, spread, contexts, separation, sets of three, heard: data, labels, and sentences that do not over-read."""

from __future__ import annotations

import dataclasses
import math
from types import ModuleType

import numpy as np
import pytest

from sibilant import charts
from sibilant.charts.sounds import HEARD_MARKS
from sibilant.methods import HOUSE_15K
from sibilant.terms.vocabulary import HEARD


def test_each_spectrum_is_scaled_to_its_own_power() -> None:
    frequency_hz = np.arange(1000.0, 15001.0, 50.0)
    flat = charts.SpectrumGroup("flat", frequency_hz, np.full((2, frequency_hz.size), [[-20.0], [-60.0]]))
    # a flat spectrum over 14 kHz holds 1/14 of its power in each kHz: 10 log10(1/14) dB, however loud it was
    assert flat.relative_db() == pytest.approx(np.full((2, frequency_hz.size), 10 * math.log10(1 / 14)))


def test_unlike_spectra_are_never_put_on_one_axis(gallery: ModuleType) -> None:
    other = charts.SpectrumGroup("probe", np.arange(1000.0, 7501.0, 50.0), np.zeros((2, 131)))
    with pytest.raises(ValueError, match="same frequencies"):
        charts.session_spectra(gallery.group("baseline", 3, 6500, 1), other, method=HOUSE_15K, who="x")


def test_spread_sentence_only_claims_what_the_intervals_carry(invented: ModuleType) -> None:
    view = invented.case(1)
    first, last = view.spreads[0], view.spreads[-1]
    close = dataclasses.replace(last, sd=100.0, low=70.0, high=150.0)
    wide = dataclasses.replace(last, low=9000.0, sd=9500.0, high=9900.0)
    for end, words in ((close, "closer together"), (last, "overlap"), (wide, "further apart")):
        figure = charts.spread_chart(dataclasses.replace(view, spreads=(first, end)), method=HOUSE_15K)
        assert words in charts.alt_text(figure)
    with pytest.raises(ValueError, match="no spread"):
        charts.spread_chart(dataclasses.replace(view, spreads=()), method=HOUSE_15K)


def test_contexts_are_ranked_only_where_enough_were_said(invented: ModuleType, checks: ModuleType) -> None:
    view = invented.case(7)
    figure = charts.context_map(view, method=HOUSE_15K)
    drawn = [float(line.get_xdata()[0]) for line in figure.axes[0].lines if line.get_gid() == "context"]
    ordered = sorted(view.contexts, key=lambda c: (c.rank is None, c.rank or 0, -c.mean))
    assert drawn == pytest.approx([c.mean / 1000 for c in ordered])
    assert "spectral mean (kHz), 1–15 kHz, power-weighted" in checks.words(figure)
    hollow = [
        line.get_markerfacecolor() != line.get_color() for line in figure.axes[0].lines if line.get_gid() == "context"
    ]
    assert hollow == [c.rank is None for c in ordered]


def test_long_names_of_contexts_stay_on_a_narrow_sheet(invented: ModuleType, checks: ModuleType) -> None:
    view = invented.case(7)
    cells = [
        dataclasses.replace(cell, vowel="beside a rounded vowel", mean=mean, low=mean - 300, high=mean + 300)
        for cell, mean in zip(view.contexts, range(7000, 8000, 100), strict=False)
    ]
    figure = charts.context_map(dataclasses.replace(view, contexts=tuple(cells)), method=HOUSE_15K, width_mm=85.0)
    checks.check(figure)


def test_separation_says_when_it_cannot_be_judged(invented: ModuleType, checks: ModuleType) -> None:
    view = invented.case(1)
    figure = charts.separation_chart(view, method=HOUSE_15K)
    assert "fewer than ten acceptable /ʃ/" in checks.words(figure)
    only = dataclasses.replace(view, contrasts=view.contrasts[:1])
    assert "cannot be judged yet" in charts.alt_text(charts.separation_chart(only, method=HOUSE_15K))
    overlap = dataclasses.replace(view, contrasts=(dataclasses.replace(view.contrasts[-1], low=-50.0),))
    assert "cannot be told apart by this measure" in charts.alt_text(charts.separation_chart(overlap, method=HOUSE_15K))


def test_sets_of_three_use_the_plain_sentence_and_name_no_cause(
    gallery: ModuleType, invented: ModuleType, checks: ModuleType
) -> None:
    result = invented.case(1).sets_of_three[0]
    figure = charts.sets_chart(gallery.said_thrice(), result, method=HOUSE_15K, who="x")
    said = checks.words(figure)
    assert "Third lower than first in 6 of 8 sets" in said and "p = 0.125 (exact sign test over sets" in said
    falling = [line for line in figure.axes[0].lines if line.get_gid() == "set" and line.get_linestyle() == "-"]
    assert len(falling) == 6


def test_every_judgement_has_a_mark_and_its_word(invented: ModuleType, checks: ModuleType) -> None:
    assert set(HEARD_MARKS) == set(HEARD)
    view = invented.case(1)
    figure = charts.heard_chart(view, method=HOUSE_15K)
    said = checks.words(figure)
    for name in ("correct", "distorted", "substituted"):
        n = sum(w.heard == name for s in view.summaries for w in s.measures["centroid_hz"].words)
        assert f"{name} ({n})" in said
    assert "does not tell how a sound was heard" in said
