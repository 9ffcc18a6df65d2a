"""The outdoor part of a job: what its folder says about digging, materials, units, posts and water, worked out when asked for."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import pandas as pd
import shapely

from ..design.conditions import Spot
from ..design.edges import AGAINST, Edge
from ..design.layers import BEDDING
from ..design.parts import Reader
from ..errors import SurveyError
from ..surface.overlay import both, less, polygons
from ..surface.shapes import Channel, Outlet
from ..wording import tidy, whole_mm, word_area, word_level, word_mm, word_number, word_place, word_volume
from ..works.build_up import LayersFit, layers_fit
from ..works.dig import Dig, dig_out
from ..works.heaps import AWAY, BARROW, BULK_BAG, BUY, SOIL, Carrier, word_carriers
from ..works.materials import Materials, materials
from ..works.packer import packers
from ..works.pegs import pegs_at
from ..works.posts import Post, PostCheck, check_posts
from ..works.setout import PegTable, set_out
from ..works.units import UnitLayout, lay_out_units
from .water import Water

FOLD = 0.002  # m: width of the line along which units are cut where the surface bends, beside the joints
BONDS = {"stack": ("stack",), "running": ("running",), "either": ("stack", "running")}


@dataclass(frozen=True, eq=False)
class Outdoor(Water):
    """What a job's chosen surface comes to outside. Any attribute may raise SurveyError; what brief.toml leaves out is None."""

    PARTS = ("fit", "dig", "holes", "units", "post_check", "materials", "catchments", "flow", "conduits", "soakaway")

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
        ground, finish, brief = self.job.ground, self.job.finish, self.job.brief
        return self._heard(lambda: dig_out(ground, finish, brief))

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

        return self._read("taking_up", read)

    @cached_property
    def materials(self) -> Materials:
        """What goes away, what goes back, and what is bought."""
        dig, layout, carriers = self.dig, self.tried("units"), self.carriers

        def read(reader: Reader) -> Materials:
            return materials(dig, soil=reader.entry.get("soil", "common earth"), bulking=reader.span("bulking_percent", 0.01),
                             density=reader.span("density_kg_m3"), reuse=reader.per_cent("reuse_percent") or 0.0,
                             carriers=carriers, units=layout)

        return self._read("taking_up", read)

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

        return self._each("post", read)

    @staticmethod
    def _size(reader: Reader) -> tuple[float, float]:
        given = reader.entry.get("size_mm")
        return reader.pair("size_mm", 0.001) if isinstance(given, list) else (reader.number("size_mm", 0.001),) * 2

    @cached_property
    def holes(self) -> tuple[Post, ...]:
        """Covers and gullies that the units go round, as their outlines."""
        return self._each("hole", lambda reader: Post(
            reader.text("name"), reader.place("at", self.job.reduced.spots()), self._size(reader)))

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
                                 joint=reader.number("joint_mm", 0.001), holes=holes, kept=kept, bonds=BONDS[bond],
                                 along=brief.walls[0].direction if brief.walls else (1.0, 0.0),
                                 waste=0.05 if breakage is None else breakage,
                                 start=self._start(reader, kept) if "start" in reader.entry else None)

        return self._read("units", read)

    def _start(self, reader: Reader, kept: list[Edge]) -> tuple[float, float]:
        """Where the first unit starts: a joint off each wall or paving that stays, where the place lies at it."""
        x, y = reader.place("start", self.job.reduced.spots())
        place, ways = shapely.Point(x, y), set()
        for first, second in kept:
            line = np.subtract(second, first) / math.dist(first, second)
            aside = np.array([-line[1], line[0]])
            middle = (np.add(first, second) / 2 + 2 * AGAINST * aside).tolist()
            if shapely.LineString([first, second]).distance(place) <= AGAINST:
                inward = aside if self.job.brief.area.contains(shapely.Point(middle)) else -aside
                ways.add((tidy(inward[0]), tidy(inward[1])))  # once for all parts of a straight side
        off, joint = np.sum([*ways, (0.0, 0.0)], axis=0), reader.number("joint_mm", 0.001)
        return x + joint * float(off[0]), y + joint * float(off[1])

    @property
    def folds(self) -> tuple[shapely.Polygon, ...]:
        """Where units are cut because the surface bends: the channel, as wide as it is, and other lines where facets meet."""
        finish, shape = self.job.finish, self.job.shape
        wide = FOLD
        if isinstance(shape, Channel) and "channel_mm" in self.job.told.get("rain", {}):
            wide = self._read("rain", lambda reader: reader.pair("channel_mm", 0.001)[0])
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
        posts, area = self.posts, self.job.brief.area
        return self._read("post", lambda _: check_posts(posts, area, layout)) if posts else None

    def pegs(self, backsight: float | None = None) -> PegTable:
        """Peg readings for a backsight in m on the benchmark; the one in the brief if not given."""
        job, told = self.job, self.job.told.get("setting_out", {})
        where, name = ("brief.toml, [setting_out]", "backsight_m") if backsight is None else ("", "the backsight")
        backsight = told.get("backsight_m") if backsight is None else backsight
        if isinstance(backsight, bool) or not isinstance(backsight, (int, float)) or not abs(backsight) < 1e3:
            raise SurveyError(f"{name} is {'missing' if backsight is None else repr(backsight)}", where=where,
                              rule=f"It must be today's reading on {job.benchmark} in m.",
                              remedy="Type it in notebook 4-cut-and-fill.")
        sight = (job.reduced.level(job.benchmark), float(backsight))
        return self._read("setting_out", lambda _: set_out(
            job.finish, job.brief, self.places, backsight=sight, ground=job.ground))

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
    def by_hand(self) -> tuple[str, ...]:
        """One peg's reading, one layer and the soil, each as the sum that one would do on paper."""
        pegs, dig, found = self.pegs(), self.dig, self.materials
        peg, known = pegs.pegs[0], pegs.backsight or (pegs.hpc, 0.0)
        soil = next((heap for heap in found.heaps if (heap.done, heap.what) == (AWAY, SOIL)), None)
        said = [f"Peg {peg.point}: {word_level(known[0])} + {word_level(known[1])} = {word_level(pegs.hpc)} is the plane of "
                f"collimation. Finished {word_level(peg.finished)} less {word_mm(self.job.brief.build_up)} of layers is the "
                f"formation, {word_level(peg.formation)}; {word_level(pegs.hpc)} − {word_level(peg.formation)} = "
                f"{word_level(peg.reading_formation)} is what the staff reads there."]
        layer = next((one for one in self.job.brief.layers if one.kind == BEDDING and one.mix is None), None)
        if layer is not None:
            said.append(f"The {layer.name}: {word_area(dig.finish.area)} × {word_mm(layer.thickness)} × "
                        f"{word_number(layer.loose.likely)} (loose for what is in place) × {word_number(1 + layer.waste.likely)} "
                        f"(waste) = {word_volume(found.heap(BUY, layer.name).loose.likely)} to fetch.")
        if soil is None:
            return tuple(said)
        grows = soil.loose.likely / soil.in_place.likely
        said.append(f"Dug soil: {word_volume(soil.in_place.likely)} × {word_number(grows)} (bulking) = "
                    f"{word_volume(soil.loose.likely)}, in loads of a {word_carriers(self.carriers[:1])}: "
                    f"{self.carriers[0].loads(soil.loose, soil.mass)[1]}.")
        return tuple(said)

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
        more = self._read("setting_out", lambda reader: pegs_at(
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
