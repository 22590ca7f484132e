"""Numbers with the decimals their interval deserves, real minus signs, thin spaces."""

from __future__ import annotations

import math

import pytest

from sibilant.charts import wording
from sibilant.terms import MEASURES


@pytest.mark.parametrize(
    ("value", "low", "high", "text"),
    [
        (7312.4, 7092.0, 7524.0, "7310\u2009Hz (7090 to 7520)"),
        (7312.4, 7302.0, 7322.0, "7312\u2009Hz (7302 to 7322)"),
        (7312.4, 5300.0, 9300.0, "7300\u2009Hz (5300 to 9300)"),
        (-123.4, -200.0, -45.0, "−123\u2009Hz (−200 to −45)"),
        (0.2, math.nan, math.nan, "0\u2009Hz"),
    ],
)
def test_interval_text(value: float, low: float, high: float, text: str) -> None:
    # worked by hand: half-widths 216, 10, 2000, 77.5 Hz give steps 10, 1, 100, 1
    assert wording.interval_text(MEASURES["centroid_hz"], value, low, high) == text


def test_numbers() -> None:
    assert wording.number(-0.001, 0.01) == "0.00"
    assert wording.number(-0.25, 0.01) == "−0.25"
    assert wording.number(math.nan) == "–"
    assert wording.percent(0.45) == "45\u2009%"
    assert wording.month_text(4.9) == "5" and wording.month_text(4.8) == "4.8" and wording.month_text(0.5) == "0.5"


def test_axis_labels_carry_unit_band_and_weighting() -> None:
    from sibilant.methods import HOUSE_7K

    assert wording.axis_label(MEASURES["centroid_hz"], HOUSE_7K) == "spectral mean (kHz), 1–7.5 kHz, power-weighted"
    assert wording.axis_label(MEASURES["core_duration_ms"], HOUSE_7K) == "core duration (ms)"
    with pytest.raises(ValueError, match="no measure is called"):
        wording.measure_of("nothing_hz")


def test_width_of_text_is_what_is_drawn_at_any_resolution() -> None:
    """Wrapping counts on the fonts' own advances, so nothing may be nudged to whole dots."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg

    from sibilant.charts import style
    from sibilant.charts.lettering import text_width_mm

    text = "Ribbon: the sibilant, its ends as soft as they are uncertain; upright ends: set by a person."
    for dpi in (72, 150, 300):
        with style.house_hand():
            figure = style.new_figure(170, 20)
            figure.set_dpi(dpi)
            drawn = figure.text(0, 0.5, text, fontsize=8)
            FigureCanvasAgg(figure).draw()
            wide_mm = drawn.get_window_extent().width / dpi * 25.4
        assert wide_mm == pytest.approx(text_width_mm(text, 8.0), rel=0.005)
