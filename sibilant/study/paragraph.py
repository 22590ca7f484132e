"""The methods paragraph, every number in it taken from the run file."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

CAUTION = (
    "Groups are described here; nobody is diagnosed. A difference between groups says nothing about one speaker, and"
    " figures never take the place of clinical judgement."
)


def paragraph(run: Mapping[str, Any]) -> str:
    """Write how a study was done from its run file (``study.json``), for a thesis to start from.

    Every number stands in the run file under the key named beside it there; nothing is computed here.
    """
    data, question = run["data"], run["question"]
    sentences = [
        _tokens(data, question),
        *_measuring(run.get("method")),
        *_left_out(data["left_out"]),
        _comparing(run),
        _models(run["models"]),
        _telling_apart(run["discriminants"], question),
        _boundaries(run),
        _software(run["versions"], question),
        CAUTION,
    ]
    return " ".join(sentence for sentence in sentences if sentence)


def _tokens(data: Mapping[str, Any], question: Mapping[str, Any]) -> str:
    design = "each speaker belonged to one group" if data["design"] == "between" else "speakers had more than one group"
    return (
        f"{data['n_tokens']} tokens of {data['n_speakers']} speakers in {data['n_groups']} groups"
        f" ({question['by']}: {', '.join(data['groups'])}) were compared; {design}."
    )


def _measuring(method: Mapping[str, Any] | None) -> list[str]:
    if not method:
        return []
    low, high = method["band_hz"]
    emphasis = f"pre-emphasis {method['pre_emphasis']}" if method["pre_emphasis"] is not None else "no pre-emphasis"
    frames = (
        f"in frames of {method['frame_ms']:g} ms every {method['hop_ms']:g} ms"
        if method["frame_ms"]
        else "as one window"
    )
    where = [
        f"the middle {window['share']:g} of the fricative's length" for window in method["windows"] if window["share"]
    ]
    return [
        f"Spectra were taken over {' and '.join(where) or 'the windows of the method'} {frames} with"
        f" {method['n_tapers']} {method['taper']} tapers, and measured from {low:g} to {high:g} Hz with"
        f" {method['weighting']} weighting and {emphasis} (method {method['name']}, version {method['version']})."
    ]


def _left_out(reasons: Mapping[str, int]) -> list[str]:
    if not reasons:
        return ["No row of the table was left out."]
    told = ", ".join(f"{n} {reason}" for reason, n in reasons.items())
    return [f"Rows left out: {told}."]


def _comparing(run: Mapping[str, Any]) -> str:
    question, data = run["question"], run["data"]
    how = "Welch's interval" if data["design"] == "between" else "the paired t interval"
    which = "two groups of speakers" if data["design"] == "between" else "pairs of values of one speaker"
    return (
        f"Groups were compared over speaker means: differences with {how}, Hedges's g for {which} with intervals from"
        f" the noncentral t distribution, and p by permuting speakers (all arrangements, or"
        f" {question['n_permutations']} drawn), adjusted over {run['n_tests']} tests by Holm and by Benjamini"
        " and Hochberg."
    )


def _models(models: Sequence[Mapping[str, Any]]) -> str:
    if not models:
        return ""
    first = models[0]
    failed = [model["measure"] for model in models if not model["converged"]]
    told = f" The model of {', '.join(failed)} did not converge." if failed else ""
    return f"Mixed models by restricted maximum likelihood ({first['formula']}, and so for each measure).{told}"


def _telling_apart(found: Sequence[Mapping[str, Any]], question: Mapping[str, Any]) -> str:
    told = [
        f"{one['name']} {one['balanced_accuracy']} (chance {one['chance']}, its 95 % point {one['chance_high']})"
        for one in found
    ]
    if not told:
        return ""
    return (
        f"Tokens of unseen speakers were told apart in {found[0]['n_folds']} folds grouped by speaker, scaling inside"
        f" the fold; balanced accuracy: {'; '.join(told)}; chance from {question['n_chance']} permutations of the"
        " groups over whole speakers."
    )


def _boundaries(run: Mapping[str, Any]) -> str:
    n, n_held = run["n_moved"], run["n_held"]
    if not n:
        return ""
    return (
        f"With the edges moved by up to 10 ms to the difference's disadvantage, {n_held} of {n} differences kept what"
        " was concluded."
    )


def _software(versions: Mapping[str, str], question: Mapping[str, Any]) -> str:
    told = ", ".join(f"{name} {version}" for name, version in versions.items())
    return f"Computed with {told}; seed {question['seed']}."
