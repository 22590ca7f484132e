"""How the tokens of a study were recorded and found: rates, edges, and the share that may be misplaced."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from .covariates import is_empty
from .frame import Prepared


@dataclass(frozen=True, slots=True)
class Recorded:
    """What the table tells of its tokens; empty or None where it has no such column.

    ``rates``: tokens by sampling rate in Hz; ``edges``: tokens by how their edges were put; ``readers``: tokens by what
    matched words to sound. ``misplaced``: share of tokens that are expected not to be the sound their slot expects, by
    group, from the mean of one less ``slot_probability``; ``misplaced_all``: over all groups; ``n_rated``: tokens that
    have a probability.
    """

    rates: Mapping[str, int]
    edges: Mapping[str, int]
    readers: Mapping[str, int]
    misplaced: Mapping[str, float]
    misplaced_all: float | None
    n_rated: int


def recorded(prepared: Prepared) -> Recorded:
    """Count how the tokens were recorded and found."""
    import pandas as pd

    tokens = prepared.tokens
    by_group: dict[str, float] = {}
    overall, n_rated = None, 0
    if "slot_probability" in tokens:
        wrong = 1 - np.asarray(pd.to_numeric(tokens["slot_probability"], errors="coerce"), dtype=np.float64)
        rated = np.isfinite(wrong)
        n_rated = int(rated.sum())
        for group in prepared.groups:
            own = rated & (tokens["group"] == group).to_numpy()
            if own.any():
                by_group[group] = float(wrong[own].mean())
        overall = float(wrong[rated].mean()) if n_rated else None
    return Recorded(
        _counted(prepared, "sampling_rate_hz"), _counted(prepared, "boundary"), _counted(prepared, "reader"), by_group,
        overall, n_rated,
    )  # fmt: skip


def _counted(prepared: Prepared, column: str) -> dict[str, int]:
    if column not in prepared.tokens:
        return {}
    cells = prepared.tokens[column]
    there = cells[~is_empty(cells)]
    names = there.map(lambda cell: f"{cell:g}") if there.dtype.kind == "f" else there.astype(str)
    return {str(name): int(n) for name, n in sorted(names.value_counts().items())}
