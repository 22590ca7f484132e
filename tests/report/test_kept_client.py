"""From a caseload to files: reports, charts and the pair of sounds of a kept client."""

from __future__ import annotations

import dataclasses
import datetime as dt
import importlib.util
import re
import shlex
import shutil
import sys
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest
from click.testing import CliRunner
from sibilant_cli.main import run

from sibilant import audio, lexicon, report, store, synthetic
from sibilant.clinic import draw, probe
from sibilant.clinic import report as verb
from sibilant.clinic.caseload import CaseloadHandle
from sibilant.clinic.summarise import case_view
from sibilant.errors import OutputError, RefusedError, UsageError
from sibilant.terms.clinic import Client, Consent
from sibilant.terms.document import Document, Picture
from sibilant.terms.kept import Judgement

PLANTED = "Wilhelmina Quistgaard"
HERE = Path(__file__).parent
WORDS = ("seal", "sock", "soap", "messy", "castle", "bus", "goose", "rice")


def material() -> ModuleType:
    if "progress_material" not in sys.modules:
        spec = importlib.util.spec_from_file_location("progress_material", HERE.parent / "progress" / "material.py")
        assert spec is not None and spec.loader is not None
        sys.modules["progress_material"] = importlib.util.module_from_spec(spec)
        spec.loader.exec_module(sys.modules["progress_material"])
    return sys.modules["progress_material"]


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Nine judged probes of twenty words, no sound."""
    folder = tmp_path_factory.mktemp("kept") / "caseload"
    case = material().case([6300, 6420, 6350, 6400, 6450, 6300, 6900, 7150, 7300])
    with store.open_caseload(folder, who="R1", clock=lambda: dt.datetime(2026, 8, 1, tzinfo=dt.UTC)) as one:
        store.add_client(one, Client("C-7QXK", 80, material().DAY, direction="higher", invented=True))
        for session in case.sessions:
            tokens = case.tokens_of(session.number)
            prompts = tuple(material().prompt_of(place) for place in range(20))
            recording = store.NewRecording(f"{session.number:064d}", 44100, 30.0, {})
            rows = material().new_sounds(tokens)
            store.keep_session(one, store.NewSession(session, prompts, (recording,), rows))
            judged = [judgement for token in tokens for judgement in token.judgements]
            store.add_judgements(one, "C-7QXK", session.number, judged)
    return folder


@pytest.mark.parametrize("kind", report.KINDS)
def test_every_kind_in_every_format(kind: str, kept: Path, tmp_path: Path) -> None:
    for form in report.FORMATS:
        path = tmp_path / f"{kind}.{form}"
        document = verb.make_report(CaseloadHandle(kept), "C-7QXK", kind, path)
        assert document.mark == "Invented data – not a person"
        first = path.read_bytes()
        if form == "pdf":
            verb.make_report(CaseloadHandle(kept), "C-7QXK", kind, path)
            assert path.read_bytes() == first, "identical input, identical bytes"


def test_no_calendar_day_of_making_is_in_a_report(kept: Path, tmp_path: Path) -> None:
    verb.make_report(CaseloadHandle(kept), "C-7QXK", "monthly", tmp_path / "monthly.html")
    text = (tmp_path / "monthly.html").read_text(encoding="utf-8")
    today = dt.datetime.now(dt.UTC).date()
    assert today.isoformat() not in text
    assert "25 July 2026" in text


def test_one_line_and_nothing_written_when_the_question_is_wrong(kept: Path, tmp_path: Path) -> None:
    for arguments, words in (
        (("weekly", tmp_path / "a.pdf"), "none of monthly"),
        (("monthly", tmp_path / "a.odt"), r"ends in \.pdf, \.html or \.docx"),
    ):
        with pytest.raises(UsageError, match=words):
            verb.make_report(CaseloadHandle(kept), "C-7QXK", *arguments)
    with pytest.raises(UsageError, match="no session 40; there are: 1, 2"):
        verb.make_report(CaseloadHandle(kept), "C-7QXK", "session", tmp_path / "a.pdf", ticked=verb.Ticked(session=40))
    with pytest.raises(OutputError):
        verb.make_report(CaseloadHandle(kept), "C-7QXK", "monthly", tmp_path / "nowhere" / "a.pdf")
    assert not list(tmp_path.iterdir())


def test_no_range_is_claimed_for_a_child_and_none_is_shown_unasked(kept: Path) -> None:
    view, case = case_view(CaseloadHandle(kept), "C-7QXK")
    child = verb.settings_of(view, case, verb.Ticked(published_range=True))
    assert child.range_sentence == "" and child.no_range == verb.NONE_FITS


def test_a_range_for_an_adult_only_where_it_was_ticked(kept: Path) -> None:
    view, case = case_view(CaseloadHandle(kept), "C-7QXK")
    adult = dataclasses.replace(view.client, age_months=34 * 12, group="f", language="English")
    grown = tuple(dataclasses.replace(s, age_months=34 * 12) for s in view.summaries)
    view = dataclasses.replace(view, client=adult, summaries=grown)
    unticked = verb.settings_of(view, case, verb.Ticked())
    ticked = verb.settings_of(view, case, verb.Ticked(published_range=True))
    assert unticked.range_sentence == ""
    assert ticked.range_sentence == "" or "open-adult" in ticked.range_sentence
    found = verb.comparison_of(view, case)
    if found.range is not None:
        assert ticked.range_sentence == found.statement and unticked.no_range == verb.NOT_CHOSEN


def test_command_line(kept: Path, tmp_path: Path) -> None:
    from sibilant_cli.report import command

    to = tmp_path / "monthly.pdf"
    ran = CliRunner().invoke(command, ["C-7QXK", "--caseload", str(kept), "--kind", "monthly", "--to", str(to)])
    assert ran.exit_code == 0, ran.output
    assert "it is a draft" in ran.output and to.read_bytes().startswith(b"%PDF")


@pytest.fixture(scope="module")
def heard(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Four small probes of an invented child, measured from sound and judged."""
    folder = tmp_path_factory.mktemp("heard")
    box = folder / "caseload"
    consent = Consent(dt.date(2026, 1, 12), by="parent")
    with store.open_caseload(box, who="R1") as one:
        store.add_client(one, Client("C-7QXK", 80, dt.date(2026, 1, 12), invented=True, consent=consent))
    (folder / f"{PLANTED}.csv").write_text("word\n" + "\n".join(WORDS) + "\n", encoding="utf-8")
    prompts = [lexicon.expect(word) for word in WORDS]
    for number in range(1, 5):
        spoken = synthetic.probe(prompts, synthetic.child_speaker(7), number)
        path = folder / f"{PLANTED} {number}.wav"
        audio.write_wav(path, spoken.samples, spoken.sampling_rate_hz)
        day = dt.date(2026, 1, 12) + dt.timedelta(days=10 * number)
        phase = "baseline" if number < 4 else "treatment"
        request = probe.ProbeRequest([path], str(folder / f"{PLANTED}.csv"), on=day, phase=phase)
        probe.keep_probe(CaseloadHandle(box), "C-7QXK", request)
        with store.open_caseload(box, who="R1") as one:
            tokens = store.read_case(one, "C-7QXK").tokens_of(number)
            noon = dt.datetime(2026, 2, 1, 12, tzinfo=dt.UTC)
            judged = [Judgement(token.key, "correct", "R1", noon) for token in tokens if token.sound.slot]
            store.add_judgements(one, "C-7QXK", number, judged)
    return box


def test_a_name_in_the_files_names_comes_out_nowhere(
    heard: Path, tmp_path: Path, reading: ModuleType, capsys: pytest.CaptureFixture[str]
) -> None:
    for kind in report.KINDS:
        document = verb.make_report(CaseloadHandle(heard), "C-7QXK", kind, tmp_path / f"{kind}.html")
        words = [(tmp_path / f"{kind}.html").read_text(encoding="utf-8"), reading.all_of(document)]
        words.append(reading.words_in_docx(report.render(_with_png(document), "docx")))
        assert not any(part in text for text in words for part in PLANTED.split()), kind
    assert PLANTED.split()[0] not in "".join(capsys.readouterr())


def _with_png(document: Document) -> Document:
    parts = tuple(part for part in document.parts if not isinstance(part, Picture))
    return dataclasses.replace(document, parts=parts)


def test_every_chart_the_record_supports(heard: Path, tmp_path: Path) -> None:
    written = draw.draw_all(CaseloadHandle(heard), "C-7QXK", tmp_path / "charts", forms=("svg",))
    names = {path.name for path in written}
    for name in ("months", "spectra", "spread", "heard"):
        assert {f"C-7QXK-{name}-170mm.svg", f"C-7QXK-{name}-85mm.svg"} <= names
    assert "C-7QXK-separation-170mm.svg" not in names, "nothing to show, nothing drawn"
    with pytest.raises(UsageError, match="svg, pdf, png"):
        draw.draw_all(CaseloadHandle(heard), "C-7QXK", tmp_path, forms=("gif",))


def test_two_sounds_for_a_family(heard: Path, tmp_path: Path) -> None:
    with pytest.raises(RefusedError, match="listen to both sounds first"):
        draw.write_pair(CaseloadHandle(heard), "C-7QXK", tmp_path, confirmed=False)
    paths = draw.write_pair(CaseloadHandle(heard), "C-7QXK", tmp_path, confirmed=True)
    levels = []
    for path in paths:
        sound = audio.read_recording(path)
        levels.append(20 * np.log10(np.sqrt(np.mean(np.square(sound.samples, dtype=float)))))
        assert not any(letter.isdigit() for letter in path.name), "undated, and no session"
    assert abs(levels[0] - levels[1]) < draw.LEVEL_TOLERANCE_DB
    assert paths[0].stem[:-2] == paths[1].stem[:-2], "the same word"


def test_without_consent_nothing_is_played(heard: Path, tmp_path: Path) -> None:
    with store.open_caseload(heard, who="R1") as one:
        noted = store.get_client(one, "C-7QXK").consent
        store.change_client(one, "C-7QXK", {"consent": None})
    try:
        with pytest.raises(RefusedError, match="no consent to recording"):
            draw.write_pair(CaseloadHandle(heard), "C-7QXK", tmp_path, confirmed=True)
    finally:
        with store.open_caseload(heard, who="R1") as one:
            store.change_client(one, "C-7QXK", {"consent": noted})
    assert not list(tmp_path.iterdir())


def test_a_range_stands_in_the_margin_only_under_the_same_method(kept: Path) -> None:
    from sibilant import ranges
    from sibilant.methods import HOUSE_15K, OPEN_ADULT
    from sibilant.terms.reference import Comparison

    row = next(one for one in ranges.all_ranges() if one.method == "open-adult" and one.measure == "centroid_hz")
    placed = Comparison("within", (), row, 8000.0, 12, (7000.0, 9000.0))
    assert verb.bracket_of(placed, HOUSE_15K) is None, "unlike methods are never drawn on one axis"
    bracket = verb.bracket_of(placed, OPEN_ADULT)
    assert bracket is not None and (bracket.low, bracket.high) == (7000.0, 9000.0)
    assert row.basis.citation in bracket.source and row.basis.label in bracket.source


def test_the_commands_of_the_charts_page_run(kept: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where the page has its demonstration stand: a kept client, and a recording of a few invented words."""
    demo, words = tmp_path / "sibilant-demo", [lexicon.expect(word) for word in WORDS[:2]]
    for name in ("recordings", "lists"):
        (demo / name).mkdir(parents=True)
    shutil.copytree(kept, demo / "caseload")
    spoken = synthetic.probe(words, synthetic.child_speaker(5), 5)
    said = np.asarray(spoken.samples, dtype=np.float32)
    (demo / "recordings" / "C-7QXK-09.wav").write_bytes(audio.wav_bytes(said, spoken.sampling_rate_hz))
    (demo / "lists" / "C-7QXK.csv").write_text("word\n" + "\n".join(WORDS[:2]) + "\n", encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    page = (HERE.parents[1] / "docs" / "charts_for_a_report.md").read_text(encoding="utf-8")
    commands = re.findall(r"^sibilant (.+)$", page, re.M)
    assert [command.split()[0] for command in commands] == ["progress", "report", "measure"]
    for command in commands:
        assert run(shlex.split(command)) == 0, command
    assert (tmp_path / "months.svg").read_bytes().startswith(b"<?xml")
    drawn = {path.name.removeprefix("C-7QXK-").split("-170mm")[0] for path in (tmp_path / "charts").glob("*-170mm.svg")}
    told = set(re.findall(r"^\| [^|]+\? \| (\w+) \|$", page, re.M))
    assert {"months", "spread", "contexts", "heard"} <= drawn and drawn - {"sets-of-three"} <= told
    assert len(list((tmp_path / "strips").iterdir())) >= 1
