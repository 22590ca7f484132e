"""How reference values and comparisons are worded, as text and as plain rows: never without their source."""

from __future__ import annotations

from typing import TYPE_CHECKING

from ..terms import MEASURES
from ..terms.reference import INSIDE_SENTENCE, Comparison, Placement, Reason, ReferenceRange
from .band import band_of, open_sides, protocol_known
from .rows import AnswerRow, ComparisonRow, NormsRow, RangeRow, ReasonRow, RefusedRow

if TYPE_CHECKING:
    from .answers import Answer, Refusal

ORIENTATION_LABEL = (
    "Orientation only, 6 to 13 years, measured at 1 to 7.5 kHz from children whose first language is Mandarin and who"
    " read English; never a norm for English-speaking children"
)
ACQUISITION_NOTE = (
    "Ages of acquisition differ between studies, so all are shown. Smit et al. (1990) treated /s z/ specially; none of"
    " them applies to lateral or palatal /s/."
)
_INSIDE = {"below": "below", "within": "inside", "above": "above"}


def number(value: float, row: ReferenceRange) -> str:
    """Write a value with the decimals and the unit of its measure."""
    measure = MEASURES.get(row.measure)
    decimals = measure.decimals if measure else 0 if row.unit == "Hz" else 1
    unit = {"Hz": " Hz", "": ""}.get(row.unit, f" {row.unit}")
    return f"{value:.{decimals}f}{unit}"


def label_of(row: ReferenceRange) -> str:
    """Return the words that stand beside a value wherever it is shown: how it was had, or the strip's own label."""
    return ORIENTATION_LABEL if row.use == "orientation" else row.basis.label


def bounds_words(mean: float, reach: float, row: ReferenceRange) -> str:
    """Write an interval around a mean."""
    return f"{number(mean - reach, row)} to {number(mean + reach, row)}"


def band_words(row: ReferenceRange) -> str:
    """The band for a new speaker, the speakers' points, an age, or the value alone, in words."""
    band = band_of(row)
    if row.use == "acquisition":
        return " to ".join(trade_age(years) for years in (row.low, row.high) if years is not None)
    if band is not None and row.use in ("value", "orientation"):
        span = edges_words(row, band)
        return f"{span} for a new speaker" if row.use == "value" else f"orientation strip {span}"
    parts = [f"{row.statistic} {number(row.mean, row)}"] if row.mean is not None else []
    if row.low is not None:
        parts.append(f"lowest {number(row.low, row)}")
    if row.high is not None:
        parts.append(f"highest {number(row.high, row)}")
    return ", ".join(parts)


def edges_words(row: ReferenceRange, band: tuple[float, float]) -> str:
    """Write a band's edges; a side that no value can leave is not shown, and is said.

    Examples
    --------
    >>> from sibilant.ranges import all_ranges
    >>> row = next(r for r in all_ranges() if r.measure == "centroid_hz" and r.method == "open-adult")
    >>> edges_words(row, (6970.0, 10354.0)), edges_words(row, (6970.0, 15200.0))
    ('6970 Hz to 10354 Hz', 'from 6970 Hz (the upper side cannot be left)')
    """
    below, above = open_sides(row, band)
    if below and above:
        return "no edge: neither side can be left"
    if above:
        return f"from {number(band[0], row)} (the upper side cannot be left)"
    if below:
        return f"up to {number(band[1], row)} (the lower side cannot be left)"
    return f"{number(band[0], row)} to {number(band[1], row)}"


def _shown_edges(row: ReferenceRange, band: tuple[float, float]) -> dict[str, float | None]:
    below, above = open_sides(row, band)
    return {"low": None if below else band[0], "high": None if above else band[1]}


def trade_age(years: float) -> str:
    """Write an age in years as the trade does.

    Examples
    --------
    >>> trade_age(4.92)
    '4;11'
    """
    months = round(12 * years)
    return f"{months // 12};{months % 12}"


def points_words(row: ReferenceRange) -> str:
    """Write what stands behind a band: mean, SD and number of speakers; or that there is no band, and why."""
    if row.mean is None or row.sd is None or row.use == "acquisition":
        return ""
    sd, n_speakers = number(row.sd, row), row.population.n_speakers
    if row.use == "background":
        return f" (SD between speakers {sd})"
    if band_of(row) is not None:
        return f" (mean {number(row.mean, row)}, SD between speakers {sd}, {n_speakers} speakers)"
    why = f"{n_speakers} speakers" if protocol_known(row) else "protocol not known well enough"
    return f" (SD between speakers {sd}; {why}: no band and no placement)"


def statement(row: ReferenceRange, placement: Placement, mean: float, n_tokens: int, band: tuple[float, float]) -> str:
    """One sentence that places a mean, with source, population and method, and the fixed sentence after it."""
    kind = {"computed": "measured", "yours": "entered by the user"}.get(row.basis.obtained, "published")
    edges = edges_words(row, band)
    method = f", measured with {row.method}" if row.method else ""
    return (
        f"The measured value ({number(mean, row)}, mean of {n_tokens} tokens) lies {_INSIDE[placement]} the range"
        f" {kind} for {row.population.words} ({edges}{method}; {row.basis.citation} {row.basis.label})."
        f" {INSIDE_SENTENCE}"
    )


def describe_range(row: ReferenceRange) -> RangeRow:
    """A reference value as a plain row: the figures, and all that must stand beside them."""
    band = band_of(row) if row.use == "value" else None
    return {
        "measure": row.measure,
        "name": row.name,
        "phone": row.phone,
        "unit": row.unit,
        "statistic": row.statistic,
        "figures": band_words(row) + points_words(row),
        "mean": row.mean,
        "sd_between_speakers": row.sd,
        "sd_within_speakers": row.sd_within,
        "lowest": row.low,
        "highest": row.high,
        "band": None if band is None else {**_shown_edges(row, band), "rule": "mean ± t(n−1)·SD·√(1+1/n)"},
        "population": row.population.words,
        "n_speakers": row.population.n_speakers,
        "position": row.circumstances.position,
        "circumstances": row.circumstances.words,
        "context": row.circumstances.context,
        "method": row.method,
        "method_words": f"method {row.method}" if row.method else row.protocol or "method not stated",
        "protocol": row.protocol,
        "band_hz": None if row.band_hz is None else list(row.band_hz),
        "not_stated": list(row.unknown),
        "source": row.basis.citation,
        "where": row.basis.where,
        "obtained": row.basis.obtained,
        "label": label_of(row),
        "note": row.basis.note,
        "rows": list(row.basis.rows),
        "use": row.use,
    }


def describe_refusal(refusal: Refusal) -> RefusedRow:
    """A value that does not fit, with its reasons: without a band, and without any figure where it is an adult's."""
    row = describe_range(refusal.range)
    row["band"] = None
    row["figures"] = _values_words(refusal.range)
    if any(reason.code == "minor" for reason in refusal.reasons):
        row |= {"mean": None, "sd_between_speakers": None, "sd_within_speakers": None, "lowest": None, "highest": None}
        row["figures"] = "not shown"
    return {**row, "reasons": [_reason(reason) for reason in refusal.reasons]}


def describe_answer(answer: Answer) -> AnswerRow:
    """An answer as one plain document."""
    return {
        "measure": answer.question.measure,
        "phone": answer.question.phone,
        "none_fits": answer.none_fits,
        "fits": [describe_range(row) for row in answer.fits],
        "reasons": [_reason(reason) for reason in answer.reasons],
        "refused": [describe_refusal(refusal) for refusal in answer.refused],
        "orientation": [describe_range(row) for row in answer.orientation],
        "sentence": INSIDE_SENTENCE,
    }


def describe_norms(answer: Answer) -> NormsRow:
    """When the sound is acquired, with the note that belongs beside it."""
    return {
        "acquisition": [describe_range(row) for row in answer.acquisition],
        "acquisition_note": ACQUISITION_NOTE if answer.acquisition else "",
    }


def _values_words(row: ReferenceRange) -> str:
    """The bare values of a row, never a band."""
    parts = [f"{row.statistic} {number(row.mean, row)}"] if row.mean is not None else []
    parts += [f"SD between speakers {number(row.sd, row)}"] if row.sd is not None else []
    parts += [f"lowest {number(row.low, row)}"] if row.low is not None else []
    parts += [f"highest {number(row.high, row)}"] if row.high is not None else []
    return ", ".join(parts)


def describe_comparison(comparison: Comparison) -> ComparisonRow:
    """A comparison as one plain document; the range comes with its source, the placement with its sentence."""
    return {
        "placement": comparison.placement,
        "value": comparison.value,
        "n_tokens": comparison.n_tokens,
        "band": None
        if comparison.band is None or comparison.range is None
        else _shown_edges(comparison.range, comparison.band),
        "range": None if comparison.range is None else describe_range(comparison.range),
        "why": [_reason(reason) for reason in comparison.why],
        "needs_method": comparison.needs_method,
        "statement": comparison.statement,
        "cautions": list(comparison.cautions),
        "sentence": comparison.sentence,
        "source": "" if comparison.range is None else comparison.range.source,
    }


def _reason(reason: Reason) -> ReasonRow:
    return {"code": reason.code, "text": reason.text}
