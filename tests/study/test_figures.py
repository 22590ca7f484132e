"""Figures of a study: inside the page, 8 points, fonts embedded in PDF, outlines in SVG, legible in grey."""

from __future__ import annotations

import importlib.util
import io
from pathlib import Path
from types import ModuleType

import numpy as np
import pandas as pd
import pytest

from sibilant.charts import render
from sibilant.charts import study as drawing
from sibilant.methods import HOUSE_15K
from sibilant.study import Evaluation, Prepared, Question, evaluate, prepare
from sibilant.study.effects import all_effects

INVENTED = "Invented data – not a person"
CHECKS = Path(__file__).parents[1] / "charts/chart_checks.py"


@pytest.fixture(scope="module")
def checks() -> ModuleType:
    spec = importlib.util.spec_from_file_location("chart_checks_for_study", CHECKS)
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def table(groups: tuple[str, ...]) -> pd.DataFrame:
    rng = np.random.default_rng(3)
    rows = []
    for s in range(8):
        own = rng.normal(0, 300)
        for k, group in enumerate(groups):
            for w in range(10):
                rows.append(
                    (f"S{s}", group, f"w{w}", 5000 + 900 * k + own + rng.normal(0, 250), 150 + rng.normal(0, 9))
                )
    return pd.DataFrame(rows, columns=["speaker", "type", "prompt", "centroid_hz", "core_duration_ms"])


GROUPS = {"two": ("frontal", "typical"), "five": ("frontal", "lateral", "retracted", "typical", "whistled"),
          "long": ("a way with quite a long name", "another way with a long name", "third")}  # fmt: skip


@pytest.fixture(scope="module", params=sorted(GROUPS))
def prepared(request: pytest.FixtureRequest) -> Prepared:
    return prepare(table(GROUPS[request.param]), Question("type"))


def evaluation(prepared: Prepared) -> Evaluation:
    return evaluate(prepared, Question("type", n_chance=19))


@pytest.mark.parametrize("width", [85.0, 170.0])
def test_every_figure_keeps_the_house_rules(prepared: Prepared, checks: ModuleType, width: float) -> None:
    question = Question("type", n_permutations=99)
    effects = all_effects(prepared, question)
    figures = [
        drawing.groups_chart(prepared, "centroid_hz", method=HOUSE_15K, who=INVENTED, width_mm=width),
        drawing.effects_chart(effects, prepared, who=INVENTED, width_mm=width),
        drawing.effects_chart(
            [e for e in effects if e.measure == "centroid_hz"], prepared, who=INVENTED, width_mm=width
        ),
        drawing.confusion_chart(evaluation(prepared), who=INVENTED, width_mm=width),
    ]
    for figure in figures:
        checks.check(figure)
        said = checks.words(figure)
        assert INVENTED in said and "nobody is diagnosed" in said
        assert figure.get_size_inches()[0] * 25.4 == pytest.approx(width)


def test_raw_points_stand_under_summaries(prepared: Prepared) -> None:
    figure = drawing.groups_chart(prepared, "centroid_hz", who=INVENTED)
    lines = {line.get_gid(): [] for line in figure.axes[0].lines}
    for line in figure.axes[0].lines:
        lines[line.get_gid()].append(len(line.get_xdata()))
    assert sum(lines["tokens"]) == prepared.n_tokens
    assert sum(lines["speakers"]) == 8 * len(prepared.groups)


def test_pdf_embeds_its_fonts_and_svg_holds_outlines() -> None:
    pikepdf = pytest.importorskip("pikepdf")
    made = prepare(table(GROUPS["five"]), Question("type"))
    figure = drawing.groups_chart(made, "centroid_hz", method=HOUSE_15K, who=INVENTED, width_mm=85)
    with pikepdf.open(io.BytesIO(render(figure, "pdf"))) as pdf:
        fonts = [font for page in pdf.pages for font in page.resources.get("/Font", {}).values()]
        assert fonts
        for font in fonts:
            inner = font.DescendantFonts[0] if "/DescendantFonts" in font else font
            assert {"/FontFile", "/FontFile2", "/FontFile3"} & set(inner.FontDescriptor.keys())
    svg = render(figure, "svg").decode()
    assert "<text" not in svg and "<path" in svg
    assert render(figure, "svg") == render(figure, "svg")


def test_marks_stand_out_from_paper_in_grey() -> None:
    """Luma of Rec. 709 against the paper; 3 to 1 is what WCAG 2 asks of marks, 4.5 to 1 of text."""
    from sibilant.charts import style

    def light(colour: str) -> float:
        parts = [int(colour[k : k + 2], 16) / 255 for k in (1, 3, 5)]
        linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    paper = light(style.PAPER)
    for colour, least in ((style.BLUE, 3.0), (style.INK, 4.5), (style.SECOND_INK, 4.5)):
        assert (paper + 0.05) / (light(colour) + 0.05) >= least
