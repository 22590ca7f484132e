"""Other clients' spreads in a caseload: who lends, what is kept, and that a verdict keeps its numbers.

Invented data – not a person.
"""

from __future__ import annotations

import datetime as dt
import time
from dataclasses import replace
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest

from sibilant import store
from sibilant.clinic import lending, summarise
from sibilant.clinic.caseload import CaseloadHandle
from sibilant.store.opening import open_caseload
from sibilant.terms.change import LARGER, BaselineSpread
from sibilant.terms.clinic import Client, Consent
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


@pytest.fixture
def clinic(tmp_path: Path, material: ModuleType) -> tuple[Path, str]:
    """Fourteen clients that lend, one that doesn't, and the client followed."""
    (tmp_path / "caseload.toml").write_text("ear_first = false\n")
    with open_caseload(tmp_path, clock=lambda: NOON, create=True) as one:
        for seed in range(1, 15):
            keep_client(one, material, seed, pooled=True)
        keep_client(one, material, 15, pooled=False)
        own = keep_client(one, material, 99, pooled=False, later=800.0)
    return tmp_path, own


def _open(folder: Path) -> store.Caseload:
    return open_caseload(folder, clock=lambda: NOON)


def _spreads(folder: Path, code: str) -> list[BaselineSpread]:
    with _open(folder) as one:
        return [s for s in lending.others_spreads(one, code) if s.measure == "centroid_hz"]


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
        assert lender.code in store.kept_spreads(one)
        store.change_client(one, lender.code, {"consent": replace(lender.consent, withdrawn_on=START)})
    assert len(_spreads(folder, own)) == 13
    with _open(folder) as one:
        assert lender.code not in store.kept_spreads(one)


def test_only_what_changed_is_read_again(clinic: tuple[Path, str], monkeypatch: pytest.MonkeyPatch) -> None:
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


def test_the_verdict_is_given_with_the_clinics_limit_and_keeps_its_numbers(clinic: tuple[Path, str]) -> None:
    folder, own = clinic
    view, _ = summarise.case_view(CaseloadHandle(folder), own)
    first = view.changes_of("centroid_hz")
    assert [one.lent.n_clients for one in first if one.lent] == [14, 14]
    assert first[0].verdict == LARGER and first[0].limit != first[0].plain_limit
    assert first[0].lent is not None and first[0].lent.fitted_on is not None
    text = "\n".join(summarise.lines(view))
    assert "by the spread of 14 other clients" in text and "plain rule:" in text
    with _open(folder) as one:
        for client in list(store.clients(one)):
            if client.code != own:
                store.remove_client(one, client.code, "all")
    again, _ = summarise.case_view(CaseloadHandle(folder), own)
    assert [(c.verdict, c.limit, c.lent) for c in again.changes_of("centroid_hz")] == [
        (c.verdict, c.limit, c.lent) for c in first
    ]


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
    """Kept spreads of 1,000 clients, one changed: under a second."""
    with open_caseload(tmp_path, clock=lambda: NOON, create=True) as one:
        own = keep_client(one, material, 99, pooled=True, later=800.0)
        random = np.random.default_rng(1)
        for _ in range(1000):
            code = store.new_code(set(store.codes(one)))
            store.add_client(one, Client(code, 80, START, invented=True, consent=Consent(START, pooled=True)))
            spread = BaselineSpread("centroid_hz", "house-15k/1", "word", "", float(random.lognormal(5, 0.5)), 2)
            store.keep_spreads(one, code, store.latest_changes(one)[code], (spread,))
        keep_client(one, material, 5, pooled=True)
        case = store.read_case(one, own)
        from sibilant.progress import ViewRequest

        start = time.process_time()
        found, _ = lending.lent_to(one, case, ViewRequest())
        took = time.process_time() - start
    assert found and took < 1.0
