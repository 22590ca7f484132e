"""One invented client from adding to discharge on the page alone, by keyboard and again by touch. Invented data.

The `long` test goes the whole way: three baselines (two into the microphone, one a phone's file), five probes, a wrong
list, a wrong client, a wrong date, the same file twice, a judgement changed, an edge moved, a session removed and
brought back, a practice run, a sheet, four reports. Presses and the time spent waiting for the program are counted
(`docs/evidence/page_month.csv`). The default test goes through a few of the steps by keys with a list of five words.
"""

from __future__ import annotations

import csv
import datetime as dt
import subprocess
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from types import ModuleType
from typing import Any

import pikepdf
import pytest

from sibilant import store, web
from sibilant.clinic import goals, runs, sessions
from sibilant.clinic.caseload import CaseloadHandle

FIRST = dt.date(2026, 1, 12)
WAITED_A_PROBE_S = 10.0
SPEAKS_AFTER_S = (
    2.0  # between words: the invented child reads what is shown, and a busy machine takes its time to show it
)
EVIDENCE = Path(__file__).parents[2] / "docs" / "evidence" / "page_month.csv"
REPORTS = ("monthly", "family", "school", "discharge")
PROBES = ((42, 8), (72, 10), (102, 13), (133, 16), (163, 18))  # day of the month's probe, words said with a clear /s/


@pytest.fixture
def opened(tmp_path: Path, walk: tuple[ModuleType, ModuleType], serve_handle, browse) -> Iterator[Callable[..., Any]]:
    """A page over an empty caseload with a clock of its own, opened anew on each day of the story."""
    _, month = walk
    clock = month.Clock(FIRST)
    handle = CaseloadHandle(tmp_path / "case", clock=clock)
    with handle.opened(create=True):
        pass
    running: web.Running = serve_handle(handle)
    pages: list[Any] = []

    def on(day: dt.date, sound: Path | None = None, **how: Any) -> Any:
        clock.day = day
        if pages:
            pages.pop().context.browser.close()
        page = browse(sound, **how)
        page.goto(running.address)
        pages.append(page)
        return page

    on.handle = handle  # type: ignore[attr-defined]
    yield on


def kept(handle: CaseloadHandle, code: str) -> list[tuple[str, str, str]]:
    return [(row["on"], row["list"], row["device"]) for row in sessions.list_sessions(handle, code)]


def test_some_steps_of_the_month_by_keys(opened, walk, tmp_path: Path) -> None:
    """A client, a phone's file under a wrong list, the ear, a mark changed, a session brought back, a run, a report."""
    hands_of, month = walk
    page = opened(FIRST)
    hands = hands_of.Keys()
    hands.sit_at(page)
    way = month.Month(hands, "three-a", "sh-a")
    with hands.at("client"):
        code = way.add_client("7y4m", "2026-02-20")
        way.add_device()
    said = month.spoken("three-a", FIRST, 2, 5)
    with hands.at("probe"):
        way.go(code)
        way.dropped(said.as_m4a(tmp_path / "memo.m4a"))
        hands.pick("#words", "sh-a")
        hands.see("#keep-it:not([disabled])")
        hands.press("#keep-it")
        assert "is it the list that was spoken" in hands.see("#question-words")
        hands.press("#back-to-it")
        hands.pick("#words", "three-a")
        hands.see("#keep-it:not([disabled])")
        way.keep_it()
        way.judge(said.kinds)
    assert kept(opened.handle, code) == [(FIRST.isoformat(), "three-a", "headset")]
    with hands.at("put right"):
        way.go(code)
        way.to_session(1)
        wrong = next(word for word, kind in said.kinds.items() if kind == "frontal")
        assert "before distorted" in way.change_mark(wrong)
        way.go(code)
        way.to_session(1)
        way.remove_and_bring_back(1)
    with hands.at("practice and telling"):
        way.go(code)
        assert "spontaneous: 2 of 3 correct" in way.practise("word", "pool-sn", ("c", "d", "c"))
        hands.press("a:has-text('Practise on')")
        assert way.sheet("set-of-three", "pool-sn", tmp_path / "sheet").read_bytes().startswith(b"%PDF")
        way.to_reports()
        with pikepdf.open(way.report("family", tmp_path / "family")) as family:
            assert len(family.pages) == 1
    with store.open_caseload(opened.handle.folder) as one:
        marks = [token.judgements[-1].heard for token in store.read_case(one, code).tokens if token.judgements]
    assert sorted(marks) == ["correct"] * 3 + ["distorted"] * 2
    assert hands.step.waited_s < 60 and page.wrong == []


@dataclass
class Story:
    """The client's months: each probe as it was said, and where files lie."""

    month: ModuleType
    folder: Path
    words: str = "core-a"

    def said(self, days: int, n_clear: int, seed: int, **how: float) -> Any:
        return self.month.spoken(self.words, FIRST + dt.timedelta(days=days), n_clear, seed, **how)


def begun(opened: Any, way: Any, on: dt.date, sound: Path | None, how: dict[str, Any]) -> None:
    """Another day: the page opened anew, by the same hands."""
    way.hands.sit_at(opened(on, sound, **how))


def baselines(opened: Any, way: Any, story: Story, how: dict[str, Any]) -> tuple[str, str]:
    """Two clients added, three baselines: two into the microphone, one a phone's file under a wrong list at first."""
    hands = way.hands
    begun(opened, way, FIRST, None, how)
    with hands.at("a client, a device, the listener"):
        other = way.add_client("8y2m")
        code = way.add_client("7y4m", "2026-02-20")
        way.add_device()
    for n, days in enumerate((0, 14), start=1):
        said = story.said(days, 2 + n, n, pause_s=SPEAKS_AFTER_S, lead_s=3 * SPEAKS_AFTER_S)
        begun(opened, way, said.on, said.as_wav(story.folder / "microphone.wav", tail_s=60), how)
        with hands.at(f"probe {n}") as step:
            way.go(code)
            way.capture(said)
            step.spoken_s += said.seconds
            way.judge(said.kinds)
    said = story.said(28, 3, 3)
    begun(opened, way, said.on, None, how)
    with hands.at("probe 3"):
        way.go(code)
        way.dropped(said.as_m4a(story.folder / "memo.m4a"))
        with hands.at("a wrong list"):
            hands.pick("#words", "core-b")
            hands.see("#keep-it:not([disabled])")
            hands.press("#keep-it")
            assert "is it the list that was spoken" in hands.see("#question-words")
            hands.press("#back-to-it")
            hands.pick("#words", story.words)
            hands.see("#keep-it:not([disabled])")
        way.keep_it()
        way.judge(said.kinds)
    return code, other


def probes(opened: Any, way: Any, story: Story, code: str, other: str, how: dict[str, Any]) -> None:
    """Five probes as files, and all that goes wrong meanwhile."""
    hands = way.hands
    for n, (days, n_clear) in enumerate(PROBES, start=4):
        said = story.said(days, n_clear, n)
        file = said.as_wav(story.folder / f"{n}.wav")
        begun(opened, way, said.on, None, how)
        with hands.at(f"probe {n}"):
            way.go(other if n == 4 else code)
            way.dropped(file)
            if n == 5:
                with hands.at("a wrong date"):
                    hands.day("#on", (said.on - dt.timedelta(days=9)).isoformat())
            way.keep_it()
            way.judge(said.kinds)
        put_right(way, story, (code, other), n, said, file)
        if n == 4:
            therapy(opened, way, story, code, how)


def put_right(way: Any, story: Story, codes: tuple[str, str], n: int, said: Any, file: Path) -> None:
    """What went wrong at a probe, or is changed after it."""
    hands, (code, other) = way.hands, codes
    if n == 4:
        with hands.at("a wrong client"):
            way.go(other)
            way.to_session(1)
            way.move_to(code)
    elif n == 5:
        with hands.at("a wrong date"):
            way.go(code)
            way.to_session(n)
            way.change_day(said.on.isoformat())
    elif n == 6:
        with hands.at("the same file twice"):
            way.go(code)
            hands.press("main a:has-text('Bring in a recording')")
            hands.see("#setup")
            hands.choose_file("#files", file)
            assert "kept already" in hands.see("#looked li:has-text('kept already')")
        with hands.at("a judgement changed"):
            way.go(code)
            way.to_session(n)
            wrong = next(word for word, kind in said.kinds.items() if kind == "frontal")
            assert "before distorted" in way.change_mark(wrong)
        with hands.at("an edge moved"):
            way.go(code)
            way.to_session(n)
            assert "ms later" in way.move_edge(12)
    elif n == 7:
        with hands.at("a session removed and brought back"):
            way.go(code)
            way.to_session(n)
            way.remove_and_bring_back(n)


def therapy(opened: Any, way: Any, story: Story, code: str, how: dict[str, Any]) -> None:
    """A goal, a visit, a run of practice and a sheet on a day of therapy."""
    hands = way.hands
    begun(opened, way, FIRST + dt.timedelta(days=50), None, how)
    with hands.at("a goal and a visit"):
        way.go(code)
        way.set_goal("says /s/ in single words")
        way.keep_visit()
    with hands.at("a practice run"):
        way.go(code)
        told = way.practise("word", "pool-sn", ("c", "d", "c", "c", "d", "c", "c"))
        assert "spontaneous: 5 of 7 correct" in told
    with hands.at("a sheet"):
        hands.press("a:has-text('Practise on')")
        assert way.sheet("set-of-three", "pool-sn", story.folder / "sheet.pdf").read_bytes().startswith(b"%PDF")


def telling(way: Any, story: Story, code: str) -> None:
    """Progress, the goal reached, four reports."""
    hands = way.hands
    with hands.at("progress"):
        way.go(code)
        assert "of 20" in way.see_progress()
    with hands.at("the goal reached"):
        way.go(code)
        way.reach_goal()
    with hands.at("four reports"):
        way.to_reports()
        for kind in REPORTS:
            with pikepdf.open(way.report(kind, story.folder / f"{kind}.pdf")) as made:
                assert len(made.pages) >= 1


@pytest.mark.long
@pytest.mark.parametrize("by", ["Keys", "Fingers"])
def test_the_whole_month(opened: Any, walk: tuple[ModuleType, ModuleType], tmp_path: Path, by: str) -> None:
    """Eight probes of twenty words, each with under ten seconds of waiting for the program, looking included."""
    hands_of, month = walk
    story = Story(month, tmp_path)
    how = {"touch": True, "width": 820, "height": 1180} if by == "Fingers" else {}
    way = month.Month(getattr(hands_of, by)(), story.words, "core-b")
    code, other = baselines(opened, way, story, how)
    probes(opened, way, story, code, other, how)
    begun(opened, way, FIRST + dt.timedelta(days=170), None, how)
    telling(way, story, code)
    write_rows(by, way)
    as_it_was_kept(opened.handle, code, other)
    waited = {step.name: step.waited_s for step in way.hands.steps if step.name.startswith("probe ")}
    assert len(waited) == 8 and max(waited.values()) < WAITED_A_PROBE_S, waited
    assert way.hands.page.wrong == []


def as_it_was_kept(handle: CaseloadHandle, code: str, other: str) -> None:
    """The caseload holds what the story says: eight probes on their days, all judged, and what was changed."""
    days = [(FIRST + dt.timedelta(days=n)).isoformat() for n in (0, 14, 28, *(day for day, _ in PROBES))]
    assert kept(handle, code) == [(day, "core-a", "headset") for day in days] and kept(handle, other) == []
    with store.open_caseload(handle.folder) as one:
        case = store.read_case(one, code)
    heard = [token for token in case.tokens if token.judgements]
    assert len(heard) >= 8 * 20 - 12 and sum(len(token.judgements) > 1 for token in heard) == 1
    assert sum(token.sound.edges is not None and token.sound.edges.boundary == "reviewed" for token in heard) == 1
    assert [run["said"] for run in runs.list_runs(handle, code)] == [7]
    assert [goal["ended"].split()[0] for goal in goals.list_goals(handle, code)] == ["met"]


def write_rows(by: str, way: Any) -> None:
    """Each step's presses and waits, beside those of the other hands."""
    commit = subprocess.run(["git", "rev-parse", "--short", "HEAD"], capture_output=True, text=True, check=False)
    name = {"Keys": "keyboard", "Fingers": "touch"}[by]
    old = list(csv.reader(EVIDENCE.open(encoding="utf-8")))[1:] if EVIDENCE.exists() else []
    steps = way.hands.steps
    rows = [[name, s.name, s.presses, round(s.waited_s, 1), round(s.spoken_s, 1), commit.stdout.strip()] for s in steps]
    total = [name, "all", *(round(sum(row[n] for row in rows), 1) for n in (2, 3, 4)), commit.stdout.strip()]
    with EVIDENCE.open("w", newline="", encoding="utf-8") as stream:
        writer = csv.writer(stream, lineterminator="\n")
        writer.writerow(("hands", "step", "presses", "waited_s", "spoken_s", "commit"))
        writer.writerows(sorted([row for row in old if row[0] != name] + rows + [total], key=lambda row: row[0]))
