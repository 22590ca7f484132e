"""What others do while a take is measured: nothing is lost, nothing left plain, nothing kept twice. Invented data."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

import numpy as np
import pytest

from sibilant import pipeline, store
from sibilant.clinic import encryption, take
from sibilant.clinic.caseload import CaseloadHandle
from sibilant.errors import RefusedError

RATE, CODE = 44_100, "C-7QXK"
PLAIN = {"echoCancellation": False, "noiseSuppression": False, "autoGainControl": False, "voiceIsolation": False}
GIVEN = {"listed": "word\nseal\nbus\n", "cue": "S", "keep": "words", "rate": RATE, "microphone": PLAIN}
CHANGED = "changed in another window while it was measured"


@pytest.fixture(scope="module")
def seal(spoken: Callable[..., Any]) -> np.ndarray:
    """One word, as the page would send it."""
    samples: np.ndarray = spoken("seal").samples
    return samples


@pytest.fixture
def begun(served: Any, seal: np.ndarray) -> dict[str, Any]:
    """A take of two words, the first of them said."""
    _, state = served.told("/do/take/begin?client=C-7QXK", GIVEN)
    status, state = said(served, state, seal)
    assert status == 200 and state["again"] == ""
    return state


def said(served: Any, state: dict[str, Any], samples: np.ndarray) -> tuple[int, dict[str, Any]]:
    return served.sent(f"/do/take/stretch?client=C-7QXK&take={state['take']}&place={state['place']}&then=next", samples)


@pytest.fixture
def meanwhile(monkeypatch: pytest.MonkeyPatch) -> Iterator[Callable[[Callable[[], None]], None]]:
    """Have something done once, while the first word of a take is measured."""
    waiting: list[Callable[[], None]] = []
    analyse = pipeline.analyse

    def measured(*given: Any, **more: Any) -> Any:
        if waiting:
            waiting.pop()()
        return analyse(*given, **more)

    monkeypatch.setattr(pipeline, "analyse", measured)
    yield waiting.append
    assert not waiting, "it was measured"


def sessions(served: Any) -> int:
    with store.open_caseload(served.folder) as one:
        return len(store.sessions(one, CODE))


def finish(served: Any) -> tuple[int, dict[str, Any]]:
    return served.told("/do/take/finish?client=C-7QXK", {"anyway": True})


def test_a_word_said_meanwhile_is_not_lost(served: Any, begun: Any, seal: np.ndarray, meanwhile: Any) -> None:
    """On the code before, its sound was erased with the rest and no session had it."""
    meanwhile(lambda: said(served, begun, seal[::-1].copy()))
    status, told = finish(served)
    assert status == 409 and CHANGED in told["error"] and sessions(served) == 0
    assert len(list((served.folder / "takes" / CODE).glob("*.wav"))) == 2
    status, kept = finish(served)
    assert status == 200 and kept["words"][0]["prompt"] == "seal" and sessions(served) == 1


def test_a_take_thrown_away_meanwhile_stays_away_and_the_next_one_stays(
    served: Any, begun: Any, seal: np.ndarray, meanwhile: Any
) -> None:
    """On the code before, what was thrown away was kept, and the next take erased."""

    def other() -> None:
        served.told("/do/take/throw-away?client=C-7QXK", {})
        _, state = served.told("/do/take/begin?client=C-7QXK", GIVEN)
        assert said(served, state, seal)[0] == 200

    meanwhile(other)
    status, told = finish(served)
    assert status == 409 and CHANGED in told["error"] and sessions(served) == 0
    assert len(list((served.folder / "takes" / CODE).glob("*.wav"))) == 1


def test_measured_twice_at_once_it_is_kept_once(served: Any, begun: Any, meanwhile: Any) -> None:
    answers = []
    meanwhile(lambda: answers.append(finish(served)[0]))
    status, told = finish(served)
    assert answers == [200] and status == 409 and CHANGED in told["error"] and sessions(served) == 1
    assert not list((served.folder / "takes").rglob("*.*"))


def test_an_encryption_meanwhile_is_refused_and_nothing_plain_is_left(
    served: Any, begun: Any, meanwhile: Any, monkeypatch: pytest.MonkeyPatch, cheap_scrypt: None
) -> None:
    pytest.importorskip("sqlcipher3", reason="the optional part for encryption is not installed")
    monkeypatch.setenv("SIBILANT_PASSPHRASE", "six blue horses walk")
    refused = []

    def encrypted() -> None:
        with pytest.raises(RefusedError, match="a take is under way") as answer:
            encryption.encrypt(CaseloadHandle(served.folder), tell=lambda code: None)
        refused.append(answer)

    meanwhile(encrypted)
    assert finish(served)[0] == 200 and refused and sessions(served) == 1
    encryption.encrypt(CaseloadHandle(served.folder), tell=lambda code: None)
    files = [path for path in served.folder.rglob("*") if path.is_file()]
    assert not [path for path in files if path.read_bytes()[:4] in (b"RIFF", b"fLaC")]


def test_thrown_away_and_encrypted_meanwhile_leaves_nothing_plain(
    served: Any, begun: Any, meanwhile: Any, monkeypatch: pytest.MonkeyPatch, cheap_scrypt: None
) -> None:
    pytest.importorskip("sqlcipher3", reason="the optional part for encryption is not installed")
    monkeypatch.setenv("SIBILANT_PASSPHRASE", "six blue horses walk")

    def other() -> None:
        take.throw_away(CaseloadHandle(served.folder), CODE)
        encryption.encrypt(CaseloadHandle(served.folder), tell=lambda code: None)

    meanwhile(other)
    status, told = finish(served)
    assert status in (409, 422) and "\n" not in told["error"] and sessions(served) == 0
    files = [path for path in served.folder.rglob("*") if path.is_file()]
    assert not [path for path in files if path.read_bytes()[:4] in (b"RIFF", b"fLaC")]
