"""How fast the ground takes water, and how large a soakaway must be for it."""

from __future__ import annotations

import warnings
from collections.abc import Sequence
from dataclasses import dataclass
from html import escape
from typing import Any

import pandas as pd

from ..design.handbook import INFILTRATION
from ..design.published import QUOTED, READ, Limit
from ..errors import SurveyError, SurveyWarning, finite, finite_list
from ..wording import html_table, word_area, word_distance, word_number, word_rate, word_time, word_volume
from .runoff import looked_up

_COUNTY = ("Buckinghamshire Council, SuDS component standards", "", "", READ)
SOAKAWAY_LIMITS = {
    "rate": Limit(1e-6, "m/s", "slowest ground that a soakaway is dug in", *_COUNTY),
    "rate, most": Limit(1e-3, "m/s", "fast end of what is typical", "West Devon Council, infiltration testing", "", "", READ),
    "half empty": Limit(24 * 3600.0, "s", "time to half empty, for rain of once in 30 years", *_COUNTY),
    "water": Limit(1.0, "m", "from the base down to ground water", *_COUNTY),
    "building": Limit(5.0, "m", "from foundations, on lower ground or ground that slopes away from the building",
                      "NHBC Standards", "5.3.11", "2021", READ),
    "boundary": Limit(2.5, "m", "from a boundary; another council asks 5 m", "Copeland Council, soakaway note", "", "", QUOTED),
    "area": Limit(25.0, "m²", "greatest area for 10 mm of rain in 5 min", "Approved Document H (England)", "",
                  "as a council quotes it", QUOTED),
    "factor": Limit(2.0, "", "least factor of safety on the rate", "Windsor and Maidenhead, SuDS guidance", "", "", READ),
}
"""What soakaways are held against, by name."""

SMALL_STORM = (5.0, 10.0)  # min, mm: see SOAKAWAY_LIMITS["area"]
SHORTEST, LONGEST = 10.0, 1440.0  # min: storms of a published calculation sheet to BRE Digest 365 (text read)
TESTS = 3  # fillings of the hole: West Devon Council (quoted, after Approved Document H)
ALMOST = 1 - 1e-9  # for what binary numbers lose
_SIZE = "It is (length, width, depth) in m, each 50 mm at the least."


@dataclass(frozen=True, eq=False)
class Infiltration:
    """How fast ground takes water, from a hole filled again and again. Made by `infiltration`; size in m, times in s."""

    size: tuple[float, float, float]
    times: tuple[float, ...]

    @property
    def slowest(self) -> float:
        """The longest of the times, s: the one that is kept."""
        return max(self.times)

    @property
    def volume(self) -> float:
        """Water between 75 % and 25 % of the depth, m³."""
        return self.size[0] * self.size[1] * self.size[2] / 2

    @property
    def area(self) -> float:
        """Base and sides up to half the depth, m²."""
        length, width, depth = self.size
        return length * width + (length + width) * depth

    @property
    def rate(self) -> float:
        """Volume over area and time, m/s."""
        return self.volume / (self.area * self.slowest)

    @property
    def percolation_value(self) -> float:
        """Seconds in which the water sinks by 1 mm, on the mean from 75 % to 25 % of the depth."""
        return self.slowest / (self.size[2] / 2 * 1000)

    def sentence(self) -> str:
        """The rate in words."""
        slow = "" if self.rate >= SOAKAWAY_LIMITS["rate"].value else " Too slow for a soakaway."
        return (f"The ground takes water at {word_rate(self.rate)}: from three quarters to a quarter of the depth in "
                f"{word_time(self.slowest)}, the slowest of {len(self.times)}.{slow}")

    def _repr_html_(self) -> str:
        return f"<p>{escape(self.sentence())}</p>"


def infiltration(size: Sequence[float], times: Sequence[float]) -> Infiltration:
    """How fast the ground takes water, from the times in which a hole that was filled goes from 75 % to 25 % of its depth.

    Parameters
    ----------
    size : (length, width, depth)
        Of the hole or trial pit, m; the hole of a percolation test is 0.3 m each way.
    times : sequence of float
        s; three or more, the slowest is kept.

    Returns
    -------
    Infiltration

    Raises
    ------
    SurveyError
        A size or time that is none. Fewer than three times and a rate over 1e-3 m/s are questioned.

    Notes
    -----
    Volume over time and internal area to half depth with the base: BRE Digest 365 as a published calculation sheet quotes it. For
    the hole of 0.3 m it comes to 1e-3 / (3 Vp) m/s, Vp being the percolation value in s/mm.

    >>> hole = infiltration((0.3, 0.3, 0.3), [2700, 2850, 3000])
    >>> hole.percolation_value, round(hole.rate * 1e6, 2)
    (20.0, 16.67)
    """
    sides = _sides(size)
    seconds = finite_list(times, "the list of times", "It is times in s, three or more.")
    for second in seconds:
        finite(second, "a time", "It must be s, 1 at the least.", least=1.0)
    if len(seconds) < TESTS:
        warnings.warn(f"The hole was filled {'once' if len(seconds) == 1 else 'twice'}: fill it three times and keep the slowest "
                      "(West Devon Council, after Approved Document H).", SurveyWarning, stacklevel=2)
    found = Infiltration(sides, tuple(seconds))
    if found.rate > SOAKAWAY_LIMITS["rate, most"].value:
        warnings.warn(f"Ground that takes {word_rate(found.rate)} is rare. Are the times in s?", SurveyWarning, stacklevel=2)
    return found


@dataclass(frozen=True, eq=False)
class Soakaway:
    """What a soakaway must hold and does hold, storm by storm. Made by `soakaway`.

    `rate` is as measured or looked up, before it is divided by `factor`; `tested` is False where a soil was named. `rain` holds
    storms of (min, mm), the shortest first; distances are in m, None where they were not given.
    """

    area: float
    rate: float
    size: tuple[float, float, float]
    void: float
    rain: tuple[tuple[float, float], ...]
    factor: float
    tested: bool
    source: str
    to_building: float | None
    to_boundary: float | None
    to_water: float | None

    @property
    def side_area(self) -> float:
        """Sides up to half the depth, without the base, m²."""
        return (self.size[0] + self.size[1]) * self.size[2]

    @property
    def outflow(self) -> float:
        """What soaks away, m³/s."""
        return self.side_area * self.rate / self.factor

    @property
    def table(self) -> pd.DataFrame:
        """A new table of the storms: duration_min rain_mm inflow outflow storage, the last three in m³."""
        rows = [[*storm, self.area * storm[1] / 1000, self.outflow * storm[0] * 60, max(self._short_by(storm), 0.0)]
                for storm in self.rain]
        return pd.DataFrame(rows, columns=["duration_min", "rain_mm", "inflow", "outflow", "storage"])

    def _short_by(self, storm: tuple[float, float]) -> float:
        return self.area * storm[1] / 1000 - self.outflow * storm[0] * 60

    @property
    def governing(self) -> tuple[float, float]:
        """The storm (min, mm) that asks for most storage."""
        return max(self.rain, key=self._short_by)

    @property
    def needed(self) -> float:
        """Storage that the worst storm asks for, m³."""
        return max(self._short_by(self.governing), 0.0)

    @property
    def has(self) -> float:
        """Room between the stones, m³."""
        return self.size[0] * self.size[1] * self.size[2] * self.void

    @property
    def half_empty(self) -> float:
        """Time in which half of what is stored soaks away, s."""
        return 0.5 * self.needed / self.outflow

    @property
    def enough(self) -> bool:
        """Whether it holds the worst storm and is half empty again in 24 h."""
        return self.has >= self.needed * ALMOST and self.half_empty * ALMOST <= SOAKAWAY_LIMITS["half empty"].value

    @property
    def length_needed(self) -> float | None:
        """Length in m that would just be enough at this width and depth; None if it is enough."""
        if self.enough:
            return None
        _, width, depth = self.size
        rate, limit = self.rate / self.factor, SOAKAWAY_LIMITS["half empty"].value
        lengths = []
        for minutes, rain in self.rain:
            time, inflow = minutes * 60, self.area * rain / 1000
            lengths.append((inflow - width * depth * rate * time) / (depth * (width * self.void + rate * time)))  # to hold it
            lengths.append(inflow / (depth * rate * (time + 2 * limit)) - width)  # to be half empty in time
        return max(lengths)

    @property
    def cautions(self) -> tuple[str, ...]:
        """What is too near, or not known, with its source."""
        said = []
        for name, given in (("building", self.to_building), ("boundary", self.to_boundary), ("water", self.to_water)):
            limit = SOAKAWAY_LIMITS[name]
            if given is None or given < limit.value:
                found = "not given how far it is" if given is None else f"too near, at {word_distance(given)}"
                said.append(f"{name.capitalize()}: {found}. Keep {word_distance(limit.value)} {limit.what} ({limit.source}).")
        return tuple(said)

    def sentence(self) -> str:
        """The sum in words."""
        (minutes, rain), least, half = self.governing, SOAKAWAY_LIMITS["factor"], SOAKAWAY_LIMITS["half empty"]
        whose = SOAKAWAY_LIMITS["area"].source if self.rain == (SMALL_STORM,) else "the worst of the storms given"
        over = "" if self.factor == 1 else f" over a factor of {word_number(self.factor)}"
        size = " × ".join(word_distance(side).removesuffix(" m") for side in self.size)
        in_time, longer = self.half_empty * ALMOST <= half.value, self.length_needed
        lines = [
            f"{word_number(rain)} mm of rain in {word_time(minutes * 60)} ({whose}) on {word_area(self.area)} brings "
            f"{word_volume(self.area * rain / 1000)}; {word_volume(self.outflow * minutes * 60)} soaks away meanwhile at "
            f"{word_rate(self.rate)}{over}: {word_volume(self.needed)} to be stored.",
            f"{size} m has {word_volume(self.has)} of room between the stones"
            f"{'' if self.has >= self.needed * ALMOST else ', which is too little'}.",
            f"Half of what is stored is gone in {word_time(self.half_empty)}, {'within' if in_time else 'longer than'} the "
            f"{word_time(half.value)} allowed ({half.source})."]
        if longer is not None:
            lines.append(f"At this width and depth it would have to be {word_distance(longer, never='less')} long.")
        if not self.tested:
            lines.append(f"The rate is not of your ground but of {self.source}: dig and test a hole.")
        if self.factor < least.value:
            lines.append(f"One council asks for a factor of {word_number(least.value)} or more on the rate ({least.source}).")
        return " ".join([*lines, "A sum, not a design: slopes, other soakaways and what local rules ask for are not in it."])

    def _repr_html_(self) -> str:
        items = "".join(f"<li>{escape(caution)}</li>" for caution in self.cautions)
        volumes = {name: f"{name}, m³" for name in ("inflow", "outflow", "storage")}
        table = self.table.rename(columns={"duration_min": "storm, min", "rain_mm": "rain, mm", **volumes})
        for name in ("storm, min", "rain, mm"):
            table[name] = table[name].map(word_number)
        return f"<p>{escape(self.sentence())}</p>{html_table(table)}" + (f"<ul>{items}</ul>" if items else "")


def soakaway(area: float, rate: float | str | Infiltration, size: Sequence[float], *, void: float = 0.3,
             rain: Sequence[tuple[float, float]] | None = None, factor: float = 1.0, to_building: float | None = None,
             to_boundary: float | None = None, to_water: float | None = None) -> Soakaway:
    """Whether a stone-filled hole holds the rain off an area until it has soaked away.

    Parameters
    ----------
    area : float
        That drains to it, m²; every drop on it is counted.
    rate : float, Infiltration or str
        m/s, what `infiltration` found, or the name of a soil in `INFILTRATION`: its low end is taken.
    size : (length, width, depth)
        Below the pipe that comes in, m.
    void : float
        Share of room between the stones; 0.3 in a published calculation sheet (text read).
    rain : sequence of (min, mm)
        Storms of the place: how long, how much. Left out: 10 mm in 5 min, for 25 m² at the most (Approved Document H, quoted).
    factor : float
        Of safety, that the rate is divided by.
    to_building, to_boundary, to_water : float
        Distances to foundations and boundary, and from the base down to ground water, m.

    Returns
    -------
    Soakaway

    Raises
    ------
    SurveyError
        Ground slower than 1e-6 m/s; no rain given for more than 25 m²; numbers that cannot be. Rates over 1e-3 m/s, odd sizes and
        storms, and a worst storm at the end of those given are questioned.

    Notes
    -----
    Storage = area × rain − side area × rate × time, the side area to half depth without the base; time to half empty =
    storage / 2 / (side area × rate): BRE Digest 365 as published calculation sheets quote it.

    >>> hole = soakaway(25, 2.5e-5, (1.0, 1.0, 1.0))
    >>> round(hole.needed, 3), round(hole.has, 3), hole.enough
    (0.235, 0.3, True)
    """
    surface = finite(area, "the area", "It must be m², over nought.", over=0.0)
    speed, source = (rate.rate, "") if isinstance(rate, Infiltration) else \
        looked_up(rate, "the rate", INFILTRATION, "It is m/s, what `infiltration` found, or the name of a soil.", "low")
    least, fast = SOAKAWAY_LIMITS["rate"], SOAKAWAY_LIMITS["rate, most"]
    finite(speed, "the rate", "It must be m/s, over nought.", over=0.0)
    if speed < least.value:
        raise SurveyError(f"the ground takes water too slowly for a soakaway: {word_rate(speed)}",
                          rule=f"It must take {word_rate(least.value)} at the least ({least.source}).",
                          remedy="Test a hole if this is not a test, or lead the water somewhere else.")
    if speed > 0.1:
        raise SurveyError(f"the rate is {speed!r} m/s", rule="No ground takes water so fast.", remedy="Divide mm/h by 3 600 000.")
    if speed > fast.value and not isinstance(rate, Infiltration):
        warnings.warn(f"A rate of {word_rate(speed)} is faster than most ground ({fast.source}). Is it in m/s?", SurveyWarning,
                      stacklevel=2)
    gaps = "It is a share over nought, 1 at the most; per cent is to be divided by 100."
    stone = finite(void, "the share of room between the stones", gaps, over=0.0, most=1.0)
    distances = [None if given is None else finite(given, f"the distance to the {name}", "It is m, nought or more.", least=0.0)
                 for name, given in (("building", to_building), ("boundary", to_boundary), ("water", to_water))]
    safety = finite(factor, "the factor of safety", "It is 1 at the least.", least=1.0)
    found = Soakaway(surface, speed, _sides(size), stone, _storms(rain, surface), safety, not isinstance(rate, str), source,
                     *distances)
    worst, (first, _), (last, _) = found.governing[0], found.rain[0], found.rain[-1]
    if rain is not None and (worst == last < LONGEST or worst == first > SHORTEST):
        warnings.warn(f"The worst storm, of {word_time(worst * 60)}, is the {'longest' if worst == last else 'shortest'} given: "
                      "storms beyond it may ask for more. Give their rain too.", SurveyWarning, stacklevel=2)
    return found


def _sides(size: Any) -> tuple[float, float, float]:
    length, width, depth = finite_list(size, "the size of the hole", _SIZE, count=3)
    for side in (length, width, depth):
        if finite(side, "a side of the hole", _SIZE, least=0.05) > 20:
            warnings.warn(f"A side of the hole is {word_number(side)} m. Are those millimetres?", SurveyWarning, stacklevel=3)
    return length, width, depth


def _storms(rain: Any, area: float) -> tuple[tuple[float, float], ...]:
    """Storms of (min, mm), the shortest first."""
    small, rule = SOAKAWAY_LIMITS["area"], "It is a list of storms (minutes, mm), each over nought."
    if rain is None and area > small.value:
        raise SurveyError(f"{word_area(area)} is too much for the rain of a small soakaway",
                          rule=f"10 mm in 5 min is for {word_area(small.value)} at the most ({small.source}).",
                          remedy="Give the storms of the place, minutes and mm, from 10 min to 24 h: the local rainfall table "
                                 "has them (rain=[(10, 12.7), …], in brief.toml storms).")
    given = [SMALL_STORM] if rain is None else rain
    if not isinstance(given, Sequence) or isinstance(given, str) or not given:
        raise SurveyError(f"the rain is {rain!r}", rule=rule)
    storms = []
    for storm in given:
        duration, depth = finite_list(storm, "a storm", rule, count=2)
        finite(duration, "how long a storm lasts", rule, least=0.1)
        finite(depth, "the rain of a storm", rule, over=0.0)
        if depth < 2 or depth / duration > 500 / 60:
            warnings.warn(f"{word_number(depth)} mm in {word_time(duration * 60)} is an odd storm. Is it (minutes, mm)?",
                          SurveyWarning, stacklevel=3)
        storms.append((duration, depth))
    return tuple(sorted(storms))
