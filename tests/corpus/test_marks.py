"""What a corpus brings: words no dictionary holds, stretches a person marked. Invented data – not a person."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import numpy as np
import pytest
import soundfile as sf

from sibilant import corpus
from sibilant.lexicon import expect
from sibilant.prompts import phone_named
from sibilant.synthetic import in_room, say, woman
from sibilant.tables import read_intervals

TEXT = "Lucy laughed and passed blorft a biscuit"


def rows_of(folder: Path) -> list[dict[str, str]]:
    corpus.run(corpus.CorpusRequest(folder / "in", folder / "out", workers=1))
    with (folder / "out" / "tokens.csv").open(encoding="utf-8") as stream:
        return list(csv.DictReader(stream))


@pytest.fixture(scope="module")
def sentence(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict[str, tuple[float, float]]]:
    """Write a folder with one sentence, its words, and a person's marks of two of its sibilants and a breath."""
    folder = tmp_path_factory.mktemp("marks")
    (folder / "in").mkdir()
    speaker = woman(5)
    made = in_room(say(expect(TEXT, guess=True), speaker, 5), speaker, 5, snr_db=40.0)
    sf.write(folder / "in" / "a.wav", np.asarray(made.samples), made.sampling_rate_hz)
    (folder / "in" / "a.csv").write_text(f"word\n{TEXT}\n")
    true = [(s.interval.onset_s, s.interval.offset_s) for s in made.truth.sibilants]
    marks = {"s": true[0], "θ": true[1], "breath": (0.01, 0.09)}
    cues = "\n".join(f"00:0{a:.3f} --> 00:0{b:.3f}\n{label}\n" for label, (a, b) in marks.items())
    (folder / "in" / "a.vtt").write_text(f"WEBVTT\n\n{cues}")
    return folder, marks


def test_marks_give_their_slots_edges_and_the_rest_is_found_as_ever(
    sentence: tuple[Path, dict[str, tuple[float, float]]],
) -> None:
    folder, marks = sentence
    rows = rows_of(folder)
    by_label = {row["label"]: row for row in rows if row["label"]}
    assert set(by_label) == set(marks)
    first = by_label["s"]
    assert (first["word"], first["slot"], first["finding"], first["boundary"]) == ("lucy", "1", "found", "reviewed")
    assert float(first["onset_s"]) == pytest.approx(marks["s"][0], abs=0.001)
    # a phone that no slot expects is a row of its own, found as what it was called; what is no phone stays a question
    assert (by_label["θ"]["phone"], by_label["θ"]["slot"], by_label["θ"]["finding"]) == ("TH", "", "found")
    assert (by_label["breath"]["phone"], by_label["breath"]["finding"]) == ("", "extra")
    # the slot whose sound the person calls another is doubted, the one nobody marked is as it was found
    slots = {row["slot"]: row for row in rows if row["slot"]}
    assert (slots["2"]["word"], slots["2"]["finding"]) == ("passed", "unsure")
    assert (slots["3"]["word"], slots["3"]["finding"], slots["3"]["boundary"]) == ("biscuit", "found", "automatic")


def test_a_word_no_dictionary_holds_costs_its_own_slots_and_no_other(tmp_path: Path) -> None:
    said = expect("Lucy passed a snorched biscuit", guess=True)
    speaker = woman(6)
    made = in_room(say(said, speaker, 6), speaker, 6, snr_db=40.0)
    (tmp_path / "in").mkdir()
    sf.write(tmp_path / "in" / "a.wav", np.asarray(made.samples), made.sampling_rate_hz)
    (tmp_path / "in" / "a.csv").write_text(f"word\n{said.text}\n")
    order = corpus.CorpusRequest(tmp_path / "in", tmp_path / "out", workers=1)
    assert "said as guessed, so never more than unsure: snorched" in corpus.preview(order)[1]
    rows = rows_of(tmp_path)
    assert [(row["word"], row["finding"], "guessed" in row["flags"]) for row in rows if row["phone"] == "S"] == [
        ("lucy", "found", False), ("passed", "found", False), ("snorched", "unsure", True), ("biscuit", "found", False),
    ]  # fmt: skip


def test_open_label_formats_give_the_same_stretches(tmp_path: Path) -> None:
    (tmp_path / "a.csv").write_text("onset_s,offset_s,label\n1.25,1.5,s\n62.0,62.5,two words\n")
    (tmp_path / "b.csv").write_text("phone,onset_s,offset_s\ns,1.25,1.5\ntwo words,62.0,62.5\n")
    # WebVTT: W3C Candidate Recommendation, section 1.1 and 4: hours optional, identifiers, notes, settings, tags
    (tmp_path / "a.vtt").write_text(
        "WEBVTT - marks\n\nNOTE made by hand\n\n1\n00:01.250 --> 00:01.500 align:start\n<v Ann>s\n\n"
        "00:01:02.000 --> 00:01:02.500\ntwo\nwords\n"
    )
    # Web Annotation Data Model, W3C Recommendation 2017, section 4.2.1 (FragmentSelector); Media Fragments 4.2.1 (npt)
    target = {"source": "https://example.org/a.wav", "selector": {"type": "FragmentSelector", "value": "t=1.25,1.5"}}
    items = [
        {"type": "Annotation", "body": {"type": "TextualBody", "value": "s"}, "target": target},
        {"type": "Annotation", "bodyValue": "two words", "target": "a.wav#t=npt:1:02,1:02.5"},
    ]
    page = {"@context": "http://www.w3.org/ns/anno.jsonld", "type": "AnnotationPage", "items": items}
    (tmp_path / "a.jsonld").write_text(json.dumps(page))
    read = {name: read_intervals(tmp_path / name) for name in ("a.csv", "b.csv", "a.vtt", "a.jsonld")}
    for rows in read.values():
        assert [(r.onset_s, r.offset_s, r.label) for r in rows] == [(1.25, 1.5, "s"), (62.0, 62.5, "two words")]
    assert {row.recording for row in read["a.jsonld"]} == {"a.wav"}


def test_any_sign_of_a_phone_names_one() -> None:
    named = {label: phone_named(label) for label in ("s", "/z/", "[ʃ]", "θ", "ʂ", "ɬ", "ts", "breath", "")}
    assert named == {
        "s": "S", "/z/": "Z", "[ʃ]": "SH", "θ": "TH", "ʂ": "SH", "ɬ": "TH", "ts": "", "breath": "", "": "",
    }  # fmt: skip


def cut_off(samples: np.ndarray, rate: int, at_hz: float) -> np.ndarray:
    spectrum = np.fft.rfft(samples)
    spectrum[np.fft.rfftfreq(samples.size, 1 / rate) > at_hz] = 0.0
    return np.fft.irfft(spectrum, samples.size)


def test_where_recordings_are_cut_off_is_judged_by_speaker_device_and_rate(tmp_path: Path) -> None:
    lines = ["recording,prompts,speaker,device"]
    for k, (device, cut) in enumerate([("phone", True)] * 3 + [("phone", False), ("desk", False)]):
        speaker = woman(7)
        made = in_room(say(expect("seal"), speaker, k), speaker, k, snr_db=45.0)
        samples = np.asarray(made.samples, float)
        sf.write(tmp_path / f"{k}.wav", cut_off(samples, made.sampling_rate_hz, 8000.0) if cut else samples,
                 made.sampling_rate_hz)  # fmt: skip
        lines.append(f"{k}.wav,seal,S1,{device}")
    (tmp_path / "m.csv").write_text("\n".join(lines) + "\n")
    order = corpus.CorpusRequest(tmp_path / "m.csv", tmp_path / "out", workers=1)
    outcome = corpus.run(order)
    with (tmp_path / "out" / "tokens.csv").open(encoding="utf-8") as stream:
        refused = {row["recording"]: "band_too_wide" in row["flags"] for row in csv.DictReader(stream)}
    assert refused == {"0.wav": True, "1.wav": True, "2.wav": True, "3.wav": True, "4.wav": False}
    assert any("in 3 of 4, taken for all; 1 read otherwise alone" in note for note in outcome.notes)
    assert corpus.verify(order)[0].startswith("same to the byte")
