"""Two pairs of hands for the page: keys alone, and touch alone. Presses are counted, waits for the program timed.

A press is one key (a Tab, an arrow, a letter) or one touch; a letter typed on a screen's keyboard counts as one too. A
date by touch counts four (open, day, month, year), a choice from a list two. The system's own file dialogue is beyond
the page: it is opened by the hands and answered by the test.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

MOST_TABS = 120
IS_HERE = "(e) => document.activeElement === e"
AFTER = """(e) => {
  const here = document.activeElement;
  return !here || here === document.body || Boolean(here.compareDocumentPosition(e) & Node.DOCUMENT_POSITION_FOLLOWING);
}"""
CHOSEN = "(e) => e.selectedIndex"
OPTION = """([e, wanted]) => [...e.options].findIndex((o) => o.value === wanted || o.text.trim().startsWith(wanted))"""


@dataclass
class Step:
    """What one step cost: presses, seconds waited for the program, seconds spent speaking."""

    name: str
    presses: int = 0
    waited_s: float = 0.0
    spoken_s: float = 0.0


@dataclass
class Hands:
    """What both have in common: a page, and the steps that were gone."""

    page: Any = None
    steps: list[Step] = field(default_factory=list)

    def sit_at(self, page: Any) -> None:
        """Take a page; the test answers its file dialogues from now on: the asking takes a moment."""
        self.page = page
        page.on("filechooser", lambda _: None)

    @contextmanager
    def at(self, name: str) -> Iterator[Step]:
        """Gone through as one step of this name; a name met again goes on with its step."""
        step = next((one for one in self.steps if one.name == name), None) or Step(name)
        if step not in self.steps:
            self.steps.append(step)
        before, self.step = getattr(self, "step", step), step
        yield step
        self.step = before

    def one(self, selector: str) -> Any:
        """The element as it is shown."""
        return self.page.locator(f"{selector} >> visible=true").first

    def count(self, n: int = 1) -> None:
        self.step.presses += n

    def timed(self, work: Callable[[], Any]) -> Any:
        """Do what makes the program work, and count how long it takes as waited for."""
        began = time.monotonic()
        try:
            return work()
        finally:
            self.step.waited_s += time.monotonic() - began

    def see(self, selector: str, *, timeout_s: float = 60) -> str:
        """Wait until something is shown; return its text."""
        shown = self.one(selector)
        self.timed(lambda: shown.wait_for(timeout=1000 * timeout_s))
        return str(shown.inner_text())

    def until(self, script: str, given: Any = None, *, timeout_s: float = 60) -> None:
        self.timed(lambda: self.page.wait_for_function(script, arg=given, timeout=1000 * timeout_s))

    def got(self, selector: str, to: Path) -> Path:
        """Press what makes a file, and keep the file."""
        with self.page.expect_download() as coming:
            self.press(selector)
        self.timed(lambda: coming.value.save_as(to))
        return to

    def press(self, selector: str) -> None:
        raise NotImplementedError


class Keys(Hands):
    """By keyboard alone."""

    def key(self, *keys: str) -> None:
        for key in keys:
            self.count()
            self.page.keyboard.press(key)

    def reach(self, selector: str) -> Any:
        """Go there by Tab, or back by Shift and Tab where it lies before."""
        wanted = self.one(selector)
        wanted.wait_for()
        element = wanted.element_handle()
        for _ in range(MOST_TABS):
            if self.page.evaluate(IS_HERE, element):
                return wanted
            self.key("Tab" if self.page.evaluate(AFTER, element) else "Shift+Tab")
        raise AssertionError(
            f"{selector} is not reached by Tab; at {self.page.evaluate('document.activeElement.outerHTML')[:90]}"
        )

    def press(self, selector: str) -> None:
        self.timed(lambda: self.page.wait_for_load_state("load"))
        self.reach(selector)
        self.timed(lambda: self.key("Enter"))

    def tick(self, selector: str) -> None:
        self.reach(selector)
        self.key("Space")

    def write(self, selector: str, text: str) -> None:
        if self.reach(selector).input_value():
            self.key("Control+a")
        self.count(len(text))
        self.page.keyboard.type(text)

    def pick(self, selector: str, wanted: str) -> None:
        """By arrows, from where the list stands."""
        element = self.reach(selector).element_handle()
        target = self.page.evaluate(OPTION, [element, wanted])
        assert target >= 0, f"{selector} offers no {wanted}"
        away = target - self.page.evaluate(CHOSEN, element)
        self.key(*["ArrowDown" if away > 0 else "ArrowUp"] * abs(away))
        assert self.page.evaluate(CHOSEN, element) == target, f"{selector} did not come to {wanted}"

    def day(self, selector: str, iso: str) -> None:
        """Month, day and year, as this browser writes them."""
        field = self.reach(selector)
        year, month, day = iso.split("-")
        self.key(*(month + day + year))
        assert field.input_value() == iso, f"{selector} holds {field.input_value()}, not {iso}"

    def choose_file(self, selector: str, path: Path) -> None:
        self.reach(selector)
        with self.page.expect_file_chooser() as opened:
            self.key("Space")
        opened.value.set_files(path)

    def does(self, key: str, selector: str) -> None:
        """What has a key of its own."""
        self.timed(lambda: self.key(key))

    def heard(self, key: str, selector: str) -> None:
        self.key(key)

    def moves(self, selector: str, ms: int) -> None:
        """An edge, in steps of 10 and 1 ms."""
        self.reach(selector)
        way = "ArrowRight" if ms > 0 else "ArrowLeft"
        self.key(*[f"Shift+{way}"] * (abs(ms) // 10), *[way] * (abs(ms) % 10))


class Fingers(Hands):
    """By touch alone; nothing hovers, nothing is clicked by a mouse."""

    def press(self, selector: str) -> None:
        self.timed(lambda: self.page.wait_for_load_state("load"))
        self.count()
        shown = self.one(selector)
        self.timed(shown.tap)

    tick = press

    def write(self, selector: str, text: str) -> None:
        self.press(selector)
        if self.one(selector).input_value():
            self.count()
            self.one(selector).select_text()
        self.count(len(text))
        self.page.keyboard.type(text)

    def pick(self, selector: str, wanted: str) -> None:
        shown = self.one(selector)
        target = self.page.evaluate(OPTION, [shown.element_handle(), wanted])
        assert target >= 0, f"{selector} offers no {wanted}"
        self.count(2)
        shown.tap()
        self.page.keyboard.press("Escape")
        shown.select_option(index=target)

    def day(self, selector: str, iso: str) -> None:
        self.count(4)
        self.one(selector).fill(iso)

    def choose_file(self, selector: str, path: Path) -> None:
        with self.page.expect_file_chooser() as opened:
            self.press(selector)
        opened.value.set_files(path)

    def does(self, key: str, selector: str) -> None:
        self.press(selector)

    def heard(self, key: str, selector: str) -> None:
        self.press(selector)

    def moves(self, selector: str, ms: int) -> None:
        """An edge, drawn by a finger and let go; where it lies is the page's to say."""
        self.count()
        box = self.one(selector).bounding_box()
        wide = self.one("#canvas").bounding_box()["width"]
        word_ms = float(self.one(selector).get_attribute("aria-valuemax"))
        x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
        touch = self.page.context.new_cdp_session(self.page)
        for kind, at in (("touchStart", 0.0), ("touchMove", 0.5), ("touchMove", 1.0), ("touchEnd", 1.0)):
            points = [] if kind == "touchEnd" else [{"x": x + at * ms * wide / word_ms, "y": y}]
            touch.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})
        touch.detach()
