"""One word for one thing: declared once, read once, refused in one line where it is none."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pytest

from sibilant import store
from sibilant.errors import ListError, UsageError, WordError
from sibilant.lexicon import builtin_list, expect, list_names
from sibilant.ranges import Question, TokenValue, compare, read_own_ranges
from sibilant.tables import read_judgements, read_list
from sibilant.terms import Prompt, vocabulary
from sibilant.terms.clinic import Client, Session
from sibilant.terms.kept import Judgement
from sibilant.terms.vocabulary import CUE_LETTERS, CUES, HEARD, LEVELS, Vocabulary

DAY = dt.date(2026, 3, 2)
SETS = [each for each in vars(vocabulary).values() if isinstance(each, Vocabulary)]
M_PLUS = ("M+", "m+", "model with cue", "model with a cue", "Model-with-cue")


@pytest.mark.parametrize("words", SETS, ids=lambda words: words.of)
def test_every_word_reads_as_itself_however_it_is_typed(words: Vocabulary[str]) -> None:
    assert len(set(words)) == len(words) > 2
    for word in words:
        for typed in (word, f" {word.upper()} ", word.replace(" ", "-"), word.replace("_", " ")):
            assert words.read(typed) == word
    for spelling, word in words.others.items():
        assert words.read(spelling) == word
    for wrong in ("", "wrod", "nothing of the kind"):
        with pytest.raises(WordError, match="is none of") as refused:
            words.read(wrong)
        assert all(word in str(refused.value) for word in words) and "\n" not in str(refused.value)
        assert words.find(wrong) is None


def test_the_letters_are_the_trades() -> None:
    """S spontaneous, D delayed model, M direct model, M+ model with a further cue, J joint production (common practice,
    no source)."""
    assert dict(CUE_LETTERS) == {
        "S": "spontaneous", "D": "delayed model", "M": "model", "M+": "model with a cue", "J": "joint",
    }  # fmt: skip
    assert CUES.read("direct model") == "model" and CUES.read("joint production") == "joint"


@pytest.mark.parametrize(
    ("field", "wrong"), [("level", "wrod"), ("cue", "loud"), ("phase", "later"), ("keep", "some"), ("phase", "")]
)
def test_a_session_with_a_word_that_is_none_is_never_born(field: str, wrong: str) -> None:
    with pytest.raises(UsageError, match=rf"'{wrong}' is none of"):
        Session("C-7QXK", 1, DAY, **{field: wrong})


def test_nouns_hold_the_one_word() -> None:
    assert Session("C-7QXK", 1, DAY, level="Words", cue="M+").cue == "model with a cue"  # type: ignore[arg-type]
    assert {Prompt("seal", cue=cue).cue for cue in M_PLUS} == {"model with a cue"}  # type: ignore[arg-type]
    judged = Judgement("1.1.1", "no response", "R1", dt.datetime(2026, 3, 2), cue="m+")  # type: ignore[arg-type]
    assert (judged.heard, judged.cue) == ("no_response", "model with a cue")
    for made in (lambda: Prompt("seal", level="wrod"), lambda: expect("seal", cue="loud")):  # type: ignore[arg-type]
        with pytest.raises(WordError):
            made()


def test_lists_and_judgements_say_the_line(tmp_path: Path) -> None:
    path = tmp_path / "list.csv"
    path.write_text("word,level,cue\nseal,Word,M+\nbus,,d\n", encoding="utf-8")
    assert [(row.level, row.cue) for row in read_list(path)] == [("word", "model with a cue"), ("", "delayed model")]
    path.write_text("word,level\nseal,word\nbus,wrod\n", encoding="utf-8")
    with pytest.raises(ListError, match=r"list\.csv: line 3: level 'wrod' is none of isolation, syllable, word"):
        read_list(path)
    path.write_text("prompt_index,attempt,slot,accuracy\n1,1,1,No response\n", encoding="utf-8")
    assert read_judgements(path)[0].accuracy == "no_response"
    path.write_text("prompt_index,attempt,slot,accuracy\n1,1,1,fine\n", encoding="utf-8")
    with pytest.raises(ListError, match="line 2: accuracy 'fine' is none of correct, approximation"):
        read_judgements(path)


@pytest.mark.parametrize("kept", M_PLUS)
@pytest.mark.parametrize("asked", M_PLUS)
def test_a_kept_cue_matches_a_range_of_ones_own(kept: str, asked: str, tmp_path: Path) -> None:
    """Whatever either was written as; and a range for another cue still fits none of it."""
    path = tmp_path / "own.csv"
    head = "measure,phone,mean,sd,n_speakers,age_low_y,age_high_y,sex,population,position,cue,method,citation,level"
    for cue, fits in ((asked, True), ("spontaneous", False)):
        row = f"centroid_hz,s,7000,500,20,7,8,both,invented data,initial,{cue},house-15k,Invented data,word"
        path.write_text(f"{head}\n{row}\n", encoding="utf-8")
        question = Question("centroid_hz", age_months=88, group="f", position="initial", level="word", cue=kept)
        values = [TokenValue(6900.0 + i, "S", "initial", "", "word", kept, "house-15k/2") for i in range(6)]
        found = compare(values, question, own=read_own_ranges(path))
        assert (found.range is not None) is fits


def test_older_caseloads_are_read_as_before(tmp_path: Path) -> None:
    """A level that was taken unchecked stays kept, and is told in the note; canonical words are what they were."""
    import sqlalchemy as sa

    from sibilant.store.schema import SESSIONS

    with store.open_caseload(tmp_path / "caseload") as one:
        store.add_client(one, Client("C-7QXK", 80, DAY))
        for number in (1, 2):
            session = Session("C-7QXK", 0, DAY, cue="M+", note="calm")  # type: ignore[arg-type]
            made = store.NewRecording(f"{number:064d}", 44100, 3.0, {})
            store.keep_session(one, store.NewSession(session, (expect("seal"),), (made,), ()))
        with one.change("as an older program kept it", "C-7QXK") as connection:
            older = {"level": "my own level", "cue": "model with cue"}
            connection.execute(sa.update(SESSIONS).where(SESSIONS.c.number == 2).values(**older))
        first, second = store.sessions(one, "C-7QXK")
    assert (first.level, first.cue, first.note) == ("word", "model with a cue", "calm")
    assert (second.level, second.cue, second.note) == ("", "model with a cue", "calm; level as kept: my own level")


def test_all_built_in_lists_are_of_known_levels() -> None:
    seen = {prompt.level for name in list_names() for prompt in builtin_list(name)}
    assert {"word", "sentence"} <= seen <= set(LEVELS)


def test_no_room_keeps_a_list_of_its_own() -> None:
    """Tuples and sets of four or more words of one vocabulary stand in its own file and nowhere else."""
    import ast

    root = Path(vocabulary.__file__).parents[2]
    for path in sorted([*(root / "sibilant").rglob("*.py"), *(root / "cli").rglob("*.py")]):
        if path == Path(vocabulary.__file__):
            continue
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Tuple | ast.Set | ast.List):
                held = {item.value for item in node.elts if isinstance(item, ast.Constant)}
                copied = [words.of for words in SETS if len(held) >= 4 and held == set(words)]
                assert not copied, f"{path.relative_to(root)}:{node.lineno} lists {copied[0]} again"


def test_judgements_are_refused_in_the_same_words() -> None:
    with pytest.raises(ValueError, match=r"accuracy 'fine' is none of"):
        Judgement("1.1.1", "fine", "R1", dt.datetime(2026, 3, 2))  # type: ignore[arg-type]
    assert HEARD.read("Correct") == "correct"
