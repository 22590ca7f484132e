"""Ranges from one's own recordings: planted values come back, and what must not become a range doesn't.

Invented data – not a person.
"""

from __future__ import annotations

import csv
import json
import math
from pathlib import Path

import numpy as np
import pytest
from scipy import stats
from sibilant_cli import main

from sibilant.errors import RangeError
from sibilant.ranges import (
    Question,
    all_ranges,
    compare,
    describe_comparison,
    find,
    outside_one_of,
    own_ranges_csv,
    read_own_ranges,
)
from sibilant.ranges.band import band_of
from sibilant.ranges.build import Origin, build_ranges
from sibilant.ranges.compare import TokenValue, beside

ORIGIN = Origin("table.csv", "ab" * 32, "typical, no history of therapy")
BETWEEN, WITHIN = 600.0, 400.0


def rows(n_speakers: int = 20, n_each: int = 20, *, seed: int = 1, **changed: str) -> list[dict[str, str]]:
    """A cell's rows: speakers about 7000 Hz with SD 600, sounds within them with SD 400."""
    random = np.random.default_rng(seed)
    found = []
    for i in range(n_speakers):
        own = 7000 + random.normal(0, BETWEEN)
        for _ in range(n_each):
            row = {"speaker": f"k{seed}-{i:02d}", "phone": "S", "position": "initial", "cluster": "", "level": "word",
                   "cue": "spontaneous", "method": "house-15k/2", "band_low_hz": "1000", "band_high_hz": "15000",
                   "device": "desk", "age_low_y": "7", "age_high_y": "7", "sex": "f", "finding": "found",
                   "voice": "client", "flags": "", "centroid_hz": f"{own + random.normal(0, WITHIN):.1f}"}  # fmt: skip
            found.append(row | changed)
    return found


def test_twelve_cells_of_twenty_speakers_give_the_planted_values() -> None:
    """Twelve cells (ages by sex) x 20 speakers; band by scipy's own t quantile (mean -+ t sd sqrt(1 + 1/n))."""
    table = []
    for seed, (age, sex) in enumerate(((age, sex) for age in range(5, 11) for sex in "fm"), start=1):
        table += rows(seed=seed, age_low_y=str(age), age_high_y=str(age), sex=sex)
    made = build_ranges(table, "speaker", ORIGIN)
    assert len(made.ranges) == 12 and not made.left_out
    expected_sd = math.sqrt(BETWEEN**2 + WITHIN**2 / 20)
    assert np.mean([one.mean for one in made.ranges]) == pytest.approx(7000, abs=3 * expected_sd / math.sqrt(240))
    assert np.sqrt(np.mean([one.sd**2 for one in made.ranges])) == pytest.approx(expected_sd, rel=0.14)
    assert np.sqrt(np.mean([one.sd_within**2 for one in made.ranges])) == pytest.approx(WITHIN, rel=0.03)
    one = made.ranges[0]
    own: dict[str, list[float]] = {}
    for row in table[:400]:
        own.setdefault(row["speaker"], []).append(float(row["centroid_hz"]))
    means = [np.mean(values) for values in own.values()]
    first = next(r for r in made.ranges if r.mean == pytest.approx(np.mean(means)))
    reach = stats.t.ppf(0.975, 19) * np.std(means, ddof=1) * math.sqrt(1 + 1 / 20)
    assert band_of(first) == pytest.approx((np.mean(means) - reach, np.mean(means) + reach))
    assert (one.method, one.sounds_each, one.population.n_speakers) == ("house-15k", 20, 20)
    assert "desk" in one.basis.note and "ab" * 32 in one.basis.note


def test_nine_speakers_give_no_band() -> None:
    made = build_ranges([*rows(9), *rows(10, seed=2, sex="m")], "speaker", ORIGIN)
    assert [one.population.sex for one in made.ranges] == ["m"]
    assert "9 speakers" in made.left_out[0]


@pytest.mark.parametrize(
    "changed", [{"method": "house-10k/2"}, {"method": "house-15k/1"}, {"band_high_hz": "10000"}, {"method": ""}]
)
def test_a_hidden_method_mix_is_refused(changed: dict[str, str]) -> None:
    with pytest.raises(RangeError, match="methods mixed or not named"):
        build_ranges([*rows(15), *rows(5, seed=2, **changed)], "speaker", ORIGIN)


def test_clients_are_in_therapy_and_never_typical() -> None:
    table = rows(12)
    codes = ["C-7QXK", *(f"k{i}" for i in range(11))]
    for place, row in enumerate(table):
        row["speaker"] = codes[place // 20]
    (made,) = build_ranges(table, "speaker", ORIGIN).ranges
    assert made.population.description == "in therapy" and made.use == "background"
    asked = Question("centroid_hz", age_months=88, group="f", position="initial", listing=True)
    assert made not in find(asked, own=(made,)).fits
    (typical,) = build_ranges(rows(12), "speaker", ORIGIN).ranges
    assert typical in find(asked, own=(typical,)).fits


def test_population_must_be_said() -> None:
    with pytest.raises(RangeError, match="who the speakers are is not said"):
        build_ranges(rows(12), "speaker", Origin("table.csv", "00"))


def test_what_was_built_is_read_back_the_same(tmp_path: Path) -> None:
    for population in ("typical", "in therapy"):
        (made,) = build_ranges(rows(12), "speaker", Origin("table.csv", "cd" * 32, population)).ranges
        (tmp_path / "ranges.csv").write_text(own_ranges_csv([made]), encoding="utf-8")
        assert read_own_ranges(tmp_path / "ranges.csv") == (made,)


def test_band_knows_how_many_sounds_a_mean_rests_on() -> None:
    """Typical speakers with five sounds each, against a range of twenty each: outside in 5 %, not in more."""
    random = np.random.default_rng(3)
    outside = {5: [], 20: []}
    plain = []
    for seed in range(60):
        (made,) = build_ranges(rows(20, seed=100 + seed), "speaker", ORIGIN).ranges
        for n, found in outside.items():
            means = 7000 + random.normal(0, math.sqrt(BETWEEN**2 + WITHIN**2 / n), 200)
            low, high = band_of(made, n_sounds=n)  # type: ignore[misc]
            found.append(np.mean((means < low) | (means > high)))
            if n == 5:
                low, high = band_of(made)  # type: ignore[misc]
                plain.append(np.mean((means < low) | (means > high)))
    assert np.mean(outside[5]) == pytest.approx(0.05, abs=0.015)
    assert np.mean(outside[20]) == pytest.approx(0.05, abs=0.015)
    assert np.mean(plain) > np.mean(outside[5])


def test_every_spectral_placement_speaks_of_the_microphone() -> None:
    (made,) = build_ranges(rows(20), "speaker", ORIGIN).ranges
    values = [TokenValue(7000.0 + 10 * i, "S", "initial", "", "word", "spontaneous", "house-15k/2") for i in range(6)]
    placed = beside(made, values, Question("centroid_hz", age_months=88, group="f", position="initial"))
    assert placed.placement == "within" and any("microphone" in one for one in placed.cautions)


def test_chance_to_fall_outside_one_of_several() -> None:
    assert outside_one_of(5) == pytest.approx(1 - 0.95**5)


def ask(arguments: list[str]) -> None:
    with pytest.raises(SystemExit) as left:
        main(arguments)
    assert not left.value.code


def test_command_builds_and_lists_in_short(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    table = rows(12)
    with (tmp_path / "table.csv").open("w", newline="", encoding="utf-8") as stream:
        writer = csv.DictWriter(stream, list(table[0]))
        writer.writeheader()
        writer.writerows(table)
    where = ["--caseload", str(tmp_path / "caseload")]
    asked = ["build", str(tmp_path / "table.csv"), "--speaker", "speaker", "--population", "typical", "--json"]
    ask(["ranges", *asked, *where])
    assert len(json.loads(capsys.readouterr().out)["added"]) == 1
    about = ["ranges", "list", "--group", "f", "--measure", "centroid_hz", *where]
    ask([*about, "--age", "7y4m"])
    lines = capsys.readouterr().out.strip().splitlines()
    assert len(lines) <= 3 and lines[0].startswith("fits: centroid_hz") and "own recordings" in lines[0]
    ask([*about, "--age", "12y"])
    lines = capsys.readouterr().out.strip().splitlines()
    assert 2 <= len(lines) <= 3 and lines[0].startswith("none fits: ")
    ask([*about, "--age", "12y", "--all"])
    assert len(capsys.readouterr().out.splitlines()) > 10


def test_a_side_that_no_value_can_leave_is_not_shown() -> None:
    """Excess kurtosis is never below -2 (fourth over squared second moment is at least 1; textbook, from memory)."""
    asked = Question("excess_kurtosis", age_months=252, group="f", position="initial", level="word", cue="model")
    tokens = [TokenValue(2.0 + 0.01 * i, "S", "initial", "", "word", "model", "open-adult/1") for i in range(12)]
    placed = compare(tokens, asked)
    assert placed.placement == "within" and placed.band is not None and placed.band[0] < -2
    told = describe_comparison(placed)
    assert told["band"]["low"] is None and told["band"]["high"] == pytest.approx(6.39, abs=0.01)
    assert "(up to 6.39 (the lower side cannot be left)" in placed.statement and "-2.07" not in placed.statement


def test_shipped_values_of_like_recordings_know_how_many_sounds_a_speaker_gave() -> None:
    """The source gives both spreads and about 31 sounds each: sqrt(713^2 - 686^2/31 + 686^2/12) = 729.7 by hand."""
    row = next(r for r in all_ranges() if r.measure == "centroid_hz" and r.method == "open-adult" and r.phone == "S")
    assert (row.sd, row.sd_within, row.sounds_each) == (713.0, 686.0, 31.0)
    low, high = band_of(row, n_sounds=12)  # type: ignore[misc]
    assert (high - low) / 2 == pytest.approx(stats.t.ppf(0.975, 9) * math.sqrt(1.1) * 729.7, rel=1e-3)
    tokens = [TokenValue(8000.0 + i, "S", "initial", "", "word", "model", "open-adult/1") for i in range(12)]
    asked = Question("centroid_hz", age_months=252, group="f", position="initial", level="word", cue="model")
    assert not any("how many the source" in one for one in compare(tokens, asked).cautions)
