"""Whose voice after a model: confirmed as a set after hearing the least certain, taken back, the unsure one by one.

Invented data – not a person.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from types import ModuleType

import pytest
from sibilant_cli.main import run

from sibilant import store
from sibilant.clinic import exchange, sessions, voices
from sibilant.clinic.caseload import CaseloadHandle
from sibilant.errors import RefusedError
from sibilant.terms.clinic import Case, Session
from sibilant.terms.kept import KeptToken

AT = "C-7QXK"
CONFIDENCE = {4: 0.91, 7: 0.92, 11: 0.93}
DOUBTED, TWICE = 15, 18


def reply(material: ModuleType, token: KeptToken, place: int) -> KeptToken:
    """A reply after a model, that waits; three are less certain, one is not sure to be the word."""
    assert token.sound.utterance is not None
    spoken = replace(
        token.sound.utterance, voice="unsure", confidence=CONFIDENCE.get(place, 0.99), sure=place != DOUBTED, attempt=2
    )
    return material.changed(token, id=f"{place + 1}.2.1", utterance=spoken)


@pytest.fixture
def folder(tmp_path: Path, material: ModuleType) -> Path:
    """One session: a model and a reply for each of twenty words; to one word there are two replies."""
    tokens = []
    for place in range(20):
        tokens.append(material.token(place, {"centroid_hz": 5000.0}, voice="other", counts=False))
        tokens.append(reply(material, material.token(place, {"centroid_hz": 6000.0 + place}), place))
    again = reply(material, material.token(TWICE, {"centroid_hz": 6000.0}), TWICE)
    assert again.sound.utterance is not None
    spoken = replace(again.sound.utterance, attempt=3, counts=False)
    tokens.append(material.changed(again, id=f"{TWICE + 1}.3.1", utterance=spoken))
    with store.open_caseload(tmp_path / "case") as one:
        store.add_client(one, material.client())
        prompts = tuple(material.prompt_of(i) for i in range(20))
        session = Session(AT, 0, material.DAY, cue="model", modelled=True, list_form="core-a")
        store.keep_session(one, store.NewSession(session, prompts, (), material.new_sounds(tokens, None)))
    return tmp_path / "case"


def case_of(folder: Path) -> Case:
    with store.open_caseload(folder) as one:
        return store.read_case(one, AT)


def voices_of(folder: Path) -> list[str]:
    spoken = [token.sound.utterance for token in case_of(folder).tokens]
    return [each.voice for each in spoken if each is not None]


def test_the_least_certain_are_heard_first_and_the_unsure_stay_one_by_one(folder: Path) -> None:
    found = voices.waiting(CaseloadHandle(folder), AT, 1)
    assert [one["prompt_index"] for one in found["hear"]] == [5, 8, 12], "the three of least confidence"
    assert found["n"] == 18 and len(found["one_by_one"]) == 2 and found["confirmed"] == 0
    keys = [one["key"] for one in found["hear"]]
    for heard in ([], keys[:2], ["1.2.1", "2.2.1", "3.2.1"]):
        with pytest.raises(RefusedError, match="hear the least certain replies first"):
            voices.confirm_set(CaseloadHandle(folder), AT, 1, heard=heard, rater="R1")
    assert voices_of(folder).count("client") == 0


def test_a_set_is_kept_as_a_set_and_can_be_taken_back(folder: Path) -> None:
    keys = [one["key"] for one in voices.waiting(CaseloadHandle(folder), AT, 1)["hear"]]
    assert voices.confirm_set(CaseloadHandle(folder), AT, 1, heard=keys, rater="R1")["confirmed"] == 18
    case = case_of(folder)
    assert voices_of(folder).count("client") == 18 and voices_of(folder).count("unsure") == 3
    said = [token for token in case.tokens if token.corrections]
    assert len(said) == 18 and {token.corrections[0].by for token in said} == {"R1 (as a set)"}
    assert sessions.list_sessions(CaseloadHandle(folder), AT)[0]["checked"].startswith("0 of"), "nobody looked at each"
    with store.open_caseload(folder) as one:
        trail = [entry.detail for entry in store.audit_trail(one, AT) if entry.action == "reviewed"]
    assert len(trail) == 1 and "18 tokens by R1 (as a set)" in trail[0]
    with pytest.raises(RefusedError, match="no reply waits"):
        voices.confirm_set(CaseloadHandle(folder), AT, 1, heard=keys, rater="R1")

    assert voices.undo_set(CaseloadHandle(folder), AT, 1, rater="R2")["taken_back"] == 18
    assert voices_of(folder).count("client") == 0 and voices.waiting(CaseloadHandle(folder), AT, 1)["n"] == 18
    with store.open_caseload(folder) as one:
        assert sum(entry.action == "reviewed" for entry in store.audit_trail(one, AT)) == 2, "both words stay"
    with pytest.raises(RefusedError, match="nothing stands confirmed"):
        voices.undo_set(CaseloadHandle(folder), AT, 1)


def test_on_the_terminal_a_no_to_one_of_the_three_confirms_nothing(
    folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    at = ["review", AT, "1", "--voices", "--rater", "R1", "--caseload", str(folder)]
    answers = iter([True, False, True])
    monkeypatch.setattr("click.confirm", lambda *args, **more: next(answers))
    assert run(at) == 3 and "not heard yet" in capsys.readouterr().err
    monkeypatch.setattr("click.confirm", lambda *args, **more: True)
    assert run(at) == 0
    captured = capsys.readouterr()
    assert "18 replies confirmed as a set" in captured.out and "one by one" in captured.err
    exchange.export_client(CaseloadHandle(folder), AT, tmp_path / "out")  # its trail is no person's name
    assert run([*at, "--undo"]) == 0 and "18 tokens wait again" in capsys.readouterr().out
    assert run(["review", AT, "1", "--caseload", str(folder)]) == 2
