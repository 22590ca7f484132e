"""Caseloads and exports written by earlier programs are read value for value, for ever after.

The files in ``kept/`` and the values beside them are not renewed; where the nouns change, ``case_values`` follows them
and the values stay. Invented data – not a person.
"""

from __future__ import annotations

import datetime as dt
import json
import zipfile
from pathlib import Path
from typing import Any

import pytest

from sibilant import store
from sibilant.clinic.caseload import CaseloadHandle
from sibilant.clinic.exchange import import_folder
from sibilant.terms import NOT_MEASURED, Measurement, Sound
from sibilant.terms.clinic import Case
from sibilant.terms.kept import KeptToken

KEPT = Path(__file__).parent / "kept"
FORMATS = ("format2", "format4", "format8", "format9", "format10")
MEASURED = "C-M4RT"
"""A second client of the ninth format, whose words were really measured; the second session lies in the bin."""
BEFORE_THE_BIN_ENDS = dt.datetime(2026, 11, 28, 9, tzinfo=dt.UTC)
PASSPHRASE = "four invented herons wade"
CODE = "C-7QXK"
FIRST_PROBE = dt.date(2026, 1, 12)
CLIP = b"invented bytes, no sound"


def unpacked(name: str, to: Path) -> Path:
    """The folder of a kept file, as it was written."""
    with zipfile.ZipFile(KEPT / f"{name}.zip") as kept:
        kept.extractall(to)
    return to / name.partition("_")[2]


def text_of(value: Any) -> Any:
    """A value as JSON holds it."""
    return value if value is None or isinstance(value, int | float | str) else str(value)


def shown(noun: Any, *names: str) -> dict[str, Any]:
    """Named parts of a noun."""
    return {name: text_of(getattr(noun, name)) for name in names}


def client_values(case: Case) -> dict[str, Any]:
    """All that is kept of the client."""
    client, consent, rule = case.client, case.client.consent, case.client.move_up
    assert consent is not None and rule is not None
    parts = (
        "code", "age_months", "age_on", "group", "language", "dialect", "reason", "hearing",
        "hearing_on", "main_measure", "direction", "method", "list_form", "held", "added_on", "invented",
    )  # fmt: skip
    return {
        **shown(client, *parts),
        "consent": shown(consent, "given_on", "by", "recording", "teaching", "research", "withdrawn_on", "note"),
        "move_up": shown(rule, "share", "n_sessions", "n_tokens", "source"),
        "retention": shown(client.retention, "text", "months"),
        "treated": {word: str(day) for word, day in client.treated.items()},
    }


def case_values(case: Case) -> dict[str, Any]:
    """All that is kept of a client, as plain values that do not know how the nouns are cut."""
    session = ("number", "on", "level", "cue", "device", "room", "list_form", "phase", "modelled",
               "bridge", "keep", "verdict", "note")  # fmt: skip
    earlier = (
        "on",
        "source",
        "level",
        "cue",
        "list_form",
        "n_correct",
        "n_scored",
        "measure",
        "value",
        "sd",
        "n",
        "note",
    )
    return {
        "client": client_values(case),
        "sessions": [{**shown(one, *session), "recordings": list(one.recordings)} for one in case.sessions],
        "events": [shown(one, "on", "text") for one in case.events],
        "devices": [shown(one, "name", "kind", "place", "distance_cm", "added_on") for one in case.devices],
        "earlier": [shown(one, *earlier) for one in case.earlier],
        "sounds": [sound_values(one) for one in case.tokens],
    }


def sound_values(kept: KeptToken) -> dict[str, Any]:
    """All that is kept of a sound: what was observed, measured under each method, judged, corrected."""
    judged = (
        "heard",
        "rater",
        "on",
        "substitute",
        "certainty",
        "line",
        "cue",
        "self_corrected",
        "note",
        "blind",
        "turn",
    )
    corrected = ("by", "on", "onset_s", "offset_s", "voice", "counts")
    return {
        **shown(kept, "key", "session", "prompt_index", "prompt", "attempt", "treated", "level", "cue", "clip"),
        **observed_values(kept.sound),
        "measured": {label: measured_values(one) for label, one in kept.measurements.items()},
        "judgements": [{**shown(one, *judged), "types": list(one.types)} for one in kept.judgements],
        "corrections": [shown(one, *corrected) for one in kept.corrections],
    }


def observed_values(observed: Sound) -> dict[str, Any]:
    """What does not hang on the method."""
    spoken, slot, sound = observed.utterance, observed.slot, observed.edges
    assert spoken is not None and slot is not None
    assert spoken.prompt is not None
    bounded = None
    if sound is not None:
        edges = {name: shown(getattr(sound, name), "onset_s", "offset_s") for name in ("automatic", "core", "interval")}
        bounded = {**edges, **shown(sound, "boundary", "confidence"), "flags": list(sound.flags)}
        for name in ("onset", "offset"):
            bounded[f"{name}_edge"] = shown(
                getattr(sound, name), "time_s", "beside", "uncertainty_ms", "confidence", "floor_limited"
            )
    return {
        "finding": observed.finding,
        "slot": shown(slot, "phone", "index", "position", "cluster", "vowel_after"),
        "spoken": shown(spoken, "attempt", "confidence", "voice", "sure", "counts"),
        "spoken_at": shown(spoken.interval, "onset_s", "offset_s"),
        "said": [[word.spelling, *word.phones] for word in spoken.prompt.words],
        "sound": bounded,
    }


def measured_values(measured: Measurement) -> dict[str, Any]:
    """What one method measured, and by which definition."""
    one, method = measured.measures, measured.method
    figures = None
    if one != NOT_MEASURED:
        figures = {name: dict(getattr(one, name)) for name in ("values", "low", "high", "boundary")}
        figures |= {"flags": list(one.flags), **shown(one, "n_frames", "sampling_rate_hz")}
        figures["band_hz"] = list(one.band_hz or ())
        figures["region"] = None if one.region is None else shown(one.region, "onset_s", "offset_s")
    defined = {**shown(method, "name", "version"), "band_hz": list(method.band_hz)}
    borne = {**shown(measured, "snr_db", "bandwidth_hz"), "flags": list(measured.flags)}
    return {"figures": figures, "method": defined, **borne}


def all_values(case: Case) -> list[dict[str, Any]]:
    """What is kept of every sound, with what goes into a session's figures, and where a reader put the slot."""
    found = []
    for kept in case.tokens:
        shown_of = sound_values(kept)
        for label, one in kept.measurements.items():
            shown_of["measured"][label]["uncut"] = {key: list(three) for key, three in one.measures.uncut.items()}
            shown_of["measured"][label]["sums"] = dict(one.measures.sums)
        place = kept.sound.place
        shown_of["place"] = None if place is None else [place.onset_s, place.offset_s, kept.sound.slot_probability]
        found.append({**shown_of, "reader": kept.sound.reader})
    return found


RENAMED = {"model with cue": "model with a cue"}
"""Words of the vocabulary that are called otherwise since."""


def values_in(name: str) -> Any:
    """The values kept beside a file, as the program that wrote it read them."""
    kept = json.loads((KEPT / f"{name}_values.json").read_text(encoding="utf-8"))
    for session in kept["sessions"]:
        session["cue"] = RENAMED.get(session["cue"], session["cue"])
    return kept


@pytest.mark.parametrize("form", ["plain", "encrypted"])
@pytest.mark.parametrize("written", FORMATS)
def test_a_kept_caseload_is_read_value_for_value(
    written: str, form: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("SIBILANT_PASSPHRASE", PASSPHRASE)
    folder = unpacked(f"{written}_{form}", tmp_path)
    with store.open_caseload(folder, create=False) as one:
        assert one.encrypted == (form == "encrypted")
        case = store.read_case(one, CODE)
        assert case_values(case) == values_in(written)
        assert case.set_aside == ()
        assert store.clip_bytes(one, case.tokens[0].clip, ".flac") == CLIP
        assert store.judging_order(one, CODE, 1, "R2", 1) == ("2.1.1", "1.1.1")


@pytest.mark.parametrize("written", FORMATS)
def test_a_kept_export_is_read_value_for_value(written: str, tmp_path: Path) -> None:
    folder = unpacked(f"{written}_export", tmp_path)
    import_folder(CaseloadHandle(tmp_path / "case"), folder, day_zero=FIRST_PROBE)
    with store.open_caseload(tmp_path / "case", create=False) as one:
        case = store.read_case(one, CODE)
        assert case_values(case) == values_in(written)
        assert store.clip_bytes(one, case.tokens[0].clip, ".flac") == CLIP


@pytest.mark.parametrize("form", ["plain", "encrypted", "export"])
@pytest.mark.parametrize("written", FORMATS[2:])
def test_what_stood_around_kept_words_is_read_from_the_eighth_format_on(
    written: str, form: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("SIBILANT_PASSPHRASE", PASSPHRASE)
    folder = unpacked(f"{written}_{form}", tmp_path)
    if form == "export":
        import_folder(CaseloadHandle(tmp_path / "case"), folder, day_zero=FIRST_PROBE)
        folder = tmp_path / "case"
    with store.open_caseload(folder, create=False) as one:
        found = store.read_surroundings(one, CODE)
        (choice,) = store.read_case(one, CODE).choices
    assert (choice.on, choice.method, choice.before) == (dt.date(2026, 2, 3), "house-15k", "house-10k/2")
    assert [sorted(words) for words in found.values()] == [[(1, 1), (2, 1)]] * 2
    first, second = found[1][1, 1], found[1][2, 1]
    assert first.cut is not None and (first.cut.frequency_hz, second.cut) == (15_983.7, None)
    assert first.noise is not None and first.noise.dof == 1000 / 3 and first.noise.power_density.size == 442
    assert first.noise.power_density[:2].tolist() == [7.179358258214197e-10, 7.102301360861854e-10]
    assert first.support["1.1.1"].snr_db == 20.0 + 1 / 3 and first.support["1.1.x1"].noise is None


@pytest.mark.parametrize("form", ["plain", "encrypted", "measured_export"])
def test_measured_words_of_the_ninth_format_are_read_value_for_value_from_the_bin_too(
    form: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("SIBILANT_PASSPHRASE", PASSPHRASE)
    folder = unpacked(f"format9_{form}", tmp_path)
    if form == "measured_export":
        import_folder(CaseloadHandle(tmp_path / "case"), folder, day_zero=FIRST_PROBE)
        folder = tmp_path / "case"
    written = json.loads((KEPT / "format9_measured_values.json").read_text(encoding="utf-8"))
    for one in (each["figures"]["values"] for sound in written for each in sound["measured"].values()):
        one["tonality_1_db"] = one.pop("tonality_db")  # its name since `whistle_width_hz` stands beside another measure
    with store.open_caseload(folder, create=False, clock=lambda: BEFORE_THE_BIN_ENDS) as one:
        for entry in store.entries(one, MEASURED):
            assert all_values(store.read_case(one, MEASURED)) == [each for each in written if each["session"] == 1]
            assert store.bring_back(one, entry) == 2
        assert all_values(store.read_case(one, MEASURED)) == written
        assert store.look_at_rows(one).damaged == ()
    figures = [each["figures"] for sound in written for each in sound["measured"].values()]
    assert len(figures) == 12 and all(len(one["values"]) > 20 and one["low"] and one["boundary"] for one in figures)
    assert all(one["uncut"] and one["sums"] for sound in written for one in sound["measured"].values())


def test_the_kept_values_hold_what_they_should() -> None:
    for written in FORMATS:
        kept = values_in(written)
        assert len(kept["sessions"]) == 2 and len(kept["sounds"]) == 8
        assert {one["session"] for one in kept["sounds"]} == {1, 2}
        first, second = kept["sounds"][:2]
        assert first["measured"]["house-15k/1"]["figures"]["values"]["centroid_hz"] == pytest.approx(6000 + 1 / 3)
        assert second["sound"]["interval"] == {"onset_s": 1.01, "offset_s": 1.1}
        assert [one["heard"] for one in second["judgements"]] == ["distorted", "correct"]
        assert kept["events"] and kept["devices"] and kept["earlier"]
