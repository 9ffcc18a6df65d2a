"""Outlines, limits, walls, layers, budgets and names of every kind, drawn at random: sound results, or refused in sentences."""

from __future__ import annotations

import math
import os
import warnings
from collections.abc import Callable
from pathlib import Path
from typing import Any

import shapely
from hypothesis import HealthCheck, Phase, given, seed, settings
from hypothesis import strategies as st
from ledger import Ledger, SlippedError, sound
from numbers_everywhere import AREA, judged, looked_at, things
from readers import scratch
from strangers import NAMES, harmless

import sitelevels as sl
from sitelevels.workbook import new_job
from sitelevels.workbook.folders import RESERVED, job_folder

ODD = [
    0.0,
    -0.0,
    1.0,
    2.0,
    3.0,
    4.0,
    6.0,
    0.5,
    1e-9,
    1e-12,
    -1e-9,
    1e-3,
    1e9,
    -1e9,
    1e6,
    450_000.0,
    1e308,
    5e-324,
    math.nan,
    math.inf,
    -math.inf,
    0.1 + 0.2,
    2.9999999999,
]
NUMBERS = st.one_of(st.sampled_from(ODD), st.sampled_from([0.0, 1.0, 2.0, 4.0, 6.0]), st.floats(-8, 8), st.floats())
PLACES = st.tuples(NUMBERS, NUMBERS)
NEAR = st.tuples(
    st.sampled_from([0.0, 1.0, 2.0, 3.0, 4.0, 1e-9, 4.000000001]), st.sampled_from([0.0, 1.0, 2.0, 3.0, 1e-9, 3.0000000001])
)
LIMITS = st.one_of(
    st.sampled_from([0.0, 0.01, 0.0125, 0.02, 0.05, 0.15, -0.01, 1e-12, 1e308, math.nan, math.inf, -math.inf]), st.floats()
)


YARDS = [
    [(0.0, 0.0), (4.0, 0.0), (4.0, 3.0), (0.0, 3.0)],
    [(0.0, 0.0), (4.0, 0.0), (4.0, 2.0), (2.0, 2.0), (2.0, 3.0), (0.0, 3.0)],
    [(0.0, 0.0), (4.0, 0.0), (0.0, 3.0)],
    [(0.0, 0.0), (2.0, 0.0), (4.0, 0.0), (4.0, 3.0), (1e-9, 3.0), (0.0, 3.0)],
]


@st.composite
def outlines(draw: st.DrawFn) -> Any:
    """Corners that cross, repeat, lie in line, nearly coincide, are huge or tiny; polygons with holes that touch."""
    if draw(st.booleans()):  # a yard, with corners put in, doubled or taken out, turned round, made larger or smaller
        corners = list(draw(st.sampled_from(YARDS)))
        for _ in range(draw(st.integers(0, 2))):
            at = draw(st.integers(0, len(corners)))
            corners[at : at + draw(st.integers(0, 1))] = [draw(st.one_of(NEAR, PLACES, st.sampled_from(corners)))]
        size = draw(st.sampled_from([1.0, 1.0, 1.0, 1e-9, 1e-4, 1e3, 1e9]))
        corners = [(x * size, y * size) for x, y in (corners[::-1] if draw(st.booleans()) else corners)]
    else:
        corners = draw(st.lists(draw(st.sampled_from([PLACES, NEAR, NEAR])), max_size=9))
    if draw(st.booleans()) and corners:
        corners.append(corners[0])
    if draw(st.integers(0, 3)) or len(corners) < 4:
        return corners
    hole = draw(st.lists(NEAR, min_size=4, max_size=6))
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of shapely, about numbers that are none
        try:
            return shapely.Polygon(corners, [hole])
        except (ValueError, shapely.errors.GEOSException):
            return corners


def drawn(tries: int, number: int, ledger: Ledger, strategies: tuple[Any, ...], act: Callable[..., Any]) -> Ledger:
    """`tries` draws, each an attempt of the ledger."""

    @seed(number)
    @settings(max_examples=tries, deadline=None, database=None, phases=[Phase.generate], suppress_health_check=list(HealthCheck))
    @given(st.tuples(*strategies))
    def each(values: tuple[Any, ...]) -> None:
        ledger.attempt(repr(values)[:300], lambda: act(*values))

    each()
    return ledger


def outline_used(area: Any, which: int) -> None:
    """One of the functions that take an outline, on ground beneath all of it that is near."""
    t = things()
    if which == 0:
        looked_at(sl.Brief(area))
    elif which == 1:
        finish = sl.Finish.plane(t["plane"], area)
        looked_at(finish)
        sound([finish.area, *(finish.level_at(x, y) for x, y in [(0, 0), (1, 1)])])
    elif which == 2:
        works = sl.cut_and_fill(t["ground"], t["plane"], area)
        looked_at(works)
        if works.cut < -1e-9 or works.fill < -1e-9 or works.whole_area < 0:
            raise SlippedError("a volume or an area below nought")
    elif which == 3:
        looked_at(sl.ponding(t["dish"], area))
    elif which == 4:
        looked_at(sl.pegs_at(sl.Brief(area), edges=1.0))
    elif which == 5:
        looked_at(sl.dig_out(t["ground"], sl.Finish.plane(t["plane"], area), sl.Brief(area, layers=[sl.Layer("slab", 0.1)])))
    elif which == 6:
        looked_at(sl.catchments(sl.Finish.plane(t["plane"], area), sl.Brief(area)))
    elif which == 7:
        looked_at(sl.Finish.outlet((1.0, 1.0), area, level=9.9, perimeter=10.0))
    else:
        looked_at(sl.Finish.channel(((0.0, 1.0), (4.0, 1.0)), area, level=9.8, fall=0.01, left=0.02, right=0.02))


def attack_outlines(tries: int, number: int) -> Ledger:
    return drawn(tries, number, Ledger("outlines", number), (outlines(), st.integers(0, 8)), outline_used)


DEMANDS: list[Callable[[float, float, float], Any]] = [
    lambda a, b, c: sl.Clearance("wall", a, b),
    lambda a, b, c: sl.FallAway("wall", a, b, c),
    lambda a, b, c: sl.FallAlong("wall", a),
    lambda a, b, c: sl.Meet([("E", 0, 4, 9.86)], a),
    lambda a, b, c: sl.Step([("sill", 1.2, 0, 10.15)], a, b),
    lambda a, b, c: sl.Cover([("pipe", 3, 2, 9.6)], a),
    lambda a, b, c: sl.KeepBelow(("brick", 4.5, 0, 10.0), a),
    lambda a, b, c: sl.Gully(("G", 3, 4, 9.78), (a, b)),
    lambda a, b, c: sl.MaxGradient(a),
    lambda a, b, c: sl.Thickness([("S", 1, 1, 9.8)], a, b),
    lambda a, b, c: sl.AccessCover([("C", 2, 1, 9.84)], a, b, c),
]


def attack_limits(tries: int, number: int) -> Ledger:
    """Limits of demands: reversed, of no width, below nought, no numbers."""
    return drawn(
        tries,
        number,
        Ledger("limits of demands", number),
        (st.sampled_from(DEMANDS), LIMITS, LIMITS, LIMITS),
        lambda make, a, b, c: looked_at(judged(make(a, b, c))),
    )


def site_of(kind: int, one: tuple[float, float], other: tuple[float, float], a: float, b: float) -> None:
    """A wall, a layer, a budget or an edge of whatever numbers."""
    t = things()
    if kind == 0:
        wall = sl.Wall("wall", one, other, dpc=a)
        looked_at(sl.check_finish(t["finish"], sl.Brief(AREA, walls=[wall], demands=[sl.Clearance("wall", 0.15)])))
    elif kind == 1:
        looked_at(sl.Brief(AREA, layers=[sl.Layer("slab", a, tolerance=b), sl.Layer("base", b)]))
    elif kind == 2:
        looked_at(sl.ErrorBudget(a, b, *one, *other).errors(t["reduced"]))
    elif kind == 3:
        looked_at(sl.Brief(AREA, closed=[(one, other)], beyond_edge=a))
    elif kind == 4:
        looked_at(sl.Ground([0, 4, one[0], other[0]], [0, 0, one[1], other[1]], [10.0, 10.0, a, b]))
    else:
        looked_at(sl.Wall("wall", one, other, dpc=[(a, 10.0), (b, 10.1)]))


def attack_sites(tries: int, number: int) -> Ledger:
    """Walls of no length, layers of no thickness, budgets of anything, ground of a few odd spots."""
    return drawn(
        tries,
        number,
        Ledger("walls, layers, budgets, spots", number),
        (st.integers(0, 5), PLACES, PLACES, st.one_of(LIMITS, NUMBERS), st.one_of(LIMITS, NUMBERS)),
        site_of,
    )


WORDS = st.one_of(
    st.sampled_from(list(NAMES.values())),
    st.text(max_size=12),
    st.text(st.characters(), max_size=3),
    st.sampled_from(["\x00", "\x1b[31m", "\x7f", "\ud800", "\u202e", "", " ", "\n", "a\rb", "C1", "BM"]),
)


def named(name: str, kind: int) -> None:
    """A point, a wall, a layer, a footing, or a job of that name."""
    t = things()
    if kind == 0:
        quoted = name.replace('"', '""')
        book = sl.read_book(f'point,bs,is,fs,rl\nBM,1.5,,,10\n"{quoted}",,1.2,,\nBM,,,1.5,\n')
        if sl.read_book(book.text).rows != book.rows:
            raise SlippedError("a book reads otherwise when it is written and read again")
        reduced = sl.reduce_book(book)
        harmless(reduced._repr_html_(), "the reduced book")
        harmless(book._repr_html_(), "the book")
    elif kind == 1:
        brief = sl.Brief(AREA, walls=[sl.Wall(name, (0, 0), (6, 0), dpc=10.15)], demands=[sl.Clearance(name, 0.15)])
        harmless(brief._repr_html_(), "the brief")
        harmless(sl.check_finish(t["finish"], brief)._repr_html_(), "the verdicts")
    elif kind == 2:
        brief = sl.Brief(AREA, layers=[sl.Layer(name, 0.04), sl.Layer("bed", 0.03)])
        harmless(brief._repr_html_(), "the brief")
        harmless(sl.layers_fit(t["finish"], brief, [(name, 2.0, 2.0, 9.5)])._repr_html_(), "the layers")
    elif kind == 3:
        harmless(sl.set_out(t["finish"], t["brief"], [(name, 1.0, 1.0)], hpc=11.0)._repr_html_(), "the pegs")
    else:
        with scratch() as place:
            place, before = place.resolve(), Path.cwd()
            (place / "desk" / "data" / "pottery-yard").mkdir(parents=True)
            os.chdir(place / "desk")
            try:
                job = new_job(job_folder(name))
                if job.folder.parent != place / "desk" / "data" or job.folder.name != name or name in RESERVED:
                    raise SlippedError("a job stands elsewhere than its name says")
            finally:
                os.chdir(before)
                if [path.name for path in place.iterdir()] != ["desk"] or [path.name for path in (place / "desk").iterdir()] != [
                    "data"
                ]:
                    raise SlippedError("a job wrote outside the folder of jobs")


def attack_names(tries: int, number: int) -> Ledger:
    """Names of points, walls, layers, pegs and jobs."""
    return drawn(tries, number, Ledger("names", number), (WORDS, st.integers(0, 4)), named)
