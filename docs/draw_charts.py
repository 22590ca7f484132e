"""Pictures of the path from sessions to a report's charts: python docs/draw_charts.py [DEMO]

DEMO is a folder that ``sibilant demo`` made; without it one is made. Only invented clients are drawn, at 85 mm, as one
column of a report holds them. Invented data – not a person.
"""

from __future__ import annotations

import io
import subprocess
import sys
import tempfile
from pathlib import Path

from PIL import Image

from sibilant import charts
from sibilant.clinic import draw
from sibilant.clinic.caseload import CaseloadHandle
from sibilant.clinic.report import Ticked, report_bytes
from sibilant.clinic.summarise import case_view

PICTURES = Path(__file__).parent / "pictures"
CLIENT = "C-7QXK"
SHOWN = ("months", "spectra", "spread", "contexts", "separation", "heard")
WIDTH_MM = 85.0
DPI = 150
COLOURS = 48
STRIPS_PX = 800


def small(content: bytes, to: Path, box: tuple[int, int, int, int] | None = None, most_px: int | None = None) -> None:
    """Keep a picture small: few colours, of a part where a box (left, top, right, bottom) is given."""
    image = Image.open(io.BytesIO(content)).convert("RGB")
    image = image.crop(box) if box is not None else image
    if most_px is not None:
        image.thumbnail((most_px, most_px), Image.Resampling.LANCZOS)
    image.quantize(COLOURS, kmeans=2, dither=Image.Dither.NONE).save(to, optimize=True)


def page_with_chart(caseload: CaseloadHandle) -> bytes:
    """The page of a quarterly report that holds its first chart, as a picture."""
    with tempfile.TemporaryDirectory() as made:
        path = Path(made) / "report.pdf"
        path.write_bytes(report_bytes(caseload, CLIENT, "quarterly", "pdf", ticked=Ticked()))
        drawn = ["pdftoppm", "-r", "80", "-png", "-f", "1", "-singlefile", path.name, "report"]
        subprocess.run(drawn, cwd=made, check=True)
        return (Path(made) / "report.png").read_bytes()


def draw_from(demo: Path) -> None:
    """Draw all pictures of the page from a demonstration's folder."""
    caseload = CaseloadHandle(demo / "caseload")
    view, case = case_view(caseload, CLIENT)
    for name, drawing in draw.charts_of(view, case, caseload):
        if name in SHOWN:
            small(charts.render(drawing(WIDTH_MM), "png", dpi=DPI), PICTURES / f"chart-{name}.png")
    strips = Image.open(next((demo / "pictures").glob(f"{CLIENT}-*.png")))
    held = io.BytesIO()
    strips.save(held, "png")
    width, height = strips.size
    small(held.getvalue(), PICTURES / "chart-strips.png", (0, 0, width, round(0.32 * height)), STRIPS_PX)
    small(page_with_chart(caseload), PICTURES / "report-quarterly.png", most_px=650)


def main() -> None:
    """Draw all pictures and say how large they are."""
    with tempfile.TemporaryDirectory() as made:
        demo = Path(sys.argv[1]) if len(sys.argv) > 1 else Path(made) / "sibilant-demo"
        if len(sys.argv) == 1:
            making = [sys.executable, "-m", "sibilant_cli", "demo", "--to", str(demo)]
            subprocess.run(making, check=True, capture_output=True)
        draw_from(demo)
    for path in sorted([*PICTURES.glob("chart-*.png"), PICTURES / "report-quarterly.png"]):
        print(f"{path.name} {path.stat().st_size // 1024} kB")


if __name__ == "__main__":
    main()
