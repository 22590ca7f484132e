"""Every picture, at both widths: its words are inside, apart, large enough, and say whose, how, how many."""

from __future__ import annotations

from types import ModuleType

import pytest

NAMES = (
    "token-strips one-strip months months-device months-few spectra spread contexts separation sets-of-three heard"
).split()


@pytest.mark.parametrize("width_mm", [170.0, 85.0])
@pytest.mark.parametrize("name", NAMES)
def test_words_are_inside_apart_and_large_enough(
    name: str, width_mm: float, gallery: ModuleType, checks: ModuleType
) -> None:
    figure = gallery.pictures(width_mm)[name]()
    checks.check(figure)
    said = checks.words(figure)
    assert "Invented data – not a person" in said
    assert "house-15k/2" in said and "1–15 kHz" in said and "power" in said, "method, band and weighting"


@pytest.mark.parametrize("name", NAMES)
def test_the_picture_is_as_wide_as_asked(name: str, gallery: ModuleType) -> None:
    for width_mm in (170.0, 85.0):
        wide = float(gallery.pictures(width_mm)[name]().get_size_inches()[0]) * 25.4
        assert wide == pytest.approx(min(width_mm, 85.0) if name == "one-strip" else width_mm)


def test_no_pyplot_and_settings_come_back(gallery: ModuleType) -> None:
    import matplotlib as mpl

    before = dict(mpl.rcParams)
    gallery.pictures(170.0)["months"]()
    assert dict(mpl.rcParams) == before


def test_pyplot_is_never_loaded() -> None:
    import subprocess
    import sys

    code = (
        "import sys; from sibilant import charts; from sibilant.charts import style;"
        "charts.render(style.new_figure(85, 20), 'svg'); print('matplotlib.pyplot' in sys.modules)"
    )
    ran = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert ran.stdout.strip() == "False"
