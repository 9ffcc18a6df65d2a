"""What was laid: the second level book of a job held against its design, for straightness, standing water and lips."""

from __future__ import annotations

import re
import warnings
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any

import pandas as pd
import shapely

from ..design.conditions import Spot
from ..design.demands import Meet, Step
from ..design.flatness import Flatness, flatness
from ..design.laid import Laid, check_laid
from ..design.lipping import lipping, lips_by_levels
from ..design.mending import Mending, where_to_lift
from ..design.puddles import StandingWater, standing_water
from ..design.verdicts import NOT_MET, Verdicts
from ..design.workmanship import REGULARITY, STANDING_DEEP, STANDING_WIDE
from ..errors import SurveyError, SurveyWarning
from ..surface.ponding import Ponding, ponding
from ..surface.shapes import Channel, OnePlane, Outlet
from ..surface.straightedge import Straightedge
from ..survey.book import LevelBook
from ..survey.reduction import ReducedLevels
from ..wording import word_area, word_change, word_distance, word_level, word_mm, word_place
from .water import Worked

if TYPE_CHECKING:
    from .job import Job

PAVING = "flags and natural stone"


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
        book = self.job.read(self.job.laid_text, "laid")
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
        return book.with_places(places) if places else book

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
            told = {name for found in re.findall(r"points? (.+?) were not read", str(error)) for name in found.split(", ")}
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
        return (*check.doubts, *self.reduced.doubts, *self.book.doubts, *self._doubts)

    @property
    def doubts_words(self) -> tuple[str, ...]:
        """The same, or that there is none."""
        return self.doubts or ("Nothing in the book is doubtful.",)

    @property
    def to_do(self) -> pd.DataFrame:
        """Everything that wants mending, as words: where, what to do, why."""
        lines = [(lift.point, f"{'raise' if lift.by > 0 else 'lower'} by {word_change(abs(lift.by), 'mm')}",
                  f"for the demands: {lift.why}") for lift in self.mending.lifts]
        pond, flat, kind = self.tried("pond"), self.tried("flatness"), REGULARITY.get(self.paving)
        for basin in [] if pond is None else pond.basins:
            if basin.depth > STANDING_DEEP.value or basin.area > STANDING_WIDE.value:
                lines.append((word_place(*basin.place), "raise, or let the water out",
                              f"{word_mm(basin.depth, digits=1)} of water stands there over {word_area(basin.area)}"))
        if kind and flat and flat.verdict(kind) == NOT_MET and (bar := flat.bar(kind.length)) is not None:
            found, shown = bar.offset if kind.offset else bar.found, word_mm(bar.shown(kind)[0], digits=1)
            lines.append((word_place(*(found.offset_where if kind.offset else found.where)), "lay it straight",
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
        layout = self.job.outdoor.tried("units")
        return where_to_lift(self.check, units=() if layout is None else [piece.polygon for piece in layout.pieces])

    @cached_property
    def flatness(self) -> Flatness:
        """Straightedges over it."""
        return flatness(self.check, paving=self.paving if self.paving in REGULARITY else "")

    @property
    def doors(self) -> tuple[Spot, ...]:
        """Thresholds that the brief names."""
        return tuple(spot for demand in self.job.brief.demands if isinstance(demand, Step) for spot in demand.at)

    @cached_property
    def pond(self) -> Ponding:
        """Where rain stands on it."""
        return pond_on(self.job, self.check.ground)

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
        """Whether paving that stays holds water on the new, in a sentence."""
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
        return self.why("lips") or "No joint has been measured yet: type it above."

    @property
    def longest_bar(self) -> Straightedge | None:
        """The longest straightedge that fits, where its gap is greatest."""
        bars = self.flatness.bars
        return bars[-1].found if bars else None

    @property
    def lips_words(self) -> tuple[str, ...]:
        """The same, in sentences."""
        found, warning = self.lips_seen
        if found is None:
            return ("No two spots stand on either side of one joint.",)
        return (*(f"{one.condition.place}: {one.found_words} by levels, give or take {one.wide(one.give)}: {one.verdict}."
                  for one in found.everywhere), warning)

    @property
    def farthest(self) -> pd.DataFrame:
        """The spots farthest off the design, as words."""
        return self.check.spots_words.head(8)

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
    if job.screeding.there:  # a room: water leaves by the outlet or over the side that is named, and nowhere else
        to = job.screeding.found.to
        return ponding(ground, brief.area, outlets=[to] if isinstance(to, Outlet) else (),
                       free="rest" if to is None else () if isinstance(to, Outlet) else [to])
    outlets: list[Any] = [shape.ends(brief.area)] if isinstance(shape, Channel) else [shape] if isinstance(shape, Outlet) else []
    gullies = job.reduced.spots("gully")  # a channel is carried on to the edges
    outlets += [(x, y) for x, y in zip(gullies["x"], gullies["y"], strict=True)
                if x == x and brief.area.distance(shapely.Point(x, y)) < 0.1]
    try:
        return ponding(ground, brief.area, walls=[*brief.walls, *brief.closed], outlets=outlets, free=brief.free or "rest")
    except SurveyError as error:
        raise error.at("brief.toml, [area] and its closed and free sides") from None
