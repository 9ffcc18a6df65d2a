"""A screed on a base: what the part [screed] of a job asks for, worked out on the base as it was read."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import pandas as pd

from ..design.conditions import AtSpots
from ..design.flatness import Flatness, flatness
from ..design.parts import Reader, named
from ..design.propagation import LevelErrors
from ..design.verdicts import Verdicts
from ..design.workmanship import FLOOR_FALLS, PADS, SCREEDS
from ..errors import SurveyError
from ..surface.shapes import Outlet
from ..wording import word_distance, word_fall, word_level, word_mm, word_number, word_place
from ..works.datum import Departure, departure_from_datum
from ..works.pegs import pegs_at
from ..works.screed import Screed, base_to_screed
from .water import Worked

PART = "screed"
SPARE = 0.15  # of the space from pad to pad: one that stands nearer than this to another is not needed
FAR = 6.0  # m: nobody measures down from a line that lies farther from the base


@dataclass(frozen=True, eq=False)
class Screeding(Worked):
    """What a job's base comes to under a screed. Any attribute may raise SurveyError."""

    PARTS = ("found", "line", "pads", "departure")

    @property
    def there(self) -> bool:
        """Whether the job asks for a screed."""
        return bool(self.job.told.get(PART))

    @cached_property
    def found(self) -> Screed:
        """The lowest floor that keeps the least thickness everywhere."""
        if not self.there:
            raise SurveyError("the job asks for no screed", where=f"brief.toml, [{PART}]",
                              remedy="Fill in the kind of screed and where it falls to, in notebook 7-screed.")
        job = self.job

        def read(reader: Reader) -> Screed:
            told, to = reader.entry, None
            more: dict[str, Any] = {"mix": tuple(told["mix"])} if told.get("mix") else {}
            leads = "outlet" in told or "edge" in told
            if leads != ("fall" in told):
                rule = "A floor with a fall has an outlet or a side to fall to, and a fall; a level one has neither."
                if leads:
                    raise SurveyError("where the floor falls to is told, and not how steeply", rule=rule,
                                      remedy="Fill in the fall of the flattest part, or empty outlet and side.")
                raise SurveyError("how steeply the floor falls is told, and not where to", rule=rule,
                                  remedy="Fill in an outlet or a side, or empty the fall and the steepest that may be.")
            if "outlet" in told:
                to = Outlet(reader.place("outlet", job.reduced.spots()))
            if "edge" in told:
                if to is not None:
                    raise SurveyError("both an outlet and an edge are named", rule="The floor falls to the one or to the other.")
                to = self._ends(told["edge"])
            return base_to_screed(job.ground, job.brief, kind=told.get("kind", "bonded"), least=reader.maybe("least_mm", 0.001),
                                  most=reader.maybe("most_mm", 0.001), to=to, fall=reader.fall("fall") if "fall" in told else 0.0,
                                  steepest=reader.fall("steepest") if "steepest" in told else None, **more)

        return self._read(PART, read)

    def _ends(self, edge: Any) -> Any:
        """Two places from the names of points, or from pairs x, y."""
        if isinstance(edge, list) and len(edge) == 2:
            return tuple((spot.x, spot.y) for spot in named(edge, self.job.reduced.spots())) if all(
                isinstance(one, str) for one in edge) else tuple(tuple(one) for one in edge if isinstance(one, list))
        told = ", ".join(map(str, edge)) if isinstance(edge, list) else str(edge)
        raise SurveyError(f"the side that the floor falls to is given as {told}",
                          rule="It is named by the two points at its ends, e.g. C1, C2.")

    @cached_property
    def line(self) -> float:
        """Level in m of the line that is measured down from: line_m, or that of the point marked as line."""
        told = self.job.told.get(PART, {})
        if "line_m" in told:
            return self._read(PART, lambda reader: reader.number("line_m"))
        lines = [row.rl for row in self.job.book.rows if row.feature == "line" and row.rl is not None]
        if not lines:
            raise SurveyError("no line to measure down from is told", where=f"brief.toml, [{PART}]",
                              remedy="Give line_m, its level in m, or mark it in the book with the feature line.")
        return lines[0]

    @cached_property
    def pads(self) -> pd.DataFrame:
        """Pads with what to measure down to the base and to the screed: point x y base_reading screed_reading thickness, m."""
        job, to = self.job, self.found.to
        spaced = self._read(PART, lambda reader: reader.maybe("pads_m"))
        spaced = PADS.range.likely if spaced is None else spaced
        away = abs(self.line - float(self.found.base.level.mean()))
        if away > FAR:
            raise SurveyError(f"the line lies {word_distance(away)} from the base", where=f"brief.toml, [{PART}]",
                              rule="Nobody measures down so far.",
                              remedy="line_m is the level of the line in m, 1.0 for a line 1.000 m above finished floor.")
        corners = {tuple(place) for place in job.brief.area.exterior.coords[:-1]}
        own = [("outlet", *to.point)] if isinstance(to, Outlet) else []
        own += [(point, x, y) for point, x, y, _ in self.found.base.table.itertuples(index=False, name=None) if (x, y) in corners]
        apart = (1 - SPARE) * spaced  # so that none is missed where one that stands beside another is left out
        places = self._read(PART, lambda _: pegs_at(job.brief, edges=apart, grid=apart, points=own))
        kept: list[tuple[str, float, float]] = []
        named = {name for name, *_ in own}
        for point, x, y in places.itertuples(index=False, name=None):
            if point in named or all(math.dist((x, y), one[1:]) > SPARE * spaced for one in kept):
                kept.append((point if point in named else f"pad {len(kept) + 1 - len(named)}", x, y))
        return self.found.pads(kept, self.line)

    @property
    def pads_words(self) -> pd.DataFrame:
        """The same for reading."""
        table = self.pads
        return pd.DataFrame({
            "pad": table["point"], "place": [word_place(x, y) for x, y in zip(table["x"], table["y"], strict=True)],
            "down to the base": ["" if value != value else word_level(value) for value in table["base_reading"]],
            "down to the screed": table["screed_reading"].map(word_level),
            "thick": ["" if value != value else word_mm(value) for value in table["thickness"]]})

    @cached_property
    def errors(self) -> LevelErrors:
        """What the budget does to the levels: the staff stands on a hard base, not on worn ground."""
        budget = self.job.budget
        return replace(budget, placing_ground=budget.placing_hard).errors(self.job.reduced)

    @property
    def verdicts(self) -> Verdicts:
        """The floor held against the brief, errors counted."""
        return self.found.verdicts(self.errors)

    @cached_property
    def departure(self) -> Departure:
        """How far the base as it is departs from its mean level, as a plain floor."""
        return departure_from_datum(self.job.ground, errors=self.errors)

    @cached_property
    def flatness(self) -> Flatness:
        """Straightedges over the base as it is."""
        errors = self.errors
        rows = [errors.where[point] for point in self.job.ground.points or ()]
        return flatness(self.job.ground, within=self.job.brief.area, covariance=errors.covariance[rows][:, rows],
                        sure=self.job.budget.sure)

    @property
    def by_hand(self) -> tuple[str, ...]:
        """The governing spot, the fixed floor and one pad as the sums that one would do on paper."""
        found, line = self.found, self.line
        thin = found.thinnest
        base = float(found.base.level_at(thin.x, thin.y))
        floor = float(found.finish.level_at(thin.x, thin.y))
        below = found.level - floor
        read = thin.point in set(found.base.table["point"])
        thick = word_mm(floor - base, digits=0 if floor - base < found.least + 1e-6 else 1)
        said = [f"{thin.point}: {word_level(line)} − {word_level(line - base)} "
                f"{'measured down' if read else '(worked out between the spots about it)'} = {word_level(base)} is the base. "
                f"With {thick} of screed the floor there lies at {word_level(base)} + {thick} = {word_level(floor)}, so the line "
                f"less that is what to measure down to: {word_level(line - floor)}."]
        if floor - base > found.least + 1e-6:
            first = found.limits[found.limits["needs"] == "at least"].iloc[0]
            said.append(f"That is more than the {word_mm(found.least)} asked for: what holds the floor up is "
                        f"{first['demand']}, at {first['place']}.")
        if below > 1e-6:
            said.append(f"The floor has fallen {word_mm(below, digits=1)} by there, so where it is highest it lies at "
                        f"{word_level(floor)} + {word_mm(below, digits=1)} = {word_level(found.level)}.")
        fixed = [(spot, demand) for demand in self.job.brief.demands if isinstance(demand, AtSpots) for spot in demand.spots]
        for spot, demand in fixed[-1:]:
            there = float(found.finish.level_at(spot.x, spot.y))
            said.append(f"At {spot.point} ({demand.title}) the floor lies at {word_level(there)}; {spot.point} lies at "
                        f"{word_level(spot.level)}: {word_mm(abs(there - spot.level), digits=1)} "
                        f"{'above' if there > spot.level else 'below'} it.")
        said.append(f"Volume: {word_number(found.area, figures=4)} m² × {word_mm(found.mean, digits=1)} on average = "
                    f"{word_number(found.volume, figures=3)} m³.")
        return tuple(said)

    @staticmethod
    def kinds() -> pd.DataFrame:
        """Kinds of screed with their least thickness and its source, as words."""
        lines = [(kind.name, word_mm(kind.least.value), "" if kind.most is None else word_mm(kind.most.value), kind.least.source)
                 for kind in SCREEDS.values()]
        return pd.DataFrame(lines, columns=["kind", "least", "most", "source"])

    @staticmethod
    def falls() -> pd.DataFrame:
        """Published falls of floors to an outlet, as words."""
        lines = []
        for name, one in FLOOR_FALLS.items():
            low, high = word_fall(one.range.low), word_fall(one.range.high)
            lines.append((name, one.what, low if low == high else f"{low} to {high}", one.source))
        return pd.DataFrame(lines, columns=["floor", "what", "fall", "source"])
