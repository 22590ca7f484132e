"""One client as HL7 FHIR resources, by elements that R4 (4.0.1) and R4B (4.3.0) have in common.

A bundle of one Patient by its code, one Device a microphone, one Consent, and for each session an Observation that
holds its conditions, with one Observation more for each figure: the ear's accuracy, and the mean of each measure under
its method. No calendar date leaves: days count from the first probe, by the standard extension for relative times.
Words, single sounds and judgements have no place there; the CSV export has them.
"""

from __future__ import annotations

import datetime as dt
import json
import math
import uuid
from collections.abc import Mapping
from typing import Any

from .. import methods
from ..errors import MethodError
from ..progress.accuracy import accuracy, main_rater, standing
from ..progress.session import expected, is_main_s, summarise
from ..terms import MEASURES
from ..terms.by_ear import Accuracy
from ..terms.clinic import Case, Client, Device, Session
from ..terms.summaries import MeasureSummary

Resource = dict[str, Any]
SYSTEM = "tag:sibilant,2026:"
UCUM = "http://unitsofmeasure.org"
RELATIVE = "http://hl7.org/fhir/StructureDefinition/cqf-relativeDateTime"
SPACE = uuid.UUID("7b0c6a2e-6f0e-4a55-9d38-0d0f5a1b7c11")
"""Names are made from it and the client's code, so that the same export gives the same bytes."""
UNITS = {
    "Hz": "Hz",
    "dB": "dB",
    "ms": "ms",
    "s": "s",
    "dB/kHz": "dB/kHz",
    "Hz/ms": "Hz/ms",
    "Hz/s": "Hz/s",
    "ERB number": "{ERB number}",
    "": "1",
}
"""Our units as UCUM writes them; an ERB number is a count, so an annotation."""
INVENTED = {"system": f"{SYSTEM}mark", "code": "invented", "display": "Invented data – not a person"}
PERMITTED = ("recording", "teaching", "research", "pooled")
CAUTION = "Supporting evidence for a clinician's judgement; no diagnosis, and never in place of the judgement."


def bundle(case: Case, code: str) -> Resource:
    """Return a client's case as a FHIR bundle under a code; figures only of sessions that the ear has judged.

    Examples
    --------
    >>> found = bundle(Case(Client("C-7QXK", 88, dt.date(2026, 1, 12), invented=True)), "C-7QXK")
    >>> [entry["resource"]["resourceType"] for entry in found["entry"]]
    ['Patient']
    """
    patient = _patient(case.client, code)
    devices = {device.name: _device(device, code) for device in case.devices}
    resources = [patient, *devices.values(), *_consent(case, code)]
    zero = min((session.on for session in case.sessions), default=case.client.age_on)
    first = _name(code, "session", _first(case)) if case.sessions else patient["id"]
    for session in case.sessions:
        figures = _figures(case, session, code)
        about = _session(case, session, code, [one["id"] for one in figures])
        for one in (about, *figures):
            one["_effectiveDateTime"] = _after(first, (session.on - zero).days)
            if session.device in devices:
                one["device"] = _reference(devices[session.device])
        resources += [about, *figures]
    if case.client.invented:
        for one in resources:
            one["meta"] = {"tag": [INVENTED]}
    entries = [{"fullUrl": f"urn:uuid:{one['id']}", "resource": one} for one in resources]
    return {"resourceType": "Bundle", "type": "collection", "entry": entries}


def text_of(found: Resource) -> str:
    """Return a bundle as JSON text."""
    return json.dumps(found, indent=1, ensure_ascii=False) + "\n"


def _first(case: Case) -> int:
    return min(case.sessions, key=lambda session: (session.on, session.number)).number


def _name(code: str, *parts: object) -> str:
    return str(uuid.uuid5(SPACE, "/".join((code, *map(str, parts)))))


def _reference(resource: Mapping[str, Any]) -> Resource:
    return {"reference": f"urn:uuid:{resource['id']}"}


def _coded(kind: str, code: str, text: str) -> Resource:
    return {"coding": [{"system": f"{SYSTEM}{kind}", "code": code}], "text": text}


def _after(first: str, days: int) -> Resource:
    """A moment known as days after the first probe's only."""
    offset = {"value": days, "unit": "days", "system": UCUM, "code": "d"}
    parts = (
        {"url": "target", "valueReference": {"reference": f"urn:uuid:{first}"}},
        {"url": "targetPath", "valueString": "Observation.effective"},
        {"url": "relationship", "valueCode": "after" if days else "concurrent"},
        {"url": "offset", "valueDuration": offset},
    )
    return {"extension": [{"url": RELATIVE, "extension": list(parts)}]}


def _patient(client: Client, code: str) -> Resource:
    return {
        "resourceType": "Patient",
        "id": _name(code, "patient"),
        "identifier": [{"system": f"{SYSTEM}client", "value": code}],
    }


def _device(device: Device, code: str) -> Resource:
    notes = [{"text": f"place: {device.place}"}] if device.place else []
    notes += [{"text": f"distance: {device.distance_cm:g} cm"}] if device.distance_cm is not None else []
    return {
        "resourceType": "Device",
        "id": _name(code, "device", device.name),
        "deviceName": [{"name": device.name, "type": "user-friendly-name"}],
        **({"type": {"text": device.kind}} if device.kind else {}),
        **({"note": notes} if notes else {}),
    }


def _consent(case: Case, code: str) -> list[Resource]:
    """What was agreed to, or nothing where no consent is on record."""
    consent = case.client.consent
    if consent is None:
        return []
    ticked = [
        {"type": "permit" if getattr(consent, scope) else "deny", "purpose": [_purpose(scope)]} for scope in PERMITTED
    ]
    return [
        {
            "resourceType": "Consent",
            "id": _name(code, "consent"),
            "status": "active" if consent.withdrawn_on is None else "inactive",
            "scope": {
                "coding": [{"system": "http://terminology.hl7.org/CodeSystem/consentscope", "code": "patient-privacy"}]
            },
            "category": [{"coding": [{"system": "http://loinc.org", "code": "59284-0"}], "text": "Consent document"}],
            "patient": {"reference": f"urn:uuid:{_name(code, 'patient')}"},
            "policyRule": {"text": "the clinic's own policy and local rules"},
            "provision": {"type": "deny", "provision": ticked},
        }
    ]


def _purpose(scope: str) -> Resource:
    return {"system": f"{SYSTEM}consent-scope", "code": scope}


def _observation(code: str, what: tuple[object, ...], coded: Resource) -> Resource:
    return {
        "resourceType": "Observation",
        "id": _name(code, *what),
        "status": "final",
        "code": coded,
        "subject": {"reference": f"urn:uuid:{_name(code, 'patient')}"},
    }


def _session(case: Case, session: Session, code: str, figures: list[str]) -> Resource:
    """The session itself: its conditions as components, its figures as members."""
    made = _observation(code, ("session", session.number), _coded("observation", "probe", "Probe of practice words"))
    told = ("level", "cue", "phase", "elicited", "list_form", "verdict")
    components: list[Resource] = [
        {"code": _coded("condition", name, name.replace("_", " ")), "valueString": str(getattr(session, name))}
        for name in told
        if getattr(session, name)
    ]
    age = case.client.age_months_on(session.on)
    components.append({"code": _coded("condition", "age", "age"), "valueQuantity": quantity(age, "mo")})
    components.append({"code": _coded("condition", "number", "session"), "valueInteger": session.number})
    members = {"hasMember": [{"reference": f"urn:uuid:{one}"} for one in figures]} if figures else {}
    return {**made, "component": components, "note": [{"text": CAUTION}], **members}


def quantity(value: float, unit: str) -> Resource:
    """Return a quantity in a UCUM unit, its number as it is kept.

    Examples
    --------
    >>> quantity(6512.25, "Hz")["code"]
    'Hz'
    """
    return {"value": value, "unit": unit, "system": UCUM, "code": unit}


def _figures(case: Case, session: Session, code: str) -> list[Resource]:
    """Observations of what was heard and measured; none before the session's whole set is judged."""
    tokens = [token for token in case.tokens_of(session.number) if is_main_s(token)]
    if not case.opens_session(session.number) or not expected(tokens):
        return []
    judged = standing(tokens, rater := main_rater(tokens))
    found = [_heard(accuracy(judged, rater=rater), session, code)] if judged else []
    for key, measure in MEASURES.items():
        if measure.scope == "token":
            summary = summarise(tokens, key, case.client.method, rater=rater)
            if math.isfinite(summary.mean):
                found.append(_measured(summary, session, code))
    return found


def _heard(heard: Accuracy, session: Session, code: str) -> Resource:
    made = _observation(code, ("heard", session.number), _coded("observation", "accuracy", "/s/ heard as correct"))
    ratio = {"numerator": quantity(heard.n_correct, "1"), "denominator": quantity(heard.n_scored, "1")}
    method = {"text": f"judged by ear; counted: {heard.rule}"}
    if not heard.n_scored:
        return {**made, "method": method, "dataAbsentReason": {"text": "nothing could be scored"}}
    return {**made, "method": method, "valueRatio": ratio}


def _measured(summary: MeasureSummary, session: Session, code: str) -> Resource:
    measure = MEASURES[summary.key]
    unit = UNITS[measure.unit]
    coded = _coded("measure", summary.key, f"{measure.name} of /s/, mean over words")
    made = _observation(code, (summary.key, session.number), coded)
    numbers = {"sd": summary.sd, "interval_low": summary.low, "interval_high": summary.high}
    components: list[Resource] = [
        {"code": _coded("statistic", name, name.replace("_", " ")), "valueQuantity": quantity(value, unit)}
        for name, value in numbers.items()
        if math.isfinite(value)
    ]
    components.append({"code": _coded("statistic", "n_words", "words measured"), "valueInteger": summary.n_words})
    components.append({"code": _coded("statistic", "counted", "counted"), "valueString": summary.counted})
    return {
        **made,
        "method": _coded("method", summary.method, f"{_band(summary.method)}; {measure.meaning}"),
        "valueQuantity": quantity(summary.mean, unit),
        "component": components,
    }


def _band(label: str) -> str:
    """A method by its name and band, where this program has it."""
    try:
        low, high = methods.get_method(label).band_hz
    except MethodError:
        return label
    return f"{label}, {low:g} to {high:g} Hz"


def days_after(resource: Mapping[str, Any]) -> int:
    """Return the days after the first probe that an Observation of such a bundle stands for.

    Examples
    --------
    >>> days_after({"_effectiveDateTime": _after("x", 28)})
    28
    """
    parts = resource["_effectiveDateTime"]["extension"][0]["extension"]
    return int(next(part["valueDuration"]["value"] for part in parts if part["url"] == "offset"))


def day_of(resource: Mapping[str, Any], zero: dt.date) -> dt.date:
    """Return the day of an Observation of such a bundle, given the day of the first probe."""
    return zero + dt.timedelta(days=days_after(resource))
