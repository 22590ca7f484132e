"""No noun is born with a word that is none: every part whose type is a set of words is tried with ``wrod``."""

from __future__ import annotations

import dataclasses
import datetime as dt
import importlib
import inspect
import pkgutil
import typing
from functools import lru_cache
from typing import Any

import numpy as np
import numpy.typing as npt
import pytest

import sibilant.terms
from sibilant.errors import WordError
from sibilant.terms import Cut, Interval, Window
from sibilant.terms.clinic import Client
from sibilant.terms.reference import Basis, Circumstances, Population, Reason

DAY = dt.date(2026, 3, 2)
GIVEN: dict[str, Any] = {
    "int": 1, "float": 0.5, "str": "words", "dt.date": DAY, "dt.datetime": dt.datetime(2026, 3, 2), "bool": False,
    "tuple[float, float]": (1.0, 2.0), "Interval": Interval(0.0, 1.0), "tuple[Window, ...]": (Window("middle"),),
    "Client": Client("C-7QXK", 80, DAY), "Basis": Basis("citation", "read", "label"),
    "tuple[Reason, ...]": (Reason("code", "text"),), "Population": Population("p"), "Circumstances": Circumstances(),
}  # fmt: skip


@lru_cache(maxsize=1)
def nouns() -> list[tuple[type, dict[str, Any]]]:
    """Every dataclass of ``terms`` with the types of its parts."""
    found = {}
    for each in pkgutil.iter_modules(sibilant.terms.__path__):
        module = importlib.import_module(f"sibilant.terms.{each.name}")
        names = {**vars(module), "np": np, "npt": npt, "Float32s": npt.NDArray[np.float32]}
        for noun in vars(module).values():
            if inspect.isclass(noun) and dataclasses.is_dataclass(noun) and noun.__module__ == module.__name__:
                found[noun] = typing.get_type_hints(noun, names)
    return list(found.items())


def words_in(kind: Any) -> tuple[str, ...]:
    """The words that a type allows; empty where it is no set of words."""
    if typing.get_origin(kind) is typing.Literal:
        return typing.get_args(kind)
    return next((words for inner in typing.get_args(kind) if (words := words_in(inner))), ())


def parts() -> list[tuple[type, str, bool]]:
    """Noun, name of a part that is one word (or a tuple or mapping of such), and whether it holds several."""
    return [
        (noun, name, typing.get_origin(kind) not in (typing.Literal, typing.Union))
        for noun, kinds in nouns()
        for name, kind in kinds.items()
        if words_in(kind)
    ]


def example(noun: type) -> dict[str, Any]:
    """Values for the parts of a noun that have no default."""
    kinds = dict(nouns())[noun]
    made: dict[str, Any] = {}
    for part in dataclasses.fields(noun):
        needed = part.default is dataclasses.MISSING and part.default_factory is dataclasses.MISSING
        if needed and (words := words_in(kinds[part.name])):
            made[part.name] = {"house": words[0]} if "Mapping" in str(part.type) else words[0]
        elif needed:
            kind = str(part.type)
            made[part.name] = None if "None" in kind else () if kind not in GIVEN and "tuple" in kind else GIVEN[kind]
    return made | SPECIAL.get(noun.__name__, {})


SPECIAL: dict[str, dict[str, Any]] = {
    "ReferenceRange": {"mean": 1.0},
    "Comparison": {"placement": "not comparable"},
    "SibilantSlot": {"phone": "S"},
}


@pytest.mark.parametrize(("noun", "part", "several"), parts(), ids=lambda one: getattr(one, "__name__", str(one)))
def test_a_word_that_is_none_is_refused_in_one_line(noun: type, part: str, several: bool) -> None:
    whole = example(noun)
    noun(**whole)
    wrong: Any = "wrod"
    if several:
        wrong = {"house": "wrod"} if isinstance(whole.get(part), dict) else ("wrod",)
    with pytest.raises(WordError, match="'wrod' is none of") as refused:
        noun(**whole | {part: wrong})
    assert "\n" not in str(refused.value)


def test_the_parts_tried_are_those_that_hold_words() -> None:
    tried = {(noun.__name__, part) for noun, part, _ in parts()}
    assert {
        ("Prompt", "level"),
        ("Session", "cue"),
        ("Sound", "finding"),
        ("Edge", "beside"),
        ("Verdict", "moments"),
    } <= tried
    assert len(tried) > 40
    assert not words_in(typing.get_type_hints(Cut)["frequency_hz"])
