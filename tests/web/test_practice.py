"""The live view of a long sound, and runs of words. All sound is synthetic: invented data, not a person."""

from __future__ import annotations

import base64
import math

import numpy as np
import pytest
from scipy.signal import butter, lfilter

from sibilant.clinic import clients, runs
from sibilant.clinic.caseload import CaseloadHandle

RATE = 44_100
CLIENT = "C-7QXK"

HEAR = """async ({ root, rate, coded, marks }) => {
  const { LongSound } = await import(`${root}static/longsound.js`);
  const bytes = Uint8Array.from(atob(coded), (c) => c.charCodeAt(0));
  const samples = new Float32Array(bytes.buffer);
  const sound = new LongSound(rate);
  const seen = [];
  for (let n = 0; n + 1024 <= samples.length; n += 1024) {
    for (const mark of marks) if (mark * rate >= n && mark * rate < n + 1024) sound.mark();
    sound.take(samples.subarray(n, n + 1024));
    seen.push(sound.length_s);
  }
  return { seen, ended: sound.ended, whole: sound.ended ? sound.whole : null };
}"""


def noise(seconds: float, band_hz: tuple[float, float], seed: int, *, level_db: float = -25.0) -> np.ndarray:
    """Band noise: 4 to 9 kHz for a typical /s/, 2 to 6 kHz for a lateral one; edges of 5 ms."""
    rng = np.random.default_rng(seed)
    made = lfilter(*butter(4, band_hz, "bandpass", fs=RATE), rng.normal(size=round(seconds * RATE)))
    ramp = np.minimum(1.0, np.minimum(np.arange(made.size), np.arange(made.size)[::-1]) / (0.005 * RATE))
    return made / np.std(made) * 10 ** (level_db / 20) * ramp


def heard(*pieces: np.ndarray, gap_s: float = 1.0) -> np.ndarray:
    """Pieces with a quiet room before, between and after them."""
    room = np.random.default_rng(5)
    parts = []
    for piece in pieces:
        parts += [np.zeros(round(gap_s * RATE)), piece]
    whole = np.concatenate([*parts, np.zeros(RATE)])
    return (whole + room.normal(0, 10 ** (-65 / 20), whole.size)).astype(np.float32)


def watched(page, served, samples: np.ndarray, marks: tuple[float, ...]):
    coded = base64.b64encode(samples.tobytes()).decode()
    root = f"{served.running.root}/"
    return page.evaluate(HEAR, {"root": root, "rate": RATE, "coded": coded, "marks": list(marks)})


TYPICAL, LATERAL = (4000.0, 9000.0), (2000.0, 6000.0)


def test_the_live_view(browse, served) -> None:
    """Nothing before the mark; then length within 30 ms; the same for a typical and a lateral sound; four seconds."""
    page = browse()
    page.goto(served.running.address)
    page.goto(f"{served.base}/practise?client={served.handle}")

    said = heard(noise(2.0, TYPICAL, 1), noise(1.0, LATERAL, 2), noise(0.4, (200.0, 900.0), 3))
    assert set(watched(page, served, said, ())["seen"]) == {0}, "nothing moves before the mark, whatever is said"

    for seconds in (0.35, 1.0, 2.5, 3.9):
        lengths = {}
        for name, band in (("typical", TYPICAL), ("lateral", LATERAL)):
            for level_db in (-20.0, -40.0):
                found = watched(page, served, heard(noise(seconds, band, 7, level_db=level_db)), (0.5,))
                assert found["ended"] and abs(found["seen"][-1] - seconds) <= 0.030, (seconds, name, found["seen"][-1])
                assert abs(found["whole"]["seconds"] - seconds) <= 0.030
                assert all(b >= a for a, b in zip(found["seen"], found["seen"][1:], strict=False)), "it only grows"
                lengths[name, level_db] = found["seen"]
        ends = {round(seen[-1], 2) for seen in lengths.values()}
        assert max(ends) - min(ends) <= 0.02, "how it is made changes nothing"
        frames = np.array(list(lengths.values()))
        assert np.ptp(frames, axis=0).max() <= 0.03, "nor at any moment on the way"

    found = watched(page, served, heard(noise(6.0, TYPICAL, 1)), (0.5,))
    assert found["seen"][-1] == 4 and found["whole"]["seconds"] == pytest.approx(6.0, abs=0.03), "no longer than four"

    found = watched(page, served, heard(noise(2.0, TYPICAL, 1)), (2.0,))
    at_mark = math.floor(2.0 * RATE / 1024)
    assert set(found["seen"][:at_mark]) == {0} and found["seen"][-1] == pytest.approx(1.0, abs=0.06), "from the mark on"

    two = heard(noise(1.0, TYPICAL, 1), noise(2.0, LATERAL, 2))
    assert watched(page, served, two, (0.5,))["seen"][-1] == pytest.approx(1.0, abs=0.03), "the mark ends with the try"

    wavering = noise(2.0, TYPICAL, 4) * (1 + 0.7 * np.sin(2 * np.pi * 3 * np.arange(2 * RATE) / RATE))
    steady = watched(page, served, heard(noise(2.0, TYPICAL, 4)), (0.5,))["whole"]["wander_db"]
    assert watched(page, served, heard(wavering), (0.5,))["whole"]["wander_db"] > steady + 2
    assert page.wrong == []


def test_with_a_microphone_the_picture_is_still_until_the_mark(browse, served, tmp_path) -> None:
    from sibilant import audio

    said = heard(*(noise(2.0, TYPICAL, n) for n in range(12)), gap_s=1.5)
    audio.write_wav(tmp_path / "in.wav", said, RATE, coding="pcm16")
    page = browse(tmp_path / "in.wav")
    page.goto(served.running.address)
    page.goto(f"{served.base}/practise?client={served.handle}")
    assert page.is_hidden("#long"), "off at the start"
    page.click("#open-long")
    page.wait_for_selector("#long:not([hidden])")
    dashes = "() => parseInt(document.querySelector('#unrolled').style.strokeDasharray) || 0"
    for _ in range(20):
        page.wait_for_timeout(150)
        assert page.evaluate(dashes) == 0
    page.keyboard.press("i")
    page.wait_for_function("() => (parseInt(document.querySelector('#unrolled').style.strokeDasharray) || 0) > 0")
    page.wait_for_function("() => document.querySelector('#long-said').innerText.startsWith('The try is over')")
    assert " s" in page.inner_text("#long-told") and page.inner_text("#tries") == "1 of 3 tries"
    assert page.is_disabled("#in-place")
    page.keyboard.press("Escape")
    page.wait_for_selector("#doors:not([hidden])")
    assert not list(served.folder.rglob("*.wav")) and page.wrong == []


def test_a_run_of_words_by_one_key_each_is_not_kept(browse, served) -> None:
    page = browse()
    page.goto(served.running.address)
    page.goto(f"{served.base}/practise?client={served.handle}")
    page.select_option("#words", "pool-s-initial")
    page.click("text=Begin the run")
    page.wait_for_selector("#run:not([hidden])")
    words = []
    for keys in ("c", "c", "3d", "zd"):
        words.append(page.inner_text("#run-word"))
        for key in keys:
            page.keyboard.press(key)
    assert words[3] != words[2] and page.inner_text("#run-place").startswith("4 of")
    assert page.is_hidden("#run-count"), "the count is for the one who works"
    page.keyboard.press("t")
    assert page.inner_text("#run-count") == "spontaneous: 2 of 2 correct · model: 0 of 1 correct"
    page.keyboard.press("Escape")
    page.wait_for_selector("#over:not([hidden])")
    shown = clients.show_client(CaseloadHandle(served.folder), CLIENT)
    assert shown["sessions"] == [] and set(shown["treated"]) == set(words[:3]), "practice, never a probe"
    with page.expect_download() as download:
        page.goto(f"{served.base}/practise?client={served.handle}")
        page.click("text=Make the sheet")
    assert download.value.suggested_filename == "practice-word.pdf" and page.wrong == []


def test_a_run_is_kept_once_and_a_run_that_could_not_be_kept_says_so(browse, served) -> None:
    """Stop pressed while the last mark is being kept keeps nothing twice; a refusal is told, and can be tried again."""
    page = browse()
    page.goto(served.running.address)
    page.goto(f"{served.base}/practise?client=C-7QXK")
    page.select_option("#run-form #words", "pool-ks-final")
    page.click("text=Begin the run")
    page.wait_for_selector("#run:not([hidden])")
    page.route("**/do/practise/said**", lambda route: route.abort())
    for key in ("c", "c", "c"):
        page.keyboard.press(key)
    page.wait_for_selector("h2:has-text('Practised, and not kept')")
    assert "treated" not in page.inner_text("#over-lines") and page.is_hidden("#run-kept")
    page.unroute("**/do/practise/said**")
    page.evaluate("() => { for (const _ of [1, 2]) document.querySelector('#keep-again').click(); }")
    page.wait_for_selector("#run-kept:not([hidden])")
    assert "3 words practised" in page.inner_text("#over-lines")
    assert [run["said"] for run in runs.list_runs(CaseloadHandle(served.folder), CLIENT)] == [3]
