"""Other clients' spreads in a caseload: who lends, what is kept, and that a verdict keeps its numbers.

Invented data – not a person.
"""

from __future__ import annotations

import datetime as dt
import json
import shutil
import sqlite3
import time
from dataclasses import replace
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest

from sibilant import progress, store
from sibilant.clinic import exchange, lending, plan, summarise, worked_out
from sibilant.clinic.caseload import CaseloadHandle
from sibilant.errors import NoRoomError
from sibilant.store.opening import open_caseload
from sibilant.terms.change import LARGER
from sibilant.terms.clinic import Client, Consent, Device
from sibilant.terms.lending import BaselineSpread, DeviceProbe, Given, Lender
from sibilant.terms.therapy import Therapy

START = dt.date(2026, 1, 5)
NOON = dt.datetime(2026, 12, 1, 12, tzinfo=dt.UTC)
BASELINES = [START + dt.timedelta(days=21 * i) for i in range(3)]
DAYS = [*BASELINES, *(START + dt.timedelta(days=80 + 30 * i) for i in range(3))]


def keep_client(
    one: store.Caseload, material: ModuleType, seed: int, *, pooled: bool, later: float | None = None
) -> str:
    """A client with three baselines three weeks apart, day SD 150 Hz, and with ``later`` two probes shifted by it."""
    code = store.new_code(set(store.codes(one)))
    consent = Consent(START, "parent", pooled=pooled)
    therapy = Therapy(dt.date(2026, 3, 1))
    client = Client(code, 80, START, direction="higher", invented=True, consent=consent, therapy=therapy)
    store.add_client(one, replace(client, main_measure="centroid_hz", method="house-15k"))
    random = np.random.default_rng(seed)
    shifts = [0.0] * 3 + ([later] * 2 if later is not None else [])
    for place, (day, shift) in enumerate(zip(DAYS, shifts, strict=False)):
        mean = 6000 + shift + random.normal(0, 150)
        sounds = [material.token(i, float(mean + 25 * i + random.normal(0, 60))) for i in range(20)]
        session = replace(material.session(1), client=code, number=0, on=day, phase="not stated")
        prompts = tuple(material.prompt_of(i) for i in range(20))
        recording = store.NewRecording(f"{seed:032x}{place:032x}", 44100, 30.0, {"verdict": "usable"})
        store.keep_session(one, store.NewSession(session, prompts, (recording,), material.new_sounds(sounds)))
    return code


@pytest.fixture(scope="module")
def template(tmp_path_factory: pytest.TempPathFactory, material: ModuleType) -> tuple[Path, str]:
    """Fourteen clients that lend, one that doesn't, and the client followed."""
    folder = tmp_path_factory.mktemp("clinic") / "caseload"
    folder.mkdir()
    (folder / "caseload.toml").write_text("ear_first = false\n")
    with open_caseload(folder, clock=lambda: NOON, create=True) as one:
        for seed in range(1, 15):
            keep_client(one, material, seed, pooled=True)
        keep_client(one, material, 15, pooled=False)
        own = keep_client(one, material, 99, pooled=False, later=800.0)
        lending.other_lenders(one, own)
    return folder, own


@pytest.fixture
def clinic(tmp_path: Path, template: tuple[Path, str]) -> tuple[Path, str]:
    """The same, to be changed."""
    shutil.copytree(template[0], tmp_path / "caseload")
    return tmp_path / "caseload", template[1]


def _open(folder: Path) -> store.Caseload:
    return open_caseload(folder, clock=lambda: NOON)


def _spreads(folder: Path, code: str) -> list[BaselineSpread]:
    with _open(folder) as one:
        return [s for each in lending.other_lenders(one, code) for s in each.spreads if s.measure == "centroid_hz"]


def _given(folder: Path, code: str) -> dict[tuple[str, int], Given]:
    with _open(folder) as one:
        return dict(store.read_case(one, code).given)


def _lenders(folder: Path) -> list[str]:
    with _open(folder) as one:
        return [c.code for c in store.clients(one) if c.consent and c.consent.pooled]


def test_those_who_agreed_lend_and_nobody_else(clinic: tuple[Path, str]) -> None:
    folder, own = clinic
    found = _spreads(folder, own)
    assert len(found) == 14
    assert all(s.df == 2 and s.method.startswith("house-15k") and s.level == "word" for s in found)
    with _open(folder) as one:
        lender = next(c for c in store.clients(one) if c.consent and c.consent.pooled)
    assert len(_spreads(folder, lender.code)) == 13, "a client's own values are left out"


def test_withdrawing_takes_the_spread_away(clinic: tuple[Path, str]) -> None:
    folder, own = clinic
    assert len(_spreads(folder, own)) == 14
    with _open(folder) as one:
        lender = next(c for c in store.clients(one) if c.consent and c.consent.pooled)
        assert lender.code in store.kept_lenders(one)
        store.change_client(one, lender.code, {"consent": replace(lender.consent, withdrawn_on=START)})
    assert len(_spreads(folder, own)) == 13
    with _open(folder) as one:
        assert lender.code not in store.kept_lenders(one)


def test_only_what_changed_is_read_again(
    clinic: tuple[Path, str], material: ModuleType, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder, own = clinic
    _spreads(folder, own)
    read: list[str] = []
    real = store.read_case
    monkeypatch.setattr(store, "read_case", lambda caseload, code: read.append(code) or real(caseload, code))
    assert len(_spreads(folder, own)) == 14 and read == []
    with _open(folder) as one:
        lender = next(c for c in store.clients(one) if c.consent and c.consent.pooled)
        store.remove_session(one, lender.code, 2)
    assert len(_spreads(folder, own)) == 13 and read == [lender.code]
    with _open(folder) as one:
        store.change_session(one, lender.code, 1, {"room": "4"})
        new = keep_client(one, material, 77, pooled=True)
    assert len(_spreads(folder, own)) == 14 and sorted(read[1:]) == sorted([lender.code, new])


def test_the_verdict_is_given_with_the_clinics_limit_and_keeps_its_numbers(clinic: tuple[Path, str]) -> None:
    folder, own = clinic
    view, _ = summarise.case_view(CaseloadHandle(folder), own)
    first = view.changes_of("centroid_hz")
    assert [one.lent.n_clients for one in first if one.lent] == [14, 14]
    assert first[0].verdict == LARGER and first[0].limit != first[0].plain_limit
    assert first[0].lent is not None and first[0].lent.fitted_on is not None
    text = "\n".join(worked_out.lines(view))
    assert "by the spread of 14 other clients" in text and "plain rule:" in text
    with _open(folder) as one:
        for client in list(store.clients(one)):
            if client.code != own:
                store.remove_client(one, client.code, "all")
    assert _told(folder, own) == [(c.verdict, c.limit, c.lent) for c in first]


def _told(folder: Path, code: str) -> list[tuple[object, ...]]:
    view, _ = summarise.case_view(CaseloadHandle(folder), code)
    return [(c.verdict, c.limit, c.lent) for c in view.changes_of("centroid_hz")]


def test_a_plan_for_a_client_draws_the_rule_that_would_give_its_verdicts(clinic: tuple[Path, str]) -> None:
    folder, own = clinic
    (found,) = plan.plan("centroid_hz", 800.0, caseload=CaseloadHandle(folder), client=own)
    assert found.lent is not None and found.lent.n_clients == 14
    assert "the limit with the spread of 14 other clients" in "\n".join(plan.lines(found))


def test_a_verdict_of_the_plain_rule_stays_when_the_twelfth_joins(clinic: tuple[Path, str]) -> None:
    folder, own = clinic
    leaving = _lenders(folder)[:3]
    with _open(folder) as one:
        consents = {c.code: c.consent for c in store.clients(one)}
        for code in leaving:
            store.change_client(one, code, {"consent": replace(consents[code], pooled=False)})
    before = _told(folder, own)
    assert all(lent is None for _, _, lent in before)
    with _open(folder) as one:
        for code in leaving:
            store.change_client(one, code, {"consent": consents[code]})
    assert len(_spreads(folder, own)) == 14
    assert _told(folder, own) == before


def test_another_baseline_gets_verdicts_of_its_own(clinic: tuple[Path, str]) -> None:
    """What was given rests on the baseline's probes: with another set of them the others are asked anew."""
    folder, own = clinic
    first = _told(folder, own)
    with _open(folder) as one:
        store.remove_client(one, _lenders(folder)[0], "all")
        given = store.read_case(one, own).given
        store.keep_given(one, own, {
            place: replace(was, grounds=replace(was.grounds, baseline=(1, 2, 9))) for place, was in given.items()
        })  # fmt: skip
    assert [lent.n_clients for _, _, lent in _told(folder, own)] == [13, 13]
    assert first[0][2].n_clients == 14


def test_what_was_given_by_an_earlier_program_stays(clinic: tuple[Path, str]) -> None:
    folder, own = clinic
    first = _told(folder, own)
    with _open(folder) as one:
        given = store.read_case(one, own).given
        store.keep_given(one, own, {place: replace(was, grounds=None) for place, was in given.items()})
        store.remove_client(one, _lenders(folder)[0], "all")
    assert _told(folder, own) == first


def test_moving_a_session_renews_both_clients(clinic: tuple[Path, str], monkeypatch: pytest.MonkeyPatch) -> None:
    folder, own = clinic
    one_code, other = _lenders(folder)[:2]
    read: list[str] = []
    real = store.read_case
    monkeypatch.setattr(store, "read_case", lambda caseload, code: read.append(code) or real(caseload, code))
    with _open(folder) as one:
        store.move_session(one, one_code, 3, other)
    assert len(_spreads(folder, own)) == 13
    assert sorted(read) == sorted([one_code, other])


def test_the_kind_of_a_device_said_later_parts_the_clients(clinic: tuple[Path, str]) -> None:
    folder, own = clinic
    with _open(folder) as one:
        frame = progress.make_frame(store.read_case(one, own), progress.ViewRequest())
        lenders = lending.other_lenders(one, own)
        spreads = [s for each in lenders for s in each.spreads]
        other = replace(spreads[0], device="booth")
        devices = [Device("booth", "phone"), *store.devices(one)]
    grounds = progress.grounds_of(frame, progress.Others(spreads, devices))
    alike = progress.Others([*spreads, other], devices).like("centroid_hz", grounds)
    assert len(alike) == 14


def test_versions_of_a_method_are_never_mixed(material: ModuleType) -> None:
    """A baseline of which one session was measured by version 1 alone and two by version 2 alone lends nothing."""
    case = material.case([6000, 6050, 5960, 6700])
    assert progress.lender(case).spreads
    mixed = tuple(
        replace(t, measurements={_later(k) if t.session > 1 else k: one for k, one in t.measurements.items()})
        for t in case.tokens
    )
    found = progress.lender(replace(case, tokens=mixed))
    assert found.spreads == ()
    changes = progress.view(replace(case, tokens=mixed)).changes_of("centroid_hz")
    assert all(change.verdict == "cannot be judged" for change in changes), "nor does a verdict rest on two versions"


def _later(label: str) -> str:
    name, version = label.split("/")
    return f"{name}/{int(version) + 1}"


def test_reading_works_where_nothing_can_be_kept(clinic: tuple[Path, str], monkeypatch: pytest.MonkeyPatch) -> None:
    folder, own = clinic

    def full(_caseload: store.Caseload, _code: str) -> None:
        raise NoRoomError("the disk is full")

    monkeypatch.setattr("sibilant.store.lending._beside_the_record", full)
    assert [lent.n_clients for _, _, lent in _told(folder, own)] == [14, 14]
    assert _given(folder, own) == {}


def test_a_changed_digit_is_noticed(clinic: tuple[Path, str], caplog: pytest.LogCaptureFixture) -> None:
    folder, own = clinic
    _told(folder, own)
    with sqlite3.connect(folder / "caseload.sqlite") as raw:
        raw.execute("UPDATE lent SET typical = typical * 2")
        raw.execute("UPDATE lenders SET content = replace(content, '0', '1')")
    for _ in range(2):
        view, _ = summarise.case_view(CaseloadHandle(folder), own)
        assert any("left out as damaged" in one and "lent row" in one for one in view.joins)
    assert "set aside as damaged: lent row" in caplog.text
    assert len(_spreads(folder, own)) == 14


def test_an_export_carries_with_what_verdicts_were_given(clinic: tuple[Path, str], tmp_path: Path) -> None:
    """Elsewhere, with no other client, a report says the same; an export of an earlier program has no such table."""
    folder, own = clinic
    first = _told(folder, own)
    exchange.export_client(CaseloadHandle(folder), own, tmp_path / "out")
    there = tmp_path / "there"
    there.mkdir()
    (there / "caseload.toml").write_text("ear_first = false\n")
    kept = exchange.import_folder(CaseloadHandle(there), tmp_path / "out")
    assert [(v, limit, lent.typical) for v, limit, lent in _told(there, kept["client"])] == [
        (v, limit, lent.typical) for v, limit, lent in first
    ]
    described = json.loads((tmp_path / "out" / "export.json").read_text())
    del described["files"]["lent.csv"]
    (tmp_path / "out" / "lent.csv").unlink()
    (tmp_path / "out" / "export.json").write_text(json.dumps(described))
    older = tmp_path / "older"
    kept = exchange.import_folder(CaseloadHandle(older), tmp_path / "out")
    assert _given(older, kept["client"]) == {}


def test_too_few_others_give_the_plain_rule_and_say_so(tmp_path: Path, material: ModuleType) -> None:
    (tmp_path / "caseload.toml").write_text("ear_first = false\n")
    with open_caseload(tmp_path, clock=lambda: NOON, create=True) as one:
        for seed in range(1, 12):
            keep_client(one, material, seed, pooled=True)
        own = keep_client(one, material, 99, pooled=True, later=800.0)
    view, _ = summarise.case_view(CaseloadHandle(tmp_path), own)
    change = view.changes_of("centroid_hz")[0]
    assert change.lent is None and change.limit == change.plain_limit and change.verdict == change.plain_verdict
    assert any("11 other clients" in one for one in view.advice)


@pytest.mark.benchmark
def test_a_thousand_clients(tmp_path: Path, material: ModuleType) -> None:
    """What 1,000 clients lend, one of them changed: under a second; only the changed one is read."""
    with open_caseload(tmp_path, clock=lambda: NOON, create=True) as one:
        own = keep_client(one, material, 99, pooled=True, later=800.0)
        label = next(iter(store.read_case(one, own).tokens[0].measurements))
        random = np.random.default_rng(1)
        for _ in range(1000):
            code = store.new_code(set(store.codes(one)))
            store.add_client(one, Client(code, 80, START, invented=True, consent=Consent(START, pooled=True)))
            spread = BaselineSpread("centroid_hz", label, "word", "", float(random.lognormal(5, 0.5)), 2)
            probes = tuple(
                DeviceProbe("desk", label, START + dt.timedelta(days=30 * m), "treatment", float(random.normal(0, 200)))
                for m in range(12)
            )
            fingerprint = f"{progress.RULE}:{store.latest_changes(one)[code]}"
            store.keep_lender(one, code, fingerprint, Lender((spread,), probes))
        keep_client(one, material, 5, pooled=True)
        case = store.read_case(one, own)
        start = time.process_time()
        found = lending.lent_to(one, case, progress.ViewRequest())
        took = time.process_time() - start
    print(f"a thousand lenders: {took:.2f} s")
    assert {one.n_clients for one in found.given.values()} >= {1001} and took < 1.0
