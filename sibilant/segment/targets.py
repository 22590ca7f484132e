"""Rough band shapes of speech sounds: enough to tell the words of a list apart, and used for nothing else.

``TABLE`` holds, for each class, the mean shape in 15 bands (dB re the mean over the bands), twice its spread, and
the level below the loudest part of the word with its spread. It was found by aligning words with known phones and
averaging, a few times over, starting from formants (Hillenbrand et al. 1995, from memory) and hand-set outlines of
frication: 13 and 61 English words of two speakers, 16 numerals in ten languages, and 2,000 words of the built-in lists
from a formant synthesiser in nine voices, each also an octave-sixth higher. No figure of the table a user gets is
taken from these.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float32]

EDGES_HZ = (
    90.0, 350.0, 650.0, 950.0, 1270.0, 1600.0, 2000.0, 2400.0, 2900.0, 3500.0, 4200.0, 5100.0, 6300.0, 7700.0,
    9500.0, 12000.0,
)  # fmt: skip
N_BANDS = len(EDGES_HZ) - 1

TABLE = """\
IY  | 21 19 -2 -13 -14 -10 3 14 11 10 7 -6 -11 -12 -17 | 10 11 16 16 18 19 21 14 10 12 11 12 11 10 11 | -8 6
IH  | 17 24 5 -10 -11 -5 12 5 9 5 6 -6 -11 -17 -22 | 11 8 15 23 24 19 10 9 9 9 9 13 9 9 11 | -6 6
EH  | 13 16 13 -0 -7 6 10 2 6 -1 2 -8 -17 -17 -20 | 13 9 11 13 15 13 12 11 8 8 7 11 14 11 13 | -5 5
AE  | 11 13 16 10 5 14 7 -1 4 -5 -1 -8 -23 -18 -24 | 13 11 8 12 13 10 13 10 9 10 9 11 12 7 8 | -4 4
AA  | 11 13 20 19 17 7 -10 -8 5 2 1 -13 -18 -20 -26 | 11 11 9 12 14 16 18 17 11 8 8 12 10 8 8 | -5 4
AO  | 14 21 23 23 13 -10 -16 -9 7 5 -4 -14 -16 -13 -23 | 12 12 8 15 19 17 17 18 11 9 11 16 10 7 8 | -4 4
UH  | 15 21 15 16 10 -9 -15 4 1 0 -3 -4 -15 -13 -25 | 11 10 10 14 17 23 21 13 9 7 9 13 11 7 10 | -5 4
UW  | 19 20 -1 2 10 4 -7 12 -2 4 0 -13 -10 -15 -23 | 9 9 19 22 18 19 17 12 11 8 10 14 11 9 12 | -8 6
AH  | 14 19 16 5 10 8 -7 -4 3 1 -1 -12 -15 -15 -24 | 12 10 14 21 20 19 18 15 10 9 8 12 10 8 10 | -6 5
ER  | 11 18 9 -6 11 18 6 12 -12 5 0 -16 -15 -15 -26 | 8 7 7 11 12 9 14 13 17 8 9 15 11 8 9 | -7 4
L   | 19 23 12 9 4 -3 -14 -16 3 9 1 -6 -11 -12 -16 | 7 8 20 24 19 24 15 15 13 10 12 11 9 8 10 | -11 5
R   | 19 22 9 7 16 9 4 -8 -13 -4 -8 -11 -10 -12 -19 | 13 9 14 15 13 15 17 18 16 17 14 14 11 9 10 | -10 5
W   | 27 27 14 5 -3 -11 -13 3 1 -1 -7 -6 -9 -11 -15 | 11 9 16 20 18 13 11 10 9 7 9 11 10 8 11 | -10 6
Y   | 21 17 -3 -15 -14 -13 1 17 12 15 6 -0 -14 -15 -15 | 8 10 10 13 15 17 16 11 13 12 12 15 12 12 12 | -12 5
M   | 26 17 -5 16 18 -7 -11 -0 -8 1 -1 -8 -10 -14 -15 | 7 8 11 12 13 13 15 7 9 8 8 10 11 8 10 | -14 4
N   | 23 20 7 -7 -5 1 8 -5 3 -6 -0 -4 -9 -13 -14 | 12 10 12 18 20 14 11 9 8 9 8 11 9 9 11 | -14 6
NG  | 27 22 16 -7 -10 -7 -6 6 7 -2 -1 -3 -10 -18 -15 | 7 8 9 11 20 22 17 16 11 9 8 9 8 11 12 | -14 4
S   | -6 -8 -11 -7 -8 -6 -4 -3 -3 1 8 18 17 8 5 | 24 23 12 10 8 7 7 7 7 10 14 15 12 15 18 | -15 7
SH  | -18 -13 -15 -12 -10 -4 5 13 12 10 11 18 12 -1 -6 | 24 19 14 9 9 10 11 10 10 12 11 12 13 12 14 | -12 6
LAT | -23 -17 -15 -10 -3 3 7 9 11 11 10 9 6 3 -1 | 14 14 14 14 14 14 14 14 14 14 14 14 14 14 14 | -15 9
F   | -0 -2 -8 -2 -1 -0 -0 1 -1 -2 -1 10 6 -1 2 | 20 17 11 8 7 7 7 7 7 8 9 9 9 10 10 | -27 5
HH  | -9 -1 7 9 2 -2 -1 2 -1 -1 -1 10 5 -8 -10 | 24 18 11 11 11 12 14 12 9 9 9 11 10 10 11 | -23 7
T   | 1 -0 -4 -4 -5 -2 0 -0 -2 -1 0 10 8 -1 -1 | 22 15 11 9 9 9 7 8 10 13 16 19 18 17 18 | -20 6
K   | 0 4 -2 -1 -1 0 4 5 0 -0 0 8 2 -8 -9 | 17 14 13 11 11 11 11 10 8 8 10 12 10 9 9 | -20 6
P   | 9 6 5 4 1 2 2 1 -3 -4 -4 4 -1 -11 -11 | 15 11 13 11 11 10 8 8 7 8 8 9 10 9 9 | -25 6
Z   | 2 -4 -14 -13 -11 -6 -4 -3 -1 6 13 15 13 7 0 | 24 24 16 13 13 12 10 7 10 16 15 16 16 16 16 | -14 6
ZH  | 6 -4 -13 -16 -13 -6 -1 5 9 9 9 8 5 2 -2 | 14 14 14 14 14 14 14 14 14 14 14 14 14 14 14 | -15 8
V   | 15 11 -0 -2 1 -2 -3 -3 -4 -5 -5 4 3 -5 -5 | 17 14 12 13 12 9 9 8 7 8 11 15 13 12 12 | -20 5
BAR | 29 19 9 4 2 -0 -2 -3 -5 -6 -7 -8 -10 -10 -11 | 14 14 14 14 14 14 14 14 14 14 14 14 14 14 14 | -24 9
"""
_ROWS = {line.split("|")[0].strip(): [np.array(part.split(), float) for part in line.split("|")[1:]]
         for line in TABLE.strip().splitlines()}  # fmt: skip
CLASSES = tuple(_ROWS)


@lru_cache(maxsize=16)
def warped(scale: float) -> tuple[Floats, Floats]:
    """Mean shapes and spreads (k, 15), dB, for a speaker whose formants lie ``scale`` times as high.

    Each shape is read at frequencies divided by ``scale``, between the middles of the bands on a log axis.
    """
    edges = np.log(np.asarray(EDGES_HZ))
    middle = 0.5 * (edges[:-1] + edges[1:])
    shape = np.stack([np.interp(middle - np.log(scale), middle, row[0]) for row in _ROWS.values()])
    spread = 0.5 * np.stack([row[1] for row in _ROWS.values()])
    return _frozen(shape), _frozen(spread)


@lru_cache(maxsize=1)
def level_table() -> tuple[Floats, Floats]:
    """Usual level of each class below the loudest part of the word, and its spread: two of (k,), dB."""
    level = np.stack([row[2] for row in _ROWS.values()])
    return _frozen(level[:, 0]), _frozen(level[:, 1])


def _frozen(values: npt.NDArray[np.float64]) -> Floats:
    out = values.astype(np.float32)
    out.setflags(write=False)
    return out
