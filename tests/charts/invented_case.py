"""Invented clients as values, seeded: what charts and reports are tried on (Invented data – not a person)."""

from __future__ import annotations

import datetime as dt
import math

import numpy as np

from sibilant.terms import MEASURES
from sibilant.terms.by_ear import Accuracy, AccuracyCell, Additions, WordsGained
from sibilant.terms.case_view import CaseView
from sibilant.terms.change import LARGER, UNJUDGED, WITHIN, Change, MeasurementError, Trend
from sibilant.terms.clinic import Client, Device, Event, MoveUpRule, Session
from sibilant.terms.groups import ContextCell, Contrast, SetOfThree
from sibilant.terms.summaries import MeasureSummary, SessionSummary, SpreadPoint, WordValue

WORDS = (
    "seal sand sun sock soap side castle messy recycle muscle goose bus rice purse spark star skate snow sled swim"
).split()
T975 = {2: 12.706, 3: 4.303, 4: 3.182, 5: 2.776}
LETTERS = "23456789ACDEFGHJKLMNPQRTVWXY"


def wilson(k: int, n: int) -> tuple[float, float]:
    if not n:
        return math.nan, math.nan
    z, p = 1.959964, k / n
    middle = (p + z * z / (2 * n)) / (1 + z * z / n)
    half = z * math.sqrt(p * (1 - p) / n + z * z / (4 * n * n)) / (1 + z * z / n)
    return middle - half, middle + half


def accuracy(k: int, n: int) -> Accuracy:
    return Accuracy(k, n, *wilson(k, n), rule="percent /s/ correct: correct / scored, untreated words", rater="R1")


def _measure(key: str, values: dict[str, float], heard: dict[str, str], n_expected: int) -> MeasureSummary:
    array = np.array(list(values.values()))
    n = array.size
    mean, sd = float(array.mean()), float(array.std(ddof=1))
    half = 2.093 * sd / math.sqrt(n)
    reasons: dict[str, int] = {}
    left = n_expected - n
    if left:
        reasons = {"weak": left} if left == 1 else {"weak": left - 1, "voiced": 1}
    return MeasureSummary(
        key,
        "house-15k/2",
        mean,
        mean - half,
        mean + half,
        sd,
        n,
        n,
        n_expected,
        reasons,
        tuple(WordValue(f"{w}.1", w, v, heard[w], False, "initial") for w, v in values.items()),  # type: ignore[arg-type]
        spread=sd * 0.95,
        sd_low=sd * 0.76,
        sd_high=sd * 1.46,
    )


def case(
    seed: int = 1,
    *,
    code: str = "C-7QXK",
    n_baseline: int = 3,
    n_later: int = 6,
    shift_from: int = 4,
    shift_hz: float = 900.0,
    other_device_in: int | None = None,
    judged: bool = True,
    hearing: str = "",
    age_months: int = 80,
    key: str = "centroid_hz",
    missing: int = 0,
) -> CaseView:
    rng = np.random.default_rng(seed)
    start = dt.date(2026, 1, 12)
    client = Client(
        code,
        age_months,
        start,
        reason="asked for by the school",
        hearing=hearing,
        language="English",
        main_measure=key,
        direction="higher",
        move_up=MoveUpRule(),
        list_form="core-a",
        invented=True,
    )
    offset = {word: rng.normal(0, 350) for word in WORDS}
    days = [0, 10, 24][:n_baseline] + [24 + 30 * m for m in range(1, n_later + 1)]
    summaries = []
    for number, day in enumerate(days, 1):
        later = number - n_baseline
        level = (
            6350
            + rng.normal(0, 60)
            + (shift_hz * min(1.0, 0.6 + 0.2 * (later - shift_from)) if later >= shift_from else 0)
        )
        share = 0.22 + (0.10 * max(later, 0))
        heard = {
            w: ("correct" if rng.random() < share else rng.choice(["distorted", "distorted", "substituted"]))
            for w in WORDS
        }
        kept = WORDS[missing:] if missing else WORDS
        centroid = {w: level + offset[w] + rng.normal(0, 420) for w in kept}
        duration = {w: 150 + offset[w] / 20 + rng.normal(0, 18) for w in kept}
        n_correct = sum(h == "correct" for h in heard.values())
        device = "phone" if other_device_in == number else "desk"
        apart = ("another device: phone instead of desk",) if device == "phone" else ()
        session = Session(
            code,
            number,
            start + dt.timedelta(days=day),
            device=device,
            room="Room 4",
            list_form="core-a",
            phase="baseline" if later <= 0 else "treatment",
            verdict="usable",
        )
        cells = tuple(
            AccuracyCell("position", name, accuracy(min(n_correct // 3, n), n))
            for name, n in (("initial", 11), ("medial", 4), ("final", 5))
        )
        summaries.append(
            SessionSummary(
                session,
                day / 30.4375,
                {
                    "centroid_hz": _measure("centroid_hz", centroid, heard, 20),
                    "core_duration_ms": _measure("core_duration_ms", duration, heard, 20),
                },
                accuracy(n_correct, 20) if judged else None,
                cells if judged else (),
                20,
                20 if judged else 0,
                20 if judged else 0,
                apart,
                True,
                (),
                client.age_months_on(session.on),
            )
        )
    errors, changes = [], []
    for k in ("centroid_hz", "core_duration_ms"):
        base = np.array([s.measures[k].mean for s in summaries[:n_baseline]])
        sd = float(base.std(ddof=1)) if n_baseline > 1 else math.nan
        judged_error = n_baseline >= 3
        limit = (
            T975.get(n_baseline, 12.7) * max(sd, 20.0 if k == "centroid_hz" else 1.0) * math.sqrt(1 + 1 / n_baseline)
            if judged_error
            else math.nan
        )
        mean = float(base.mean())
        errors.append(
            MeasurementError(
                k,
                tuple(range(1, n_baseline + 1)),
                mean,
                sd,
                limit,
                sd,
                sd * 0.52,
                sd * 6.3,
                2.77 * sd,
                40.0,
                () if judged_error else ("fewer than three baseline probes",),
            )
        )
        larger_before = False
        for look, s in enumerate(summaries[n_baseline:], 1):
            d = s.measures[k].mean - mean
            word = ("longer" if d > 0 else "shorter") if k.endswith("_ms") else ("higher" if d > 0 else "lower")
            reasons: tuple[str, ...] = ()
            if not judged_error:
                verdict, reasons = UNJUDGED, ("fewer than three baseline probes",)
            elif s.apart:
                verdict, reasons = UNJUDGED, s.apart
            elif missing > 4:
                verdict, reasons = UNJUDGED, ("fewer than 80 % of the expected tokens were measured",)
            else:
                verdict = LARGER if abs(d) > limit else WITHIN
            larger = verdict == LARGER
            half = 0.3 * abs(limit) if judged_error else 200.0
            changes.append(
                Change(
                    k,
                    s.number,
                    verdict,
                    d,
                    d - half,
                    d + half,
                    limit,
                    word,
                    reasons,
                    len(WORDS) - missing,
                    20 - missing,
                    20,
                    None,
                    larger and not larger_before and s is summaries[-1],
                    None,
                    look,
                    k != "centroid_hz",
                )
            )
            larger_before = larger
    spreads = tuple(
        SpreadPoint(
            k,
            s.number,
            s.month,
            s.measures[k].sd,
            s.measures[k].sd_low,
            s.measures[k].sd_high,
            s.measures[k].spread,
            20,
        )
        for k in ("centroid_hz",)
        for s in summaries
    )
    contexts = _contexts(rng)
    contrasts = tuple(
        Contrast(
            "centroid_hz",
            s.number,
            20,
            12,
            900 + 150 * i,
            500 + 150 * i,
            1300 + 150 * i,
            min(0.7 + 0.03 * i, 0.99),
            0.6 + 0.03 * i,
            min(0.8 + 0.03 * i, 1.0),
            0.5 - 0.05 * i,
        )
        if i
        else Contrast("centroid_hz", s.number, 20, 6, *([math.nan] * 7), ("fewer than ten acceptable /ʃ/",))
        for i, s in enumerate(summaries)
    )
    first, last = summaries[0], summaries[-1]
    gained = None
    if judged:
        gained = WordsGained(first.number, last.number, 20, 11, 1, 0.0063, 0.5, 0.22, 0.69, first.on, last.on)
    return CaseView(
        client,
        ("centroid_hz", "core_duration_ms"),
        tuple(summaries),
        tuple(errors),
        tuple(changes),
        (
            Trend(
                "centroid_hz",
                "treatment",
                160.0,
                40.0,
                260.0,
                6300.0,
                n_later,
                0.016 if n_later >= 5 else None,
                () if n_later >= 5 else ("under five probes",),
            ),
        ),
        (),
        contexts,
        (SetOfThree("centroid_hz", 8, 6, 1, 7010.0, 6690.0, 0.125),),
        (Additions(last.number, 20, 2, 1, 2, ("tar", "led")),),
        contrasts,
        (),
        spreads,
        (
            AccuracyCell("group", "untreated words", accuracy(13, 20)),
            AccuracyCell("group", "treated words", accuracy(9, 10)),
            AccuracyCell("group", "conversation", accuracy(11, 24)),
        )
        if judged
        else (),
        gained,
        events=(Event(start + dt.timedelta(days=105), "upper front teeth lost"),),
        devices=(Device("desk", "condenser microphone", "Room 4", 20.0),),
        joins=tuple(f"session {s.number} is not joined: {'; '.join(s.apart)}" for s in summaries if s.apart),
        made_on=last.on,
    )


def _contexts(rng: np.random.Generator) -> tuple[ContextCell, ...]:
    cells = []
    names = [
        ("initial", "", "front"),
        ("initial", "", "back"),
        ("initial", "st", "back"),
        ("medial", "", "front"),
        ("final", "", "back"),
        ("final", "", "front"),
        ("initial", "sn", "back"),
    ]
    means = sorted(rng.normal(6900, 500, len(names)), reverse=True)
    for rank, ((position, cluster, vowel), mean) in enumerate(zip(names, means, strict=True), 1):
        n = int(rng.integers(5, 30))
        shown = n >= 8
        half = 900 / math.sqrt(n)
        cells.append(
            ContextCell(
                "centroid_hz",
                position,
                cluster,
                vowel,
                n,
                mean,
                mean - half,
                mean + half,
                mean * 0.9 + 690,
                rank if shown else None,
                "" if shown else "fewer than 8 tokens",
            )
        )
    return tuple(cells)


assert "centroid_hz" in MEASURES
