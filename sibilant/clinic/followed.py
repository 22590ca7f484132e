"""The methods that a client's sounds are measured under: the present ones, and an earlier one that is followed."""

from __future__ import annotations

from .. import methods, progress
from ..errors import MethodError
from ..terms import Method
from ..terms.clinic import Case

HOUSE = ("house-15k", "house-10k", "house-7k")


def methods_for(case: Case) -> tuple[Method, ...]:
    """Return the present house methods, and the earlier version of one that the client's baseline holds alone."""
    present = [methods.get_method(name) for name in HOUSE]
    label = progress.followed(case).method
    return tuple(present) if not is_earlier(label) else (*present, methods.get_method(label))


def is_earlier(label: str) -> bool:
    """Say whether a label names an earlier version of a method, which can still be had.

    Examples
    --------
    >>> is_earlier("house-15k/1"), is_earlier("house-15k/2"), is_earlier("house-15k")
    (True, False, False)
    """
    name, _, version = label.partition("/")
    try:
        return version.isdecimal() and methods.get_method(label).version < methods.get_method(name).version
    except MethodError:
        return False
