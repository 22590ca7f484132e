"""Make docs/ranges.md from the tables of reference values: python docs/make_ranges.py."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from sibilant.ranges import all_ranges
from sibilant.ranges.tables import read_sources
from sibilant.ranges.wording import ACQUISITION_NOTE, ORIENTATION_LABEL, band_words, points_words
from sibilant.terms.reference import INSIDE_SENTENCE, ReferenceRange

PAGE = Path(__file__).with_name("ranges.md")
HEAD = f"""# Published ranges

Made from the tables in `sibilant/ranges/data` by `python docs/make_ranges.py`; don't edit it here.

Values from different analyses differ by thousands of hertz, so a value is set beside a range only when population,
position, context, cue and method are the same, and the tokens have been measured again under the value's own method.

> {INSIDE_SENTENCE}

```python
>>> from sibilant.ranges import Question, TokenValue, compare, find
>>> woman = {{"age_months": 252, "group": "f"}}
>>> task = {{"position": "initial", "level": "word", "cue": "model", "n_tokens": 12}}
>>> asked = Question("centroid_hz", **woman, **task)
>>> for row in find(asked).fits:
...     print(row.method, row.mean, row.sd, row.population.n_speakers)
open-adult 8662.0 713.0 10
open-adult-11k 8132.0 691.0 10
>>> tokens = [TokenValue(6900.0, "S", "initial", "", "word", "model", "open-adult/1")] * 12
>>> made = compare(tokens, asked)
>>> made.placement, [round(edge) for edge in made.band]
('below', [6931, 10393])
>>> compare(tokens[:4], asked).why[0].text
'4 like tokens; a comparison needs 5'
>>> child = find(Question("centroid_hz", age_months=88, group="f", position="initial"))
>>> child.none_fits, child.why[0].code
(True, 'no_child_range')

```

`sibilant.clinic.compare.compare_sounds(recording, sounds, measurements, question)` measures a recording's sounds again
under each fitting value's own method and sets their mean beside it; a value kept without its sound, measured another
way, is "not comparable", and the comparison names the method it needs.

- **Band for one new speaker**: mean ± t(n−1) · SD · √(1 + 1/n). Below ten speakers their points are shown, no band and
  no placement. Where the source gives the spread within speakers and how many sounds each gave (m), SD is that of a
  mean over as many sounds as are at hand (N): √(SD² − w²/m + w²/N), w within; else that caution stands beside it. A
  side that no value can leave is not shown. With several measures shown, the chance that a typical speaker falls
  outside at least one is told.
- **Microphone**: beside every placement of a spectral value stands that neither microphone's response is taken out, and
  how much that can be (docs/method_effects.md).
- **Tokens**: only those of the value's position, context and cue, five or more, not voiced; the others are counted
  with their reason.
- **Reference group**: asked for, optional, off by default (/s/ carries identity and dialect).
- **Own-baseline mode**: no range at all, for dialect, second language, or by choice.
- **Minors**: no adult value, ever. No published spectral range for English-speaking children with a known method could
  be had: the child's own baseline is the yardstick.
- **Another recorder, room or distance** can move a spectrum by more than sounds differ: no range makes up for that.
- **Ranges of your own**: `sibilant ranges add FILE.csv`, or `sibilant ranges build TABLE.csv --speaker COLUMN` from a
  table that was measured; they are marked as yours wherever they appear. Clients are "in therapy", never typical.

How a value was had: *read* in the source itself (abstract or text); *second-hand*, read in others' notes of the
source; *memory*, not checked; *computed*, measured by this project from open recordings. "SD" is between speakers.
"""
TITLES = (
    (
        "value",
        "Values of measures that this program computes",
        "Those with mean, SD, ten speakers and a known method can be placed; the others are listed with what is"
        " missing.",
    ),
    ("orientation", "Orientation strip, 6 to 13 years", f"Off by default. {ORIENTATION_LABEL}."),
    ("acquisition", "Ages of acquisition", ACQUISITION_NOTE),
    (
        "background",
        "Background",
        "Never set beside a client's value: other measures, perception, devices, single tokens, groups unlike any"
        " asked about.",
    ),
)
COLUMNS = ("rows", "phone", "measure", "value", "who", "where", "method", "not stated", "how had", "source", "note")


def line(row: ReferenceRange) -> str:
    """Return one line of a table."""
    cells = (
        _rows(row.basis.rows),
        row.phone,
        row.measure or row.name,
        band_words(row) + points_words(row),
        row.population.words,
        "; ".join(part for part in (row.circumstances.words, row.circumstances.context) if part),
        row.method or row.protocol or "–",
        ", ".join(row.unknown) or "–",
        row.basis.obtained,
        f"{row.basis.citation_key}, {row.basis.where}",
        "; ".join(
            part for part in (row.basis.label if row.basis.obtained == "computed" else "", row.basis.note) if part
        ),
    )
    return "| " + " | ".join(cell.replace("|", "/") for cell in cells) + " |"


def _rows(ids: Sequence[str]) -> str:
    return ids[0] if len(ids) == 1 else f"{ids[0]}–{ids[-1]} ({len(ids)})"


def page() -> str:
    """Return the whole page."""
    parts = [HEAD]
    for use, title, text in TITLES:
        chosen = [row for row in all_ranges() if row.use == use]
        n_rows = sum(len(row.basis.rows) for row in chosen)
        parts += [f"## {title}", f"{text} {len(chosen)} values from {n_rows} rows of the tables."]
        parts.append("\n".join([_head(COLUMNS), *(line(row) for row in chosen)]))
    parts.append("## Sources")
    sources = [
        f"| {row['citation_key']} | {row['citation']} | {row['doi'] or '–'} | {row['how_had']} |".replace("\n", " ")
        for row in read_sources().values()
    ]
    parts.append("\n".join([_head(("key", "source", "doi", "how it was had")), *sources]))
    return "\n\n".join(part.strip("\n") for part in parts) + "\n"


def _head(columns: Sequence[str]) -> str:
    return "| " + " | ".join(columns) + " |\n" + "|---" * len(columns) + "|"


if __name__ == "__main__":
    PAGE.write_text(page(), encoding="utf-8")
