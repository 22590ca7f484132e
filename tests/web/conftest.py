"""A page that is really served, and a real browser whose microphone hears invented speech. Invented data."""

from __future__ import annotations

import datetime as dt
import http.client
import importlib.util
import json
import shutil
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
import pytest

pytest.importorskip("starlette", reason="the page's optional part is not installed")
pytest.importorskip("uvicorn", reason="the page's optional part is not installed")

from sibilant import audio, lexicon, synthetic, web
from sibilant.clinic import clients
from sibilant.clinic.caseload import CaseloadHandle
from sibilant.terms.clinic import Consent, Device
from sibilant.web.handles import handle_of

RATE = 44_100
CLIENT = "C-7QXK"
CHROMIUM = shutil.which("chromium")
QUIET = [
    "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking", "--disable-sync",
    "--disable-component-update", "--use-fake-device-for-media-stream", "--use-fake-ui-for-media-stream",
    "--autoplay-policy=no-user-gesture-required",
]  # fmt: skip


@dataclass
class Served:
    """A page that runs, with its caseload, and plain requests to it."""

    running: web.Running
    folder: Path
    headers: dict[str, str] = field(default_factory=dict)

    @property
    def host(self) -> str:
        return f"127.0.0.1:{self.running.port}"

    @property
    def origin(self) -> str:
        return f"http://{self.host}"

    @property
    def handle(self) -> str:
        """What stands for the invented client in addresses."""
        return handle_of(self.running.token, CLIENT)

    @property
    def base(self) -> str:
        return f"{self.origin}{self.running.root}"

    def asked(
        self, method: str, path: str, body: bytes | None = None, *, bare: bool = False, **changed: str | None
    ) -> tuple[int, dict[str, str], bytes]:
        """One request as the page's own browser would send it, but for what is changed (None: left out)."""
        own = {} if bare else {"Cookie": f"sibilant={self.running.token}"}
        whole = path if path.startswith((self.running.root, "/?key=", "/open", "/proof")) else self.running.root + path
        headers = {"Host": self.host, **own}
        if method == "POST":
            headers |= {"Origin": self.origin, "Content-Length": str(len(body or b""))}
        for name, value in changed.items():
            header = name.replace("_", "-").title()
            headers.pop(header, None)
            if value is not None:
                headers[header] = value
        connection = http.client.HTTPConnection("127.0.0.1", self.running.port, timeout=60)
        try:
            connection.putrequest(method, whole, skip_host=True, skip_accept_encoding=True)
            for name, value in headers.items():
                connection.putheader(name, value)
            connection.endheaders(body)
            answer = connection.getresponse()
            found = {name.lower(): value for name, value in answer.getheaders()}
            return answer.status, found, answer.read()
        finally:
            connection.close()

    def told(self, path: str, given: object) -> tuple[int, Any]:
        """POST JSON and return the status and the JSON answer."""
        status, _, body = self.asked("POST", path, json.dumps(given).encode())
        return status, json.loads(body)

    def sent(self, path: str, samples: np.ndarray) -> tuple[int, Any]:
        """POST float32 samples and return the status and the JSON answer."""
        status, _, body = self.asked("POST", path, np.asarray(samples, "<f4").tobytes())
        return status, json.loads(body)


def add_invented(folder: Path) -> None:
    """One invented client with consent, and a microphone."""
    consent = Consent(dt.date(2026, 1, 12), "parent (invented)")
    clients.add_client(CaseloadHandle(folder), "7y4m", code=CLIENT, fields={"invented": True, "consent": consent})
    clients.add_device(CaseloadHandle(folder), Device("headset", "microphone", "Room 4"))


@pytest.fixture(scope="session")
def caseload(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A caseload with one invented client, to be copied."""
    folder = tmp_path_factory.mktemp("caseload") / "case"
    add_invented(folder)
    return folder


def serve_copy(place: Path, caseload: Path) -> Iterator[Served]:
    """Serve a copy of a caseload, and stop."""
    place.mkdir(exist_ok=True)
    shutil.copytree(caseload, place / "case")
    running = web.start(CaseloadHandle(place / "case"))
    yield Served(running, place / "case")
    running.stop()


@pytest.fixture(scope="session")
def serving() -> Callable[[Path, Path], Iterator[Served]]:
    """For a page that serves several tests."""
    return serve_copy


@pytest.fixture
def served(tmp_path: Path, caseload: Path) -> Iterator[Served]:
    """A page over a caseload with one invented client."""
    yield from serve_copy(tmp_path, caseload)


@pytest.fixture(scope="session")
def spoken() -> Callable[..., synthetic.Spoken]:
    """Say words as an invented child, with pauses between and a quiet lead."""

    def say(words: str, seed: int = 3, *, lead_s: float = 0.5, pause_s: tuple[float, float] = (0.9, 1.0)) -> Any:
        prompts = [lexicon.expect(word) for word in words.split()]
        plan = synthetic.ProbePlan(lead_s=lead_s, pause_s=pause_s, snr_db=35, sampling_rate_hz=RATE)
        return synthetic.probe(prompts, synthetic.child_speaker(3), seed, plan=plan)

    return say


@pytest.fixture(scope="session")
def microphone_file(spoken: Callable[..., Any], tmp_path_factory: pytest.TempPathFactory) -> Callable[..., Any]:
    """Write words as a sound file for the browser's microphone; return its path and 16-bit samples."""

    def written(words: str, **how: Any) -> tuple[Path, np.ndarray, Any]:
        said = spoken(words, **how)
        rng = np.random.default_rng(11)
        tail = rng.normal(0, np.std(said.samples[: RATE // 4]), 40 * RATE)
        whole = np.concatenate([0.6 / np.abs(said.samples).max() * said.samples, tail]).astype(np.float32)
        path = tmp_path_factory.mktemp("microphone") / "in.wav"
        audio.write_wav(path, whole, RATE, coding="pcm16")
        return path, np.rint(whole * 32768).astype(np.int64), said

    return written


@pytest.fixture(scope="module")
def play() -> Iterator[Any]:
    """Playwright, for the tests of one file."""
    if CHROMIUM is None:
        pytest.skip("chromium is not installed")
    playwright = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    with playwright.sync_playwright() as playing:
        yield playing


@pytest.fixture
def browse(play: Any) -> Iterator[Callable[..., Any]]:
    """Open a page in a real Chromium whose microphone plays a file; every address asked for is noted."""
    browsers = []

    def opened(sound: Path | None = None, *, width: int = 1280, height: int = 800, touch: bool = False) -> Any:
        hears = [f"--use-file-for-fake-audio-capture={sound}%noloop"] if sound else []
        browser = play.chromium.launch(
            executable_path=CHROMIUM, headless=True, chromium_sandbox=False, args=QUIET + hears
        )
        browsers.append(browser)
        page = browser.new_page(viewport={"width": width, "height": height}, has_touch=touch)
        page.asked, page.wrong = [], []
        page.on("request", lambda request: page.asked.append(request.url))
        page.on("pageerror", lambda error: page.wrong.append(str(error)))
        return page

    yield opened
    for browser in browsers:
        browser.close()


@pytest.fixture
def serve_handle() -> Iterator[Callable[[CaseloadHandle], web.Running]]:
    """Serve a caseload by its handle; all are stopped at the end."""
    running: list[web.Running] = []

    def started(handle: CaseloadHandle) -> web.Running:
        running.append(web.start(handle))
        return running[-1]

    yield started
    for one in running:
        one.stop()


@pytest.fixture
def asked_of() -> Callable[[web.Running, str], tuple[int, str]]:
    """GET a place as the page's own browser would, and return status and body."""

    def asked(running: web.Running, path: str) -> tuple[int, str]:
        status, _, body = Served(running, Path()).asked("GET", path)
        return status, body.decode()

    return asked


@pytest.fixture(scope="session")
def walk() -> tuple[ModuleType, ModuleType]:
    """The hands, and the months that they go through (tests are imported one by one, not as a package)."""
    found = []
    for name in ("hands", "month"):
        key = f"web_{name}"
        if key not in sys.modules:
            spec = importlib.util.spec_from_file_location(key, Path(__file__).parent / f"{name}.py")
            assert spec is not None and spec.loader is not None
            sys.modules[key] = importlib.util.module_from_spec(spec)
            spec.loader.exec_module(sys.modules[key])
        found.append(sys.modules[key])
    return found[0], found[1]
