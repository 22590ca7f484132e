"""Records as HL7 FHIR: valid by an independent library, true to the caseload, nothing private. Invented data."""

from __future__ import annotations

import datetime as dt
import json
import math
import re
from dataclasses import replace
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest
from sibilant_cli.main import run

from sibilant import store
from sibilant.clinic import clients, exchange, fhir
from sibilant.clinic.caseload import CaseloadHandle
from sibilant.progress.accuracy import accuracy, main_rater, standing
from sibilant.progress.session import is_main_s, summarise
from sibilant.terms import MEASURES
from sibilant.terms.clinic import Consent, Device
from sibilant.terms.kept import Judgement

CODE = "C-7QXK"
FIRST = dt.date(2026, 3, 2)
R4 = {
    "Bundle": {"type", "entry"},
    "Patient": {"identifier"},
    "Device": {"deviceName", "type", "note"},
    "Consent": {"status", "scope", "category", "patient", "policyRule", "provision"},
    "Observation": {
        "status", "code", "subject", "effectiveDateTime", "device", "method", "valueQuantity", "valueRatio",
        "dataAbsentReason", "component", "note", "hasMember",
    },
}  # fmt: skip
"""Elements used; each stands in HL7 FHIR R4 4.0.1 under the same name and kind (from memory of its resource pages).
That they stand in R4B is checked by fhir.resources."""
UCUM = {"Hz", "dB", "ms", "s", "dB/kHz", "Hz/ms", "{ERB number}", "1", "mo", "d"}
"""Units of UCUM 2.1 used, with its annotation in braces (UCUM, sections 6 and 12; from memory)."""


@pytest.fixture
def handle(tmp_path: Path, material: ModuleType) -> CaseloadHandle:
    """One client: two judged sessions four weeks apart, and one not judged."""
    consent = Consent(FIRST, "parent (invented)", research=True)
    with store.open_caseload(tmp_path / "case") as one:
        store.add_client(one, material.client(consent=consent))
        store.add_device(one, Device("headset", "condenser", "booth", 20.0))
        for number, days in ((1, 0), (2, 28), (3, 56)):
            prompts = tuple(material.prompt_of(i) for i in range(6))
            values = [{"centroid_hz": 6000.125 + 70 * i + number, "duration_ms": 120.5 + i} for i in range(6)]
            sounds = material.new_sounds(material.token(i, each) for i, each in enumerate(values))
            recording = store.NewRecording(f"{number:064d}", 44100, 30.0, {})
            on = FIRST + dt.timedelta(days=days)
            session = replace(material.session(1), on=on, device="headset", note="nothing that leaves")
            kept = store.keep_session(one, store.NewSession(session, prompts, (recording,), sounds))
            if number < 3:
                tokens = store.read_case(one, CODE, session=kept.number).tokens
                heard = ["correct", "correct", "distorted", "correct", "omitted", "correct"]
                at = dt.datetime(2026, 6, 1, tzinfo=dt.UTC)
                marks = [Judgement(t.key, h, "R1", at) for t, h in zip(tokens, heard, strict=True)]  # type: ignore[arg-type]
                store.add_judgements(one, CODE, kept.number, marks)
    return CaseloadHandle(tmp_path / "case")


def written(handle: CaseloadHandle, to: Path) -> dict[str, Any]:
    exchange.export_fhir(handle, CODE, to)
    found: dict[str, Any] = json.loads((to / "bundle.json").read_text(encoding="utf-8"))
    return found


def of_kind(found: dict[str, Any], kind: str) -> list[dict[str, Any]]:
    return [entry["resource"] for entry in found["entry"] if entry["resource"]["resourceType"] == kind]


def test_valid_by_an_independent_library(handle: CaseloadHandle, tmp_path: Path) -> None:
    """fhir.resources (Nazrul Islam), R4B 4.3.0: reads it, and gives back the same content."""
    r4b = pytest.importorskip("fhir.resources.R4B.bundle", reason="fhir.resources is not installed")
    found = written(handle, tmp_path / "out")
    read = r4b.Bundle.model_validate_json(json.dumps(found))
    again = json.loads(read.model_dump_json())
    assert again == json.loads(json.dumps(found)) or _alike(again, found)
    for damage in ({"resourceType": "Observation"}, {"resourceType": "Patient", "age": 7}):
        with pytest.raises(ValueError):  # it is no library that lets everything pass
            r4b.Bundle.model_validate_json(json.dumps({**found, "entry": [{"resource": damage}]}))


def _alike(one: Any, other: Any) -> bool:
    """The same content; numbers that are equal are the same, however they are written."""
    if isinstance(one, dict) and isinstance(other, dict):
        return one.keys() == other.keys() and all(_alike(one[key], other[key]) for key in one)
    if isinstance(one, list) and isinstance(other, list):
        return len(one) == len(other) and all(_alike(a, b) for a, b in zip(one, other, strict=True))
    numbers = (int, float, str)
    if isinstance(one, numbers) and isinstance(other, numbers) and not isinstance(one, bool):
        return str(one) == str(other) or math.isclose(float(one), float(other), rel_tol=0, abs_tol=0)
    return bool(one == other)


def test_only_elements_that_r4_and_r4b_share_and_ucum_units(handle: CaseloadHandle, tmp_path: Path) -> None:
    found = written(handle, tmp_path / "out")
    assert found.keys() - {"resourceType"} == R4["Bundle"]
    for entry in found["entry"]:
        resource = entry["resource"]
        own = {name.removeprefix("_") for name in resource} - {"resourceType", "id", "meta"}
        assert own <= R4[resource["resourceType"]], own
    text = json.dumps(found)
    assert set(re.findall(r'"system": "http://unitsofmeasure.org", "code": "([^"]+)"', text)) <= UCUM
    for measure in MEASURES.values():
        assert measure.scope != "token" or fhir.UNITS[measure.unit] in UCUM


def test_every_figure_comes_back_as_it_is_kept(handle: CaseloadHandle, tmp_path: Path) -> None:
    """Read from the file alone, and compared with what the caseload gives for the same session and measure."""
    found = written(handle, tmp_path / "out")
    with handle.opened() as one:
        case = store.read_case(one, CODE)
    n_figures = 0
    for resource in of_kind(found, "Observation"):
        day = fhir.day_of(resource, FIRST)
        session = next(one for one in case.sessions if one.on == day)
        tokens = [token for token in case.tokens_of(session.number) if is_main_s(token)]
        coded = resource["code"]["coding"][0]
        if coded["system"].endswith("measure"):
            kept = summarise(tokens, coded["code"], case.client.method, rater="R1")
            assert resource["valueQuantity"]["value"] == kept.mean
            parts = {part["code"]["coding"][0]["code"]: part for part in resource["component"]}
            assert parts["sd"]["valueQuantity"]["value"] == kept.sd and parts["n_words"]["valueInteger"] == kept.n_words
            assert resource["method"]["coding"][0]["code"] == kept.method and " Hz; " in resource["method"]["text"]
            n_figures += 1
        elif coded["code"] == "accuracy":
            heard = accuracy(standing(tokens, main_rater(tokens)))
            ratio = resource["valueRatio"]
            assert (ratio["numerator"]["value"], ratio["denominator"]["value"]) == (heard.n_correct, heard.n_scored)
            n_figures += 1
        assert resource["device"]["reference"] == f"urn:uuid:{of_kind(found, 'Device')[0]['id']}"
    assert n_figures == 2 * 3  # two judged sessions: accuracy, centroid, duration; the third is held back
    sessions = [one for one in of_kind(found, "Observation") if "hasMember" in one]
    named = {member["reference"] for one in sessions for member in one["hasMember"]}
    assert len(sessions) == 2 and len(named) == n_figures and named <= {entry["fullUrl"] for entry in found["entry"]}


def test_consent_patient_and_mark(handle: CaseloadHandle, tmp_path: Path) -> None:
    found = written(handle, tmp_path / "out")
    (patient,), (consent,) = of_kind(found, "Patient"), of_kind(found, "Consent")
    assert patient.keys() == {"resourceType", "id", "identifier", "meta"}  # a code, and no name or birth date
    ticked = {one["purpose"][0]["code"]: one["type"] for one in consent["provision"]["provision"]}
    assert ticked == {"recording": "permit", "teaching": "deny", "research": "permit", "pooled": "deny"}
    assert consent["status"] == "active"
    clients.change_client(handle, CODE, {"consent": {"withdrawn_on": FIRST}})
    again = written(handle, tmp_path / "again")
    assert of_kind(again, "Consent")[0]["status"] == "inactive"
    assert all(one["meta"]["tag"][0]["display"] == "Invented data – not a person" for one in of_kind(found, "Patient"))


def test_nothing_private_leaves(handle: CaseloadHandle, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    text = json.dumps(written(handle, tmp_path / "out"))
    assert not re.search(r"\b(19|20)\d\d-\d\d-\d\d\b", text) and "nothing that leaves" not in text
    assert written(handle, tmp_path / "same") == json.loads(text)  # the same bytes for the same caseload
    at = ["--caseload", str(handle.folder)]
    assert run(["export", CODE, "--to", str(tmp_path / "new"), "--as", "fhir", "--new-code", *at]) == 0
    assert CODE not in (tmp_path / "new" / "bundle.json").read_text(encoding="utf-8")
    assert run(["session", "change", CODE, "1", "--note", "came with Anna", "--no-name", "Anna", *at]) in (0, 2)
    with handle.opened() as one:
        store.change_session(one, CODE, 1, {"note": "came with Anna"})
    assert run(["export", CODE, "--to", str(tmp_path / "not"), "--as", "fhir", *at]) == 3
    assert "looks like a name" in capsys.readouterr().err and not (tmp_path / "not").exists()
    assert run(["export", CODE, "--to", str(tmp_path / "not"), "--as", "fhir", "--audio", *at]) == 2
