"""Values of the house as plain JSON values."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from typing import Any


def plain(value: Any) -> Any:
    """Return a value of the house as plain JSON values: days as ISO text, what is not a number as None.

    Examples
    --------
    >>> plain({"x": (1.0, float("nan"))})
    {'x': [1.0, None]}
    """
    if is_dataclass(value) and not isinstance(value, type):
        return {field.name: plain(getattr(value, field.name)) for field in fields(value)}
    if isinstance(value, Mapping):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, tuple | list):
        return [plain(item) for item in value]
    if isinstance(value, dt.date):
        return value.isoformat()
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value
