"""How costs grow: seconds at several sizes and the exponent of their growth, kept in docs/evidence/growth.csv.

``python tests/benchmarks/growth.py [--only NAME]``. Each size is a process of its own, whose figure is processor time.
Where a corpus is measured, the peak of its memory stands beside it.
Invented data – not a person.
"""

from __future__ import annotations

import argparse
import csv
import math
from collections.abc import Sequence

import bench
import bench_material as made

EVIDENCE = made.ROOT / "docs" / "evidence" / "growth.csv"
HEAD = ("what", "size", "seconds", "peak_mb", "exponent", "aim", "commit")
ONE_TURN = 10_000  # from this size on, for it takes minutes
GROWN = {
    "views": ("view of one client, sessions", (6, 24, 96, 384), "linear"),
    "reads": ("case of one client read, sessions", (6, 24, 96), "linear"),
    "words": ("words of a list found, words", (10, 30, 100, 300, 1000), "<= 1.15"),
    "tokens": ("corpus on one core, tokens", (100, 1000, 10_000, 100_000), "linear"),
    "gathering": ("corpus gathered from what is measured, tokens", (1000, 10_000, 100_000), "linear"),
    "clients": ("progress of one client, clients kept", (10, 100, 1000), "<= 0.04"),
}
"""What is grown, its sizes, and the aim of its exponent (0.04: 1.2 times at a hundred times the clients).

The figures are a session's, a word's, a token's, or a kept client's.
"""


def exponent(sizes: Sequence[int], costs: Sequence[float]) -> float:
    """Slope of the line through the logarithms by least squares.

    Examples
    --------
    >>> round(exponent([1, 10, 100], [2.0, 20.0, 200.0]), 6)
    1.0
    """
    xs, ys = [math.log(size) for size in sizes], [math.log(cost) for cost in costs]
    middle, level = sum(xs) / len(xs), sum(ys) / len(ys)
    over = sum((x - middle) * (y - level) for x, y in zip(xs, ys, strict=True))
    return over / sum((x - middle) ** 2 for x in xs)


def grown(name: str) -> list[dict[str, str]]:
    """Measure one of them at its sizes, the least of two turns each; large ones once."""
    what, sizes, aim = GROWN[name]
    turns = {size: [turn(name, size) for _ in range(1 if size >= ONE_TURN else 2)] for size in sizes}
    costs = [size * min(each for each, _ in turns[size]) for size in sizes]
    slope = f"{exponent(sizes, costs):.2f}"
    found = [(what, str(size), f"{cost:.4g}", max(peak for _, peak in turns[size]), slope, aim, bench.commit())
             for size, cost in zip(sizes, costs, strict=True)]  # fmt: skip
    return [dict(zip(HEAD, row, strict=True)) for row in found]


def turn(name: str, size: int) -> tuple[float, str]:
    """Seconds of one of them, and the peak of its memory in MB where it says so."""
    told, _ = bench.ran(bench.figure(name, size))
    peak = told.rsplit("PEAK", 1)[1].split()[0] if "PEAK" in told else ""
    return float(told.rsplit("FIGURE", 1)[1].split()[0]), str(round(int(peak) / 1024)) if peak else ""


def keep(rows: list[dict[str, str]]) -> None:
    """Write figures beside the others; those of the same thing go."""
    before = list(csv.DictReader(EVIDENCE.read_text(encoding="utf-8").splitlines())) if EVIDENCE.exists() else []
    kept = [row for row in before if row["what"] != rows[0]["what"]] + rows
    with EVIDENCE.open("w", newline="", encoding="utf-8") as stream:
        writer = csv.DictWriter(stream, HEAD, restval="", lineterminator="\n")
        writer.writeheader()
        writer.writerows(kept)


def main() -> None:
    """Grow what was asked."""
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    asked.add_argument("--only", choices=GROWN, action="append")
    for name in asked.parse_args().only or GROWN:
        rows = grown(name)
        keep(rows)
        costs = ", ".join(
            f"{row['size']}: {row['seconds']} s {row['peak_mb'] and row['peak_mb'] + ' MB'}".strip() for row in rows
        )
        print(f"{rows[0]['what']}: n^{rows[0]['exponent']} ({costs}); aim {rows[0]['aim']}", flush=True)


if __name__ == "__main__":
    main()
