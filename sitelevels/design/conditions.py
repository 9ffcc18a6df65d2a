"""What a demand on a finished surface is made of: conditions on its levels and falls, and limits that could give way."""

from __future__ import annotations

import math
import warnings
from abc import ABC, abstractmethod
from collections.abc import Iterable
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import TYPE_CHECKING, Any, ClassVar, Literal, NamedTuple

from ..errors import SurveyError, SurveyWarning, finite, must_be
from ..surface.facet import Facet
from ..wording import word_fall, word_mm, word_number

if TYPE_CHECKING:
    from .brief import Brief, Wall

STEEP, LONG = 0.1, 1.0  # a fall in m/m or a length in m above this is possible but questioned
Corners = Iterable[tuple[float, float]]


class Spot(NamedTuple):
    """A named place with a measured level; all in m.

    Nothing is refused here: whoever takes a spot (a demand, `standing_water`) refuses one without a place.

    Reason: a demand hangs on what was measured, so a spot keeps the name that it has in the level book.

    >>> Spot("sill", 1.2, 0.0, 10.150).level
    10.15
    """

    point: str
    x: float
    y: float
    level: float


@dataclass(frozen=True)
class Condition:
    """One thing that one number of the surface must do.

    With `at` the number is constant + sign × level at that place, in m; with `toward` it is the fall towards that
    direction, in m/m, of the facets beside `wall` if that is named; with neither it is the true fall. It must lie between
    `low` and `high`, where given; `low_of` and `high_of` name the fields of its demand that these come from. Where there is a
    choice, the number should come near `target`. With `drain` the number is the fall of each facet that drains, "towards" its
    drain or "along" its channel. `on` names the points that `constant` was measured at, with how much of each level it takes;
    the staff stood there as on a point of the feature `staff_on`.
    """

    place: str
    low: float | None = None
    high: float | None = None
    at: tuple[float, float] | None = None
    sign: float = 1.0
    constant: float = 0.0
    toward: tuple[float, float] | None = None
    wall: Wall | None = None
    target: float | None = None
    drain: Literal["", "towards", "along"] = ""
    low_of: str = "least"
    high_of: str = "most"
    on: tuple[tuple[str, float], ...] = ()
    staff_on: str = "benchmark"

    def way_on(self, facet: Facet) -> tuple[float, float] | None:
        """The direction of the fall that it speaks of on a facet; None for the true fall."""
        return getattr(facet, self.drain) if self.drain else self.toward

    @property
    def of_true_fall(self) -> bool:
        """Whether the number is the true fall."""
        return self.at is None and self.toward is None and not self.drain

    def found(self, facet: Facet) -> float:
        """The number for a facet."""
        if self.at is not None:
            return self.constant + self.sign * facet.plane.level_at(*self.at)
        way = self.way_on(facet)
        return facet.plane.fall if way is None else facet.plane.fall_towards(*way)

    @property
    def ends(self) -> tuple[float, float]:
        """Its lower and upper limit, infinite where there is none."""
        return -math.inf if self.low is None else self.low, math.inf if self.high is None else self.high

    def room(self, found: float) -> tuple[float, float]:
        """How far a number lies above its lower limit and below its upper one; infinite where there is none."""
        low, high = self.ends
        return found - low, high - found

    def margin(self, found: float) -> float:
        """How far inside its limits a number is; negative outside them."""
        return min(self.room(found))


def ordered(who: str, *limits: tuple[str, object], falls: bool = False) -> None:
    """Refuse limits (name, value) of a demand that are not in order, and question one that is doubtful."""
    given = [(name, finite(value, f"{name} of the demand {who}", "It must be a finite number, not negative.", least=0))
             for name, value in limits]
    for name, value in given:
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
        if not all(abs(value) < 1e12 for value in spot[1:]):
            raise SurveyError(f"the point {spot.point} of the demand {who} has no position or no level",
                              remedy="Fill in x and y of the point in the book.")
    return spots


class Bound(NamedTuple):
    """A limit of a demand that could give way.

    `words` say so, with {new} and {old} for its values, {who} for its wall or points, and {way} and {where} for the sense and
    the places in which it would give; `limits` name the entries of LIMITS that bear on it. A `least` limit gives way downwards,
    any other upwards. `mind` is what to bear in mind if it does.
    """

    words: str
    limits: tuple[str, ...] = ()
    least: bool = False
    mind: str = ""


@dataclass(frozen=True)
class Demand(ABC):
    """One thing that the finished surface must do.

    `title` is its short name and `unit` ("mm" or "mm/m") that of its numbers when shown; `bounds` are its limits by field,
    `limits` the names of the entries of LIMITS that bear on them. `shown_by` is what shows it once it is laid, where levels
    are not sure enough; `to_mend` what mends it where no surface is turned or moved for it, with {place}. `called`, with {who},
    is its name in a refusal, and `checked` the fields that must be in order, group by group. `sides` are what a number above
    and below nought means, in words, where either is usual.
    """

    title: ClassVar[str] = ""
    unit: ClassVar[str] = "mm"
    bounds: ClassVar[dict[str, Bound]] = {}
    limits: ClassVar[tuple[str, ...]] = ()
    shown_by: ClassVar[str] = "a long spirit level on the laid surface, read both ways round"
    to_mend: ClassVar[str] = ""
    called: ClassVar[str] = ""
    checked: ClassVar[tuple[tuple[str, ...], ...]] = ()
    sides: ClassVar[tuple[str, str]] = ("", "")

    def __init_subclass__(cls) -> None:
        cls.limits = tuple(name for bound in cls.bounds.values() for name in bound.limits)

    def __post_init__(self) -> None:
        self._read()
        for fields in self.checked:
            limits = [(name, value) for name in fields if (value := self.value(name)) is not None
                      or getattr(type(self), name, 0) is not None]  # None only where that is the default
            ordered(self.called.format(who=self.who), *limits, falls=self.unit != "mm")

    def _read(self) -> None:  # noqa: B027 (most demands have nothing to read)
        """Make of its fields what they should be, and refuse what cannot be."""

    @property
    def who(self) -> str:
        """The wall or the points that it speaks of."""
        return str(getattr(self, "wall", ""))

    def value(self, field: str) -> float | None:
        """The limit in a field, m or m/m."""
        found: float | None = getattr(self, field)
        return found

    def changed(self, **values: float) -> Demand:
        """The demand with other limits, m or m/m."""
        return replace(self, **values)

    def beside_a_drain(self, conditions: list[Condition]) -> list[Condition]:
        """What its conditions come to where the paving falls to a drained channel or an outlet."""
        return conditions

    @abstractmethod
    def words(self) -> str:
        """The demand in a sentence's middle, e.g. "at least 150 mm below the DPC of the north wall"."""

    @abstractmethod
    def conditions(self, brief: Brief, corners: Corners = ()) -> list[Condition]:
        """What it comes to, place by place."""


@dataclass(frozen=True)
class AtSpots(Demand):
    """A demand at measured points."""

    _field: ClassVar[str] = "points"
    shown_by = "a straightedge held from the one to the other, and a rule"

    def _read(self) -> None:
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

    def without(self, point: str) -> AtSpots:
        """The demand without a point of that name. Raises SurveyError where it has no other."""
        kept = tuple(spot for spot in self.spots if spot.point != point)
        return self if len(kept) == len(self.spots) else replace(self, **{self._field: kept})

    @property
    def who(self) -> str:
        return ", ".join(spot.point for spot in self.spots)

    def _each(self, *, low: float | None = None, high: float | None = None, below: bool, low_of: str = "least",
              high_of: str = "most") -> list[Condition]:
        """Finish against the level of each point: how far below it, or how far above."""
        sign = -1.0 if below else 1.0
        return [Condition(spot.point, low=low, high=high, at=(spot.x, spot.y), sign=sign, constant=-sign * spot.level,
                          low_of=low_of, high_of=high_of, on=((spot.point, -sign),)) for spot in self.spots]
