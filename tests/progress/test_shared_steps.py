"""A step that several clients share on one device and date: found, not made up, and asked in words.

The counts are drawn by a generator apart from the rule: independent days of SD 230 Hz (a probe's mean), monthly probes
on days of each client's own, therapy from a day of its own. Invented data – not a person.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from types import ModuleType

import numpy as np
import pytest

from sibilant.clinic.lending import device_questions
from sibilant.clinic.worked_out import lines
from sibilant.progress import ViewRequest, make_frame, shared_steps, view
from sibilant.progress.shared_steps import _own_step, device_probes, session_effects
from sibilant.terms.lending import DeviceProbe, Lender

START = dt.date(2026, 1, 5)
SD = 230.0


def clinic(
    random: np.random.Generator, n: int, *, step: float = 0.0, learning: float = 0.0, together: bool = True
) -> list[list[DeviceProbe]]:
    """A year of monthly probes of ``n`` clients on one microphone, with a step on it from a day on."""
    found, from_day = [], 150
    for _ in range(n):
        first = int(random.integers(0, 28))
        days = first + 30 * np.arange(12) + random.integers(-4, 5, 12)
        start = days[3] if together else int(random.integers(30, 300))
        values = random.normal(0, SD, 12) + step * (days >= from_day)
        values += learning * (1 - np.exp(-np.maximum(days - start, 0) / 60.0))
        phases = ["treatment" if day >= start else "baseline" for day in days]
        found.append([
            DeviceProbe("desk", "house-15k/2", START + dt.timedelta(days=int(d)), phase, float(v))
            for d, v, phase in zip(days, values, phases, strict=True)
        ])  # fmt: skip
    return found


def share(n_clients: int, n_years: int, **of_clinic: float) -> float:
    """Share of years in which something is asked."""
    random = np.random.default_rng(n_clients)
    return float(np.mean([bool(shared_steps(clinic(random, n_clients, **of_clinic))) for _ in range(n_years)]))


def test_unchanged_microphones_are_rarely_asked_about() -> None:
    """A year without a step: asked in 5 % at most, learning at their own times or not; not if all begin at once."""
    for n_clients, learning in ((6, 0.0), (12, 0.0), (12, 800.0)):
        asked = share(n_clients, 40, learning=learning, together=False)
        assert asked <= 0.05 + 2 * np.sqrt(0.05 * 0.95 / 40)


def test_a_step_of_400_hz_on_a_microphone_is_asked_about() -> None:
    """Six clients: two in five of such steps; twelve: nine in ten."""
    assert share(6, 40, step=400.0) >= 0.3
    assert share(12, 20, step=400.0) >= 0.8


def test_the_question_names_microphone_days_and_size() -> None:
    (step,) = shared_steps(clinic(np.random.default_rng(2), 12, step=500.0))
    assert step.device == "desk" and 300 < step.size < 700
    assert step.after < START + dt.timedelta(days=170) and step.until > START + dt.timedelta(days=130)
    assert step.question.startswith("did something change on the microphone desk between 2026-0")
    assert "higher after it" in step.question


def test_two_clients_are_too_few_and_another_device_is_another_matter() -> None:
    random = np.random.default_rng(3)
    assert shared_steps(clinic(random, 2, step=3000.0)) == ()
    apart = [[DeviceProbe(f"own {i}", p.method, p.on, p.phase, p.value) for p in probes]
             for i, probes in enumerate(clinic(random, 8, step=3000.0))]  # fmt: skip
    assert shared_steps(apart) == ()


def test_the_start_of_therapy_is_no_step_of_the_microphone() -> None:
    """Twelve clients who all start on one day and rise by 1500 Hz at once: probes of two phases are not compared."""
    random = np.random.default_rng(4)
    found = []
    for probes in clinic(random, 12):
        found.append([
            DeviceProbe(p.device, p.method, p.on, p.phase, p.value + 1500.0 * (p.phase == "treatment")) for p in probes
        ])  # fmt: skip
    assert shared_steps(found) == ()


def test_effects_against_least_squares_with_words_missing() -> None:
    """Independent library: numpy's least squares of dummy columns."""
    random = np.random.default_rng(5)
    words = [f"w{i}" for i in range(8)]
    tables = [{w: random.normal(6000, 400) for w in words if random.random() < 0.7} for _ in range(6)]
    rows = [(s, words.index(w), v) for s, table in enumerate(tables) for w, v in table.items()]
    design = np.zeros((len(rows), 6 + 8))
    for place, (s, w, _) in enumerate(rows):
        design[place, s] = design[place, 6 + w] = 1.0
    fitted = np.linalg.lstsq(design, np.array([v for *_, v in rows]), rcond=None)[0][:6]
    assert session_effects(tables) == pytest.approx(fitted - fitted.mean(), abs=0.05)


def test_one_clients_step_against_least_squares() -> None:
    """Independent library: numpy's least squares of a constant, a slope and a side."""
    probes = clinic(np.random.default_rng(7), 1, step=300.0)[0][:8]
    day = probes[5].on
    found, variance = _own_step(probes[:5], probes[5:], day)
    t = np.array([(p.on - day).days for p in probes], dtype=float)
    design = np.stack([np.ones(8), t, t >= 0], axis=1)
    fitted = np.linalg.lstsq(design, np.array([p.value for p in probes]), rcond=None)[0]
    assert found == pytest.approx(fitted[2]) and variance == pytest.approx(np.linalg.inv(design.T @ design)[2, 2])


def test_probes_of_a_case(material: ModuleType) -> None:
    frame = make_frame(material.case([6000, 6050, 5950, 6400]), ViewRequest())
    found = device_probes(frame)
    assert [round(one.value) for one in found] == [-100, -50, -150, 300]
    assert {one.device for one in found} == {"desk"} and found[-1].phase == "treatment"


def test_the_clients_own_sessions_decide_whether_it_is_asked(material: ModuleType) -> None:
    """Eight clients and this one on one microphone that rises by 500 Hz in June; never told in reports."""
    days = [START + dt.timedelta(days=30 * i) for i in range(12)]
    rises = [0.0] * 5 + [500.0] * 7
    sessions = [material.session(n, on=day, phase="treatment") for n, day in enumerate(days, start=1)]
    case = material.case([6000 + rise for rise in rises], sessions=sessions)
    label = device_probes(make_frame(case, ViewRequest()))[0].method
    random = np.random.default_rng(6)
    others = [
        Lender((), tuple(DeviceProbe("desk", label, day, "treatment", rise + float(random.normal(0, 100)))
                         for day, rise in zip(days, rises, strict=True)))
        for _ in range(8)
    ]  # fmt: skip
    (question,) = device_questions(case, others)
    assert "the microphone desk between 2026-05-05 and 2026-06-04" in question and "9 of 9 clients" in question
    found = view(case, ViewRequest(questions=(question,)))
    assert f"question: {question}" in lines(found)
    assert question not in found.questions, "what stands there goes into reports, which speak of one client alone"
    elsewhere = replace(case, sessions=tuple(replace(one, device="booth") for one in case.sessions))
    assert device_questions(elsewhere, others) == ()
