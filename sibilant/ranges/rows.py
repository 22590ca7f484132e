"""Reference values as plain rows, field by field: what terminal, JSON, page and notebook are given of them.

A figure of these rows never goes without its source, population and method, which stand beside it in the same row.
"""

from __future__ import annotations

from typing import Any, TypedDict


class ReasonRow(TypedDict):
    """Why a value does not fit, as a code and in words."""

    code: str
    text: str


class RangeRow(TypedDict):
    """One reference value, and all that must stand beside it."""

    measure: str
    name: str
    phone: str
    unit: str
    statistic: str
    figures: str
    mean: float | None
    sd_between_speakers: float | None
    sd_within_speakers: float | None
    lowest: float | None
    highest: float | None
    band: dict[str, Any] | None
    population: str
    n_speakers: int | None
    position: str
    circumstances: str
    context: str
    method: str
    method_words: str
    protocol: str
    band_hz: list[float] | None
    not_stated: list[str]
    source: str
    where: str
    obtained: str
    label: str
    note: str
    rows: list[str]
    use: str


class RefusedRow(RangeRow):
    """One that does not fit, without a band, with its reasons."""

    reasons: list[ReasonRow]


class AnswerRow(TypedDict):
    """What the tables hold on one measure as it was asked."""

    measure: str
    phone: str
    none_fits: bool
    fits: list[RangeRow]
    reasons: list[ReasonRow]
    refused: list[RefusedRow]
    orientation: list[RangeRow]
    sentence: str


class NormsRow(TypedDict):
    """When sounds are acquired, which hangs on no measure."""

    acquisition: list[RangeRow]
    acquisition_note: str


class ComparisonRow(TypedDict):
    """A value set beside a range; the range comes with its source, the placement with its sentence."""

    placement: str
    value: float | None
    n_tokens: int
    band: dict[str, Any] | None
    range: RangeRow | None
    why: list[ReasonRow]
    needs_method: str
    statement: str
    cautions: list[str]
    sentence: str
    source: str
