"""Where rain goes on a finished surface, in plan."""

from __future__ import annotations

import math

import shapely
from matplotlib.axes import Axes
from matplotlib.patches import PathPatch

from ...design.brief import Brief
from ...wording import word_area
from ...works.catchment import Catchments
from . import style
from .labels import beside, inside, settle, spans

LOOKS = (("#dcecec", ""), ("#f1e6d2", "//"), ("#cfdfd3", "\\\\"), ("#eadbe4", ".."), ("#e4e4e4", "||"), ("#d3dcea", "--"))
SMALL = 0.08  # of the whole: what is smaller is named where its water leaves
DEAD = ("#f3d3d0", "xx")
WORDS = {"free edge": "over this edge", "channel": "to the channel", "level channel": "to a level channel", "gap": "into a gap",
         "dead spot": "stays: dead spot"}


def catchments(found: Catchments, *, ax: Axes | None = None, brief: Brief | None = None) -> Axes:
    """What drains to each edge, channel or outlet, with its area in m²; arrows point downhill, and dead spots are named.

    `found` is what `catchments` of the package gives; walls are those of `brief`, else of the brief that it was found for.
    Nothing is refused.
    """
    ax = style.plan(ax, brief or found.brief)
    style.titled(ax, "Where does the rain go?", "arrows point downhill; a number stands where its water leaves, a cross where it "
                 "stays", " ".join((found.sentence(), *found.dead)))
    labels: list[tuple[float, float, str, float]] = []
    looks, homes = 0, []
    for number, sink in enumerate(found.sinks, start=1):
        area, roof = found.taken(sink)
        dead = sink.kind == "dead spot"
        tint, hatch = DEAD if dead else LOOKS[looks % len(LOOKS)]
        looks += not dead
        parts = [part for part in shapely.get_parts(found.region(sink)) if part.area > 0]
        for part in parts:
            ax.add_patch(PathPatch(style.area_path(part), facecolor=tint, edgecolor="#8a9399", hatch=hatch, linewidth=0.0,
                                   zorder=1))
            ax.add_patch(PathPatch(style.area_path(part), fill=False, edgecolor=style.INK, linewidth=0.8, zorder=2))
        colour = style.NOT_MET if dead else style.WATER
        ax.plot(sink.x, sink.y, "X" if dead else "o", markersize=8, color=colour, markeredgecolor="white", zorder=6)
        style.note(ax, f"{number}", (sink.x, sink.y), (7, 5), color=colour, fontweight="bold", zorder=8)
        words = f"{number}: {word_area(area)} {WORDS.get(sink.kind, f'to {sink.place}')}"
        words += f"\nand {word_area(roof)} of roof" if roof else ""
        large = [part for part in parts if part.area > SMALL * found.finish.area]
        homes.append((max(large, key=lambda part: part.area) if large else None, sink, words))
    reach = 0.045 * found.finish.area**0.5
    settle(ax)
    dots = spans(ax, [(sink.x, sink.y) for _, sink, _ in homes], 4.0)
    for home, sink, words in homes:  # in its own area where there is room, else where its water leaves
        if home is None or not inside(ax, home, words, dots):
            labels.append((sink.x, sink.y, words, 4.0))
    beside(ax, labels, lambda: spans(ax, [one[:2] for one in found.arrows], 5.0))
    words_at = [text.get_window_extent().padded(3) for text in ax.texts if text.get_text()]
    drawn: list[tuple[float, float]] = []
    for x, y, dx, dy, _ in found.arrows:
        ends = ax.transData.transform([(x - reach * dx, y - reach * dy), (x, y), (x + reach * dx, y + reach * dy)])
        clear = not any(box.contains(*end) for box in words_at for end in ends)
        if clear and all(math.dist((x, y), other) > 2 * reach for other in drawn):
            drawn.append((x, y))
            style.arrow(ax, (x - reach * dx, y - reach * dy), (x + reach * dx, y + reach * dy))
    return ax
