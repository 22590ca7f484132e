"""A few pictures as they were looked at, and the version of matplotlib that drew them.

Under that version a picture differs by at most 2 of 255 (RMS). Another version sets letters and lines a little
otherwise: there its size, and means over squares of 16 pixels, are compared (a rule of this project, no source).
Neither is ever skipped. To renew one after looking at it: ``python tests/charts/test_baselines.py``; say why in the
commit.
"""

from __future__ import annotations

import importlib.util
import io
import sys
from pathlib import Path
from types import ModuleType

import matplotlib
import numpy as np
import pytest
from PIL import Image

from sibilant import charts

HERE = Path(__file__).parent
PINNED = "3.11.2"
NAMES = ("months", "token-strips", "contexts")
DPI = 60
SQUARE, BLURRED_MOST = 16, 30.0


def picture(name: str, gallery: ModuleType) -> bytes:
    return charts.render(gallery.pictures(170.0)[name](), "png", dpi=DPI)


def pixels(content: bytes | Path) -> np.ndarray:
    stream = io.BytesIO(content) if isinstance(content, bytes) else content
    return np.asarray(Image.open(stream).convert("RGB"), dtype=float)


def unlike(drawn: np.ndarray, known: np.ndarray, version: str) -> str:
    """Say in what a picture differs from the one that was looked at; empty where it does not."""
    if version == PINNED:
        if drawn.shape != known.shape:
            return f"another size: {drawn.shape}, not {known.shape}"
        far = float(np.sqrt(np.mean((drawn - known) ** 2)))
        return f"by {far:.1f} of 255 (RMS)" if far >= 2.0 else ""
    if max(abs(a - b) for a, b in zip(drawn.shape, known.shape, strict=True)) > 4:
        return f"another size: {drawn.shape}, not {known.shape}"
    low, high = (blurred(each[: min(drawn.shape[0], known.shape[0]), : min(drawn.shape[1], known.shape[1])])
                 for each in (drawn, known))  # fmt: skip
    far = float(np.abs(low - high).max())
    return f"by {far:.1f} of 255 somewhere, blurred" if far >= BLURRED_MOST else ""


def blurred(image: np.ndarray) -> np.ndarray:
    """Means over squares of 16 pixels, all colours together."""
    rows, columns = (n // SQUARE * SQUARE for n in image.shape[:2])
    grey = image[:rows, :columns].mean(axis=2)
    return grey.reshape(rows // SQUARE, SQUARE, columns // SQUARE, SQUARE).mean(axis=(1, 3))


@pytest.mark.parametrize("name", NAMES)
def test_picture_is_as_it_was_looked_at(name: str, gallery: ModuleType) -> None:
    """Both rules hold under the pinned version; under another the second alone."""
    known, drawn = pixels(HERE / "baselines" / f"{name}.png"), pixels(picture(name, gallery))
    for version in {matplotlib.__version__, "another"}:
        assert not (far := unlike(drawn, known, version)), f"differs from what was looked at: {far}"


@pytest.mark.parametrize("version", [PINNED, "another"])
@pytest.mark.parametrize("name", NAMES)
def test_another_picture_is_noticed(name: str, version: str) -> None:
    """What the check must not pass: another of the pictures, one upside down, one with a part of it wiped out."""
    known = pixels(HERE / "baselines" / f"{name}.png")
    wiped = known.copy()
    darkest = np.unravel_index(np.argmin(blurred(known)), blurred(known).shape)
    wiped[tuple(slice(place * SQUARE, place * SQUARE + 2 * SQUARE) for place in darkest)] = 255.0
    for changed in (pixels(HERE / "baselines" / f"{NAMES[NAMES.index(name) - 1]}.png"), known[::-1], wiped):
        assert unlike(changed, known, version)
    assert not unlike(known, known, version)


if __name__ == "__main__":
    spec = importlib.util.spec_from_file_location("charts_invented_gallery", HERE / "invented_gallery.py")
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules["charts_invented_gallery"] = module
    spec.loader.exec_module(module)
    for each in NAMES:
        (HERE / "baselines").mkdir(exist_ok=True)
        (HERE / "baselines" / f"{each}.png").write_bytes(picture(each, module))
