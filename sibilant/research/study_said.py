"""A study's answer comes in, the lines that the terminal shows go out; the tables hold the rest."""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path

from .. import study
from ..study import Beside, Effect, JudgedEffect, Study
from ..terms import MEASURES

MOST_SAID = 20
"""Differences said on the terminal; all stand in ``analyses.csv``."""
NAMES = {"mixed": "mixed model", "paired": "speakers' means"}


def summary(
    found: Study, told: JudgedEffect | None, to: Path, moved: Sequence[tuple[str, Sequence[Effect]]] = ()
) -> list[str]:
    """Say what was compared and found, what is missing, what judges agreed on, and where all lies."""
    return [*said(found, told, moved), f"written: {to}/methods.md, {to}/study.json, tables and {to}/figures"]


def said(
    found: Study, told: JudgedEffect | None = None, moved: Sequence[tuple[str, Sequence[Effect]]] = ()
) -> list[str]:
    """Say what was compared and found, what is missing, and what judges agreed on."""
    prepared = found.prepared
    lines = [
        f"{prepared.n_tokens} tokens of {prepared.n_speakers} speakers, {found.question.by}:"
        f" {', '.join(prepared.groups)}"
    ]
    if found.question.where:
        lines.append("only rows with " + " and ".join(found.question.where))
    if prepared.left_out:
        lines.append("left out: " + ", ".join(f"{n} {reason}" for reason, n in prepared.left_out.items()))
    lines += _said_of_missing(found)
    lines += _said_of_analyses(found)
    lines += [
        f"{one.name}: balanced accuracy {one.balanced_accuracy:.3f} ({one.low:.3f} to {one.high:.3f}) on unseen"
        f" speakers, chance {one.chance:.3f}, p {one.p:.4f}"
        for one in found.evaluations
    ]
    lines += _said_of_judges(told)
    if found.sensitivity:
        n = sum(not one.holds for one in found.sensitivity)
        lines.append(f"{n} of {len(found.sensitivity)} claimed differences hang on where the edges were put")
    lines += _said_of_moved(found, moved)
    return [*lines, *found.notes, study.CAUTION]


def _said_of_missing(found: Study) -> list[str]:
    """Missing cells by group and measure, where there are any."""
    by_measure: dict[str, list[str]] = {}
    for one in found.missing:
        if one.n_missing:
            by_measure.setdefault(one.measure, []).append(f"{one.group} {one.n_missing} of {one.n_expected}")
    return [f"missing {measure}: {', '.join(told)}" for measure, told in by_measure.items()]


def _said_of_analyses(found: Study) -> list[str]:
    claimed = [one for one in found.analyses if one.claimed]
    leading = found.question.leading
    declared = "declared beforehand" if found.question.primary else "not declared; --primary names one beforehand"
    lines = [f"primary analysis: {NAMES[leading]} ({declared})", *_said_of_clear(claimed)]
    n_open = len(found.analyses) - len(claimed)
    lines.append(f"{n_open} of {len(found.analyses)} differences can't be told from chance (p after Holm 0.05 or more)")
    unlike = [one for one in found.analyses if not one.agree]
    lines += [f"  {one.measure}, {one.second} less {one.first}: {one.words}" for one in unlike[:MOST_SAID]]
    failed = [model.measure for model in found.models if not model.converged]
    if failed:
        lines.append(f"mixed model did not converge: {', '.join(failed)}; see fits.csv")
    return lines


def _said_of_clear(clear: Sequence[Beside]) -> list[str]:
    """Say the clear differences, those with the smallest p where they are many; all stand in the table."""
    first = sorted(clear, key=lambda one: one.p)[:MOST_SAID]
    lines = [_said(one) for one in clear if one in first]
    n_more = len(clear) - len(lines)
    return [*lines, f"  and {n_more} more: see analyses.csv"] if n_more else lines


def _said(one: Beside) -> str:
    measure = MEASURES.get(one.measure)
    decimals, unit = (measure.decimals, f" {measure.unit}".rstrip()) if measure else (3, "")
    middle, low, high, other, other_low, other_high = (
        f"{value:.{decimals}f}"
        for value in (one.estimate, one.low, one.high, one.other_estimate, one.other_low, one.other_high)
    )
    return (
        f"  {one.measure}: {one.second} less {one.first} {middle}{unit} ({low} to {high}), p {one.p:.4f},"
        f" {one.n_speakers} speakers; {NAMES[one.other]} {other} ({other_low} to {other_high}),"
        f" {one.other_n_speakers} speakers"
    )


def _said_of_judges(told: JudgedEffect | None) -> list[str]:
    if told is None:
        return []
    one = told.agreement
    kappa = f", kappa {one.kappa:.2f} ({one.kappa_low:.2f} to {one.kappa_high:.2f})" if math.isfinite(one.kappa) else ""
    return [
        f"{told.n_judges} judges, {one.n_alike} of {one.n_tokens} tokens alike, alpha over these {one.n_tokens}"
        f" {one.alpha:.2f} ({one.alpha_low:.2f} to {one.alpha_high:.2f}){kappa}; {told.n_unjudged} not judged"
    ]


def _said_of_moved(found: Study, moved: Sequence[tuple[str, Sequence[Effect]]]) -> list[str]:
    """Say of each way of moving the edges how many claimed differences then read otherwise."""
    claimed = {(one.measure, one.first, one.second) for one in found.analyses if one.claimed}
    before = {(e.measure, e.first, e.second): _reading(e) for e in found.effects}
    lines = []
    for way, effects in moved:
        tried = [e for e in effects if (e.measure, e.first, e.second) in claimed]
        n = sum(_reading(e) != before[e.measure, e.first, e.second] for e in tried)
        if tried:
            lines.append(f"measured again, edges {way}: {n} of {len(tried)} claimed intervals lie otherwise against 0")
    return lines


def _reading(effect: Effect) -> int:
    """Where the interval of a difference lies: above 0, below, or across."""
    return int(effect.low > 0) - int(effect.high < 0)
