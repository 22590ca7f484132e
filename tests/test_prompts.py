"""What was to be said, read the same way on the command line, in a list and in a manifest's cell."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from sibilant import corpus, prompts
from sibilant.audio import write_wav
from sibilant.corpus.manifest import planned
from sibilant.errors import InputError, LexiconError, UsageError
from sibilant.synthetic import child_speaker, say

SAID = {
    '"yes, sir", bus': ["yes, sir", "bus"],
    "seal, bus,fossil": ["seal", "bus", "fossil"],
    '  seal ,"miss  Sam" ': ["seal", "miss Sam"],
    '"a nice, icy seal"': ["a nice, icy seal"],
}


def by_manifest(folder: Path, cell: str) -> tuple[list[str], str]:
    with (folder / "manifest.csv").open("w", encoding="utf-8", newline="") as stream:
        csv.writer(stream).writerows([["recording", "prompts"], ["one.wav", cell]])
    (piece,) = planned(corpus.CorpusRequest(folder / "manifest.csv", folder / "out")).pieces
    return [prompt.text for prompt in piece.prompts], piece.problem


def by_list(folder: Path, texts: list[str]) -> list[str]:
    with (folder / "list.csv").open("w", encoding="utf-8", newline="") as stream:
        csv.writer(stream).writerows([["word"], *([text] for text in texts)])
    return [prompt.text for prompt in prompts.listed(str(folder / "list.csv"))]


@pytest.fixture()
def folder(tmp_path: Path) -> Path:
    made = say("S IY1 L", child_speaker(1), 1)
    write_wav(tmp_path / "one.wav", made.samples, made.sampling_rate_hz)
    return tmp_path


@pytest.mark.parametrize(("cell", "texts"), SAID.items())
def test_three_doors_one_reading(folder: Path, cell: str, texts: list[str]) -> None:
    assert [prompt.text for prompt in prompts.prompts_from(say=cell)] == texts
    assert by_manifest(folder, cell) == (texts, "")
    assert by_list(folder, texts) == texts


@pytest.mark.parametrize("cell", ["seal,,bus", ","])
def test_an_empty_prompt_is_refused_by_both(folder: Path, cell: str) -> None:
    with pytest.raises(UsageError, match="words with commas between them"):
        prompts.prompts_from(say=cell)
    texts, problem = by_manifest(folder, cell)
    assert not texts and "column prompts: words with commas between them" in problem


FAULTY = "word,phones,level\nseal,,word\nxqzt,,word\nbus,/b7s/,wrod\nblorf snarg,,phrase\n,s iy1 l,\nsun,a,b,c\n"


def test_all_faults_of_a_list_are_named_at_once(tmp_path: Path) -> None:
    (tmp_path / "list.csv").write_text(FAULTY, encoding="utf-8")
    with pytest.raises(InputError) as caught:
        prompts.listed(str(tmp_path / "list.csv"))
    line = str(caught.value)
    assert line.startswith("list.csv: ") and "\n" not in line and line.count("list.csv") == 1
    for fault in ("line 3: 'xqzt'", "'7' (DIGIT SEVEN)", "line 4: level 'wrod'", "line 5: 'blorf'", "'snarg'"):
        assert fault in line
    assert "line 6 has no word" in line and "line 7 has 4 cells" in line
    with pytest.raises(LexiconError, match=r"'xqzt' is not .*, 'blorf' is not"):
        prompts.prompts_from(say="xqzt, seal, blorf")
