"""What a finished surface can be asked to do: each demand is a list of limits on levels and falls."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, ClassVar

from ..errors import SurveyError, finite_list, must_be
from ..wording import word_distance, word_fall, word_mm, word_place
from .conditions import AtSpots, Bound, Condition, Corners, Demand, Spot, ordered
from .published import LIMITS

if TYPE_CHECKING:
    from .brief import Brief


_DAMP = "Splash and damp reach a DPC that paving lies too near to."
_TRIP = "A foot trips on a lip or a step between 6 mm and 75 mm high."


@dataclass(frozen=True)
class Clearance(Demand):
    """Stay at least `least` m below the DPC of a wall, wherever the area lies against it.

    `drained`, if given, is the least instead where all of the paving falls to a drained channel or an outlet.
    """

    wall: str
    least: float = LIMITS["clearance"].value
    drained: float | None = None
    title = "below the DPC"
    shown_by = "a rule from the DPC down to the laid surface"
    bounds: ClassVar = {
        "least": Bound("allow {new} below the DPC of the {who} instead of {old}",
                       ("clearance", "clearance, Approved Document C"), least=True, mind=_DAMP),
        "drained": Bound("allow {new} below the DPC of the {who} beside the drain instead of {old}",
                         ("clearance", "clearance, Approved Document C"), least=True, mind=_DAMP)}

    def __post_init__(self) -> None:
        ordered(f"Clearance at {self.wall}", ("least", self.least))
        ordered(f"Clearance at {self.wall}", ("drained", self.drained))

    def beside_a_drain(self, conditions: list[Condition]) -> list[Condition]:
        return conditions if self.drained is None else [replace(one, low=self.drained, low_of="drained") for one in conditions]

    def words(self) -> str:
        drained = "" if self.drained is None else f" ({word_mm(self.drained)} where it falls to a drain)"
        return f"at least {word_mm(self.least)}{drained} below the DPC of the {self.wall}"

    def conditions(self, brief: Brief, corners: Corners = ()) -> list[Condition]:
        wall = brief.wall(self.wall)
        return [Condition(f"{self.wall}, {word_distance(along)} along", low=self.least, at=wall.place(along), sign=-1.0,
                          constant=wall.dpc_at(along, side), on=wall.dpc_from(along, side))
                for along, side in brief.dpc_stations(wall, corners)]


@dataclass(frozen=True)
class FallAway(Demand):
    """Fall away from a wall by at least `least` m/m and at most `most`; `target` is what one would like."""

    wall: str
    least: float = LIMITS["fall away"].value
    target: float | None = None
    most: float | None = None
    unit = "mm/m"
    title = "fall away"
    bounds: ClassVar = {
        "least": Bound("let the fall away from the {who} be {new} instead of {old}",
                       ("fall away", "fall away, drives and paths", "fall away, flags"), least=True),
        "most": Bound("let the fall away from the {who} be as steep as {new} instead of {old}")}

    def __post_init__(self) -> None:
        ordered(f"FallAway from {self.wall}", ("least", self.least), ("target", self.target), ("most", self.most), falls=True)

    def words(self) -> str:
        most = "" if self.most is None else f" and at most {word_fall(self.most)}"
        most += "" if self.target is None else f" (better {word_fall(self.target)})"
        return f"a fall of at least {word_fall(self.least)}{most} away from the {self.wall}"

    def conditions(self, brief: Brief, corners: Corners = ()) -> list[Condition]:
        return [Condition(f"away from the {self.wall}", low=self.least, high=self.most,
                          toward=brief.outward(brief.wall(self.wall)), wall=brief.wall(self.wall), target=self.target)]


@dataclass(frozen=True)
class FallAlong(Demand):
    """Fall along a wall, either way, by at most `most` m/m, on every facet."""

    wall: str
    most: float = LIMITS["fall along"].value
    unit = "mm/m"
    title = "fall along"
    bounds: ClassVar = {"most": Bound("let the fall along the {who} be up to {new} instead of {old}", ("fall along",))}

    def __post_init__(self) -> None:
        ordered(f"FallAlong {self.wall}", ("most", self.most), falls=True)

    def words(self) -> str:
        return f"a fall of at most {word_fall(self.most)} along the {self.wall}, either way"

    def conditions(self, brief: Brief, corners: Corners = ()) -> list[Condition]:
        return [Condition(f"along the {self.wall}", low=-self.most, high=self.most, toward=brief.wall(self.wall).direction,
                          low_of="most")]


@dataclass(frozen=True)
class FallToDrain(Demand):
    """On every facet that drains, fall to the channel or outlet by at least `least` m/m and at most `most`.

    `target` is what one would like, `channel` the least fall of a channel along itself: nought where its units have a fall
    built in. Where a surface drains and no such demand is made, this one with its usual limits is.
    """

    least: float = LIMITS["fall to a drain"].value
    target: float | None = None
    most: float | None = None
    channel: float = LIMITS["fall of a channel"].value
    unit = "mm/m"
    title = "fall to the drain"
    bounds: ClassVar = {
        "least": Bound("let the fall to the drain be {new} instead of {old}", ("fall to a drain", "fall away"), least=True),
        "most": Bound("let the fall to the drain be as steep as {new} instead of {old}", ("fall to a drain, most",)),
        "channel": Bound("let the channel itself fall {new} instead of {old}", ("fall of a channel",), least=True)}

    def __post_init__(self) -> None:
        ordered("FallToDrain", ("least", self.least), ("target", self.target), ("most", self.most), falls=True)
        ordered("FallToDrain", ("channel", self.channel), falls=True)

    def words(self) -> str:
        most = "" if self.most is None else f" and at most {word_fall(self.most)}"
        return (f"a fall of at least {word_fall(self.least)}{most} to the channel or outlet on every facet, and of at least "
                f"{word_fall(self.channel)} along a channel")

    def conditions(self, brief: Brief, corners: Corners = ()) -> list[Condition]:
        return [Condition("to its drain", low=self.least, high=self.most, target=self.target, drain="towards"),
                Condition("along the channel", low=self.channel, drain="along", low_of="channel")]


@dataclass(frozen=True)
class ClosedEdge(Demand):
    """Let no water over an edge of the area, given by two places (x, y) on it in m: fall along it or away from it."""

    first: tuple[float, float]
    second: tuple[float, float]
    unit = "mm/m"
    title = "closed edge"

    def __post_init__(self) -> None:
        for name in ("first", "second"):
            x, y = finite_list(getattr(self, name), f"the {name} end of a closed edge", "It is a place (x, y) in m.", count=2)
            object.__setattr__(self, name, (x, y))

    @property
    def who(self) -> str:
        return f"edge from {word_place(*self.first)} to {word_place(*self.second)}"

    def words(self) -> str:
        return f"no water over the {self.who}"

    def conditions(self, brief: Brief, corners: Corners = ()) -> list[Condition]:
        edge = brief.edge((self.first, self.second), "closed")
        return [Condition(f"away from the {self.who}", low=0.0, toward=brief.outward(edge), wall=edge, low_of="")]


@dataclass(frozen=True)
class Meet(AtSpots):
    """Meet paving that stays within ± `within` m at each of `points` (Spot or (name, x, y, level))."""

    points: tuple[Spot, ...]
    within: float = LIMITS["meet"].value
    title = "meet the old paving"
    bounds: ClassVar = {"within": Bound("let the new paving stand {new} {way} the old at {where} instead of {old}", ("meet",),
                                        mind=_TRIP)}

    def __post_init__(self) -> None:
        super().__post_init__()
        ordered("Meet", ("within", self.within))

    def words(self) -> str:
        return f"within {word_mm(self.within)} of the paving that stays at {self.who}"

    def conditions(self, brief: Brief, corners: Corners = ()) -> list[Condition]:
        return self._each(low=-self.within, high=self.within, below=False, low_of="within", high_of="within")


@dataclass(frozen=True)
class AccessCover(AtSpots):
    """Meet the frame of an access cover at each of `points`: a fixed one within ± `within` m.

    One that is to be reset may come `lower` m down or `higher` m up besides.
    """

    points: tuple[Spot, ...]
    within: float = LIMITS["meet"].value
    lower: float = 0.0
    higher: float = 0.0
    title = "meet the cover"
    bounds: ClassVar = {"within": Bound("let the new paving stand {new} {way} the cover at {where} instead of {old}", ("meet",),
                                        mind=_TRIP),
                        "lower": Bound("reset the cover at {where} {new} lower instead of {old}"),
                        "higher": Bound("reset the cover at {where} {new} higher instead of {old}")}

    def __post_init__(self) -> None:
        super().__post_init__()
        for name in ("within", "lower", "higher"):
            ordered("AccessCover", (name, self.value(name)))

    def words(self) -> str:
        reset = f", which may be reset {word_mm(self.lower)} lower to {word_mm(self.higher)} higher" \
            if self.lower or self.higher else ""
        return f"within {word_mm(self.within)} of the cover at {self.who}{reset}"

    def conditions(self, brief: Brief, corners: Corners = ()) -> list[Condition]:
        return self._each(low=-self.within - self.lower, high=self.within + self.higher, below=False, low_of="within lower",
                          high_of="within higher")


@dataclass(frozen=True)
class Step(AtSpots):
    """Leave a step down from `at`, one Spot of a threshold or tread or several, of `least` to `most` m; or a step `up`.

    Level access to a door is a step of nought to 15 mm (LIMITS["threshold, level access"]).
    """

    at: tuple[Spot, ...]
    least: float = LIMITS["step least"].value
    most: float = LIMITS["step most"].value
    up: bool = False
    title = "step"
    bounds: ClassVar = {
        "least": Bound("let the step at {who} be as low as {new} instead of {old}", ("step least",), least=True, mind=_TRIP),
        "most": Bound("let the step at {who} be as high as {new} instead of {old}",
                      ("step most", "step most, garden", "threshold, level access"), mind=_TRIP)}
    _field = "at"

    def __post_init__(self) -> None:
        super().__post_init__()
        must_be(self.up, bool, f"'up' of the demand Step at {self.who}")
        ordered(f"Step at {self.who}", ("least", self.least), ("most", self.most))

    def words(self) -> str:
        return f"a step of {word_mm(self.least)} to {word_mm(self.most)} {'up' if self.up else 'down'} from {self.who}"

    def conditions(self, brief: Brief, corners: Corners = ()) -> list[Condition]:
        return self._each(low=self.least, high=self.most, below=not self.up)

    @property
    def level_access(self) -> bool:
        """Whether it asks for level access: an upstand no higher than that of an accessible threshold."""
        return not self.up and self.most <= LIMITS["threshold, level access"].value


@dataclass(frozen=True)
class Cover(AtSpots):
    """Leave at least `least` m between the top of what is buried at each of `points` and the finished level."""

    points: tuple[Spot, ...]
    least: float = LIMITS["cover"].value
    title = "cover"
    bounds: ClassVar = {"least": Bound("accept {new} of cover over {who} instead of {old}", ("cover",), least=True)}

    def __post_init__(self) -> None:
        super().__post_init__()
        ordered("Cover", ("least", self.least))

    def words(self) -> str:
        return f"at least {word_mm(self.least)} of cover over {self.who}"

    def conditions(self, brief: Brief, corners: Corners = ()) -> list[Condition]:
        return [replace(one, staff_on="buried") for one in self._each(low=self.least, below=False)]


@dataclass(frozen=True)
class Thickness(AtSpots):
    """Leave `least` to `most` m between the base at each of `points` and the finished level: the thickness of a screed."""

    points: tuple[Spot, ...]
    least: float
    most: float | None = None
    title = "thickness"
    bounds: ClassVar = {"least": Bound("let the screed be as thin as {new} at {where} instead of {old}", least=True),
                        "most": Bound("let the screed be as thick as {new} at {where} instead of {old}")}
    shown_by = "a rule at a hole through the screed, or a probe while it is wet"

    def __post_init__(self) -> None:
        super().__post_init__()
        ordered("Thickness", ("least", self.least), ("most", self.most))

    @property
    def who(self) -> str:
        named = [spot.point for spot in self.points]
        return ", ".join(named) if len(named) <= 3 else f"{len(named)} spots of the base"

    def words(self) -> str:
        most = "" if self.most is None else f" and at most {word_mm(self.most)}"
        return f"at least {word_mm(self.least)}{most} of screed over {self.who}"

    def conditions(self, brief: Brief, corners: Corners = ()) -> list[Condition]:
        return [replace(one, staff_on="line") for one in self._each(low=self.least, high=self.most, below=False)]


@dataclass(frozen=True)
class KeepBelow(AtSpots):
    """Stay at least `by` m below one point: an air brick, a weep hole, a sill."""

    point: Spot
    by: float = LIMITS["air brick"].value
    title = "keep below"
    bounds: ClassVar = {"by": Bound("let the paving lie {new} below {who} instead of {old}", ("air brick",), least=True,
                                    mind="An air brick stays open, and no water runs in.")}
    _field = "point"

    def __post_init__(self) -> None:
        super().__post_init__()
        ordered(f"KeepBelow {self.who}", ("by", self.by))

    def words(self) -> str:
        return f"at least {word_mm(self.by)} below {self.who}"

    def conditions(self, brief: Brief, corners: Corners = ()) -> list[Condition]:
        return self._each(low=self.by, below=True, low_of="by")


@dataclass(frozen=True)
class Gully(AtSpots):
    """Stand proud of the grating at one point by proud[0] to proud[1] m."""

    point: Spot
    proud: tuple[float, float] = (LIMITS["gully proud least"].value, LIMITS["gully proud most"].value)
    title = "proud of the gully"
    bounds: ClassVar = {
        "proud_least": Bound("let the paving stand as little as {new} proud of the gully {who} instead of {old}",
                             ("gully proud least",), least=True),
        "proud_most": Bound("let the paving stand as much as {new} proud of the gully {who} instead of {old}",
                            ("gully proud most",))}
    _field = "point"

    def __post_init__(self) -> None:
        super().__post_init__()
        if not isinstance(self.proud, (list, tuple)) or len(self.proud) != 2:
            raise SurveyError(f"proud of the demand Gully {self.who} is {self.proud!r}",
                              rule="It is a pair, least and most, in m.")
        ordered(f"Gully {self.who}", ("least", self.proud[0]), ("most", self.proud[1]))

    def words(self) -> str:
        return f"{word_mm(self.proud[0])} to {word_mm(self.proud[1])} proud of the gully {self.who}"

    def conditions(self, brief: Brief, corners: Corners = ()) -> list[Condition]:
        return self._each(low=self.proud[0], high=self.proud[1], below=False, low_of="proud_least", high_of="proud_most")

    def value(self, field: str) -> float | None:
        return self.proud[field == "proud_most"]

    def changed(self, **values: float) -> Demand:
        return Gully(self.point, (values.get("proud_least", self.proud[0]), values.get("proud_most", self.proud[1])))


@dataclass(frozen=True)
class MaxGradient(Demand):
    """Be nowhere steeper than `most` m/m in any direction."""

    most: float = LIMITS["gradient"].value
    unit = "mm/m"
    title = "gradient"
    bounds: ClassVar = {"most": Bound("let the paving be as steep as {new} instead of {old}",
                                      ("gradient", "level approach", "ramp"))}

    def __post_init__(self) -> None:
        ordered("MaxGradient", ("most", self.most), falls=True)

    def words(self) -> str:
        return f"nowhere steeper than {word_fall(self.most)}"

    def conditions(self, brief: Brief, corners: Corners = ()) -> list[Condition]:
        return [Condition("the whole area", high=self.most)]
