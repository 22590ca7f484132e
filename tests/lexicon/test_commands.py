"""``sibilant expect`` and ``sibilant lists``."""

from __future__ import annotations

import csv
import io
import json

import pytest
from click.testing import CliRunner
from sibilant_cli import main

from sibilant.lexicon import builtin_list, expect


def said(capsys: pytest.CaptureFixture[str], *arguments: str) -> tuple[int, str, str]:
    code = main_run(list(arguments))
    out, err = capsys.readouterr()
    return code, out, err


def main_run(arguments: list[str]) -> int:
    with pytest.raises(SystemExit) as left:
        main(arguments)
    return int(left.value.code or 0)


def test_json_is_what_the_contract_says(capsys: pytest.CaptureFixture[str]) -> None:
    code, out, err = said(capsys, "expect", "straw", "use", "blorft", "--json")
    rows = json.loads(out)
    assert code == 0 and err == ""
    assert [(row["prompt"], row["known"]) for row in rows] == [("straw", True), ("use", True), ("blorft", False)]
    assert rows[0]["pronunciations"][0]["phones"] == "S T R AO1"
    sibilant = rows[0]["pronunciations"][0]["sibilants"][0]
    assert (sibilant["phone"], sibilant["position"], sibilant["cluster"]) == ("S", "initial", "str")
    assert "/s/ or /z/" in rows[1]["note"] and len(rows[1]["pronunciations"]) == 2
    assert rows[2]["pronunciations"] == []


def test_text_and_exit_codes(capsys: pytest.CaptureFixture[str]) -> None:
    code, out, _ = said(capsys, "expect", "moon", "blorft")
    assert code == 0 and "no sibilant expected" in out and "not known" in out
    code, out, err = said(capsys, "expect", "blorft")
    assert code == 3 and out == "" and err.count("\n") == 1 and "blorft" in err
    code, out, _ = said(capsys, "expect", "blorft", "--phones", "B L AO1 S T")
    assert code == 0 and "cluster st" in out
    assert said(capsys, "expect", "a", "b", "--phones", "S")[0] == 2
    assert said(capsys, "expect")[0] == 2


def test_lists(capsys: pytest.CaptureFixture[str]) -> None:
    code, out, _ = said(capsys, "lists")
    assert code == 0 and "core-a" in out and "foils" in out
    code, out, _ = said(capsys, "lists", "core-a")
    assert [line.split()[0] for line in out.splitlines()] == [p.text for p in builtin_list("core-a")]
    code, _, err = said(capsys, "lists", "nonsense")
    assert code == 3 and err.count("\n") == 1
    assert len(json.loads(said(capsys, "lists", "three-a", "--json")[1])) == 5
    assert said(capsys, "lists", "--csv")[0] == 2


@pytest.mark.parametrize("name", ["core-a", "sentences", "passage", "syllables", "sustained"])
def test_a_list_written_as_csv_reads_back_the_same(capsys: pytest.CaptureFixture[str], name: str) -> None:
    rows = list(csv.DictReader(io.StringIO(said(capsys, "lists", name, "--csv")[1])))
    again = [expect(r["word"], phones=r["phones"], target=r["target"], level=r["level"]) for r in rows]
    assert tuple(again) == builtin_list(name)


def test_help_ends_with_an_example() -> None:
    from sibilant_cli.expect import command as expect_command
    from sibilant_cli.lists import command as lists_command

    for command in (expect_command, lists_command):
        shown = CliRunner().invoke(command, ["--help"])
        assert shown.exit_code == 0 and "Example: sibilant" in shown.output
