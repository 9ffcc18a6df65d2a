"""Plans with words that stand clear of marks, walls and each other."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Any

import numpy as np
import shapely
from matplotlib.axes import Axes
from matplotlib.contour import ContourSet
from matplotlib.figure import Figure
from matplotlib.patches import PathPatch
from matplotlib.text import Annotation
from matplotlib.transforms import Bbox

from ...design.brief import Brief
from . import style

SIDES = ((1, -1), (1, 1), (-1, -1), (-1, 1), (0, -2.4), (0, 2.4), (1, -4.5), (-1, -4.5), (1, 4.5), (-1, 4.5), (0, 8.5), (1, 8.5),
         (-1, 8.5), (0, -8.5))  # of a place, across and in shares of 3 points up: where its words may stand
TRIES = 31  # places each way that are tried for words inside a part
FAR = 3  # of SIDES: words that stand farther up or down are led to by a line


def in_walls(brief: Brief) -> style.Floats:
    """Places (k, 2) along the middles of walls as they are drawn."""
    lines = [np.linspace(wall.first, wall.second, 40) - style.THICK / 2 * np.array(brief.outward(wall)) for wall in brief.walls]
    return np.concatenate([np.empty((0, 2)), *lines])


def spans(ax: Axes, places: Iterable[Any], half: float) -> list[Bbox]:
    """Where marks at places (x, y) stand on the picture, each reaching `half` points every way."""
    reach = half * ax.figure.get_dpi() / 72
    at = np.reshape(ax.transData.transform(np.reshape(np.array([*places], dtype=float), (-1, 2))), (-1, 2))
    return [Bbox([[x - reach, y - reach], [x + reach, y + reach]]) for x, y in at]


def settle(ax: Axes) -> None:
    """Settle where places lie on the picture; the title has to be there, for the room that it takes decides it."""
    figure = ax.figure
    if isinstance(figure, Figure):
        style.plain_text(figure)
        figure.draw_without_rendering()


def inside(ax: Axes, part: shapely.Polygon, words: str, off: Iterable[Bbox]) -> bool:
    """Words as near as may be to the middle of a part of a settled plan, clear of its edge, of other words and of what is `off`.

    Nothing is written where they have no room; whether they have is given back.
    """
    start = part.representative_point()
    text = style.note(ax, words, (start.x, start.y), zorder=8, ha="center", va="center")
    style.plain(text)
    taken = [*off, *(one.get_window_extent() for one in ax.texts if one is not text and one.get_text())]
    shown, room = shapely.transform(part, ax.transData.transform), text.get_window_extent().padded(3)
    across, up = room.width / 2, room.height / 2
    x_min, y_min, x_max, y_max = shown.bounds
    grid = np.stack(np.meshgrid(np.linspace(x_min, x_max, TRIES), np.linspace(y_min, y_max, TRIES)), axis=-1).reshape(-1, 2)
    middle = np.array([shown.centroid.x, shown.centroid.y])
    for x, y in grid[np.hypot(*(grid - middle).T).argsort(kind="stable")]:
        box = Bbox([[x - across, y - up], [x + across, y + up]])
        if shown.covers(shapely.box(*box.extents)) and not any(map(box.overlaps, taken)):
            at = ax.transData.inverted().transform((x, y))
            text.xy = (float(at[0]), float(at[1]))
            return True
    text.remove()
    return False


def beside(ax: Axes, labels: Iterable[tuple[float, float, str, float]], off: Callable[[], list[Bbox]] = list) -> list[Bbox]:
    """Words beside places (x, y), so many points away, the first coming first: clear of all other words, and of marks.

    The title has to be there, for the room that it takes decides where places lie. `off` says where marks stand, once that is
    settled; where there is no room, as little as can be of them is written over, and where other words leave none, a label is
    left out. Returns what is taken then.
    """
    settle(ax)
    frame, marks = ax.get_window_extent().padded(3), off()
    taken = [text.get_window_extent() for text in ax.texts if text.get_text()]
    for x, y, words, gap in labels:
        text = style.note(ax, words, (x, y), zorder=8)
        style.plain(text)
        found: list[tuple[float, int, float, float, float]] = []
        for rank, (right, up) in enumerate(SIDES):
            by = 3 * up + (0.75 * gap - 3) * (1 if up > 0 else -1)
            box = _stood(text, right, gap * right, by)
            if frame.x0 <= box.x0 and box.x1 <= frame.x1 and frame.y0 <= box.y0 and box.y1 <= frame.y1 and not any(
                    map(box.overlaps, taken)):
                found.append((sum(_common(box, mark) for mark in marks), rank, right, up, by))
                if not found[-1][0]:
                    break
        if not found:
            text.remove()
            continue
        _, _, side, far, rise = min(found)
        taken.append(_stood(text, side, gap * side, rise))
        if abs(far) > FAR:
            style.note(ax, "", (x, y), (gap * side, rise), zorder=3, backed=False,
                       arrowprops={"arrowstyle": "-", "color": style.INK, "linewidth": 0.6})
    return taken + marks


def _stood(text: Annotation, right: float, x: float, y: float) -> Bbox:
    """Where words lie that stand so many points beside their place."""
    text.set_position((x, y))
    text.set_horizontalalignment("left" if right > 0 else "right" if right < 0 else "center")
    text.set_verticalalignment("bottom" if y > 0 else "top")
    return text.get_window_extent()


def _common(one: Bbox, other: Bbox) -> float:
    """The area that two boxes have in common."""
    both = Bbox.intersection(one, other)
    return 0.0 if both is None else float(both.width * both.height)


def label_lines(ax: Axes, lines: ContourSet, area: shapely.Polygon, words: Callable[[float], str], taken: list[Bbox]) -> None:
    """Labels on contours, but for those that would lie on what is taken or over the edge of the area."""
    before, shown = [*ax.texts], shapely.transform(area, ax.transData.transform)
    style.label_contours(ax, lines, area, words)
    kept = [*taken]
    for text in ax.texts[len(before):]:
        box = text.get_window_extent()
        if any(map(box.overlaps, kept)) or not shown.covers(shapely.box(*box.extents)):
            text.remove()
        else:
            kept.append(box)


def say(ax: Axes, area: shapely.Polygon, words: str, tint: str = "#f4f5f5") -> None:
    """A plain sentence in an empty plan."""
    ax.add_patch(PathPatch(style.area_path(area), facecolor=tint, edgecolor="none", zorder=0))
    place = area.representative_point()
    ax.text(place.x, place.y, words, ha="center", va="center", fontsize=style.TEXT + 1, color=style.INK, zorder=6,
            bbox=style.BACKED)
