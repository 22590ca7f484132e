"""What is seen: no grave accessibility issue, no sideways scrolling at 360 pixels or 200 %, marks with their words."""

from __future__ import annotations

import html
import json
import re
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

from sibilant import audio, web
from sibilant.clinic import judge, probe, report
from sibilant.clinic.caseload import CaseloadHandle
from sibilant.terms.document import Picture

PLACES = ("/", "/?client=C-7QXK", "/capture?client=C-7QXK", "/judge?client=C-7QXK", "/review?client=C-7QXK",
          "/progress?client=C-7QXK", "/bring?client=C-7QXK", "/session?client=C-7QXK", "/details?client=C-7QXK",
          "/settings?client=C-7QXK", "/again?client=C-7QXK&session=1", "/agree?client=C-7QXK",
          "/practise?client=C-7QXK", "/reports?client=C-7QXK", "/plan?client=C-7QXK&change=400",
          "/remove?client=C-7QXK&what=session&number=1", "/capture", "/bin", "/nowhere",
          "/goals?client=C-7QXK", "/share?client=C-7QXK", "/ranges?client=C-7QXK", "/look?text=straw&client=C-7QXK",
          "/listen?client=C-7QXK", "/help?client=C-7QXK", "/reports?client=C-7QXK&kind=family",
          "/reports?client=C-7QXK&kind=payer")  # fmt: skip


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("filled")


@pytest.fixture(scope="module")
def filled(folder: Path, spoken, caseload: Path) -> Iterator[web.Running]:
    """A page over a caseload with one judged probe and one unjudged."""
    shutil.copytree(caseload, folder / "case")
    listed = folder / "list.csv"
    listed.write_text("word\nseal\nbus\nfossil\n", encoding="utf-8")
    for n in (1, 2):
        said = spoken("seal bus fossil", seed=n)
        audio.write_wav(folder / f"{n}.wav", said.samples, said.sampling_rate_hz)
        probe.keep_probe(
            CaseloadHandle(folder / "case"), "C-7QXK", probe.ProbeRequest([folder / f"{n}.wav"], str(listed))
        )
        queue = judge.queue(CaseloadHandle(folder / "case"), "C-7QXK", n, rater="R1")
        for one in queue.left if n == 1 else ():
            judge.record(CaseloadHandle(folder / "case"), queue, one.key, "correct")
    running = web.start(CaseloadHandle(folder / "case"))
    yield running
    running.stop()


def steps(page, base: str) -> Iterator[str]:
    """Every place, and what opens within it."""
    for path in PLACES:
        page.goto(base + path)
        page.wait_for_load_state("load")
        page.evaluate("document.querySelectorAll('details').forEach((one) => { one.open = true; })")
        yield path
    page.goto(f"{base}/judge?client=C-7QXK&session=2")
    page.keyboard.press("Tab")
    page.click("#begin button")
    page.wait_for_selector("#listening:not([hidden])")
    page.keyboard.press("d")
    yield "judging"
    page.goto(f"{base}/review?client=C-7QXK&session=1")
    page.wait_for_selector("#tokens button")
    page.click("#tokens button >> nth=0")
    page.wait_for_function("() => document.querySelector('#onset').getAttribute('aria-valuenow')")
    yield "reviewing"
    page.goto(f"{base}/capture?client=C-7QXK")
    page.check("#agreed")
    page.click("#listen")
    page.wait_for_selector("#start:not([disabled])")
    yield "trying"
    page.click("#start")
    page.wait_for_selector("#stage:not([hidden])")
    yield "the stage"
    page.keyboard.press("Escape")
    page.wait_for_selector("#ended:not([hidden])")
    yield "the end"
    page.click("#away")
    page.click("#erase")
    page.wait_for_selector("#setup:not([hidden])")
    page.goto(f"{base}/again?client=C-7QXK&session=1")
    page.click("#words button >> nth=0")
    yield "judging again"
    page.goto(f"{base}/practise?client=C-7QXK")
    page.click("#open-long")
    page.wait_for_selector("#long:not([hidden])")
    yield "a long sound"
    page.keyboard.press("Escape")
    page.select_option("#run-form #words", "pool-ks-final")
    page.click("text=Begin the run")
    page.wait_for_selector("#run:not([hidden])")
    yield "a run"
    page.keyboard.press("c")
    page.keyboard.press("Escape")
    page.wait_for_selector("#over:not([hidden])")
    yield "the run is over"


OUTSIDE = """() => [...document.querySelectorAll('button, a, input, select')]
  .filter((e) => e.offsetParent && !e.closest('.wide, .past, .tokens'))
  .filter((e) => e.getBoundingClientRect().right > innerWidth + 1 || e.getBoundingClientRect().left < -1)
  .map((e) => e.outerHTML.slice(0, 80))"""


def grave(page) -> list[str]:
    """What axe-core calls serious or critical in the place shown."""
    found = page.evaluate("async () => (await axe.run()).violations")
    return [
        f"{one['id']}: {json.dumps([node['target'] for node in one['nodes'][:3]])}"
        for one in found
        if one["impact"] in ("serious", "critical")
    ]


def test_every_place_can_be_used_by_everybody(browse, filled: web.Running, axe: str) -> None:
    """No grave issue by axe-core, light and dark; nothing out at 360 pixels or 200 % (half of 1280); marks shown."""
    page = browse()
    page.goto(filled.address)
    seen = 0
    for place in steps(page, f"http://127.0.0.1:{filled.port}{filled.root}"):
        page.evaluate(axe)
        for scheme in ("dark", "light"):
            page.emulate_media(color_scheme=scheme)
            assert not grave(page), f"{place}, {scheme}: {grave(page)}"
        for width, height in ((360, 740), (640, 400)):
            page.set_viewport_size({"width": width, "height": height})
            assert page.evaluate("document.documentElement.scrollWidth - innerWidth") <= 0, (place, width)
            assert not page.evaluate(OUTSIDE), (place, width, page.evaluate(OUTSIDE))
        page.set_viewport_size({"width": 1280, "height": 800})
        if place not in ("/", "/capture", "/bin", "/nowhere"):
            assert "Invented data – not a person" in page.inner_text("body"), place
        seen += 1
    assert seen == len(PLACES) + 9 and page.wrong == []


def test_the_accessibility_check_can_fail(browse, filled: web.Running, axe: str) -> None:
    page = browse()
    page.goto(filled.address)
    page.goto(f"http://127.0.0.1:{filled.port}{filled.root}/capture?client=C-7QXK")
    page.evaluate("document.querySelector('label[for=words]').remove()")
    page.evaluate(axe)
    assert "select-name" in [one["id"] for one in page.evaluate("async () => (await axe.run()).violations")]


def test_marks_stand_beside_their_words(browse, filled: web.Running) -> None:
    page = browse()
    page.goto(filled.address)
    page.goto(f"http://127.0.0.1:{filled.port}{filled.root}/judge?client=C-7QXK&session=2")
    marks = page.evaluate(
        "[...document.querySelectorAll('#marks span')].map((e) => e.textContent.split(/\\s+/).slice(1).join(' '))"
    )
    said = {mark.strip() for mark in marks}
    assert {"● correct", "◐ distorted", "■ substituted", "– omitted", "+ added", "× not scorable"} <= said, said


def test_figures_wait_for_the_ear(filled: web.Running, browse) -> None:
    page = browse()
    page.goto(filled.address)
    page.goto(f"http://127.0.0.1:{filled.port}{filled.root}/review?client=C-7QXK&session=2")
    page.click("#tokens button >> nth=0")
    page.wait_for_selector("#one:not([hidden])")
    assert page.inner_text("#figures").startswith("Figures and the picture follow when the ear has judged the whole")
    page.wait_for_function("() => document.querySelector('#onset').getAttribute('aria-valuenow')")
    assert "ms" not in page.inner_text("#edges-words") and "as found" in page.inner_text("#edges-words")
    assert " ms" not in page.get_attribute("#onset", "aria-valuetext")
    assert page.get_attribute("#canvas", "aria-label").startswith("Loudness of")
    assert page.inner_text(".axis") == "", "no frequency is told"
    page.goto(f"http://127.0.0.1:{filled.port}{filled.root}/review?client=C-7QXK&session=1")
    page.click("#tokens button >> nth=0")
    page.wait_for_selector("#one:not([hidden])")
    page.wait_for_function("() => document.querySelector('#figures').innerText.includes('Hz')")


EMPTY = (1270, 790)


def test_a_click_on_empty_ground_leaves_the_keys_as_they_are(filled: web.Running, browse) -> None:
    """Judging, reviewing and capturing go on by key after a click beside everything."""
    page = browse()
    page.goto(filled.address)
    base = f"http://127.0.0.1:{filled.port}{filled.root}"
    page.goto(f"{base}/judge?client=C-7QXK&session=2")
    page.click("#begin button")
    page.wait_for_selector("#listening:not([hidden])")
    page.mouse.click(*EMPTY)
    assert page.evaluate("!document.activeElement.closest('#listening')")
    page.keyboard.press("d")
    assert page.is_checked("#marks input[value=distorted]")
    page.keyboard.press("2")
    assert page.is_checked("#kinds input[value=interdental]")

    page.goto(f"{base}/review?client=C-7QXK&session=1")
    page.click("#tokens button >> nth=0")
    page.wait_for_function("() => document.querySelector('#onset').getAttribute('aria-valuenow')")
    page.mouse.click(*EMPTY)
    page.keyboard.press("2")
    assert page.evaluate("document.activeElement.id") == "offset"

    page.goto(f"{base}/capture?client=C-7QXK")
    page.check("#agreed")
    page.click("#listen")
    page.wait_for_selector("#start:not([disabled])")
    page.click("#start")
    page.wait_for_selector("#stage:not([hidden])")
    page.mouse.click(640, 10)
    page.evaluate("document.activeElement.blur()")
    page.keyboard.press("s")
    page.wait_for_function("() => document.querySelector('#stage-place').innerText.startsWith('2 of')")
    page.keyboard.press("Escape")
    page.wait_for_selector("#ended:not([hidden])")
    page.click("#away")
    page.click("#erase")
    page.wait_for_selector("#setup:not([hidden])")
    assert page.wrong == []


def test_a_word_sounds_at_once(browse, filled: web.Running) -> None:
    """From the key to the first sample given to the sound card at most 100 ms, the middle of nine."""
    page = browse()
    page.goto(filled.address)
    page.goto(f"http://127.0.0.1:{filled.port}{filled.root}/judge?client=C-7QXK&session=2")
    page.click("#begin button")
    page.wait_for_function("() => document.querySelector('#judge').dataset.played")
    page.evaluate("""() => {
      window.delays = [];
      const real = AudioBufferSourceNode.prototype.start;
      AudioBufferSourceNode.prototype.start = function (when) {
        window.delays.push(performance.now() - window.pressed + 1000 * Math.max(0, when - this.context.currentTime)
          + 1000 * this.context.baseLatency);
        return real.call(this, when);
      };
      document.addEventListener('keydown', () => { window.pressed = performance.now(); }, true);
    }""")
    for key in ("Space", "h") * 5:
        page.keyboard.press(key)
        page.wait_for_timeout(120)
    delays = sorted(page.evaluate("window.delays"))
    assert len(delays) == 10 and delays[len(delays) // 2] <= 100, delays


def test_reports_come_as_files(filled: web.Running, browse, tmp_path: Path) -> None:
    page = browse()
    page.goto(filled.address)
    page.goto(f"http://127.0.0.1:{filled.port}{filled.root}/progress?client=C-7QXK")
    for form, begins in (("pdf", b"%PDF"), ("html", b"<!DOCTYPE html>"), ("docx", b"PK")):
        page.select_option("#form", form)
        with page.expect_download() as download:
            page.click("text=Make the report")
        download.value.save_as(tmp_path / "report")
        assert download.value.suggested_filename == f"report-monthly.{form}"
        assert (tmp_path / "report").read_bytes().startswith(begins)


def test_a_figure_leads_to_the_word_that_sounds_like_it(filled: web.Running, folder: Path, browse) -> None:
    """Need F24: the link plays the right token, the one nearest the session's mean."""
    from sibilant.clinic import summarise

    view, _ = summarise.case_view(CaseloadHandle(folder / "case"), "C-7QXK")
    summary = view.summaries[0].measures[view.main_measure]
    near = min(summary.words, key=lambda word: abs(word.value - summary.mean))
    page = browse()
    page.goto(filled.address)
    page.goto(f"http://127.0.0.1:{filled.port}{filled.root}/progress?client=C-7QXK")
    page.click("a.hear >> nth=0")
    page.wait_for_selector("#one:not([hidden])")
    assert page.inner_text("#word") == near.word.split("#")[0]
    page.wait_for_selector("#play-word:not([disabled])")


def test_two_sounds_are_heard_at_equal_loudness_and_a_point_leads_to_its_sounds(browse, filled: web.Running) -> None:
    page = browse()
    page.goto(filled.address)
    base = f"http://127.0.0.1:{filled.port}{filled.root}"
    page.goto(f"{base}/progress?client=C-7QXK")
    page.focus(".for-wide a")
    page.keyboard.press("Enter")
    page.wait_for_url("**/listen?**session=1**")
    assert "All sounds of session 1" in page.inner_text("main") and page.inner_text("tbody").count("hear") == 3
    page.evaluate("document.activeElement.blur()")
    page.keyboard.press(" ")
    page.wait_for_function("() => /as they are|dB softer/.test(document.querySelector('#told').innerText)")
    levels = page.evaluate(
        """async () => {
          const { loudness } = await import(document.querySelector('script[src$="listen.js"]').src);
          const tone = (gain) => Float32Array.from({ length: 8820 }, (_, n) => gain * Math.sin(n));
          return [loudness(tone(0.5), 44100), loudness(tone(0.05), 44100)];
        }"""
    )
    assert abs(levels[0] / levels[1] - 10) < 0.01 and page.wrong == []


def test_a_preview_shows_the_reports_own_picture(filled: web.Running, folder: Path, asked_of) -> None:
    """A family's page holds no figure in hertz, so neither does what is read before it is made."""
    document = report.report_document(CaseloadHandle(folder / "case"), "C-7QXK", "family", report.Ticked())
    (picture,) = document.of_kind(Picture)
    status, place = asked_of(filled, "/reports?client=C-7QXK&kind=family")
    (address,) = re.findall(rf'<img class="chart" src="{filled.root}(/reports/picture[^"]*)"', place)
    found = asked_of(filled, html.unescape(address))
    assert (status, found) == (200, (200, picture.images["svg"].decode()))
    assert asked_of(filled, "/reports/picture.svg?client=C-7QXK&kind=family&name=change-over-months")[0] == 400


def test_a_button_pressed_before_its_script_is_there_goes_nowhere(browse, filled: web.Running) -> None:
    """On a slow machine a form would otherwise be sent as it is, to a place that knows nothing of the client."""
    page = browse()
    page.route("**/static/*.js", lambda route: route.abort())
    page.goto(filled.address)
    base = f"http://127.0.0.1:{filled.port}{filled.root}"
    for place, button in (("judge", "#begin button.first"), ("practise", "text=Begin the run")):
        page.goto(f"{base}/{place}?client=C-7QXK")
        page.click(button)
        assert page.url == f"{base}/{place}?client=C-7QXK"
