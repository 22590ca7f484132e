"""A whole run: pieces measured, kept as parts, joined into tables, and told in the run file."""

from __future__ import annotations

import hashlib
import json
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import asdict, replace
from pathlib import Path
from typing import Any

from .. import files, tables
from ..errors import OutputError, RecordingError
from ..tables.parquet import can_write_parquet, load_parquet, write_parquet
from . import parts
from .bandwidth import Agreed, agreed, band_seen, reads_otherwise
from .engines import check_scheduler, engine
from .manifest import planned
from .pieces import key_of, table_columns, versions
from .request import PARTS, RUN_FILE, TOKENS_CSV, TOKENS_PARQUET, CorpusRequest, Outcome, Piece, Plan

Progress = Callable[[int, int], None]


def run(order: CorpusRequest, progress: Progress | None = None) -> Outcome:
    """Measure a corpus into ``tokens.csv``, ``tokens.parquet`` and ``run.json``.

    Each recording is measured by itself and kept at once, so a run that is killed goes on where it was with
    ``order.resume``; the tables are then the same to the byte as those of an unbroken run.

    Parameters
    ----------
    order : Order
        What is asked.
    progress : callable, optional
        Called with the recordings done and their number.

    Raises
    ------
    UsageError
        When the scheduler's address is refused.
    InputError
        When the folder holds an earlier run and ``resume`` is off, a place can't be written, or the corpus can't be
        read as one; RecordingError when none of its recordings could be read (the tables then say why of each).
    """
    if order.scheduler:
        check_scheduler(order.scheduler)
    plan = planned(order)
    _prepare(order)
    outcome = _finished(order, plan)
    if outcome is None:
        n_reused = _measure(order, plan, progress or (lambda done, n: None))
        outcome = _joined(order.to, plan, n_reused)
    parts.drop_parts(order.to)
    if outcome.n_unreadable == outcome.n_recordings:
        raise RecordingError(
            f"{order.source.name}: none of its {outcome.n_recordings} recordings could be measured; {TOKENS_CSV} says"
            " why of each"
        )
    return outcome


def _prepare(order: CorpusRequest) -> None:
    to = order.to
    if to.exists() and not to.is_dir():
        raise OutputError(f"{to.name}: a file stands here; name a folder for the results")
    earlier = [name for name in (TOKENS_CSV, TOKENS_PARQUET, RUN_FILE, PARTS) if (to / name).exists()]
    if earlier and not order.resume:
        raise OutputError(f"{to.name}: holds an earlier run ({earlier[0]}); go on with it by --resume, or name another")
    files.make_folder(to)


def _finished(order: CorpusRequest, plan: Plan) -> Outcome | None:
    """Return what a run left that was already whole when it is asked to go on, or None."""
    try:
        told = json.loads((order.to / RUN_FILE).read_text(encoding="utf-8"))
        whole = all(files.sha256_of(order.to / name) == digest for name, digest in told["tables"].items())
        if not whole or told["plan"] != _plan_hash(plan, parts.hashes(plan.pieces)):
            return None
        n, counts = told["n_recordings"], (told["n_unreadable"], told["n_tokens"])
        return Outcome(n, *counts, n, told["findings"], told["reasons"], (*told["tables"], RUN_FILE))
    except (OSError, ValueError, KeyError, TypeError):
        return None


def _plan_hash(plan: Plan, sounds: Mapping[str, str]) -> str:
    """Hash of all that decides the tables: what was asked of each recording, and its sound."""
    digest = hashlib.sha256()
    for piece in plan.pieces:
        digest.update(f"{key_of(piece, plan.methods)} {sounds[piece.recording]}\n".encode())
    return digest.hexdigest()


def _measure(order: CorpusRequest, plan: Plan, progress: Progress) -> int:
    """Measure every piece that has no part yet; return how many had one."""
    n = len(plan.pieces)
    done = {piece.recording for piece in plan.pieces if parts.is_done(order.to, piece, plan.methods)}
    progress(len(done), n)
    with engine(order) as measure:
        measured = measure((piece for piece in plan.pieces if piece.recording not in done), plan.methods)
        load_parquet()
        for n_done, (piece, part) in enumerate(measured, start=len(done) + 1):
            parts.save_part(order.to, piece, part)
            progress(n_done, n)
        for piece, part in measure(_read_otherwise(order.to, plan), plan.methods):
            parts.save_part(order.to, piece, part)
    return len(done)


def _read_otherwise(to: Path, plan: Plan) -> list[Piece]:
    """Return what was cut off, or not, otherwise than what its speaker made with the same device shows."""
    seen = {piece.recording: band_seen(parts.load_part(to, piece)) for piece in plan.pieces}
    groups = agreed((piece, seen[piece.recording]) for piece in plan.pieces)
    return [
        replace(piece, corpus_cut_hz=group.cut_hz if (group := groups.get(piece.recording)) is not None else None)
        for piece in plan.pieces
        if reads_otherwise(seen[piece.recording], groups.get(piece.recording), plan.methods)
    ]


def _joined(to: Path, plan: Plan, n_reused: int) -> Outcome:
    """Join the parts into the tables, and tell the run."""
    columns = table_columns(plan.carried)
    seen = _Seen()
    tables.write_lines(to / TOKENS_CSV, seen.lines(parts.all_parts(to, plan.pieces)), columns)
    written, notes = [TOKENS_CSV, f"{TOKENS_CSV}-metadata.json"], []
    if can_write_parquet():
        write_parquet(to / TOKENS_PARQUET, to / TOKENS_CSV, columns)
        written.append(TOKENS_PARQUET)
    else:
        notes.append(f"{TOKENS_PARQUET} not written: install it with pip install sibilant[parquet]")
    n_unreadable = seen.findings["unreadable"]
    outcome = Outcome(
        len(plan.pieces),
        n_unreadable,
        seen.findings.total() - n_unreadable,
        n_reused,
        dict(sorted(seen.findings.items())),
        dict(sorted(seen.reasons.items())),
        (*written, RUN_FILE),
        (*plan.notes, *notes, *_told_of_cuts(seen.bands), *seen.faults),
    )
    files.write_text(to / RUN_FILE, _run_text(to, plan, outcome, seen.sounds))
    return outcome


def _told_of_cuts(measured: Sequence[tuple[Piece, Mapping[str, Any]]]) -> list[str]:
    """Say of each group where its recordings are cut off, and how many alone read otherwise."""
    groups = agreed(measured)
    changed: Counter[Agreed] = Counter()
    for piece, band in measured:
        if band.get("corpus_cut_hz") is not None:
            changed[groups[piece.recording]] += 1
    return [
        f"speaker {one.speaker or 'not named'}, {one.sampling_rate_hz} Hz: {_where(one)}; {n} read otherwise alone"
        for one, n in changed.items()
    ]


def _where(one: Agreed) -> str:
    if not one.cut_hz:
        return f"taken as not cut off ({one.n_cut} of {one.n_recordings} looked so)"
    return f"cut off at {one.cut_hz:.0f} Hz in {one.n_cut} of {one.n_recordings}, taken for all"


class _Seen:
    """What the parts that went by say of the run: counts, hashes of the sounds, where they are cut off, faults."""

    def __init__(self) -> None:
        self.findings: Counter[str] = Counter()
        self.reasons: Counter[str] = Counter()
        self.sounds: dict[str, str] = {}
        self.bands: list[tuple[Piece, Mapping[str, Any]]] = []
        self.faults: list[str] = []

    def lines(self, measured: Iterable[tuple[Piece, Mapping[str, Any]]]) -> Iterator[str]:
        """Yield the lines of each part."""
        for piece, part in measured:
            self.findings.update(part["findings"])
            self.reasons.update(part["reasons"])
            self.sounds[piece.recording] = part["sha256"]
            self.bands.append((piece, band_seen(part)))
            if part["fault"]:
                self.faults += [f"{piece.recording}: {reason}; please report it" for reason in part["reasons"]]
            yield part["lines"]


def _run_text(to: Path, plan: Plan, outcome: Outcome, sounds: Mapping[str, str]) -> str:
    """Everything needed to repeat the run and to check it; no clock and no paths of this machine."""
    document = {
        "what": "sibilant corpus",
        "plan": _plan_hash(plan, sounds),
        "versions": versions(),
        "methods": [asdict(method) for method in plan.methods],
        "n_recordings": outcome.n_recordings,
        "n_unreadable": outcome.n_unreadable,
        "n_tokens": outcome.n_tokens,
        "findings": dict(outcome.findings),
        "reasons": dict(outcome.reasons),
        "carried": list(plan.carried),
        "passed_over": list(plan.passed_over),
        "tables": {name: files.sha256_of(to / name) for name in outcome.files if name != RUN_FILE},
        "recordings": sounds,
    }
    return json.dumps(document, ensure_ascii=False, indent=1) + "\n"


def again(order: CorpusRequest, to: Path) -> CorpusRequest:
    """Return the same order for another folder, from the start."""
    return replace(order, to=to, resume=False)
