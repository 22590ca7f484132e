"""The same digits from one token alone and in company, and whatever the linear-algebra library does."""

from __future__ import annotations

import json
import os
import subprocess
import sys

import numpy as np
import pytest

from sibilant.acoustics import measure
from sibilant.methods import HOUSE_15K, OPEN_ADULT
from sibilant.terms import MEASURES, Measures

PROGRAM = """
import json
import numpy as np
from sibilant.acoustics import measure
from sibilant.methods import HOUSE_15K, OPEN_ADULT, get_method
from sibilant.terms import MEASURES, Edge, Interval, Recording, SibilantInterval, Source
noise = np.random.default_rng(9).standard_normal(3 * 44100).astype(np.float32) * 0.05
recording = Recording(noise, 44100, Source("buffer", ""))
sounds = []
for k in range(12):
    stretch = Interval(0.2 * k + 0.05, 0.2 * k + 0.1 + 0.011 * k)
    sounds.append(SibilantInterval(None, stretch, stretch, Edge(stretch.onset_s, "silence", 2, 1),
                                   Edge(stretch.offset_s, "silence", 2, 1), 1.0))
rows = []
for method in (HOUSE_15K, OPEN_ADULT, get_method("jongman-2000")):
    for one in measure(recording, sounds, method):
        rows.append({f"{key}.{part}": round(value, MEASURES[key].decimals)
                     for part in ("values", "low", "high", "boundary") for key, value in getattr(one, part).items()})
print(json.dumps(rows))
"""


def printed(one: Measures) -> dict[str, float]:
    return {
        f"{key}.{part}": round(value, MEASURES[key].decimals)
        for part in ("values", "low", "high", "boundary")
        for key, value in getattr(one, part).items()
    }


@pytest.mark.parametrize("method", [HOUSE_15K, OPEN_ADULT], ids=lambda m: m.name)
def test_alone_and_in_company(method, tokens_like, paper, bounded) -> None:
    tokens = tokens_like(paper["two humps"], 9, 150.0, 21)
    sounds = [*tokens.sounds, bounded(0.5, 0.552), bounded(0.7, 0.93)]
    together = [printed(one) for one in measure(tokens.recording, sounds, method)]
    alone = [printed(measure(tokens.recording, [sound], method)[0]) for sound in sounds]
    assert alone == together


def test_order_of_company_does_not_matter(tokens_like, paper) -> None:
    tokens = tokens_like(paper["hump"], 7, 120.0, 22)
    forward = [printed(one) for one in measure(tokens.recording, tokens.sounds, HOUSE_15K)]
    backward = [printed(one) for one in measure(tokens.recording, tokens.sounds[::-1], HOUSE_15K)]
    assert forward == backward[::-1]


def run_with(**environment: str) -> list[dict[str, float]]:
    done = subprocess.run(
        [sys.executable, "-c", PROGRAM], env={**os.environ, **environment}, capture_output=True, text=True, check=True
    )
    rows: list[dict[str, float]] = json.loads(done.stdout)
    return rows


def test_whatever_threads_and_kernels() -> None:
    plain = run_with(OPENBLAS_NUM_THREADS="1")
    assert len(plain) == 36 and all(np.isfinite(v) for row in plain for v in row.values())
    assert run_with(OPENBLAS_NUM_THREADS="4", OMP_NUM_THREADS="4") == plain
    assert run_with(OPENBLAS_NUM_THREADS="1", OPENBLAS_CORETYPE="Prescott") == plain


def test_no_product_of_matrices_on_the_measured_path() -> None:
    # Plain reading of the source: none of the names that reach BLAS.
    import ast
    from pathlib import Path

    import sibilant.acoustics

    room = Path(sibilant.acoustics.__file__).parent
    for path in room.glob("*.py"):
        if path.name == "cepstra.py":
            continue
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            assert not isinstance(node, ast.MatMult), path.name
            if isinstance(node, ast.Attribute):
                assert node.attr not in {"dot", "matmul", "inner", "vdot", "tensordot", "lstsq", "solve"}, path.name
            if isinstance(node, ast.Call) and getattr(node.func, "attr", "") == "einsum":
                assert any(k.arg == "optimize" and not k.value.value for k in node.keywords), path.name
