"""Rough band shapes of speech sounds: enough to tell the words of a list apart, and used for nothing else.

``TABLE`` holds, for each class, the mean shape in 15 bands (dB re the mean over the bands), twice its spread, and the
level below the loudest part of the word with its spread. ``docs/average_band_shapes.py`` makes it by aligning words
with known phones and averaging, seven times over: nine invented speakers of ``sibilant.synthetic``, 14 voices of a
formant synthesiser saying words of the built-in lists, 15 German words of a woman and short sentences of 16 children
(open licences). Speakers count alike, whatever their number of words; the woman three times. LAT, ZH and BAR were
outlined by hand, HH is kept from an earlier average. The first round was aligned by an earlier table; run again from
this one the script moves the shapes by 0.7 dB in the mean. But for HH no speaker of the English words that the tests
of matching use is in it. No figure of the table a user gets is taken from these.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import numpy.typing as npt

Float32s = npt.NDArray[np.float32]

EDGES_HZ = (
    90.0, 350.0, 650.0, 950.0, 1270.0, 1600.0, 2000.0, 2400.0, 2900.0, 3500.0, 4200.0, 5100.0, 6300.0, 7700.0,
    9500.0, 12000.0,
)  # fmt: skip
N_BANDS = len(EDGES_HZ) - 1

TABLE = """\
IY  | 21 14 1 -7 -10 -5 4 8 8 7 2 -6 -10 -13 -15 | 12 11 14 14 15 18 19 14 12 13 11 12 11 10 11 | -7 6
IH  | 20 19 3 -8 -10 -3 8 7 7 4 1 -6 -11 -15 -18 | 9 10 9 14 16 16 13 9 8 8 8 9 7 7 8 | -5 5
EH  | 14 14 13 2 -3 6 10 4 4 1 -2 -10 -15 -18 -20 | 8 8 11 11 13 14 11 12 9 8 8 12 11 7 8 | -4 4
AE  | 12 11 16 9 4 11 8 2 1 -3 -4 -10 -16 -18 -21 | 9 8 9 12 13 11 14 13 9 10 7 12 12 7 7 | -4 4
AA  | 12 12 19 17 14 6 -6 -4 1 -0 -4 -12 -16 -19 -21 | 7 8 11 16 15 14 17 16 8 7 8 11 9 7 8 | -5 4
AO  | 17 20 25 23 9 -8 -13 -6 2 -1 -8 -12 -14 -15 -18 | 9 9 9 12 14 15 14 15 11 8 8 9 7 7 8 | -4 4
UH  | 19 20 18 16 8 -6 -10 -0 -2 -2 -4 -9 -13 -16 -20 | 10 9 10 13 16 19 14 10 8 7 8 11 10 8 9 | -5 4
UW  | 25 18 8 8 7 0 -4 1 -4 -2 -5 -12 -13 -14 -14 | 12 13 24 22 18 19 17 15 12 12 10 12 10 12 15 | -6 5
AH  | 15 15 16 12 11 5 -7 -5 1 -1 -5 -11 -13 -16 -18 | 8 8 12 15 15 15 16 14 8 7 8 11 10 9 11 | -6 5
ER  | 16 17 9 3 11 16 10 0 -9 -2 -7 -14 -15 -17 -19 | 8 8 10 12 12 8 11 16 15 12 9 10 9 8 8 | -10 6
L   | 21 20 13 9 3 -1 -8 -9 2 1 -4 -8 -12 -14 -15 | 7 9 17 20 20 21 17 13 11 11 10 9 9 10 12 | -10 6
R   | 21 19 11 10 13 10 2 -8 -10 -7 -9 -10 -12 -15 -16 | 13 10 13 16 14 12 15 16 15 13 10 11 10 10 11 | -10 5
W   | 28 23 13 8 1 -7 -7 -1 -4 -5 -7 -8 -10 -12 -13 | 9 9 16 17 17 17 12 8 9 7 7 8 10 11 13 | -9 5
Y   | 21 13 -2 -11 -13 -10 1 11 10 10 5 -2 -9 -13 -12 | 7 10 11 11 12 13 20 10 9 7 9 11 10 9 9 | -10 4
M   | 27 16 9 17 10 -6 -8 -5 -8 -4 -5 -9 -11 -12 -11 | 7 12 15 9 14 11 8 7 7 8 7 8 9 9 7 | -12 4
N   | 26 18 8 3 1 1 1 -4 -2 -4 -4 -7 -10 -13 -14 | 10 8 11 18 16 15 15 11 9 9 8 9 9 8 8 | -12 6
NG  | 28 20 13 5 -0 -3 -4 -3 -1 -6 -6 -7 -10 -13 -13 | 7 7 7 14 15 12 10 10 10 7 7 7 7 7 7 | -14 5
S   | -9 -11 -8 -5 -6 -5 -4 -4 -2 2 8 14 13 11 8 | 17 14 11 11 9 8 8 7 8 10 11 10 11 14 16 | -16 7
SH  | -19 -16 -13 -11 -9 -3 4 10 11 11 12 14 9 3 -2 | 17 16 12 10 8 9 10 8 10 13 10 7 9 9 10 | -12 5
LAT | -23 -17 -15 -10 -3 3 7 9 11 11 10 9 6 3 -1 | 14 14 14 14 14 14 14 14 14 14 14 14 14 14 14 | -15 9
F   | -1 -3 -2 0 1 1 1 -1 -2 -2 0 4 2 1 1 | 15 12 10 9 8 7 7 7 7 8 8 7 8 9 9 | -28 5
HH  | -5 9 11 10 0 -9 -9 -2 -4 -6 -0 12 3 -5 -6 | 13 11 10 11 11 10 11 15 11 10 11 11 13 11 11 | -28 6
T   | 5 -1 -3 -4 -4 -1 -1 -2 -1 -0 3 6 4 1 -1 | 22 17 14 13 11 10 10 9 12 14 13 11 11 12 12 | -21 6
K   | 0 -2 -2 -1 -1 2 5 5 2 1 2 4 -1 -5 -7 | 19 16 13 13 14 14 11 12 12 11 10 8 9 9 7 | -22 6
P   | 8 4 6 6 3 2 2 -1 -3 -4 -2 0 -4 -8 -10 | 13 11 12 10 8 9 8 7 7 8 8 7 7 7 7 | -26 6
Z   | 7 3 -1 -4 -6 -5 -6 -6 -4 -2 2 8 7 4 4 | 15 14 9 10 10 8 8 7 8 13 16 11 11 12 13 | -16 8
ZH  | 6 -4 -13 -16 -13 -6 -1 5 9 9 9 8 5 2 -2 | 14 14 14 14 14 14 14 14 14 14 14 14 14 14 14 | -15 8
V   | 16 11 8 5 3 -1 -3 -4 -5 -6 -7 -4 -4 -5 -4 | 14 10 12 12 10 10 10 9 9 9 9 8 7 8 8 | -16 7
BAR | 29 19 9 4 2 -0 -2 -3 -5 -6 -7 -8 -10 -10 -11 | 14 14 14 14 14 14 14 14 14 14 14 14 14 14 14 | -24 9
"""
_ROWS = {line.split("|")[0].strip(): [np.array(part.split(), float) for part in line.split("|")[1:]]
         for line in TABLE.strip().splitlines()}  # fmt: skip
CLASSES = tuple(_ROWS)


@lru_cache(maxsize=16)
def warped(scale: float) -> tuple[Float32s, Float32s]:
    """Mean shapes and spreads (k, 15), dB, for a speaker whose formants lie ``scale`` times as high.

    Each shape is read at frequencies divided by ``scale``, between the middles of the bands on a log axis.
    """
    edges = np.log(np.asarray(EDGES_HZ))
    middle = 0.5 * (edges[:-1] + edges[1:])
    shape = np.stack([np.interp(middle - np.log(scale), middle, row[0]) for row in _ROWS.values()])
    spread = 0.5 * np.stack([row[1] for row in _ROWS.values()])
    return _frozen(shape), _frozen(spread)


@lru_cache(maxsize=1)
def level_template() -> tuple[Float32s, Float32s]:
    """Usual level of each class below the loudest part of the word, and its spread: two of (k,), dB."""
    level = np.stack([row[2] for row in _ROWS.values()])
    return _frozen(level[:, 0]), _frozen(level[:, 1])


def _frozen(values: npt.NDArray[np.float64]) -> Float32s:
    out = values.astype(np.float32)
    out.setflags(write=False)
    return out
