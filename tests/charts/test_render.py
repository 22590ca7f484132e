"""Files that print: outlines, embedded fonts, no dates, same in same out; grey and colour-blind safe colours."""

from __future__ import annotations

import hashlib
import io
import itertools
import subprocess
import sys
from types import ModuleType

import pikepdf
import pytest
from PIL import Image

from sibilant import charts
from sibilant.charts import style
from sibilant.methods import HOUSE_15K

AGAIN = """
import hashlib, importlib.util, sys
spec = importlib.util.spec_from_file_location("charts_invented_case", sys.argv[1])
module = importlib.util.module_from_spec(spec); sys.modules[spec.name] = module; spec.loader.exec_module(module)
from sibilant import charts
from sibilant.methods import HOUSE_15K
figure = charts.months_chart(module.case(4), method=HOUSE_15K)
print(*(hashlib.sha256(charts.render(figure, form, dpi=100)).hexdigest() for form in ("svg", "pdf", "png")))
"""

TOGETHER = """
import importlib.util, sys, threading, warnings
warnings.simplefilter("error")
spec = importlib.util.spec_from_file_location("charts_invented_case", sys.argv[1])
module = importlib.util.module_from_spec(spec); sys.modules[spec.name] = module; spec.loader.exec_module(module)
import matplotlib as mpl
from sibilant import charts
from sibilant.charts import lettering
from sibilant.methods import HOUSE_15K

def draw():
    lettering._advance_em.cache_clear()
    lettering._font.cache_clear()
    lettering.text_width_mm("Within chance: Then and now, WHAT WAS HEARD", 8.0, bold=True)
    drawn.append(charts.render(charts.months_chart(module.case(4), method=HOUSE_15K), "svg"))

before, drawn = dict(mpl.rcParams), []
draw()
workers = [threading.Thread(target=draw) for _ in range(8)]
for worker in workers: worker.start()
for worker in workers: worker.join()
print(len(drawn), len(set(drawn)), dict(mpl.rcParams) == before)
"""


def test_same_values_same_bytes_in_another_process(invented: ModuleType) -> None:
    figure = charts.months_chart(invented.case(4), method=HOUSE_15K)
    here = [hashlib.sha256(charts.render(figure, form, dpi=100)).hexdigest() for form in ("svg", "pdf", "png")]
    command = [sys.executable, "-c", AGAIN, invented.__file__]
    there = subprocess.run(command, capture_output=True, text=True, check=True, env={"PYTHONHASHSEED": "7"}).stdout
    assert there.split() == here


def test_pages_that_draw_at_once_do_not_disturb_each_other(invented: ModuleType) -> None:
    """A font read by two threads at once lost letters or took the interpreter down: hence a process of its own."""
    command = [sys.executable, "-c", TOGETHER, invented.__file__]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.stdout.split() == ["9", "1", "True"], done.stderr


def test_svg_holds_outlines_and_no_date(invented: ModuleType) -> None:
    svg = charts.render(charts.months_chart(invented.case(4), method=HOUSE_15K), "svg").decode()
    assert "<text" not in svg and "font-family" not in svg and "dc:date" not in svg
    assert "<title>" in svg and "http" not in svg.replace("http://www.w3.org", "").replace(
        "http://purl.org/dc", ""
    ).replace("http://creativecommons.org/ns", "")


def test_pdf_embeds_its_fonts_and_has_no_date(invented: ModuleType) -> None:
    content = charts.render(charts.months_chart(invented.case(4), method=HOUSE_15K), "pdf")
    with pikepdf.open(io.BytesIO(content)) as pdf:
        assert "/CreationDate" not in pdf.docinfo and "/Producer" not in pdf.docinfo
        fonts = [o for o in pdf.objects if isinstance(o, pikepdf.Dictionary) and o.get("/Type") == "/FontDescriptor"]
        assert fonts and all("/FontFile2" in font for font in fonts)
        assert all("Sibilant" in str(font["/FontName"]) for font in fonts), "shipped fonts only"


@pytest.mark.parametrize("width_mm", [170.0, 85.0])
def test_png_is_as_wide_as_on_paper(width_mm: float, invented: ModuleType) -> None:
    figure = charts.months_chart(invented.case(4), method=HOUSE_15K, width_mm=width_mm)
    picture = Image.open(io.BytesIO(charts.render(figure, "png", dpi=200)))
    assert picture.width == pytest.approx(width_mm / 25.4 * 200, abs=1)
    assert picture.info["dpi"][0] == pytest.approx(200, abs=0.1)
    grey = Image.open(io.BytesIO(charts.render(figure, "png", dpi=60, grey=True)))
    assert grey.mode == "L"


def test_other_formats_are_refused() -> None:
    with pytest.raises(ValueError, match="svg, pdf or png"):
        charts.render(style.new_figure(85, 20), "gif")  # type: ignore[arg-type]
    with pytest.raises(ValueError, match="grey is for png"):
        charts.render(style.new_figure(85, 20), "svg", grey=True)


def luminance(colour: str) -> float:
    """Relative luminance of an sRGB colour. Source: WCAG 2.2, definition of relative luminance (from memory)."""
    parts = [int(colour[n : n + 2], 16) / 255 for n in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_contrast_on_paper() -> None:
    # WCAG 2.2: 4.5 to 1 for text, 3 to 1 for what a picture needs to be understood (from memory)
    assert contrast(style.INK, style.PAPER) > 12
    assert contrast(style.SECOND_INK, style.PAPER) >= 4.5
    for colour in (style.BLUE, style.VERMILLION, style.GREEN):
        assert contrast(colour, style.PAPER) >= 3.0, colour


def test_colours_are_the_open_okabe_ito_set() -> None:
    # Okabe & Ito (2008), Color Universal Design (values as widely reprinted; from memory)
    assert (style.BLUE, style.VERMILLION, style.GREEN, style.PURPLE) == ("#0072B2", "#D55E00", "#009E73", "#CC79A7")


def test_density_darkens_all_the_way() -> None:
    from matplotlib.colors import to_hex

    shades = [luminance(to_hex(style.ink_map()(n / 100))) for n in range(101)]
    assert all(a > b for a, b in itertools.pairwise(shades))


def test_shipped_fonts_hold_ipa_and_combining_marks() -> None:
    from matplotlib.ft2font import FT2Font

    fonts = sorted(style.font_folder().glob("*.ttf"))
    assert len(fonts) == 6 and (style.font_folder() / "OFL.txt").exists()
    for path in fonts:
        held = set(FT2Font(str(path)).get_charmap())
        lacking = [letter for letter in "ʃʒθðɬɮʪʫs\u032aɑɔɪʊəæŋɹː±−×–≥≤·…□\u2009" if ord(letter) not in held]
        assert not lacking, f"{path.name} lacks {lacking}"
    assert sum(path.stat().st_size for path in style.font_folder().iterdir()) < 3_000_000
