"""Expected sibilants in words and phrases: found, absent, extra, doubled. Invented data – not a person."""

from __future__ import annotations

import csv
import subprocess
from pathlib import Path

import numpy as np
import pytest

from sibilant.boundaries import bound, find_all, find_sibilants
from sibilant.boundaries.align import align, kind_of
from sibilant.boundaries.frication import Run
from sibilant.lexicon import builtin_list, expect
from sibilant.synthetic import ProbePlan, Room, SayPlan, in_room, probe, say
from sibilant.terms import Interval, Recording, Source, Utterance

EVIDENCE = Path(__file__).parents[2] / "docs" / "evidence" / "slots.csv"


def test_forty_phrases(spoken) -> None:
    # issue "The main job": extra and missing sibilants in 40 synthetic phrases, all reported, at most 2 % false
    expected, absent, extras, missed = 0, [], [], 0
    for i, prompt in enumerate(spoken.phrases(40)):
        speaker = spoken.speaker(i)
        room = Room(0.25, 10.0) if i % 2 else None
        made = in_room(say(prompt, speaker, i), speaker, i, room=room, snr_db=35.0)
        got = spoken.search(made, prompt)
        expected += len(prompt.slots)
        absent += [(prompt.text, s.index) for s in got.absent]
        extras += [(prompt.text, e.automatic) for e in got.extras]
        by_slot = {s.slot.index: s for s in got.found if s.slot is not None}
        for true in made.truth.sibilants:
            sound = by_slot.get(true.slot_index)
            missed += sound is None or sound.automatic.overlap_s(true.interval) < 0.5 * true.interval.duration_s
    print(expected, "absent", absent, "extras", extras, "elsewhere", missed)
    assert expected > 120 and missed <= 0.02 * expected and len(extras) <= 0.02 * expected


def omissions(spoken, n: int) -> tuple[int, int, int, list[str]]:
    cases = [c for c in spoken.cases(3 * n, seed=21) if len(c.prompt.phones) > 2][: n - n // 4]
    several = [p for p in spoken.phrases(40) if len(p.slots) > 2]
    cases += [spoken.Case(several[i % len(several)], spoken.speaker(i), 500 + i) for i in range(n // 4)]
    rng = np.random.default_rng(3)
    reported, others, false, kept = 0, 0, 0, []
    for case in cases:
        kinds = [""] * len(case.prompt.slots)
        left_out = int(rng.integers(len(kinds)))
        kinds[left_out] = "omitted"
        made = in_room(
            say(case.prompt, case.speaker, case.seed, sibilant_type=kinds), case.speaker, case.seed, snr_db=35.0
        )
        absent = {s.index for s in spoken.search(made, case.prompt).absent}
        others += len(kinds) - 1
        false += len(absent - {left_out + 1})
        reported += left_out + 1 in absent
        if left_out + 1 not in absent:
            kept.append(case.prompt.text)
    return reported, others, false, kept


def test_an_omitted_sibilant_is_reported(spoken) -> None:
    reported, others, false, kept = omissions(spoken, 40)
    print(reported, "of 40; false", false, "of", others, "taken for one:", kept)
    assert reported >= 34 and false <= 1


def test_foils_have_no_extra(spoken) -> None:
    wrong = []
    for i, prompt in enumerate(builtin_list("foils")):
        speaker = spoken.speaker(i)
        made = in_room(say(prompt, speaker, i), speaker, i, snr_db=35.0)
        if spoken.search(made, prompt).extras:
            wrong.append(prompt.text)
    assert not wrong


def test_a_sibilant_put_on_a_foil_is_an_extra(spoken) -> None:
    foils = builtin_list("foils")
    heard = []
    for i, prompt in enumerate(foils):
        made = probe([prompt], spoken.speaker(i), i, plan=ProbePlan(snr_db=35.0), says=SayPlan(added={1: "S"}))
        word = next(s for s in made.truth.stretches if s.kind == "word")
        recording = spoken.recording(made)
        stretch = Interval(max(0.0, word.interval.onset_s - 0.05), word.interval.offset_s + 0.05)
        extras = find_sibilants(recording, Utterance(prompt, 1, 1, stretch)).extras
        if any(e.automatic.overlap_s(word.sibilants[0].interval) > 0.03 for e in extras):
            heard.append(prompt.text)
    print(len(heard), "of", len(foils))
    assert len(heard) >= 0.75 * len(foils)


@pytest.mark.parametrize("text", ["miss Sam", "this ship", "the bus stop", "a nice seal"])
def test_doubled_sibilants_are_two(spoken, text: str) -> None:
    prompt = expect(text)
    made = in_room(say(prompt, spoken.speaker(0), 5), spoken.speaker(0), 5, snr_db=40.0)
    got = spoken.search(made, prompt)
    assert len(got.found) == len(prompt.slots) and not got.absent
    first, second = (s for s in got.found if "doubled" in s.flags)
    assert first.automatic.offset_s == second.automatic.onset_s and first.offset.beside == "frication"
    true = [t for t in made.truth.sibilants if t.doubled]
    assert abs(first.automatic.onset_s - true[0].onset_s) < 0.02
    assert abs(second.automatic.offset_s - true[-1].offset_s) < 0.012


def hissed(closure_ms: float, hiss_ms: float) -> Recording:
    """An invented vowel, a closure and a hiss above 4 kHz that rises over 60 ms: a hissy /t/, or an /s/."""
    rate, rng = 44100, np.random.default_rng(7)
    voice = np.zeros(int(0.25 * rate))
    voice[:: rate // 110] = 1.0
    voice = np.convolve(voice, np.exp(-np.arange(400) / 40) * np.sin(np.arange(400) * 2 * np.pi * 500 / rate))
    n = int(hiss_ms / 1000 * rate)
    at = np.arange(n) / n
    hiss = np.fft.irfft(np.fft.rfft(rng.standard_normal(n)) * (np.fft.rfftfreq(n, 1 / rate) > 4000), n)
    hiss *= np.minimum(np.arange(n) / (0.06 * rate), 1.0) * (1.0 - at) ** 0.25 * 0.3 * voice.std() / hiss.std()
    quiet = np.zeros(int(0.2 * rate))
    sound = np.concatenate([quiet, voice, np.zeros(int(closure_ms / 1000 * rate)), hiss, quiet])
    samples = (sound + 3e-3 * rng.standard_normal(sound.size)) * 0.5
    return Recording(samples.astype(np.float32), rate, Source("invented", ""))


@pytest.mark.parametrize("hiss_ms", [120, 140, 160, 177])
def test_a_hissy_release_before_a_pause_is_no_extra(hiss_ms: float) -> None:
    # lengths of /t/ that were called extra in real foils, 139 to 177 ms; an /s/ in its place follows the voice at once
    prompt = expect("cart", phones="AA1 T")
    for closure_ms, n_extra in ((45, 0), (0, 1)):
        recording = hissed(closure_ms, hiss_ms)
        whole = Utterance(prompt, 1, 1, Interval(0.1, recording.duration_s))
        assert len(find_sibilants(recording, whole).extras) == n_extra


@pytest.mark.parametrize("text", ["tree", "dream", "truck", "drum"])
def test_affricated_clusters_are_no_extra(spoken, text: str) -> None:
    made = in_room(say(expect(text), spoken.speaker(1), 4), spoken.speaker(1), 4, snr_db=35.0)
    assert not spoken.search(made, expect(text)).extras


def test_find_all_needs_no_prompt(spoken) -> None:
    prompts = [p for p in builtin_list("core-a") if p.slots and p.slots[0].phone == "S"][:8]
    made = probe(prompts, spoken.speaker(0), 9, plan=ProbePlan(snr_db=35.0))
    sounds = find_all(spoken.recording(made))
    true = made.truth.sibilants
    hit = [t for t in true if any(s.automatic.overlap_s(t.interval) > 0.5 * t.interval.duration_s for s in sounds)]
    assert len(hit) >= 0.9 * len(true) and len(sounds) <= 1.2 * len(true)
    assert all(s.slot is None for s in sounds)


def test_bound_takes_one_stretch(spoken) -> None:
    made = in_room(say("S IY1 L", spoken.speaker(0), 1), spoken.speaker(0), 1, snr_db=40.0)
    true = made.truth.sibilants[0].interval
    slot = expect("seal").slots[0]
    wide = Interval(max(0.0, true.onset_s - 0.08), true.offset_s + 0.08)
    got = bound(spoken.recording(made), wide, slot)
    assert got is not None and got.slot == slot
    assert abs(got.automatic.onset_s - true.onset_s) < 0.008 and abs(got.automatic.offset_s - true.offset_s) < 0.008


def test_phones_and_runs_in_order() -> None:
    # on paper: "seat" as hiss, voice, silence, release: the first hiss is the /s/, the last the /t/
    runs = (
        Run("silence", 0, 9), Run("frication", 10, 39, -20.0, 25.0, False, 12.0, 0.5), Run("voice", 40, 69),
        Run("silence", 70, 79), Run("frication", 80, 97, -28.0, 12.0, False, 33.0, 0.2),
    )  # fmt: skip
    found = align(("S", "IY1", "T"), runs, 0.005, -10.0)
    assert (found[0], found[1]) == (1, 2) and found[2] in {3, 4} and len(found) == 3
    assert align(("T", "IY1", "S"), (*runs[3:], *runs[2:3], *runs[1:2]), 0.005, -10.0)[2] == 3
    assert align((), runs, 0.005, -10.0) == {}
    assert kind_of("") == "" and kind_of("ZH") == "sibilant"


HOSTILE = {
    "silence": lambda n, rng: np.zeros(n), "hiss": lambda n, rng: 0.1 * rng.standard_normal(n),
    "clipped hiss": lambda n, rng: np.sign(rng.standard_normal(n)), "not a number": lambda n, rng: np.full(n, np.nan),
    "infinite": lambda n, rng: np.full(n, np.inf), "constant": lambda n, rng: np.ones(n),
    "one click": lambda n, rng: np.eye(1, n, n // 2)[0], "faint": lambda n, rng: 1e-9 * rng.standard_normal(n),
    "tone": lambda n, rng: np.sin(0.2 * np.arange(n)),
}  # fmt: skip


@pytest.mark.parametrize("kind", HOSTILE)
@pytest.mark.parametrize("rate", [8000, 16000, 44100, 192000])
def test_anything_is_taken(kind: str, rate: int) -> None:
    rng = np.random.default_rng(1)
    prompt = expect("seal")
    for n in (1, 7, rate // 50, rate // 2):
        samples = np.asarray(HOSTILE[kind](n, rng), dtype=np.float32)
        recording = Recording(samples, rate, Source("hostile", ""))
        for begin, end in ((0.0, 1.0), (0.4, 0.6), (1.0, 1.0)):
            stretch = Interval(begin * recording.duration_s, end * recording.duration_s)
            got = find_sibilants(recording, Utterance(prompt, 1, 1, stretch))
            assert len(got.found) + len(got.absent) == 1
            for sound in (*got.found, *got.extras):
                assert 0 <= sound.automatic.onset_s <= sound.core.onset_s <= sound.core.offset_s
                assert sound.core.offset_s <= sound.automatic.offset_s <= recording.duration_s + 0.01
                assert np.isfinite(sound.confidence) and np.isfinite(sound.onset.uncertainty_ms)
            bound(recording, stretch)
        alone = find_all(recording)
        assert all(sound.slot is None for sound in alone)


@pytest.mark.parametrize("rate", [16000, 44100, 192000])
def test_a_hiss_between_silences_is_bounded(rate: int) -> None:
    """What the test above would also pass by finding nothing at all."""
    rng = np.random.default_rng(1)
    quiet = 1e-4 * rng.standard_normal(rate // 2)
    samples = np.concatenate([quiet, 0.1 * rng.standard_normal(rate // 4), quiet]).astype(np.float32)
    (found,) = find_all(Recording(samples, rate, Source("made", "")))
    assert abs(found.automatic.onset_s - 0.5) < 0.02 and abs(found.automatic.offset_s - 0.75) < 0.02


@pytest.mark.long
def test_full_counts(spoken) -> None:
    """400 words with a sibilant left out; writes docs/evidence/slots.csv."""
    reported, others, false, kept = omissions(spoken, 400)
    commit = subprocess.run(
        ["git", "rev-parse", "--short", "HEAD"], cwd=EVIDENCE.parent, capture_output=True, text=True, check=False
    ).stdout.strip()
    rows = [
        ["sibilants left out", 400, "reported absent", reported, commit],
        ["other sibilants of the same words", others, "reported absent", false, commit],
    ]
    with EVIDENCE.open("w", encoding="utf-8", newline="") as stream:
        csv.writer(stream, lineterminator="\n").writerows([["what", "n", "outcome", "count", "commit"], *rows])
    assert reported >= 0.85 * 400 and len(kept) == 400 - reported


def test_a_sound_cut_by_the_end_says_so(spoken) -> None:
    made = say("S IY1 S", spoken.speaker(0), 3)
    first, last = made.truth.sibilants
    rate = made.sampling_rate_hz
    begin = round((first.onset_s + 0.06) * rate)
    piece = made.samples[begin : round((last.onset_s + 0.08) * rate)].copy()
    recording = Recording(piece, rate, Source("cut", ""))
    prompt = expect("cease", phones="S IY1 S")
    got = find_sibilants(recording, Utterance(prompt, 1, 1, Interval(0.0, recording.duration_s))).found
    assert [s.slot.phone for s in got if s.slot is not None] == ["S", "S"]
    assert got[0].onset.beside == "edge_of_recording" and got[1].offset.beside == "edge_of_recording"
