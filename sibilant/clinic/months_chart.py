"""The months chart of one client: a view and its case in; a file, SVG, the places of its points, its words out."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from .. import files
from ..errors import OutputError
from ..terms import Method
from ..terms.case_view import CaseView
from ..terms.clinic import Case

if TYPE_CHECKING:
    from ..charts.render import Format

FORMS: dict[str, Format] = {".svg": "svg", ".pdf": "pdf", ".png": "png"}


def figure(view: CaseView, case: Case, to: Path, *, key: str = "") -> None:
    """Draw the months chart of a view into a file (.svg, .pdf or .png).

    Raises
    ------
    OutputError
        When the file's ending is another, or it can't be written.
    """
    form = FORMS.get(to.suffix.lower())
    if form is None:
        raise OutputError(f"{to.name}: a picture ends in .svg, .pdf or .png")
    from .. import charts

    drawn = charts.months_chart(view, method=method_of(view, case), key=key)
    files.write_bytes(to, charts.render(drawn, form))


def picture(view: CaseView, case: Case, *, key: str = "", width_mm: float = 170.0) -> bytes:
    """Return the months chart of a view as SVG.

    Raises
    ------
    OutputError
        When nothing was measured yet.
    """
    from .. import charts

    return charts.render(charts.months_chart(view, method=method_of(view, case), key=key, width_mm=width_mm), "svg")


def places(
    view: CaseView, case: Case, *, key: str = "", width_mm: float = 170.0
) -> tuple[float, dict[int, tuple[float, float]]]:
    """Return how high the months chart is for its width, and where each session's point stands on it (see charts).

    Raises
    ------
    OutputError
        When nothing was measured yet.
    """
    from .. import charts

    figure = charts.months_chart(view, method=method_of(view, case), key=key, width_mm=width_mm)
    width, height = figure.get_size_inches()
    return float(height / width), charts.session_places(figure, view, key or view.main_measure)


def words(view: CaseView, case: Case, *, key: str = "") -> str:
    """Return the sentences that say what the months chart of a view shows.

    Raises
    ------
    OutputError
        When nothing was measured yet.
    """
    from .. import charts

    method_of(view, case)
    return charts.months_alt(view, key)


def method_of(view: CaseView, case: Case) -> Method:
    """Return the method whose figures a view holds.

    Raises
    ------
    OutputError
        When nothing was measured yet.
    """
    measured = [summary for one in view.summaries for summary in one.measures.values() if summary.n_measured]
    labels = [one.method for one in sorted(measured, key=lambda one: bool(one.apart))]
    for token in case.tokens:
        for found in token.measurements.values():
            if not labels or found.method.label == labels[0]:
                return found.method
    raise OutputError(f"{view.client.code}: nothing measured yet, so there is nothing to draw")
