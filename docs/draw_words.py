"""Drawings for children who do not read, from an open set: only words of the built-in lists, only where one is plain.

``npm pack @iconify-json/noto`` and unpack it, then ``python docs/draw_words.py package/icons.json``. The drawings
are Noto Emoji's, Apache License 2.0; the licence is shipped beside them. A word has one only where a child would hardly
call it anything else: no goose (a duck), no bicycle (a bike), no shoe (a sneaker). That is our own choice.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path

TO = Path(__file__).parents[1] / "sibilant" / "lexicon" / "data" / "drawings"
DRAWN = {
    "apple": "red-apple", "books": "books", "box": "package", "bus": "bus", "car": "automobile", "castle": "castle",
    "dinosaur": "sauropod", "dress": "dress", "egg": "egg", "eye": "eye", "fish": "fish", "fox": "fox",
    "ghost": "ghost", "grapes": "grapes", "horse": "horse", "house": "house", "ice": "ice", "leg": "leg",
    "monkey": "monkey", "moon": "crescent-moon", "mouse": "mouse", "nest": "empty-nest", "octopus": "octopus",
    "pencil": "pencil", "potato": "potato", "saw": "carpentry-saw", "scarf": "scarf", "scooter": "kick-scooter",
    "seal": "seal", "shark": "shark", "sheep": "ewe", "shell": "spiral-shell", "shirt": "t-shirt", "shovel": "shovel",
    "skunk": "skunk", "sled": "sled", "snowman": "snowman-without-snow", "soap": "soap", "star": "star", "sun": "sun",
    "window": "window",
}  # fmt: skip
SVG = '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {size} {size}">{body}</svg>\n'


def main() -> None:
    """Write one SVG for each word."""
    held = json.loads(Path(sys.argv[1]).read_text(encoding="utf-8"))
    TO.mkdir(parents=True, exist_ok=True)
    for word, name in DRAWN.items():
        drawing = held["icons"][held["aliases"].get(name, {}).get("parent", name)]
        svg = SVG.format(size=drawing.get("width", held["width"]), body=drawing["body"])
        (TO / f"{word}.svg").write_text(svg, encoding="utf-8")
    print(f"{len(DRAWN)} drawings, {sum(one.stat().st_size for one in TO.glob('*.svg')) // 1024} kB")


if __name__ == "__main__":
    main()
