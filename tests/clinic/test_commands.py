"""The clinician's month on the command line, on an invented speaker. Invented data – not a person."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
from sibilant_cli.main import run

from sibilant import audio, lexicon, synthetic


@pytest.fixture(scope="module")
def probe_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A spoken probe of an invented speaker, under a file name that must be kept nowhere."""
    path = tmp_path_factory.mktemp("sounds") / "annas-own-name.wav"
    spoken = synthetic.probe(lexicon.builtin_list("core-a"), synthetic.child_speaker(3), 5)
    audio.write_wav(path, spoken.samples, spoken.sampling_rate_hz)
    return path


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory, probe_file: Path) -> Path:
    """A caseload with one client and one judged probe."""
    folder = tmp_path_factory.mktemp("clinic") / "caseload"
    at = ["--caseload", str(folder)]
    added = ["client", "add", "--age", "6;8", "--code", "C-7QXK", "--invented", "--consent-by", "parent", *at]
    assert run([*added, "--rule", "80% x2 n20", "--words", "core-a", "--hearing", "passed screening"]) == 0
    assert run(["device", "add", "desk", "--distance-cm", "20", *at]) == 0
    return folder


@pytest.fixture(scope="module")
def kept(folder: Path, probe_file: Path) -> Path:
    """The caseload after the probe."""
    arguments = ["probe", "C-7QXK", str(probe_file), "--device", "desk", "--on", "2026-01-12"]
    assert run([*arguments, "--caseload", str(folder)]) == 0
    return folder


def said(capsys: pytest.CaptureFixture[str], folder: Path, *arguments: str) -> str:
    """Standard output of a command that is done."""
    capsys.readouterr()
    code = run([*arguments, "--caseload", str(folder)])
    captured = capsys.readouterr()
    assert code == 0, captured.err
    return captured.out


def refused(capsys: pytest.CaptureFixture[str], folder: Path, *arguments: str) -> str:
    """The one line of a command that is refused."""
    capsys.readouterr()
    code = run([*arguments, "--caseload", str(folder)])
    captured = capsys.readouterr()
    assert code == 3 and captured.err.count("\n") == 1 and "Traceback" not in captured.err, captured.err
    return captured.err


def judgements(path: Path, heard: str = "correct", n: int = 20) -> Path:
    """A JUDGEMENTS.csv for every word of the list."""
    rows = "".join(f"{index},1,1,{heard}\n" for index in range(1, n + 1))
    path.write_text("prompt_index,attempt,slot,accuracy\n" + rows, encoding="utf-8")
    return path


def test_adding_a_client_says_what_the_caseload_is_not(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = tmp_path / "Dropbox" / "caseload"
    assert run(["client", "add", "--age", "7y4m", "--caseload", str(folder)]) == 0
    captured = capsys.readouterr()
    assert "not encrypted" in captured.err and "encrypted disk, only" in captured.err and "cloud" in captured.err
    assert re.match(r"C-\w{4} added", captured.out)
    assert folder.stat().st_mode & 0o077 == 0


def test_probe_prints_words_and_verdict_and_no_figures(
    kept: Path, capsys: pytest.CaptureFixture[str], probe_file: Path
) -> None:
    assert "kept already, as session 1 of C-7QXK" in refused(capsys, kept, "probe", "C-7QXK", str(probe_file))
    shown = said(capsys, kept, "session", "show", "--json")
    tokens = json.loads(shown)["tokens"]
    assert len(tokens) == 20 and all("centroid_hz" not in token for token in tokens)
    out = said(capsys, kept, "progress")
    assert "judge first" in out and not re.search(r"\d+ (Hz|ms)", out)


def test_the_probes_own_output_holds_no_figure(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], probe_file: Path
) -> None:
    at = ["--caseload", str(tmp_path / "one")]
    assert run(["client", "add", "--age", "8y", "--code", "C-M4RT", *at]) == 0
    capsys.readouterr()
    assert run(["probe", "C-M4RT", str(probe_file), "--words", "core-a", "--keep", "none", "--json", *at]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["verdict"]["moments"].keys() == {"house-15k", "house-10k", "house-7k"}
    assert {row["heard"] for row in told["words"]} == {"heard"} and len(told["words"]) == 20
    text = json.dumps(told)
    assert "_hz" not in text and "_ms" not in text and "annas" not in text
    assert any("no consent" in note for note in told["notes"])
    assert not list((tmp_path / "one").rglob("*.flac")) and not list((tmp_path / "one").rglob("*.wav"))


def test_judge_review_progress_and_session(kept: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = judgements(tmp_path / "j.csv")
    assert "20 of 20 correct: 100 % (84 to 100)" in said(capsys, kept, "judge", "--from", str(path), "--rater", "R1")
    out = said(capsys, kept, "progress", "C-7QXK")
    assert re.search(r"\d{4} Hz \(", out) and "1 reference probe; 3 on different days are needed" in out
    assert "question: phase not stated: when did therapy of this sound start" in out
    assert "support, and do not replace, clinical judgement" in out and "Invented data – not a person" in out
    assert "In the probe of " in out and "p 0." not in out and "--worked" in out
    worked = said(capsys, kept, "progress", "C-7QXK", "--worked")
    assert len(worked.splitlines()) > 1.5 * len(out.splitlines()) and "later against baseline" not in out
    figure = tmp_path / "months.svg"
    document = json.loads(said(capsys, kept, "progress", "--json", "--to", str(figure)))
    assert document["summaries"][0]["measures"]["centroid_hz"]["n_measured"] == 20
    assert figure.read_bytes()[:5] == b"<?xml"
    shown = json.loads(said(capsys, kept, "session", "show", "--json"))
    first = shown["tokens"][0]
    assert first["centroid_hz"] > 4000 and first["heard"] == "correct"
    said(capsys, kept, "session", "change", "--room", "4", "--note", "tired")
    trail = json.loads(said(capsys, kept, "client", "show", "--json"))["audit"]
    assert "session 1: note: written anew; room:  -> 4" in [entry["to"] for entry in trail]


def test_review_measures_again_and_keeps_both(kept: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    from sibilant import store

    with store.open_caseload(kept) as caseload:
        kept_before = store.read_case(caseload, "C-7QXK").tokens[0]
    before, edges = kept_before.measurements["house-15k/2"], kept_before.sound.edges.interval
    path = tmp_path / "r.csv"
    row = f"1,1,1,{edges.onset_s + 0.015:.4f},{edges.offset_s - 0.015:.4f},,\n"
    path.write_text(f"prompt_index,attempt,slot,onset_s,offset_s,voice,counts\n{row}2,1,1,,,,\n", encoding="utf-8")
    done = json.loads(said(capsys, kept, "review", "--from", str(path), "--rater", "R1", "--json"))
    assert (done["corrected"], done["measured_again"], done["checked"]) == (2, 1, 2)
    with store.open_caseload(kept) as caseload:
        kept_after = store.read_case(caseload, "C-7QXK").tokens[0]
    after, moved = kept_after.measurements["house-15k/2"], kept_after.sound.edges
    assert moved.automatic == edges and moved.boundary == "reviewed"
    duration = after.measures.values["duration_ms"]
    assert duration == pytest.approx(edges.duration_ms - 30, abs=0.2)
    assert after.measures.values["centroid_hz"] == pytest.approx(before.measures.values["centroid_hz"], rel=0.05)
    path.write_text("prompt_index,attempt,slot,onset_s,offset_s\n1,1,1,0.0,60.0\n", encoding="utf-8")
    assert "outside the kept word" in refused(capsys, kept, "review", "--from", str(path))


def test_the_files_own_name_is_kept_nowhere(kept: Path) -> None:
    for path in kept.rglob("*"):
        assert "annas" not in path.name
        if path.is_file():
            assert b"annas-own-name" not in path.read_bytes(), path.name


def test_kept_words_are_lossless(kept: Path, probe_file: Path) -> None:
    import numpy as np

    from sibilant import store

    whole = audio.read_recording(probe_file)
    with store.open_caseload(kept) as caseload:
        token = store.read_case(caseload, "C-7QXK").tokens[3]
        suffix, start_s = store.clip_of(caseload, token.clip)
        word = audio.read_recording(store.read_clip(caseload, token.clip, suffix))
    first = round(start_s * whole.sampling_rate_hz)
    assert np.array_equal(word.samples, whole.samples[first : first + word.samples.size])
    spoken = token.sound.utterance.interval
    assert start_s <= spoken.onset_s and start_s + word.duration_s >= spoken.offset_s


def test_wrong_questions_are_exit_two(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    at = ["--caseload", str(folder)]
    for arguments in (
        ["client", "add", "--age", "soon"],
        ["client", "add", "--age", "7y", "--code", "C-0000"],
        ["client", "add", "--age", "7y", "--measure", "nothing"],
        ["client", "add", "--age", "7y", "--expected", "better"],
        ["client", "remove", "C-7QXK"],
        ["session", "list", "C-7QXX"],
        ["plan", "--measure", "centroid_hz", "--change", "0"],
        ["progress", "C-7QXK", "--measure", "nothing"],
        ["probe", "C-7QXK", "x.wav", "--words", "core-a", "--cue", "loud"],
        ["judge", "C-7QXK", "1", "--share", "3"],
    ):
        capsys.readouterr()
        assert run([*arguments, *at]) == 2, arguments
        error = capsys.readouterr().err
        assert "Traceback" not in error and error.strip()


def test_withdrawn_consent_stops_keeping(tmp_path: Path, capsys: pytest.CaptureFixture[str], probe_file: Path) -> None:
    folder = tmp_path / "case"
    said(capsys, folder, "client", "add", "--age", "8y", "--consent-by", "parent", "--withdrawn-on", "2026-02-01")
    line = refused(capsys, folder, "probe", str(probe_file), "--words", "core-a")
    assert "consent was withdrawn" in line


def test_fields_are_changed_in_part(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = tmp_path / "case"
    said(capsys, folder, "client", "add", "--age", "8y", "--retention", "eight years", "--on", "2026-01-05")
    assert run(["client", "change", "--withdrawn-on", "2026-02-01", "--caseload", str(folder)]) == 2
    assert "no consent is on record yet" in capsys.readouterr().err
    said(capsys, folder, "client", "change", "--consent-by", "parent", "--consent-on", "2026-01-05", "--research")
    said(capsys, folder, "client", "change", "--withdrawn-on", "2026-02-01", "--retention-months", "96")
    said(capsys, folder, "client", "change", "--age", "8y1m", "--on", "2026-01-05", "--treated", "seal")
    shown = json.loads(said(capsys, folder, "client", "show", "--json"))
    assert shown["consent"]["by"] == "parent" and shown["consent"]["research"]
    assert shown["consent"]["withdrawn_on"] == "2026-02-01" and shown["consent"]["given_on"] == "2026-01-05"
    assert shown["retention"] == {"text": "eight years", "months": 96}
    assert (shown["age_months"], shown["age_on"], list(shown["treated"])) == (97, "2026-01-05", ["seal"])
    assert "consent withdrawn" in shown["reminders"]


def test_the_clinics_own_time_for_keeping_is_reminded_of() -> None:
    import datetime as dt

    from sibilant.clinic.clients import reminders
    from sibilant.terms.clinic import Client, Consent, Retention
    from sibilant.terms.therapy import Therapy

    day = dt.date(2026, 1, 5)
    client = Client(
        "C-7QXK",
        80,
        day,
        hearing="passed",
        consent=Consent(day, "parent"),
        retention=Retention("a year", 12),
        therapy=Therapy(under_way=True),
    )
    assert reminders(client, day, dt.date(2027, 1, 5)) == []
    assert reminders(client, day, dt.date(2027, 1, 6)) == ["past the clinic's own time for keeping (a year)"]
    unknown = Client("C-7QXK", 80, day, held="asked for", added_on=day)
    assert reminders(unknown, None, day) == [
        "hearing status unknown",
        "not stated when therapy starts",
        "no consent on record",
        "on hold: asked for",
    ]


def test_when_therapy_ran_is_said_once_and_phases_follow(kept: Path, capsys: pytest.CaptureFixture[str]) -> None:
    shown = said(capsys, kept, "session", "list", "C-7QXK", "--json")
    assert json.loads(shown)[0]["phase"] == "not stated"
    said(capsys, kept, "client", "change", "C-7QXK", "--therapy-under-way")
    shown = said(capsys, kept, "session", "list", "C-7QXK", "--json")
    assert json.loads(shown)[0]["phase"] == "reference under treatment"
    said(capsys, kept, "client", "change", "C-7QXK", "--therapy-starts", "2031-02-02", "--therapy-pauses", "2031-07-01")
    assert json.loads(said(capsys, kept, "session", "list", "C-7QXK", "--json"))[0]["phase"] == "baseline"
    text = said(capsys, kept, "client", "show", "C-7QXK")
    assert "therapy: starts on 2031-02-02; paused on 2031-07-01" in text
    said(capsys, kept, "session", "change", "C-7QXK", "1", "--elicited", "picture")
    assert json.loads(said(capsys, kept, "session", "list", "C-7QXK", "--json"))[0]["elicited"] == "picture"
    said(capsys, kept, "client", "change", "C-7QXK", "--therapy-not-stated")
    assert "therapy: not stated" in said(capsys, kept, "client", "show", "C-7QXK")


def test_planner_from_the_table(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Least difference between two probes: the project's own table of worked examples, 500 Hz: 470, 320, 258."""
    out = said(capsys, folder, "plan", "--measure", "centroid_hz", "--change", "600", "--token-sd", "500", "--json")
    rows = {row["n_words"]: round(row["least_between_two"]) for row in json.loads(out)[0]["rows"]}
    assert (rows[10], rows[20], rows[30]) == (470, 320, 258)
    said(capsys, folder, "plan", "--measure", "core_duration_ms", "--change", "20")


def test_events_are_listed_and_taken_out_with_their_words(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    said(capsys, folder, "event", "C-7QXK", "--on", "2026-02-03", "seen by Anna Miller", "--no-name")
    assert "Anna" in said(capsys, folder, "event", "C-7QXK", "--list")
    assert "Anna" in refused(capsys, folder, "export", "C-7QXK", "--to", str(folder.parent / "out"))
    said(capsys, folder, "event", "C-7QXK", "--remove", "1")
    assert "Anna" not in said(capsys, folder, "client", "show", "C-7QXK")


def test_every_command_has_an_example(capsys: pytest.CaptureFixture[str]) -> None:
    names = "client event device probe session judge review agree progress plan export import"
    commands = [[name] for name in names.split()]
    commands += [["client", verb] for verb in ("add", "list", "show", "change", "hold", "remove")]
    commands += [["session", verb] for verb in ("list", "show", "change", "move", "remove")]
    for command in commands:
        assert run([*command, "--help"]) == 0
        assert f"Example: sibilant {' '.join(command[:1])}" in " ".join(capsys.readouterr().out.split()), command
