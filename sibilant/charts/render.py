"""A ``Figure`` as bytes: SVG with outlines, PDF with its fonts, PNG at print size; no dates, same in same out."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING, Literal

from .style import house_hand

if TYPE_CHECKING:
    from matplotlib.figure import Figure

Format = Literal["svg", "pdf", "png"]
PRINT_DPI = 300  # what print asks of pictures (common practice, no source)


def render(figure: Figure, form: Format, *, dpi: int = PRINT_DPI, grey: bool = False) -> bytes:
    """Return a figure as a file's bytes.

    Parameters
    ----------
    figure : Figure
        Any figure of this room.
    form : str
        ``svg`` (text as outlines), ``pdf`` (fonts embedded) or ``png``.
    dpi : int
        Dots per inch of a PNG and of pictures inside the others.
    grey : bool
        A PNG as a grey printer would show it (luma of Rec. 601).

    Returns
    -------
    bytes
        The same for the same figure on one platform with one version of matplotlib.

    Raises
    ------
    ValueError
        For another format, or ``grey`` for one that isn't PNG.

    Examples
    --------
    >>> from sibilant.charts import style
    >>> render(style.new_figure(85, 20), "svg")[:5]
    b'<?xml'
    """
    if form not in ("svg", "pdf", "png"):
        raise ValueError(f"a figure can be rendered as svg, pdf or png, not {form}")
    if grey and form != "png":
        raise ValueError(f"grey is for png, not {form}")
    with house_hand():
        stream = io.BytesIO()
        figure.savefig(stream, format=form, dpi=dpi, metadata=_metadata(figure, form))
    return _as_grey(stream.getvalue(), dpi) if grey else stream.getvalue()


def alt_text(figure: Figure) -> str:
    """Return the sentence that says what the picture shows."""
    label = figure.get_label()
    return label if isinstance(label, str) else ""


def _metadata(figure: Figure, form: Format) -> dict[str, str | None]:
    no_dates: dict[str, dict[str, str | None]] = {
        "svg": {"Date": None, "Creator": None},
        "pdf": {"CreationDate": None, "Creator": None, "Producer": None},
        "png": {"Software": None},
    }
    title = alt_text(figure)
    return no_dates[form] | ({"Title": title} if title else {})


def _as_grey(png: bytes, dpi: int) -> bytes:
    from PIL import Image

    stream = io.BytesIO()
    Image.open(io.BytesIO(png)).convert("L").save(stream, format="PNG", dpi=(dpi, dpi))
    return stream.getvalue()
