"""What lies between the finished surface and the ground: layers, an old floor that is taken up, footings that stay."""

from __future__ import annotations

import math
import re
import warnings
from collections.abc import Iterable, Sequence
from dataclasses import KW_ONLY, dataclass, replace
from numbers import Real
from typing import Any

import numpy as np
import shapely

from ..errors import SurveyError, SurveyWarning, finite, must_be
from ..surface.facet import polygon_of
from ..surface.plane import FARTHEST, Floats, plan_places
from ..wording import whole_up, word_distance, word_mm, word_number, word_place
from .handbook import DENSITIES, Published, Range, range_of
from .published import ICPI, MEMORY, READ

THICKEST = 1.0  # m: a layer of paving thicker than this is questioned
DENSEST = 10_000.0  # kg/m³: iron is lighter
EACH = ("m3", "t", "bulk bag", "m2", "each")  # what a price may be for
UNITS, BEDDING, COMPACTED = "units", "bedding", "compacted"
KINDS = (UNITS, BEDDING, COMPACTED)

_SHARE, _RATIO, _LENGTH = "of what is needed", "m³ loose for 1 m³ in place", "m"
USUAL: dict[str, dict[str, Published]] = {
    UNITS: {
        "tolerance": Published(Range(0.0, 0.0, 0.0), _LENGTH, "units are as thick as they are sold"),
        "loose": Published(Range(1.0, 1.0, 1.0), _RATIO, "units do not shrink"),
        "density": DENSITIES["concrete"],
        "waste": Published(Range(0.10, 0.10, 0.15), _SHARE, "off-cuts and breakages of a patio, 10 to 15 % at the least",
                           "Horticulture Connected, Wasted Profits", "", "spring 2015", READ),
    },
    BEDDING: {
        "tolerance": Published(Range(0.005, 0.005, 0.005), _LENGTH, "a bed comes out 5 mm thicker or thinner"),
        "loose": Published(Range(1.2, 1.3, 1.4), _RATIO, "a bed of mortar or sand", "", "", "", MEMORY),
        "density": DENSITIES["mortar"],
        "waste": Published(Range(0.05, 0.10, 0.10), _SHARE, "bedding"),
    },
    COMPACTED: {
        "tolerance": Published(Range(0.020, 0.020, 0.020), _LENGTH, "thickness of a base, 20 mm more or 13 mm less; the greater",
                               *ICPI),
        "loose": Published(Range(1.15, 1.2, 1.5), _RATIO, "graded crushed stone; the upper end stands in a paving supplier's "
                           "guide", "", "", "", MEMORY),
        "density": DENSITIES["crushed stone"],
        "waste": Published(Range(0.025, 0.05, 0.10), _SHARE, "aggregates; 2.5 % stands in site norms (India), the rest is"),
        "lift": Published(Range(0.225, 0.225, 0.225), _LENGTH, "compacted thickness of one lift", "NHBC Standards", "10.2.6",
                          "2021", READ),
    },
}
"""What a layer of each kind is taken to be where nothing else is said."""

MORTAR_MIX = {"loose": Published(Range(1.25, 1.33, 1.4), _RATIO, "dry parts of a mortar for what is mixed", "", "", "", MEMORY)}
CONCRETE_MIX = {"loose": Published(Range(1.54, 1.54, 1.54), _RATIO, "dry parts of a concrete for what is mixed, waste counted",
                                   "estimating examples (India)", "", "", READ),
                "waste": Published(Range(0.0, 0.0, 0.0), _SHARE, "counted in the dry parts")}
BEYOND_LEAST = Published(Range(0.150, 0.150, 0.150), _LENGTH, "dig and sub-base reach past a free edge by the greater of "
                         "150 mm and the thickness of the base", *ICPI)
NO_UNITS = "A density is in kg/m³, from 1 to 10 000: a number, or the least, the likeliest and the greatest."


@dataclass(frozen=True)
class Layer:
    """A layer of the build-up, from the top down.

    Parameters
    ----------
    name : str
    thickness : float
        In place, m. One over 1 m is warned of.
    kind : "units", "bedding" or "compacted", optional
        Left out, it goes by the name (a bed, mortar or sand is bedding; a base, hardcore or capping compacted; slabs, flags,
        pavers, setts, bricks, blocks or tiles units) or else by the place in the build-up: the top layer is units, the lowest
        of several compacted, what lies between bedding. A layer with a mix is bedding.
    tolerance : float, optional
        How much thinner or thicker it may come out, m.
    loose : number or (least, likeliest, greatest), optional
        Volume to fetch loose for a volume in place; at least 1.
    density : the same, or a name in DENSITIES, optional
        In place, kg/m³.
    waste : the same, optional
        As a share of what is needed, 0 to 1.
    lift : float, optional
        Greatest compacted thickness of one lift, m.
    mix : sequence of two or three parts, optional
        Cement to sand, or to sand and aggregate, by volume: (1, 4).
    price : (amount, unit), optional
        In any money, for one "m3" (loose), "t", "bulk bag", "m2" or "each" unit.

    Raises
    ------
    SurveyError
        A thickness that is missing, negative or no number, a waste over 100 %, and whatever else cannot be.

    Source: USUAL says what is taken for what is left out, by kind, and where that comes from.

    >>> base = Layer("sub-base", 0.100, kind="compacted")
    >>> base.waste, base.lift
    (Range(low=0.025, likely=0.05, high=0.1), 0.225)
    """

    name: str
    thickness: float
    _: KW_ONLY
    kind: str | None = None
    tolerance: float | None = None
    loose: Any = None
    density: Any = None
    waste: Any = None
    lift: float | None = None
    mix: tuple[float, ...] | None = None
    price: tuple[float, str] | None = None

    def __post_init__(self) -> None:
        if not isinstance(self.name, str) or not self.name.strip():
            raise SurveyError(f"the name of a layer is {self.name!r}", rule="It is a text.")
        of = f"of the layer {self.name!r}"
        number = isinstance(self.thickness, Real) and not isinstance(self.thickness, bool)
        if not (number and 0 <= self.thickness < FARTHEST):
            raise SurveyError(f"the layer {self.name!r} is {self.thickness!r} m thick",
                              rule="A thickness is a length in m, nought or more.")
        if self.thickness > THICKEST:
            warnings.warn(f"The layer {self.name!r} is {word_distance(self.thickness)} thick. Are those millimetres?",
                          SurveyWarning, stacklevel=3)
        if self.kind is not None and not (isinstance(self.kind, str) and self.kind in KINDS):
            raise SurveyError(f"the kind {of} is {self.kind!r}", rule=f"Kinds are {', '.join(KINDS)}.")
        if self.mix is not None and self.kind == UNITS:
            raise SurveyError(f"the layer {self.name!r} is units and has a mix", rule="Units are bought, not mixed.",
                              remedy="Say kind = \"bedding\" for what is cast in place, or leave the mix out.")
        given: dict[str, Any] = {"mix": _mix(self.mix, of), "price": _price(self.price, of)}
        usual = USUAL.get(self.kind or "", {}) | mix_usual(given["mix"])
        for name, rule, least, most in (
                ("loose", "It is 1 or more and at most 3: m³ loose for 1 m³ in place.", 1.0, 3.0),
                ("density", NO_UNITS, 1.0, DENSEST),
                ("waste", "It is a share from 0 to 1: waste over 100 % cannot be meant.", 0.0, 1.0)):
            value = getattr(self, name)
            if value is None and name in usual:
                value = usual[name].range
            if name == "density" and isinstance(value, str):
                if value not in DENSITIES:
                    raise SurveyError(f"the density {of} is {value!r}", rule=f"Names are {', '.join(DENSITIES)}.")
                value = DENSITIES[value].range
            if value is not None:
                given[name] = range_of(value, f"the {name} {of}", rule)
                if not (given[name].low >= least and given[name].high <= most):
                    raise SurveyError(f"the {name} {of} is {word_range(given[name])}", rule=rule)
        for name in ("tolerance", "lift"):
            value = getattr(self, name)
            if value is None:
                given[name] = usual[name].range.likely if name in usual else None
            else:
                given[name] = finite(value, f"the {name} {of}", "It is a length in m.", least=0.0,
                                     over=-math.inf if name == "tolerance" else 0.0)
        if given["tolerance"] and given["tolerance"] > self.thickness > 0:
            if self.tolerance is not None:
                raise SurveyError(f"the tolerance {of} is {word_mm(given['tolerance'])}",
                                  rule=f"The layer itself is {word_mm(self.thickness)} thick.")
            given["tolerance"] = self.thickness
        if self.mix is not None and self.price is not None:
            raise SurveyError(f"the layer {self.name!r} has both a mix and a price", remedy="Leave one out.",
                              rule="The parts of a mix have prices of their own.")
        for name, value in given.items():
            object.__setattr__(self, name, value)

    @property
    def spread(self) -> Range:
        """Its thickness with the tolerance either way, m."""
        give = self.tolerance or 0.0
        return Range(max(self.thickness - give, 0.0), self.thickness, self.thickness + give)

    @property
    def lifts(self) -> int:
        """In how many lifts it is compacted; one where that does not matter."""
        return max(whole_up(self.thickness / self.lift), 1) if self.lift else 1


def _mix(mix: Any, of: str) -> tuple[float, ...] | None:
    if mix is None:
        return None
    rule = "It is the parts by volume, cement first: (1, 4), or (1, 2, 4)."
    if isinstance(mix, str) or not isinstance(mix, Sequence) or len(mix) not in (2, 3):
        raise SurveyError(f"the mix {of} is {mix!r}", rule=rule)
    return tuple(finite(part, f"the mix {of}", rule, over=0.0) for part in mix)


def mix_usual(mix: tuple[float, ...] | None) -> dict[str, Published]:
    """What is usual for a mix, in place of what is usual for its kind of layer."""
    return {} if mix is None else CONCRETE_MIX if len(mix) == 3 else MORTAR_MIX


def _price(price: Any, of: str) -> tuple[float, str] | None:
    if price is None:
        return None
    rule = f"It is an amount and what it is for, one of {', '.join(EACH)}."
    pair = isinstance(price, Sequence) and not isinstance(price, str) and len(price) == 2
    if not (pair and isinstance(price[1], str) and price[1] in EACH):
        raise SurveyError(f"the price {of} is {price!r}", rule=rule)
    return finite(price[0], f"the price {of}", rule, least=0.0), str(price[1])


def word_range(values: Range) -> str:
    """A range as it is typed."""
    return " to ".join(dict.fromkeys(word_number(value) for value in (values.low, values.high)))


NAMED = {COMPACTED: {"base", "hardcore", "capping", "crushed"}, BEDDING: {"bed", "bedding", "mortar", "sand", "laying", "screed"},
         UNITS: {"slab", "flag", "paver", "paving", "sett", "brick", "block", "tile", "unit"}}


def placed(layers: Iterable[Layer]) -> tuple[Layer, ...]:
    """Layers from the top down, those that do not say their kind made the one that their name or their place suggests."""
    given = tuple(layers)
    by_place = [UNITS, *[BEDDING] * (len(given) - 2), COMPACTED][:len(given)]
    kinds = [BEDDING if layer.mix is not None else
             next((kind for kind, words in NAMED.items() if words & _words(layer.name)), place)
             for layer, place in zip(given, by_place, strict=True)]
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", SurveyWarning)  # a thick layer was questioned when it was made
        return tuple(layer if layer.kind else replace(layer, kind=kind) for layer, kind in zip(given, kinds, strict=True))


def _words(name: str) -> set[str]:
    return {word.removesuffix("s") for word in re.findall(r"[a-z]+", name.casefold())}


def room_in(dig: float, layers: Iterable[Layer]) -> Range:
    """What a dig of some depth (m) leaves in hand under the layers, m: the least if all come out thick, likely, the most.

    A negative room is missing. Refuses a depth that is no length, and what is no layer.

    Reason: nobody knows on site which layers will come out thick, so at the ends of the range all of them do, or none.

    >>> layers = [Layer("slab", 0.038), Layer("bed", 0.050, tolerance=0), Layer("sub-base", 0.055, tolerance=0.005)]
    >>> room = room_in(0.150, layers)
    >>> round(room.low, 3), round(room.high, 3)
    (0.002, 0.012)
    """
    depth = finite(dig, "the depth of the dig", "It is a length in m.")
    must_be(layers, Iterable, "the list of layers")
    thick = []
    for layer in layers:
        must_be(layer, Layer, "one of the layers")
        thick.append(layer.spread)
    return Range(*(depth - sum(spread.values[end] for spread in thick) for end in (2, 1, 0)))


@dataclass(frozen=True, eq=False)
class Underside:
    """An old floor of concrete that is taken up.

    Parameters
    ----------
    thickness : float, or sequence of (x, y, thickness)
        In m; measured in one place for the whole floor, or at several: between them it is weighted by the inverse square of
        the distance, so it is what was measured at each place and nowhere beyond the least or the greatest.
    area : list of corners (k, 2) or polygon, optional
        The part that is broken out, plan, m; the whole paving if not given.

    Refuses a thickness that is no length over nought, and two at one place; asks (SurveyWarning) about one over 0.5 m.

    Source: Shepard's weights by the inverse square of the distance, a textbook rule, from memory.

    >>> floor = Underside([(0, 0, 0.10), (4, 0, 0.14)])
    >>> [round(float(one), 3) for one in floor.thickness_at([0, 2], [0, 0])]
    [0.1, 0.12]
    """

    thickness: Any
    area: shapely.Polygon | None = None

    def __post_init__(self) -> None:
        rule = "It is a length in m over 0, or a list of places (x, y, thickness) in m."
        given = self.thickness
        if isinstance(given, str) or not (isinstance(given, Sequence) or getattr(given, "ndim", 0) == 2):
            places: tuple[tuple[float, ...], ...] = ((0.0, 0.0, finite(given, "the thickness of the old floor", rule, over=0.0)),)
        else:
            if not len(given) or any(isinstance(one, str) or not hasattr(one, "__len__") or len(one) != 3 for one in given):
                raise SurveyError(f"the thickness of the old floor is {given!r}", rule=rule)
            places = tuple((finite(x, "its x", rule), finite(y, "its y", rule),
                            finite(thick, "the thickness of the old floor", rule, over=0.0)) for x, y, thick in given)
        for number, (x, y, thick) in enumerate(places):
            for other in places[:number]:
                if math.dist((x, y), other[:2]) < 1e-6 and thick != other[2]:
                    raise SurveyError(f"two thicknesses of the old floor, {word_mm(other[2])} and {word_mm(thick)}, stand at one "
                                      f"place, {word_place(x, y)}", remedy="Correct a place, or give their mean.")
        thickest = max(place[2] for place in places)
        if thickest > 0.5:
            warnings.warn(f"The old floor is {word_distance(thickest)} thick. Are those millimetres?", SurveyWarning,
                          stacklevel=3)
        object.__setattr__(self, "thickness", places)
        if self.area is not None:
            object.__setattr__(self, "area", polygon_of(self.area))

    @property
    def spread(self) -> Range:
        """Least, mean and greatest thickness measured, m."""
        thick = [place[2] for place in self.thickness]
        return Range(min(thick), min(max(sum(thick) / len(thick), min(thick)), max(thick)), max(thick))

    def thickness_at(self, x: Any, y: Any) -> Floats:
        """Thickness in m at places x, y (n,) in m."""
        places = np.array(self.thickness)
        xs, ys = plan_places(x, y)
        square = (xs[:, None] - places[:, 0])**2 + (ys[:, None] - places[:, 1])**2
        weight = 1 / np.maximum(square, 1e-12)
        return np.asarray(weight @ places[:, 2] / weight.sum(axis=1))


@dataclass(frozen=True, eq=False)
class Footing:
    """Something solid in the ground that stays and is not dug: a footing, the haunch of a pipe.

    `area` in plan (corners or polygon, m), `top` its level in m. Refuses an outline that encloses nothing, and a top that is no
    level.

    Reason: dig and concrete end at its top, so that no sum digs it away.

    >>> Footing("old footing", [(0, 0), (2, 0), (2, 0.4), (0, 0.4)], 9.80).top
    9.8
    """

    name: str
    area: shapely.Polygon
    top: float

    def __post_init__(self) -> None:
        must_be(self.name, str, "the name of a footing")
        object.__setattr__(self, "area", polygon_of(self.area))
        object.__setattr__(self, "top", finite(self.top, f"the top of the footing {self.name!r}", "It is a level in m."))


