"""1,000 histories, every kind of report of each: sentences recomputed from what was observed, by code of its own.

By default a seeded fortieth; ``-m long`` runs all and writes docs/evidence/retold.csv.
"""

from __future__ import annotations

import csv
import io
import re
import subprocess
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from types import ModuleType
from typing import Any

import pikepdf
import pytest

from sibilant import progress, report
from sibilant.report.readers import LAY, READERS
from sibilant.terms.clinic import Case
from sibilant.terms.document import Document

ROOT = Path(__file__).parents[2]
NEVER_IN_A_BODY = re.compile(r"\bHz\b|\bp [<=]|McNemar|Wilson|house-\d|looked at|smallest detectable|\bmonth \d")
LEAST_ON_A_LAST_PAGE = 4
"""Tagged elements on the last of several pages: a note and a signature alone would be fewer."""


def every_report(n: int, case_of: Callable[[int], Case], settings: report.ReportSettings) -> Iterator[Any]:
    """Kind, history and document of every kind of report of n histories, without pictures."""
    quick = replace(settings, picture_forms=())
    for seed in range(n):
        case = case_of(seed)
        view = progress.view(case)
        for kind in report.KINDS:
            yield kind, case, report.compose(kind, view, quick)


def ease(text: str) -> float:
    """Flesch's reading ease (1948, from memory): 206.835 - 1.015 words a sentence - 84.6 syllables a word.

    Syllables are counted as runs of vowels without a silent e: a rule of thumb, common practice, no source.
    """
    sentences = [one for one in re.split(r"[.;:?]\s|\n", text) if re.search(r"[A-Za-z]{2}", one)]
    words = re.findall(r"[A-Za-z]+", text)
    syllables = sum(max(1, len(re.findall(r"[aeiouy]+", re.sub(r"e$", "", word.lower())))) for word in words)
    return 206.835 - 1.015 * len(words) / max(1, len(sentences)) - 84.6 * syllables / max(1, len(words))


def body_text(document: Document, reading: ModuleType) -> str:
    body = replace(document, parts=document.body)
    return "\n".join((*reading.running(body), *reading.cells(body)))


def on_last_page(document: Document) -> tuple[int, int]:
    """How many pages there are, and how many tagged elements begin on the last one."""
    with pikepdf.open(io.BytesIO(report.render(document, "pdf"))) as pdf:
        places = {page.obj.objgen: number for number, page in enumerate(pdf.pages)}

        def walk(node: Any) -> Iterator[int]:
            if isinstance(node, pikepdf.Array):
                for child in node:
                    yield from walk(child)
            elif isinstance(node, pikepdf.Dictionary):
                if "/Pg" in node and "/S" in node:
                    yield places[node.Pg.objgen]
                yield from walk(node.get("/K"))

        n = len(pdf.pages)
        return n, sum(place == n - 1 for place in walk(pdf.Root.StructTreeRoot))


def retold(
    n: int,
    case_of: Callable[[int], Case],
    settings: report.ReportSettings,
    parts: tuple[ModuleType, ModuleType],
    *,
    pages_every: int,
) -> dict[str, Counter[str]]:
    """Recount every report; render every so manieth."""
    recount, reading = parts
    found: dict[str, Counter[str]] = {kind: Counter() for kind in report.KINDS}
    for place, (kind, case, document) in enumerate(every_report(n, case_of, settings)):
        found[kind] += recount.recounted(document, case, READERS[kind]) + Counter(reports=1)
        text = body_text(document, reading)
        found[kind]["ease_times_10"] += round(
            10 * ease("\n".join(recount.sentences(replace(document, parts=document.body))))
        )
        if READERS[kind] in LAY:
            assert not (odd := NEVER_IN_A_BODY.search(text)), f"{kind}: {odd} in {text[:200]}"
        if place % pages_every == 0:
            n_pages, n_last = on_last_page(document)
            assert n_pages == 1 or n_last >= LEAST_ON_A_LAST_PAGE, f"{kind}: {n_last} elements on page {n_pages}"
            assert kind != "family" or n_pages == 1
            found[kind] += Counter(rendered=1, pages=n_pages)
    return found


def test_a_seeded_fortieth(
    case_of: Callable[[int], Case], settings: report.ReportSettings, recount: ModuleType, reading: ModuleType
) -> None:
    found = retold(25, case_of, settings, (recount, reading), pages_every=25)
    assert all(counted["reports"] == 25 and counted["recomputed"] > 50 for counted in found.values())


@pytest.mark.long
def test_all_thousand(
    case_of: Callable[[int], Case], settings: report.ReportSettings, recount: ModuleType, reading: ModuleType
) -> None:
    found = retold(1000, case_of, settings, (recount, reading), pages_every=10)
    commit = subprocess.run(
        ["git", "rev-parse", "--short", "HEAD"], cwd=ROOT, capture_output=True, text=True, check=True
    )
    with (ROOT / "docs" / "evidence" / "retold.csv").open("w", newline="", encoding="utf-8") as stream:
        writer = csv.writer(stream, lineterminator="\n")
        names = ("reports", "recomputed", "fixed", "figures", "rendered", "pages")
        writer.writerow(("kind", *names, "not_as_observed", "reading_ease", "commit"))
        for kind, one in found.items():
            mean = f"{one['ease_times_10'] / 10 / one['reports']:.0f}"
            writer.writerow((kind, *(one[name] for name in names), 0, mean, commit.stdout.strip()))
    assert all(one["reports"] == 1000 for one in found.values())


def test_the_recount_can_fail(
    case_of: Callable[[int], Case], settings: report.ReportSettings, recount: ModuleType
) -> None:
    """A count that is one off, another day, and a sentence that nobody knows are each found."""
    case = case_of(0)
    document = report.compose("school", progress.view(case), replace(settings, picture_forms=()))
    said = next(one for one in recount.sentences(document) if "heard as correct" in one)
    k = re.search(r", (\d+) of", said)[1]  # type: ignore[index]
    for wrong in (said.replace(f", {k} of", f", {int(k) + 1} of"), said.replace("2026", "2025"), "All is well."):
        with pytest.raises(AssertionError):
            recount._class_of(recount.Truth(case), wrong, "school")
