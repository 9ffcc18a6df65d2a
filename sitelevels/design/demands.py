"""What a finished surface can be asked to do: each demand is a list of limits on levels and falls."""

from __future__ import annotations

import math
import warnings
from abc import ABC, abstractmethod
from collections.abc import Iterable
from dataclasses import dataclass
from itertools import pairwise
from numbers import Real
from typing import TYPE_CHECKING, Any, ClassVar, NamedTuple

from ..errors import SurveyError, SurveyWarning, must_be
from ..surface.plane import Plane
from ..wording import word_distance, word_fall, word_mm, word_number
from .published import LIMITS

if TYPE_CHECKING:
    from .brief import Brief

STEEP, LONG = 0.1, 1.0  # a fall in m/m or a length in m above this is possible but questioned
Corners = Iterable[tuple[float, float]]


class Spot(NamedTuple):
    """A named place with a measured level; all in m."""

    point: str
    x: float
    y: float
    level: float


@dataclass(frozen=True)
class Condition:
    """One thing that one number of the surface must do.

    With `at` the number is constant + sign × level at that place, in m; with `toward` it is the fall towards that
    direction, in m/m, of the facets beside `wall` if that is named; with neither it is the true fall. It must lie between
    `low` and `high`, where given.
    """

    place: str
    low: float | None = None
    high: float | None = None
    at: tuple[float, float] | None = None
    sign: float = 1.0
    constant: float = 0.0
    toward: tuple[float, float] | None = None
    wall: str = ""

    def found(self, plane: Plane) -> float:
        """The number for a plane."""
        if self.at is not None:
            return self.constant + self.sign * plane.level_at(*self.at)
        return plane.fall if self.toward is None else plane.fall_towards(*self.toward)

    def margin(self, found: float) -> float:
        """How far inside its limits a number is; negative outside them."""
        inside = [found - self.low] if self.low is not None else []
        return min(inside + ([self.high - found] if self.high is not None else []))


def _positive(name: str, who: str, value: float | None) -> None:
    number = isinstance(value, Real) and not isinstance(value, bool)
    if value is not None and not (number and math.isfinite(value) and value >= 0):
        raise SurveyError(f"{name} of the demand {who} is {value!r}", rule="It must be a finite number, not negative.")


def _ordered(who: str, *limits: tuple[str, float | None], falls: bool = False) -> None:
    given = [(name, value) for name, value in limits if value is not None]
    for name, value in given:
        _positive(name, who, value)
        if value > (STEEP if falls else LONG):
            shown = word_fall(value) if falls else word_mm(value)
            warnings.warn(f"The demand {who} has {name} {shown}. Is the unit right?", SurveyWarning, stacklevel=4)
    for (low_name, low), (high_name, high) in pairwise(given):
        if low > high:
            raise SurveyError(f"the demand {who} contradicts itself: {low_name} {word_number(low)} is above {high_name} "
                              f"{word_number(high)}",
                              remedy="Change the one or the other.")


def _spots(points: Iterable[Any], who: str) -> tuple[Spot, ...]:
    try:
        spots = tuple(Spot(str(point), float(x), float(y), float(level)) for point, x, y, level in points)
    except (TypeError, ValueError, OverflowError):
        raise SurveyError(f"the demand {who} needs points as (name, x, y, level)", remedy="Levels and positions in m.") from None
    if not spots:
        raise SurveyError(f"the demand {who} names no point")
    for spot in spots:
        if not all(math.isfinite(value) for value in spot[1:]):
            raise SurveyError(f"the point {spot.point} of the demand {who} has no position or no level",
                              remedy="Fill in x and y of the point in the book.")
    return spots


@dataclass(frozen=True)
class Demand(ABC):
    """One thing that the finished surface must do.

    `title` is its short name and `unit` ("mm" or "mm/m") that of its numbers when shown; `limits` name entries of LIMITS.
    """

    title: ClassVar[str] = ""
    unit: ClassVar[str] = "mm"
    limits: ClassVar[tuple[str, ...]] = ()

    @abstractmethod
    def words(self) -> str:
        """The demand in a sentence's middle, e.g. "at least 150 mm below the DPC of the north wall"."""

    @abstractmethod
    def conditions(self, brief: Brief, corners: Corners = ()) -> list[Condition]:
        """What it comes to, place by place."""


@dataclass(frozen=True)
class Clearance(Demand):
    """Stay at least `least` m below the DPC of a wall, wherever the area lies against it."""

    wall: str
    least: float = LIMITS["clearance"].value
    title = "below the DPC"
    limits = ("clearance", "clearance, Approved Document C")

    def __post_init__(self) -> None:
        _ordered(f"Clearance at {self.wall}", ("least", self.least))

    def words(self) -> str:
        return f"at least {word_mm(self.least)} below the DPC of the {self.wall}"

    def conditions(self, brief: Brief, corners: Corners = ()) -> list[Condition]:
        wall = brief.wall(self.wall)
        return [Condition(f"{self.wall}, {word_distance(along)} along", low=self.least, at=wall.place(along), sign=-1.0,
                          constant=dpc) for along, dpc in brief.dpc_stations(wall, corners)]


@dataclass(frozen=True)
class FallAway(Demand):
    """Fall away from a wall by at least `least` m/m and at most `most`; `target` is what one would like."""

    wall: str
    least: float = LIMITS["fall away"].value
    target: float | None = None
    most: float | None = None
    unit = "mm/m"
    title = "fall away"
    limits = ("fall away", "fall away, drives and paths", "fall away, flags")

    def __post_init__(self) -> None:
        _ordered(f"FallAway from {self.wall}", ("least", self.least), ("target", self.target), ("most", self.most), falls=True)

    def words(self) -> str:
        most = "" if self.most is None else f" and at most {word_fall(self.most)}"
        most += "" if self.target is None else f" (better {word_fall(self.target)})"
        return f"a fall of at least {word_fall(self.least)}{most} away from the {self.wall}"

    def conditions(self, brief: Brief, corners: Corners = ()) -> list[Condition]:
        return [Condition(f"away from the {self.wall}", low=self.least, high=self.most,
                          toward=brief.outward(brief.wall(self.wall)), wall=self.wall)]


@dataclass(frozen=True)
class FallAlong(Demand):
    """Fall along a wall, either way, by at most `most` m/m, on every facet."""

    wall: str
    most: float = LIMITS["fall along"].value
    unit = "mm/m"
    title = "fall along"
    limits = ("fall along",)

    def __post_init__(self) -> None:
        _ordered(f"FallAlong {self.wall}", ("most", self.most), falls=True)

    def words(self) -> str:
        return f"a fall of at most {word_fall(self.most)} along the {self.wall}, either way"

    def conditions(self, brief: Brief, corners: Corners = ()) -> list[Condition]:
        return [Condition(f"along the {self.wall}", low=-self.most, high=self.most, toward=brief.wall(self.wall).direction)]


@dataclass(frozen=True)
class _AtSpots(Demand):
    """A demand at measured points."""

    _field: ClassVar[str] = "points"

    def __post_init__(self) -> None:
        given = getattr(self, self._field)
        must_be(given, (list, tuple), f"the points of the demand {type(self).__name__}")
        single = len(given) > 0 and isinstance(given[0], str)
        spots = _spots((given,) if single else given, type(self).__name__)
        if self._field == "point" and len(spots) > 1:
            raise SurveyError(f"the demand {type(self).__name__} speaks of one point and is given {len(spots)}",
                              remedy="Make a demand for each.")
        object.__setattr__(self, self._field, spots[0] if self._field == "point" else spots)

    @property
    def spots(self) -> tuple[Spot, ...]:
        """The measured points."""
        spots = getattr(self, self._field)
        return (spots,) if isinstance(spots, Spot) else spots

    def _names(self) -> str:
        return ", ".join(spot.point for spot in self.spots)

    def _each(self, *, low: float | None = None, high: float | None = None, below: bool) -> list[Condition]:
        """Finish against the level of each point: how far below it, or how far above."""
        sign = -1.0 if below else 1.0
        return [Condition(spot.point, low=low, high=high, at=(spot.x, spot.y), sign=sign, constant=-sign * spot.level)
                for spot in self.spots]


@dataclass(frozen=True)
class Meet(_AtSpots):
    """Meet paving that stays within ± `within` m at each of `points` (Spot or (name, x, y, level))."""

    points: tuple[Spot, ...]
    within: float = LIMITS["meet"].value
    title = "meet the old paving"
    limits = ("meet",)

    def __post_init__(self) -> None:
        super().__post_init__()
        _ordered("Meet", ("within", self.within))

    def words(self) -> str:
        return f"within {word_mm(self.within)} of the paving that stays at {self._names()}"

    def conditions(self, brief: Brief, corners: Corners = ()) -> list[Condition]:
        return self._each(low=-self.within, high=self.within, below=False)


@dataclass(frozen=True)
class Step(_AtSpots):
    """Leave a step down from `at`, one Spot of a threshold or tread or several, of `least` to `most` m."""

    at: tuple[Spot, ...]
    least: float = LIMITS["step least"].value
    most: float = LIMITS["step most"].value
    title = "step"
    limits = ("step least", "step most", "step most, garden", "threshold, level access")
    _field = "at"

    def __post_init__(self) -> None:
        super().__post_init__()
        _ordered(f"Step at {self._names()}", ("least", self.least), ("most", self.most))

    def words(self) -> str:
        return f"a step of {word_mm(self.least)} to {word_mm(self.most)} down from {self._names()}"

    def conditions(self, brief: Brief, corners: Corners = ()) -> list[Condition]:
        return self._each(low=self.least, high=self.most, below=True)


@dataclass(frozen=True)
class Cover(_AtSpots):
    """Leave at least `least` m between the top of what is buried at each of `points` and the finished level."""

    points: tuple[Spot, ...]
    least: float = LIMITS["cover"].value
    title = "cover"
    limits = ("cover",)

    def __post_init__(self) -> None:
        super().__post_init__()
        _ordered("Cover", ("least", self.least))

    def words(self) -> str:
        return f"at least {word_mm(self.least)} of cover over {self._names()}"

    def conditions(self, brief: Brief, corners: Corners = ()) -> list[Condition]:
        return self._each(low=self.least, below=False)


@dataclass(frozen=True)
class KeepBelow(_AtSpots):
    """Stay at least `by` m below one point: an air brick, a weep hole, a sill."""

    point: Spot
    by: float = LIMITS["air brick"].value
    title = "keep below"
    limits = ("air brick",)
    _field = "point"

    def __post_init__(self) -> None:
        super().__post_init__()
        _ordered(f"KeepBelow {self._names()}", ("by", self.by))

    def words(self) -> str:
        return f"at least {word_mm(self.by)} below {self._names()}"

    def conditions(self, brief: Brief, corners: Corners = ()) -> list[Condition]:
        return self._each(low=self.by, below=True)


@dataclass(frozen=True)
class Gully(_AtSpots):
    """Stand proud of the grating at one point by proud[0] to proud[1] m."""

    point: Spot
    proud: tuple[float, float] = (LIMITS["gully proud least"].value, LIMITS["gully proud most"].value)
    title = "proud of the gully"
    limits = ("gully proud least", "gully proud most")
    _field = "point"

    def __post_init__(self) -> None:
        super().__post_init__()
        if not isinstance(self.proud, (list, tuple)) or len(self.proud) != 2:
            raise SurveyError(f"proud of the demand Gully {self._names()} is {self.proud!r}",
                              rule="It is a pair, least and most, in m.")
        _ordered(f"Gully {self._names()}", ("least", self.proud[0]), ("most", self.proud[1]))

    def words(self) -> str:
        return f"{word_mm(self.proud[0])} to {word_mm(self.proud[1])} proud of the gully {self._names()}"

    def conditions(self, brief: Brief, corners: Corners = ()) -> list[Condition]:
        return self._each(low=self.proud[0], high=self.proud[1], below=False)


@dataclass(frozen=True)
class MaxGradient(Demand):
    """Be nowhere steeper than `most` m/m in any direction."""

    most: float = LIMITS["gradient"].value
    unit = "mm/m"
    title = "gradient"
    limits = ("gradient",)

    def __post_init__(self) -> None:
        _ordered("MaxGradient", ("most", self.most), falls=True)

    def words(self) -> str:
        return f"nowhere steeper than {word_fall(self.most)}"

    def conditions(self, brief: Brief, corners: Corners = ()) -> list[Condition]:
        return [Condition("the whole area", high=self.most)]
