"""What a finished surface can be asked to do at measured points: what to meet, to step down from, to cover, to stay below."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, ClassVar

from ..errors import SurveyError, must_be
from ..wording import word_mm
from .conditions import AtSpots, Bound, Condition, Corners, Demand, Spot, ordered
from .published import LIMITS

if TYPE_CHECKING:
    from .brief import Brief

_TRIP = "A foot trips on a lip or a step between 6 mm and 75 mm high."


@dataclass(frozen=True)
class Meet(AtSpots):
    """Meet paving that stays within ± `within` m at each of `points` (Spot or (name, x, y, level)).

    Refuses no points, a point without place or level, and a limit that is negative or no number.

    Source: `LIMITS["meet"]`.

    >>> Meet([Spot("E1", 0.0, 4.0, 9.860)]).words()
    'within 6 mm of the paving that stays at E1'
    """

    points: tuple[Spot, ...]
    within: float = LIMITS["meet"].value
    title = "meet the old paving"
    sides = ("above the old paving", "below the old paving")
    called = "Meet"
    checked: ClassVar[tuple[tuple[str, ...], ...]] = (("within",),)
    bounds: ClassVar = {"within": Bound("let the new paving stand {new} {way} the old at {where} instead of {old}", ("meet",),
                                        mind=_TRIP)}

    def words(self) -> str:
        return f"within {word_mm(self.within)} of the paving that stays at {self.who}"

    def conditions(self, brief: Brief, corners: Corners = ()) -> list[Condition]:
        return self._each(low=-self.within, high=self.within, below=False, low_of="within", high_of="within")


@dataclass(frozen=True)
class MeetFloor(Meet):
    """Meet a floor that stays within ± `within` m at each of `points`, with `on_top` m (tile and bed) still to come on the new.

    Refuses what `Meet` does, and an `on_top` that is negative or no number.

    Source: `LIMITS["meet"]`.

    >>> MeetFloor([Spot("P1", 0.0, 4.0, 0.0)], 0.003, 0.012).words()
    'within 3 mm of the floor that stays at P1, once 12 mm lie on it'
    """

    on_top: float = 0.0
    title = "meet the next floor"
    sides = ("above the next floor", "below the next floor")
    checked = (("within",), ("on_top",))
    bounds: ClassVar = {"within": Bound("let the floor and what lies on it stand {new} {way} the next at {where} instead "
                                        "of {old}", ("meet",),
                                        mind=_TRIP)}

    def words(self) -> str:
        once = f", once {word_mm(self.on_top)} lie on it" if self.on_top else ""
        return f"within {word_mm(self.within)} of the floor that stays at {self.who}{once}"

    def conditions(self, brief: Brief, corners: Corners = ()) -> list[Condition]:
        return self._each(low=-self.within - self.on_top, high=self.within - self.on_top, below=False, low_of="within",
                          high_of="within")


@dataclass(frozen=True)
class AccessCover(AtSpots):
    """Meet the frame of an access cover at each of `points`: a fixed one within ± `within` m.

    One that is to be reset may come `lower` m down or `higher` m up besides. Refuses what `Meet` does.

    Source: `LIMITS["meet"]`.

    >>> AccessCover([Spot("C1", 2.0, 1.0, 9.840)], lower=0.020).words()
    'within 6 mm of the cover at C1, which may be reset 20 mm lower to 0 mm higher'
    """

    points: tuple[Spot, ...]
    within: float = LIMITS["meet"].value
    lower: float = 0.0
    higher: float = 0.0
    title = "meet the cover"
    sides = ("above its frame", "below its frame")
    called = "AccessCover"
    checked = (("within",), ("lower",), ("higher",))
    bounds: ClassVar = {"within": Bound("let the new paving stand {new} {way} the cover at {where} instead of {old}", ("meet",),
                                        mind=_TRIP),
                        "lower": Bound("reset the cover at {where} {new} lower instead of {old}"),
                        "higher": Bound("reset the cover at {where} {new} higher instead of {old}")}

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

    Level access to a door is a step of nought to 15 mm (LIMITS["threshold, level access"]). Refuses what `Meet` does, limits
    out of order, and an `up` that is neither True nor False.

    Source: `LIMITS["step least"]`, `LIMITS["step most"]`.

    >>> Step([Spot("sill", 1.2, 0.0, 10.150)]).words()
    'a step of 75 mm to 150 mm down from sill'
    """

    at: tuple[Spot, ...]
    least: float = LIMITS["step least"].value
    most: float = LIMITS["step most"].value
    up: bool = False
    title = "step"
    called = "Step at {who}"
    checked = (("least", "most"),)
    bounds: ClassVar = {
        "least": Bound("let the step at {who} be as low as {new} instead of {old}", ("step least",), least=True, mind=_TRIP),
        "most": Bound("let the step at {who} be as high as {new} instead of {old}",
                      ("step most", "step most, garden", "threshold, level access"), mind=_TRIP)}
    _field = "at"

    def _read(self) -> None:
        super()._read()
        must_be(self.up, bool, f"'up' of the demand Step at {self.who}")

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
    """Leave at least `least` m between the top of what is buried at each of `points` and the finished level.

    Refuses what `Meet` does.

    Source: `LIMITS["cover"]`, common practice.

    >>> Cover([Spot("pipe", 3.0, 2.0, 9.600)]).words()
    'at least 150 mm of cover over pipe'
    """

    points: tuple[Spot, ...]
    least: float = LIMITS["cover"].value
    title = "cover"
    called = "Cover"
    checked = (("least",),)
    bounds: ClassVar = {"least": Bound("accept {new} of cover over {who} instead of {old}", ("cover",), least=True)}

    def words(self) -> str:
        return f"at least {word_mm(self.least)} of cover over {self.who}"

    def conditions(self, brief: Brief, corners: Corners = ()) -> list[Condition]:
        return [replace(one, staff_on="buried") for one in self._each(low=self.least, below=False)]


@dataclass(frozen=True)
class Thickness(AtSpots):
    """Leave `least` to `most` m between the base at each of `points` and the finished level: the thickness of a screed.

    Refuses what `Meet` does, and limits out of order.

    Reason: no limit is usual for all screeds; `SCREEDS` has those of each kind, with their sources.

    >>> Thickness([Spot("S1", 0.0, 0.0, 9.900)], 0.050, 0.080).words()
    'at least 50 mm and at most 80 mm of screed over S1'
    """

    points: tuple[Spot, ...]
    least: float
    most: float | None = None
    title = "thickness"
    called = "Thickness"
    checked = (("least", "most"),)
    bounds: ClassVar = {"least": Bound("let the screed be as thin as {new} at {where} instead of {old}", least=True),
                        "most": Bound("let the screed be as thick as {new} at {where} instead of {old}")}
    shown_by = "a rule at a hole through the screed, or a probe while it is wet"

    @property
    def who(self) -> str:
        named = [spot.point for spot in self.points]
        return ", ".join(named) if len(named) <= 3 else f"{len(named)} places of the base, read or between spots"

    def words(self) -> str:
        most = "" if self.most is None else f" and at most {word_mm(self.most)}"
        return f"at least {word_mm(self.least)}{most} of screed over {self.who}"

    def conditions(self, brief: Brief, corners: Corners = ()) -> list[Condition]:
        return [replace(one, staff_on="line") for one in self._each(low=self.least, high=self.most, below=False)]


@dataclass(frozen=True)
class KeepBelow(AtSpots):
    """Stay at least `by` m below one point: an air brick, a weep hole, a sill.

    Refuses what `Meet` does, and more than one point.

    Source: `LIMITS["air brick"]`, common practice.

    >>> KeepBelow(Spot("air brick", 4.5, 0.0, 10.000)).words()
    'at least 75 mm below air brick'
    """

    point: Spot
    by: float = LIMITS["air brick"].value
    title = "keep below"
    called = "KeepBelow {who}"
    checked = (("by",),)
    bounds: ClassVar = {"by": Bound("let the paving lie {new} below {who} instead of {old}", ("air brick",), least=True,
                                    mind="An air brick stays open, and no water runs in.")}
    _field = "point"

    def words(self) -> str:
        return f"at least {word_mm(self.by)} below {self.who}"

    def conditions(self, brief: Brief, corners: Corners = ()) -> list[Condition]:
        return self._each(low=self.by, below=True, low_of="by")


@dataclass(frozen=True)
class Gully(AtSpots):
    """Stand proud of the grating at one point by proud[0] to proud[1] m.

    Refuses what `Meet` does, more than one point, and a `proud` that is no pair in order.

    Source: `LIMITS["gully proud least"]`, `LIMITS["gully proud most"]`.

    >>> Gully(Spot("G1", 3.0, 4.0, 9.780)).words()
    '3 mm to 10 mm proud of the gully G1'
    """

    point: Spot
    proud: tuple[float, float] = (LIMITS["gully proud least"].value, LIMITS["gully proud most"].value)
    title = "proud of the gully"
    sides = ("proud of the grating", "below the grating")
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
