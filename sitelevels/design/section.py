"""The section square to a wall: what stands above what, measured out from it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import shapely

from ..errors import SurveyError, finite, must_be
from ..surface.finish import Finish
from ..surface.ground import Ground
from ..surface.plane import Floats
from ..wording import word_distance
from .brief import SAME_STATION, Brief, Wall
from .demands import Clearance

LEAST = 0.001  # m: through less paving no section is cut
ASIDE = (0.0, 0.005, -0.005, 0.02, -0.02, 0.05, -0.05)  # m: so far a section at a corner is moved where that meets more


@dataclass(frozen=True, eq=False)
class Section:
    """Profiles square to a wall, `along` m from its first end. Made by `cut_section`.

    `out` (n,) are the distances out from the wall at which either profile bends, `finished` (n,) and `existing` (n,) are levels,
    `dpc` is a level, all in m; `existing` is NaN beyond the spots (a gap in the line that is drawn, no level).
    """

    brief: Brief
    wall: Wall
    along: float
    out: Floats
    finished: Floats
    existing: Floats
    dpc: float

    @property
    def clearance(self) -> float:
        """DPC less finished level at the wall, m."""
        return float(self.dpc - self.finished[0])

    @property
    def asked(self) -> float | None:
        """The least clearance that the brief asks for at this wall, m; None if it asks for none."""
        return max((demand.least for demand in self.brief.demands
                    if isinstance(demand, Clearance) and demand.wall == self.wall.name), default=None)

    @property
    def falls(self) -> tuple[tuple[float, float, float], ...]:
        """The straight parts of the finished profile, outwards: from, to (m out from the wall), fall outwards (m/m)."""
        found: list[tuple[float, float, float]] = []
        for start, end, high, low in zip(self.out, self.out[1:], self.finished, self.finished[1:], strict=False):
            fall = float((high - low) / (end - start))
            if found and abs(found[-1][2] - fall) < 1e-6:
                found[-1] = (found[-1][0], float(end), fall)
            else:
                found.append((float(start), float(end), fall))
        return tuple(found)

    @property
    def deepest(self) -> float | None:
        """Greatest depth in m from today's ground to the formation along the line; None where no spot is near."""
        depth = self.existing - self.finished + self.brief.build_up
        return None if np.isnan(depth).all() else max(float(np.nanmax(depth)), 0.0)


def cut_section(brief: Brief, finish: Finish, ground: Ground, wall_name: str, along: float) -> Section:
    """The section square to a wall through the area.

    Parameters
    ----------
    brief, finish, ground
    wall_name : str
    along : float
        Distance from the wall's first end, m.

    Raises
    ------
    SurveyError
        Where the area does not lie out from the wall there, by a millimetre at the least.
    """
    for value, kind, name in ((brief, Brief, "the brief"), (finish, Finish, "the finish"), (ground, Ground, "the ground")):
        must_be(value, kind, name)
    wall, asked = brief.wall(wall_name), finite(along, "the place along the wall")
    along = min(max(asked, 0.0), wall.length)
    outward = np.array(brief.outward(wall))
    # at a corner the line runs along a side, and leaves the area where that was taped a little out of square: it is moved in
    ends = brief.stations(wall)
    inside = ends[0] + max(ASIDE) < along < ends[-1] - max(ASIDE)
    tried = [line for aside in (ASIDE[:1] if inside else ASIDE) if 0 <= along + aside <= wall.length
             for line in _first_part(brief, np.array(wall.place(along + aside)), outward)]
    if not tried or abs(asked - along) > SAME_STATION:
        raise SurveyError(f"no paving lies out from the {wall.name} at {word_distance(asked)} along",
                          rule=f"The wall is {word_distance(wall.length)} long.", remedy="Choose another place.")
    longest = max(last for _, _, last in tried)
    start, first, last = next(line for line in tried if line[2] > longest - 1.2 * max(ASIDE))
    line = shapely.LineString([start + first * outward, start + last * outward])
    corners = np.column_stack([ground.x, ground.y])[ground.triangles]
    edges = [shapely.linestrings(np.stack([corners[:, place - 1], corners[:, place]], axis=1)) for place in range(3)]
    edges.append(np.array([facet.area.exterior for facet in finish.facets]))
    bends = shapely.get_coordinates(shapely.intersection(np.concatenate(edges), line)) - start
    out = np.unique(np.clip(np.concatenate([[first, last], bends @ outward]), first, last))
    out = out[np.append(True, np.diff(out) > SAME_STATION)]
    x, y = (start[:, None] + outward[:, None] * out)
    covered = ground.covers(x, y)
    existing = np.full(len(out), np.nan)
    existing[covered] = ground.level_at(x[covered], y[covered])
    return Section(brief, wall, along, out, np.asarray(finish.level_at(x, y)), existing, wall.dpc_at(along))


def _first_part(brief: Brief, start: Floats, outward: Floats) -> Iterator[tuple[Floats, float, float]]:
    """The first paving met out from a place: the place, and from where to where, m out from it; nothing where there is none."""
    reach = 2 * float(np.hypot(*(np.array(brief.area.bounds[2:]) - brief.area.bounds[:2])))
    inside = shapely.LineString([start, start + reach * outward]).intersection(brief.area)
    parts = [(np.array(part.coords) - start) @ outward for part in shapely.get_parts(inside)
             if part.geom_type == "LineString" and part.length > LEAST]
    if parts:
        nearest = min(parts, key=lambda ends: float(ends.min()))
        yield start, float(nearest.min()), float(nearest.max())
