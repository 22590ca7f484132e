"""What every picture is held to: words inside it, none over another, nothing smaller than 8 points."""

from __future__ import annotations

from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.text import Text

from sibilant.charts import style


def texts(figure: Figure) -> list[Text]:
    if figure.get_gid() != "drawn":
        with style.house_hand():
            FigureCanvasAgg(figure).draw()
        figure.set_gid("drawn")
    return [t for t in figure.findobj(Text) if t.get_visible() and t.get_text().strip() and t.figure is not None]


def words(figure: Figure) -> str:
    return " ".join(" ".join(t.get_text() for t in texts(figure)).replace("\u2009", " ").split())


def outside(figure: Figure, slack_px: float = 1.5) -> list[str]:
    found = []
    with style.house_hand():
        for t in texts(figure):
            box = Text.get_window_extent(t)
            inside = (
                box.x0 >= -slack_px
                and box.y0 >= -slack_px
                and box.x1 <= figure.bbox.x1 + slack_px
                and box.y1 <= figure.bbox.y1 + slack_px
            )
            if not inside:
                found.append(t.get_text())
    return found


def overlapping(figure: Figure) -> list[tuple[str, str]]:
    with style.house_hand():
        boxes = [(t.get_text(), Text.get_window_extent(t)) for t in texts(figure)]
    found = []
    for number, (one, a) in enumerate(boxes):
        for other, b in boxes[number + 1 :]:
            wide = min(a.x1, b.x1) - max(a.x0, b.x0)
            high = min(a.y1, b.y1) - max(a.y0, b.y0)
            if wide > 2 and high > 0.35 * min(a.height, b.height):
                found.append((one, other))
    return found


def smallest_pt(figure: Figure) -> float:
    return min(float(t.get_fontsize()) for t in texts(figure))


def check(figure: Figure) -> None:
    assert not outside(figure), outside(figure)
    assert not overlapping(figure), overlapping(figure)
    assert smallest_pt(figure) >= 8.0
    assert figure.get_label(), "a picture needs its sentence"
