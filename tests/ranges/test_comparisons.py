"""Which tokens are set beside a range, and how the result is worded."""

from __future__ import annotations

import math
import re
from dataclasses import replace

import pytest

from sibilant.errors import UsageError
from sibilant.ranges import Question, TokenValue, compare, comparisons, describe_comparison
from sibilant.terms.reference import INSIDE_SENTENCE, Basis, Comparison, Population, Reason

ASKED = Question("centroid_hz", age_months=252, group="f", position="initial", level="word", cue="model")
LIKE = TokenValue(8600.0, "S", "initial", "", "word", "model", "open-adult/1")
FORBIDDEN = re.compile(r"\b(correct|incorrect|disordered|normal|abnormal|better|worse|impaired|lisp)\b", re.IGNORECASE)


def unlike(**changes: object) -> TokenValue:
    return replace(LIKE, **changes)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("token", "reason"),
    [
        (unlike(phone="SH"), "another sound"),
        (unlike(position="final"), "not initial"),
        (unlike(cluster="st"), "in a cluster"),
        (unlike(level="sentence"), "level sentence, not word"),
        (unlike(cue="spontaneous"), "cue spontaneous, not model"),
        (unlike(cue=""), "cue not known"),
        (unlike(method="house-15k/1"), "measured under house-15k/1, not open-adult"),
        (unlike(method="open-adult-7k/1"), "measured under open-adult-7k/1"),
        (unlike(value=math.nan), "no value"),
        (unlike(flags=("voiced",)), "voiced"),
    ],
)
def test_unlike_tokens_are_left_out_and_counted(token: TokenValue, reason: str) -> None:
    only_unlike = compare([token] * 9, ASKED)
    assert only_unlike.placement == "not comparable" and only_unlike.n_tokens == 0
    far = replace(token, value=1.0e5 if math.isfinite(token.value) else math.nan)
    mixed = compare([LIKE] * 5 + [far] * 3, ASKED)
    assert mixed.placement == "within" and mixed.n_tokens == 5 and mixed.value == 8600.0
    assert any(reason in each.text and each.text.startswith("3 left out") for each in mixed.why)
    few = compare([LIKE] * 4 + [token] * 20, ASKED)
    assert few.placement == "not comparable" and "few_tokens" in {each.code for each in few.why}


def test_the_method_needed_is_named() -> None:
    made = compare([unlike(method="house-15k/1")] * 12, ASKED)
    assert made.needs_method == "open-adult" and made.placement == "not comparable"


def test_six_men_have_points_and_no_placement() -> None:
    asked = Question("centroid_hz", age_months=252, group="m", position="initial", level="word", cue="model")
    for made in comparisons([LIKE] * 20, asked):
        assert made.placement == "not comparable" and made.band is None
        assert made.range is not None and made.range.low is not None and made.range.high is not None
        assert "few_speakers" in {each.code for each in made.why}


def test_own_baseline_refuses_before_anything_else() -> None:
    made = compare([LIKE] * 20, Question("centroid_hz", age_months=252, group="f", own_baseline=True))
    assert made.placement == "not comparable" and made.range is None and made.why[0].code == "own_baseline"


@pytest.mark.parametrize("value", [6000.0, 8600.0, 12000.0, math.nan])
def test_wording(value: float) -> None:
    made = compare([unlike(value=value)] * 6, ASKED)
    shown = describe_comparison(made)
    assert shown["sentence"] == INSIDE_SENTENCE and INSIDE_SENTENCE in (made.statement + made.sentence)
    assert made.placement in ("below", "within", "above", "not comparable")
    words = " ".join([made.statement, made.sentence, *made.cautions, *(each.text for each in made.why)])
    assert not FORBIDDEN.search(words), words
    if made.placement != "not comparable":
        assert "10 speakers, female" in made.statement and "open-adult" in made.statement
        assert "measured by this project from open recordings, 16 speakers" in made.statement


def test_nouns_refuse_what_must_not_be() -> None:
    with pytest.raises(ValueError, match="needs its reasons"):
        Comparison("not comparable", ())
    with pytest.raises(ValueError, match="needs a value"):
        Comparison("within", ())
    with pytest.raises(ValueError, match="fixed"):
        Comparison("not comparable", (Reason("x", "x"),), sentence="All is well.")
    with pytest.raises(ValueError, match="source"):
        Basis("", "read", "x")
    assert Population("somebody").words.startswith("number of speakers not stated, sex not stated, age not stated")


@pytest.mark.parametrize("wrong", [{"phone": "f"}, {"group": "x"}, {"age_months": -1}])
def test_questions_that_cannot_be_asked(wrong: dict[str, object]) -> None:
    with pytest.raises(UsageError):
        Question("centroid_hz", **wrong)  # type: ignore[arg-type]
