"""Pictures: values in, ``Figure`` out; nothing here shows, saves or looks anything up."""

from .months import RangeBracket, months_chart
from .render import alt_text, render
from .strips import Ribbon, StripPanel, Tick, token_strip_pages, token_strips
from .style import INVENTED, NO_CAUSE, SUPPORTING
from .wording import Caption, change_sentence

__all__ = [
    "INVENTED",
    "NO_CAUSE",
    "SUPPORTING",
    "Caption",
    "RangeBracket",
    "Ribbon",
    "StripPanel",
    "Tick",
    "alt_text",
    "change_sentence",
    "months_chart",
    "render",
    "token_strip_pages",
    "token_strips",
]
