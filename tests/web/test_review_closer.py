"""Edges seen closer, and held without a jump. Invented data."""

from __future__ import annotations

from pathlib import Path

import pytest

from sibilant import audio, web
from sibilant.clinic import judge, probe
from sibilant.clinic.caseload import CaseloadHandle

CLIENT = "C-7QXK"


@pytest.fixture
def heard(served, spoken, tmp_path: Path) -> web.Running:
    """One probe of one word, judged."""
    listed = tmp_path / "list.csv"
    listed.write_text("word\nseal\n", encoding="utf-8")
    said = spoken("seal", seed=1)
    audio.write_wav(tmp_path / "1.wav", said.samples, said.sampling_rate_hz)
    caseload = CaseloadHandle(served.folder)
    probe.keep_probe(caseload, CLIENT, probe.ProbeRequest([tmp_path / "1.wav"], str(listed)))
    queue = judge.queue(caseload, CLIENT, 1, rater="R1")
    for one in queue.left:
        judge.record(caseload, queue, one.key, "correct")
    return served


def test_the_sound_is_seen_closer_and_an_edge_never_jumps(browse, heard) -> None:
    page = browse(touch=True, width=360, height=740)
    page.goto(heard.running.address)
    page.goto(f"{heard.base}/review?client={CLIENT}&session=1")
    page.tap("#tokens button")
    page.wait_for_function("() => document.querySelector('#onset').getAttribute('aria-valuenow')")
    page.wait_for_function("() => document.querySelector('#wave').width > 0 && !document.querySelector('#wave').hidden")
    wide = page.evaluate("document.querySelector('#canvas').clientWidth")
    assert page.is_disabled("#farther")
    for times in (2, 4, 8):
        page.tap("#closer")
        assert page.evaluate("document.querySelector('#canvas').clientWidth") == pytest.approx(times * wide, abs=2)
    assert page.is_disabled("#closer") and page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    box = page.locator("#onset").bounding_box()
    frame = page.locator("#scroller").bounding_box()
    assert box["width"] >= 44 and frame["x"] <= box["x"] + box["width"] / 2 <= frame["x"] + frame["width"]
    before = int(page.get_attribute("#onset", "aria-valuenow"))
    touch = page.context.new_cdp_session(page)
    y = box["y"] + 30
    for kind, x in (("touchStart", box["x"] + 6), ("touchMove", box["x"] + 7), ("touchEnd", 0)):
        points = [] if kind == "touchEnd" else [{"x": x, "y": y}]
        touch.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})
    assert abs(int(page.get_attribute("#onset", "aria-valuenow")) - before) <= 2, "held beside its line it stays there"
    assert page.wrong == []
