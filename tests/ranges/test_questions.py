"""Sixty questions with the answer worked out by hand beside each (``questions.csv``, column ``working``).

Bands by hand: t(9).975 = 2.262 from a printed table of Student's t (from memory), values from the computed adult table.
"""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from sibilant.ranges import Question, TokenValue, all_ranges, compare, find, read_age
from sibilant.ranges.band import band_of, is_spectral
from sibilant.terms.reference import INSIDE_SENTENCE

with (Path(__file__).parent / "questions.csv").open(encoding="utf-8", newline="") as stream:
    QUESTIONS = list(csv.DictReader(stream))


def question_of(row: dict[str, str]) -> Question:
    return Question(
        row["measure"],
        row["phone"],
        read_age(row["age"]) if row["age"] else None,
        row["group"] or None,  # type: ignore[arg-type]
        row["position"],
        row["cluster"],
        row["level"],
        row["cue"],
        row["method"],
        float(row["bandwidth_hz"]) if row["bandwidth_hz"] else None,
        int(row["n_tokens"]),
        row["dialect"],
        own_baseline=bool(row["own_baseline"]),
        orientation=bool(row["orientation"]),
    )


def tokens_of(row: dict[str, str]) -> list[TokenValue]:
    """Tokens as the question describes them, spread a little around the value."""
    kind = (row["phone"].upper(), row["position"], row["cluster"], row["level"], row["cue"], row["method"])
    count, value = int(row["n_tokens"]), float(row["value"])
    return [TokenValue(value + 0.001 * (i - (count - 1) / 2), *kind) for i in range(count)]


def test_there_are_sixty() -> None:
    assert len({row["id"] for row in QUESTIONS}) == 60
    assert all(row["working"] for row in QUESTIONS)


@pytest.mark.parametrize("row", QUESTIONS, ids=lambda row: f"{row['id']} {row['question']}")
def test_what_fits_and_why_the_rest_does_not(row: dict[str, str]) -> None:
    answer = find(question_of(row))
    assert [fit.basis.rows[0] for fit in answer.fits] == [one for one in row["fits"].split(";") if one]
    refused = {refusal.range.basis.rows[0]: refusal.reasons for refusal in answer.refused}
    codes = {reason.code for reason in refused.get(row["row"], ())}
    assert codes == {code for code in row["codes"].split(";") if code}
    assert answer.none_fits == (not row["fits"])
    if answer.none_fits:
        assert answer.why


@pytest.mark.parametrize("row", [r for r in QUESTIONS if r["value"]], ids=lambda row: f"{row['id']} {row['question']}")
def test_where_a_value_is_placed(row: dict[str, str]) -> None:
    comparison = compare(tokens_of(row), question_of(row))
    assert comparison.placement == row["placement"]
    assert comparison.sentence == INSIDE_SENTENCE
    if row["placement"] == "not comparable":
        assert comparison.band is None and comparison.why
    else:
        assert comparison.band is not None and comparison.range is not None
        decimals = len(row["low"].partition(".")[2])
        assert comparison.band == pytest.approx((float(row["low"]), float(row["high"])), abs=0.6 * 10**-decimals)
        assert INSIDE_SENTENCE in comparison.statement and comparison.range.basis.citation in comparison.statement


def test_age_is_a_caution_among_adults_and_the_edge_is_said_to_be_near() -> None:
    row = next(r for r in QUESTIONS if "34" in r["question"])
    assert any("20 to 22" in caution for caution in compare(tokens_of(row), question_of(row)).cautions)
    spread = [
        TokenValue(7000.0 + d, "S", "initial", "", "word", "model", "open-adult/1") for d in (-400, -200, 0, 200, 400)
    ]
    near = compare(spread, question_of(row))
    assert near.placement == "within" and any("token error" in caution for caution in near.cautions)


@pytest.mark.parametrize("code", ["minor", "band", "protocol", "position"])
def test_what_must_never_be_compared_never_is(code: str) -> None:
    """Every shipped value, asked with everything right but one thing: always refused, with that reason."""
    asked = 0
    for row in all_ranges():
        if row.use != "value" or (not is_spectral(row) and code in ("band", "protocol")):
            continue
        right = {
            "age_months": 240,
            "group": row.population.sex if row.population.sex in ("f", "m") else None,
            "position": row.circumstances.position,
            "cluster": row.circumstances.cluster,
            "level": row.circumstances.level,
            "cue": row.circumstances.cue,
            "method": row.method,
            "n_tokens": 20,
        }
        wrong = {
            "minor": {"age_months": 215},
            "band": {"method": "house-7k"},
            "protocol": {"method": "house-15k"},
            "position": {"position": "final"},
        }[code]
        if row.phone not in ("S", "SH", "Z", "ZH"):
            continue
        if code == "position" and row.circumstances.position in ("any", "final"):
            continue
        answer = find(Question(row.measure, row.phone, **{**right, **wrong}))  # type: ignore[arg-type]
        assert row not in answer.fits
        codes = {r.code for each in answer.refused if each.range is row for r in each.reasons}
        alike = {"band", "protocol", "protocol_unknown"} if code in ("band", "protocol") else {code}
        assert codes & alike, (row, codes)
        asked += 1
    assert asked > 20


def test_an_adult_band_never_reaches_a_minor_by_any_road() -> None:
    ages = [*range(0, 216, 5), 215]
    for months in ages:
        for measure in ("centroid_hz", "duration_ms", "skewness", "peak_hz"):
            for group in ("f", "m", None):
                answer = find(Question(measure, age_months=months, group=group, orientation=True, listing=True))
                assert not any(row.population.adult for row in (*answer.fits, *answer.orientation))


def test_orientation_strip_only_when_asked_and_only_at_6_to_13() -> None:
    def strip(age: str, **more: object) -> list[str]:
        asked = Question("centroid_hz", age_months=read_age(age), group="f", position="initial", **more)  # type: ignore
        return [row.basis.rows[0] for row in find(asked).orientation]

    assert strip("7y4m") == []
    assert strip("7y4m", orientation=True) == ["k001", "k151"]
    assert strip("13y11m", orientation=True) == ["k061", "k187"]
    assert strip("5y11m", orientation=True) == [] == strip("14y", orientation=True)
    assert strip("7y4m", orientation=True, method="house-15k") == []
    assert strip("7y4m", orientation=True, own_baseline=True) == []


def test_below_ten_speakers_there_is_no_band() -> None:
    for row in all_ranges():
        if (row.population.n_speakers or 0) < 10:
            assert band_of(row) is None
