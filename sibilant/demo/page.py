"""What the demonstration writes about each invented client, and its first page."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from html import escape
from pathlib import Path

from .. import charts, files, synthetic
from ..clinic import draw, months_chart, practise, report, summarise, worked_out
from ..clinic.caseload import CaseloadHandle
from ..listening import measure, pictures
from ..synthetic.clients import ClientStory
from ..terms.vocabulary import REPORT_KINDS

_STYLE = """
body{background:#FBFAF7;color:#1F2430;font:16px/1.5 system-ui,sans-serif;max-width:60rem;
 margin:2rem auto;padding:0 1rem}
h1{font-size:1.6rem}h2{font-size:1.2rem;border-top:1px solid #D9D6CF;padding-top:1rem}
.mark{border:1px solid #1F2430;padding:.3rem .6rem;display:inline-block;font-weight:600}
small,.quiet{color:#5B6472}ul{padding-left:1.2rem}a{color:#0072B2}pre{white-space:pre-wrap;font-size:.85rem}
img{max-width:100%;border:1px solid #D9D6CF}
"""
_KINDS = {
    ".pdf": "PDF",
    ".html": "page",
    ".docx": "editing copy",
    ".png": "picture",
    ".svg": "picture",
    ".csv": "table",
}


@dataclass(frozen=True, slots=True)
class Made:
    """What one invented client left in the folder: pictures, reports and sheets, and plain lines of progress."""

    code: str
    summary: str
    age: str
    files: tuple[str, ...]
    lines: tuple[str, ...]


def write_up(folder: Path, story: ClientStory) -> tuple[list[str], list[str]]:
    """Write the pictures, charts, reports and sheets of one client; return their names and the lines of progress."""
    caseload, code = CaseloadHandle(folder / "caseload"), story.code
    written = [_strips(folder, code, len(story.sessions))]
    view, case = summarise.case_view(caseload, code)
    chart = folder / "charts" / f"{code}-months.svg"
    months_chart.figure(view, case, chart)
    written.append([chart])
    kinds = tuple(REPORT_KINDS) if code == "C-7QXK" else ("monthly",)
    for kind in kinds:
        ending = ".docx" if kind == "session" else ".html" if kind == "school" else ".pdf"
        path = folder / "reports" / f"{code}-{kind}{ending}"
        report.write_report(kind, view, case, path, ticked=report.Ticked(), caseload=caseload)
        written.append([path])
    if code == "C-7QXK":
        sheet = folder / "reports" / "practice-set-of-three.pdf"
        practise.write_sheet(practise.SheetRequest("set-of-three", "pool-s-initial"), sheet)
        drawn = draw.draw_all(caseload, code, folder / "charts", forms=("svg",), widths_mm=(170.0,))
        written += [[sheet], [path for path in drawn if "170mm" in path.name and "months" not in path.name]]
    names = [path.relative_to(folder).as_posix() for group in written for path in group]
    return names, worked_out.lines(view)


def _strips(folder: Path, code: str, number: int) -> list[Path]:
    """Measure one recording again by itself: its table, and the strips of its first eight sounds."""
    name = f"{code}-{number:02d}"
    recording = folder / "recordings" / f"{name}.wav"
    results = measure.measure(measure.MeasureRequest([recording], words=str(folder / "lists" / f"{code}.csv")))
    table = folder / "tables" / f"{name}.csv"
    measure.write(results, table)
    heard = results[0]
    if heard.analysis is None or heard.recording is None:
        return [table]
    pages = pictures.strip_pages(
        heard.recording, heard.analysis.sounds, heard.analysis.measurements, name=name, invented=True, most=8
    )
    picture = folder / "pictures" / f"{name}.png"
    files.write_bytes(picture, charts.render(pages[0], "png", dpi=150))
    return [table, picture]


def index(made: Sequence[Made]) -> str:
    """Return the first page: who the invented clients are, what was found, and what to open."""
    parts = [
        f"<h1>Five invented clients of Room 4</h1><p class=mark>{synthetic.INVENTED}</p>",
        "<p>Every sound, person and judgement here is made up by the program. Open the first client's monthly report,"
        " then the months chart; the rest follows the same pattern. Figures are supporting evidence for a person who"
        " listens; they never stand in place of clinical judgement.</p>",
    ]
    for each in made:
        parts.append(f"<h2>{escape(each.code)} <small>{escape(each.age)}</small></h2><p>{escape(each.summary)}</p>")
        chart = next((name for name in each.files if name.endswith("months.svg")), "")
        if chart:
            parts.append(f'<p><img src="{chart}" alt="Change over the months for {escape(each.code)}"></p>')
        links = "".join(f'<li><a href="{name}">{escape(_title(name))}</a></li>' for name in each.files)
        said = escape("\n".join(each.lines))
        parts.append(f"<ul>{links}</ul><details><summary>Progress in full</summary><pre>{said}</pre></details>")
    head = f'<meta charset="utf-8"><title>Demonstration – {synthetic.INVENTED}</title><style>{_STYLE}</style>'
    return f'<!doctype html><html lang="en"><head>{head}</head><body>{"".join(parts)}</body></html>\n'


def _title(name: str) -> str:
    path = Path(name)
    return f"{path.parent.name}: {path.stem} ({_KINDS.get(path.suffix, path.suffix)})"
