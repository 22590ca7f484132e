"""Pictures of the student's path from recordings to a paragraph: python docs/draw_study.py

An invented corpus is made, measured and compared as docs/study_step_by_step.md tells it, smaller; its figures are drawn
at 85 mm. Invented data – not a person.
"""

from __future__ import annotations

import io
import tempfile
from pathlib import Path

from PIL import Image

import sibilant as sib
from sibilant import charts
from sibilant.demo.corpus import make_corpus
from sibilant.research.study import mark_of, method_of
from sibilant.research.study_figures import figures

PICTURES = Path(__file__).parent / "pictures"
SPEAKERS, WORDS = 6, 5
SHOWN = {
    "groups_centroid_hz": "study-groups",
    "differences_centroid_hz": "study-effects",
    "confusion_linear_discriminant": "study-confusion",
}
DPI, COLOURS = 150, 48


def small(content: bytes, to: Path) -> None:
    """Keep a picture small: few colours."""
    image = Image.open(io.BytesIO(content)).convert("RGB")
    image.quantize(COLOURS, kmeans=2, dither=Image.Dither.NONE).save(to, optimize=True)


def main() -> None:
    """Make the corpus, measure and compare it, and draw."""
    with tempfile.TemporaryDirectory() as made:
        place = Path(made)
        make_corpus(place / "invented", n_speakers=SPEAKERS, n_words=WORDS)
        corpus = sib.run_corpus(place / "invented" / "manifest.csv", place / "measured", workers=1)
        measures = ["centroid_hz", "sd_hz", "duration_ms"]
        found = sib.compare_groups(corpus.table, "type", measures=measures, primary="mixed").study
        drawn = dict(figures(found, method_of(found.prepared.method), mark_of(corpus.table), 85.0))
    for name, kept in SHOWN.items():
        small(charts.render(drawn[name], "png", dpi=DPI), PICTURES / f"{kept}.png")


if __name__ == "__main__":
    main()
