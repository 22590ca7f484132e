"""A few pictures as they were looked at, pinned with the version of matplotlib that drew them.

To renew one after looking at it: ``python tests/charts/test_baselines.py``; say why in the commit.
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


def picture(name: str, gallery: ModuleType) -> bytes:
    return charts.render(gallery.pictures(170.0)[name](), "png", dpi=DPI)


@pytest.mark.skipif(matplotlib.__version__ != PINNED, reason=f"pictures are pinned to matplotlib {PINNED}")
@pytest.mark.parametrize("name", NAMES)
def test_picture_is_as_it_was_looked_at(name: str, gallery: ModuleType) -> None:
    known = np.asarray(Image.open(HERE / "baselines" / f"{name}.png").convert("RGB"), dtype=float)
    drawn = np.asarray(Image.open(io.BytesIO(picture(name, gallery))).convert("RGB"), dtype=float)
    assert drawn.shape == known.shape
    assert np.sqrt(np.mean((drawn - known) ** 2)) < 2.0, "differs from what was looked at by more than 2 of 255 (RMS)"


if __name__ == "__main__":
    spec = importlib.util.spec_from_file_location("charts_invented_gallery", HERE / "invented_gallery.py")
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules["charts_invented_gallery"] = module
    spec.loader.exec_module(module)
    for each in NAMES:
        (HERE / "baselines").mkdir(exist_ok=True)
        (HERE / "baselines" / f"{each}.png").write_bytes(picture(each, module))
