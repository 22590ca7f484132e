"""Make docs/measures.md from ``MEASURES``: python docs/make_measures.py."""

from __future__ import annotations

from pathlib import Path

from sibilant.terms import MEASURES, Measure, measures_of

PAGE = Path(__file__).with_name("measures.md")
HEAD = """# Measures

Made from `MEASURES` (`sibilant/terms/measures.py`) by `python docs/make_measures.py`; don't edit it here.

One column of a table per measure of one sibilant, named by its key. A measure that can't be had is an empty cell, and
the row's `flags` say why; nothing is filled in by a guess. No measure says whether a sound is acceptable to a listener;
a person does.

Where "interval" says yes, two more columns hold the estimator's 95 % interval for **this one sound, not for the
person**: `KEY_low` and `KEY_high`. It says how far a figure would move if the same sound were made again by the same
mouth in the same shape, out of fresh noise; how far a person's sounds differ is seen over words and sessions. Every
spectral measure also has `KEY_boundary`: how far apart its values lie when the edges of the sibilant are moved by 5 and
10 ms either way. How the intervals are made and how well they hold is in [methods](methods.md).
"""
SCOPES = {
    "token": ("Of one sibilant", "One value for each sibilant found in a word."),
    "take": ("Of a held sound", "For a sibilant held in isolation, seconds long; never mixed with lengths in words."),
    "session": ("Of a session", "One value for a recorded session."),
    "speaker": (
        "Of a speaker",
        "For two sounds of one speaker: at least ten tokens of each, judged acceptable by a person.",
    ),
}


def section(measure: Measure) -> str:
    """Return one measure's section."""
    lines = [
        f"### {measure.name}",
        "",
        measure.meaning,
        "",
        "| | |",
        "|---|---|",
        f"| key | `{measure.key}` |",
        f"| symbol, unit | {measure.symbol}, {measure.unit or 'none'} |",
        f"| in plain words | {measure.plain_name} |",
        f"| equation | `{measure.equation}` |",
        f"| source | {measure.citation} |",
        f"| depends on the method | {'yes' if measure.spectral else 'no'} |",
        f"| interval | {'yes' if measure.interval else 'no'} |",
        f"| decimals shown | {measure.decimals} |",
        "",
    ]
    return "\n".join(lines)


def page() -> str:
    """Return the whole page."""
    parts = [HEAD]
    for scope, (title, words) in SCOPES.items():
        measures = measures_of(scope)  # type: ignore[arg-type]
        if measures:
            parts.append(f"## {title}\n\n{words}\n")
            parts.extend(section(measure) for measure in measures)
    assert sum(part.startswith("### ") for part in parts) == len(MEASURES)
    return "\n".join(parts)


if __name__ == "__main__":
    PAGE.write_text(page(), encoding="utf-8")
