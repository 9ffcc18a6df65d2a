"""The water of a job: what its folder says about rain, channels, pipes and a soakaway, worked out when asked for."""

from __future__ import annotations

import warnings
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING, Any, ClassVar, TypeVar

from ..design.parts import Reader
from ..errors import SurveyError, SurveyWarning
from ..surface.shapes import Outlet
from ..wording import word_fall
from ..works.catchment import Catchments, catchments
from ..works.runoff import Conduit, Flow, pipe, rectangular_channel, runoff
from ..works.soakaway import SOAKAWAY_LIMITS, Infiltration, Soakaway, infiltration, soakaway

if TYPE_CHECKING:
    from .job import Job

Found = TypeVar("Found")


@dataclass(frozen=True, eq=False)
class Worked:
    """What a part of a job comes to, worked out when asked for."""

    PARTS: ClassVar[tuple[str, ...]] = ()  # the attributes whose refusals `faults` tells

    job: Job
    _doubts: dict[str, None] = field(default_factory=dict)

    def why(self, name: str) -> str:
        """Why a part cannot be worked out, in sentences; empty where it can."""
        return " ".join(self._refused(name))

    def _refused(self, name: str) -> tuple[str, ...]:
        try:
            getattr(self, name)
        except SurveyError as error:
            return error.problems
        return ()

    @cached_property
    def faults(self) -> tuple[str, ...]:
        """What keeps any part from being worked out, a sentence each."""
        return tuple(dict.fromkeys(said for name in self.PARTS for said in self._refused(name)))

    @property
    def doubts(self) -> tuple[str, ...]:
        """Sentences on what is possible but questionable in what was worked out so far."""
        return tuple(self._doubts)

    def tried(self, name: str) -> Any:
        """A part by its name, None where it cannot be worked out: `faults` says why."""
        try:
            return getattr(self, name)
        except SurveyError:
            return None

    def _read(self, part: str, read: Callable[[Reader], Found]) -> Found:
        """What is read out of a part of brief.toml, a refusal told of the part."""
        return self._read_of(Reader(f"brief.toml, [{part}]", self.job.told.get(part, {}), []), read)

    def _each(self, part: str, read: Callable[[Reader], Found]) -> tuple[Found, ...]:
        """What is read out of each of the parts of a name."""
        return tuple(self._read_of(Reader(f"brief.toml, [[{part}]] number {number}", entry, []), read)
                     for number, entry in enumerate(self.job.told.get(part, []), start=1))

    def _read_of(self, reader: Reader, read: Callable[[Reader], Found]) -> Found:
        try:
            return self._heard(lambda: read(reader))
        except SurveyError as error:
            raise error.at(reader.where) from None

    def _heard(self, act: Callable[[], Found]) -> Found:
        """What `act` gives; what it questions is kept among the doubts."""
        with warnings.catch_warnings(record=True) as doubts:
            warnings.simplefilter("always", SurveyWarning)
            try:
                return act()
            finally:
                self._doubts.update(dict.fromkeys(str(doubt.message) for doubt in doubts))


@dataclass(frozen=True, eq=False)
class Water(Worked):
    """Where the rain of a job goes. Any attribute may raise SurveyError; what brief.toml leaves out is None."""

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

        return self._read("rain", read)

    @cached_property
    def catchments(self) -> Catchments:
        """Where the rain goes."""
        shape, roofs, finish, brief = self.job.shape, self.roofs, self.job.finish, self.job.brief
        outlets = [("outlet", *shape.point)] if isinstance(shape, Outlet) else []
        return self._read("rain", lambda _: catchments(finish, brief, outlets=outlets, roof=roofs).named(self.job.name_of))

    @cached_property
    def flow(self) -> Flow | None:
        """The water of the paving and of the roofs that drain to it; None where brief.toml has no part [rain]."""
        rain = self.job.told.get("rain")
        if not rain:
            return None
        area, roof = self.catchments.area, sum(one[0] for one in self.roofs)
        intensity, share = rain.get("intensity_mm_h", "paved areas"), rain.get("coefficient", "concrete")
        flow = self._read("rain", lambda _: runoff(area, intensity, share))
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

        return self._read("rain", read)

    def _channel_fall(self, reader: Reader) -> float:
        """The fall that is told, or that of the channel in the finished surface; where they differ, that is questioned."""
        along = [abs(facet.plane.fall_towards(*facet.along)) for facet in self.job.finish.facets if facet.along is not None]
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
        return None if times is None else self._read("soakaway", lambda _: infiltration((0.3, 0.3, 0.3), times))

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

        return self._read("soakaway", read)
