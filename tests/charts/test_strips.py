"""Token strips: one time scale, one frequency axis, soft ends as wide as the uncertainty, pages."""

from __future__ import annotations

from types import ModuleType

import numpy as np
import pytest

from sibilant import charts
from sibilant.charts import strip_panels
from sibilant.charts.lettering import split_bold


def test_all_strips_share_one_time_scale_and_frequency_axis(gallery: ModuleType) -> None:
    figure = charts.token_strips(gallery.panels(), title="Eight words", note="x", top_hz=15000.0)
    sounds = [axes for axes in figure.axes if axes.images and axes.get_ylim() == (0.0, 15.0)]
    assert len(sounds) == 8
    spans = [axes.get_xlim()[1] - axes.get_xlim()[0] for axes in sounds]
    assert spans == pytest.approx([spans[0]] * 8)
    sides = [axes for axes in figure.axes if axes.get_xlim() == (0.0, 1.0) and axes.get_ylim() == (0.0, 15.0)]
    assert len(sides) == 8, "each spectrum stands on the same frequency axis as its sound"
    for sound in sounds:
        row = sound.get_position()
        assert any(side.get_position().y0 == pytest.approx(row.y0) for side in sides)


def test_ribbon_ends_are_half_opaque_at_the_boundary_and_as_soft_as_uncertain() -> None:
    moments_s = np.linspace(0, 0.4, 4001)
    ribbon = charts.Ribbon(0.1, 0.3, 3.0, 8.0)
    opacity = strip_panels.ribbon_image(ribbon, moments_s, "#0072B2")[0, :, 3]
    assert np.interp(0.1, moments_s, opacity) == pytest.approx(0.5, abs=0.02)
    assert np.interp(0.3, moments_s, opacity) == pytest.approx(0.5, abs=0.02)
    for edge_s, half_s in ((0.1, 0.003), (0.3, 0.008)):
        soft = moments_s[(opacity > 0.01) & (opacity < 0.99) & (abs(moments_s - edge_s) < 0.05)]
        assert soft.max() - soft.min() == pytest.approx(2 * half_s, abs=4e-4)


def test_pages_hold_all_in_order_and_say_which(gallery: ModuleType, checks: ModuleType) -> None:
    panels = gallery.panels() * 2 + gallery.panels()[:1]
    pages = charts.token_strip_pages(panels, title="Words", note="x", per_page=8)
    assert len(pages) == 3
    assert "page 3 of 3" in checks.words(pages[-1])
    assert charts.token_strip_pages([], title="Words", note="x") == ()


def test_no_spectrum_and_no_ribbon_where_nothing_was_found(gallery: ModuleType, checks: ModuleType) -> None:
    lost = gallery.panel("skate", ((0, 1),), 0.18, found=False, remark="no frication found – please listen")
    figure = charts.token_strips([lost], title="One word", note="x", width_mm=85.0)
    said = checks.words(figure)
    assert "no spectrum" in said and "no frication found – please listen" in said
    assert " Hz" not in said


def test_figures_beneath_are_those_given(gallery: ModuleType, checks: ModuleType) -> None:
    said = checks.words(charts.token_strips([gallery.panel("seal", ((0, 1),), 0.204)], title="One", note="x"))
    assert "mean 8800 Hz" in said and "peak 8500 Hz" in said and "204 ms" in said


def test_letters_with_ipa_and_combining_marks_stay_whole() -> None:
    assert split_bold("s\u032aɪʃ", ((0, 2),)) == [("s\u032a", True), ("ɪʃ", False)]
    assert split_bold("bus", ()) == [("bus", False)]


def test_impossible_values_are_refused(gallery: ModuleType) -> None:
    with pytest.raises(ValueError, match="onset before its offset"):
        charts.Ribbon(0.3, 0.1)
    with pytest.raises(ValueError, match="one level for each frequency and time"):
        charts.StripPanel("seal", np.arange(3.0), np.arange(4.0), np.zeros((3, 4)))
    with pytest.raises(ValueError, match="at least one sibilant"):
        charts.token_strips([], title="None", note="x")
    panel = gallery.panels()[0]
    with pytest.raises(ValueError, match="read-only"):
        panel.level_db[0, 0] = 1.0
