"""The methods paragraph, every number in it taken from the run file."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from .paragraph_sound import edges_of, measuring, misplaced, missing, recorded

CAUTION = (
    "Groups are described here; nobody is diagnosed. A difference between groups says nothing about one speaker, and"
    " figures never take the place of clinical judgement."
)
MOST_TOLD = 6
"""Differences told in the paragraph; all stand in ``analyses.csv``."""
ANALYSES = {"mixed": "the mixed model", "paired": "the analysis over speakers' means"}
REFERENCES = (
    "References: Bates, Maechler, Bolker & Walker 2015 (mixed models); Giesbrecht & Burns 1985 (degrees of freedom);"
    " Kenward & Roger 1997 (errors); Nakagawa & Schielzeth 2013 (R²); Hedges 1981 and Algina & Keselman 2003 (g);"
    " Phipson & Smyth 2010 (p by permutation); Holm 1979; Benjamini & Hochberg 1995; Manski 1990 (bounds)."
)


def paragraph(run: Mapping[str, Any]) -> str:
    """Write how a study was done from its run file (``study.json``), for a thesis to start from.

    Every number stands in the run file under the key named beside it there; nothing is computed here.
    """
    data, question = run["data"], run["question"]
    sentences = [
        _tokens(data, question),
        *recorded(run["recorded"]),
        *measuring(run.get("method")),
        *misplaced(run["recorded"]),
        *_left_out(data["left_out"]),
        *missing(run),
        _primary(run),
        *_differences(run),
        _comparing(run),
        *_models(run),
        *_telling_apart(run["discriminants"], question),
        *_judges(run.get("judges")),
        *edges_of(run),
        _software(run["versions"], question),
        REFERENCES,
        CAUTION,
    ]
    return " ".join(sentence for sentence in sentences if sentence)


def _tokens(data: Mapping[str, Any], question: Mapping[str, Any]) -> str:
    design = {
        "between": "each speaker belonged to one group",
        "within": "each speaker had all groups",
        "mixed": f"{data['n_several']} speakers had several groups, the others one",
    }[data["design"]]
    kept = f" Only rows with {' and '.join(question['where'])} were used." if question["where"] else ""
    return (
        f"{data['n_tokens']} tokens of {data['n_speakers']} speakers in {data['n_groups']} groups"
        f" ({question['by']}: {', '.join(data['groups'])}) were compared; {design}.{kept}"
    )


def _left_out(reasons: Mapping[str, int]) -> list[str]:
    if not reasons:
        return ["No row of the table was left out."]
    told = ", ".join(f"{n} {reason}" for reason, n in reasons.items())
    return [f"Rows left out: {told}."]


def _primary(run: Mapping[str, Any]) -> str:
    leading = run["leading"]
    how = "declared beforehand" if run["question"]["primary"] else "not declared beforehand, so the model leads"
    return (
        f"The primary analysis, {how}, was {ANALYSES[leading]}, p adjusted over {run['n_tests'][leading]} tests by"
        f" Holm; {ANALYSES['paired' if leading == 'mixed' else 'mixed']} stands beside it."
    )


def _differences(run: Mapping[str, Any]) -> list[str]:
    """The clearest differences with both analyses, and how many are claimed and disagree."""
    told = [one for one in run["analyses"] if one["estimate"] is not None]
    first = sorted(told, key=lambda one: (not one["claimed"], one["p"] if one["p"] is not None else 1.0))[:MOST_TOLD]
    sentences = [_difference(one, run["units"]) for one in first]
    n = run["n_differences"]
    sentences.append(f"Of {n['all']} differences {n['claimed']} are claimed (p after Holm below {run['level']}).")
    if n["all"] > len(first):
        sentences.append("The others stand in analyses.csv.")
    if n["disagree"]:
        sentences.append(f"The two analyses disagree on {n['disagree']} of them, as analyses.csv says of each.")
    return sentences


def _difference(one: Mapping[str, Any], units: Mapping[str, str]) -> str:
    unit = f" {units[one['measure']]}" if units.get(one["measure"]) else ""
    beside = ""
    if one["other_estimate"] is not None:
        beside = (
            f"; {ANALYSES[one['other']]} ({one['other_n_speakers']} speakers, {one['other_n_tokens']} tokens) says"
            f" {one['other_estimate']}{unit} ({one['other_low']} to {one['other_high']})"
        )
    tail = "" if one["agree"] else f": {one['words']}"
    least = f", smallest difference found four times in five {one['found_at_80']}{unit}" if one["found_at_80"] else ""
    return (
        f"{one['measure']}, {one['second']} less {one['first']}: {one['estimate']}{unit} (95 % interval {one['low']} to"
        f" {one['high']}, p {one['p']}, after Holm {one['p_holm']}; {one['n_speakers']} speakers, {one['n_tokens']}"
        f" tokens{least}){beside}{tail}."
    )


def _comparing(run: Mapping[str, Any]) -> str:
    question, design = run["question"], run["data"]["design"]
    how = {
        "between": "Welch's interval; whole speakers were permuted between groups",
        "within": "the paired t interval; a speaker's two values were swapped",
        "mixed": "the paired t interval over speakers who have both groups, whose values were swapped; a second p takes"
        " all speakers, values swapped within those who have both and those who have one permuted between groups",
    }[design]
    return (
        f"Over speakers' means, differences have {how} (all arrangements, or {question['n_permutations']} drawn);"
        " Hedges's g has limits from the noncentral t distribution."
    )


def _models(run: Mapping[str, Any]) -> list[str]:
    models: Sequence[Mapping[str, Any]] = run["models"]
    if not models:
        return []
    first = models[0]
    told = [
        f"Mixed models by restricted maximum likelihood ({first['formula']}, and so for each measure), with"
        " errors that allow for the variances being estimated and Satterthwaite's degrees of freedom; random are"
        f" {'; '.join(first['structure'])}."
    ]
    failed = [model["measure"] for model in models if not model["converged"]]
    if failed:
        told.append(f"The model of {', '.join(failed)} did not converge and claims nothing.")
    singular = [f"{model['measure']} ({', '.join(model['singular'])})" for model in models if model["singular"]]
    if singular:
        told.append(f"Singular, a random part without spread: {', '.join(singular)}.")
    shares = [
        f"{model['measure']} {model['icc']['speaker']} and {model['r2_fixed']}"
        for model in models
        if model["icc"] and model["r2_fixed"] is not None
    ]
    if shares:
        told.append(f"Share of the variance that speakers hold, and R² of the fixed effects: {'; '.join(shares)}.")
    return told


def _telling_apart(found: Sequence[Mapping[str, Any]], question: Mapping[str, Any]) -> list[str]:
    told = [
        f"{one['name']} {one['balanced_accuracy']} ({one['low']} to {one['high']} over speakers; chance"
        f" {one['chance']}, its 95 % point {one['chance_high']}, p {one['p']})"
        for one in found
    ]
    if not told:
        return []
    return [
        f"Tokens of unseen speakers were told apart in {found[0]['n_folds']} folds grouped by speaker, dealt out"
        f" {found[0]['n_repeats']} times, scaling inside the fold and equal prior probabilities of the groups; balanced"
        f" accuracy: {'; '.join(told)}; chance from {question['n_chance']} permutations of whole speakers between"
        " groups and of a speaker's own groups within."
    ]


def _judges(heard: Mapping[str, Any] | None) -> list[str]:
    if not heard:
        return []
    one = heard["agreement"]
    alpha = f"{one['alpha']} ({one['alpha_low']} to {one['alpha_high']})" if one["alpha"] is not None else "not defined"
    kappa = (
        f", Cohen's kappa {one['kappa']} ({one['kappa_low']} to {one['kappa_high']})"
        if one["kappa"] is not None
        else ""
    )
    return [
        f"{heard['n_judges']} judges heard {one['n_tokens']} of the tokens compared, by {one['n_speakers']} speakers,"
        f" at least twice, and {one['n_alike']} of these alike: Krippendorff's alpha {alpha}{kappa}, intervals over"
        f" speakers; {heard['n_unjudged']} tokens were not judged."
    ]


def _software(versions: Mapping[str, str], question: Mapping[str, Any]) -> str:
    told = ", ".join(f"{name} {version}" for name, version in versions.items())
    return f"Computed with {told}; seed {question['seed']}."
