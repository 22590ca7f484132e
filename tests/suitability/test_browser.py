"""Recordings really made in a browser, with its voice processing on and off, are told apart (long: minutes)."""

from __future__ import annotations

import csv
import http.server
import shutil
import subprocess
import threading
import urllib.parse
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from sibilant.audio import recording_from_samples, write_wav
from sibilant.boundaries import find_all
from sibilant.lexicon import builtin_list
from sibilant.suitability import assess
from sibilant.synthetic import ProbePlan, child_speaker, man, probe, woman

ROOT = Path(__file__).parents[2]
PAGE = ROOT.parent / "shared" / "capture_proof" / "web"
CHROMIUM = shutil.which("chromium")
EVIDENCE = ROOT / "docs" / "evidence" / "suitability_browser.csv"
MODES = {
    "off": (44_100, "match=1"),
    "all on": (48_000, "dsp=on&match=1"),
    "noise suppression": (48_000, "match=1&only=noiseSuppression"),
    "echo cancelling": (48_000, "match=1&only=echoCancellation"),
    "gain control": (48_000, "match=1&only=autoGainControl"),
}
SEEDS = (0, 1, 2)

pytestmark = [
    pytest.mark.long,
    pytest.mark.skipif(not PAGE.exists(), reason="the shared capture page is not beside the checkout"),
    pytest.mark.skipif(CHROMIUM is None, reason="chromium is not installed"),
]


@pytest.fixture
def site() -> Iterator[tuple[str, dict[str, bytes]]]:
    """The capture page on a free local port, and what it posts."""
    posted: dict[str, bytes] = {}

    class Handler(http.server.SimpleHTTPRequestHandler):
        def __init__(self, *args: object, **kwargs: object) -> None:
            super().__init__(*args, directory=str(PAGE), **kwargs)  # type: ignore[arg-type]

        def do_POST(self) -> None:
            name = urllib.parse.parse_qs(urllib.parse.urlparse(self.path).query)["name"][0]
            posted[name] = self.rfile.read(int(self.headers["Content-Length"]))
            self.send_response(200)
            self.end_headers()

        def log_message(self, *args: object) -> None:
            pass

    server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    yield f"http://127.0.0.1:{server.server_port}/", posted
    server.shutdown()
    server.server_close()


def microphone(path: Path, seed: int, rate: int) -> float:
    """Write eight invented words as the browser's microphone, and return their length in seconds."""
    speaker = (man, woman, child_speaker)[seed % 3](seed)
    prompts = builtin_list("core-a")[(seed * 5) % 12 :][:8]
    plan = ProbePlan(snr_db=(40, 30, 25)[seed % 3], room_t60_s=0.25, lead_s=2.0, sampling_rate_hz=rate)
    spoken = probe(prompts, speaker, seed, plan=plan)
    write_wav(path, (0.6 / np.abs(spoken.samples).max() * spoken.samples).astype(np.float32), rate, coding="pcm16")
    return spoken.duration_s


def test_processing_on_and_off_are_told_apart(tmp_path: Path, site: tuple[str, dict[str, bytes]]) -> None:
    playwright = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    address, posted = site
    verdicts: dict[str, list[str]] = {mode: [] for mode in MODES}
    with playwright.sync_playwright() as play:
        for seed in SEEDS:
            for mode, (rate, query) in MODES.items():
                length = microphone(tmp_path / "in.wav", seed, rate)
                browser = play.chromium.launch(
                    executable_path=CHROMIUM,
                    headless=True,
                    chromium_sandbox=False,
                    args=[
                        "--disable-gpu", "--no-first-run", "--disable-background-networking", "--disable-sync",
                        "--disable-component-update", "--use-fake-device-for-media-stream",
                        "--use-fake-ui-for-media-stream",
                        f"--use-file-for-fake-audio-capture={tmp_path / 'in.wav'}%noloop",
                    ],
                )  # fmt: skip
                page = browser.new_page()
                page.goto(f"{address}?name=take&seconds={length - 0.3:.1f}&{query}")
                page.click("#go")
                page.wait_for_function("window.result !== undefined", timeout=90_000)
                arrived = page.evaluate("window.result")
                browser.close()
                recording = recording_from_samples(np.frombuffer(posted["take.f32"], "<f4"), arrived["ctxRate"])
                verdicts[mode].append(assess(recording, find_all(recording)).verdict.worst)
    _write(verdicts)
    assert verdicts["off"] == ["usable"] * len(SEEDS), verdicts
    assert all("usable" not in found for mode, found in verdicts.items() if mode != "off"), verdicts


def _write(verdicts: dict[str, list[str]]) -> None:
    done = subprocess.run(
        ["git", "rev-parse", "--short", "HEAD"], cwd=ROOT, capture_output=True, text=True, check=False
    )
    with EVIDENCE.open("w", newline="", encoding="utf-8") as stream:
        writer = csv.writer(stream, lineterminator="\n")
        writer.writerow(("browser_processing", "n", "usable", "with_care", "not_usable", "commit"))
        for mode, found in verdicts.items():
            counts = [found.count(support) for support in ("usable", "with care", "not usable")]
            writer.writerow((mode, len(found), *counts, done.stdout.strip()))
