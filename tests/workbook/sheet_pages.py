"""The pages of a sheet as drawn, for the tests of the sheet: their texts, what overlaps, what hangs off the paper."""

import csv
import io
import re
from itertools import combinations
from pathlib import Path
from typing import Any

from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.text import Text

from sitelevels.workbook import sheet


def pages(pdf: bytes) -> list[tuple[float, float]]:
    """Width and height in points of every page."""
    count = len(re.findall(rb"/Type /Page\b(?!s)", pdf))
    boxes = re.findall(rb"/MediaBox \[ ?([\d.]+) ([\d.]+) ([\d.]+) ([\d.]+) ?\]", pdf)
    assert len(boxes) == count
    return [(float(right) - float(left), float(top) - float(bottom)) for left, bottom, right, top in boxes]


def drawn(job: Any, backsight: float | None = None) -> list[Figure]:
    every = sheet.pages_of(job, job.pegs(backsight))
    for page in every:
        FigureCanvasAgg(page).draw()
    return every


def texts(page: Figure) -> list[Text]:
    return [text for text in page.findobj(Text) if text.get_visible() and text.get_text().strip()]


def said(page: Figure) -> str:
    return "\n".join(text.get_text() for text in texts(page))


def flowing(page: Figure) -> str:
    """The same with lines broken for the sheet put together again."""
    return re.sub(r"\s+", " ", said(page))


def written_over(page: Figure, allowed: float = 2.0) -> list[tuple[str, str]]:
    """Texts that lie on one another. Labels of ticks past the end of an axis are not drawn."""
    boxes = [(text.get_text(), text.get_window_extent()) for text in texts(page)]
    return [(one, two) for (one, a), (two, b) in combinations(boxes, 2)
            if min(a.x1, b.x1) - max(a.x0, b.x0) > allowed and min(a.y1, b.y1) - max(a.y0, b.y0) > allowed]


def off_the_paper(page: Figure) -> list[str]:
    paper = page.bbox
    return [text.get_text() for text in texts(page) if not (paper.x0 <= text.get_window_extent().x0
            and text.get_window_extent().x1 <= paper.x1 and paper.y0 <= text.get_window_extent().y0
            and text.get_window_extent().y1 <= paper.y1)]


def in_order(page: Figure) -> None:
    """No text over another, off the paper or small."""
    assert written_over(page) == []
    assert off_the_paper(page) == []
    assert min(text.get_fontsize() for text in texts(page)) >= 9


def rows(page: Figure) -> dict[str, list[str]]:
    """The readings of a page, line by line: what stands on one height, from left to right, by the name of the peg."""
    lines: dict[float, list[tuple[float, str]]] = {}
    for text in texts(page):
        if text.axes is not None and text.get_verticalalignment() == "center":
            x, y = text.get_position()
            lines.setdefault(float(y), []).append((float(x), text.get_text().replace("\n", " ")))
    return {name: others for name, *others in ([cell for _, cell in sorted(line)] for line in lines.values())}


def table(folder: Path, name: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO((folder / f"{name}.csv").read_bytes().decode("utf-8-sig"))))


def in_grid(hand: Any, count: int, name: str = "P{}") -> Any:
    """The yard worked by hand with `count` more spots on its own ground: 9.880 m less 55 mm a metre out; in rows of ten."""
    rows = []
    for number in range(count):
        x, y = 0.2 + 3.6 * (number % 10) / 10, 0.2 + 2.6 * (number // 10) / (count // 10 + 1)
        rows.append(f"{name.format(number)},,{1.620 + 0.055 * y:.4f},,,{x:.3f},{y:.3f},ground,,")
    return hand.change_book("BM,,,1.500,,,,benchmark,,\n", "\n".join([*rows, "BM,,,1.500,,,,benchmark,,", ""]))
