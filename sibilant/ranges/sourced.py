"""A check for any output: every reference value in it carries its source."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from typing import Any

from ..terms.reference import ReferenceRange
from .wording import band_words, label_of

_FIGURES = ("mean", "lowest", "highest", "band", "low", "high")
_BESIDE = ("source", "population", "obtained", "label")


def unsourced_in_rows(document: Any) -> list[str]:
    """Return the places in a JSON-like document where a reference value stands without its source.

    An object that has ``sd_between_speakers`` or ``n_speakers`` beside a figure is a reference value; it needs
    ``source``, ``population``, ``obtained``, ``label`` and ``method`` (which may be empty where the value is no
    spectral one). A ``placement`` needs ``range`` or its reasons, and the fixed sentence.

    Examples
    --------
    >>> unsourced_in_rows({"mean": 1.0, "n_speakers": 3})
    ['$: source, population, obtained, label, method missing']
    """
    return list(_walk(document, "$"))


def unsourced_in_text(text: str, shown: Sequence[ReferenceRange]) -> list[str]:
    """Return the reference values whose figures stand in a text without their citation and how they were had.

    Parameters
    ----------
    text : str
        The output as a person sees it.
    shown : sequence of ReferenceRange
        The values that may be in it (all of them, if need be).
    """
    flat = " ".join(text.split())
    found: list[str] = []
    for row in shown:
        figures = band_words(row)
        if not figures or figures not in flat or not re.search(rf"(?<![\w.]){re.escape(figures)}(?!\w|\.\d)", flat):
            continue
        missing = [part for part in (row.basis.citation, label_of(row), row.population.words) if part not in flat]
        if missing:
            found.append(f"{figures} ({row.basis.citation_key or row.name}): {len(missing)} of 3 missing beside it")
    return found


def _walk(node: Any, path: str) -> Iterator[str]:
    if isinstance(node, dict):
        if "n_speakers" in node and any(node.get(name) is not None for name in _FIGURES):
            missing = [name for name in _BESIDE if not node.get(name)] + (["method"] if "method" not in node else [])
            if missing:
                yield f"{path}: {', '.join(missing)} missing"
        if "placement" in node and not (node.get("sentence") and (node.get("range") or node.get("why"))):
            yield f"{path}: a placement without its range, reasons or sentence"
        for name, value in node.items():
            yield from _walk(value, f"{path}.{name}")
    elif isinstance(node, list):
        for place, value in enumerate(node):
            yield from _walk(value, f"{path}[{place}]")
