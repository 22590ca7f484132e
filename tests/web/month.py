"""One invented client from adding to discharge on the page alone, step by step. Invented data – not a person."""

from __future__ import annotations

import datetime as dt
import os
import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import av
import numpy as np

from sibilant import audio, lexicon, synthetic, web
from sibilant.terms.vocabulary import DISTORTIONS

RATE = 44_100
FRONTAL = str(1 + list(DISTORTIONS).index("frontal"))
NOTES_WHEN_IT_HEARS = """
  const real = navigator.mediaDevices.getUserMedia.bind(navigator.mediaDevices);
  navigator.mediaDevices.getUserMedia = async (asked) => {
    const stream = await real(asked);
    window.hearsSince = performance.now();
    return stream;
  };"""
SAID_BY_NOW = "(s) => window.hearsSince && performance.now() - window.hearsSince > 1000 * s"
AFTER_A_WORD_S = 0.5
WENT_ON = """(n) => !document.querySelector('#ended').hidden || document.querySelector('#stage-said').innerText
  || document.querySelector('#stage-place').innerText.startsWith(`${n + 1} of`)"""

SCRIPT = Path(web.__file__).parent / "static" / "capture.js"
RUN_ON_S = int(re.search(r"RUN_ON_MS = (\d+)", SCRIPT.read_text(encoding="utf-8"))[1]) / 1000
"""After the key the microphone is heard that much longer, since a final sound may outlast it: speech, no waiting."""

ASKED_OR_DONE = "() => !document.querySelector('#listening').hidden || !document.querySelector('#done').hidden"
NEXT_OR_DONE = """(was) => !document.querySelector('#done').hidden
  || document.querySelector('#place').innerText !== was"""
REPORT_IS = """(kind) => new URLSearchParams(location.search).get('kind') === kind
  && document.querySelector('.sheet')"""


@dataclass
class Clock:
    """The invented month's own time: real seconds, on a day of the test's choosing."""

    day: dt.date

    def __call__(self) -> dt.datetime:
        real = dt.datetime.now(dt.UTC)
        return real + dt.timedelta(days=(self.day - dt.datetime.now().astimezone().date()).days)


@dataclass(frozen=True)
class Probe:
    """One probe as it was said: its day, each word's way of /s/, when each ends, and the sound."""

    on: dt.date
    kinds: dict[str, str]
    ends_s: tuple[float, ...]
    samples: np.ndarray = field(repr=False)

    @property
    def seconds(self) -> float:
        return self.samples.size / RATE

    def as_wav(self, path: Path, *, tail_s: float = 0.0) -> Path:
        """A sound file; for the browser's microphone with quiet after it."""
        rng = np.random.default_rng(11)
        tail = rng.normal(0, np.std(self.samples[: RATE // 4]), round(tail_s * RATE))
        audio.write_wav(path, np.concatenate([self.samples, tail]).astype(np.float32), RATE, coding="pcm16")
        return self.dated(path)

    def as_m4a(self, path: Path) -> Path:
        """A phone's kind of file: AAC in an MP4 container."""
        with av.open(str(path), "w", format="mp4") as held:
            stream = held.add_stream("aac", rate=RATE, layout="mono")
            stream.bit_rate = 192_000
            frame = av.AudioFrame.from_ndarray(self.samples[None, :], format="fltp", layout="mono")
            frame.sample_rate = RATE
            for packet in (*stream.encode(frame), *stream.encode(None)):
                held.mux(packet)
        return self.dated(path)

    def dated(self, path: Path) -> Path:
        noon = dt.datetime(self.on.year, self.on.month, self.on.day, 12).timestamp()
        os.utime(path, (noon, noon))
        return path


def spoken(words: str, on: dt.date, n_clear: int, seed: int, *, pause_s: float = 0.9, lead_s: float = 1.0) -> Probe:
    """A built-in list said by one invented child, ``n_clear`` of its words with a typical /s/, the others frontal."""
    prompts = list(lexicon.builtin_list(words))
    order = np.random.default_rng(seed).permutation(len(prompts))
    clear = {int(n) for n in order[:n_clear]}
    kinds = tuple("typical" if n in clear else "frontal" for n in range(len(prompts)))
    plan = synthetic.ProbePlan(lead_s=lead_s, pause_s=(pause_s, pause_s + 0.1), snr_db=35, sampling_rate_hz=RATE)
    said = synthetic.probe(prompts, synthetic.child_speaker(3), seed, plan=plan, says=synthetic.SayPlan(types=kinds))
    samples = (0.6 * said.samples / np.abs(said.samples).max()).astype(np.float32)
    ends = tuple(word.interval.offset_s for word in said.truth.words)
    return Probe(on, dict(zip((p.text for p in prompts), kinds, strict=True)), ends, samples)


@dataclass
class Month:
    """The way through the months, by the hands given; each method is one step as a clinician does it."""

    hands: Any
    words: str
    wrong_words: str
    lost: int = 0

    # ---- the client ------------------------------------------------------------------------------------------------
    def add_client(self, age: str, therapy_starts: str = "") -> str:
        """A client under a drawn code, with consent; return the code."""
        hands = self.hands
        if not hands.page.locator("#age").is_visible():
            hands.press("summary:has-text('Add a client')")
        hands.write("#age", age)
        hands.pick("#consent_by", "parent")
        hands.tick("#recording")
        if therapy_starts:
            hands.day("#therapy_starts", therapy_starts)
        hands.tick("#invented")
        hands.press("summary:has-text('More: measure, list')")
        hands.pick("#words", self.words)
        hands.pick("#expected", "higher")
        hands.press("button:has-text('Add the client')")
        return hands.see("p[role=status] strong")

    def add_device(self) -> None:
        self.hands.press("footer a:has-text('Settings')")
        self.hands.write("#name", "headset")
        self.hands.write("#place", "Room 4")
        self.hands.press("button:has-text('Register it')")
        self.hands.see("[role=status]:has-text('Kept.')")
        self.hands.write("#rater", "R1")
        self.hands.press("button:has-text('Fill it in from now on')")
        self.hands.see("[role=status]:has-text('Kept.')")

    def go(self, code: str) -> None:
        """To the client, from wherever one is."""
        self.hands.press("nav a:has-text('Clients')")
        self.hands.press(f"main th a:has-text('{code}')")
        self.hands.see(f"#chosen:has-text('{code}')")

    # ---- a probe ---------------------------------------------------------------------------------------------------
    def capture(self, said: Probe) -> None:
        """Word by word into the microphone; a word whose sound was lost is left out, since the file says it once."""
        hands = self.hands
        hands.page.add_init_script(NOTES_WHEN_IT_HEARS)
        hands.press("a:has-text('Record a probe')")
        hands.see("#setup")
        hands.pick("#device", "headset")
        hands.tick("#agreed")
        hands.press("#listen")
        hands.see("#start:not([disabled])")
        hands.press("#start")
        hands.see("#stage")
        for n, end_s in enumerate(said.ends_s, start=1):
            hands.page.wait_for_function(SAID_BY_NOW, arg=end_s + AFTER_A_WORD_S, timeout=60_000)
            hands.does("Space", "#stage button[data-do=next]")
            hands.until(WENT_ON, n)
            hands.step.waited_s -= RUN_ON_S
            hands.step.spoken_s += RUN_ON_S
            if "Once more" in hands.page.inner_text("#stage-said"):
                self.lost += 1
                hands.does("s", "#stage button[data-do=skip]")
                hands.until(WENT_ON.replace("|| document.querySelector('#stage-said').innerText", ""), n)
        hands.see("#ended")
        hands.press("#keep")
        hands.see("#kept-head")

    def dropped(self, path: Path) -> None:
        """Bring in a file, and wait for the first look."""
        hands = self.hands
        hands.press("main a:has-text('Bring in a recording')")
        hands.see("#setup")
        hands.choose_file("#files", path)
        hands.see("#looked li:has-text('durations')")
        hands.see("#keep-it:not([disabled])")

    def keep_it(self) -> None:
        self.hands.press("#keep-it")
        self.hands.see("#kept-head")

    def judge(self, kinds: dict[str, str]) -> None:
        """The whole set by ear: a key for each mark, one for the kind, and on."""
        hands = self.hands
        hands.press("#to-judge")
        hands.see("#begin")
        hands.press("#begin button.first")
        while True:
            hands.until(ASKED_OR_DONE)
            if hands.page.locator("#done").is_visible():
                break
            here = hands.page.inner_text("#place")
            word, silent = hands.page.inner_text("#prompt"), "not heard" in hands.page.inner_text("#sound")
            self.mark("x" if silent else "c" if kinds[word] == "typical" else "d")
            hands.does("Enter", "#next")
            hands.until(
                NEXT_OR_DONE,
                here,
            )
        assert "judged" in hands.page.inner_text("#done-head")

    def mark(self, key: str) -> None:
        sign = f"#marks label:has([data-key='{key}'])"
        self.hands.heard(key, sign)
        if key == "d":
            self.hands.heard(FRONTAL, f"#kinds label:has([data-key='{FRONTAL}'])")

    # ---- what goes wrong, and is put right -------------------------------------------------------------------------
    def to_session(self, number: int) -> None:
        self.hands.press(f"main th a:has-text('{number}: change')")
        self.hands.see("h1:has-text('Session')")

    def change_day(self, on: str) -> None:
        self.hands.day("#on", on)
        self.hands.press("button:has-text('Keep these changes')")
        self.hands.see("[role=status]:has-text('Changed')")

    def move_to(self, code: str) -> None:
        self.hands.press("summary:has-text('It belongs to another client')")
        self.hands.pick("#to", code)
        self.hands.press("button:has-text('Move session')")
        self.hands.see(f"[role=status]:has-text('of {code}')")

    def change_mark(self, word: str) -> str:
        """One word's mark from distorted to correct; return what the page says of it."""
        hands = self.hands
        hands.press("a:has-text('Judge again')")
        hands.press(f"#words button:has-text('{word}')")
        self.mark("c")
        hands.does("Enter", "#keep")
        return hands.see("#kept-one:has-text('now')")

    def move_edge(self, ms: int) -> str:
        """The beginning of the first word's sibilant, later; return what the page says of the edges."""
        hands = self.hands
        hands.press("a:has-text('Review edges')")
        hands.press("#tokens li:first-child button")
        hands.see("#one")
        hands.until("() => document.querySelector('#onset').getAttribute('aria-valuenow')")
        hands.moves("#onset", ms)
        told = str(hands.page.inner_text("#edges-words"))
        hands.press("#save")
        hands.see("#kept-one:has-text('checked by a person')")
        return told

    def remove_and_bring_back(self, number: int) -> None:
        hands = self.hands
        hands.press(f"a:has-text('Remove session {number}')")
        hands.press("button:has-text('Remove this session')")
        hands.see("h1:has-text('Receipt')")
        hands.press("main a:has-text('the bin')")
        hands.press("button:has-text('Bring it back')")
        hands.see("text=Nothing lies in the bin")
        hands.press("a:has-text('Back to the clients')")

    # ---- therapy ---------------------------------------------------------------------------------------------------
    def set_goal(self, behaviour: str) -> None:
        hands = self.hands
        hands.press("main a:has-text('Goals and visits')")
        hands.write("#behaviour", behaviour)
        hands.press("button:has-text('Keep this goal')")
        hands.see("[role=status]:has-text('Kept.')")

    def keep_visit(self) -> None:
        self.hands.press("button:has-text('Keep the visit')")
        self.hands.see("summary:has-text('kept')")

    def practise(self, level: str, words: str, marks: Sequence[str]) -> str:
        hands = self.hands
        hands.press("main a:has-text('Practise')")
        hands.pick("#level", level)
        hands.pick("#run-form #words", words)
        hands.press("button:has-text('Begin the run')")
        hands.see("#run")
        n_items = int(hands.see("#run-place").split(" of ")[1])
        for key in marks:
            hands.does(key, f"#run-marks button[data-key='{key}']")
        if len(marks) % n_items:  # a whole round ends by itself
            hands.does("Escape", "#run-stop")
        hands.see("#over-head")
        return str(hands.page.inner_text("#over-lines"))

    def sheet(self, level: str, words: str, to: Path) -> Path:
        hands = self.hands
        hands.pick("#sheet-level", level)
        hands.pick("#sheet-words", words)
        return Path(hands.got("button:has-text('Make the sheet')", to))

    # ---- telling it ------------------------------------------------------------------------------------------------
    def see_progress(self) -> str:
        self.hands.press("nav a:has-text('Progress')")
        self.hands.until("() => document.querySelector('img.chart')?.naturalWidth > 100")
        return str(self.hands.page.inner_text(".lines"))

    def reach_goal(self) -> None:
        self.hands.press("main a:has-text('Goals and visits')")
        self.hands.press("button:has-text('It is reached')")
        self.hands.see("[role=status]:has-text('Kept.')")

    def to_reports(self) -> None:
        self.hands.press("nav a:has-text('Reports')")
        self.hands.see("h1:has-text('Reports')")

    def report(self, kind: str, to: Path) -> Path:
        hands = self.hands
        hands.pick("#kind", kind)
        hands.press("button:has-text('Show it')")
        hands.until(REPORT_IS, kind)
        return Path(hands.got("button:has-text('Make the report')", to))
