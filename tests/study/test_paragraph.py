"""Three unlike runs: every number of the methods paragraph found again in the tables of the run.

Invented data – not a person.
"""

from __future__ import annotations

import json
import re
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from sibilant.methods import HOUSE_15K
from sibilant.research.study import StudyRequest, run_study
from sibilant.study import CAUTION, Question
from sibilant.study.paragraph import REFERENCES

INVENTED = "Invented data – not a person"
NUMBER = re.compile(r"(?<![\w.])-?\d+(?:\.\d+)?(?![\w]|\.\d)")


def table(design: str, seed: int = 1) -> pd.DataFrame:
    """Rows as a corpus run writes them: each third speaker has both groups in the mixed design; some are not heard."""
    rng = np.random.default_rng(seed)
    rows = []
    for s in range(15):
        own = rng.normal(0, 400)
        both = design == "within" or (design == "mixed" and s % 3 == 0)
        for kind in ("frontal", "typical") if both else [("frontal", "typical")[s % 2]]:
            for w in range(8):
                hiss = 7000 + own + 900 * (kind == "typical") + 60 * w + rng.normal(0, 250)
                rows.append({
                    "recording": f"S{s}.wav", "speaker": f"S{s}", "age": f"{6 + s % 5}y{s % 12}m",
                    "sex": "fm"[s % 4 > 1],
                    "prompt_index": w + 1, "prompt": f"w{w}", "slot": 1, "phone": "S",
                    "position": "initial" if w % 2 else "final",
                    "finding": "no_frication" if rng.random() < 0.06 else "found", "voice": "client", "counts": "yes",
                    "boundary": "reviewed" if w == 3 else "automatic", "reader": "own/3",
                    "slot_probability": round(1 - 0.1 * rng.random(), 3), "sampling_rate_hz": 44100.0 + 3900 * (s == 4),
                    "centroid_hz": hiss, "centroid_hz_boundary": 40.0, "core_duration_ms": 150 + rng.normal(0, 12),
                    "method": f"{HOUSE_15K.name}/{HOUSE_15K.version}", "type": kind, "note": INVENTED,
                })  # fmt: skip
    return pd.DataFrame(rows)


RUNS = {
    "between": {"primary": "paired", "where": ("age>=7",)},
    "within": {},
    "mixed": {"primary": "mixed", "covariates": ("age", "position"), "interaction": "age", "where": ("sex=f|m",)},
}


@pytest.fixture(scope="module", params=sorted(RUNS))
def run(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp(request.param)
    frame = table(request.param)
    frame.to_csv(folder / "tokens.csv", index=False)
    judged = None
    if request.param == "within":
        judged = folder / "judged.csv"
        own = frame[["recording", "prompt_index", "slot", "type"]]
        other = own.assign(type=np.where(own.index % 9 == 0, "typical", own["type"]))
        pd.concat([own.assign(judge="a"), other.assign(judge="b")])[:-20].to_csv(judged, index=False)
    question = Question("type", measures=("centroid_hz", "core_duration_ms"), n_permutations=199, n_chance=19,
                        **RUNS[request.param])  # fmt: skip
    run_study(StudyRequest(folder / "tokens.csv", question, folder / "out", judged))
    return folder / "out"


def read(run: Path, name: str) -> pd.DataFrame:
    return pd.read_csv(run / f"{name}.csv", keep_default_na=False, na_values=[""])


def cells(run: Path, name: str, columns: tuple[str, ...]) -> set[float]:
    found = read(run, name)
    values = [str(cell) for column in columns if column in found for cell in found[column].dropna()]
    return {float(number) for cell in values for number in re.findall(r"-?\d+(?:\.\d+)?", cell)}


HOLDS = (
    (r"tokens of \d+ speakers in", "counts", ("value",)),
    (r"speakers had several groups", "counts", ("value",)),
    (r"^Sampling rate|^Edges of the sounds|^Words were matched|^Rows left out|own probabilities", "counts",
     ("value", "which")),
    (r"^Missing of", "missing", ("n_expected", "n_missing", "n_no_frication", "n_no_value", "n_unsure")),
    (r"95 % interval .* speakers, .* tokens", "analyses",
     ("estimate", "low", "high", "p", "p_holm", "n_speakers", "n_tokens", "found_at_80", "other_estimate", "other_low",
      "other_high", "other_n_speakers", "other_n_tokens")),
    (r"^Share of the variance", "fits", ("icc_speaker", "r2_fixed")),
    (r"^Tokens of unseen speakers", "discriminants",
     ("balanced_accuracy", "low", "high", "chance", "chance_high", "p", "n_folds", "n_repeats")),
    (r"judges heard", "judges", ("n_judges", "n_tokens", "n_speakers", "n_alike", "alpha", "alpha_low", "alpha_high",
                                 "kappa", "kappa_low", "kappa_high", "n_unjudged")),
)  # fmt: skip
"""Which table a sentence's numbers stand in, and in which columns."""


def derived(run: Path) -> dict[str, set[float]]:
    """Numbers that are counts over a table's rows, by what their sentence begins with or holds."""
    analyses, bounds, moved = read(run, "analyses"), read(run, "bounds"), read(run, "sensitivity")
    claimed, agree = analyses["claimed"].eq("yes").sum(), analyses["agree"].eq("no").sum()
    told = json.loads((run / "study.json").read_text())
    return {
        "The primary analysis": {float(analyses["p"].notna().sum())},
        "differences": {len(analyses), claimed, 0.05},
        "The two analyses disagree": {agree},
        "Were all missing": {bounds["one_sided"].eq("yes").sum(), len(bounds), 0},
        "With the edges": {10, moved["holds"].eq("yes").sum(), len(moved)},
        "Over speakers' means": {told["question"]["n_permutations"]},
        "Spectra were taken": {20, 10, 5, 0.5, *HOUSE_15K.band_hz, HOUSE_15K.version},
        "Only rows with": {float(n) for one in told["question"]["where"] for n in re.findall(r"\d+", one)},
        "seed": {told["question"]["seed"]},
    }


def sentences(run: Path) -> list[str]:
    text = (run / "methods.md").read_text(encoding="utf-8").split("\n\n")[-1]
    assert INVENTED in (run / "methods.md").read_text(encoding="utf-8") and CAUTION in text
    text = text.replace(REFERENCES, "").replace(CAUTION, "")
    return re.split(r"(?<=[.]) (?=[A-Zc])", text.strip())


def test_every_number_stands_in_the_tables_of_the_run(run: Path) -> None:
    """Each sentence's numbers in the columns of its own table, or counted again from the table's rows."""
    others, n_found = derived(run), 0
    for sentence in sentences(run):
        if sentence.startswith(("Computed with", "Mixed models by")):
            continue
        known: set[float] = {95.0} if "95 %" in sentence else set()
        for pattern, name, columns in HOLDS:
            if re.search(pattern, sentence):
                known |= cells(run, name, columns)
        for begins, values in others.items():
            if begins in sentence:
                known |= {float(v) for v in values}
        if sentence.startswith("Tokens of unseen"):
            known |= {float(json.loads((run / "study.json").read_text())["question"]["n_chance"])}
        for said in NUMBER.findall(sentence):
            decimals = len(said.partition(".")[2])
            assert any(round(value, decimals) == float(said) for value in known), (said, sentence, sorted(known)[:40])
            n_found += 1
    assert n_found > 40


def test_the_paragraph_says_what_a_reviewer_asks(run: Path) -> None:
    text, told = (run / "methods.md").read_text(encoding="utf-8"), json.loads((run / "study.json").read_text())
    for word in ("Sampling rate: 44100 Hz", "own probabilities", "Missing of", "Rows left out", "equal prior", "Holm",
                 "primary analysis", "smallest difference", "R²", "References", "48000 Hz"):  # fmt: skip
        assert word in text, word
    assert ("declared beforehand, was" in text) == bool(told["question"]["primary"])
    assert ("Only rows with" in text) == bool(told["question"]["where"])
    assert ("judges heard" in text) == (told["judges"] is not None)
