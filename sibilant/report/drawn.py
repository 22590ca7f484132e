"""Drawings of practice sheets in the forms that each format holds."""

from __future__ import annotations

import base64
from functools import lru_cache
from typing import Any

_PIXELS_AN_INCH = 200  # sharp on paper, small enough to send
_ONE = b"""#set page(width: 96pt, height: 96pt, margin: 0pt, fill: none)
#image(bytes(sys.inputs.svg), format: "svg", width: 100%)
"""


def svg_address(svg: bytes) -> str:
    """A drawing as a ``data:`` address."""
    return f"data:image/svg+xml;base64,{base64.b64encode(svg).decode('ascii')}"


@lru_cache(maxsize=64)
def png_of(svg: bytes) -> bytes:
    """A drawing as PNG on no ground, for DOCX, which not every reader shows with SVG; same in, same bytes out."""
    import typst

    compiler: Any = typst.compile
    made: bytes = compiler(_ONE, format="png", ppi=_PIXELS_AN_INCH, sys_inputs={"svg": svg.decode("utf-8")})
    return made
