"""The guide through the month: its pictures are there, small, linked, and told as the page's help tells them."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from PIL import Image

pytest.importorskip("starlette", reason="the page's optional part is not installed")

from sibilant.web.helping import STEPS
from sibilant.web.site import ANSWERING

ROOT = Path(__file__).parents[2]
GUIDE, README = ROOT / "docs" / "clinicians_month.md", ROOT / "README.md"
CHARTS, STUDY = ROOT / "docs" / "charts_for_a_report.md", ROOT / "docs" / "study_step_by_step.md"
HELP = ROOT / "sibilant" / "web" / "static" / "month"
MOST_KB = 60


def pictures(page: Path) -> list[tuple[str, Path]]:
    """Alternative text and file of every picture of a page."""
    found = re.findall(r"!\[([^\]]*)\]\(([^)]+)\)", page.read_text(encoding="utf-8"))
    return [(alt, (page.parent / name).resolve()) for alt, name in found]


def test_every_picture_is_there_small_and_described() -> None:
    shown = [*pictures(GUIDE), *pictures(README), *pictures(CHARTS), *pictures(STUDY)]
    for alt, path in shown:
        assert path.stat().st_size < 1024 * MOST_KB and len(alt) > 20 and "nvented data" in alt, path.name
        with Image.open(path) as image:
            assert min(image.size) >= 300
    named = {path.name for _, path in shown}
    assert named >= {f"{step.picture}.png" for step in STEPS if step.picture != "report"}
    assert {path.name for path in (ROOT / "docs" / "pictures").iterdir()} <= named


def test_the_help_shows_each_picture_and_leads_to_places_that_are() -> None:
    assert {path.stem for path in HELP.iterdir()} == {step.picture for step in STEPS}
    addresses = {path for one in ANSWERING for path in getattr(one, "PAGES", {})}
    assert {f"/{step.place}" for step in STEPS} <= addresses


def test_help_and_guide_describe_a_picture_in_the_same_words() -> None:
    told = {path.stem: alt.replace("'", "’") for alt, path in pictures(GUIDE)}
    for step in STEPS:
        if step.picture in told:
            assert told[step.picture].startswith(step.alt), step.picture


def test_the_readme_opens_with_two_pictures_and_says_the_baselines_early() -> None:
    text = README.read_text(encoding="utf-8")
    start = text.split("\n## ")[0]
    assert start.count("![") == 2 and "three probes" in start.lower()
    assert start.index("![") < start.index("```") if "```" in start else True
