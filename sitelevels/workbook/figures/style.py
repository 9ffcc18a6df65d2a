"""One look for all pictures: colours by meaning, text that can be read on a print-out, equal scales in plan."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from typing import Any

import numpy as np
import shapely
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.contour import ContourSet
from matplotlib.figure import Figure
from matplotlib.patches import PathPatch
from matplotlib.path import Path
from matplotlib.text import Annotation, Text
from numpy.typing import NDArray

from ...design.brief import Brief, Wall
from ...wording import word_times

INK, EARTH, WATER = "#22303a", "#8a5a2b", "#1f7a78"
WALL, SLAB, BED, SUB_BASE = "#d9b9a3", "#9aa3a8", "#d8cfae", "#c7b299"
MET, TOO_CLOSE, NOT_MET = "#2f6f4f", "#b7791f", "#a3282f"
LAYERS = (SLAB, BED, SUB_BASE)
TEXT = 9  # pt on A4
ENDLESS = 180  # signs in a line of a picture: the longest of ours are some 120
THICK = 0.22  # m: walls in plan
NO_GLYPH = "□"  # stands for a sign that the letters lack
BACKED = {"boxstyle": "square,pad=0.08", "facecolor": "white", "edgecolor": "none", "alpha": 0.85}

Floats = NDArray[np.float64]


def plain_text(drawn: Artist) -> None:
    """Show names as they are written: a dollar sign starts no formula. Numbers at the ticks need no looking through."""
    for part in drawn.axes if isinstance(drawn, Figure) else [drawn]:
        for text in (*part.get_children(), *([part.xaxis.label, part.yaxis.label] if isinstance(part, Axes) else [])):
            if isinstance(text, Text):
                plain(text)
    if isinstance(drawn, Figure):
        for text in drawn.texts:
            plain(text)


def plain(text: Text) -> None:
    """The same for one text; a line that no page is wide enough for is cut, as a name without end makes it."""
    text.set_parse_math(False)
    said = text.get_text()
    if max(map(len, said.split("\n"))) > ENDLESS:
        said = "\n".join(line if len(line) <= ENDLESS else f"{line[:ENDLESS // 3]}…" for line in said.split("\n"))
        text.set_text(said)
    if not said.isascii() or not said.isprintable():
        text.set_text("".join(sign if sign == "\n" or has_glyph(sign) else NO_GLYPH for sign in said))


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
    """What the picture on `ax` shows, in one sentence made from the numbers drawn, with their units (m, mm, 1:N, m³).

    Nothing is refused: axes that no picture was drawn on say "".
    """
    return str(ax.get_label())


def too_tall(ax: Axes, title: str, *, each: float = 1.0) -> str:
    """How many times too tall heights are drawn, in words; heights count `each` to the m, distances across are in m.

    The room that the title takes decides it, so the title is set first.
    """
    titled(ax, title, "heights", "")
    figure = ax.figure
    engine = figure.get_layout_engine() if isinstance(figure, Figure) else None
    if engine is not None and isinstance(figure, Figure):
        engine.execute(figure)
    frame = ax.get_window_extent()
    across, up = abs(float(np.diff(ax.get_xlim())[0])) / frame.width, abs(float(np.diff(ax.get_ylim())[0])) / frame.height
    return f"heights drawn about {word_times(each * across / up)} times too tall"


def name_axes(ax: Axes, across: str, up: str) -> None:
    """What stands along the two axes, with its unit."""
    ax.set_xlabel(across, fontsize=TEXT, color=INK)
    ax.set_ylabel(up, fontsize=TEXT, color=INK)


def note(ax: Axes, words: str, at: tuple[Any, Any], by: tuple[float, float] = (0, 0), *, backed: bool = True,
         **more: Any) -> Annotation:
    """Words so many points from a place, on a pale ground unless told."""
    more = {"color": INK, "zorder": 6, "bbox": BACKED if backed else None, **more}
    return ax.annotate(words, at, xytext=by, textcoords="offset points", fontsize=TEXT, **more)


def arrow(ax: Axes, tail: tuple[Any, Any], head: tuple[Any, Any], *, colour: str = WATER, ends: str = "-|>",
          thick: float = 1.8, zorder: float = 5) -> None:
    """An arrow from place to place, exactly so long; `ends` is <-> for a dimension."""
    ax.annotate("", head, xytext=tail, zorder=zorder, annotation_clip=False,
                arrowprops={"arrowstyle": ends, "color": colour, "linewidth": thick, "shrinkA": 0, "shrinkB": 0})


def plan(ax: Axes | None, brief: Brief, size: tuple[float, float] = (7.6, 5.4), margin: float = 0.5) -> Axes:
    """The axes given, or those of a new figure, as a plan at the left of its room, where long titles find theirs.

    Equal scales in m, `margin` m beside the paving for the wall, the outline of the area and its walls. With one wall along x
    it stands at the top of the sheet, as one sees it from the yard; any other grid is drawn as a map is, y up.
    """
    ax = axes(ax, size)
    x_min, y_min, x_max, y_max = shapely.MultiPoint(
        [*brief.area.exterior.coords, *(end for wall in brief.walls for end in (wall.first, wall.second))]).bounds
    ax.set_xlim(x_min - margin, x_max + margin)
    beside = [wall for wall in brief.walls if abs(wall.direction[1]) < 0.02 and brief.outward(wall)[1] > 0]
    beside = beside if len(brief.walls) == 1 else []
    ax.set_ylim(*((y_max + margin, y_min - margin) if beside else (y_min - margin, y_max + margin)))
    ax.set_aspect("equal", anchor="W")
    name_axes(ax, *(("along, m", "out from the wall, m") if beside else ("x, m", "y, m")))
    ax.add_patch(PathPatch(area_path(brief.area), fill=False, edgecolor=INK, linewidth=1.4, zorder=3))
    for wall in brief.walls:
        _wall(ax, brief, wall)
    return ax


def area_path(area: shapely.Polygon) -> Path:
    """A polygon with its holes as a matplotlib path."""
    rings = [np.asarray(ring.coords) for ring in (area.exterior, *area.interiors)]
    return Path.make_compound_path(*(Path(ring, closed=True) for ring in rings))


def _wall(ax: Axes, brief: Brief, wall: Wall) -> None:
    """A wall in plan, hatched, on the side away from the paving."""
    out = THICK * np.array(brief.outward(wall))
    first, second = np.array(wall.first), np.array(wall.second)
    ax.fill(*np.array([first, second, second - out, first - out]).T, facecolor=WALL, edgecolor=INK, hatch="///", linewidth=0.8,
            zorder=4)
    middle = (first + second) / 2 - 1.9 * out
    up = -1 if ax.yaxis_inverted() else 1
    angle = (np.degrees(np.arctan2(up * wall.direction[1], wall.direction[0])) + 90) % 180 - 90
    ax.text(float(middle[0]), float(middle[1]), wall.name, ha="center", va="center", fontsize=TEXT, color=INK, rotation=angle)


def round_steps(low: float, high: float, *, least: float, most: int) -> Floats:
    """Round numbers from the one at or above `low` to the one at or below `high`, at most about `most` of them.

    They lie 1, 2 or 5 times a power of ten apart, `least` at the least.
    """
    step = next(step for power in range(-3, 13) for step in (10.0**power, 2 * 10.0**power, 5 * 10.0**power)
                if step > least - 1e-9 and (high - low) / step <= most)
    return np.asarray(np.arange(np.ceil(low / step - 1e-9), np.floor(high / step + 1e-9) + 1) * step)


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
