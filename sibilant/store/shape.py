"""Whether plain values (a cell, or what a JSON text holds) have the shape that is declared for them."""

from __future__ import annotations

import datetime as dt
import math
import types
from collections.abc import Mapping, Sequence
from dataclasses import fields, is_dataclass
from functools import lru_cache
from typing import Any, Literal, Union, get_args, get_origin, get_type_hints

MOST_TEXT = 20_000  # characters of a note
MOST_NUMBER = 1e12  # no figure of ours comes near
MOST_LEVELS = 8
"""How deep objects of any names may be nested: twice what this program writes."""
LATER = frozenset({"guessed", "pooled", "reader", "slot_place", "sums", "uncut"})
"""Fields that earlier programs did not write, and that may be left out where there is nothing in them."""

KEPT_SIGNS = "\n\t\r"


def misfit(value: Any, shape: Any) -> str:
    """Return why a value does not have a shape, empty when it has.

    Parameters
    ----------
    value : object
        As ``json.loads`` gives it: a day is a text, a tuple is a list.
    shape : object
        A type (``str``, ``int``, ``float``, ``bool``, ``datetime.date``), a union, a ``Literal``, a ``tuple[...]``, a
        ``Mapping[str, ...]``, a dataclass (an object with exactly its fields), a dict of names and shapes,
        or (shape, None)        where the value may be empty.

    Examples
    --------
    >>> misfit([1000.0, "x"], tuple[float, float])
    "place 2: a number was expected, not 'x'"
    """
    if isinstance(shape, tuple):
        return "" if value is None else misfit(value, shape[0])
    if isinstance(shape, Mapping):
        return _object(value, shape)
    if isinstance(shape, type) and is_dataclass(shape):
        return _object(value, hints_of(shape))
    origin, inner = get_origin(shape), get_args(shape)
    if origin in (Union, types.UnionType):
        found = [misfit(value, one) for one in inner if one is not type(None)]
        return "" if (value is None and type(None) in inner) or "" in found else found[0]
    if origin is Literal:
        return "" if isinstance(value, str) and value in inner else f"one of {', '.join(inner)}; not {_short(value)}"
    if origin is tuple:
        return _items(value, inner)
    if origin is not None:
        return _mapping(value, inner[1])
    return _plain(value, shape)


@lru_cache(maxsize=32)
def hints_of(shape: Any) -> dict[str, Any]:
    """Return the declared type of each field of a dataclass."""
    hints = get_type_hints(shape)
    return {field.name: hints[field.name] for field in fields(shape)}


def _object(value: Any, shape: Mapping[str, Any]) -> str:
    if not isinstance(value, dict):
        return f"an object was expected, not {_short(value)}"
    odd = sorted((value.keys() ^ shape.keys()) - (LATER - value.keys()))
    if odd:
        return f"{odd[0][:30]!r} is {'not known' if odd[0] in value else 'missing'}"
    return _first((name, misfit(value[name], shape[name])) for name in shape if name in value)


def _items(value: Any, inner: Sequence[Any]) -> str:
    if not isinstance(value, list):
        return f"a list was expected, not {_short(value)}"
    many = inner[-1] is Ellipsis
    if not many and len(value) != len(inner):
        return f"{len(inner)} values were expected, not {len(value)}"
    shapes = [inner[0]] * len(value) if many else inner
    return _first((f"place {i}", misfit(v, s)) for i, (v, s) in enumerate(zip(value, shapes, strict=True), start=1))


def _mapping(value: Any, inner: Any) -> str:
    if not isinstance(value, dict):
        return f"an object was expected, not {_short(value)}"
    return _first((key[:30], misfit(key, str) or misfit(one, inner)) for key, one in value.items())


def _first(found: Any) -> str:
    return next((f"{where}: {why}" for where, why in found if why), "")


def _plain(value: Any, shape: Any) -> str:
    if shape is str:
        return text_misfit(value)
    if shape is bool:
        return "" if isinstance(value, bool) else f"true or false was expected, not {_short(value)}"
    if shape is dt.date:
        return _day(value)
    whole = isinstance(value, int) and not isinstance(value, bool)
    if shape is int and not whole:
        return f"a whole number was expected, not {_short(value)}"
    if not whole and not isinstance(value, float):
        return f"a number was expected, not {_short(value)}"
    if not (abs(value) <= MOST_NUMBER and math.isfinite(value)):
        return f"{_short(value)} is out of all bounds"
    return ""


def tree_misfit(value: Any, levels: int = MOST_LEVELS) -> str:
    """Return why an object of any names can't be kept: nested too deep, a number out of all bounds, an odd text.

    Examples
    --------
    >>> tree_misfit({"snr_db": 33.5, "verdict": {"durations": "usable"}}), tree_misfit({"snr_db": [float("inf")]})
    ('', 'snr_db: 1: inf is out of all bounds')
    """
    if isinstance(value, dict | list):
        if not levels:
            return "nested too deep"
        parts = value.items() if isinstance(value, dict) else [(str(i), one) for i, one in enumerate(value, start=1)]
        return _first((key[:30], text_misfit(key) or tree_misfit(one, levels - 1)) for key, one in parts)
    if value is None or isinstance(value, bool):
        return ""
    return text_misfit(value) if isinstance(value, str) else _plain(value, float)


def text_misfit(value: Any) -> str:
    r"""Return why a value is no text that can be kept: control characters, half characters, or too long.

    Examples
    --------
    >>> text_misfit("a\x01b"), text_misfit("two\nlines")
    ('holds a control character (U+0001)', '')
    """
    if not isinstance(value, str):
        return f"a text was expected, not {_short(value)}"
    if len(value) > MOST_TEXT:
        return f"{len(value)} characters, at most {MOST_TEXT}"
    for sign in value:
        if not sign.isprintable() and sign not in KEPT_SIGNS and is_control(sign):
            return f"holds a control character (U+{ord(sign):04X})"
    return ""


def is_control(sign: str) -> bool:
    """Say whether a character is a control character, half of one, or none at all (U+FFFE): no page can show it."""
    code = ord(sign)
    return code < 32 or 0x7F <= code < 0xA0 or 0xD800 <= code < 0xE000 or code & 0xFFFE == 0xFFFE


def _day(value: Any) -> str:
    if isinstance(value, str):
        try:
            dt.date.fromisoformat(value)
        except ValueError:
            return f"a day was expected, not {_short(value)}"
        return ""
    return f"a day was expected, not {_short(value)}"


def _short(value: Any) -> str:
    return repr(value)[:40]
