"""A client's judged sessions come in; how far raters agree, and one rater with herself, goes out, with intervals."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from typing import Any

from .. import store
from ..progress import agreement, agreement_with_self
from ..terms.by_ear import Agreement
from .caseload import CaseloadHandle, client_or_last, opened, used


def agree(
    caseload: CaseloadHandle, code: str | None, numbers: Sequence[int] = (), *, raters: Sequence[str] = ()
) -> list[dict[str, Any]]:
    """Return agreement between raters, and of each rater judging twice, over sessions (all when none is named).

    Returns
    -------
    list of dict
        Figures with their intervals; NaN becomes None; reasons where a figure can't be had.
    """
    with opened(caseload) as one:
        name = client_or_last(one, code)
        case = store.read_case(one, name)
        used(one, name)
    tokens = [token for token in case.tokens if not numbers or token.session in numbers]
    people = sorted({j.rater for token in tokens for j in token.judgements})
    chosen = list(raters) or people
    twice = [rater for rater in chosen if any(j.rater == rater and j.turn > 1 for t in tokens for j in t.judgements)]
    found = [agreement(tokens, raters=chosen)] if len(chosen) != 1 or not twice else []
    found += [agreement_with_self(tokens, rater) for rater in twice]
    return [as_plain(one) for one in found]


def as_plain(found: Agreement) -> dict[str, Any]:
    """Return an agreement as plain values for JSON."""
    kept = asdict(found)
    return {
        key: None
        if isinstance(value, float) and not math.isfinite(value)
        else list(value)
        if isinstance(value, tuple)
        else value
        for key, value in kept.items()
    }


def lines(found: Mapping[str, Any]) -> list[str]:
    """Return an agreement as lines for the terminal."""
    head, rows = told(found)
    return [head, *(f"  {row}" for row in rows)]


def told(found: Mapping[str, Any]) -> tuple[str, list[str]]:
    """Return who agreed on how much, and the figures, the number first, no label of strength."""
    people = " and ".join(found["raters"][:1] if found["kind"] == "one rater twice" else found["raters"])
    head = f"{people or 'nobody'}: {found['kind']}, {found['n_tokens']} tokens judged twice"
    if found["point_to_point"] is None:
        return head, [f"cannot be judged: {reason}" for reason in found["reasons"]]
    rows = []
    for name, key, low, high in (
        ("point-to-point agreement", "point_to_point", "point_low", "point_high"),
        ("kappa", "kappa", "kappa_low", "kappa_high"),
        ("alpha (nominal)", "alpha", "alpha_low", "alpha_high"),
        (f"ICC(A,1) of {found['n_lines']} places on the line", "icc", "icc_low", "icc_high"),
    ):
        if found[key] is not None:
            interval = f" ({found[low]:.2f} to {found[high]:.2f})" if found[low] is not None else ""
            rows.append(f"{name}: {found[key]:.2f}{interval}")
    return head, [*rows, *found["reasons"]]
