"""Export and import: row for row, days relative, nothing that names, places or dates a person."""

from __future__ import annotations

import csv
import datetime as dt
import json
import re
from dataclasses import replace
from pathlib import Path
from types import ModuleType

import pytest

from sibilant import store
from sibilant.clinic import earlier, exchange
from sibilant.clinic.caseload import CaseloadHandle
from sibilant.clinic.private import suspects
from sibilant.errors import CaseloadError, InputError, ListError, OutputError, RefusedError, UsageError
from sibilant.terms.care import Goal, PracticeMark
from sibilant.terms.clinic import Consent, Device, EarlierProbe, Event, MethodChoice, MoveUpRule, Retention
from sibilant.terms.kept import Correction
from sibilant.terms.lending import ClinicSpread, Given, Grounds

NOON = dt.datetime(2026, 3, 4, 12, 30, 15, 250000, tzinfo=dt.UTC)


def fill(folder: Path, material: ModuleType, *, n_sessions: int = 3) -> None:
    """A caseload whose one client has something in every table."""
    client = material.client(
        reason="school asked", hearing="passed screening", hearing_on=dt.date(2026, 1, 5), dialect="Scottish",
        move_up=MoveUpRule(0.8, 2, 20, "the clinic's own rule"), retention=Retention("eight years", 96),
        consent=Consent(dt.date(2026, 1, 2), "parent", research=True), treated={"seal": dt.date(2026, 2, 20)},
        list_form="core-a", added_on=dt.date(2026, 1, 11),
    )  # fmt: skip
    with store.open_caseload(folder, who="T1", clock=lambda: NOON) as one:
        store.add_client(one, client)
        choice = MethodChoice(dt.date(2026, 1, 30), "house-10k", "house-15k/2")
        store.change_client(one, "C-7QXK", {"method": "house-10k"}, choice=choice)
        store.add_device(one, Device("desk", "condenser", "room 4", 20.5, added_on=dt.date(2026, 1, 1)))
        store.add_event(one, "C-7QXK", Event(dt.date(2025, 12, 30), "upper incisors lost, ENT seen"))
        store.add_earlier(one, "C-7QXK", (EarlierProbe(dt.date(2025, 5, 6), "paper form", n_correct=4, n_scored=20),))
        made_on = dt.date(2026, 1, 12)
        store.add_goal(one, "C-7QXK", Goal(1, "says /s/ in words", "word", "spontaneous", made_on=made_on))
        store.add_visit(one, "C-7QXK", made_on, "attended", 45)
        store.add_run(one, "C-7QXK", made_on, "word", (PracticeMark("sun", "correct", "model"),))
        for number in range(1, n_sessions + 1):
            clip = store.keep_clip(one, f"sound {number}".encode(), ".flac")
            tokens = [material.token(i, {"centroid_hz": 6000.0 + i / 3, "duration_ms": 100.1}) for i in range(20)]
            recording = store.NewRecording(f"{number:064d}", 44100, 30.25, {"snr": 33.5}, None)
            session = replace(material.session(number), number=0, note="=tired; a cold")
            prompts = tuple(material.prompt_of(i) for i in range(20))
            clips = (store.NewClip(1, 1, clip, ".flac", 0.125),)
            with store.at_work(one):
                new = store.NewSession(session, prompts, (recording,), material.new_sounds(tokens), clips)
                store.keep_session(one, replace(new, surroundings=(material.surroundings(1), material.surroundings(2))))
            made = [material.judgement(f"{i}.1.1", "correct", on=NOON, line=70.5, note="-") for i in range(1, 21)]
            store.add_judgements(one, "C-7QXK", number, made)
            store.add_corrections(
                one, "C-7QXK", number, [Correction("2.1.1", "R1", NOON, 1.01, 1.1), Correction("3.1.1", "R1", NOON)],
                tuple(material.token(1, {"centroid_hz": 6001.5}).measurements.values()),
            )  # fmt: skip
            store.keep_order(one, "C-7QXK", number, "R2", 1, ["2.1.1", "1.1.1"])
        grounds = Grounds("house-15k/2", "word", "condenser", (1, 2, 3))
        fitted = ClinicSpread(201.25, 0.5625, 14, dt.date(2026, 3, 4))
        given = {
            ("centroid_hz", 2): Given(grounds, fitted, 14, dt.date(2026, 3, 4)),
            ("centroid_hz", 3): Given(grounds, None, 6, dt.date(2026, 3, 5)),
        }
        store.keep_given(one, "C-7QXK", {place: was for place, was in given.items() if place[1] <= n_sessions})


def all_rows(folder: Path) -> store.Rows:
    """The client's rows by table."""
    with store.open_caseload(folder) as one:
        return store.dump_client(one, "C-7QXK")


@pytest.mark.parametrize("audio", [False, True])
def test_export_then_import_gives_the_same_caseload_row_for_row(
    tmp_path: Path, material: ModuleType, *, audio: bool
) -> None:
    fill(tmp_path / "one", material)
    done = exchange.export_client(CaseloadHandle(tmp_path / "one"), "C-7QXK", tmp_path / "out", audio=audio)
    assert done["sessions"] == 3 and done["sounds"] == (3 if audio else 0)
    exchange.import_folder(CaseloadHandle(tmp_path / "two"), tmp_path / "out", day_zero=material.DAY)
    before, after = all_rows(tmp_path / "one"), all_rows(tmp_path / "two")
    if not audio:
        before["clips"] = []
    assert before == after
    assert {table for table, rows in after.items() if not rows} == (set() if audio else {"clips"})
    with store.open_caseload(tmp_path / "two") as one:
        case = store.read_case(one, "C-7QXK")
        if audio:
            assert store.read_clip(one, case.tokens[0].clip, ".flac").read_bytes() == b"sound 1"
        assert [entry.action for entry in store.audit_trail(one, "C-7QXK")] == ["client imported"]
    with store.open_caseload(tmp_path / "one") as one:
        original = store.read_case(one, "C-7QXK")
    assert replace(case, tokens=()) == replace(original, tokens=())
    assert [replace(t, clip="") for t in case.tokens] == [replace(t, clip="") for t in original.tokens]


def test_nothing_exported_holds_a_calendar_date_or_path_and_sound_only_when_asked(
    tmp_path: Path, material: ModuleType
) -> None:
    fill(tmp_path / "one", material)
    exchange.export_client(CaseloadHandle(tmp_path / "one"), "C-7QXK", tmp_path / "out", new_code=True)
    date = re.compile(rb"(?<![\d.])(?:19|20)\d{2}-\d{2}(?:-\d{2})?")
    written = [path for path in (tmp_path / "out").rglob("*") if path.is_file()]
    for path in written:
        content = path.read_bytes()
        assert b"C-7QXK" not in content and str(tmp_path).encode() not in content, path.name
        assert not date.search(content), (path.name, date.search(content))
        assert path.suffix in {".csv", ".json"}
    with (tmp_path / "out" / "sessions.csv").open(newline="", encoding="utf-8") as stream:
        rows = list(csv.DictReader(stream))
    assert [row["held_on_day"] for row in rows] == ["0", "7", "14"] and rows[0]["note"] == "'=tired; a cold"
    with (tmp_path / "out" / "judgements.csv").open(newline="", encoding="utf-8") as stream:
        assert next(csv.DictReader(stream))["judged_at_s"] == "4451415.250000"


def test_every_column_of_every_table_is_described(tmp_path: Path, material: ModuleType) -> None:
    fill(tmp_path / "one", material, n_sessions=1)
    exchange.export_client(CaseloadHandle(tmp_path / "one"), "C-7QXK", tmp_path / "out")
    described = json.loads((tmp_path / "out" / "export.csv-metadata.json").read_text(encoding="utf-8"))
    for table in described["tables"]:
        with (tmp_path / "out" / table["url"]).open(newline="", encoding="utf-8") as stream:
            header = next(csv.reader(stream))
        assert header == [column["name"] for column in table["tableSchema"]["columns"]]


@pytest.mark.parametrize(
    ("where", "text", "kind"),
    [("event", "came with Anna", "name"), ("note", "Mrs. Okafor asked", "name"), ("note", "sent by o'neil", "name"),
     ("reason", "see /home/kim/reports/x", "path"), ("note", r"in C:\Users\kim", "path"),
     ("note", "probe1.wav", "path"),
     ("event", "operation on 2026-04-01", "calendar date"), ("note", "next on 3 March", "calendar date"),
     ("reason", "since 04/01/2026", "calendar date"), ("note", "mail kim@clinic.org", "path"),
     ("note", "in 2025 already", "calendar date"), ("rater", "Marguerite", "name")],
)  # fmt: skip
def test_a_planted_name_path_or_date_stops_the_export_with_its_place(
    tmp_path: Path, material: ModuleType, where: str, text: str, kind: str
) -> None:
    fill(tmp_path / "one", material, n_sessions=1)
    with store.open_caseload(tmp_path / "one") as one:
        if where == "event":
            store.add_event(one, "C-7QXK", Event(dt.date(2026, 2, 2), text))
        elif where == "note":
            store.change_session(one, "C-7QXK", 1, {"note": text})
        elif where == "rater":
            store.add_judgements(one, "C-7QXK", 1, [material.judgement("1.1.1", "correct", text, on=NOON)])
        else:
            store.change_client(one, "C-7QXK", {"reason": text})
    place = {"event": "events row 2, what", "note": "sessions row 1, note", "reason": "clients row 1, reason"}.get(
        where, "judgements row 21, rater"
    )
    with pytest.raises(RefusedError, match=f"{place}: '.*' looks like a {kind}"):
        exchange.export_client(CaseloadHandle(tmp_path / "one"), "C-7QXK", tmp_path / "out", names=["O'Neil"])
    assert not (tmp_path / "out").exists()


def test_ordinary_notes_pass_and_a_word_may_be_allowed() -> None:
    fine = ("Lost both incisors; ENT seen. He was tired", "seen 3/4 of the list, level word", "read /s/ and /st/ well",
            "R1 and R2 judged", "English at home, Polish too", "cue M+ used", "5/20 and 12/20")  # fmt: skip
    assert suspects([("x", text) for text in fine], allowed=["English", "Polish"]) == []
    assert suspects([("x", "played the Glockenspiel")], allowed=["glockenspiel"]) == []
    assert [one.words for one in suspects([("x", "played with rosie")], names=["Rosie"])] == ["Rosie"]


def test_what_was_changed_or_is_no_export_is_refused(tmp_path: Path, material: ModuleType) -> None:
    fill(tmp_path / "one", material, n_sessions=1)
    out = tmp_path / "out"
    exchange.export_client(CaseloadHandle(tmp_path / "one"), "C-7QXK", out, audio=True)
    with pytest.raises(OutputError, match="stands there already"):
        exchange.export_client(CaseloadHandle(tmp_path / "one"), "C-7QXK", out)
    with pytest.raises(RefusedError, match="code is taken"):
        exchange.import_folder(CaseloadHandle(tmp_path / "one"), out)
    with pytest.raises(RefusedError, match="kept in this caseload already"):
        exchange.import_folder(CaseloadHandle(tmp_path / "one"), out, new_code=True)
    with pytest.raises(InputError, match="no export here"):
        exchange.import_folder(CaseloadHandle(tmp_path / "two"), tmp_path)
    sound = next((out / "audio").iterdir())
    sound.write_bytes(b"other")
    with pytest.raises(InputError, match="sound of the export is missing or changed"):
        exchange.import_folder(CaseloadHandle(tmp_path / "two"), out)
    (out / "tokens.csv").write_text("id\n", encoding="utf-8")
    with pytest.raises(InputError, match=r"tokens\.csv: missing, or changed"):
        exchange.import_folder(CaseloadHandle(tmp_path / "two"), out)
    with store.open_caseload(tmp_path / "two") as one:
        assert store.codes(one) == ()


def test_without_a_day_zero_the_last_session_falls_on_today(tmp_path: Path, material: ModuleType) -> None:
    fill(tmp_path / "one", material)
    exchange.export_client(CaseloadHandle(tmp_path / "one"), "C-7QXK", tmp_path / "out")
    exchange.import_folder(CaseloadHandle(tmp_path / "two"), tmp_path / "out")
    with store.open_caseload(tmp_path / "two") as one:
        assert store.sessions(one, "C-7QXK")[-1].on == store.day_of(one)


def test_an_earlier_hand_made_table_keeps_its_source_and_is_not_joined(tmp_path: Path, material: ModuleType) -> None:
    from sibilant.clinic import summarise, worked_out

    fill(tmp_path / "one", material)
    table = tmp_path / "old.csv"
    table.write_text(
        "on;correct;scored;measure;value;sd;n;level;note\n2025-03-02;8;20;;;;;word;hand counted\n"
        "2025-04-02;;;centroid_hz;6100.5;420;18;word;\n", encoding="utf-8",
    )  # fmt: skip
    done = earlier.import_earlier(CaseloadHandle(tmp_path / "one"), "C-7QXK", table, source="paper forms of the school")
    assert done["probes"] == 2
    view, _ = summarise.case_view(CaseloadHandle(tmp_path / "one"), "C-7QXK")
    assert len(view.earlier) == 3 and view.earlier[2].value == 6100.5 and len(view.summaries) == 3
    text = "\n".join(worked_out.lines(view))
    assert "earlier, not joined (paper forms of the school): 2025-03-02, 8 of 20 correct" in text
    with pytest.raises(UsageError, match="--source"):
        earlier.import_earlier(CaseloadHandle(tmp_path / "one"), "C-7QXK", table, source=" ")
    for bad, words in (
        ("on,correct,scored\n2025-13-02,8,20\n", "line 2: a day is written"),
        ("on,correct\n2025-03-02,8\n", "together"),
        ("on,correct,scored\n2025-03-02,28,20\n", "not above scored"),
        ("on,measure\n2025-03-02,centroid_hz\n", "value come"),
        ("on\n2025-03-02\n", "neither"), ("day\n2025-03-02\n", "no column on"), ("on\n", "no probes"),
    ):  # fmt: skip
        table.write_text(bad, encoding="utf-8")
        with pytest.raises(ListError, match=words):
            earlier.import_earlier(CaseloadHandle(tmp_path / "one"), "C-7QXK", table, source="x")
    with pytest.raises(CaseloadError, match="no client"):
        table.write_text("on,correct,scored\n2025-03-02,8,20\n", encoding="utf-8")
        earlier.import_earlier(CaseloadHandle(tmp_path / "one"), "C-M4RT", table, source="x")
