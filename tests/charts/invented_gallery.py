"""One of every picture, from invented data: what is rendered, looked at and held to the same rules."""

from __future__ import annotations

import importlib.util
import sys
from collections.abc import Callable
from pathlib import Path

import numpy as np
from matplotlib.figure import Figure

from sibilant import charts
from sibilant.methods import HOUSE_15K

if "charts_invented_case" not in sys.modules:
    spec = importlib.util.spec_from_file_location("charts_invented_case", Path(__file__).parent / "invented_case.py")
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules["charts_invented_case"] = module
    spec.loader.exec_module(module)
case = sys.modules["charts_invented_case"].case

WHO = f"{charts.INVENTED} · C-7QXK"
NO_RANGE = "No published range fits this child; the own baseline is the yardstick."
SOURCE = "Plummer & Reidy 2018 (phoneigen data), measured by this project from open recordings, 16 speakers"
BRACKET = charts.RangeBracket(5200.0, 6600.0, "5200 to 6600 Hz, 10 adult women, open-adult/1.", SOURCE)
FREQUENCY_HZ = np.arange(1000.0, 15001.0, 50.0)


def panel(
    word: str, bold: tuple[tuple[int, int], ...], duration_s: float, *, phone: str = "S", onset_s: float = 0.08,
    reviewed: bool = False, remark: str = "", found: bool = True, seed: int = 3,
) -> charts.StripPanel:  # fmt: skip
    rng = np.random.default_rng(seed)
    time_s, frequency_hz = np.arange(0, 0.5, 0.002), np.arange(0, 22050, 86.0)
    level = np.full((frequency_hz.size, time_s.size), -90.0) + rng.normal(0, 3, (frequency_hz.size, time_s.size))
    peak_hz = {"S": 8500.0, "SH": 3800.0}[phone]
    shape = np.maximum(-(((frequency_hz - peak_hz) / 2600) ** 2) * 6, -32)
    inside = (time_s > onset_s) & (time_s < onset_s + duration_s)
    vowel = (time_s >= onset_s + duration_s) & (time_s < onset_s + duration_s + 0.15)
    if found:
        level[:, inside] = -35 + shape[:, None] + rng.normal(0, 4.5, (frequency_hz.size, int(inside.sum())))
    tilt = -25 - 12 * frequency_hz[:, None] / 1000 + 6 * np.sin(2 * np.pi * frequency_hz[:, None] / 700)
    level[:, vowel] = np.maximum(tilt, -88) + rng.normal(0, 2, (frequency_hz.size, int(vowel.sum())))
    if not found:
        return charts.StripPanel(word, time_s, frequency_hz, level, bold, remark=remark)
    ribbon = charts.Ribbon(onset_s, onset_s + duration_s, 3.0, 8.0, reviewed, phone)
    spectrum_db = np.maximum(-(((FREQUENCY_HZ - peak_hz) / 2600) ** 2) * 6, -32)
    return charts.StripPanel(
        word, time_s, frequency_hz, level, bold, (ribbon,), FREQUENCY_HZ.copy(), spectrum_db,
        charts.Tick(peak_hz + 300, peak_hz + 180, peak_hz + 420), charts.Tick(peak_hz, peak_hz - 200, peak_hz + 260),
        f"{1000 * duration_s:.0f}\u2009ms", remark,
    )  # fmt: skip


def panels() -> list[charts.StripPanel]:
    return [
        panel("seal", ((0, 1),), 0.204), panel("fossil", ((2, 4),), 0.209, reviewed=True),
        panel("bus", ((2, 3),), 0.205, onset_s=0.2), panel("star", ((0, 1),), 0.103, remark="beside a stop: short"),
        panel("sheep", ((0, 2),), 0.18, phone="SH"),
        panel("skate", ((0, 1),), 0.18, found=False, remark="no frication found – please listen"),
        panel("dinosaur", ((4, 5),), 0.12), panel("castle", ((2, 3),), 0.15),
    ]  # fmt: skip


def group(name: str, n: int, peak_hz: float, seed: int) -> charts.SpectrumGroup:
    rng = np.random.default_rng(seed)
    peaks_hz = peak_hz + rng.normal(0, 300, (n, 1))
    rows = np.maximum(-(((FREQUENCY_HZ - peaks_hz) / 3000) ** 2) * 8, -35) + rng.normal(0, 1, (n, FREQUENCY_HZ.size))
    return charts.SpectrumGroup(name, FREQUENCY_HZ.copy(), rows - 30)


def said_thrice() -> list[charts.SaidThrice]:
    rng = np.random.default_rng(5)
    sets = []
    for place, word in enumerate("seal sand sun sock soap side goose bus".split()):
        first = 7000 + rng.normal(0, 300)
        fall = -120.0 if place >= 6 else 180.0
        sets.append(charts.SaidThrice(word, (first, first - 0.5 * fall, first - fall)))
    return sets


def pictures(width_mm: float) -> dict[str, Callable[[], Figure]]:
    view = case(1, shift_hz=1800.0)
    rng = np.random.default_rng(8)
    sounds = {"S": list(rng.normal(8000, 500, 20)), "SH": list(rng.normal(6500, 600, 12))}
    few = case(3, n_baseline=2, n_later=1, judged=False)
    device = case(2, other_device_in=7)
    settings = {"method": HOUSE_15K, "width_mm": width_mm}
    title = "Eight words, one sibilant each: where the energy of the hiss sits, and how long it lasts"
    note = f"{charts.INVENTED} · house-15k/2, 1–15 kHz, power-weighted · 7 of 8 sounds bounded"
    return {
        "token-strips": lambda: charts.token_strips(panels(), title=title, note=note, width_mm=width_mm),
        "one-strip": lambda: charts.token_strips(panels()[:1], title="One word", note=note, width_mm=min(width_mm, 85)),
        "months": lambda: charts.months_chart(view, no_range=NO_RANGE, **settings),
        "months-device": lambda: charts.months_chart(device, bracket=BRACKET, **settings),
        "months-few": lambda: charts.months_chart(few, key="core_duration_ms", **settings),
        "spectra": lambda: charts.session_spectra(
            group("baseline", 60, 6500, 1), group("probe of month 6", 20, 8000, 2), who=WHO, **settings
        ),
        "spread": lambda: charts.spread_chart(view, **settings),
        "contexts": lambda: charts.context_map(view, **settings),
        "separation": lambda: charts.separation_chart(view, values=sounds, **settings),
        "sets-of-three": lambda: charts.sets_chart(said_thrice(), view.sets_of_three[0], who=WHO, **settings),
        "heard": lambda: charts.heard_chart(view, **settings),
    }
