"""Phones and runs matched in order: which stretch of frication belongs to which expected sibilant."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from ..terms.vocabulary import AFFRICATES, SIBILANTS, VOICED
from .frication import Run, is_burst

Costs = npt.NDArray[np.float64]

# Chosen on hand marks and invented words (docs/boundaries.md), where no other origin is named.
FAR = 1e9  # cost of what can not be
STOPS = frozenset({"P", "T", "K", "B", "D", "G"})
FAINT_FRICATIVES = frozenset({"F", "TH", "HH", "V", "DH"})
SONORANTS = frozenset({"M", "N", "NG", "L", "R", "W", "Y"})
SKIP_PHONE = {"vowel": 3.0, "sonorant": 0.6, "stop": 0.6, "faint": 1.0, "sibilant": 2.6}
"""Cost of a phone that no run of sound answers, by kind: what carries a word is rarely left out."""
SKIP_STRESSED = 5.0  # the same for a stressed vowel
LASTING_S, FLEETING_S = 0.045, 0.025  # runs of hiss are lasting above the first, fleeting below the second
FLEETING_COST = 3.6  # most that a fleeting hiss costs where no phone answers it
LASTING_COST, SIBILANT_COST, BURST_COST = 2.0, 3.0, 4.0  # the same for a lasting hiss, one like a sibilant, a burst
ORDINARY_S = {"sibilant": 0.12, "stop": 0.09, "sonorant": 0.07, "faint": 0.09}
"""Ordinary lengths, for where in a word a phone is expected (common practice, no source)."""
PLACE_SHARE, PLACE_LEAST_S, PLACE_COST, LEAST_PLACED = 0.25, 0.25, 1.2, 6
"""How far from its expected place a phone may lie, what that costs, and phones needed for it."""
READ_COST, MOST_ELSEWHERE = 3.0, 14.0
"""Cost of a log unit by which the reader of sounds puts a sibilant elsewhere, and the most units."""
VOWEL_HISSED_COST = 3.0  # cost of a vowel that is heard as hiss: whispered or devoiced
QUIETEST_LOUDEST_DB = 23.0  # the loudest hiss of a word is taken to lie at most so far below its voice
VOICE_COST = {"vowel": 0.0, "sonorant": 0.2, "faint": 1.0, "stop": 1.2}  # cost of a run of voice for each kind of phone
STAY_ON_VOICE = {"sonorant": 0.1, "vowel": 0.5, "faint": 0.5, "stop": 0.6}
"""Cost of one more phone on the same run of voice."""
STAY_ON_FRICATION = {"sibilant": 0.8, "stop": 0.5, "faint": 0.8, "vowel": 4.0}
"""Cost of one more phone on the same run of hiss."""


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


def _skip_phone_cost(kind: str, phone: str) -> float:
    """Cost of a phone without a run; a stressed vowel is hardly ever left out."""
    return SKIP_STRESSED if phone.endswith("1") else SKIP_PHONE[kind]


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


def align(
    phones: Sequence[str], runs: Sequence[Run], hop_s: float, voice_db: float, shares: Costs | None = None
) -> dict[int, int]:
    """Match phones to runs in order at the least cost; returns run by phone index for the phones that got one.

    ``voice_db`` is the level of the loudest voice, with which the frication is compared where none is strong.
    ``shares`` (phones, runs) is the share of each phone's time that a reader of the whole prompt puts into each run;
    without them a sibilant's place is guessed from ordinary lengths.
    Several phones may share a voiced run, or a doubled or merged frication; phones and runs may be left out.
    """
    if not phones or not runs:
        return {}
    yard = _yard(runs, hop_s, voice_db)
    kinds = [kind_of(phone) for phone in phones]
    bare = [phone.rstrip("012") for phone in phones]
    matches = {
        (kind, phone): np.array([_or_far(_match_cost(kind, phone, run, yard)) for run in runs])
        for kind, phone in set(zip(kinds, bare, strict=True))
    }
    stays = {kind: np.array([_or_far(_stay_cost(kind, run)) for run in runs]) for kind in set(kinds)}
    match = np.stack([matches[pair] for pair in zip(kinds, bare, strict=True)])
    stay = np.stack([stays[kind] for kind in kinds])
    if shares is None:
        _weigh_places(match, kinds, phones, (runs, hop_s))
    else:
        elsewhere = READ_COST * np.minimum(-np.log(np.maximum(shares, 1e-6)), MOST_ELSEWHERE)
        match, stay = match + elsewhere, stay + elsewhere
    skip_run = np.array([_skip_cost(run, yard) for run in runs])
    skip_phone = np.array([_skip_phone_cost(kind, phone) for kind, phone in zip(kinds, phones, strict=True)])
    return _cheapest(match, stay, (skip_phone, skip_run))


def _or_far(cost: float | None) -> float:
    return FAR if cost is None else cost


def _weigh_places(match: Costs, kinds: list[str], phones: Sequence[str], heard: tuple[Sequence[Run], float]) -> None:
    """Add to the cost of a sibilant what lies far from where its turn comes, by ordinary lengths of the phones."""
    runs, hop_s = heard
    loud = [run for run in runs if run.kind == "voice"]
    voiced = [k for k, kind in enumerate(kinds) if kind in ("vowel", "sonorant")]
    if not loud or not voiced or len(phones) < LEAST_PLACED:
        return
    lengths = np.array([_ordinary_s(kind, phone) for kind, phone in zip(kinds, phones, strict=True)])
    places = np.cumsum(lengths) - lengths / 2
    begin, end = loud[0].first, loud[-1].last + 1
    low, high = places[voiced[0]] - lengths[voiced[0]] / 2, places[voiced[-1]] + lengths[voiced[-1]] / 2
    expected = begin + (places - low) / (high - low) * (end - begin)
    middle = np.array([(run.first + run.last) / 2 for run in runs])
    away = (middle[None, :] - expected[:, None]) / max(PLACE_SHARE * (end - begin), PLACE_LEAST_S / hop_s)
    sibilant = np.array([kind == "sibilant" for kind in kinds])
    match[sibilant] += PLACE_COST * np.minimum(away * away, 1.0)[sibilant]


def _ordinary_s(kind: str, phone: str) -> float:
    """Ordinary length of a phone in seconds (common practice, no source)."""
    if kind == "vowel":
        return 0.13 if phone.endswith(("1", "2")) else 0.08
    return ORDINARY_S[kind]


def _cheapest(match: Costs, stay: Costs, skips: tuple[Costs, Costs]) -> dict[int, int]:
    """Run by phone along the cheapest way through ``match`` and ``stay`` (n, m), with what it costs to skip either.

    ``free[i, j]`` and ``held[i, j]``: least cost of i phones and j runs done, the last run left behind or held by the
    last phone, so that the next may share it.
    """
    skip_phone, skip_run = skips
    n, m = match.shape
    passed = np.concatenate([[0.0], np.cumsum(skip_run)])
    free, held = np.full((n + 1, m + 1), FAR), np.full((n + 1, m + 1), FAR)
    free[0] = passed
    for i in range(1, n + 1):
        held[i] = held[i - 1] + skip_phone[i - 1]
        taken = np.minimum(free[i - 1, :-1], held[i - 1, :-1]) + match[i - 1]
        held[i, 1:] = np.minimum(held[i, 1:], np.minimum(taken, held[i - 1, 1:] + stay[i - 1]))
        left = free[i - 1] + skip_phone[i - 1] - passed
        left[1:] = np.minimum(left[1:], held[i, :-1] - passed[:-1])
        free[i] = passed + np.minimum.accumulate(left)
    return _traced((free, held), match, stay, skips)


def _traced(costs: tuple[Costs, Costs], match: Costs, stay: Costs, skips: tuple[Costs, Costs]) -> dict[int, int]:
    free, held = costs
    skip_phone = skips[0]
    i, j = match.shape
    holding = bool(held[i, j] <= free[i, j])
    out: dict[int, int] = {}
    while i or j:
        if holding:
            here = float(held[i, j])
            if j and _same(here, float(held[i - 1, j] + stay[i - 1, j - 1])):
                out[i - 1] = j - 1
            elif j and _same(here, float(min(free[i - 1, j - 1], held[i - 1, j - 1]) + match[i - 1, j - 1])):
                out[i - 1] = j - 1
                j -= 1
                holding = bool(held[i - 1, j] <= free[i - 1, j])
            i -= 1
        elif i and _same(float(free[i, j]), float(free[i - 1, j] + skip_phone[i - 1])):
            i -= 1
        else:
            j -= 1
            holding = bool(held[i, j] < free[i, j])
    return out


def _same(one: float, other: float) -> bool:
    return abs(one - other) < 1e-6
