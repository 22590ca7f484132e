"""A bandwidth comes in, the house methods that it serves go out.

A method's top has to lie below what the recording holds.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

BANDWIDTH_SHARE = 0.95
"""A method is used only where its top is at most this share of the effective bandwidth."""

_TOPS = MappingProxyType({"house-15k": 15_000.0, "house-10k": 10_000.0, "house-7k": 7_500.0})


def house_tops_hz() -> Mapping[str, float]:
    """Tops of the house methods' bands, widest first; a test holds them to ``sibilant.methods``."""
    return _TOPS


def serves(bandwidth_hz: float, top_hz: float) -> bool:
    """Tell whether a bandwidth serves a method.

    Examples
    --------
    >>> serves(16_000.0, 15_000.0), serves(15_500.0, 15_000.0)
    (True, False)
    """
    return top_hz <= BANDWIDTH_SHARE * bandwidth_hz + 1e-6


def widest_served(bandwidth_hz: float) -> str:
    """Name of the widest house method that a bandwidth serves, or nothing."""
    return next((name for name, top in _TOPS.items() if serves(bandwidth_hz, top)), "")
