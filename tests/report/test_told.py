"""What a report tells of two probes, of phases, of sounds left out, of contexts and of ranges is what is there."""

from __future__ import annotations

import datetime as dt
import importlib.util
import io
import sys
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from types import ModuleType
from typing import Any

import pikepdf
import pytest
from sibilant_cli.case_options import folder_of

from sibilant import charts, report, store
from sibilant.clinic import compare
from sibilant.clinic import report as verb
from sibilant.clinic.caseload import CaseloadHandle
from sibilant.listening import pictures
from sibilant.methods import HOUSE_15K
from sibilant.progress import ViewRequest, view
from sibilant.terms.by_ear import Accuracy, AccuracyCell
from sibilant.terms.case_view import CaseView
from sibilant.terms.clinic import Client
from sibilant.terms.document import Heading, Paragraph, Table
from sibilant.terms.lending import ClinicSpread
from sibilant.terms.therapy import Therapy

HERE = Path(__file__).parent


@pytest.fixture(scope="module")
def material() -> ModuleType:
    if "told_material" not in sys.modules:
        spec = importlib.util.spec_from_file_location("told_material", HERE.parent / "progress" / "material.py")
        assert spec is not None and spec.loader is not None
        sys.modules["told_material"] = importlib.util.module_from_spec(spec)
        spec.loader.exec_module(sys.modules["told_material"])
    return sys.modules["told_material"]


def told(one: CaseView, settings: report.ReportSettings, reading: ModuleType, kind: str = "quarterly") -> str:
    document = report.compose(kind, one, replace(settings, picture_forms=()))  # type: ignore[arg-type]
    return "\n".join((*reading.running(document), *reading.cells(document)))


def test_two_probes_are_named_by_their_days(
    material: ModuleType, settings: report.ReportSettings, reading: ModuleType
) -> None:
    sessions = [material.session(n, **({"device": "clip-on"} if n > 4 else {})) for n in range(1, 7)]
    case = material.case([6000] * 6, sessions=sessions)
    right = {1: 0, 2: 0, 3: 0, 4: 0, 5: 12, 6: 18}
    heard = ["correct" if t.prompt_index <= right[t.session] else "distorted" for t in case.tokens]
    tokens = tuple(
        replace(t, judgements=(material.judgement(t.key, said),)) for t, said in zip(case.tokens, heard, strict=True)
    )
    text = told(view(replace(case, tokens=tokens)), settings, reading, "monthly")
    assert "scored both on 12 January 2026 and on 26 April 2026, 18 were gained and 0 lost" in text
    assert "first and the last probe" not in text and "0 were gained" not in text


@pytest.mark.parametrize("kind", report.KINDS)
def test_therapy_under_way_is_never_told_as_a_baseline(
    kind: str, material: ModuleType, settings: report.ReportSettings, reading: ModuleType
) -> None:
    case = material.case([6000, 6050, 5960, 6040, 6700, 6800], therapy=Therapy(under_way=True))
    found = view(case)
    text = told(found, settings, reading, kind)
    text += "\n" + charts.alt_text(charts.months_chart(found, method=HOUSE_15K))
    kept = text.replace("client's own baseline", "").replace("No baseline:", "")
    assert "baseline" not in kept.casefold()
    assert "reference under treatment" in text
    assert "than in the reference under treatment" in charts.alt_text(charts.months_chart(found, method=HOUSE_15K))


def test_a_phase_that_nobody_stated_is_asked(
    material: ModuleType, settings: report.ReportSettings, reading: ModuleType
) -> None:
    sessions = [material.session(n, phase="not stated") for n in range(1, 7)]
    text = told(view(material.case([6000] * 6, sessions=sessions)), settings, reading)
    assert "6 of a phase not stated" in text and "When did therapy" in text.replace("when", "When")
    stated = told(view(material.case([6000] * 6, therapy=Therapy(dt.date(2026, 2, 1)))), settings, reading)
    assert "phase not stated" not in stated.casefold() and "3 baseline, 3 treatment" in stated


def left_out_case(material: ModuleType) -> CaseView:
    """A child who leaves /s/ out: in 16 of 20 words at first, in 2 of 20 at last."""
    case = material.case([6000] * 6)
    left_out = {1: 16, 2: 16, 3: 15, 4: 14, 5: 8, 6: 2}
    tokens = []
    for token in case.tokens:
        if token.prompt_index <= left_out[token.session]:
            made = material.token(token.prompt_index - 1, None, finding="no_frication")
            token = material.kept(token.session, made, material.judgement(made.key, "omitted"))
        tokens.append(token)
    return view(replace(case, tokens=tuple(tokens)))


def test_where_s_is_left_out_its_presence_is_followed(
    material: ModuleType, settings: report.ReportSettings, reading: ModuleType
) -> None:
    found = left_out_case(material)
    assert [(one.n_heard, one.n_scored, one.n_found, one.n_said) for one in found.presence][::5] == [
        (4, 20, 4, 20),
        (18, 20, 18, 20),
    ]
    text = told(found, settings, reading)
    assert "heard in 4 of 20 on 12 January 2026 and 18 of 20" in text
    assert "3 baseline, 3 treatment" in text and "0 baseline probes" not in text
    assert "3 baseline probes, 0 of them with enough sounds measured" in text


def test_presence_is_not_told_where_nothing_is_left_out(material: ModuleType) -> None:
    assert view(material.case([6000] * 6)).presence == ()


def test_presence_by_sound_waits_for_the_ear(material: ModuleType) -> None:
    case = material.case([6000] * 4)
    tokens = []
    for token in case.tokens:
        made = material.token(token.prompt_index - 1, None, finding="no_frication")
        marks = () if token.session == 4 else (material.judgement(made.key, "omitted"),)
        tokens.append(material.kept(token.session, made, *marks))
    last = view(replace(case, tokens=tuple(tokens))).presence[-1]
    assert (last.n_said, last.n_scored) == (0, 0)


def test_nothing_carries_over_where_nothing_was_trained_or_correct(
    material: ModuleType, settings: report.ReportSettings
) -> None:
    def headings(one: CaseView) -> set[str]:
        document = report.compose("quarterly", one, replace(settings, picture_forms=()))
        return {part.text for part in document.parts if isinstance(part, Heading)}

    none = view(material.case([6000] * 6, heard="distorted"))
    assert not headings(none) & {"Does it carry over", "By kind of word"}
    untrained = view(material.case([6000] * 6))
    assert "By kind of word" in headings(untrained) and "Does it carry over" not in headings(untrained)
    cells = tuple(
        AccuracyCell("session 6", name, Accuracy(6, 8, 0.4, 0.9, "rule"), treated=name == "treated words")
        for name in ("treated words", "untreated")
    )
    assert "Does it carry over" in headings(replace(untrained, generalisation=cells))


def contexts_of(one: CaseView, settings: report.ReportSettings) -> Table:
    document = report.compose("quarterly", one, replace(settings, picture_forms=()))
    return next(part for part in document.parts if isinstance(part, Table) and part.caption == "Where in words")


def test_contexts_without_a_difference_are_not_put_in_order(
    invented: ModuleType, material: ModuleType, settings: report.ReportSettings
) -> None:
    """ "Place 1" 7620 Hz stood beside place 2 7670: an order of figures that don't differ."""
    alike = view(material.case([6000, 6050, 5960, 6040, 6010, 6000], spread=[0.0] * 20))
    places = [row[3] for row in contexts_of(alike, settings).rows]
    assert "no difference" in places and "1" not in places
    title = charts.alt_text(charts.context_map(alike, method=HOUSE_15K)).split(".")[0]
    assert "No context differs" in title
    apart = view(material.case([6000] * 6, spread=[500.0] * 6 + [0.0] * 8 + [-500.0] * 6))
    assert contexts_of(apart, settings).rows[0][3].startswith("1")


def test_the_title_of_the_context_picture_says_what_it_shows_where_lower_is_wanted(material: ModuleType) -> None:
    case = material.case([6000] * 6, spread=[500.0] * 6 + [0.0] * 8 + [-500.0] * 6, direction="lower")
    found = view(case)
    ranked = [cell for cell in found.contexts if cell.key == "centroid_hz" and cell.rank is not None]
    highest, lowest = max(ranked, key=lambda cell: cell.mean), min(ranked, key=lambda cell: cell.mean)
    title = charts.alt_text(charts.context_map(found, method=HOUSE_15K))
    assert f"highest in {highest.name}, lowest in {lowest.name}" in title


def test_a_picture_of_some_sounds_counts_those_it_shows(monkeypatch: pytest.MonkeyPatch, material: ModuleType) -> None:
    from sibilant import audio

    titles: list[str] = []
    monkeypatch.setattr(pictures, "_panel", lambda recording, sound, *_: sound)
    monkeypatch.setattr(charts, "token_strip_pages", lambda panels, *, title, note, top_hz: titles.append(title) or ())
    recording = audio.recording_from_samples([0.0] * 44100, 44100)
    tokens = [material.token(place, 6000.0) for place in range(20)]
    sounds = [token.sound for token in tokens]
    measurements = [one for token in tokens for one in token.measurements.values()]
    pictures.strip_pages(recording, sounds, measurements, name="any", most=8)
    pictures.strip_pages(recording, sounds, measurements, name="any")
    assert titles[0].startswith("The first 8 of 20 sibilants") and titles[1].startswith("20 sibilants")


def pages_of(pdf: pikepdf.Pdf) -> list[tuple[str, int]]:
    """Kind and page (from 0) of every tagged element that says on which page it stands, in the order of reading."""
    places = {page.obj.objgen: number for number, page in enumerate(pdf.pages)}

    def walk(node: Any) -> Iterator[tuple[str, int]]:
        if isinstance(node, pikepdf.Array):
            for child in node:
                yield from walk(child)
        elif isinstance(node, pikepdf.Dictionary):
            if "/Pg" in node and "/S" in node:
                yield str(node.S), places[node.Pg.objgen]
            yield from walk(node.get("/K"))

    return list(walk(pdf.Root.StructTreeRoot))


@pytest.mark.parametrize("lines", range(0, 60, 4))
def test_a_signature_never_stands_alone_on_a_page(
    lines: int, invented: ModuleType, settings: report.ReportSettings
) -> None:
    """The last heading is that of the box of methods: the fields to sign stand on its page, however long the report."""
    document = report.compose("monthly", invented.case(7), replace(settings, picture_forms=()))
    longer = replace(document, parts=(*document.parts[:3], *(Paragraph("Room"),) * lines, *document.parts[3:]))
    with pikepdf.open(io.BytesIO(report.render(longer, "pdf"))) as pdf:
        found = pages_of(pdf)
        n_pages = len(pdf.pages)
    headings = [page for kind, page in found if kind.startswith("/H")]
    assert found[-1][1] == headings[-1] == n_pages - 1


def test_a_report_places_a_range_that_was_put_into_the_usual_caseload(
    material: ModuleType, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, reading: ModuleType
) -> None:
    folder = tmp_path / "caseload"
    case = material.case([6300, 6420, 6350, 6400])
    with store.open_caseload(
        folder, who="R1", create=True, clock=lambda: dt.datetime(2026, 8, 1, tzinfo=dt.UTC)
    ) as one:
        store.add_client(one, Client("C-7QXK", 80, material.DAY, invented=True))
        for session in case.sessions:
            tokens = case.tokens_of(session.number)
            prompts = tuple(material.prompt_of(place) for place in range(20))
            recording = store.NewRecording(f"{session.number:064d}", 44100, 30.0, {})
            rows = material.new_sounds(tokens)
            store.keep_session(one, store.NewSession(session, prompts, (recording,), rows))
            store.add_judgements(one, "C-7QXK", session.number, [j for token in tokens for j in token.judgements])
    given = tmp_path / "own.csv"
    given.write_text(
        "measure,phone,mean,sd,n_speakers,age_low_y,age_high_y,sex,population,position,cue,method,citation\n"
        "centroid_hz,s,6400,500,24,6,8,both,invented (no persons),initial,any,house-15k,Own table (invented)\n",
        encoding="utf-8",
    )
    compare.add_ranges(given, CaseloadHandle(folder))
    monkeypatch.setenv("SIBILANT_CASELOAD", str(folder))
    ticked = verb.Ticked(published_range=True)
    by_default = verb.make_report(CaseloadHandle(folder_of()), "C-7QXK", "monthly", tmp_path / "a.html", ticked=ticked)
    by_name = verb.make_report(CaseloadHandle(folder), "C-7QXK", "monthly", tmp_path / "b.html", ticked=ticked)
    assert "Own table" in "\n".join(reading.running(by_name))
    assert list(reading.running(by_default)) == list(reading.running(by_name))


@pytest.mark.parametrize("kind", ["quarterly", "school"])
def test_one_limit_is_told_with_what_it_rests_on_and_provisional_verdicts_are_called_so(
    kind: str, material: ModuleType, settings: report.ReportSettings, reading: ModuleType
) -> None:
    """Weekly baselines: the verdict, the one under a stated decay, and by the client's own baseline alone."""
    lent = ClinicSpread(60.0, 0.55, 20, dt.date(2026, 6, 1))
    case = material.case([6000, 6100, 5900, 6350, 6360])
    found = view(case, ViewRequest(lent={("centroid_hz", n): lent for n in (0, 4, 5)}))
    text = told(found, settings, reading, kind)
    change = found.changes_of("centroid_hz")[-1]
    measure = charts.wording.measure_of("centroid_hz")
    limit = charts.wording.quantity(measure, change.limit, change.limit)
    assert limit in text
    assert "spread of 20 more of the clinic's clients" in text and "fitted 1 June 2026" in text
    assert "by the client's own baseline alone: within error" in text
    assert "Provisional: baselines 7 days apart" in text and "Were days alike over 60 days:" in text
