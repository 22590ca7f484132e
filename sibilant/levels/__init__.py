"""Short-time levels and band frames of a recording, computed once for all rooms that look at sound."""

from .coarse import CoarseLevels, coarse_levels

__all__ = ["CoarseLevels", "coarse_levels"]
