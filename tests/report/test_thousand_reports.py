"""1,000 reports from simulated clients: forbidden words, numbers against their tables, a planted name, same bytes.

By default a seeded tenth; ``-m long`` runs all and writes docs/evidence/reports.csv.
"""

from __future__ import annotations

import csv
import dataclasses
import subprocess
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest

from sibilant import report
from sibilant.charts import wording
from sibilant.report import plain
from sibilant.terms.by_ear import Agreement, MoveUp
from sibilant.terms.case_view import CaseView

ROOT = Path(__file__).parents[2]
PLANTED = "Wilhelmina Quistgaard"
ALWAYS = ("95", "0.001")
"""Numbers of a rule and not of a client: the level of intervals, the floor of a p value."""


def simulated(seed: int, invented: ModuleType) -> CaseView:
    """A client whose baseline, course, device, judgements and losses are drawn from the seed."""
    rng = np.random.default_rng(seed)
    n_later = int(rng.integers(0, 9))
    n_baseline = int(rng.integers(1, 6))
    device = int(rng.integers(n_baseline + 1, n_baseline + n_later + 1)) if n_later and rng.random() < 0.3 else None
    view = invented.case(
        seed, n_baseline=n_baseline, n_later=n_later, shift_hz=float(rng.normal(0, 1200)),
        shift_from=int(rng.integers(1, 6)), other_device_in=device, judged=bool(rng.random() < 0.85),
        hearing="screened, passed" if rng.random() < 0.5 else "", age_months=int(rng.integers(40, 900)),
        missing=int(rng.integers(0, 8)),
    )  # fmt: skip
    if rng.random() < 0.3:
        agreement = Agreement(("R1", "R2"), 40, 0.9, 0.78, 0.96, 0.74, 0.5, 0.92, 0.73, 0.5, 0.9, *([float("nan")] * 3))
        view = dataclasses.replace(view, agreement=agreement)
    accuracies = tuple(s.accuracy for s in view.summaries[-2:] if s.accuracy)
    if accuracies and rng.random() < 0.5:
        rule = MoveUp(
            "80 % correct of 20 or more tokens in 2 sessions running", "word", bool(rng.random() < 0.5), (), accuracies
        )
        view = dataclasses.replace(view, move_up=rule)
    if rng.random() < 0.2:
        held = tuple(dataclasses.replace(s, shown=s is not view.summaries[-1]) for s in view.summaries)
        view = dataclasses.replace(view, summaries=held)
    return planted(view)


def planted(view: CaseView) -> CaseView:
    """Put a person's name where a careless caseload might hold one and no report may print it."""
    summaries = []
    for summary in view.summaries:
        session = dataclasses.replace(summary.session, recordings=(f"{PLANTED}.wav",))
        measures = {
            key: dataclasses.replace(one, words=tuple(dataclasses.replace(w, clip=PLANTED) for w in one.words))
            for key, one in summary.measures.items()
        }
        summaries.append(dataclasses.replace(summary, session=session, measures=measures))
    return dataclasses.replace(view, summaries=tuple(summaries))


def in_text_but_not_in_tables(document: object, view: CaseView, reading: ModuleType) -> list[str]:
    """Numbers of the clinical sentences that no table, fact or methods box of the document holds."""
    tables = set(reading.numbers("\n".join((*reading.cells(document), *_methods(document)))))
    tables |= {str(len(view.summaries)), *ALWAYS}
    change = plain.last_change(view, view.main_measure)
    reasons = wording.brief(change.reasons) if change is not None and change.reasons else ""
    texts = [text.replace(reasons, "") if reasons else text for text in _clinical(document)]
    said = [n for text in texts for n in reading.numbers(text)]
    return [n for n in said if n not in tables]


def _clinical(document: object) -> list[str]:
    from sibilant.terms.document import Listing, Paragraph

    texts = [part.text for part in document.parts if isinstance(part, Paragraph)]  # type: ignore[attr-defined]
    for part in document.parts:  # type: ignore[attr-defined]
        if isinstance(part, Listing):
            texts += part.items
    return texts


def _methods(document: object) -> list[str]:
    from sibilant.terms.document import Box

    return [line for part in document.parts if isinstance(part, Box) for line in part.lines]  # type: ignore[attr-defined]


def counted(n: int, invented: ModuleType, reading: ModuleType, settings: report.ReportSettings) -> dict[str, int]:
    quick = dataclasses.replace(settings, picture_forms=())
    found = {"reports": 0, "forbidden": 0, "numbers_without_table": 0, "numbers": 0, "planted": 0, "unequal": 0}
    for number in range(n):
        kind = report.KINDS[number % len(report.KINDS)]
        view = simulated(number, invented)
        document = report.compose(kind, view, quick)
        text = reading.generated_text(document)
        found["reports"] += 1
        found["forbidden"] += len(report.forbidden_in(text))
        strays = in_text_but_not_in_tables(document, view, reading) if kind != "family" else []
        assert not strays, f"{kind}, seed {number}: {strays}"
        found["numbers"] += sum(len(reading.numbers(t)) for t in _clinical(document))
        html = report.render(document, "html")
        found["planted"] += PLANTED.encode() in html or PLANTED in reading.all_of(document)
        again = report.compose(kind, simulated(number, invented), quick)
        found["unequal"] += again != document or report.render(again, "html") != html
    return found


def test_a_seeded_tenth(invented: ModuleType, reading: ModuleType, settings: report.ReportSettings) -> None:
    found = counted(100, invented, reading, settings)
    assert found["reports"] == 100 and found["numbers"] > 500
    assert found["forbidden"] == found["numbers_without_table"] == found["planted"] == found["unequal"] == 0


@pytest.mark.long
def test_all_thousand(invented: ModuleType, reading: ModuleType, settings: report.ReportSettings) -> None:
    found = counted(1000, invented, reading, settings)
    rendered = rendered_twice(1000, invented, settings, pictures_every=7)
    commit = subprocess.run(
        ["git", "rev-parse", "--short", "HEAD"], cwd=ROOT, capture_output=True, text=True, check=True
    )
    row = {**found, **rendered, "commit": commit.stdout.strip()}
    with (ROOT / "docs" / "evidence" / "reports.csv").open("w", newline="", encoding="utf-8") as stream:
        writer = csv.DictWriter(stream, list(row), lineterminator="\n")
        writer.writeheader()
        writer.writerow(row)
    assert found["reports"] == 1000
    assert sum(found[key] for key in ("forbidden", "numbers_without_table", "planted", "unequal")) == 0
    assert sum(rendered[key] for key in ("pdf_unequal", "docx_unequal", "svg_unequal")) == 0


def rendered_twice(
    n: int, invented: ModuleType, settings: report.ReportSettings, *, pictures_every: int
) -> dict[str, int]:
    """Compose and render twice: how many differ in bytes. Pictures are drawn in every so manieth report."""
    found = {"pdf_unequal": 0, "docx_unequal": 0, "svg_unequal": 0, "rendered": 0, "with_pictures": 0}
    quick = dataclasses.replace(settings, picture_forms=())
    for number in range(n):
        kind = report.KINDS[number % len(report.KINDS)]
        drawn = number % pictures_every == 0
        chosen = settings if drawn else quick
        one, two = (report.compose(kind, simulated(number, invented), chosen) for _ in range(2))
        found["svg_unequal"] += one != two
        found["pdf_unequal"] += report.render(one, "pdf") != report.render(two, "pdf")
        found["docx_unequal"] += report.render(one, "docx") != report.render(two, "docx")
        found["rendered"] += 1
        found["with_pictures"] += drawn
    return found


def test_a_few_rendered_in_full_twice(invented: ModuleType, settings: report.ReportSettings) -> None:
    found = rendered_twice(6, invented, settings, pictures_every=1)
    assert found == {"pdf_unequal": 0, "docx_unequal": 0, "svg_unequal": 0, "rendered": 6, "with_pictures": 6}
