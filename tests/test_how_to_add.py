"""The pages on adding things name every place, and each thing that was added has all of its places."""

from __future__ import annotations

import csv
import dataclasses
import re
from pathlib import Path

import pytest

from sibilant import lexicon, reference_sounds
from sibilant.terms import MEASURES
from sibilant.terms.clinic import Session
from sibilant.terms.vocabulary import REPORT_KINDS, SIBILANTS

ROOT = Path(__file__).parent.parent
PAGE = ROOT / "docs" / "how_to_add.md"
THINGS = {
    "A measure", "A word list", "A language's sounds", "A published range", "A report kind", "A place of the page",
    "A session's field",
}  # fmt: skip


def read(name: str) -> str:
    return (ROOT / name).read_text(encoding="utf-8")


def test_each_thing_has_its_page_and_each_place_is_there() -> None:
    parts = re.split(r"^## (.+)$", PAGE.read_text(encoding="utf-8"), flags=re.M)[1:]
    sections = dict(zip(parts[::2], parts[1::2], strict=True))
    assert set(sections) == THINGS
    for thing, text in sections.items():
        lines = re.findall(r"^- (.+?):", text, re.M)
        assert len(lines) >= 2, thing
        for line in lines:
            *paths, word = re.findall(r"`([^`]+)`", line) if "(" in line else [*re.findall(r"`([^`]+)`", line), ""]
            for path in paths:
                assert (ROOT / path).exists(), f"{thing}: {path} is not there"
                assert not word or word in read(path), f"{thing}: {word} is not in {path}"


def test_a_measure_is_computed_and_told() -> None:
    import sibilant

    columns = set(sibilant.measure(reference_sounds() / "ktuberling-stick.ogg", say="stick").table)
    told = read("docs/measures.md")
    for key, measure in MEASURES.items():
        assert f"`{key}`" in told, key
        assert measure.scope != "token" or key in columns, f"{key} has no column"


def test_a_list_can_be_asked_for_and_every_prompt_of_it_read() -> None:
    for name in lexicon.list_names():
        prompts = lexicon.builtin_list(name)
        assert prompts and lexicon.list_note(name), name
        assert all(prompt.words for prompt in prompts), name


def test_a_sound_of_any_language_has_a_class_that_the_matcher_knows() -> None:
    from sibilant.lexicon.ipa import _SAME
    from sibilant.lexicon.phones import is_vowel
    from sibilant.words.phone_model import phone_model_of

    for phone in _SAME:
        model = phone_model_of(((f"{phone}1" if is_vowel(phone) else phone,),))
        assert any(state.phone == 0 for state in model.states), phone
    assert {"S", "SH", "Z", "ZH", "CH", "JH"} >= set(SIBILANTS)


def test_a_range_has_its_source_and_stands_in_the_page() -> None:
    with (ROOT / "sibilant/ranges/data/sources.csv").open(newline="", encoding="utf-8") as stream:
        sources = {row["citation_key"]: row for row in csv.DictReader(stream)}
    with (ROOT / "sibilant/ranges/data/values.csv").open(newline="", encoding="utf-8") as stream:
        used = {row["citation_key"] for row in csv.DictReader(stream)}
    assert used <= set(sources)
    told = read("docs/ranges.md")
    for key in used:
        assert sources[key]["how_had"] and sources[key]["citation"][:40] in told, key


def test_a_report_kind_is_composed_offered_and_told() -> None:
    from sibilant.report.kinds import _MAKERS

    assert set(_MAKERS) == set(REPORT_KINDS)
    reports, commands = read("docs/reports.md"), read("docs/commands.md")
    for kind in REPORT_KINDS:
        assert kind in reports and kind in commands, kind


def test_a_place_of_the_page_has_address_and_template() -> None:
    templates = {path.name: path.read_text(encoding="utf-8") for path in (ROOT / "sibilant/web/templates").iterdir()}
    code = "\n".join(path.read_text(encoding="utf-8") for path in (ROOT / "sibilant/web").glob("*.py"))
    for name, text in templates.items():
        if name == "base.html.j2" or any(f'"{name}"' in other for other in templates.values()):
            continue
        assert "base.html.j2" in text, f"{name} is not of the page"
        assert re.search(rf'"{name.split(".")[0]}(\.html\.j2)?"', code), f"nothing shows {name}"
    scripts = {path.name: path.read_text(encoding="utf-8") for path in (ROOT / "sibilant/web/static").glob("*.js")}
    for name in scripts:
        others = [text for other, text in scripts.items() if other != name]
        assert any(name in text for text in [*templates.values(), code, *others]), f"nothing loads {name}"


FIRST_GIVEN = {"client", "number", "on", "recordings", "verdict", "phase", "modelled"}
"""What a session is, what its recordings said, or what follows from the client: no option of its own to change it."""


@pytest.mark.parametrize("field", [field.name for field in dataclasses.fields(Session)])
def test_a_field_of_a_session_has_all_its_places(field: str) -> None:
    from sibilant.store.schema import SESSIONS
    from sibilant.store.sessions import CHANGEABLE

    column = {"client": "client_id", "on": "held_on"}.get(field, field)
    assert field == "recordings" or column in SESSIONS.c, f"{field} is not kept"
    if field in FIRST_GIVEN:
        return
    shown = read("sibilant/clinic/sessions.py") + read("sibilant/clinic/probe.py")
    assert f"{field}=" in shown or f'"{field}"' in shown, f"{field} doesn't come in"
    word = {"list_form": "list"}.get(field, field)
    assert word in read("docs/caseload.md").replace("-", "_") + read("docs/commands.md"), f"{field} is told nowhere"
    if field in CHANGEABLE:
        assert f"--{field}" in read("cli/session.py"), f"{field} can be changed, but there is no option"
        assert f'"{field}"' in read("sibilant/web/keeping.py") or field == "bridge", f"{field}: no place"
