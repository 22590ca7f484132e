"""The site of all pages and the Python reference is built without a warning, whole and searchable."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

DOCS = Path(__file__).parent.parent / "docs"


def test_site_holds_every_page_and_finds_words_without_a_network(tmp_path: Path) -> None:
    command = [sys.executable, str(DOCS / "build_site.py"), str(tmp_path / "site")]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr[-3000:]
    for page in DOCS.glob("*.md"):
        assert (tmp_path / "site" / "docs" / f"{page.stem}.html").exists(), page.name
    assert "fricat" in (tmp_path / "site" / "searchindex.js").read_text(encoding="utf-8"), "words by their stems"
    reference = (tmp_path / "site" / "reference" / "acoustics.html").read_text(encoding="utf-8")
    assert "The sound, at its own rate." in reference, "docstrings are in it"
    index = (tmp_path / "site" / "docs" / "index.html").read_text(encoding="utf-8")
    assert 'src="http' not in index and 'rel="stylesheet" href="http' not in index
