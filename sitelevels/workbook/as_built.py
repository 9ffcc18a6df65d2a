"""What was laid: the second level book of a job held against its design, for straightness, standing water and lips."""

from __future__ import annotations

import math
import re
import warnings
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from ..design.conditions import Spot
from ..design.demands import Meet, Step
from ..design.edges import KEPT_NEAR
from ..design.flatness import Flatness, flatness
from ..design.laid import Laid, check_laid, ground_of, spots_in_words
from ..design.laid_book import laid_spots
from ..design.lipping import lipping, lips_by_levels
from ..design.mending import Mending, where_to_lift
from ..design.puddles import StandingWater, standing_water
from ..design.verdicts import NOT_MET, Verdicts
from ..design.workmanship import FLOOR_CLASSES, REGULARITY, STANDING_DEEP, STANDING_WIDE
from ..errors import SurveyError, SurveyWarning
from ..surface.ponding import Ponding, ponding
from ..surface.shapes import Channel, OnePlane, Outlet
from ..surface.straightedge import Straightedge
from ..survey.book import LevelBook
from ..survey.reading import with_known_level
from ..survey.reduction import ReducedLevels
from ..wording import word_area, word_change, word_distance, word_level, word_mm, word_place
from .screeding import ONE, gullies_on
from .water import Worked

if TYPE_CHECKING:
    from .job import Job

PAVING = "flags and natural stone"
NO_JOINTS = "A screed has no joints between units."
GROUND = 0.003  # m: a cured screed is not ground or filled for less (common practice, no source)


@dataclass(frozen=True, eq=False)
class AsBuilt(Worked):
    """What a job came to once it was laid. Any attribute may raise SurveyError; `ready` says whether it can be judged."""

    PARTS = ("check",)

    @property
    def there(self) -> bool:
        """Whether the job has a book of what was laid."""
        return bool(self.job.laid_text.strip())

    @property
    def ready(self) -> bool:
        """Whether it can be held against the design."""
        return not self.faults

    @property
    def missing(self) -> str:
        """What keeps it from being judged, in one piece."""
        return " ".join(self.faults)

    @cached_property
    def book(self) -> LevelBook:
        """The level book of what was laid, with levels of benchmarks and places of points that the first survey has."""
        if not self.there:
            raise SurveyError("there is no book of what was laid", where="laid.csv",
                              remedy="Type or paste it above, or put laid.csv into the job's folder.")
        book = self.job.read(self._with_the_line(), "laid")
        named = self.job.reduced.about
        rows = {row.point for row in book.rows}
        if not book.known:
            for point, level in self.job.book.known.items():
                if point in rows:
                    book = book.with_known(point, level)
                    self._doubts[f"{point} is taken to lie at {word_level(level)}, as in the first survey."] = None
        missing = {row.point for row in book.rows if row.x is None or row.y is None}
        places = {point: (named[point]["x"], named[point]["y"]) for point in missing & set(named)
                  if named[point]["x"] is not None and named[point]["y"] is not None}
        if places:
            self._doubts[f"No x and y are booked for {', '.join(sorted(places))}: they are taken from the first survey."] = None
        book = book.with_places(places) if places else book
        if self.job.screeding.there and (outlets := self.job.screeding.tried("ways_out")):
            book = replace(book, rows=tuple(  # a gully of a laid screed is the floor at the outlet
                replace(row, feature="") if row.feature == "gully" and row.x is not None and row.y is not None and any(
                    math.dist((row.x, row.y), outlet) <= KEPT_NEAR for outlet in outlets.outlets) else row for row in book.rows))
        return book

    def _with_the_line(self) -> str:
        """The text of the book, with the level of the first survey where one of its lines is booked again without one."""
        text, job = self.job.laid_text, self.job
        unit = job.told.get("survey", {}).get("unit", "m")
        try:
            job.read(text, "laid")
        except SurveyError as error:
            rows = {part.row for part in error.parts if part.column == "rl" and "has no level" in str(part)}
            for row in job.book.rows if rows else ():
                if row.feature == "line" and row.rl is not None and any(f"point {row.point}:" in str(part) for part in error.parts
                                                                        if part.row in rows):
                    text = with_known_level(text, row.point, row.rl, unit=self._told.get("unit", unit))
                    self._doubts[f"{row.point} is taken to lie at {word_level(row.rl)}, as in the first survey."] = None
        return text

    @cached_property
    def reduced(self) -> ReducedLevels:
        """Its reduced levels."""
        return self.job.reduce(self.book)

    @cached_property
    def check(self) -> Laid:
        """The laid surface held against the design and every demand."""
        job, reduced = self.job, self.reduced
        try:
            finish, brief = job.finish, job.brief
        except SurveyError as error:
            missing = re.findall(r"points? (.+?) (?:was|were) not read", str(error))
            told = {name for names in missing for name in names.split(", ")}
            if told & {row.point for row in self.book.rows}:
                raise SurveyError.together([*error.parts, SurveyError(
                    "points that the brief names stand in laid.csv and not in survey.csv",
                    remedy="Were the two books changed about?")]) from None
            raise
        return check_laid(reduced, finish, brief, budget=job.budget, survey=job.errors)

    @property
    def doubts(self) -> tuple[str, ...]:
        """Sentences on what is possible but questionable."""
        check = self.check
        moved = self.job.screeding.moved if self.job.screeding.there else ""
        return (*check.doubts, *self.reduced.doubts, *self.book.doubts, *self._doubts, *([moved] if moved else []))

    @property
    def doubts_words(self) -> tuple[str, ...]:
        """The same, or that there is none."""
        return self.doubts or ("Nothing in the book is doubtful.",)

    @property
    def to_do(self) -> pd.DataFrame:
        """Everything that wants mending, as words: where, what to do, why."""
        lines = [(lift.point, f"{'raise' if lift.by > 0 else 'lower'} by {word_change(abs(lift.by), 'mm')}",
                  f"for the demands: {lift.why}") for lift in self.mending.lifts]
        pond, flat = self.tried("pond"), self.tried("flatness")
        kind = REGULARITY[self.classes[-1]] if self.classes else None
        for basin in [] if pond is None else pond.basins:
            if basin.depth > STANDING_DEEP.value or basin.area > STANDING_WIDE.value:
                lines.append((word_place(*basin.place), "raise, or let the water out",
                              f"{word_mm(basin.depth, digits=1)} of water stands there over {word_area(basin.area)}"))
        if kind and flat and flat.verdict(kind) == NOT_MET and (bar := flat.bar(kind.length)) is not None:
            found, shown = bar.offset if kind.offset else bar.found, word_mm(bar.shown(kind)[0], digits=1)
            place = found.offset_where if kind.offset else found.where
            near = self.check.spots.loc[np.hypot(*(self.check.spots[["x", "y"]].to_numpy() - place).T).argmin(), "point"]
            lines.append((f"{near}, {word_place(*place)}" if self.job.screeding.there else word_place(*place),
                          "fill it, or grind it wet, in a mask" if self.job.screeding.there else "lay it straight",
                          f"{shown} under {word_distance(kind.length)}; {kind.words} ({kind.name})"))
        lips = self.tried("lips")
        for one in [] if lips is None else lips.everywhere:
            if one.verdict == NOT_MET:
                lines.append((one.condition.place, "bed the proud unit again", f"a lip of {one.found_words}; {one.required}"))
        lines += [(what, "not known", why) for name, what in (
            ("pond", "standing water"), ("flatness", "straightness"), ("lips", "lips")) if (why := self.why(name))]
        none = ("nowhere", "nothing", "demands, water, straightness and lips are met or too close to call")
        return pd.DataFrame(lines or [none], columns=["where", "what to do", "why"])

    @property
    def paving(self) -> str:
        """The kind of paving that lips and straightness are judged by."""
        return str(self._told.get("paving", PAVING))

    @cached_property
    def mending(self) -> Mending:
        """Where to lift and lay again."""
        if self.job.screeding.there:
            return where_to_lift(self.check, act="mend", worth=GROUND)
        layout = self.job.outdoor.tried("units")
        return where_to_lift(self.check, units=() if layout is None else [piece.polygon for piece in layout.pieces])

    @cached_property
    def flatness(self) -> Flatness:
        """Straightedges over it."""
        return flatness(self.check, paving=self.classes)

    @property
    def classes(self) -> tuple[str, ...]:
        """The classes of regularity that matter first, the finest first: that of the paving, or those of floors for a screed."""
        if self.job.screeding.there and "paving" not in self._told:
            return FLOOR_CLASSES
        return (self.paving,) if self.paving in REGULARITY else ()

    @property
    def floor_words(self) -> tuple[str, ...]:
        """Of a screed: how straight it is by the classes of floors, and how the outlet lies, in sentences; else none."""
        spots, flat = self.tried("spots"), self.tried("flatness")
        if not self.job.screeding.there or spots is None:
            return ()
        bar = None if flat is None else self.shown_bar
        said = [] if bar is None else [f"Worst under {word_distance(bar.length)}: {word_mm(bar.gap, digits=1)}, at "
                                       f"{word_place(*bar.where)}. {self.flatness.classes}"]
        low, lowest_at = float(spots["level"].min()), spots["point"].iloc[int(spots["level"].argmin())]
        for x, y in self.job.screeding.ways_out.outlets:
            apart = np.hypot(spots["x"] - x, spots["y"] - y)
            if apart.min() > KEPT_NEAR:
                said.append(f"At the outlet, {word_place(x, y)}, nobody read the floor: whether water gets there is not known. "
                            "Read it there.")
                continue
            there, off = map(float, spots.loc[apart.idxmin(), ["level", "deviation"]])
            below = there - low
            lowest = f"no spot lies more than {word_mm(ONE)} lower." if below <= ONE else \
                f"{lowest_at}, the lowest spot, lies {word_mm(below, digits=1)} lower than that."
            said.append(f"At the outlet, {word_place(x, y)}, the floor lies at {word_level(there)}, "
                        f"{word_mm(abs(off), digits=1)} {'above' if off > 0 else 'below'} the design; {lowest}")
        return tuple(said)

    @property
    def doors(self) -> tuple[Spot, ...]:
        """Thresholds that the brief names."""
        return tuple(spot for demand in self.job.brief.demands if isinstance(demand, Step) for spot in demand.at)

    @cached_property
    def pond(self) -> Ponding:
        """Where rain stands on it."""
        return pond_on(self.job, ground_of(self.job.finish, self.spots))

    @cached_property
    def before(self) -> Ponding:
        """Where rain stood on the old ground."""
        return pond_on(self.job, self.job.ground, drained=False)

    @cached_property
    def water(self) -> StandingWater:
        """How sure that is, against the limit."""
        check = self.check
        return standing_water(self.pond, covariance=check.covariance, doors=self.doors, sure=self.job.budget.sure)

    @property
    def kept_words(self) -> str:
        """Where water is taken to run off, and whether paving that stays holds it on the new, in a sentence."""
        if self.job.screeding.there:
            return self.job.screeding.ways_out.words
        rows = [one for one in self.check.everywhere if isinstance(one.demand, Meet) and one.found < 0]
        if not rows:
            return "Water runs off over every side that has no wall; nothing that stays was read to lie higher."
        worst = min(rows, key=lambda one: one.found)
        return (f"Water is taken to run off over every side that has no wall. The paving that stays lies "
                f"{word_mm(-worst.found, digits=1)} higher than the new at {worst.condition.place}: water stands there up to "
                "that depth unless something drains it, such as a channel or an open joint.")

    @property
    def _told(self) -> dict[str, Any]:
        return dict(self.job.told.get("laid", {}))

    @cached_property
    def lips(self) -> Verdicts | None:
        """Lips measured at joints; None where none were."""
        told = self._told
        joints = told.get("joints_mm")
        if not joints:
            return None
        rows = [(one[0], one[1]) if len(one) == 2 else (one, None) for one in joints]
        return self._read("laid", lambda _: lipping(pd.DataFrame(rows, columns=["joint", "lip_mm"]), paving=self.paving,
                                                    by=told.get("measured_by", "rule"), budget=self.job.budget))

    @property
    def lips_missing(self) -> str:
        """Why no lips are judged."""
        return self.why("lips") or (NO_JOINTS if self.job.screeding.there else "No joint has been measured yet: type it above.")

    @property
    def shown_bar(self) -> Straightedge | None:
        """The longest straightedge that fits, of a screed that of its classes if it fits, where its gap is greatest."""
        flat = self.flatness
        wanted = flat.bar(REGULARITY[self.classes[0]].length) if self.job.screeding.there and self.classes else None
        bar = wanted or (flat.bars[-1] if flat.bars else None)
        return None if bar is None else bar.found

    @property
    def lips_words(self) -> tuple[str, ...]:
        """The same, in sentences."""
        if self.job.screeding.there:
            return (NO_JOINTS,)
        found, warning = self.lips_seen
        if found is None:
            return ("No two spots stand on either side of one joint.",)
        return (*(f"{one.condition.place}: {one.found_words} by levels, give or take {one.wide(one.give)}: {one.verdict}."
                  for one in found.everywhere), warning)

    @property
    def farthest(self) -> pd.DataFrame:
        """The spots farthest off the design, as words."""
        return spots_in_words(self.spots).head(8)

    @cached_property
    def spots(self) -> pd.DataFrame:
        """The spots of `check`; where a part of the surface has too few to be judged, those that there are."""
        check, job = self.tried("check"), self.job
        return laid_spots(self.reduced, job.finish, job.brief, job.errors.reduced).table if check is None else check.spots

    @cached_property
    def lips_seen(self) -> tuple[Verdicts | None, str]:
        """What levels say of lips where two spots stand beside one joint, and the warning that they cannot show it."""
        check = self.check
        assert check.errors is not None
        with warnings.catch_warnings(record=True) as said:
            warnings.simplefilter("always", SurveyWarning)
            found = lips_by_levels(check.errors, check.spots["point"], check.design, paving=self.paving)
        return found, " ".join(str(one.message) for one in said)


def pond_on(job: Job, ground: Any, *, drained: bool = True) -> Ponding:
    """Where rain would stand on a surface with the walls, closed edges and gullies of a job, and the drain of its new surface."""
    brief, shape = job.brief, job.shape if drained else OnePlane()
    if job.screeding.there:  # a room, whose sides keep water in
        ways = job.screeding.ways_out
        if not ways.outlets and not ways.free:
            raise SurveyError("nothing lets water out of the room", rule="Its sides keep it in.", remedy="Fill in an outlet or a "
                              "side that the floor falls to in 7-screed, or read the floor at the door and ask to meet it.")
        return ponding(ground, brief.area, outlets=ways.outlets, free=ways.free)
    outlets: list[Any] = [shape.ends(brief.area)] if isinstance(shape, Channel) else [shape] if isinstance(shape, Outlet) else []
    outlets += gullies_on(job)  # a channel is carried on to the edges
    try:
        return ponding(ground, brief.area, walls=[*brief.walls, *brief.closed], outlets=outlets, free=brief.free or "rest")
    except SurveyError as error:
        raise error.at("brief.toml, [area] and its closed and free sides") from None
