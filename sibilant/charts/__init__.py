"""Pictures: values in, ``Figure`` out; nothing here shows, saves or looks anything up."""

from typing import TYPE_CHECKING

from .contexts import context_map
from .month_marks import RangeBracket
from .months import months_alt, months_chart, session_places
from .over_time import separation_chart, spread_chart
from .render import alt_text, render
from .shares import alike_probes, shares_alt, shares_chart
from .sounds import SaidThrice, heard_chart, sets_chart
from .spectra import SpectrumGroup, session_spectra
from .strip_panels import Ribbon, StripPanel, Tick
from .strips import token_strip_pages, token_strips
from .style import INVENTED, NO_CAUSE, SUPPORTING, load
from .wording import Caption, change_sentence

if TYPE_CHECKING:
    from matplotlib.figure import Figure as Figure

__all__ = [
    "INVENTED",
    "NO_CAUSE",
    "SUPPORTING",
    "Caption",
    "RangeBracket",
    "Ribbon",
    "SaidThrice",
    "SpectrumGroup",
    "StripPanel",
    "Tick",
    "alike_probes",
    "alt_text",
    "change_sentence",
    "context_map",
    "heard_chart",
    "load",
    "months_alt",
    "months_chart",
    "render",
    "separation_chart",
    "session_places",
    "session_spectra",
    "sets_chart",
    "shares_alt",
    "shares_chart",
    "spread_chart",
    "token_strip_pages",
    "token_strips",
]
