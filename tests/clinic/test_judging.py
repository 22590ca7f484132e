"""Judging by ear: one by one, blind, from a file; agreement; nothing but a person makes a judgement."""

from __future__ import annotations

import ast
from dataclasses import replace
from pathlib import Path
from types import ModuleType

import pytest
from sibilant_cli.main import run

from sibilant import store
from sibilant.clinic import agree, judge, sessions
from sibilant.clinic.caseload import CaseloadHandle
from sibilant.errors import ListError, UsageError
from sibilant.terms import Interval, Measurement, Prompt, Sound, Utterance

ROOT = Path(__file__).parents[2]


@pytest.fixture
def folder(tmp_path: Path, material: ModuleType) -> Path:
    """A caseload with one session of twenty words, a foil, and a prompt that was not heard."""
    folder = tmp_path / "case"
    tokens = [material.token(i, {"centroid_hz": 6000.0 + i}) for i in range(20)]
    foil = Prompt("tar", level="word")
    said = Utterance(foil, 21, 1, Interval(22.0, 22.4))
    heard = Sound("21.1", "none_expected", said, prompt_text="tar", prompt_index=21)
    missing = Sound("22.0.1", "prompt_missing", slot=material.slot_of(0), prompt_text="seal", prompt_index=22)
    sounds = (
        *material.new_sounds(tokens),
        store.NewSound(0, heard, (Measurement("21.1", material.METHOD),)),
        store.NewSound(0, missing),
    )
    prompts = (*(material.prompt_of(i) for i in range(20)), foil, material.prompt_of(0))
    with store.open_caseload(folder) as one:
        store.add_client(one, material.client())
        recording = store.NewRecording("a" * 64, 44100, 30.0, {})
        new = store.NewSession(replace(material.session(1), number=0), prompts, (recording,), sounds)
        store.keep_session(one, new)
    return folder


def write(path: Path, *rows: str) -> Path:
    """A JUDGEMENTS.csv."""
    head = "prompt_index,attempt,slot,accuracy,type,type2,substitute,certainty,cue,self_corrected,note"
    path.write_text("\n".join([head, *rows]) + "\n", encoding="utf-8")
    return path


def test_judgements_from_a_file_are_kept_whole(folder: Path, tmp_path: Path) -> None:
    path = write(
        tmp_path / "j.csv", "1,1,1,correct,,,,sure,,,", "2,1,1,distorted,lateral,whistled,,unsure,,yes,slushy",
        "3,1,1,substituted,,,TH,,,,", "21,1,1,added,,,,,,,", "22,1,1,no_response,,,,,,,",
    )  # fmt: skip
    done = judge.judge_from(CaseloadHandle(folder), "C-7QXK", 1, path, rater="R1")
    assert (done["kept"], done["correct"], done["scored"]) == (5, 1, 3)
    with store.open_caseload(folder) as one:
        found = {token.key: token.judgements for token in store.read_case(one, "C-7QXK").tokens}
    second = found["2.1.1"][0]
    assert second.types == ("lateral", "whistled") and second.certainty == "unsure" and second.self_corrected
    assert found["3.1.1"][0].substitute == "TH" and found["21.1"][0].heard == "added"
    assert found["22.0.1"][0].heard == "no_response"


def test_a_file_that_names_a_token_not_there_keeps_nothing(folder: Path, tmp_path: Path) -> None:
    path = write(tmp_path / "j.csv", "1,1,1,correct,,,,,,,", "1,3,1,correct,,,,,,,")
    with pytest.raises(ListError, match=r"j.csv: prompt_index 1, attempt 3, slot 1 is no token of session 1"):
        judge.judge_from(CaseloadHandle(folder), "C-7QXK", 1, path, rater="R1")
    with store.open_caseload(folder) as one:
        assert not any(token.judgements for token in store.read_case(one, "C-7QXK").tokens)


def test_blind_order_is_random_kept_and_shows_nothing_that_leads(folder: Path) -> None:
    first = judge.queue(CaseloadHandle(folder), "C-7QXK", 1, rater="R1", blind=True)
    again = judge.queue(CaseloadHandle(folder), "C-7QXK", 1, rater="R1", blind=True)
    other = judge.queue(CaseloadHandle(folder), "C-7QXK", 1, rater="R2", blind=True)
    keys = [one.key for one in first.left]
    assert keys == [one.key for one in again.left] and sorted(keys) == sorted(one.key for one in other.left)
    assert keys != [one.key for one in other.left] and keys != sorted(
        keys, key=lambda k: [int(p) for p in k.split(".")]
    )
    text = repr(first.left)
    assert "2026" not in text and "baseline" not in text and "600" not in text and "Hz" not in text
    judge.record(CaseloadHandle(folder), first, keys[0], "correct", line=88.0)
    left = judge.queue(CaseloadHandle(folder), "C-7QXK", 1, rater="R1", blind=True).left
    assert [one.key for one in left] == keys[1:] and left[0].place == 2


def test_a_second_pass_is_a_turn_of_its_own(folder: Path) -> None:
    first = judge.queue(CaseloadHandle(folder), "C-7QXK", 1, rater="R1")
    for place, one in enumerate(first.left):
        judge.record(
            CaseloadHandle(folder),
            first,
            one.key,
            "correct" if place % 3 else "distorted",
            types=() if place % 3 else ("lateral",),
        )
    second = judge.queue(CaseloadHandle(folder), "C-7QXK", 1, rater="R1", blind=True, share=0.5)
    assert second.turn == 2 and len(second.left) == 11
    for one in second.left:
        judge.record(CaseloadHandle(folder), second, one.key, "correct")
    (found,) = agree.agree(CaseloadHandle(folder), "C-7QXK")
    assert found["kind"] == "one rater twice" and found["n_tokens"] == 11
    rows = sessions.show_session(CaseloadHandle(folder), "C-7QXK", 1)["tokens"]
    assert rows[0]["heard"] == "distorted"  # the first pass stands; the second is for agreement only


def test_the_sounds_most_unlike_the_rest_are_told_only_of_judged_ones(folder: Path) -> None:
    assert sessions.unlike_in_session(CaseloadHandle(folder), "C-7QXK", 1)["tokens"] == []  # the ear first
    for one in (first := judge.queue(CaseloadHandle(folder), "C-7QXK", 1, rater="R1")).left:
        judge.record(CaseloadHandle(folder), first, one.key, "correct")
    rows = sessions.unlike_in_session(CaseloadHandle(folder), "C-7QXK", 1)["tokens"]
    assert len(rows) == 5 and all("the middle of" in str(row["unlike_the_rest_in"]) for row in rows)
    distances = [row["robust_sds"] for row in rows]
    assert distances == sorted(distances, reverse=True)


def test_agreement_of_two_raters_prints_every_figure_with_its_interval(folder: Path, tmp_path: Path) -> None:
    for rater, wrong in (("R1", {1, 2, 3, 4}), ("R2", {3, 4, 5})):
        rows = [f"{i},1,1,{'distorted' if i in wrong else 'correct'},,,,,,," for i in range(1, 21)]
        judge.judge_from(CaseloadHandle(folder), "C-7QXK", 1, write(tmp_path / "j.csv", *rows), rater=rater)
    (found,) = agree.agree(CaseloadHandle(folder), "C-7QXK")
    assert found["point_to_point"] == pytest.approx(17 / 20)
    # own arithmetic: po .85, pe = (16*17 + 4*3)/400 = .71, kappa (.85 - .71)/.29
    assert found["kappa"] == pytest.approx((0.85 - 0.71) / 0.29)
    assert found["point_low"] < 0.85 < found["point_high"] and found["kappa_low"] < found["kappa"] < found["kappa_high"]
    assert found["icc"] is None
    text = "\n".join(agree.lines(found))
    assert "point-to-point agreement: 0.85 (" in text and "kappa: 0.48 (" in text and "substantial" not in text


def test_places_on_a_line_give_an_intraclass_correlation(folder: Path, tmp_path: Path) -> None:
    """Against the six targets and two of the judges of Shrout & Fleiss 1979, by the same two-way formula."""
    from sibilant.progress import intraclass

    table = ((9, 2), (6, 1), (8, 4), (7, 1), (10, 5), (6, 2))
    for judge_place in (0, 1):
        path = tmp_path / "j.csv"
        rows = "".join(f"{i},1,1,correct,{row[judge_place]}\n" for i, row in enumerate(table, start=1))
        path.write_text("prompt_index,attempt,slot,accuracy,line\n" + rows, encoding="utf-8")
        judge.judge_from(CaseloadHandle(folder), "C-7QXK", 1, path, rater=f"R{judge_place}")
    (found,) = agree.agree(CaseloadHandle(folder), "C-7QXK")
    assert found["n_lines"] == 6 and found["icc"] == pytest.approx(intraclass(table).agreement)
    path.write_text("prompt_index,attempt,slot,accuracy,line\n1,1,1,correct,140\n", encoding="utf-8")
    with pytest.raises(ListError, match="0 to 100"):
        judge.judge_from(CaseloadHandle(folder), "C-7QXK", 1, path, rater="R1")


def test_a_word_unknown_is_refused_and_the_first_rater_is_r1(folder: Path) -> None:
    assert judge.queue(CaseloadHandle(folder), "C-7QXK", 1).rater == "R1"
    asked = judge.queue(CaseloadHandle(folder), "C-7QXK", 1, rater="R1")
    with pytest.raises(UsageError, match="is none of"):
        judge.record(CaseloadHandle(folder), asked, "1.1.1", "distorted", types=("lispy",))
    with pytest.raises(UsageError, match="0 to 100"):
        judge.record(CaseloadHandle(folder), asked, "1.1.1", "correct", line=140.0)


def test_one_by_one_on_the_terminal(
    folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    answers = iter(["c", "zzz", "d?", "lateral", "s", "TH", "a 65", "q"])
    monkeypatch.setattr("click.prompt", lambda *args, **more: next(answers))
    assert run(["judge", "C-7QXK", "1", "--rater", "R1", "--caseload", str(folder)]) == 0
    captured = capsys.readouterr()
    assert "1 of 22: seal, initial /s/" in captured.err and "4 of 21 judged" in captured.out
    with store.open_caseload(folder) as one:
        made = [j for token in store.read_case(one, "C-7QXK").tokens for j in token.judgements]
    assert [j.heard for j in made] == ["correct", "distorted", "substituted", "approximation"]
    assert made[1].certainty == "unsure" and made[1].types == ("lateral",) and made[2].substitute == "TH"
    assert made[3].line == 65.0


def test_only_what_a_person_says_becomes_a_judgement() -> None:
    """Over the source: a Judgement is made from a person's answer or from its own row, and nowhere else.

    The module that makes it reads no measures; the store inserts judgements in one place, and an import restores rows.
    """
    made, kept, inserted = set(), set(), set()
    for path in sorted((ROOT / "sibilant").rglob("*.py")):
        name = path.relative_to(ROOT / "sibilant").as_posix()
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call):
                called = ast.unparse(node.func)
                if called.split(".")[-1] == "Judgement":
                    made.add(name)
                if called.split(".")[-1] == "add_judgements":
                    kept.add(name)
                if called == "JUDGEMENTS.insert":
                    inserted.add(name)
    assert made <= {"clinic/judge.py", "store/judging.py", "demo/job.py"}
    assert kept <= {"clinic/judge.py", "demo/job.py"}
    assert inserted == {"store/judging.py"}
    source = (ROOT / "sibilant" / "clinic" / "judge.py").read_text(encoding="utf-8")
    names = {node.attr for node in ast.walk(ast.parse(source)) if isinstance(node, ast.Attribute)}
    assert "measures" not in names
    imported = {
        alias.name for node in ast.walk(ast.parse(source)) if isinstance(node, ast.ImportFrom) for alias in node.names
    }
    assert not imported & {"Measures", "MEASURES", "Spectrum", "analyse", "acoustics", "ranges", "suitability"}


def test_measuring_and_keeping_leave_no_judgement(folder: Path) -> None:
    import sqlalchemy as sa

    from sibilant.store.schema import JUDGEMENTS

    with store.open_caseload(folder) as one, one.read() as connection:
        assert connection.execute(sa.select(sa.func.count()).select_from(JUDGEMENTS)).scalar() == 0


def test_going_back_a_word_and_taking_a_change_back(
    folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """``b`` asks the word before again, ``z`` puts its mark before the last back; every mark stays in the trail."""
    said = iter(["c", "b", "o", "b", "z", "q"])
    monkeypatch.setattr("click.prompt", lambda *_, **__: next(said))
    assert run(["judge", "C-7QXK", "1", "--rater", "R1", "--caseload", str(folder)]) == 0
    assert marks_of_first(folder) == ["correct", "omitted", "correct"]
    assert "correct again" in capsys.readouterr().err

    said = iter(["", "x", "q"])
    assert run(["judge", "C-7QXK", "1", "--rater", "R1", "--again", "--caseload", str(folder)]) == 0
    assert "1 of" in (err := capsys.readouterr().err) and "now: correct" in err
    assert marks_of_first(folder) == ["correct", "omitted", "correct"], "left as it is"

    said = iter(["z", "q"])
    assert run(["judge", "C-7QXK", "1", "--rater", "R9", "--caseload", str(folder)]) == 0
    assert "gave no other mark before" in capsys.readouterr().err


def marks_of_first(folder: Path) -> list[str]:
    """What was heard in the first word, in the order it was kept."""
    with store.open_caseload(folder) as one:
        return [judgement.heard for judgement in store.read_case(one, "C-7QXK").tokens[0].judgements]
