"""The months chart draws the values it is given, breaks where conditions change, and words only what they support."""

from __future__ import annotations

import dataclasses
from types import ModuleType

import numpy as np
import pytest
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from sibilant import charts
from sibilant.charts import wording
from sibilant.errors import OutputError
from sibilant.methods import HOUSE_15K
from sibilant.terms.change import LARGER, UNJUDGED, WITHIN

NO_RANGE = "No published range fits this child; the own baseline is the yardstick."


def lines(axes: Axes, gid: str) -> list[Line2D]:
    return [line for line in axes.lines if line.get_gid() == gid]


def main_axes(figure: Figure) -> Axes:
    return figure.axes[0]


def test_points_intervals_and_words_are_the_values_given(invented: ModuleType) -> None:
    view = invented.case(4)
    axes = main_axes(charts.months_chart(view, method=HOUSE_15K))
    drawn = [(float(line.get_xdata()[0]), float(line.get_ydata()[0])) for line in lines(axes, "session")]
    given = [(s.month, s.measures["centroid_hz"].mean / 1000) for s in view.summaries]
    assert np.array(drawn) == pytest.approx(np.array(given))
    dots = np.concatenate([line.get_ydata() for line in lines(axes, "single words")])
    words = [w.value / 1000 for s in view.summaries for w in s.measures["centroid_hz"].words]
    assert dots == pytest.approx(words)
    ends = [segment[:, 1] for bars in axes.collections for segment in getattr(bars, "get_segments", list)()]
    spans = {(round(float(e.min()), 6), round(float(e.max()), 6)) for e in ends}
    for summary in view.summaries:
        one = summary.measures["centroid_hz"]
        assert (round(one.low / 1000, 6), round(one.high / 1000, 6)) in spans


def test_the_band_is_baseline_mean_and_decision_limit(invented: ModuleType, checks: ModuleType) -> None:
    view = invented.case(4)
    error = view.error_of("centroid_hz")
    figure = charts.months_chart(view, method=HOUSE_15K)
    (band,) = [patch for patch in main_axes(figure).patches if patch.get_hatch()]
    box = band.get_extents().transformed(main_axes(figure).transData.inverted())
    assert (box.y0, box.y1) == pytest.approx(((error.mean - error.limit) / 1000, (error.mean + error.limit) / 1000))
    said = checks.words(figure)
    assert "baseline ± what could be measurement error" in said
    assert "smallest detectable change" in said and "standard error of measurement" in said


def test_no_band_without_three_baselines(invented: ModuleType, checks: ModuleType) -> None:
    figure = charts.months_chart(invented.case(4, n_baseline=2), method=HOUSE_15K)
    assert not [patch for patch in main_axes(figure).patches if patch.get_hatch()]
    assert "fewer than three baseline probes" in checks.words(figure)


def test_another_device_breaks_the_line_and_says_so(invented: ModuleType, checks: ModuleType) -> None:
    view = invented.case(2, other_device_in=7)
    figure = charts.months_chart(view, method=HOUSE_15K)
    runs = [len(line.get_xdata()) for line in lines(main_axes(figure), "line")]
    assert runs == [6, 1, 2]
    marks = [line.get_marker() for line in lines(main_axes(figure), "session")]
    assert [mark == "s" for mark in marks] == [s.number == 7 for s in view.summaries]
    assert "stands apart, not joined: another device: phone instead of desk" in checks.words(figure)


def test_labels_have_unit_band_weighting_and_source(invented: ModuleType, checks: ModuleType) -> None:
    bracket = charts.RangeBracket(5200.0, 6600.0, "5200 to 6600 Hz, 10 adult women.", "somebody 2018, open-adult/1")
    for width_mm in (170.0, 85.0):
        figure = charts.months_chart(invented.case(1), method=HOUSE_15K, bracket=bracket, width_mm=width_mm)
        said = checks.words(figure)
        assert "kHz" in [t.get_text() for t in main_axes(figure).get_yticklabels()][-1]
        assert "house-15k/2: multitaper, middle half, 1–15 kHz, power-weighted" in said
        assert "Source: somebody 2018, open-adult/1" in said
        assert "months since the first baseline" in said
        assert charts.SUPPORTING in said and charts.NO_CAUSE in said
    with pytest.raises(ValueError, match="never shown without its source"):
        charts.RangeBracket(1.0, 2.0, "a range", "")


def test_a_range_is_a_bracket_in_the_margin_never_a_band(invented: ModuleType) -> None:
    bracket = charts.RangeBracket(5200.0, 6600.0, "5200 to 6600 Hz.", "somebody 2018")
    figure = charts.months_chart(invented.case(1), method=HOUSE_15K, bracket=bracket)
    assert len([patch for patch in main_axes(figure).patches if patch.get_hatch()]) == 1
    (margin,) = [axes for axes in figure.axes if lines(axes, "published range")]
    top = main_axes(figure)
    low, high = top.get_ylim()
    box, whole = margin.get_position(), top.get_position()
    assert box.x0 >= whole.x1, "right of the data"
    values = [low + (high - low) * (y - whole.y0) / whole.height for y in (box.y0, box.y1)]
    assert values == pytest.approx([5.2, 6.6], abs=1e-6)


def test_accuracy_is_drawn_with_its_wilson_interval(invented: ModuleType) -> None:
    view = invented.case(4)
    figure = charts.months_chart(view, method=HOUSE_15K)
    (heard,) = [axes for axes in figure.axes if lines(axes, "heard")]
    drawn = [float(line.get_ydata()[0]) for line in lines(heard, "heard")]
    assert drawn == pytest.approx([100 * s.accuracy.share for s in view.summaries])
    spans = [segment[:, 1] for bars in heard.collections for segment in bars.get_segments()]
    given = [(100 * s.accuracy.low, 100 * s.accuracy.high) for s in view.summaries]
    assert np.array([tuple(span) for span in spans]) == pytest.approx(np.array(given))


def test_held_back_sessions_are_not_drawn(invented: ModuleType, checks: ModuleType) -> None:
    view = invented.case(4)
    hidden = tuple(dataclasses.replace(s, shown=s.number != 9) for s in view.summaries)
    figure = charts.months_chart(dataclasses.replace(view, summaries=hidden), method=HOUSE_15K)
    assert len(lines(main_axes(figure), "session")) == 8
    assert "held back until judged by ear" in checks.words(figure)
    with pytest.raises(OutputError, match="C-7QXK: no session has"):
        none = tuple(dataclasses.replace(s, shown=False) for s in view.summaries)
        charts.months_chart(dataclasses.replace(view, summaries=none), method=HOUSE_15K)


@pytest.mark.parametrize("seed", range(12))
def test_words_stay_apart_whatever_the_values(seed: int, invented: ModuleType, checks: ModuleType) -> None:
    rng = np.random.default_rng(seed)
    view = invented.case(
        seed, shift_hz=float(rng.normal(0, 1500)), n_baseline=int(rng.integers(1, 6)), n_later=int(rng.integers(1, 12))
    )
    figure = charts.months_chart(view, method=HOUSE_15K, no_range=NO_RANGE, width_mm=170.0 if seed % 2 else 85.0)
    checks.check(figure)


def test_title_says_what_the_verdict_says(invented: ModuleType) -> None:
    seen = set()
    for seed in range(40):
        view = invented.case(seed, shift_hz=(seed % 4 - 1) * 1200.0, n_baseline=2 + seed % 3)
        last = view.changes_of("centroid_hz")[-1]
        title = charts.change_sentence(view, "centroid_hz")
        seen.add(last.verdict)
        if last.verdict == LARGER:
            assert f"sits {last.word} than at baseline" in title and "by more than measurement error" in title
        elif last.verdict == WITHIN:
            assert title == "Where the energy of the hiss sits: within measurement error of the baseline"
        else:
            assert title == "Where the energy of the hiss sits: a change cannot be judged yet"
        assert (last.awaits and "the next probe must agree" in title) or not last.awaits
    assert seen == {LARGER, WITHIN, UNJUDGED}


def test_since_when_is_the_first_of_the_last_unbroken_run(invented: ModuleType) -> None:
    view = invented.case(1, shift_hz=1800.0)
    numbers = [c.session for c in view.changes_of("centroid_hz") if c.verdict == LARGER]
    assert numbers == list(range(numbers[0], 10))
    day = next(s.on for s in view.summaries if s.number == numbers[0])
    assert f"since {wording.day_text(day)}," in charts.change_sentence(view, "centroid_hz")


def test_an_event_that_fits_neither_side_stays_inside_the_narrow_chart(invented: ModuleType) -> None:
    from sibilant.terms.clinic import Event

    base = invented.case(9)
    half = base.summaries[0].on + (base.summaries[-1].on - base.summaries[0].on) / 2
    shown = dataclasses.replace(base, events=(Event(half, "upper front teeth lost just before this month"),))
    figure = charts.months_chart(shown, method=HOUSE_15K, width_mm=85.0)
    figure.canvas.draw()
    (text,) = [t for axes in figure.axes for t in axes.texts if t.get_text().startswith("upper front teeth")]
    box = text.get_window_extent()
    assert box.x0 >= 0 and box.x1 <= figure.bbox.width
