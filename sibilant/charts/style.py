"""The one quiet hand of all pictures: colours, type, measures of the page (docs/charts.md says why).

Sizes are millimetres on paper and points of type, so that a figure made for 85 mm is drawn for 85 mm and not shrunk.
"""

from __future__ import annotations

import contextlib
import functools
import importlib
import threading
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any, ParamSpec, TypeVar

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.colors import Colormap
    from matplotlib.figure import Figure

PAPER = "#FBFAF7"
INK = "#1F2430"
SECOND_INK = "#5B6472"
HAIRLINE = "#D9D6CF"
BLUE = "#0072B2"
VERMILLION = "#D55E00"
GREEN = "#009E73"
PURPLE = "#CC79A7"

FULL_WIDTH_MM = 170.0  # between the margins of A4
HALF_WIDTH_MM = 85.0  # a column of two
MM_PER_INCH = 25.4  # exact
MM_PER_POINT = MM_PER_INCH / 72.0  # a point is 1/72 inch

BODY_PT = 8.0  # the least that prints well on paper (common practice, no source)
TITLE_PT = 10.5  # titles
WORD_PT = 12.0  # the word said, above a strip

SANS = "Sibilant Sans"
SERIF = "Sibilant Serif"

INVENTED = "Invented data – not a person"
SUPPORTING = "Acoustic figures support, and do not replace, clinical judgement."
NO_CAUSE = "This record does not show what caused the change."

_LOADING = threading.Lock()
# matplotlib's settings belong to the whole process and a font is read piece by piece from its file: one hand at a time.
HAND = threading.RLock()
_P = ParamSpec("_P")
_R = TypeVar("_R")


def font_folder() -> Path:
    """Return the folder of the shipped fonts (open licence beside them) that hold IPA and combining marks."""
    return Path(__file__).parent / "fonts"


@functools.lru_cache(maxsize=1)
def _register_fonts() -> tuple[str, ...]:
    """Tell matplotlib of the shipped fonts, once a process."""
    from matplotlib import font_manager

    paths = tuple(str(path) for path in sorted(font_folder().glob("*.ttf")))
    for path in paths:
        font_manager.fontManager.addfont(path)
    return paths


def _settings() -> dict[Any, Any]:
    """Everything that is set once for all charts."""
    from cycler import cycler

    return {
        "figure.facecolor": PAPER,
        "savefig.facecolor": PAPER,
        "axes.facecolor": "none",
        "axes.edgecolor": HAIRLINE,
        "axes.linewidth": 0.6,
        "axes.labelcolor": SECOND_INK,
        "axes.labelsize": BODY_PT,
        "axes.spines.top": False,
        "axes.spines.right": False,
        "axes.unicode_minus": True,
        "axes.prop_cycle": cycler(color=[BLUE, VERMILLION, GREEN, PURPLE]),
        "text.color": INK,
        "xtick.color": HAIRLINE,
        "ytick.color": HAIRLINE,
        "xtick.labelcolor": SECOND_INK,
        "ytick.labelcolor": SECOND_INK,
        "xtick.labelsize": BODY_PT,
        "ytick.labelsize": BODY_PT,
        "xtick.major.width": 0.6,
        "ytick.major.width": 0.6,
        "xtick.major.size": 2.5,
        "ytick.major.size": 2.5,
        "xtick.major.pad": 2.0,
        "ytick.major.pad": 2.0,
        "font.family": [SANS],
        "font.size": BODY_PT,
        "hatch.linewidth": 0.5,
        "lines.solid_capstyle": "butt",
        "image.interpolation": "antialiased",
        "svg.fonttype": "path",
        "svg.hashsalt": "sibilant",
        "pdf.fonttype": 42,
        "pdf.use14corefonts": False,
        "text.usetex": False,
        "text.hinting": "none",
        "path.simplify": True,
    }


@contextlib.contextmanager
def house_hand() -> Iterator[None]:
    """Draw and save in the house's hand, one thread at a time; settings made elsewhere come back afterwards."""
    load()
    import matplotlib as mpl

    _register_fonts()
    with HAND, mpl.rc_context():
        mpl.rcdefaults()
        mpl.rcParams.update(_settings())
        yield


def drawn(function: Callable[_P, _R]) -> Callable[_P, _R]:
    """Run a chart function in the house's hand."""

    @functools.wraps(function)
    def inside(*args: _P.args, **kwargs: _P.kwargs) -> _R:
        with house_hand():
            return function(*args, **kwargs)

    return inside


def new_figure(width_mm: float, height_mm: float) -> Figure:
    """Return an empty figure of a size on paper, without pyplot."""
    from matplotlib.figure import Figure

    return Figure(figsize=(width_mm / MM_PER_INCH, height_mm / MM_PER_INCH), dpi=150)


def load() -> None:
    """Load what drawing needs, so that the first chart need not wait for it; one thread at a time."""
    with _LOADING:
        importlib.import_module("matplotlib.figure")


def place(figure: Figure, left_mm: float, top_mm: float, width_mm: float, height_mm: float, **kwargs: Any) -> Axes:
    """Add axes measured from the figure's top left corner in millimetres."""
    whole_width, whole_height = figure_size_mm(figure)
    box = (
        left_mm / whole_width,
        1.0 - (top_mm + height_mm) / whole_height,
        width_mm / whole_width,
        height_mm / whole_height,
    )
    return figure.add_axes(box, **kwargs)


def figure_size_mm(figure: Figure) -> tuple[float, float]:
    """Width and height on paper."""
    width, height = figure.get_size_inches()
    return float(width) * MM_PER_INCH, float(height) * MM_PER_INCH


def write(figure: Figure, left_mm: float, top_mm: float, text: str, **kwargs: Any) -> None:
    """Write text whose top left corner is measured from the figure's top left corner in millimetres."""
    whole_width, whole_height = figure_size_mm(figure)
    settings: dict[str, Any] = {"va": "top", "ha": "left", "fontsize": BODY_PT, "color": SECOND_INK} | kwargs
    figure.text(left_mm / whole_width, 1.0 - top_mm / whole_height, text, **settings)


@functools.lru_cache(maxsize=1)
def ink_map() -> Colormap:
    """Density from paper to ink through blue; its lightness falls all the way, so it survives a grey printer."""
    from matplotlib.colors import LinearSegmentedColormap

    stops = [(0.0, PAPER), (0.18, "#DCE9F0"), (0.45, "#7FB4D6"), (0.72, BLUE), (1.0, INK)]
    return LinearSegmentedColormap.from_list("paper-to-ink", stops)


def phone_colour(phone: str) -> str:
    """Blue for /s/ (and /z/), vermillion for a contrast; never the only sign of either."""
    return BLUE if phone.upper() in {"S", "Z", ""} else VERMILLION


def phone_sign(phone: str) -> str:
    """ARPABET sibilant as IPA between slashes.

    Examples
    --------
    >>> phone_sign("SH")
    '/ʃ/'
    """
    return f"/{IPA.get(phone.upper(), phone)}/"


IPA = {"S": "s", "Z": "z", "SH": "ʃ", "ZH": "ʒ", "CH": "tʃ", "JH": "dʒ", "TH": "θ", "DH": "ð"}
