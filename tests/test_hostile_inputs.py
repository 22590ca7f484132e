"""Hostile inputs by seeds: sound, tables, cells of imports, requests, codes. Each ends in a result or in one line.

A small share by default, a million with ``-m long`` (evidence in docs/evidence/hostile_inputs.csv, which says how many
of each kind; most are short texts, as those are quick). Invented data – not a person.
"""

from __future__ import annotations

import csv
import datetime as dt
import os
import random
import subprocess
import tempfile
from collections import Counter
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from sibilant import audio, tables
from sibilant.clinic import door
from sibilant.clinic.clients import read_age, read_move_up
from sibilant.errors import SibilantError
from sibilant.store import table_names
from sibilant.store.keys import key_from_code
from sibilant.terms.codes import is_client_code
from sibilant.terms.vocabulary import CUES, LEVELS
from sibilant.web.asking import number_of, text_of
from sibilant.web.handles import Handles

EVIDENCE = Path(__file__).parents[1] / "docs" / "evidence" / "hostile_inputs.csv"
PIECES = (
    "", " ", "0", "7y4m", "7;4", "-1", "9" * 40, "1e999", "nan", "inf", "C-7QXK", "c-7qxk", "../../etc", "/dev/zero",
    "\\x", "a" * 300, "\0", "\x1b[2J", "\ud800", "\u202e", "ß", "水", "😀", "=1+1", "@x", "'", '"', ",", ";", "\n",
    "\r\n", "{", "[", "null", "true", "{}", '{"a":1}', "[" * 60, "2026-02-30", "9999-12-31", "0000-00-00", "80% x2 n20",
    "AAAA-BBBB", "word", "level", "M+", "k0123456789a", "%00", "%2e%2e", "<script>",
)  # fmt: skip
ZERO = dt.date(2026, 1, 12)
TABLES = table_names()
WAV = audio.wav_bytes(np.linspace(-0.5, 0.5, 2000, dtype=np.float32), 44_100)
FLAC = audio.flac_bytes(np.linspace(-0.5, 0.5, 2000, dtype=np.float32), 44_100)
LIST = b"word,level,cue,treated\nseal,word,spontaneous,no\nfossil,word,,yes\nbus,word,repetition,\n"
JUDGED = b"prompt_index,attempt,slot,accuracy,type,certainty\n1,1,1,correct,,sure\n2,1,1,distorted,lateral,unsure\n"
HANDLES = Handles("token")


def text(draw: random.Random) -> str:
    """A few pieces put together, some letters of which are changed."""
    made = list("".join(draw.choice(PIECES) for _ in range(draw.randint(1, 4))))
    for _ in range(draw.randint(0, 2)):
        if made:
            made[draw.randrange(len(made))] = chr(draw.choice((draw.randrange(128), draw.randrange(0x110000))))
    return "".join(made)


def mutated(draw: random.Random, good: bytes) -> bytes:
    """Bytes changed, cut, doubled or put in."""
    made = bytearray(good)
    for _ in range(draw.randint(1, 6)):
        place = draw.randrange(len(made) + 1)
        kind = draw.randrange(4)
        if kind == 0 and place < len(made):
            made[place] = draw.randrange(256)
        elif kind == 1:
            del made[place : place + draw.randint(1, 40)]
        elif kind == 2:
            made[place:place] = draw.randbytes(draw.randint(1, 8))
        else:
            made[place:place] = text(draw).encode("utf-8", "surrogatepass")
    return bytes(made)


def codes(draw: random.Random) -> None:
    one = text(draw)
    is_client_code(one)
    draw.choice((read_age, read_move_up, key_from_code, CUES.read, LEVELS.read))(one)


def requests(draw: random.Random) -> None:
    sent = {"client": text(draw), "number": text(draw), "note": text(draw)}
    number_of(sent, "number")
    text_of(sent, "note", most=40)
    HANDLES.code(sent["client"])


def cells(draw: random.Random) -> None:
    table = draw.choice(TABLES)
    named = door.columns(table)
    row = {**dict.fromkeys(named, "1"), draw.choice(named): text(draw), draw.choice(named): text(draw)}
    door._absolute(table, 1, row, ZERO)


def sound(draw: random.Random) -> None:
    audio.recording_from_bytes(mutated(draw, draw.choice((WAV, FLAC))))


def listed(draw: random.Random) -> None:
    good, read = draw.choice(((LIST, tables.read_list), (JUDGED, tables.read_judgements)))
    PLACE.write_bytes(mutated(draw, good))
    read(PLACE)


MEMORY = "/dev/shm" if os.path.isdir("/dev/shm") else None
PLACE = Path(tempfile.mkdtemp(prefix="hostile-", dir=MEMORY)) / "given.csv"
KINDS: dict[str, tuple[Callable[[random.Random], None], int]] = {
    "codes and rules": (codes, 400),
    "requests": (requests, 300),
    "cells of imports": (cells, 250),
    "tables": (listed, 30),
    "sound": (sound, 20),
}
"""What is tried, and how many of a thousand."""


def tried(try_one: Callable[[random.Random], None], seeds: range, kind: str) -> Counter[str]:
    found: Counter[str] = Counter()
    for seed in seeds:
        try:
            try_one(random.Random(f"{kind} {seed}"))
            found["a result"] += 1
        except SibilantError as refused:
            said = str(refused).splitlines()
            assert said and all(line.isprintable() for line in said), (kind, seed)
            assert len(said) == 1 or kind == "tables", (kind, seed)  # a table's faults are told one a line
            found["refused"] += 1
        except Exception as fault:  # any other kind is what is looked for
            raise AssertionError(f"{kind}, seed {seed}: {type(fault).__name__}: {fault}"[:300]) from fault
    return found


@pytest.mark.parametrize("thousands", [3, pytest.param(1000, marks=pytest.mark.long)])
def test_a_result_or_one_line(thousands: int) -> None:
    found = {kind: tried(one, range(share * thousands), kind) for kind, (one, share) in KINDS.items()}
    assert sum(sum(each.values()) for each in found.values()) == 1000 * thousands
    if thousands >= 1000:
        root = EVIDENCE.parents[2]
        commit = subprocess.run(
            ["git", "rev-parse", "--short", "HEAD"], cwd=root, capture_output=True, text=True
        ).stdout
        with EVIDENCE.open("w", newline="", encoding="utf-8") as stream:
            writer = csv.writer(stream, lineterminator="\n")
            writer.writerow(["kind", "cases", "a_result", "refused", "faults", "seeds_from_0_to", "commit"])
            for kind, each in found.items():
                n = sum(each.values())
                writer.writerow([kind, n, each["a result"], each["refused"], 0, n, commit.strip()])
