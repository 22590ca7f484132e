"""Phones and runs matched in order: which stretch of frication belongs to which expected sibilant."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from .frication import Run, is_burst

SIBILANTS = frozenset({"S", "Z", "SH", "ZH", "CH", "JH"})
STOPS = frozenset({"P", "T", "K", "B", "D", "G"})
FAINT_FRICATIVES = frozenset({"F", "TH", "HH", "V", "DH"})
SONORANTS = frozenset({"M", "N", "NG", "L", "R", "W", "Y"})
AFFRICATES = frozenset({"CH", "JH"})
VOICED = frozenset({"Z", "ZH", "JH"})
SKIP_PHONE = {"vowel": 3.0, "sonorant": 0.6, "stop": 0.6, "faint": 1.0, "sibilant": 2.6}
LASTING_S, FLEETING_S = 0.045, 0.025
FLEETING_COST = 3.6
LASTING_COST, SIBILANT_COST, BURST_COST = 2.0, 3.0, 4.0
ORDINARY_S = {"sibilant": 0.12, "stop": 0.09, "sonorant": 0.07, "faint": 0.09}
PLACE_SHARE, PLACE_LEAST_S, PLACE_COST, LEAST_PLACED = 0.25, 0.25, 1.2, 6
VOWEL_HISSED_COST = 3.0
QUIETEST_LOUDEST_DB = 26.0
VOICE_COST = {"vowel": 0.0, "sonorant": 0.2, "faint": 1.0, "stop": 1.2}
STAY_ON_VOICE = {"sonorant": 0.1, "vowel": 0.5, "faint": 0.5, "stop": 0.6}
STAY_ON_FRICATION = {"sibilant": 0.8, "stop": 0.5, "faint": 0.8, "vowel": 4.0}


@lru_cache(maxsize=256)
def kind_of(phone: str) -> str:
    """Return the kind of an ARPABET phone: sibilant, stop, faint (fricative), sonorant or vowel (empty for none).

    Examples
    --------
    >>> [kind_of(p) for p in ("S", "IY1", "T", "HH", "N")]
    ['sibilant', 'vowel', 'stop', 'faint', 'sonorant']
    """
    base = phone.rstrip("012")
    if not base:
        return ""
    for kind, members in (
        ("sibilant", SIBILANTS),
        ("stop", STOPS),
        ("faint", FAINT_FRICATIVES),
        ("sonorant", SONORANTS),
    ):
        if base in members:
            return kind
    return "vowel"


@dataclass(frozen=True, slots=True)
class _Yard:
    """What the runs of one utterance are compared with: its strongest frication and its length of a frame."""

    loudest_db: float
    balance_db: float
    hop_s: float

    def likeness(self, run: Run, phone: str = "") -> float:
        """How much a run of frication is like this utterance's clearest sibilant, 0 to 1; a weak or odd one has less.

        Balance does not count for a voiced ``phone``, nor an abrupt beginning for an affricate.
        """
        length = run.n_frames * self.hop_s
        faint = float(np.clip((self.loudest_db - run.high_db) / 20.0, 0.0, 1.2))
        dull = float(np.clip((self.balance_db - run.balance_db) / 30.0, 0.0, 1.2))
        short = float(np.clip((0.06 - length) / 0.045, 0.0, 1.0))
        burst = float(is_burst(run, length))
        dull *= phone not in VOICED
        burst *= phone not in AFFRICATES
        return max(0.0, 1.0 - 0.6 * faint - 0.35 * dull - 0.8 * short - 0.4 * burst)


def _yard(runs: Sequence[Run], hop_s: float, voice_db: float) -> _Yard:
    hisses = [
        run
        for run in runs
        if run.kind == "frication" and run.n_frames * hop_s > 0.035 and (run.balance_db > 0 or not run.voiced)
    ]
    loudest = max([voice_db - QUIETEST_LOUDEST_DB, *(run.high_db for run in hisses)])
    balance = max((run.balance_db for run in hisses if run.high_db > loudest - 20.0), default=0.0)
    return _Yard(loudest, balance, hop_s)


def _match_cost(kind: str, phone: str, run: Run, yard: _Yard) -> float | None:
    """Cost of taking a run for a phone; None when it can't be."""
    if run.kind == "silence":
        return 0.0 if kind == "stop" else None
    if run.kind == "voice":
        return VOICE_COST.get(kind)
    like = yard.likeness(run, phone)
    if kind == "sibilant":
        return _sibilant_cost(run, phone, like, yard.hop_s)
    if kind == "stop":
        long = float(np.clip((run.n_frames * yard.hop_s - 0.16) / 0.03, 0.0, 4.0))
        return 0.2 + long + (1.0 if is_burst(run, run.n_frames * yard.hop_s) else 2.5) * like
    if kind == "faint":
        return 0.2 + 2.5 * like
    return VOWEL_HISSED_COST + 2.0 * like


def _sibilant_cost(run: Run, phone: str, like: float, hop_s: float) -> float:
    """Cost of taking a frication for a sibilant: any will do that lasts, however faint or odd; a release hardly."""
    length = run.n_frames * hop_s
    most = SIBILANT_COST
    if is_burst(run, length) and phone not in AFFRICATES:
        most = BURST_COST
    elif length > LASTING_S:
        most = LASTING_COST
    elif length < FLEETING_S:
        most = FLEETING_COST
    return min(3.0 * (1.0 - like) + (most - LASTING_COST), most) + 0.3 * (run.voiced and phone not in VOICED)


def _skip_cost(run: Run, yard: _Yard) -> float:
    """Cost of leaving a run without a phone."""
    if run.kind == "silence":
        return 0.0
    length = run.n_frames * yard.hop_s
    if run.kind == "voice":
        return float(np.clip(length / 0.05, 0.3, 3.0))
    return 0.2 + 3.0 * yard.likeness(run)


def _stay_cost(kind: str, run: Run) -> float | None:
    """Cost of a phone sharing the run that the phone before it took; None when it can't."""
    if run.kind == "voice":
        return STAY_ON_VOICE.get(kind)
    if run.kind == "frication":
        return STAY_ON_FRICATION.get(kind)
    return 0.6 if kind == "stop" else None


def align(phones: Sequence[str], runs: Sequence[Run], hop_s: float, voice_db: float) -> dict[int, int]:
    """Match phones to runs in order at the least cost; returns run by phone index for the phones that got one.

    ``voice_db`` is the level of the loudest voice, with which the frication is compared where none is strong.
    Several phones may share a voiced run, or a doubled or merged frication; phones and runs may be left out.
    """
    yard = _yard(runs, hop_s, voice_db)
    kinds = [kind_of(phone) for phone in phones]
    match = [[_match_cost(kind, phone, run, yard) for run in runs] for kind, phone in zip(kinds, phones, strict=True)]
    _weigh_places(match, kinds, phones, (runs, hop_s))
    stay = [[_stay_cost(kind, run) for run in runs] for kind in kinds]
    skip_run = [_skip_cost(run, yard) for run in runs]
    grid = _Grid(len(phones), len(runs))
    for i in range(len(phones) + 1):
        for j in range(len(runs) + 1):
            if j:
                grid.offer((i, j, False), (i, j - 1, False), skip_run[j - 1])
                grid.offer((i, j, False), (i, j - 1, True), skip_run[j - 1])
            if not i:
                continue
            skip = SKIP_PHONE[kinds[i - 1]]
            grid.offer((i, j, False), (i - 1, j, False), skip)
            grid.offer((i, j, True), (i - 1, j, True), skip)
            if j:
                grid.offer((i, j, True), (i - 1, j - 1, False), match[i - 1][j - 1], takes=True)
                grid.offer((i, j, True), (i - 1, j - 1, True), match[i - 1][j - 1], takes=True)
                grid.offer((i, j, True), (i - 1, j, True), stay[i - 1][j - 1], takes=True)
    return grid.taken()


def _weigh_places(
    match: list[list[float | None]], kinds: list[str], phones: Sequence[str], heard: tuple[Sequence[Run], float]
) -> None:
    """Add to the cost of a sibilant what lies far from where its turn comes, by ordinary lengths of the phones."""
    runs, hop_s = heard
    loud = [run for run in runs if run.kind == "voice"]
    lengths = np.array([_ordinary_s(kind, phone) for kind, phone in zip(kinds, phones, strict=True)])
    if not loud or lengths.size < LEAST_PLACED:
        return
    places = np.cumsum(lengths) - lengths / 2
    voiced = [k for k, kind in enumerate(kinds) if kind in ("vowel", "sonorant")]
    if not voiced:
        return
    begin, end = loud[0].first, loud[-1].last + 1
    reach = max(PLACE_SHARE * (end - begin), PLACE_LEAST_S / hop_s)
    low, high = places[voiced[0]] - lengths[voiced[0]] / 2, places[voiced[-1]] + lengths[voiced[-1]] / 2
    for i, kind in enumerate(kinds):
        if kind != "sibilant":
            continue
        expected = begin + (places[i] - low) / (high - low) * (end - begin)
        for j, run in enumerate(runs):
            cost = match[i][j]
            if cost is not None:
                away = ((run.first + run.last) / 2 - expected) / reach
                match[i][j] = cost + min(away * away, 1.0) * PLACE_COST


def _ordinary_s(kind: str, phone: str) -> float:
    """Ordinary length of a phone in seconds (common practice, no source)."""
    if kind == "vowel":
        return 0.13 if phone.endswith(("1", "2")) else 0.08
    return ORDINARY_S[kind]


_Cell = tuple[int, int, bool]
"""Phones done, runs done, and whether the last run done was taken by a phone (so that the next may share it)."""


class _Grid:
    """Least costs of all ways through phones and runs (built up while matching, then read once)."""

    def __init__(self, n_phones: int, n_runs: int) -> None:
        self._end = (n_phones, n_runs)
        self._cost: dict[_Cell, float] = {(0, 0, False): 0.0}
        self._back: dict[_Cell, tuple[_Cell, bool]] = {}

    def offer(self, to: _Cell, come_from: _Cell, cost: float | None, *, takes: bool = False) -> None:
        """Offer a step; it is kept when it is the cheapest so far (None: it can't be made)."""
        before = self._cost.get(come_from)
        if before is None or cost is None:
            return
        if before + cost < self._cost.get(to, float("inf")):
            self._cost[to] = before + cost
            self._back[to] = (come_from, takes)

    def taken(self) -> dict[int, int]:
        """Run by phone along the cheapest way."""
        ends: list[_Cell] = [(*self._end, True), (*self._end, False)]
        cell = min(ends, key=lambda end: self._cost.get(end, float("inf")))
        out: dict[int, int] = {}
        while cell in self._back:
            before, takes = self._back[cell]
            if takes:
                out[cell[0] - 1] = cell[1] - 1
            cell = before
        return out
