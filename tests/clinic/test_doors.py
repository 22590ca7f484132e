"""What the doors refuse or ask: days that have not come, sessions not there, consent withdrawn, a wrong list.

Invented data – not a person.
"""

from __future__ import annotations

import datetime as dt
import re
from pathlib import Path
from types import ModuleType

import pytest
from sibilant_cli.main import run

from sibilant import audio, lexicon, store, synthetic
from sibilant.clinic import clients, judge, probe, sessions
from sibilant.clinic.caseload import CaseloadHandle
from sibilant.errors import CaseloadError, ListError, RefusedError, UsageError
from sibilant.terms.clinic import Session

TOMORROW = dt.date.today() + dt.timedelta(days=1)
AT = "C-7QXK"
OTHER = "C-M4RT"


@pytest.fixture
def folder(tmp_path: Path, material: ModuleType) -> Path:
    """A caseload with two clients; the first has one session of twenty words."""
    folder = tmp_path / "case"
    tokens = [material.token(i, {"centroid_hz": 6000.0 + i}) for i in range(20)]
    with store.open_caseload(folder) as one:
        store.add_client(one, material.client())
        prompts = tuple(material.prompt_of(i) for i in range(20))
        new = store.NewSession(
            Session(AT, 0, material.DAY, list_form="core-a"), prompts, (), material.new_sounds(tokens, None)
        )
        store.keep_session(one, new)
    consent = {"by": "parent (invented)", "given_on": dt.date(2026, 1, 12)}
    clients.add_client(CaseloadHandle(folder), "6y1m", code=OTHER, fields={"invented": True, "consent": consent})
    return folder


def said(capsys: pytest.CaptureFixture[str], folder: Path, *arguments: str) -> tuple[int, str]:
    """Exit code and all that a command says."""
    capsys.readouterr()
    code = run([*arguments, "--caseload", str(folder)])
    captured = capsys.readouterr()
    assert "Traceback" not in captured.err
    return code, captured.out + captured.err


def test_no_day_after_today_is_kept_anywhere(folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    sound = tmp_path / "a.wav"
    sound.write_bytes(b"never read")
    day = TOMORROW.isoformat()
    for arguments in (
        ["probe", AT, str(sound), "--words", "core-a", "--on", day],
        ["event", AT, "--on", day, "upper incisors lost"],
        ["event", AT, "--on", "2030-01-01", "upper incisors lost"],
        ["session", "change", AT, "1", "--on", day],
        ["client", "change", AT, "--hearing", "passed screening", "--hearing-on", day],
        ["client", "change", OTHER, "--withdrawn-on", day],
        ["client", "change", AT, "--treated", "seal", "--on", day],
        ["client", "add", "--age", "7y4m", "--on", day],
        ["client", "add", "--age", "7y4m", "--consent-by", "parent", "--consent-on", day],
    ):
        code, line = said(capsys, folder, *arguments)
        assert code == 2 and "later than today" in line and line.count("\n") == 1, (arguments, line)
    with store.open_caseload(folder) as one:
        case = store.read_case(one, AT)
        assert (case.events, case.client.treated, len(store.codes(one))) == ((), {}, 2)
        assert case.sessions[0].on == dt.date(2026, 1, 12)
    today = dt.date.today().isoformat()
    assert said(capsys, folder, "event", AT, "--on", today, "a cold")[0] == 0  # today itself is no future


def test_today_is_what_the_clock_handed_in_says(tmp_path: Path) -> None:
    from sibilant.clinic.caseload import day_known

    noon = dt.datetime(2026, 3, 2, 12, tzinfo=dt.UTC)
    with store.open_caseload(tmp_path / "case", clock=lambda: noon) as one:
        assert day_known(one, dt.date(2026, 3, 2), "an event") == dt.date(2026, 3, 2)
        with pytest.raises(UsageError, match=r"an event on 2026-03-04: later than today \(2026-03-0[23]\)"):
            day_known(one, dt.date(2026, 3, 4), "an event")


def test_nothing_happens_before_birth_and_ages_are_ages(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    for arguments in (
        ["probe", AT, str(tmp_path / "a.wav"), "--words", "core-a", "--on", "2015-01-12"],
        ["event", AT, "--on", "2015-01-12", "upper incisors lost"],
        ["session", "change", AT, "1", "--on", "2015-01-12"],
    ):
        code, line = said(capsys, folder, *arguments)
        assert code == 2 and "C-7QXK was not born yet (age 6y8m on 2026-01-12)" in line, line
    for age in ("7y14m", "7;12", "140y"):
        with pytest.raises(UsageError, match="months go from 0 to 11"):
            clients.read_age(age)
    assert [clients.read_age(age) for age in ("7y11m", "88m", "120y")] == [95, 88, 1440]


def test_an_event_says_whose_it_became(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert said(capsys, folder, "session", "list", AT)[0] == 0
    code, line = said(capsys, folder, "event", "--on", "2026-03-02", "upper incisors lost")
    assert code == 0 and line.startswith("C-7QXK (the client used last, as no code was given), 2026-03-02")
    assert said(capsys, folder, "event", OTHER, "--on", "2026-03-02", "a cold")[1].startswith("C-M4RT, 2026-03-02")
    assert said(capsys, folder, "event", "--remove", "1")[1].startswith("C-M4RT 2026-03-02: removed")


def test_no_session_is_moved_to_a_client_who_agreed_to_none(folder: Path) -> None:
    for changed in ({"withdrawn_on": dt.date(2026, 2, 2)}, {"withdrawn_on": None, "recording": False}):
        clients.change_client(CaseloadHandle(folder), OTHER, {"consent": changed})
        with pytest.raises(RefusedError, match=r"C-M4RT: (consent was withdrawn|no consent to recording)"):
            sessions.move_session(CaseloadHandle(folder), AT, 1, OTHER)
        assert [row["session"] for row in sessions.list_sessions(CaseloadHandle(folder), AT)] == [1]
    clients.change_client(CaseloadHandle(folder), OTHER, {"consent": {"recording": True}})
    assert sessions.move_session(CaseloadHandle(folder), AT, 1, OTHER) == 1


def test_a_session_that_is_not_there_is_refused_by_every_verb(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "j.csv"
    path.write_text("prompt_index,attempt,slot,accuracy\n1,1,1,correct\n", encoding="utf-8")
    for arguments in (
        ["judge", AT, "99"],
        ["judge", AT, "99", "--from", str(path)],
        ["session", "show", AT, "99"],
        ["session", "change", AT, "99", "--note", "tired"],
        ["session", "move", AT, "99", "--to", OTHER],
    ):
        code, line = said(capsys, folder, *arguments)
        assert code == 3 and "no session 99; there are: 1" in line and line.count("\n") == 1, (arguments, line)
    with pytest.raises(CaseloadError, match="no session 99"):
        judge.after(CaseloadHandle(folder), judge.Queue(AT, 99, "R1", 1, False, ()))


def test_a_mistyped_kind_is_refused_by_its_name(
    folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    answers = iter(["d", "laterel", "lateral whistled", "q"])
    monkeypatch.setattr("click.prompt", lambda *args, **more: next(answers))
    code, told = said(capsys, folder, "judge", AT, "1", "--rater", "R1")
    assert code == 0 and "'laterel' is none of" in told
    with store.open_caseload(folder) as one:
        made = [j for token in store.read_case(one, AT).tokens for j in token.judgements]
    assert [j.types for j in made] == [("lateral", "whistled")]
    path = tmp_path / "j.csv"
    path.write_text("prompt_index,attempt,slot,accuracy,type\n2,1,1,distorted,laterel\n", encoding="utf-8")
    with pytest.raises(ListError, match=r"j.csv: prompt_index 2: distortion 'laterel' is none of"):
        judge.judge_from(CaseloadHandle(folder), AT, 1, path, rater="R1")


def test_no_figure_is_shown_until_the_whole_set_is_judged(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    queue = judge.queue(CaseloadHandle(folder), AT, 1, rater="R1")
    for one in queue.left[:-1]:
        judge.record(CaseloadHandle(folder), queue, one.key, "correct")
    rows = sessions.show_session(CaseloadHandle(folder), AT, 1)["tokens"]
    assert len(rows) == 20 and not any("centroid_hz" in row for row in rows)
    assert sessions.unlike_in_session(CaseloadHandle(folder), AT, 1)["tokens"] == []
    assert "Hz" not in said(capsys, folder, "session", "show", AT, "1")[1]
    judge.record(CaseloadHandle(folder), queue, queue.left[-1].key, "correct")
    rows = sessions.show_session(CaseloadHandle(folder), AT, 1)["tokens"]
    assert [row["centroid_hz"] for row in rows] == [6000.0 + i for i in range(20)]


def sounding(path: Path, listed: str, seed: int, *, modelled: bool = False) -> Path:
    """A recording of an invented child saying a built-in list, an adult first where modelled."""
    plan = synthetic.ProbePlan(modelled=modelled, sampling_rate_hz=44_100)
    said = synthetic.probe(lexicon.builtin_list(listed), synthetic.child_speaker(3), seed, plan=plan)
    audio.write_wav(path, said.samples, said.sampling_rate_hz)
    return path


def test_a_wrong_list_is_a_question_with_a_way_out(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    wrong = str(sounding(tmp_path / "wrong.wav", "sh-a", 7))
    code, line = said(capsys, folder, "probe", OTHER, wrong, "--words", "core-a")
    counted = re.search(r"only (\d+) of the 20 words of core-a were heard for sure", line)
    assert code == 3 and counted and int(counted[1]) < 10 and "--anyway" in line and line.count("\n") == 1
    assert sessions.list_sessions(CaseloadHandle(folder), OTHER) == []
    assert said(capsys, folder, "probe", OTHER, wrong, "--words", "core-a", "--anyway")[0] == 0
    right = str(sounding(tmp_path / "right.wav", "core-a", 5))
    assert said(capsys, folder, "probe", OTHER, right, "--words", "core-a")[0] == 0  # the right list is no question
    assert len(sessions.list_sessions(CaseloadHandle(folder), OTHER)) == 2


def test_another_voice_before_most_words_is_a_question_and_a_model_a_line_of_its_own(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = str(sounding(tmp_path / "pairs.wav", "core-a", 3, modelled=True))
    code, line = said(capsys, folder, "probe", OTHER, path, "--words", "core-a")
    assert code == 3 and re.search(r"another voice came before (1\d|20) of 20 words; was that a model\?", line), line
    assert (
        "a line of their own" in line
        and "--modelled" in line
        and sessions.list_sessions(CaseloadHandle(folder), OTHER) == []
    )
    code, _ = said(capsys, folder, "probe", OTHER, path, "--words", "core-a", "--modelled")
    (kept,) = sessions.list_sessions(CaseloadHandle(folder), OTHER)
    assert code == 0 and kept["cue"] == "model", "never called spontaneous"
    with store.open_caseload(folder) as one:
        tokens = store.read_case(one, OTHER).tokens
    voices = [token.sound.utterance.voice for token in tokens if token.sound.utterance is not None]
    assert voices.count("other") >= 18, "the model's words are told from the client's"


def test_a_cue_that_is_a_model_tells_the_voices_apart_without_a_question(folder: Path, tmp_path: Path) -> None:
    path = sounding(tmp_path / "pairs.wav", "core-a", 3, modelled=True)
    probe.keep_probe(CaseloadHandle(folder), OTHER, probe.ProbeRequest([path], "core-a", cue="M"))
    with store.open_caseload(folder) as one:
        tokens = store.read_case(one, OTHER).tokens
    assert sum(t.sound.utterance is not None and t.sound.utterance.voice == "other" for t in tokens) >= 18


def test_the_device_used_last_is_filled_in_and_one_not_stated_is_asked_after(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    listed = tmp_path / "list.csv"
    listed.write_text("word\nseal\nbus\n", encoding="utf-8")
    for n in (1, 2, 3, 4):
        prompts = [lexicon.expect(word) for word in ("seal", "bus")]
        spoken = synthetic.probe(prompts, synthetic.child_speaker(3), n)
        audio.write_wav(tmp_path / f"{n}.wav", spoken.samples, spoken.sampling_rate_hz)

    def kept(n: int, *more: str) -> str:
        return said(capsys, folder, "probe", OTHER, str(tmp_path / f"{n}.wav"), "--words", str(listed), *more)[1]

    assert "device not stated for this session" in kept(1)
    told = kept(2)
    assert "device not stated for 2 sessions" in told and f"session change {OTHER} --device NAME --not-stated" in told
    code, told = said(capsys, folder, "session", "change", OTHER, "--device", "headset", "--not-stated")
    assert code == 0 and "session 1, 2 changed" in told
    assert "device headset, as in session 2" in kept(3)
    assert "device not stated" in kept(4, "--device", "not stated")
    assert [row["device"] for row in sessions.list_sessions(CaseloadHandle(folder), OTHER)] == ["headset"] * 3 + [""]
    assert said(capsys, folder, "session", "change", OTHER, "1", "4", "--device", "desk")[0] == 0
    assert [row["device"] for row in sessions.list_sessions(CaseloadHandle(folder), OTHER)] == [
        "desk",
        "headset",
        "headset",
        "desk",
    ]
    code, line = said(capsys, folder, "session", "change", OTHER, "2", "99", "--device", "tablet")
    assert code == 3 and "no session 99" in line
    assert said(capsys, folder, "session", "change", OTHER, "--all", "--device", "tablet")[0] == 0
    assert {row["device"] for row in sessions.list_sessions(CaseloadHandle(folder), OTHER)} == {"tablet"}
    assert said(capsys, folder, "session", "change", OTHER, "--not-stated", "--device", "desk")[0] == 2
    assert said(capsys, folder, "session", "change", OTHER, "1")[0] == 2  # nothing said that would change
