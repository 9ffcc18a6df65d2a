"""One look for all pictures: colours by meaning, text that can be read on a print-out, equal scales in plan."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import cache

import numpy as np
import shapely
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.contour import ContourSet
from matplotlib.figure import Figure
from matplotlib.patches import PathPatch
from matplotlib.path import Path
from matplotlib.text import Text
from matplotlib.transforms import Bbox
from numpy.typing import NDArray

from ...design.brief import Brief, Wall

INK, EARTH, WATER = "#22303a", "#8a5a2b", "#1f7a78"
WALL, SLAB, BED, SUB_BASE = "#d9b9a3", "#9aa3a8", "#d8cfae", "#c7b299"
MET, TOO_CLOSE, NOT_MET = "#2f6f4f", "#b7791f", "#a3282f"
LAYERS = (SLAB, BED, SUB_BASE)
TEXT = 9  # pt on A4
NO_GLYPH = "□"  # stands for a sign that the letters lack
BACKED = {"boxstyle": "square,pad=0.08", "facecolor": "white", "edgecolor": "none", "alpha": 0.85}

Floats = NDArray[np.float64]


def plain_text(drawn: Artist) -> None:
    """Show names as they are written: a dollar sign starts no formula. Numbers at the ticks need no looking through."""
    for part in drawn.axes if isinstance(drawn, Figure) else [drawn]:
        texts = [*part.get_children(), *([part.xaxis.label, part.yaxis.label] if isinstance(part, Axes) else [])]
        for text in texts:
            if isinstance(text, Text):
                _plain(text)
    if isinstance(drawn, Figure):
        for text in drawn.texts:
            _plain(text)


def _plain(text: Text) -> None:
    text.set_parse_math(False)
    said = text.get_text()
    if not said.isascii() or not said.isprintable():
        shown = "".join(sign if sign == "\n" or has_glyph(sign) else NO_GLYPH for sign in said)
        if shown != said:
            text.set_text(shown)


@cache
def has_glyph(sign: str) -> bool:
    """Whether the letters that pictures are written in have a sign; one that they lack would be warned of and left out."""
    from matplotlib.font_manager import findfont, get_font
    return sign.isprintable() and bool(get_font(findfont("DejaVu Sans")).get_char_index(ord(sign)))


def axes(ax: Axes | None, size: tuple[float, float]) -> Axes:
    """The axes given, or those of a new figure of `size` in inches; plain, with light spines."""
    if ax is None:
        import matplotlib.pyplot as plt
        _, ax = plt.subplots(figsize=size, layout="constrained")
    ax.ticklabel_format(useOffset=False, style="plain")
    ax.locator_params(nbins=10)
    ax.tick_params(labelsize=TEXT, colors=INK)
    for side in ("top", "right"):
        ax.spines[side].set_visible(False)
    for side in ("left", "bottom"):
        ax.spines[side].set_color("#8a9399")
    return ax


def titled(ax: Axes, title: str, under: str, sentence: str) -> Axes:
    """Title with a line of totals under it; the sentence goes with the axes for `in_words`."""
    ax.set_title(f"{title}\n", fontsize=TEXT + 2, fontweight="bold", color=INK, loc="left", y=1.0)
    for old in [text for text in ax.texts if text.get_gid() == "under"]:
        old.remove()
    ax.annotate(under, (0, 1), gid="under", xytext=(0, 6), xycoords="axes fraction", textcoords="offset points",
                fontsize=TEXT, color=INK)
    ax.set_label(sentence)
    plain_text(ax)
    return ax


def in_words(ax: Axes) -> str:
    """What a picture shows, in one sentence made from the numbers drawn."""
    return str(ax.get_label())


def plan_axes(ax: Axes, brief: Brief, margin: float = 0.5) -> None:
    """Equal scales in m, room for the wall, the outline of the area and its walls."""
    x_min, y_min, x_max, y_max = brief.area.bounds
    for wall in brief.walls:
        x_min, x_max = min(x_min, wall.first[0], wall.second[0]), max(x_max, wall.first[0], wall.second[0])
        y_min, y_max = min(y_min, wall.first[1], wall.second[1]), max(y_max, wall.first[1], wall.second[1])
    ax.set_xlim(x_min - margin, x_max + margin)
    ax.set_ylim(y_max + margin, y_min - margin)  # the wall stands at the top of the sheet, as one sees it from the yard
    ax.set_aspect("equal")
    ax.set_xlabel("along, m" if len(brief.walls) == 1 else "x, m", fontsize=TEXT, color=INK)
    ax.set_ylabel("out from the wall, m" if len(brief.walls) == 1 else "y, m", fontsize=TEXT, color=INK)
    ax.add_patch(PathPatch(area_path(brief.area), fill=False, edgecolor=INK, linewidth=1.4, zorder=3))
    for wall in brief.walls:
        draw_wall(ax, brief, wall)


def area_path(area: shapely.Polygon) -> Path:
    """A polygon with its holes as a matplotlib path."""
    rings = [np.asarray(ring.coords) for ring in (area.exterior, *area.interiors)]
    return Path.make_compound_path(*(Path(ring, closed=True) for ring in rings))


def draw_wall(ax: Axes, brief: Brief, wall: Wall, thickness: float = 0.22) -> None:
    """A wall in plan, hatched, on the side away from the paving."""
    out = np.array(brief.outward(wall))
    first, second = np.array(wall.first), np.array(wall.second)
    corners = np.array([first, second, second - thickness * out, first - thickness * out])
    ax.fill(*corners.T, facecolor=WALL, edgecolor=INK, hatch="///", linewidth=0.8, zorder=4)
    middle = (first + second) / 2 - 1.9 * thickness * out
    angle = np.degrees(np.arctan2(-wall.direction[1], wall.direction[0]))  # y is drawn downwards
    angle = (angle + 90) % 180 - 90
    ax.text(float(middle[0]), float(middle[1]), wall.name, ha="center", va="center", fontsize=TEXT, color=INK, rotation=angle)


SIDES = ((1, -1), (1, 1), (-1, -1), (-1, 1), (0, -2.4), (0, 2.4), (1, -4.5), (-1, -4.5), (1, 4.5), (-1, 4.5), (0, 8.5), (1, 8.5),
         (-1, 8.5), (0, -8.5))  # of a place, in shares of 4 and 3 points: where its words may stand


def label_apart(ax: Axes, labels: Sequence[tuple[float, float, str]]) -> None:
    """Words beside places (x, y), each on the first side where they lie on no other words and inside the picture."""
    figure = ax.figure
    if isinstance(figure, Figure):
        plain_text(figure)
        figure.draw_without_rendering()  # only then is it settled where places lie
    frame = ax.get_window_extent()
    taken: list[Bbox] = []
    for x, y, words in labels:
        for right, up in SIDES:
            text = ax.annotate(words, (x, y), xytext=(4 * right, 3 * up), textcoords="offset points", fontsize=TEXT, color=INK,
                               ha={1: "left", -1: "right", 0: "center"}[right], va="bottom" if up > 0 else "top", zorder=7,
                               bbox=BACKED, parse_math=False)
            box = text.get_window_extent()
            if not any(box.overlaps(other) for other in taken) and frame.x0 <= box.x0 and box.x1 <= frame.x1:
                break
            if (right, up) != SIDES[-1]:
                text.remove()
        taken.append(box)


def contour_steps(low: float, high: float, *, most: int = 11) -> Floats:
    """Round contour levels in m between two levels, at most about `most` of them."""
    for step in (0.005, 0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0):
        if (high - low) / step <= most:
            break
    return np.arange(np.ceil(low / step - 1e-9), np.floor(high / step + 1e-9) + 1) * step


def volume_steps(low: float, high: float, *, most: int = 8) -> Floats:
    """Round volumes in m³ between two, at most about `most` of them."""
    step = 0.1
    while (high - low) / step > most:
        step *= 2.5 if str(step).startswith("2") else 2
    return np.arange(np.ceil(low / step), np.floor(high / step) + 1) * step


def label_contours(ax: Axes, lines: ContourSet, area: shapely.Polygon, words: Callable[[float], str]) -> None:
    """One label a contour line, at the place nearest its middle that lies inside the area and clear of other labels."""
    size = float(np.sqrt(area.area))
    inside = area.buffer(-0.05 * size)
    taken: list[Floats] = []
    for level, segments in zip(lines.levels, lines.allsegs, strict=True):
        for segment in segments:
            places = np.asarray(segment)
            steps = np.hypot(*np.diff(places, axis=0).T)
            if steps.sum() < 0.15 * size:
                continue
            along = np.concatenate([[0.0], np.cumsum(steps)])
            tries = along[-1] * np.array([0.5, 0.4, 0.6, 0.3, 0.7, 0.2, 0.8, 0.1, 0.9])
            for x, y in np.column_stack([np.interp(tries, along, places[:, 0]), np.interp(tries, along, places[:, 1])]):
                here = np.array([x, y])
                far = all(np.abs((here - other) / (0.26, 0.09)).max() > size for other in taken)  # labels are wide and low
                if far and inside.contains(shapely.Point(x, y)):
                    taken.append(here)
                    ax.text(float(x), float(y), words(float(level)), fontsize=TEXT, color=INK, ha="center", va="center",
                            bbox=BACKED, zorder=5)
                    break
