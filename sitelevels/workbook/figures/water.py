"""Standing water in plan: where rain stays, how deep, which way it would run over, and how likely that is."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import shapely
from matplotlib.axes import Axes
from matplotlib.colors import LinearSegmentedColormap
from matplotlib.tri import Triangulation

from ...design.brief import Brief
from ...design.puddles import DEPTHS, FILM, StandingWater
from ...errors import SurveyError
from ...surface.basin import Basin
from ...surface.ponding import Ponding
from ...wording import word_area, word_chance, word_mm, word_number, word_place, word_share
from . import style
from .earth import JOINED, mesh_of
from .labels import beside, in_walls, label_lines, say, spans

DEEP = LinearSegmentedColormap.from_list("deep", ["#d9eeed", "#5fa9a7"])
SHOWN = 5  # basins whose depth and way out are drawn
CHANCES = (0.05, 0.50, 0.95)
CELLS = 50  # of the map of chances along the longer side


def puddles(pond: Ponding, *, brief: Brief, ax: Axes | None = None) -> Axes:
    """Where water stands, darker where deeper, with its depth in mm; arrows along the way by which it would run over.

    `pond` is what `ponding` gives; outline and walls are those of `brief`. Nothing is refused.
    """
    ax = style.plan(ax, brief)
    title = "Where would rain stand?"
    if not pond.basins:
        say(ax, brief.area, "no water stands:\nall rain can run off")
        return style.titled(ax, title, "no hollow was found between the spots", pond.sentence())
    steps = style.round_steps(0.0, pond.depth, least=0.001, most=6)
    mesh, depth = mesh_of(*pond.wet)
    ends = np.append(steps, 2 * steps[-1] - steps[-2]) if len(steps) > 1 else np.array([0.0, FILM])
    ax.tricontourf(mesh, depth, levels=ends, cmap=DEEP, vmin=0.0, vmax=float(ends[-1]), zorder=1)
    if depth.max() > 0.0:
        ax.tricontour(mesh, depth, levels=[0.0], colors=style.WATER, linewidths=0.9, zorder=2)
    lines = ax.tricontour(mesh, depth, levels=steps[1:], colors=style.INK, linewidths=0.7, zorder=2) if len(steps) > 1 else None
    size = float(np.hypot(*np.diff(np.reshape(brief.area.bounds, (2, 2)), axis=0)[0]))
    first = pond.basins[:SHOWN]
    for basin in first:
        _run_over(ax, _over_the_rim(basin, 0.06 * size), 0.06 * size)
        ax.plot(*basin.place, "x", markersize=6, markeredgewidth=1.8, color=style.INK, clip_on=False, zorder=6)
    more = len(pond.basins) - SHOWN
    every = f"lines every {word_mm(float(steps[1] - steps[0]))}; " if len(steps) > 1 else ""
    under = (f"{_least(word_area, pond.area, 0.05, 0.1)}, {_least(_litres, pond.volume, 1e-4, 1e-4)}; {every}arrows: the way it "
             f"would run over{f'; {more} shallower not marked' if more > 0 else ''}")
    marked = ", ".join(_deep(basin.depth) for basin in pond.basins[1:SHOWN])
    style.titled(ax, title, under, pond.sentence() + (f" Next deepest: {marked}." if marked else ""))
    ways = np.concatenate([_dots(_over_the_rim(basin, 0.06 * size)) for basin in first])
    taken = beside(ax, [(*basin.place, _deep(basin.depth), 5.0) for basin in first], lambda: [
        *spans(ax, [basin.place for basin in first], 3.0), *spans(ax, ways, 2.0), *spans(ax, in_walls(brief), 5.0)])
    if lines is not None:
        label_lines(ax, lines, brief.area, word_mm, taken)
    return ax


def _over_the_rim(basin: Basin, beyond: float) -> style.Floats:
    """The way from the deepest place over the rim, and so far (m) beyond: farther on the net's way is not the water's."""
    over = int(np.hypot(*(basin.path - basin.spill).T).argmin())
    on = basin.path[over:]
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(on, axis=0).T))])
    end = [np.interp(min(beyond, along[-1]), along, values) for values in on.T]
    return np.vstack([basin.path[:over + 1], end])


def _run_over(ax: Axes, path: style.Floats, reach: float) -> None:
    """A way with a head at its end."""
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(path, axis=0).T))])
    if along[-1] < JOINED:
        return
    ax.plot(*path.T, color=style.WATER, linewidth=1.8, zorder=5, clip_on=False)
    back = max(along[-1] - reach, 0.0)
    start = (float(np.interp(back, along, path[:, 0])), float(np.interp(back, along, path[:, 1])))
    style.arrow(ax, start, (float(path[-1, 0]), float(path[-1, 1])), zorder=6)


def _dots(path: style.Floats) -> style.Floats:
    """Places along a path, near enough to stand for it."""
    line = shapely.LineString(path)
    return shapely.get_coordinates(line.segmentize(line.length / 40)) if line.length > JOINED else path


def _litres(volume: float) -> str:
    return f"{word_number(volume * 1000, figures=2)} l"


def _deep(depth: float) -> str:
    return _least(lambda shown: word_mm(shown, digits=1), depth, 5e-5, 1e-4)


def _least(word: Callable[[float], str], value: float, shown: float, least: float) -> str:
    return word(value) if value >= shown else f"under {word(least)}"


def puddle_chance(water: StandingWater, *, brief: Brief, depth: float = 0.003, ax: Axes | None = None) -> Axes:
    """The chance, by the errors of the readings, that water stands deeper than `depth` m, one of DEPTHS: at 5, 50 and 95 %.

    `water` is what `standing_water` gives; outline and walls are those of `brief`. Raises SurveyError for another depth, and
    where errors are not counted.
    """
    if depth not in DEPTHS:
        raise SurveyError(f"the depth is {depth!r}", rule=f"It must be one of {', '.join(map(word_mm, DEPTHS))}, in m.")
    if water.again is None:
        raise SurveyError("errors are not counted", remedy="Give the covariance of the levels.")
    ax = style.plan(ax, brief)
    mesh = _map(water.ponding, brief.area)
    chance = np.asarray(water.again.chance(mesh.x, mesh.y, depth))
    best = int(np.lexsort((water.ponding.depth_at(mesh.x, mesh.y), chance))[-1])  # of the likeliest the deepest
    most, at = float(chance[best]), (float(mesh.x[best]), float(mesh.y[best]))
    deep = word_mm(depth)
    title = f"How likely is it that water stands deeper than {deep}?"
    somewhere = word_chance(water.again.chance_deeper(depth))
    if most < CHANCES[0]:
        words = f"under {word_share(CHANCES[0])} everywhere"
        say(ax, brief.area, words)
        return style.titled(ax, title, f"{words}; somewhere: {somewhere}", f"The chance that water stands deeper than "
                            f"{deep} is {words}, by the errors of the readings; that it does somewhere, {somewhere}.")
    bands = ax.tricontourf(mesh, chance, levels=[*CHANCES, 1.01], colors=["#d9eeed", "#9fcfcd", "#5fa9a7"], zorder=1)
    lines = ax.tricontour(mesh, chance, levels=[level for level in CHANCES if level < most], colors=style.INK, linewidths=0.9,
                          zorder=2)
    for drawn in (bands, lines):
        drawn.set_clip_path(style.area_path(brief.area), ax.transData)
    ax.plot(*at, "x", markersize=6, markeredgewidth=1.8, color=style.INK, clip_on=False, zorder=6)
    shades = "; ".join(f"{shade}: {word_share(level)} or more" for shade, level in zip(("pale", "darker", "darkest"), CHANCES,
                                                                                      strict=True) if level <= most)
    style.titled(ax, title, f"{shades}; somewhere: {somewhere}",
                 f"The chance that water stands deeper than {deep} is greatest at {word_place(*at)}, {word_chance(most)}, by the "
                 f"errors of the readings; that it does somewhere, {somewhere}.")
    label_lines(ax, lines, brief.area, word_share, beside(ax, [(*at, f"{word_chance(most)} here", 5.0)],
                                                          lambda: spans(ax, [at], 3.0) + spans(ax, in_walls(brief), 5.0)))
    return ax


def _map(pond: Ponding, area: shapely.Polygon) -> Triangulation:
    """Triangles between places on a grid and along the outline, where anything is known of the water."""
    x_min, y_min, x_max, y_max = area.bounds
    cell = max(x_max - x_min, y_max - y_min) / CELLS
    grid = np.stack(np.meshgrid(np.arange(x_min + cell / 2, x_max, cell), np.arange(y_min + cell / 2, y_max, cell)), axis=-1)
    grid = grid.reshape(-1, 2)
    grid = grid[shapely.contains_xy(area.buffer(-0.3 * cell), *grid.T)]
    places = np.concatenate([grid, np.unique(shapely.get_coordinates(area.segmentize(cell)), axis=0)])
    places = places[pond.covers(*places.T)]
    middle = places.mean(axis=0)
    mesh = Triangulation(*(places - middle).T)
    mesh.set_mask(~shapely.contains_xy(area, *places[mesh.triangles].mean(axis=1).T))
    return Triangulation(places[:, 0], places[:, 1], mesh.get_masked_triangles())
