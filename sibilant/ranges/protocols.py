"""The methods under which tokens are measured again before they are set beside a reference value."""

from __future__ import annotations

import dataclasses
from types import MappingProxyType

from ..errors import MethodError
from ..methods import OPEN_ADULT, get_method
from ..terms import Method

OPEN_ADULT_11K = dataclasses.replace(OPEN_ADULT, name="open-adult-11k", band_hz=(1000.0, 11025.0))
OPEN_ADULT_7K = dataclasses.replace(OPEN_ADULT, name="open-adult-7k", band_hz=(1000.0, 7500.0))
_OWN = MappingProxyType({method.name: method for method in (OPEN_ADULT_11K, OPEN_ADULT_7K)})


def protocol(name: str) -> Method:
    """Return the method that a reference value names, with or without its version.

    Raises
    ------
    MethodError
        When no method has that name.

    Examples
    --------
    >>> protocol("open-adult-11k").band_hz
    (1000.0, 11025.0)
    """
    plain, _, version = name.partition("/")
    method = _OWN.get(plain)
    if method is None:
        return get_method(name)
    if version and version != str(method.version):
        raise MethodError(f"method {plain} is at version {method.version}, not {version}; ask for {method.label}")
    return method
