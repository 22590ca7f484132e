"""What ``assess`` says of single cases: shape, edge cases, one spoiled word, and the figures against known ones."""

from __future__ import annotations

import csv
import json
import re
from pathlib import Path

import numpy as np
import pytest
from scipy import signal

from sibilant.audio import read_recording, recording_from_samples
from sibilant.levels.bands import frames_of, pauses_of
from sibilant.lexicon import builtin_list
from sibilant.methods import HOUSE_7K, HOUSE_10K, HOUSE_15K, USABLE_SHARE
from sibilant.suitability import SIGNS, assess, house_tops_hz
from sibilant.suitability.methods_served import BANDWIDTH_SHARE
from sibilant.suitability.samples import extremes_of, zero_runs
from sibilant.synthetic import ProbePlan, child_speaker, probe, typical_level_db
from sibilant.terms import Edge, Interval, Recording, SibilantInterval, Source
from sibilant.terms.suitability import ASPECTS, worse_of

REAL = Path(__file__).parents[3] / "shared" / "real_speech"


def bounded(onset_s: float, offset_s: float) -> SibilantInterval:
    stretch = Interval(onset_s, offset_s)
    edges = [Edge(time, "silence", 1.0, 1.0) for time in (onset_s, offset_s)]
    return SibilantInterval(None, stretch, stretch, *edges, 1.0)


@pytest.fixture(scope="module")
def twenty() -> tuple[np.ndarray, list[SibilantInterval], list[Interval]]:
    """Twenty invented words with one sibilant each (the first of each word), 40 dB over the room."""
    spoken = probe(builtin_list("core-a"), child_speaker(11), 11, plan=ProbePlan(room_t60_s=0.2))
    words = [stretch for stretch in spoken.truth.stretches if stretch.kind == "word" and stretch.sibilants]
    sounds = [bounded(w.sibilants[0].onset_s, w.sibilants[0].offset_s) for w in words]
    return spoken.samples.astype(np.float64), sounds, [w.interval for w in words]


def noise_between(samples: np.ndarray, interval: Interval, level: float) -> np.ndarray:
    spoiled = samples.copy()
    first, last = round((interval.onset_s - 0.1) * 44_100), round((interval.offset_s + 0.1) * 44_100)
    spoiled[first:last] += level * np.random.default_rng(1).standard_normal(last - first)
    return spoiled


def test_a_clean_recording_is_usable_in_every_respect(twenty: tuple) -> None:
    samples, sounds, words = twenty
    found = assess(recording_from_samples(samples, 44_100), sounds, words=words)
    assert found.verdict.worst == "usable" and not found.remedies
    assert [token.verdict.worst for token in found.tokens] == ["usable"] * 20
    assert found.widest_method == "house-15k" and found.clipped_share == 0.0


@pytest.mark.parametrize("fault", ["clipping", "dropout", "scrape", "telephone"])
@pytest.mark.parametrize("index", [0, 7, 19])
def test_one_spoiled_word_among_twenty_costs_that_word_only(twenty: tuple, fault: str, index: int) -> None:
    samples, sounds, words = twenty
    spoiled, sound = samples.copy(), sounds[index].interval
    span = slice(round(sound.onset_s * 44_100), round(sound.offset_s * 44_100))
    if fault == "clipping":
        spoiled[span] = np.clip(0.7 * spoiled[span] / spoiled[span].std(), -0.99, 0.99)
    elif fault == "dropout":
        spoiled[span.start + 800 : span.start + 1_200] = 0
    elif fault == "scrape":
        spoiled = noise_between(samples, words[index], 0.05)
    else:
        sos = signal.ellip(10, 0.1, 60, 4_000, fs=44_100, output="sos")
        spoiled[span] = signal.sosfiltfilt(sos, spoiled[span])
    found = assess(recording_from_samples(spoiled, 44_100), sounds, words=words)
    costs = [i for i, token in enumerate(found.tokens) if token.verdict.moments["house-15k"] == "not usable"]
    assert costs == [index]
    assert set(found.verdict.moments.values()) == {"usable"} and found.verdict.durations == "usable"
    assert found.tokens[index].flags


def test_a_quarter_of_spoiled_words_is_the_recordings_verdict(twenty: tuple) -> None:
    samples, sounds, words = twenty
    spoiled = samples
    for index in (0, 4, 8, 12, 16):
        spoiled = noise_between(spoiled, words[index], 0.05)
    found = assess(recording_from_samples(spoiled, 44_100), sounds, words=words)
    assert found.verdict.moments["house-15k"] == "not usable"
    assert found.tokens[1].verdict.moments["house-15k"] == "usable"


def test_no_pause_leaves_the_ratio_empty_and_asks_for_care(twenty: tuple) -> None:
    samples, sounds, _ = twenty
    sound = sounds[0].interval
    tight = samples[round(sound.onset_s * 44_100) : round((sound.offset_s + 0.15) * 44_100)]
    found = assess(recording_from_samples(tight, 44_100), [bounded(0.0, sound.duration_s)])
    assert found.snr_4_10khz_db is None and found.tokens[0].snr_db is None
    assert found.verdict.levels == "with care" and "silence" in " ".join(found.remedies)


def test_without_sounds_it_says_so() -> None:
    found = assess(recording_from_samples(0.1 * np.random.default_rng(1).standard_normal(44_100), 44_100), ())
    assert found.findings[0].sign == "no_sibilant" and found.verdict.worst == "not usable"
    assert found.effective_bandwidth_hz is None and found.tokens == ()


def test_words_must_be_one_for_each_sound(twenty: tuple) -> None:
    samples, sounds, words = twenty
    with pytest.raises(ValueError, match="20 sounds, 3 words"):
        assess(recording_from_samples(samples, 44_100), sounds, words=words[:3])
    assess(recording_from_samples(samples, 44_100), sounds, words=[None] * 20)


@pytest.mark.parametrize("rate", [1_000, 8_000, 11_025, 16_000, 22_050, 32_000, 44_100, 48_000, 96_000, 192_000])
@pytest.mark.parametrize("n", [1, 100, 5_000])
def test_any_rate_and_any_length(rate: int, n: int) -> None:
    samples = 0.1 * np.random.default_rng(2).standard_normal(n)
    found = assess(recording_from_samples(samples, rate), [bounded(0.0, n / rate), bounded(n / rate + 1, n / rate + 2)])
    assert len(found.tokens) == 2
    text = json.dumps(found.as_dict(), allow_nan=False)
    assert set(json.loads(text)["verdict"]) == {*ASPECTS}


@pytest.mark.parametrize(
    "samples",
    [np.zeros(44_100), np.ones(44_100), np.full(44_100, -1e-9), 3e4 * np.sin(np.arange(44_100) * 0.7),
     np.tile([1.0, -1.0], 22_050)],
)  # fmt: skip
def test_odd_signals_are_judged_without_a_warning(samples: np.ndarray) -> None:
    found = assess(recording_from_samples(samples, 44_100), [bounded(0.2, 0.4)])
    json.dumps(found.as_dict(), allow_nan=False)
    assert found.verdict.worst != "usable"


def test_eight_bits_silence_offset_and_breath_are_named(twenty: tuple) -> None:
    samples, sounds, words = twenty

    def signs(changed: np.ndarray, source: Source | None = None) -> set[str]:
        recording = recording_from_samples(changed, 44_100)
        recording = recording if source is None else Recording(recording.samples, 44_100, source)
        return {sign.sign for sign in assess(recording, sounds, words=words).findings}

    assert "bit_depth" in signs(np.round(samples * 128) / 128)
    assert "bit_depth" in signs(samples, Source("a.wav", "", bit_depth=8))
    assert "bit_depth" in signs(samples, Source("a.wav", "", coding="wav/ulaw", lossy=True))
    assert "dc_offset" in signs(samples + 0.05)
    assert "over_full_scale" in signs(samples * 1.05 / np.abs(samples).max())
    assert "too_quiet" in signs(samples * 1e-3)
    span = sounds[3].interval
    blast = samples.copy()
    inside = slice(round(span.onset_s * 44_100), round(span.offset_s * 44_100))
    blast[inside] += 0.3 * np.sin(2 * np.pi * 60 * np.arange(inside.stop - inside.start) / 44_100)
    assert "breath_blast" in signs(blast)


def test_the_ratio_is_the_planted_one() -> None:
    """Truth: the background that ``synthetic`` adds lies a stated number of dB below this speaker's typical /s/."""
    for snr_db in (10.0, 20.0, 30.0):
        spoken = probe(builtin_list("core-b"), child_speaker(4), 4, plan=ProbePlan(snr_db=snr_db))
        sounds = [bounded(s.onset_s, s.offset_s) for s in spoken.truth.sibilants]
        found = assess(recording_from_samples(spoken.samples, 44_100), sounds)
        assert found.snr_4_10khz_db == pytest.approx(snr_db, abs=1.5)
    assert typical_level_db(child_speaker(4), 44_100) < 0


@pytest.mark.parametrize("t60_s", [0.9, 1.3])
def test_the_decay_is_the_planted_one(t60_s: float) -> None:
    """Truth: the invented room's tail falls by 60 dB in a stated time below 2 kHz."""
    plan = ProbePlan(snr_db=40.0, room_t60_s=t60_s, direct_to_reverberant_db=3.0)
    spoken = probe(builtin_list("core-a"), child_speaker(7), 7, plan=plan)
    sounds = [bounded(s.onset_s, s.offset_s) for s in spoken.truth.sibilants]
    found = assess(recording_from_samples(spoken.samples, 44_100), sounds)
    values = [sign.value for sign in found.findings if sign.sign == "room_decay"]
    assert values == [pytest.approx(t60_s, rel=0.2)]


def test_the_drift_is_the_planted_one(twenty: tuple) -> None:
    samples, sounds, words = twenty
    course = np.sin(2 * np.pi * np.arange(samples.size) / 44_100 / 9)
    for planted_db in (3.0, 6.0):
        moved = samples * 10 ** (planted_db / 40 * course)
        found = assess(recording_from_samples(moved, 44_100), sounds, words=words)
        values = [sign.value for sign in found.findings if sign.sign == "gain_riding"]
        assert values == [pytest.approx(planted_db, abs=0.8)]


def test_band_levels_are_mean_squares() -> None:
    """Truth: Parseval's theorem; a sine of amplitude 0.5 has a mean square of 0.125, all of it in its own band."""
    time = np.arange(44_100) / 44_100
    frames = frames_of(recording_from_samples(0.5 * np.sin(2 * np.pi * 5_000 * time), 44_100))
    assert frames.band(4_000.0, 6_000.0) == pytest.approx(0.125, rel=1e-4)
    assert frames.band(120.0, 4_000.0).max() < 1e-6


def test_band_levels_of_noise_against_scipy() -> None:
    """Source: ``scipy.signal.welch``, an independent estimate of the same power density."""
    samples = np.random.default_rng(3).standard_normal(5 * 44_100) * 0.1
    frames = frames_of(recording_from_samples(samples, 44_100))
    frequency, density = signal.welch(samples, 44_100, nperseg=882, noverlap=441)
    inside = (frequency >= 4_000) & (frequency < 10_000)
    expected = density[inside].sum() * frequency[1]
    assert frames.band(4_000.0, 10_000.0).mean() == pytest.approx(expected, rel=0.01)


def test_pauses_are_the_quiet_stretches() -> None:
    rng = np.random.default_rng(4)
    samples = 1e-3 * rng.standard_normal(4 * 44_100)
    samples[44_100:88_200] += 0.1 * rng.standard_normal(44_100)
    frames = frames_of(recording_from_samples(samples, 44_100))
    quiet = pauses_of(frames, [])
    times = frames.times_s[quiet]
    assert not ((times > 0.98) & (times < 2.02)).any() and quiet.mean() > 0.65


def test_zero_runs_are_exact() -> None:
    samples = 0.1 + 0.1 * np.random.default_rng(5).random(44_100)
    samples[1_000:1_133] = 0
    samples[30_000:30_100] = 0
    samples[-400:] = 0
    found = [(round(r.onset_s * 44_100), round(r.offset_s * 44_100)) for r in
             zero_runs(recording_from_samples(samples, 44_100))]  # fmt: skip
    assert found == [(1_000, 1_133), (43_700, 44_100)]


def test_flat_tops_are_told_from_natural_peaks() -> None:
    rng = np.random.default_rng(6)
    natural = np.round(0.3 * rng.standard_normal(44_100).clip(-3, 3) * 32_767) / 32_768
    slow = 0.5 * np.sin(2 * np.pi * 103.7 * np.arange(192_000) / 192_000) * np.hanning(192_000)
    assert not extremes_of(recording_from_samples(natural * 0.9, 44_100)).clipped or natural.max() < 0.9
    assert not extremes_of(recording_from_samples(np.round(slow * 32_768) / 32_768, 192_000)).clipped
    assert extremes_of(recording_from_samples(np.clip(slow, -0.4, 0.4), 192_000)).clipped


def test_house_methods_are_the_methods_rooms() -> None:
    expected = {method.name: method.band_hz[1] for method in (HOUSE_15K, HOUSE_10K, HOUSE_7K)}
    assert dict(house_tops_hz()) == expected and BANDWIDTH_SHARE == USABLE_SHARE


def test_every_rule_is_whole() -> None:
    keys = [rule.key for rule in SIGNS]
    assert len(set(keys)) == len(keys)
    for rule in SIGNS:
        assert rule.title and rule.measured and rule.advice.endswith(".") and rule.source and rule.read.__doc__
        assert not re.search(r"normal|disorder|correct|better|worse", rule.advice), "no word that judges a person"
        if rule.care is not None and rule.refuse is not None:
            assert rule.refuse < rule.care if rule.below else rule.refuse > rule.care


def test_worse_of() -> None:
    assert worse_of() == "usable" and worse_of("with care", "not usable", "usable") == "not usable"


def real_bandwidths() -> list[tuple[str, float, float]]:
    """File, bandwidth found, bandwidth that its note states, for each shared clip with a note and marks."""
    marks: dict[str, set[tuple[float, float]]] = {}
    with (REAL / "marks_more.csv").open(encoding="utf-8") as stream:
        for row in csv.DictReader(stream):
            if row["kind"] in ("target", "sibilant"):
                marks.setdefault(row["file"], set()).add((float(row["start_s"]), float(row["end_s"])))
    notes: dict[str, float] = {}
    with (REAL / "manifest.csv").open(encoding="utf-8") as stream:
        for row in csv.DictReader(stream):
            if row["marked_start_s"]:
                stretch = (float(row["marked_start_s"]), float(row["marked_end_s"]))
                marks.setdefault(row["file"], set()).add(stretch)
            if stated := re.search(r"up to (\d+) Hz", row["bandwidth_note"]):
                notes[row["file"]] = float(stated[1])
    found = []
    for name in sorted(set(notes) & set(marks)):
        judged = assess(read_recording(REAL / name), [bounded(*stretch) for stretch in sorted(marks[name])])
        found.append((name, judged.effective_bandwidth_hz or 0.0, notes[name]))
    return found


@pytest.mark.skipif(not (REAL / "manifest.csv").exists(), reason="the shared real clips are not beside the checkout")
def test_effective_bandwidth_of_real_clips() -> None:
    """Truth: ``bandwidth_note`` of the shared clips, made by others: noise within 40 dB of the peak up to x Hz.

    At least 94 % within 500 Hz, and no bias. Those outside are sounds that fade by themselves, where the note hangs on
    the frame chosen; wherever a codec cut the band, the cut is found.
    """
    found = real_bandwidths()
    errors = np.array([band - note for _, band, note in found])
    assert len(found) >= 150
    assert np.mean(np.abs(errors) <= 500) >= 0.94, [row for row in found if abs(row[1] - row[2]) > 500]
    assert abs(np.median(errors)) <= 50


@pytest.mark.long
@pytest.mark.skipif(not (REAL / "manifest.csv").exists(), reason="the shared real clips are not beside the checkout")
def test_effective_bandwidth_counts() -> None:
    import subprocess

    root = Path(__file__).parents[2]
    asked = ["git", "rev-parse", "--short", "HEAD"]
    done = subprocess.run(asked, cwd=root, capture_output=True, text=True, check=False)
    found = real_bandwidths()
    errors = np.array([band - note for _, band, note in found])
    near = int(np.sum(np.abs(errors) <= 500))
    row = (len(errors), near, round(near / len(errors), 3), round(float(np.median(errors))), done.stdout.strip())
    with (root / "docs" / "evidence" / "suitability_bandwidth.csv").open("w", newline="", encoding="utf-8") as stream:
        writer = csv.writer(stream, lineterminator="\n")
        writer.writerow(("n_clips", "within_500_hz", "share", "median_error_hz", "commit"))
        writer.writerow(row)
    assert near >= 0.94 * len(errors)
