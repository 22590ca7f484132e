"""The figures of a study, for one column and for the whole page, as SVG and PDF."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

from .. import charts, files
from ..charts import study as drawing
from ..study import Study
from ..terms import Method

WIDTHS_MM = (85.0, 170.0)  # one and two columns of a journal


def write_all(folder: Path, found: Study, method: Method | None, who: str) -> list[str]:
    """Write each figure at 85 and 170 mm as SVG (outlines) and PDF (fonts embedded); return the file names."""
    names = []
    for width in WIDTHS_MM:
        for stem, figure in figures(found, method, who, width):
            for form in ("svg", "pdf"):
                name = f"{stem}_{width:.0f}mm.{form}"
                files.write_bytes(folder / name, charts.render(figure, form))
                names.append(name)
    return sorted(names)


def figures(found: Study, method: Method | None, who: str, width_mm: float) -> Iterator[tuple[str, Any]]:
    """Yield each figure with its name: groups by measure, differences, and the confusion of each discriminant."""
    prepared = found.prepared
    for measure in prepared.measures:
        yield (
            f"groups_{measure}",
            drawing.groups_chart(prepared, measure, method=method, who=who, width_mm=width_mm),
        )
    many = len(prepared.pairs(found.question.reference)) > 1
    for measure in prepared.measures if many else ("",):
        shown = [effect for effect in found.effects if effect.measure == (measure or effect.measure)]
        if any(effect.g == effect.g for effect in shown):
            stem = f"differences_{measure}" if measure else "differences"
            yield stem, drawing.effects_chart(shown, prepared, who=who, width_mm=width_mm)
    for evaluation in found.evaluations:
        stem = f"confusion_{files.safe_name(evaluation.name.replace(',', '').replace(' ', '_'))}"
        yield stem, drawing.confusion_chart(evaluation, who=who, width_mm=width_mm)
