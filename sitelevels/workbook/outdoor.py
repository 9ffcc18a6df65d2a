"""The outdoor part of a job: what its folder says about digging, materials, units, posts and water, worked out when asked for."""

from __future__ import annotations

import math
import warnings
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
import shapely

from ..design.conditions import Spot
from ..design.edges import AGAINST, Edge
from ..design.parts import Reader
from ..errors import SurveyError, SurveyWarning
from ..surface.overlay import both, less, polygons
from ..surface.shapes import Channel, Outlet
from ..wording import whole_mm, word_fall, word_level, word_mm, word_place
from ..works.build_up import LayersFit, layers_fit
from ..works.catchment import Catchments, catchments
from ..works.dig import Dig, dig_out
from ..works.heaps import BARROW, BULK_BAG, Carrier
from ..works.materials import Materials, materials
from ..works.packer import packers
from ..works.pegs import pegs_at
from ..works.posts import Post, PostCheck, check_posts
from ..works.runoff import Conduit, Flow, pipe, rectangular_channel, runoff
from ..works.setout import PegTable, set_out
from ..works.soakaway import SOAKAWAY_LIMITS, Infiltration, Soakaway, infiltration, soakaway
from ..works.units import UnitLayout, lay_out_units

if TYPE_CHECKING:
    from .job import Job

FOLD = 0.002  # m: width of the line along which units are cut where the surface bends, beside the joints
BONDS = {"stack": ("stack",), "running": ("running",), "either": ("stack", "running")}


@dataclass(frozen=True, eq=False)
class Outdoor:
    """What a job's chosen surface comes to outside. Any attribute may raise SurveyError; what brief.toml leaves out is None."""

    job: Job
    _doubts: dict[str, None] = field(default_factory=dict)

    @property
    def doubts(self) -> tuple[str, ...]:
        """Sentences on what is possible but questionable in what was worked out so far."""
        return tuple(self._doubts)

    @property
    def faults(self) -> tuple[str, ...]:
        """What keeps any part from being worked out, a sentence each."""
        found: dict[str, None] = {}
        for name in ("fit", "dig", "units", "post_check", "materials", "catchments", "flow", "conduits", "soakaway"):
            try:
                getattr(self, name)
            except SurveyError as error:
                found |= dict.fromkeys(error.problems)
        return tuple(found)

    def tried(self, name: str) -> Any:
        """A part by its name, None where it cannot be worked out: `faults` says why."""
        try:
            return getattr(self, name)
        except SurveyError:
            return None

    def _reader(self, part: str, entry: dict[str, Any] | None = None, number: int = 0) -> Reader:
        where = f"brief.toml, [[{part}]] number {number}" if number else f"brief.toml, [{part}]"
        return Reader(where, self.job.told.get(part, {}) if entry is None else entry, [])

    def _read(self, reader: Reader, read: Callable[[Reader], Any]) -> Any:
        """What is read out of a part, a refusal told of the part."""
        with warnings.catch_warnings(record=True) as doubts:
            warnings.simplefilter("always", SurveyWarning)
            try:
                return read(reader)
            except SurveyError as error:
                raise error.at(reader.where) from None
            finally:
                self._doubts.update(dict.fromkeys(str(doubt.message) for doubt in doubts))

    @cached_property
    def fit(self) -> LayersFit:
        """Whether the layers fit above what is buried: shots of that feature, and footings where they lie under the paving."""
        spots = self.job.reduced.spots()
        spots = spots[(spots["feature"] == "buried") & spots["x"].notna()]
        points = [Spot(*one) for one in spots[["point", "x", "y", "level"]].itertuples(index=False, name=None)]
        for footing in self.job.brief.footings:  # a plane comes nearest to a level top at a corner of what they share
            shared = [both(facet.area, footing.area) for facet in self.job.finish.facets]
            places = dict.fromkeys((whole_mm(x), whole_mm(y)) for shape in shared for x, y in shapely.get_coordinates(shape))
            points += [Spot(f"{footing.name}, {word_place(x, y)}", x, y, footing.top) for x, y in places]
        return layers_fit(self.job.finish, self.job.brief, points)

    @cached_property
    def dig(self) -> Dig:
        """What is taken up and dug."""
        return dig_out(self.job.ground, self.job.finish, self.job.brief)

    @property
    def carriers(self) -> tuple[Carrier, ...]:
        """What loads are counted in."""
        def read(reader: Reader) -> tuple[Carrier, ...]:
            barrow = reader.maybe("barrow_litres", 0.001)
            bag = reader.maybe("bulk_bag_m3")
            made = [BARROW if barrow is None else Carrier("barrow", barrow, BARROW.mass),
                    BULK_BAG if bag is None else Carrier("bulk bag", bag, BULK_BAG.mass)]
            if {"skip_t", "price_of_a_skip"} & set(reader.entry) or "skip_m3" in reader.entry:
                made.append(Carrier("skip", reader.number("skip_m3"), reader.maybe("skip_t", 1000.0),
                                    price=reader.maybe("price_of_a_skip"), only_away=True))
            return tuple(made)

        return tuple(self._read(self._reader("taking_up"), read))

    @cached_property
    def materials(self) -> Materials:
        """What goes away, what goes back, and what is bought."""
        dig, layout, carriers = self.dig, self.tried("units"), self.carriers

        def read(reader: Reader) -> Materials:
            return materials(dig, soil=reader.entry.get("soil", "common earth"), bulking=reader.span("bulking_percent", 0.01),
                             density=reader.span("density_kg_m3"), reuse=reader.per_cent("reuse_percent") or 0.0,
                             carriers=carriers, units=layout)

        found: Materials = self._read(self._reader("taking_up"), read)
        return found

    @cached_property
    def posts(self) -> tuple[Post, ...]:
        """The posts of the brief."""
        footings = {footing.name: footing.area for footing in self.job.brief.footings}

        def read(reader: Reader) -> Post:
            named = reader.entry.get("footing")
            if named is not None and named not in footings:
                raise SurveyError(f"there is no footing {named!r}", rule=f"Footings are {', '.join(footings) or 'none'}.")
            return Post(reader.text("name"), reader.place("at", self.job.reduced.spots()), self._size(reader),
                        footings.get(named) if named else None)

        return tuple(self._read(self._reader("post", entry, number), read)
                     for number, entry in enumerate(self.job.told.get("post", []), start=1))

    @staticmethod
    def _size(reader: Reader) -> tuple[float, float]:
        given = reader.entry.get("size_mm")
        return reader.pair("size_mm", 0.001) if isinstance(given, list) else (reader.number("size_mm", 0.001),) * 2

    @cached_property
    def holes(self) -> tuple[Post, ...]:
        """Covers and gullies that the units go round, as their outlines."""
        return tuple(self._read(self._reader("hole", entry, number), lambda reader: Post(
            reader.text("name"), reader.place("at", self.job.reduced.spots()), self._size(reader)))
                     for number, entry in enumerate(self.job.told.get("hole", []), start=1))

    @cached_property
    def units(self) -> UnitLayout | None:
        """The best way to lay the units, where their size is given."""
        if not self.job.told.get("units"):
            return None
        brief, kept = self.job.brief, self.job.brief.sides_without(self.job.brief.bare, outer=True)
        holes = [*self.posts, *self.holes, *self.folds]

        def read(reader: Reader) -> UnitLayout:
            bond = reader.entry.get("bond", "either")
            if bond not in BONDS:
                raise SurveyError(f"the bond is {bond!r}", rule=f"It is one of {', '.join(BONDS)}.")
            breakage = reader.per_cent("breakage_percent")
            return lay_out_units(brief.area, (reader.number("length_mm", 0.001), reader.number("width_mm", 0.001)),
                                 joint=reader.number("joint_mm", 0.001), holes=holes,
                                 kept=kept,
                                 bonds=BONDS[bond], along=brief.walls[0].direction if brief.walls else (1.0, 0.0),
                                 waste=0.05 if breakage is None else breakage,
                                 start=self._start(reader, kept) if "start" in reader.entry else None)

        found: UnitLayout = self._read(self._reader("units"), read)
        return found

    def _start(self, reader: Reader, kept: list[Edge]) -> tuple[float, float]:
        """Where the first unit starts: a joint off each wall or paving that stays, where the place lies at it."""
        x, y = reader.place("start", self.job.reduced.spots())
        place, off = shapely.Point(x, y), np.zeros(2)
        for first, second in kept:
            line = np.subtract(second, first) / math.dist(first, second)
            aside = np.array([-line[1], line[0]])
            middle = (np.add(first, second) / 2 + 2 * AGAINST * aside).tolist()
            if shapely.LineString([first, second]).distance(place) <= AGAINST:
                off += aside if self.job.brief.area.contains(shapely.Point(middle)) else -aside
        joint = reader.number("joint_mm", 0.001)
        return x + joint * float(off[0]), y + joint * float(off[1])

    @property
    def folds(self) -> tuple[shapely.Polygon, ...]:
        """Where units are cut because the surface bends: the channel, as wide as it is, and other lines where facets meet."""
        finish, shape = self.job.finish, self.job.shape
        wide = FOLD
        if isinstance(shape, Channel) and "channel_mm" in self.job.told.get("rain", {}):
            wide = self._read(self._reader("rain"), lambda reader: reader.pair("channel_mm", 0.001)[0])
        areas = [facet.area for facet in finish.facets]
        lines = [one.intersection(other) for number, one in enumerate(areas) for other in areas[:number]]
        bent = shapely.union_all([line for line in lines if line.length > FOLD])
        bent = bent.buffer(wide / 2, cap_style="flat", join_style="mitre")
        taken = shapely.union_all([hole.shape for hole in (*self.posts, *self.holes)]).buffer(FOLD)
        return tuple(polygons(less(both(bent, self.job.brief.area), taken)))

    @property
    def cuts(self) -> pd.DataFrame | None:
        """The sizes that have to be cut, in mm, as a table of words; None where no units are laid out."""
        if self.units is None:
            return None
        table = self.units.sizes
        table = table[table["shape"] != "whole"].reset_index(drop=True)
        for name in ("length", "width"):
            table[name] = [word_mm(value) for value in table[name]]
        return table.assign(sliver=["yes" if narrow else "" for narrow in table["sliver"]])

    @cached_property
    def post_check(self) -> PostCheck | None:
        """What the posts stand on and how they cut the units; None where there are none."""
        layout = self.tried("units")
        found: PostCheck | None = self._read(self._reader("post", {}), lambda _: check_posts(
            self.posts, self.job.brief.area, layout) if self.posts else None)
        return found

    @cached_property
    def roofs(self) -> list[tuple[float, float, float]]:
        """Roof water that lands on the paving: area m², x, y of the place."""
        def read(reader: Reader) -> list[tuple[float, float, float]]:
            found = []
            for one in reader.entry.get("roofs", []):
                if not isinstance(one, list) or len(one) not in (2, 3):
                    raise SurveyError(f"a roof is {one!r}",
                                      rule='Each is its area in m² and where its water lands: [12.0, "C2"], [12.0, 3.5, 0.0].')
                at = one[1] if len(one) == 2 else list(one[1:])
                place = Reader(reader.where, {"at": at, "area": one[0]}, [])
                found.append((place.number("area"), *place.place("at", self.job.reduced.spots())))
            return found

        return list(self._read(self._reader("rain"), read))

    @cached_property
    def catchments(self) -> Catchments:
        """Where the rain goes."""
        shape, roofs = self.job.shape, self.roofs
        outlets = [("outlet", *shape.point)] if isinstance(shape, Outlet) else []
        found: Catchments = self._read(self._reader("rain"), lambda _: catchments(
            self.job.finish, self.job.brief, outlets=outlets, roof=roofs))
        return found

    @cached_property
    def flow(self) -> Flow | None:
        """The water of the paving and of the roofs that drain to it; None where brief.toml has no part [rain]."""
        if not self.job.told.get("rain"):
            return None
        area, roof = self.catchments.area, sum(one[0] for one in self.roofs)
        rain = self._reader("rain").entry
        intensity, share = rain.get("intensity_mm_h", "paved areas"), rain.get("coefficient", "concrete")
        flow: Flow = self._read(self._reader("rain"), lambda _: runoff(area, intensity, share))
        heavier = "roof" if isinstance(intensity, str) else intensity  # roofs are drained for heavier rain than paving
        return flow + runoff(roof, heavier, "roof") if roof else flow

    @cached_property
    def conduits(self) -> tuple[Conduit, ...]:
        """The channel and the pipe that are to take the water, where their sizes are given."""
        def read(reader: Reader) -> tuple[Conduit, ...]:
            rough, made = reader.entry.get("roughness", "smooth plastic"), []
            if "channel_mm" in reader.entry:
                made.append(rectangular_channel(*reader.pair("channel_mm", 0.001), self._channel_fall(reader), rough))
            if "pipe_mm" in reader.entry:
                fall = reader.fall("pipe_fall" if "pipe_fall" in reader.entry else "fall")
                made.append(pipe(reader.number("pipe_mm", 0.001), fall, rough))
            return tuple(made)

        return tuple(self._read(self._reader("rain"), read))

    def _channel_fall(self, reader: Reader) -> float:
        """The fall that is told, or that of the channel in the finished surface; where they differ, that is questioned."""
        along = [facet.plane.fall_towards(*facet.along) for facet in self.job.finish.facets if facet.along is not None]
        if not along or "fall" not in reader.entry:
            return along[0] if along and "fall" not in reader.entry else reader.fall("fall")
        fall = reader.fall("fall")
        if abs(fall - along[0]) > 0.1 * max(abs(fall), abs(along[0])):
            warnings.warn(f"The channel is worked out with a fall of {word_fall(fall)}; in the finished surface it falls "
                          f"{word_fall(along[0])}. Leave the fall out to take that one.", SurveyWarning, stacklevel=2)
        return fall

    @cached_property
    def infiltration(self) -> Infiltration | None:
        """What the test of a hole found, where its times are given."""
        times = self.job.told.get("soakaway", {}).get("hole_seconds")
        return None if times is None else self._read(self._reader("soakaway"), lambda _: infiltration((0.3, 0.3, 0.3), times))

    @cached_property
    def soakaway(self) -> Soakaway | None:
        """Whether the soakaway of the brief holds the rain of paving and roofs; None where there is none."""
        if not self.job.told.get("soakaway"):
            return None
        area, tested = self.catchments.area + sum(one[0] for one in self.roofs), self.infiltration

        def read(reader: Reader) -> Soakaway:
            rate, factor = tested or reader.entry.get("rate_m_s"), reader.maybe("factor")
            if rate is None:
                raise SurveyError("nothing says how fast the ground takes water",
                                  remedy="Give hole_seconds of a test, or rate_m_s as a number or the name of a soil.")
            storms, safety = reader.entry.get("storms"), SOAKAWAY_LIMITS["factor"].value if factor is None else factor
            void = reader.per_cent("void_percent")
            return soakaway(area, rate, reader.entry.get("size_m", ()), void=0.3 if void is None else void,
                            rain=None if storms is None else [tuple(storm) for storm in storms],
                            factor=safety, to_building=reader.maybe("to_building_m"),
                            to_boundary=reader.maybe("to_boundary_m"), to_water=reader.maybe("to_water_m"))

        found: Soakaway = self._read(self._reader("soakaway"), read)
        return found

    def pegs(self, backsight: float | None = None) -> PegTable:
        """Peg readings for a backsight in m on the benchmark; the one in the brief if not given."""
        job, told = self.job, self.job.told.get("setting_out", {})
        where, name = ("brief.toml, [setting_out]", "backsight_m") if backsight is None else ("", "the backsight")
        backsight = told.get("backsight_m") if backsight is None else backsight
        if isinstance(backsight, bool) or not isinstance(backsight, (int, float)) or not abs(backsight) < 1e3:
            raise SurveyError(f"{name} is {backsight!r}", where=where,
                              rule=f"It must be today's reading on {job.benchmark} in m.",
                              remedy="Type it in notebook 4-cut-and-fill.")
        sight = (job.reduced.level(job.benchmark), float(backsight))
        found: PegTable = self._read(self._reader("setting_out"), lambda _: set_out(
            job.finish, job.brief, self.places, backsight=sight, ground=job.ground))
        return found

    @property
    def readings(self) -> pd.DataFrame:
        """What the staff must read for each layer, in m, in the order in which one walks, as a table of words.

        Raises SurveyError where today's reading is not told.
        """
        table = self.pegs().walked().readings
        for name in table.columns[1:]:
            table[name] = [word_level(value).removesuffix(" m") for value in table[name]]
        return table[["point", *table.columns[:0:-1]]].rename(columns={"point": "reading in m at peg"})  # formation first

    @property
    def packers(self) -> pd.DataFrame:
        """The block under the lower end of a level of usual lengths, in mm, for the true fall of each facet, as words."""
        table = packers(list(dict.fromkeys(facet.plane.fall for facet in self.job.finish.facets)))
        for name in table.columns[1:]:
            table[name] = [word_mm(value / 1000, digits=1).removesuffix(" mm") for value in table[name]]
        return table

    @cached_property
    def places(self) -> list[tuple[Any, ...]]:
        """Where the pegs stand: those named in the brief, at the corners and as it spaces them; else every spot in the area."""
        told, spots = self.job.told.get("setting_out", {}), self.job.ground_spots
        named, spaced = told.get("pegs"), "edges_m" in told or "grid_m" in told
        if named:
            missing = [name for name in named if not isinstance(name, str) or name not in set(spots["point"])]
            if missing:
                raise SurveyError(f"the pegs {', '.join(map(str, missing))} are no spots of the ground",
                                  where="brief.toml, [setting_out]")
        inside = shapely.distance(self.job.brief.area, shapely.points(spots[["x", "y"]].to_numpy())) < 1e-6
        within = list(spots.loc[inside, ["point", "x", "y", "level"]].itertuples(index=False, name=None))
        own = [peg for name in dict.fromkeys(named) for peg in within if peg[0] == name] if named else [] if spaced else within
        if not spaced:
            return [*own, *self._drain_pegs()]
        corners = {tuple(place) for place in self.job.brief.area.exterior.coords[:-1]}
        own += [peg for peg in within if peg[1:3] in corners and peg not in own]
        levels = {peg[0]: peg[3:] for peg in own}
        more = self._read(self._reader("setting_out"), lambda reader: pegs_at(
            self.job.brief, edges=reader.maybe("edges_m"), grid=reader.maybe("grid_m"),
            points=[*(peg[:3] for peg in own), *self._drain_pegs()]))
        return [(*place, *levels.get(place[0], ())) for place in more.itertuples(index=False, name=None)]

    def _drain_pegs(self) -> list[tuple[str, float, float]]:
        """The outlet, or the two ends of the channel, to be set out with the rest."""
        shape = self.job.shape
        if isinstance(shape, Channel):
            return [(name, *place) for name, place in zip(("channel start", "channel end"), shape.ends(self.job.brief.area),
                                                          strict=True)]
        return [("outlet", *shape.point)] if isinstance(shape, Outlet) else []
