"""A monthly report of a kept client in under 3 s whole process, a chart in under 1.5 s (issue: charts and reports).

Processor time is asserted, and the time on the clock is printed beside it: on a busy machine the clock measures others.
"""

from __future__ import annotations

import datetime as dt
import importlib.util
import resource
import subprocess
import sys
import time
from pathlib import Path
from types import ModuleType

import pytest

from sibilant import store
from sibilant.terms.clinic import Client

HERE = Path(__file__).parent
CHART = """
import importlib.util, sys
spec = importlib.util.spec_from_file_location("charts_invented_case", sys.argv[1])
module = importlib.util.module_from_spec(spec); sys.modules[spec.name] = module; spec.loader.exec_module(module)
from sibilant.methods import HOUSE_15K
view = module.case(1)
from sibilant import charts
open(sys.argv[2], "wb").write(charts.render(charts.months_chart(view, method=HOUSE_15K), "pdf"))
"""


def load(path: Path, name: str) -> ModuleType:
    spec = importlib.util.spec_from_file_location(name, path)
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[name] = module
    spec.loader.exec_module(module)
    return module


def spent(command: list[str]) -> tuple[float, float]:
    """Processor seconds and clock seconds of a whole process."""
    before, start = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
    subprocess.run(command, check=True, capture_output=True)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    processor = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    return processor, time.perf_counter() - start


@pytest.fixture(scope="module")
def kept_client(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A caseload with one invented client of nine judged probes of twenty words."""
    material = load(HERE.parent / "progress" / "material.py", "benchmark_material")
    folder = tmp_path_factory.mktemp("clinic") / "caseload"
    case = material.case([6300, 6420, 6350, 6400, 6450, 6300, 6900, 7150, 7300])
    with store.open_caseload(folder, who="R1", clock=lambda: dt.datetime(2026, 8, 1, tzinfo=dt.UTC)) as one:
        store.add_client(one, Client("C-7QXK", 80, material.DAY, direction="higher", invented=True))
        for session in case.sessions:
            tokens = material.new_sounds(case.tokens_of(session.number))
            prompts = tuple(material.prompt_of(place) for place in range(20))
            recording = store.NewRecording(f"{session.number:064d}", 44100, 30.0, {})
            store.keep_session(one, store.NewSession(session, prompts, (recording,), tokens))
            judged = [judgement for kept in case.tokens_of(session.number) for judgement in kept.judgements]
            store.add_judgements(one, "C-7QXK", session.number, judged)
    return folder


@pytest.mark.benchmark
def test_monthly_report_whole_process(kept_client: Path, tmp_path: Path) -> None:
    to = tmp_path / "monthly.pdf"
    command = [sys.executable, "-m", "sibilant_cli", "report", "C-7QXK", "--caseload", str(kept_client)]
    processor_s, clock_s = min(spent([*command, "--kind", "monthly", "--to", str(to)]) for _ in range(3))
    print(f"monthly report, whole process: {processor_s:.2f} s processor, {clock_s:.2f} s clock")
    assert to.read_bytes().startswith(b"%PDF")
    assert processor_s < 3.0


@pytest.mark.benchmark
def test_chart_whole_process(tmp_path: Path) -> None:
    to = tmp_path / "months.pdf"
    command = [sys.executable, "-c", CHART, str(HERE.parent / "charts" / "invented_case.py"), str(to)]
    processor_s, clock_s = min(spent(command) for _ in range(3))
    print(f"months chart, whole process: {processor_s:.2f} s processor, {clock_s:.2f} s clock")
    assert to.read_bytes().startswith(b"%PDF")
    assert processor_s < 1.5
