"""Pictures of the month for the guide, the README and the page's help: invented clients, taken in Chromium.

Run in the checkout, with Chromium and playwright there: ``python docs/make_pictures.py [DEMO]``, where DEMO is a folder
that ``sibilant demo`` made; without it one is made. Invented data – not a person.
"""

from __future__ import annotations

import datetime as dt
import io
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

from PIL import Image

from sibilant import web
from sibilant.clinic import clients, goals, practise, visits
from sibilant.clinic.caseload import CaseloadHandle
from sibilant.clinic.report import Ticked, report_bytes

ROOT = Path(__file__).parents[1]
GUIDE, HELP = ROOT / "docs" / "pictures", ROOT / "sibilant" / "web" / "static" / "month"
CLIENT = "C-7QXK"
SIZE = (1280, 800)
SHOWN = (640, 400)
COLOURS = 96


def small(content: bytes, to: Path, size: tuple[int, int] = SHOWN) -> None:
    """Keep a picture small: half its size, few colours."""
    image = Image.open(io.BytesIO(content)).convert("RGB")
    image.thumbnail(size, Image.Resampling.LANCZOS)
    image.quantize(COLOURS, kmeans=2, dither=Image.Dither.NONE).save(to, optimize=True)


def prepared(folder: Path) -> CaseloadHandle:
    """The demo's caseload, with goals, visits and practice words of one invented client."""
    if len(sys.argv) > 1:
        shutil.copytree(sys.argv[1], folder)
    else:
        made = [sys.executable, "-m", "sibilant_cli", "demo", "--to", str(folder)]
        subprocess.run(made, check=True, capture_output=True)
    caseload = CaseloadHandle(folder / "caseload")
    fields = {"level": "word", "cue": "spontaneous", **goals.read_criterion("80% x2 n20")}
    goals.add_goal(caseload, CLIENT, "says /s/ in single words without help", fields)
    for on in (dt.date(2026, 5, 26), dt.date(2026, 6, 25), dt.date(2026, 7, 25)):
        visits.add_visit(caseload, CLIENT, on=on, minutes=45)
    request = practise.SheetRequest("word", "pool-s-initial", "own words", True)
    words = [str(item["word"]) for item in practise.run_items(caseload, CLIENT, request)[:8]]
    clients.treat_words(caseload, CLIENT, tuple(words))
    return caseload


def taken(page: Any, base: str, client: str) -> dict[str, bytes]:
    """Each place of the month, as it is seen."""

    def seen(path: str, then: Callable[[], None] | None = None) -> bytes:
        page.goto(f"{base}/{path}{'&' if '?' in path else '?'}client={client}")
        page.wait_for_load_state("networkidle")
        if then is not None:
            then()
        return bytes(page.screenshot())

    def judging() -> None:
        page.fill("#rater", "R2")
        page.click("#begin button")
        page.wait_for_selector("#listening:not([hidden])")

    def reviewing() -> None:
        page.click("#tokens button >> nth=0")
        page.wait_for_selector("#one:not([hidden])")
        page.wait_for_function("() => document.querySelector('#onset').getAttribute('aria-valuenow')")
        page.wait_for_timeout(1500)

    return {
        "clients": seen(""), "capture": seen("capture"), "judge": seen("judge?session=9", judging),
        "review": seen("review?session=9", reviewing), "goals": seen("goals"), "practise": seen("practise"),
        "progress": seen("progress"), "listen": seen("listen"),
    }  # fmt: skip


def first_page(pdf: bytes, folder: Path) -> bytes:
    """The first page of a report as a picture."""
    (folder / "report.pdf").write_bytes(pdf)
    subprocess.run(["pdftoppm", "-r", "80", "-png", "-singlefile", "report.pdf", "report"], cwd=folder, check=True)
    return (folder / "report.png").read_bytes()


def main() -> None:
    """Take all pictures."""
    from playwright.sync_api import sync_playwright

    for folder in (GUIDE, HELP):
        folder.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as made, sync_playwright() as playing:
        caseload = prepared(Path(made) / "demo")
        running = web.start(caseload)
        browser = playing.chromium.launch(executable_path=shutil.which("chromium"), chromium_sandbox=False)
        page = browser.new_page(viewport={"width": SIZE[0], "height": SIZE[1]})
        page.goto(running.address)
        found = taken(page, f"http://127.0.0.1:{running.port}{running.root}", CLIENT)
        browser.close()
        running.stop()
        for name, content in found.items():
            small(content, HELP / f"{name}.png")
        for kind in ("family", "monthly"):
            sheet = first_page(report_bytes(caseload, CLIENT, kind, "pdf", ticked=Ticked()), Path(made))
            small(sheet, GUIDE / f"report-{kind}.png", (460, 650))
        shutil.copyfile(GUIDE / "report-family.png", HELP / "report.png")
    for path in sorted([*HELP.iterdir(), *GUIDE.iterdir()]):
        print(f"{path.name} {path.stat().st_size // 1024} kB")


if __name__ == "__main__":
    main()
