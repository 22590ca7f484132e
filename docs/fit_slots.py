"""Fit the weights of ``reading`` and ``meeting`` in ``sibilant/boundaries``, and say how well they hold elsewhere.

    python docs/fit_slots.py SENTENCES

SENTENCES as in ``docs/train_sounds.py``, with ``aligner.csv`` (``file``, ``word_index``, ``phone``, ``onset_s``,
``offset_s``), a general-purpose aligner's opinion. Three networks are learnt, each from two thirds of the speakers and
from invented sentences, and each reads the speakers it has not heard and invented sentences of other seeds (Invented
data - not a person). The weights of a place (``PLACED``) and of a hiss (``HEARD``) are fitted five times, each time
without a fifth of the speakers and invented sentences, which are then judged; ``docs/evidence/sentences_held_out.csv``
holds what came out. How long one hiss of two sibilants is beside a single one (``meeting``) is taken from the read
sentences; ``docs/evidence/meeting_lengths.csv`` has that and the same of invented ones.
"""

from __future__ import annotations

import csv
import subprocess
import sys
from collections import Counter, defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import pairwise
from pathlib import Path

import numpy as np
import numpy.typing as npt
import train_sounds
from sklearn.linear_model import LogisticRegression
from sklearn.metrics import roc_auc_score

from sibilant import lexicon, read_recording
from sibilant.boundaries import SibilantSearch, find_sibilants, meeting, reading
from sibilant.terms import Interval, PhonePlaces, Prompt, Recording, Utterance
from sibilant.terms.vocabulary import AFFRICATES, SIBILANTS
from sibilant.words import find_words, place_phones, sound_model

Floats = npt.NDArray[np.float64]
FOLDS, NETWORKS, N_INVENTED, NEAR_S = 5, 3, 900, 0.1
DOUBT = 1.5  # log odds within which an absence is in doubt: there what the fit says is compared with what was so
FOR_ANOTHER = "omitted beside another"  # left out where another sibilant meets it, so that one hiss stays
BINS = (0.0, 0.5, 0.7, 0.9, 0.95, 0.98, 1.01)
EVIDENCE = Path(__file__).parent / "evidence"
Judged = tuple[str, str, str, float, bool]


@dataclass(eq=False)
class Case:
    """A sentence as it was read: by slot where the sibilant truly lies (None: left out), and what is not known."""

    material: str
    fold: int
    recording: Recording
    utterance: Utterance
    places: PhonePlaces
    true: dict[int, Interval | None]
    fates: dict[int, str]
    search: SibilantSearch = field(init=False)


def read_cases(folder: Path, rows: list[dict[str, str]], folds: dict[str, int]) -> Iterator[Case]:
    """Sentences people read; slots of /s ʃ/ whose word the aligner gives the same sibilants are known."""
    aligned: dict[str, list[dict[str, str]]] = defaultdict(list)
    with (folder / "aligner.csv").open(encoding="utf-8") as stream:
        for row in csv.DictReader(stream):
            aligned[row["file"]].append(row)
    wrong = aligner_wrong()
    for row in rows:
        recording, prompt = read_recording(folder / row["file"]), lexicon.expect(row["prompt"], guess=True)
        true = dict(places_by_aligner(prompt, aligned[row["file"]]))
        true = {k: own for k, own in true.items() if (Path(row["file"]).stem, k) not in wrong}
        yield from _case("read", folds[row["speaker"]], recording, prompt, true, dict.fromkeys(true, "said"))


def aligner_wrong() -> set[tuple[str, int]]:
    """Slots where a person looking found the aligner wrong, or nothing to tell."""
    with (EVIDENCE / "sentences_by_eye.csv").open(encoding="utf-8") as stream:
        return {
            (row["sentence"], int(row["slot"]))
            for row in csv.DictReader(stream)
            if not row["by_eye"].startswith(("found wrong", "absent wrong"))
        }


def places_by_aligner(prompt: Prompt, rows: list[dict[str, str]]) -> Iterator[tuple[int, Interval | None]]:
    """Where the aligner has the /s ʃ/ of the words to which it gives the sibilants expected."""
    for number in range(len(prompt.words)):
        slots = [slot for slot in prompt.slots if slot.word_index == number]
        own = [r for r in rows if int(r["word_index"]) == number + 1 and r["phone"].rstrip("012") in SIBILANTS]
        if [slot.phone for slot in slots] == [r["phone"] for r in own]:
            for slot, r in zip(slots, own, strict=True):
                if slot.phone in ("S", "SH"):
                    yield slot.index, Interval(float(r["onset_s"]), float(r["offset_s"]))


def invented_cases(texts: list[str], network: int) -> Iterator[Case]:
    """Invented sentences of seeds that no network was learnt from."""
    rng = np.random.default_rng([network, 8102])
    for number in range(N_INVENTED // NETWORKS):
        made = train_sounds.invented(texts, int(rng.integers(len(texts))) * 6 + number % 6, rng)
        true, left = {}, iter(made.phones)
        fate_at = {
            slot.phone_index: (slot.index, fate) for slot, fate in zip(made.asked.slots, made.fates, strict=True)
        }
        for place in range(len(made.asked.phones)):
            index, fate = fate_at.get(place, (0, ""))
            own = None if fate == "omitted" else next(left).interval
            if index:
                true[index] = own
        fates = _told(fate_at)
        yield from _case("invented", number % FOLDS, made.recording, made.asked, true, fates)


def _told(fate_at: dict[int, tuple[int, str]]) -> dict[int, str]:
    """What became of each slot, from that and its number by phone; left out beside one that is said is told apart."""
    out = {}
    for at, (index, fate) in fate_at.items():
        beside = [fate_at[k][1] for k in (at - 1, at + 1) if k in fate_at]
        met = fate == "omitted" and any(one not in ("omitted", "th") for one in beside)
        out[index] = FOR_ANOTHER if met else fate or "said"
    return out


def _case(
    material: str, fold: int, recording: Recording, prompt: Prompt, true: dict[int, Interval | None],
    fates: dict[int, str],
) -> Iterator[Case]:  # fmt: skip
    found = [u for u in find_words(recording, [prompt]).utterances if u.counts][:1]
    (places,) = place_phones(recording, found) if found else (None,)
    if places is not None and true:
        yield Case(material, fold, recording, found[0], places, true, fates)


def cases_of(folder: Path) -> list[Case]:
    """All sentences, each read by a network that has not heard its speaker."""
    rows = train_sounds.rows_of(folder)
    speakers = sorted({row["speaker"] for row in rows})
    np.random.default_rng(3).shuffle(speakers)
    network = {speaker: k % NETWORKS for k, speaker in enumerate(speakers)}
    folds = {speaker: k // NETWORKS % FOLDS for k, speaker in enumerate(speakers)}
    out: list[Case] = []
    shipped, learnt = sound_model._network, train_sounds.gathered(folder, 0)
    for k in range(NETWORKS):
        unheard = {speaker for speaker in speakers if network[speaker] == k}
        kept = train_sounds.fitted(learnt.without(unheard), k)
        own = sound_model._Network(**{name: values.astype(np.float32) for name, values in kept.items()})
        sound_model._network = lambda own=own: own  # type: ignore[assignment, misc]
        out += read_cases(folder, [row for row in rows if row["speaker"] in unheard], folds)
        out += invented_cases([row["prompt"] for row in rows], k)
    sound_model._network = shipped
    return out


def fitted(seen: list[tuple[float, ...]], right: list[bool]) -> tuple[float, ...]:
    """Logistic weights, the constant first."""
    model = LogisticRegression(C=3.0, max_iter=5000).fit(np.array(seen)[:, 1:], right)
    return (round(float(model.intercept_[0]), 2), *(round(float(w), 2) for w in model.coef_[0]))


def heard_weights(cases: list[Case]) -> tuple[float, ...]:
    """Weights of a hiss in a slot, scaled so that they hold among those in doubt (one more logistic fit)."""
    seen, there = [], []
    for case in cases:
        for slot in case.utterance.prompt.slots:  # type: ignore[union-attr]
            if case.fates.get(slot.index, FOR_ANOTHER) != FOR_ANOTHER:
                seen.append(reading.seen_of_hiss(case.places, slot))
                there.append(case.true[slot.index] is not None)
    weights = np.array(fitted(seen, there))
    odds = np.array(seen) @ weights
    doubted = np.abs(odds) < DOUBT
    model = LogisticRegression(C=1e3).fit(odds[doubted, None], np.array(there)[doubted])
    scaled = weights * model.coef_[0, 0] + np.eye(len(weights))[0] * model.intercept_[0]
    return tuple(round(float(w), 2) for w in scaled)


def search(cases: list[Case]) -> None:
    """Look for the sibilants of each sentence by the weights that stand."""
    for case in cases:
        case.search = find_sibilants(case.recording, case.utterance, case.places)


def placed_weights(cases: list[Case]) -> tuple[float, ...]:
    """Weights of a place, from what was found."""
    pairs = [
        (
            reading.seen_of_place(case.places, sound),
            holds(sound.automatic, case.true[sound.slot.index]),
        )
        for case in cases
        for sound in case.search.found
        if sound.slot is not None and case.fates.get(sound.slot.index, FOR_ANOTHER) != FOR_ANOTHER
    ]
    return fitted(*map(list, zip(*pairs, strict=True)))  # type: ignore[arg-type]


def holds(own: Interval | None, true: Interval | None) -> bool:
    """Whether a place overlaps the truth by half, or lies within 100 ms of it; or there is nothing, as is true."""
    if own is None or true is None:
        return own is None and true is None
    middle = abs(own.onset_s + own.offset_s - true.onset_s - true.offset_s) / 2
    return middle <= NEAR_S or own.overlap_s(true) > 0.5 * min(own.duration_s, true.duration_s)


def judged(cases: list[Case]) -> Iterator[Judged]:
    """Material, what became of each slot, what was reported, slot_probability, and whether that is right."""
    for case in cases:
        found = {sound.slot.index: sound.automatic for sound in case.search.found if sound.slot is not None}
        for one in case.search.readings:
            if one.slot.index not in case.true:
                continue
            own = found.get(one.slot.index)
            right = holds(own, case.true[one.slot.index])
            told = "absent" if own is None else "right" if right else "elsewhere"
            yield case.material, case.fates[one.slot.index], told if one.sure else "unsure", one.probability, right


def main() -> None:
    """Fit the weights without each fifth and judge it, then fit on all."""
    cases = cases_of(Path(sys.argv[1]))
    found: list[Judged] = []
    for fold in range(FOLDS):
        own, rest = [c for c in cases if c.fold == fold], [c for c in cases if c.fold != fold]
        reading.HEARD = heard_weights(rest)
        search(rest)
        reading.PLACED = placed_weights(rest)
        search(own)
        found += judged(own)
    reading.HEARD = heard_weights(cases)
    search(cases)
    reading.PLACED = placed_weights(cases)
    print("HEARD =", reading.HEARD, "PLACED =", reading.PLACED)
    search(cases)
    write_lengths(cases)
    write(found)


Length = tuple[str, str, float, tuple[float, ...]]


def lengths(case: Case) -> Iterator[Length]:
    """Of each hiss found: material, whether one sibilant or more have it, its log length, what that goes with."""
    phones = case.utterance.prompt.phones  # type: ignore[union-attr]
    others = [k for k, phone in enumerate(phones) if phone.rstrip("012") not in SIBILANTS]
    found = [sound for sound in case.search.found if sound.slot is not None]
    sure = {one.slot.index for one in case.search.readings if one.sure}
    while found:
        group = [found.pop(0)]
        while found and "doubled" in group[-1].flags and found[0].automatic.onset_s == group[-1].automatic.offset_s:
            group.append(found.pop(0))
        slots = [sound.slot for sound in group if sound.slot is not None]
        fates = {case.fates.get(slot.index, "said") for slot in slots}
        log_s = float(np.log(group[-1].automatic.offset_s - group[0].automatic.onset_s))
        seen = meeting.seen_of_length(case.places, slots[-1], others)
        alone = len(group) == 1 and slots[0].phone in ("S", "SH") and slots[0].index in sure
        if alone and fates <= {"said", "odd"} and slots[0].index in case.true:
            yield case.material, "one", log_s, seen
        elif (
            len(group) > 1 and not AFFRICATES & {slot.phone for slot in slots} and fates <= {"said", "odd", FOR_ANOTHER}
        ):
            yield case.material, "left out of two" if FOR_ANOTHER in fates else "two", log_s, seen


def write_lengths(cases: list[Case]) -> None:
    """Say how long one hiss of two said sibilants is beside a single one, and how far the two overlap."""
    found = [one for case in cases for one in lengths(case)]
    lines: list[tuple[object, ...]] = [("material", "what", "n", "value", "commit")]
    for material in ("read", "invented"):
        own = [one for one in found if one[0] == material]
        seen = np.array([one[3] for one in own if one[1] == "one"])
        log_s = np.array([one[2] for one in own if one[1] == "one"])
        single = np.linalg.lstsq(seen, log_s, rcond=None)[0]
        off = log_s - seen @ single
        if material == "read":
            print("SINGLE =", tuple(round(float(w), 2) for w in single))
        lines.append((material, "one: spread (log)", len(off), round(float(off.std()), 2), commit()))
        for what in ("two", "left out of two"):
            more = np.array([one[2] - np.dot(one[3], single) for one in own if one[1] == what])
            lines += [(material, f"{what}: {name}", more.size, value, commit()) for name, value in _beside(more, off)]
    with (EVIDENCE / "meeting_lengths.csv").open("w", encoding="utf-8", newline="") as stream:
        csv.writer(stream, lineterminator="\n").writerows(lines)


def _beside(more: Floats, off: Floats) -> Iterator[tuple[str, float]]:
    """How log ratios of shared hisses lie beside those of single ones."""
    if more.size < 2:
        return
    yield "median ratio to one", round(float(np.exp(np.median(more))), 2)
    yield "mean log ratio", round(float(more.mean()), 2)
    yield "spread (log)", round(float(more.std(ddof=1)), 2)
    yield "share of single ones longer than its median", round(float((off > np.median(more)).mean()), 2)
    yield "area under the curve against one", round(float(np.mean(more[:, None] > off)), 2)


def commit() -> str:
    """The commit this runs on."""
    return subprocess.run(
        ["git", "rev-parse", "--short", "HEAD"], capture_output=True, text=True, check=False
    ).stdout.strip()


def write(found: list[Judged]) -> None:
    """Write what was reported of each kind of slot, the calibration, and the area under the curve."""
    lines = [("material", "what", "n", "outcome", "count", "commit")]
    counts = Counter((material, fate, told) for material, fate, told, *_ in found)
    for material, fate in sorted({(one[0], one[1]) for one in found}):
        n = sum(counts[material, fate, told] for told in ("right", "elsewhere", "absent", "unsure"))
        lines += [
            (material, fate, n, told, counts[material, fate, told])
            for told in ("right", "elsewhere", "absent", "unsure")
        ]
    for material in ("read", "invented"):
        rated = [(one[3], one[4]) for one in found if one[0] == material]
        for low, high in pairwise(BINS):
            inside = [right for p, right in rated if low <= p < high]
            lines.append((material, f"slot_probability {low} to {min(high, 1.0)}", len(inside), "right", sum(inside)))
        area = roc_auc_score([right for _, right in rated], [p for p, _ in rated])
        lines.append((material, "area under the curve of slot_probability", len(rated), "area", round(float(area), 3)))
    with (EVIDENCE / "sentences_held_out.csv").open("w", encoding="utf-8", newline="") as stream:
        writer = csv.writer(stream, lineterminator="\n")
        writer.writerows([lines[0], *((*line, commit()) for line in lines[1:])])


if __name__ == "__main__":
    main()
