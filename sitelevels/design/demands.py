"""What a finished surface can be asked to do: each demand is a list of limits on levels and falls."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, ClassVar

from ..errors import finite_list
from ..wording import word_distance, word_fall, word_mm, word_place
from .conditions import Bound, Condition, Corners, Demand
from .point_demands import AccessCover, Cover, Gully, KeepBelow, Meet, MeetFloor, Step, Thickness
from .published import LIMITS

if TYPE_CHECKING:
    from .brief import Brief

__all__ = ["AccessCover", "Clearance", "ClosedEdge", "Cover", "FallAlong", "FallAway", "FallToDrain", "Gully", "KeepBelow",
           "MaxGradient", "Meet", "MeetFloor", "Step", "Thickness"]

_DAMP = "Splash and damp reach a DPC that paving lies too near to."


@dataclass(frozen=True)
class Clearance(Demand):
    """Stay at least `least` m below the DPC of a wall, wherever the area lies against it.

    `drained`, if given, is the least instead where all of the paving falls to a drained channel or an outlet. Refuses a limit
    that is negative or no number.

    Source: `LIMITS["clearance"]`.

    >>> Clearance("north wall").words()
    'at least 150 mm below the DPC of the north wall'
    """

    wall: str
    least: float = LIMITS["clearance"].value
    drained: float | None = None
    title = "below the DPC"
    called = "Clearance at {who}"
    checked = (("least",), ("drained",))
    shown_by = "a rule from the DPC down to the laid surface"
    bounds: ClassVar = {
        "least": Bound("allow {new} below the DPC of the {who} instead of {old}",
                       ("clearance", "clearance, Approved Document C"), least=True, mind=_DAMP),
        "drained": Bound("allow {new} below the DPC of the {who} beside the drain instead of {old}",
                         ("clearance", "clearance, Approved Document C"), least=True, mind=_DAMP)}

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
    """Fall away from a wall by at least `least` m/m and at most `most`; `target` is what one would like.

    Refuses a limit that is negative or no number, and limits out of order.

    Source: `LIMITS["fall away"]` for the least.

    >>> FallAway("north wall", 1 / 80).words()
    'a fall of at least 1:80 (12.5 mm/m) away from the north wall'
    """

    wall: str
    least: float = LIMITS["fall away"].value
    target: float | None = None
    most: float | None = None
    unit = "mm/m"
    title = "fall away"
    called = "FallAway from {who}"
    checked = (("least", "target", "most"),)
    bounds: ClassVar = {
        "least": Bound("let the fall away from the {who} be {new} instead of {old}",
                       ("fall away", "fall away, drives and paths", "fall away, flags"), least=True),
        "most": Bound("let the fall away from the {who} be as steep as {new} instead of {old}")}

    def words(self) -> str:
        most = "" if self.most is None else f" and at most {word_fall(self.most)}"
        most += "" if self.target is None else f" (better {word_fall(self.target)})"
        return f"a fall of at least {word_fall(self.least)}{most} away from the {self.wall}"

    def conditions(self, brief: Brief, corners: Corners = ()) -> list[Condition]:
        return [Condition(f"away from the {self.wall}", low=self.least, high=self.most,
                          toward=brief.outward(brief.wall(self.wall)), wall=brief.wall(self.wall), target=self.target)]


@dataclass(frozen=True)
class FallAlong(Demand):
    """Fall along a wall, either way, by at most `most` m/m, on every facet.

    Refuses a limit that is negative or no number.

    Source: `LIMITS["fall along"]`.

    >>> FallAlong("north wall").words()
    'a fall of at most 1:40 (25.0 mm/m) along the north wall, either way'
    """

    wall: str
    most: float = LIMITS["fall along"].value
    unit = "mm/m"
    title = "fall along"
    called = "FallAlong {who}"
    checked = (("most",),)
    bounds: ClassVar = {"most": Bound("let the fall along the {who} be up to {new} instead of {old}", ("fall along",))}

    def words(self) -> str:
        return f"a fall of at most {word_fall(self.most)} along the {self.wall}, either way"

    def conditions(self, brief: Brief, corners: Corners = ()) -> list[Condition]:
        return [Condition(f"along the {self.wall}", low=-self.most, high=self.most, toward=brief.wall(self.wall).direction,
                          low_of="most")]


@dataclass(frozen=True)
class FallToDrain(Demand):
    """On every facet that drains, fall to the channel or outlet by at least `least` m/m and at most `most`.

    `target` is what one would like, `channel` the least fall of a channel along itself: nought where its units have a fall
    built in. Where a surface drains and no such demand is made, this one with its usual limits is. Refuses a limit that is
    negative or no number, and limits out of order.

    Source: `LIMITS["fall to a drain"]`, `LIMITS["fall of a channel"]`.

    >>> FallToDrain(1 / 80).words().partition(",")[0]
    'a fall of at least 1:80 (12.5 mm/m) to the channel or outlet on every facet'
    """

    least: float = LIMITS["fall to a drain"].value
    target: float | None = None
    most: float | None = None
    channel: float = LIMITS["fall of a channel"].value
    unit = "mm/m"
    title = "fall to the drain"
    called = "FallToDrain"
    checked = (("least", "target", "most"), ("channel",))
    bounds: ClassVar = {
        "least": Bound("let the fall to the drain be {new} instead of {old}", ("fall to a drain", "fall away"), least=True),
        "most": Bound("let the fall to the drain be as steep as {new} instead of {old}", ("fall to a drain, most",)),
        "channel": Bound("let the channel itself fall {new} instead of {old}", ("fall of a channel",), least=True)}

    def words(self) -> str:
        most = "" if self.most is None else f" and at most {word_fall(self.most)}"
        return (f"a fall of at least {word_fall(self.least)}{most} to the channel or outlet on every facet, and of at least "
                f"{word_fall(self.channel)} along a channel")

    def conditions(self, brief: Brief, corners: Corners = ()) -> list[Condition]:
        return [Condition("to its drain", low=self.least, high=self.most, target=self.target, drain="towards"),
                Condition("along the channel", low=self.channel, drain="along", low_of="channel")]


@dataclass(frozen=True)
class ClosedEdge(Demand):
    """Let no water over an edge of the area, given by two places (x, y) on it in m: fall along it or away from it.

    Refuses an end that is no place.

    Reason: water runs off where a surface falls outwards, so what is asked is a fall inwards of nought or more.

    >>> ClosedEdge((0, 4), (6, 4)).words()
    'no water over the edge from x 0 y 4 to x 6 y 4'
    """

    first: tuple[float, float]
    second: tuple[float, float]
    unit = "mm/m"
    title = "closed edge"

    def _read(self) -> None:
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
class MaxGradient(Demand):
    """Be nowhere steeper than `most` m/m in any direction.

    Refuses a limit that is negative or no number.

    Source: `LIMITS["gradient"]`.

    >>> MaxGradient().words()
    'nowhere steeper than 1:20 (50.0 mm/m)'
    """

    most: float = LIMITS["gradient"].value
    unit = "mm/m"
    title = "gradient"
    called = "MaxGradient"
    checked = (("most",),)
    bounds: ClassVar = {"most": Bound("let the paving be as steep as {new} instead of {old}",
                                      ("gradient", "level approach", "ramp"))}

    def words(self) -> str:
        return f"nowhere steeper than {word_fall(self.most)}"

    def conditions(self, brief: Brief, corners: Corners = ()) -> list[Condition]:
        return [Condition("the whole area", high=self.most)]
