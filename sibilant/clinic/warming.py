"""What drawing and measuring load, loaded while a person still reads the first answer."""

from __future__ import annotations

import importlib
from functools import lru_cache


@lru_cache(maxsize=1)
def warm() -> None:
    """Load the packages that charts and recordings need; the second call does nothing."""
    from .. import charts, pipeline  # noqa: F401

    charts.load()
    for name in charts.__all__:
        getattr(charts, name)
    for package in ("scipy.fft", "scipy.linalg", "scipy.ndimage"):
        importlib.import_module(package)
