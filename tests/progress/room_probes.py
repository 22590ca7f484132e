"""Whole invented probes in rooms, through the whole pipeline: how far each measure of a session moves. Not a person.

The same words of one voice and kind, dry, in noise of a typical /s/'s level less the ratio at 4-10 kHz: white;
pink, 1/f; fan, 1/f down to 250 Hz over a tenth of white; babble, pink whose level wanders by 4 dB within 0.15 s, all
frequencies together, from which the pipeline takes no noise out since its floor moves. Each against the same words in
white noise at 50 dB. Version 1 of the house method leaves the noise in.
"""

from __future__ import annotations

import csv
import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from scipy.fft import irfft, rfft

from sibilant import lexicon, pipeline, synthetic
from sibilant.methods import HOUSE_15K, get_method
from sibilant.progress.session import value_of
from sibilant.synthetic.probes import ProbePlan, SayPlan, typical_level_db
from sibilant.synthetic.speakers import Speaker, child_speaker, man, woman
from sibilant.terms import MEASURES, Measurement, Recording, Source

RATE, QUIET_DB = 44_100, 50.0
METHODS = (HOUSE_15K, get_method("house-15k/1"))
SNRS = (40.0, 30.0, 25.0, 20.0, 15.0, 12.0)
ROOMS = ("white", "pink", "fan", "babble")
KEYS = tuple(key for key, one in MEASURES.items() if one.scope == "token")
LEAST_SHARE = 0.8
"""Below this share of the words measured there is no verdict, and so nothing to be misled."""


def kinds(seed: int) -> Mapping[str, tuple[Speaker, str]]:
    """A voice and its way of saying /s/, by kind."""
    own, soft = woman(seed), replace(woman(seed), levels_db={"typical": -8.0})
    return {
        "woman": (own, ""), "man": (man(seed), ""), "child": (child_speaker(seed), ""), "theta-like": (own, "frontal"),
        "lateral": (own, "lateral"), "retracted": (own, "retracted"), "whistled": (own, "whistled"), "weak": (soft, ""),
    }  # fmt: skip


def room_noise(room: str, n_samples: int, rng: np.random.Generator) -> np.ndarray:
    """Noise (n,) whose mean power at 4-10 kHz is one."""
    size = 1 << (n_samples - 1).bit_length()
    frequency = np.fft.rfftfreq(size, 1 / RATE)
    falling = {"white": np.ones_like(frequency), "fan": 1 / np.maximum(frequency, 250.0) + 0.1 / 6000}
    power = falling.get(room, 1 / np.maximum(frequency, 50.0))
    power = power / np.sum(power[(frequency >= 4000) & (frequency <= 10_000)])
    noise: np.ndarray = irfft(rfft(rng.standard_normal(size)) * np.sqrt(0.5 * size * power), size)[:n_samples]
    if room == "babble":
        knots = rng.normal(0.0, 4.0, n_samples // 6600 + 3)
        noise = noise * 10 ** (np.interp(np.arange(n_samples) / 6600, np.arange(knots.size), knots) / 20)
    return noise


@dataclass(frozen=True)
class Moved:
    """One session in a room against the quiet one: by measure the mean move over words that both have."""

    kind: str
    room: str
    snr_db: float
    method: str
    snr_found_db: float
    left_in: bool
    moves: Mapping[str, float]


def sessions(kind: str, seed: int, rooms: tuple[str, ...], snrs: tuple[float, ...], n_words: int) -> Iterator[Moved]:
    """A voice's probe in each room at each ratio, under both versions of the method."""
    speaker, way = kinds(seed)[kind]
    prompts = lexicon.builtin_list("core-a")[:n_words]
    plan, says = ProbePlan(snr_db=None, pause_s=(0.6, 1.0)), SayPlan((way,))
    dry = synthetic.probe(prompts, speaker, seed, plan=plan, says=says).samples
    level_db = typical_level_db(speaker, RATE)

    def heard(room: str, snr_db: float) -> Mapping[str, dict[str, Measurement]]:
        noise = room_noise(room, dry.size, np.random.default_rng([seed, ROOMS.index(room)]))
        mixed = np.clip(dry + 10 ** ((level_db - snr_db) / 20) * noise, -1, 1).astype(np.float32)
        analysis = pipeline.analyse(Recording(mixed, RATE, Source("invented", "")), prompts, methods=METHODS)
        found: dict[str, dict[str, Measurement]] = {method.label: {} for method in METHODS}
        counted = {one.id: f"{one.prompt_index} {one.slot}" for one in analysis.sounds if one.may_count and one.slot}
        for one in analysis.measurements:
            if one.sound_id in counted:  # words are paired, as the clinic pairs them, by the attempt that counts
                found[one.method.label][counted[one.sound_id]] = one
        return found

    quiet = heard("white", QUIET_DB)
    for room in rooms:
        for snr in snrs:
            for label, now in heard(room, snr).items():
                ratios = [one.snr_db for one in now.values() if one.snr_db is not None]
                flagged = sum("uncorrected" in (*one.flags, *one.measures.flags) for one in now.values())
                left_in = label.endswith("/1") or 2 * flagged > len(now)
                moves = {key: move for key in KEYS if math.isfinite(move := _move(quiet[label], now, key))}
                mean_db = math.fsum(ratios) / len(ratios) if ratios else math.nan
                yield Moved(kind, room, snr, label, mean_db, left_in, moves)


def _move(quiet: Mapping[str, Measurement], now: Mapping[str, Measurement], key: str) -> float:
    """Mean move of a measure, NaN where so few words have it that there would be no verdict."""
    pairs = [(value_of(quiet[name], key), value_of(now[name], key)) for name in quiet.keys() & now.keys()]
    known = [after - before for before, after in pairs if math.isfinite(before) and math.isfinite(after)]
    return math.fsum(known) / len(known) if pairs and len(known) >= LEAST_SHARE * len(quiet) else math.nan


def rows(found: Iterable[Moved], commit: str) -> Iterator[dict[str, str]]:
    """Sessions as rows of docs/evidence/room_probes.csv."""
    for one in found:
        yield {
            "kind": one.kind, "room": one.room, "snr_db": f"{one.snr_db:g}", "method": one.method,
            "snr_found_db": f"{one.snr_found_db:.1f}", "left_in": str(int(one.left_in)),
            **{key: f"{one.moves[key]:.3g}" if key in one.moves else "" for key in KEYS}, "commit": commit,
        }  # fmt: skip


def read(path: Path) -> list[Moved]:
    """What `rows` wrote."""
    with path.open(encoding="utf-8", newline="") as stream:
        return [
            Moved(
                row["kind"], row["room"], float(row["snr_db"]), row["method"], float(row["snr_found_db"]),
                row["left_in"] == "1", {key: float(row[key]) for key in KEYS if row[key]},
            )
            for row in csv.DictReader(stream)
        ]  # fmt: skip
