"""The meaning of each demand as rows on a plane, written down anew, and linear programmes on them; none of the solver's code.

A plane is u = (level at the job's middle less a datum, gx, gy), in m and m/m. A row is a · u ≤ b.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Any

import numpy as np
import shapely
from random_jobs import RandomJob
from scipy.optimize import linprog

from sitelevels import Plane

Array = Any
SAME = 2e-7  # m or m/m: a limit broken by less is kept
GREATEST = ("most", "within", "lower", "higher", "proud_most")
LEAST = ("least", "by", "proud_least")
FIELDS = {"Clearance": ("least",), "FallAway": ("least", "most"), "FallAlong": ("most",), "Meet": ("within",),
          "AccessCover": ("within", "lower", "higher"), "Step": ("least", "most"), "Cover": ("least",), "KeepBelow": ("by",),
          "Gully": ("proud_least", "proud_most"), "MaxGradient": ("most",), "ClosedEdge": ()}


def limits_of(demand: Any) -> dict[str, float]:
    """The limits of a demand by field, m or m/m."""
    if type(demand).__name__ == "Gully":
        return {"proud_least": demand.proud[0], "proud_most": demand.proud[1]}
    return {field: value for field in FIELDS[type(demand).__name__] if (value := getattr(demand, field)) is not None}


def easier(field: str, value: float, by: float) -> float:
    """A limit eased by so much; a least one no further than to nought."""
    assert field in GREATEST + LEAST
    return value + by if field in GREATEST else max(value - by, 0.0)


def rows_of_demand(job: RandomJob, demand: Any, limits: dict[str, float], *,
                   cautious: bool) -> Iterator[tuple[Array, float, str]]:
    """Rows a · u ≤ b of a demand with these limits, each with the field that b comes from (two with a blank between)."""
    kind, datum = type(demand).__name__, float(job.hidden[0])

    def level(x: float, y: float) -> Array:
        return np.array([1.0, x - job.middle[0], y - job.middle[1]])

    def fall(way: Array) -> Array:
        return np.array([0.0, -way[0], -way[1]])
    if kind == "Clearance":
        for x, y, dpc in job.walls[demand.wall].stations:
            yield level(x, y), dpc - datum - limits["least"], "least"
    elif kind == "FallAway":
        away = fall(job.walls[demand.wall].out)
        yield -away, -limits["least"], "least"
        if "most" in limits:
            yield away, limits["most"], "most"
    elif kind == "FallAlong":
        along = fall(job.walls[demand.wall].along)
        yield along, limits["most"], "most"
        yield -along, limits["most"], "most"
    elif kind == "ClosedEdge":
        yield -fall(job.edges[demand.first, demand.second]), 0.0, ""
    elif kind == "MaxGradient":
        # 32 sides inside the circle, as the solver promises; or 256 round it, which no true gradient within the limit leaves
        count, apothem = (32, np.cos(np.pi / 32)) if cautious else (256, 1.0)
        for angle in 2 * np.pi * np.arange(count) / count:
            yield np.array([0.0, np.cos(angle), np.sin(angle)]), limits["most"] * apothem, "most"
    else:
        spots = {"Step": "at", "KeepBelow": "point", "Gully": "point"}.get(kind, "points")
        spots = getattr(demand, spots)
        for _, x, y, old in [spots] if isinstance(spots[0], str) else spots:
            here, there = level(x, y), old - datum
            if kind == "Meet":
                yield here, there + limits["within"], "within"
                yield -here, -there + limits["within"], "within"
            elif kind == "AccessCover":
                yield here, there + limits["within"] + limits["higher"], "within higher"
                yield -here, -there + limits["within"] + limits["lower"], "within lower"
            elif kind == "Step":
                sign = 1 if demand.up else -1
                yield -sign * here, -sign * there - limits["least"], "least"
                yield sign * here, sign * there + limits["most"], "most"
            elif kind == "Cover":
                yield -here, -there - limits["least"], "least"
            elif kind == "KeepBelow":
                yield here, there - limits["by"], "by"
            else:
                assert kind == "Gully"
                yield -here, -there - limits["proud_least"], "proud_least"
                yield here, there + limits["proud_most"], "proud_most"


@dataclass(frozen=True, eq=False)
class Rows:
    """All rows of a job: a (m, 3) · u ≤ b (m,), the number of the demand of each and the field of its limit."""

    a: Array
    b: Array
    owner: Array
    field: list[str]

    def missed(self, keep: Iterable[int] | None = None) -> tuple[float, Array]:
        """The least by which the worst of some demands must be broken, and a plane that does so."""
        mine = np.ones(len(self.b), dtype=bool) if keep is None else np.isin(self.owner, list(keep))
        if not mine.any():
            return 0.0, np.zeros(3)
        u = solve_programme([0, 0, 0, 1], np.column_stack([self.a[mine], -np.ones(mine.sum())]), self.b[mine],
                            [(None, None)] * 3 + [(0, None)])
        assert u is not None
        return float(u[3]), u[:3]


def solve_programme(cost: Any, a: Array, b: Array, bounds: Any) -> Array | None:
    found = linprog(cost, A_ub=a, b_ub=b, bounds=bounds, method="highs",
                    options={"primal_feasibility_tolerance": 1e-10, "dual_feasibility_tolerance": 1e-10})
    return found.x


def own_rows(job: RandomJob, demands: Sequence[Any], changed: dict[int, dict[str, float]] | None = None, *,
             cautious: bool = True) -> Rows:
    """Rows of some demands, limits of some of them changed."""
    a, b, owner, field = [], [], [], []
    for number, demand in enumerate(demands):
        limits = {**limits_of(demand), **(changed or {}).get(number, {})}
        for row, limit, of in rows_of_demand(job, demand, limits, cautious=cautious):
            if np.isfinite(limit):
                a.append(row)
                b.append(limit)
                owner.append(number)
                field.append(of)
    return Rows(np.array(a).reshape(-1, 3), np.array(b), np.array(owner, dtype=int), field)


def smallest_sets(rows: Rows, count: int, largest: int = 4) -> set[frozenset[int]]:
    """All minimal infeasible sets of up to so many demands, from the largest down, each subset asked."""
    fits: dict[frozenset[int], bool] = {}
    for size in range(min(largest, count), 0, -1):
        for one in map(frozenset, combinations(range(count), size)):
            if one in fits:
                continue
            missed, u = rows.missed(one)
            fits[one] = missed <= SAME
            if fits[one]:  # and with it whatever else that plane keeps, and all parts of these
                kept = [number for number in range(count) if (rows.a @ u - rows.b)[rows.owner == number].max() <= SAME / 2]
                for less in range(1, largest + 1):
                    fits.update(dict.fromkeys(map(frozenset, combinations(kept, less)), True))
    broken = [one for one, fit in fits.items() if not fit]
    return {one for one in broken if all(fits[one - {number}] for number in one if len(one) > 1)}


def targets_of(job: RandomJob, demands: Sequence[Any]) -> tuple[Array, Array]:
    """Falls (k, 3) on u, and the targets (k,) that they should come near."""
    wanted = [(job.walls[one.wall].out, one.target) for one in demands if getattr(one, "target", None) is not None]
    return (np.array([[0.0, -out[0], -out[1]] for out, _ in wanted]).reshape(-1, 3), np.array([target for _, target in wanted]))


def least_off(rows: Rows, falls: Array, targets: Array) -> float:
    """The least sum of |fall − target| within some rows, m/m."""
    k = len(targets)
    if not k:
        return 0.0
    u = solve_programme([0] * 3 + [1] * k, *with_misses(rows, falls, targets), [(None, None)] * 3 + [(0, None)] * k)
    assert u is not None
    return float(np.abs(falls @ u[:3] - targets).sum())


def with_misses(rows: Rows, falls: Array, targets: Array) -> tuple[Array, Array]:
    """The rows on u and, after it, how far each target is missed."""
    k = len(targets)
    a = np.vstack([np.column_stack([rows.a, np.zeros((len(rows.b), k))]), np.column_stack([falls, -np.eye(k)]),
                   np.column_stack([-falls, -np.eye(k)])])
    return a, np.concatenate([rows.b, targets, -targets])


def plane_of(job: RandomJob, u: Array) -> Plane:
    return Plane(float(u[0] + job.hidden[0]), float(u[1]), float(u[2]), tuple(job.middle))


def u_of(job: RandomJob, plane: Plane) -> Array:
    return np.array([plane.level_at(*job.middle) - job.hidden[0], plane.gx, plane.gy])


class OwnVolume:
    """∫|ground − formation| for many planes at once, by the closed form of a triangle on which one corner differs in sign."""

    def __init__(self, job: RandomJob) -> None:
        ground, area = job.ground, job.brief.area
        corners, levels = [], []
        for triangle in ground.triangles:
            xy = np.column_stack([ground.x[triangle], ground.y[triangle]])
            slope = np.linalg.solve(np.column_stack([np.ones(3), xy - xy[0]]), ground.level[triangle])
            common = shapely.Polygon(xy).intersection(area)
            for part in shapely.get_parts(shapely.constrained_delaunay_triangles(common)):
                three = np.array(part.exterior.coords)[:3]
                corners.append(three)
                levels.append(slope[0] + (three - xy[0]) @ slope[1:])
        places = np.array(corners)
        (ax, ay), (bx, by) = (places[:, 1] - places[:, 0]).T, (places[:, 2] - places[:, 0]).T
        self.plan = abs(ax * by - ay * bx) / 2
        self.moves = np.concatenate([np.ones((*places.shape[:2], 1)), places - job.middle], axis=2)
        self.free = np.array(levels) + job.brief.build_up - job.hidden[0]

    def __call__(self, planes: Array) -> Array:
        """Volumes (k,) in m³ of planes (k, 3)."""
        found = np.empty(len(planes))
        for start in range(0, len(planes), 200):
            depth = np.sort(self.free - np.einsum("pcn,kn->kpc", self.moves, planes[start:start + 200]), axis=2)
            low, middle, high = depth[..., 0], depth[..., 1], depth[..., 2]
            net = depth.mean(axis=2)
            with np.errstate(divide="ignore", invalid="ignore"):
                top = np.where((high > 0) & (middle <= 0), high**3 / (3 * (high - middle) * (high - low)), 0.0)
                foot = np.where((low < 0) & (middle > 0), -low**3 / (3 * (middle - low) * (high - low)), 0.0)
            size = np.where(low >= 0, net, np.where(high <= 0, -net, np.where(middle > 0, net + 2 * foot, 2 * top - net)))
            found[start:start + 200] = size @ self.plan
        return found

    def slope(self, u: Array, step: float = 1e-5) -> Array:
        """The gradient (k, 3) at planes (k, 3), by central differences."""
        shifts = step * np.eye(3)
        return np.stack([(self(u + shift) - self(u - shift)) / (2 * step) for shift in shifts], axis=1)
