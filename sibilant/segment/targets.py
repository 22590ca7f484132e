"""Rough band shapes of speech sounds: enough to tell the words of a list apart, and used for nothing else.

``TABLE`` holds, for each class, the mean shape in 15 bands (dB re the mean over the bands), twice its spread, and the
level below the loudest part of the word with its spread. It was found by aligning words with known phones and
averaging, a few times over, starting from formants (Hillenbrand et al. 1995, from memory) and hand-set outlines of
frication: 74 English words of two speakers and 16 numerals in ten languages (open licences, those of the clips the
tests read), short sentences of 16 children, 540 words of nine invented speakers of ``sibilant.synthetic``, and 2,000
words of the built-in lists from a formant synthesiser in nine voices at two pitches. Speakers count alike, whatever
their number of words; the real ones three times. No figure of the table a user gets is taken from these.
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
IY  | 22 19 -1 -11 -12 -7 2 9 11 9 5 -5 -11 -13 -18 | 10 12 14 14 17 19 18 13 10 11 10 11 9 7 7 | -7 6
IH  | 18 25 4 -7 -8 -2 8 6 7 4 2 -6 -12 -17 -22 | 11 8 12 19 22 18 10 8 8 8 7 9 7 7 7 | -6 6
EH  | 14 18 12 -2 -5 5 8 4 5 1 0 -8 -15 -17 -21 | 13 9 12 12 15 13 12 10 9 8 7 10 12 8 10 | -4 4
AE  | 13 14 14 5 2 10 6 2 2 -2 -2 -8 -16 -18 -23 | 16 12 11 15 15 11 11 11 9 9 7 9 11 7 7 | -5 5
AA  | 13 15 20 14 14 5 -7 -3 2 0 -2 -11 -16 -19 -24 | 10 10 10 15 14 13 15 15 10 7 7 10 8 7 7 | -4 4
AO  | 18 25 25 20 9 -8 -12 -5 1 -0 -5 -12 -15 -17 -24 | 10 10 9 13 15 14 16 16 11 9 9 12 7 7 7 | -4 4
UH  | 21 27 17 15 8 -7 -11 0 -1 -2 -4 -8 -15 -17 -23 | 11 11 10 13 13 19 17 10 8 7 7 10 8 7 8 | -5 4
UW  | 29 26 10 10 7 -2 -6 3 -5 -2 -4 -12 -14 -18 -23 | 15 14 23 22 14 14 14 11 9 8 7 10 7 8 9 | -6 6
AH  | 15 20 17 7 11 6 -7 -3 1 0 -3 -10 -14 -17 -23 | 11 10 11 16 15 14 14 12 8 7 7 10 7 7 8 | -6 5
ER  | 18 25 13 1 14 17 7 -0 -13 -3 -5 -14 -16 -18 -24 | 8 7 8 12 11 10 11 18 16 13 11 11 8 9 9 | -8 6
L   | 22 28 15 10 5 -4 -13 -11 2 3 -2 -8 -13 -15 -19 | 7 7 15 19 14 18 11 13 10 9 9 7 7 8 10 | -11 6
R   | 25 28 12 11 17 11 1 -11 -14 -8 -9 -14 -15 -15 -18 | 10 9 10 14 11 12 17 17 15 14 11 9 11 11 12 | -11 5
W   | 31 30 17 9 1 -7 -8 0 -4 -5 -7 -10 -14 -15 -19 | 12 10 15 17 16 12 10 7 8 7 7 7 8 10 12 | -9 5
Y   | 23 18 -2 -12 -13 -13 -2 11 12 14 7 -1 -10 -14 -17 | 7 9 8 11 11 11 14 11 11 11 9 11 10 10 9 | -11 5
M   | 31 25 9 19 10 -9 -9 -2 -9 -5 -6 -11 -13 -15 -14 | 8 12 18 11 15 12 10 7 8 9 9 8 9 9 12 | -14 5
N   | 28 24 10 3 1 -2 -2 -6 -0 -4 -4 -8 -12 -14 -15 | 12 10 12 21 17 13 17 9 7 8 7 7 7 8 11 | -15 6
NG  | 31 26 15 6 4 -3 -4 -1 -3 -7 -6 -10 -14 -18 -16 | 7 7 7 18 16 13 11 11 15 11 9 9 9 11 13 | -15 5
S   | -9 -9 -11 -9 -9 -7 -6 -4 -2 2 9 16 16 13 10 | 24 20 11 10 8 7 7 7 8 10 14 12 11 16 17 | -15 7
SH  | -20 -15 -16 -15 -12 -4 3 11 14 15 15 15 10 3 -3 | 22 18 12 11 9 10 11 9 10 12 11 9 10 11 13 | -12 6
LAT | -23 -17 -15 -10 -3 3 7 9 11 11 10 9 6 3 -1 | 14 14 14 14 14 14 14 14 14 14 14 14 14 14 14 | -15 9
F   | -4 -4 -7 -5 -3 -1 -2 -0 0 1 3 6 6 5 7 | 20 17 9 9 7 7 7 7 7 8 9 7 7 8 8 | -27 5
HH  | -5 9 11 10 0 -9 -9 -2 -4 -6 -0 12 3 -5 -6 | 13 11 10 11 11 10 11 15 11 10 11 11 13 11 11 | -28 6
T   | 2 1 -6 -8 -7 -3 -2 -1 1 2 4 8 6 2 0 | 24 18 13 12 10 8 7 8 12 14 16 16 16 16 16 | -20 6
K   | 0 3 -4 -4 -2 1 4 5 3 2 3 4 -1 -6 -8 | 24 23 17 17 17 16 11 9 9 8 9 9 9 7 7 | -21 6
P   | 9 8 4 3 1 1 -0 -0 -3 -3 -2 1 -3 -8 -9 | 19 14 13 12 9 9 8 7 7 8 8 8 8 8 7 | -25 6
Z   | 4 -3 -13 -12 -10 -6 -5 -4 -2 6 13 15 11 6 1 | 24 23 16 14 14 12 10 8 11 16 15 16 16 17 16 | -14 6
ZH  | 6 -4 -13 -16 -13 -6 -1 5 9 9 9 8 5 2 -2 | 14 14 14 14 14 14 14 14 14 14 14 14 14 14 14 | -15 8
V   | 16 14 1 -1 -1 -4 -5 -4 -5 -5 -3 -2 -0 -1 -1 | 19 16 10 12 11 8 9 8 7 8 11 13 10 9 8 | -18 7
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
