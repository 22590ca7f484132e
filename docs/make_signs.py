"""Make docs/signs.md from ``sibilant.suitability.SIGNS`` and the counts in docs/evidence: python docs/make_signs.py."""

from __future__ import annotations

import csv
from pathlib import Path

from sibilant.suitability import SIGNS, Rule

PAGE = Path(__file__).with_name("signs.md")
EVIDENCE = Path(__file__).with_name("evidence")
HEAD = """# Signs of what spoils a recording

Made from `SIGNS` (`sibilant/suitability/`) and the counts in `docs/evidence/` by `python docs/make_signs.py`; don't
edit it here. What the verdicts mean and what to do is in [recordings](recordings.md).

Each sign is a measured value with a threshold. Passing the first makes what it spoils usable **with care**, passing the
second **not usable**; where neither is given for a verdict the sign is only noted. `own` means that the threshold is
ours and rests on the counts below; none of them says anything about a speaker.
"""
FAULTS = """
## How well they are caught

Seeded faults put on clean recordings: invented probes of 20 words or fewer in a quiet room (background 40 dB below a
typical /s/ at 4-10 kHz, reverberation 0.25 s), and real clips of one adult voice joined in one invented quiet room.
Caught means: the sign is there with the stated severity, and the verdict of what it spoils follows. Made by
`pytest -m long tests/suitability/test_faults.py`.
"""
CLEAN = """
## How often clean recordings are blamed

Any verdict but `usable`, in any respect, counts as an alarm.
"""
BROWSER = """
## A browser's voice processing, on and off

Eight invented words played into a real browser (Debian's Chromium, headless, with a file as its microphone) and
recorded by its audio worklet. Made by `pytest -m long tests/suitability/test_browser.py`, which needs Chromium.
"""
BANDWIDTH = """
## Effective bandwidth

Against the bandwidth that the makers of a set of real clips wrote down for each (noise within 40 dB of the peak up to
so many Hz). Made by `pytest -m long tests/suitability/test_judging.py`.
"""


def limit(value: float | None, rule: Rule) -> str:
    """Return a threshold as ``below 20 dB``, or a dash."""
    if value is None:
        return "–"
    return f"{'below' if rule.below else 'above'} {value:,.6g} {rule.unit}".rstrip()


def row(rule: Rule) -> str:
    """Return one sign's row."""
    spoils = ", ".join(dict.fromkeys((*rule.care_for, *rule.refuse_for))) or "nothing: only noted"
    care = "when unknown" if rule.care is None and rule.refuse is None else limit(rule.care, rule)
    cells = (f"`{rule.key}`", rule.title, rule.measured, care, limit(rule.refuse, rule), spoils, rule.source)
    return f"| {' | '.join(cells)} |"


def table(name: str, keep: str = "") -> str:
    """Return a CSV of docs/evidence as a table; ``keep`` is ``clean`` or ``faults`` for the counts of faults."""
    path = EVIDENCE / name
    if not path.exists():
        return "Not counted yet.\n"
    with path.open(encoding="utf-8") as stream:
        head, *rows = list(csv.reader(stream))
    if keep:
        rows = [cells for cells in rows if cells[0].startswith("clean: ") == (keep == "clean")]
        rows = [[cells[0].removeprefix("clean: "), *cells[1:]] for cells in rows]
    lines = [f"| {' | '.join(cell.replace('_', ' ') for cell in head)} |", "|" + "---|" * len(head)]
    return "\n".join([*lines, *(f"| {' | '.join(cells)} |" for cells in rows)]) + "\n"


def page() -> str:
    """Return the whole page."""
    lines = [
        HEAD,
        "| sign | what | measured | with care | not usable | spoils | source |",
        "|---|---|---|---|---|---|---|",
        *(row(rule) for rule in SIGNS),
    ]
    advice = ["\n## What each advises\n", *(f"- `{rule.key}`: {rule.advice}" for rule in SIGNS)]
    counts = [FAULTS, table("suitability.csv", "faults"), CLEAN, table("suitability.csv", "clean")]
    more = [BROWSER, table("suitability_browser.csv"), BANDWIDTH, table("suitability_bandwidth.csv")]
    return "\n".join([*lines, *advice, *counts, *more])


if __name__ == "__main__":
    PAGE.write_text(page(), encoding="utf-8")
