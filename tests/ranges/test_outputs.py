"""Every value shown anywhere carries its source: all outputs of this room are walked."""

from __future__ import annotations

import importlib.util
import itertools
import json
import re
from pathlib import Path

import pytest
from sibilant_cli import main

from sibilant.ranges import (
    Question,
    TokenValue,
    all_ranges,
    comparisons,
    describe_comparison,
    describe_range,
    unsourced_in_rows,
    unsourced_in_text,
)
from sibilant.ranges.tables import read_sources

DOCS = Path(__file__).parents[2] / "docs"
JUDGING = re.compile(r"\b(correct|incorrect|disordered|abnormal|better|worse|impaired|diagnos\w*)\b", re.IGNORECASE)
SHOWN = [row for row in all_ranges() if row.use != "background"]
ASKED = [
    ["--phone", phone, *age, *group, *more]
    for phone, age, group, more in itertools.product(
        ("s", "sh", "z"),
        ([], ["--age", "7y4m"], ["--age", "34y"]),
        ([], ["--group", "f"], ["--group", "m"]),
        (
            [],
            ["--orientation", "--position", "initial"],
            ["--own-baseline"],
            ["--method", "house-15k", "--cue", "model"],
        ),
    )
]


def said(capsys: pytest.CaptureFixture[str], *arguments: str) -> tuple[int, str, str]:
    with pytest.raises(SystemExit) as left:
        main(list(arguments))
    out, err = capsys.readouterr()
    return int(left.value.code or 0), out, err


@pytest.fixture(autouse=True)
def no_ranges_of_ones_own(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("SIBILANT_CASELOAD", str(tmp_path / "caseload"))


OWN_ROW = {"measure": "centroid_hz", "phone": "s", "mean": "7000", "sd": "500", "n_speakers": "20", "age_low_y": "6",
           "age_high_y": "8", "sex": "both", "population": "Invented data – not a person", "position": "any",
           "cue": "any", "method": "house-15k", "citation": "Invented data – not a person"}  # fmt: skip


@pytest.mark.parametrize("place", ["environment", "usual"])
def test_ranges_added_without_a_folder_are_those_a_report_reads(
    place: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """One resolver of the place, whether ``SIBILANT_CASELOAD`` names it or it is the user's data folder."""
    from sibilant.clinic import report

    if place == "usual":
        monkeypatch.delenv("SIBILANT_CASELOAD")
        monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    path = tmp_path / "own.csv"
    path.write_text(f"{','.join(OWN_ROW)}\n{','.join(OWN_ROW.values())}\n", encoding="utf-8")
    assert said(capsys, "ranges", "add", str(path))[0] == 0
    assert said(capsys, "client", "add", "--age", "7y0m", "--code", "C-7QXK")[0] == 0
    asked: list[object] = []
    real = report.own_ranges
    monkeypatch.setattr(report, "own_ranges", lambda caseload: asked.append(real(caseload)) or asked[-1])
    assert said(capsys, "report", "C-7QXK", "--to", str(tmp_path / "r.html"))[0] == 0
    assert [[row.basis.citation for row in rows] for rows in asked] == [[OWN_ROW["citation"]]]


@pytest.mark.parametrize("asked", ASKED, ids=" ".join)
def test_json_and_terminal(capsys: pytest.CaptureFixture[str], asked: list[str]) -> None:
    code, out, err = said(capsys, "ranges", "list", *asked, "--json")
    document = json.loads(out)
    assert code == 0 and err == "" and document["answers"]
    assert unsourced_in_rows(document) == []
    code, text, err = said(capsys, "ranges", "list", *asked)
    assert code == 0 and err == ""
    assert unsourced_in_text(text, SHOWN) == []
    assert not JUDGING.search(text)
    assert 1 <= len(text.strip().splitlines()) <= 3, "a short answer; the long list is for --all"
    code, text, err = said(capsys, "ranges", "list", *asked, "--all")
    assert code == 0 and err == ""
    assert unsourced_in_text(text, SHOWN) == []
    assert not JUDGING.search(text)
    if "7y4m" in asked:
        shown = [row for answer in document["answers"] for row in (*answer["fits"], *answer["orientation"])]
        assert all("child" in row["population"] for row in shown)
        refused = [row for answer in document["answers"] for row in answer["refused"]]
        assert all(row["mean"] is None and row["band"] is None and row["figures"] == "not shown" for row in refused)
        assert "6970" not in text and "8662" not in text
        norms = {row["source"][:5] for row in document["acquisition"]}
        assert norms == {"Crowe", "Smit,"}
        assert "treated /s z/ specially" in text and "lateral or palatal" in text
    if "--own-baseline" in asked:
        assert document["none_fits"]


def test_comparisons_as_rows_and_as_text() -> None:
    for group, method, value in itertools.product(
        ("f", "m", None), ("open-adult", "open-adult-11k", "house-15k"), (6000.0, 8500.0)
    ):
        tokens = [TokenValue(value, "S", "initial", "", "word", "model", f"{method}/1")] * 8
        asked = Question("centroid_hz", age_months=300, group=group, position="initial", level="word", cue="model")
        for made in comparisons(tokens, asked):
            row = describe_comparison(made)
            assert unsourced_in_rows(row) == []
            assert json.loads(json.dumps(row, allow_nan=False)) == row
            if made.range is not None and made.placement != "not comparable":
                assert made.range.basis.citation in made.statement and made.range.population.words in made.statement


def test_every_row_described_alone() -> None:
    assert unsourced_in_rows([describe_range(row) for row in all_ranges()]) == []


def test_the_page_names_every_row_and_every_source() -> None:
    spec = importlib.util.spec_from_file_location("make_ranges", DOCS / "make_ranges.py")
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    text = (DOCS / "ranges.md").read_text(encoding="utf-8")
    assert text == module.page(), "run: python docs/make_ranges.py"
    for row in all_ranges():
        assert f"| {module._rows(row.basis.rows)} |" in text
        assert row.basis.citation.replace("|", "/") in text
    assert all(f"| {key} |" in text for key in read_sources())
    assert sum(len(row.basis.rows) for row in all_ranges()) == 791


def test_the_checker_can_fail() -> None:
    row = next(r for r in all_ranges() if r.measure == "centroid_hz")
    shown = describe_range(row)
    for name in ("source", "population", "obtained", "label"):
        assert unsourced_in_rows({**shown, name: ""})
    assert unsourced_in_rows({"deep": [{"placement": "within", "range": shown}]})
    assert unsourced_in_text("The band is 6970 Hz to 10354 Hz for a new speaker.", [row])
    assert not unsourced_in_text("Nothing here.", [row])


@pytest.mark.parametrize(
    ("arguments", "code", "text"),
    [
        (["list", "--age", "seven"], 2, "7y4m"),
        (["list", "--group", "boys"], 2, "f or m"),
        (["list", "--position", "front"], 2, "initial"),
        (["list", "--measure", "sharpness"], 2, "not known"),
        (["list", "--phone", "f"], 2, "s, z, sh or zh"),
        (["list", "--method", "house-99k"], 3, "house-15k"),
        (["add", "nowhere.csv"], 3, "nowhere.csv"),
        (["add"], 2, "FILE"),
    ],
)
def test_what_is_wrong_is_said_in_one_line(
    capsys: pytest.CaptureFixture[str], arguments: list[str], code: int, text: str
) -> None:
    left, out, err = said(capsys, "ranges", *arguments)
    assert left == code and out == "" and text in err and "Traceback" not in err
    assert code == 2 or err.count("\n") == 1


def test_a_range_of_ones_own_by_the_command(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    head = "measure,phone,mean,sd,n_speakers,age_low_y,age_high_y,sex,population,position,cue,method,citation"
    row = "centroid_hz,s,7000,500,24,7,8,both,Invented data – not a person,initial,any,house-15k,Invented source (2020)"
    given = tmp_path / "mine.csv"
    given.write_text(f"{head}\n{row}\n", encoding="utf-8")
    code, out, _ = said(capsys, "ranges", "add", str(given))
    assert code == 0 and "1 added" in out and "entered by the user" in out and "Invented source (2020)" in out
    code, out, _ = said(capsys, "ranges", "list", "--age", "7;4", "--measure", "centroid_hz", "--json")
    document = json.loads(out)
    assert [each["obtained"] for each in document["answers"][0]["fits"]] == ["yours"]
    assert unsourced_in_rows(document) == []
    assert "nothing added" in said(capsys, "ranges", "add", str(given))[1]
    assert json.loads(said(capsys, "ranges", "add", str(given), "--json")[1]) == {"added": []}
