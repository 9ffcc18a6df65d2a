"""What the trade does where no surface meets every demand, each cure tried on the brief."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from ..errors import SurveyError
from ..surface.shapes import Channel, OnePlane
from ..wording import word_distance, word_fall, word_mm, word_volume
from .brief import Brief, Wall
from .conditions import Demand
from .demands import Clearance, FallAway, FallToDrain, Gully, Meet, Step
from .published import LIMITS

if TYPE_CHECKING:
    from .solve import Solution

Solve = Callable[..., "Solution"]
OPPOSITE = -0.9  # cosine: walls that look at each other


@dataclass(frozen=True, eq=False)
class Cure:
    """One cure and what came of it.

    `solution` is that of the changed brief or shape, None where the cure does not fit the area (`said` tells why).
    """

    name: str
    guidance: str
    solution: Solution | None
    said: str = ""

    @property
    def works(self) -> bool:
        """Whether a surface meets every demand with it."""
        return self.solution is not None and self.solution.solved

    @property
    def words(self) -> str:
        """What came of it, with the guidance that goes with it."""
        if self.solution is None:
            return f"{self.name}: it does not fit here ({self.said})."
        if not self.works:
            return f"{self.name}: that alone does not do it."
        return f"{self.name}: that does it, moving {word_volume(self.solution.volume or 0.0)}. {self.said}{self.guidance}"


def try_cures(solution: Solution, solve: Solve) -> tuple[Cure, ...]:
    """Each cure that bears on the demands that fight, tried by `solve` with the shape and aim of a solution."""
    brief, fighting = solution.brief, [one for conflict in solution.conflicts for one in conflict.demands]

    def tried(demands: Sequence[Demand], shape: Any = None) -> Solution:
        changed = replace(brief, demands=tuple(demands))
        return solve(changed, solution.ground, shape=shape or solution.shape, aim=solution.aim)
    cures: list[Cure] = []
    if gullies := [one for one in brief.demands if one in fighting and isinstance(one, Gully)]:
        cures.append(_reset(brief, gullies, tried))
    if isinstance(solution.shape, OnePlane):
        cures += _channels(brief, fighting, tried)
    cures += _steps(brief, fighting, tried)
    clearances = [one for one in brief.demands if one in fighting and isinstance(one, Clearance)]
    if clearances and not solution.quarrel.level_access:
        cures.append(_gravel(brief, clearances, tried))
    if meets := [one for one in brief.demands if one in fighting and isinstance(one, Meet)]:
        cures.append(_one_more_row(brief, meets, tried))
    if solution.quarrel.level_access:
        cures.append(_ramp(brief, tried))
    return tuple(cures)


def _swapped(brief: Brief, new: Mapping[Any, Demand]) -> list[Demand]:
    return [new.get(demand, demand) for demand in brief.demands]


def _reset(brief: Brief, gullies: Sequence[Gully], tried: Callable[..., Solution]) -> Cure:
    """The gratings of gullies at the level that suits the paving."""
    found = tried([one for one in brief.demands if one not in gullies])
    moves, finish = [], found.finish
    for one in gullies if finish is not None else ():
        assert finish is not None
        rise = finish.level_at(one.point.x, one.point.y) - sum(one.proud) / 2 - one.point.level
        moves.append(f"{word_mm(abs(rise))} {'higher' if rise > 0 else 'lower'} at {one.who}")
    low, high = map(word_mm, gullies[0].proud)
    return Cure(f"The grating reset at {', '.join(one.who for one in gullies)}",
                f"Its frame is taken up and bedded again so that the paving stands {low} to {high} proud of it; look first "
                "whether the trap and the pipe below leave room for that (common practice, no source).", found,
                f"It goes {', '.join(moves)}. " if moves else "")


def _channels(brief: Brief, fighting: Sequence[Demand], tried: Callable[..., Solution]) -> Iterator[Cure]:
    """A channel a stride from each wall in the quarrel, or half-way between two that look at each other."""
    walls = [wall for wall in brief.walls if any(isinstance(one, (Clearance, FallAway)) and one.wall == wall.name
                                                 for one in fighting)]
    stride = LIMITS["channel from wall"]
    guidance = ("The paving falls to the channel from both sides; give the channel units a fall built in, or it one of "
                f"{word_fall(LIMITS['fall of a channel'].value)}, and a way out for the water that is yours to use. A reverse "
                f"fall is to be {word_mm(stride.value)} wide at the least: {stride.source}. What lies beyond the channel falls "
                "towards the wall: a channel that is blocked stands against it, so it is kept clear.")
    served: list[Wall] = []
    for number, wall in enumerate(walls):
        if wall in served:
            continue
        out = brief.outward(wall)
        name, away = f"A drained channel {word_mm(stride.value)} from the {wall.name}", stride.value
        facing = next((other for other in walls[number + 1:] if _faces(brief, wall, other)), None)
        if facing is not None:
            away = abs((facing.first[0] - wall.first[0]) * out[0] + (facing.first[1] - wall.first[1]) * out[1]) / 2
            served.append(facing)
            name = f"A drained channel half-way between the {wall.name} and the {facing.name}"
        line = tuple((x + away * out[0], y + away * out[1]) for x, y in (wall.first, wall.second))
        yield _channel(brief, name, guidance, line, {wall.name, *([] if facing is None else [facing.name])}, tried)


def _faces(brief: Brief, one: Wall, other: Wall) -> bool:
    a, b = brief.outward(one), brief.outward(other)
    return a[0] * b[0] + a[1] * b[1] < OPPOSITE


def _channel(brief: Brief, name: str, guidance: str, line: Any, walls: set[str], tried: Callable[..., Solution]) -> Cure:
    """With the clearance asked for first, then with a reduced one; the channel running either way."""
    reduced = LIMITS["clearance, no drain"]
    drains = [] if any(isinstance(one, FallToDrain) for one in brief.demands) else [FallToDrain(channel=0.0)]
    eased = {one: replace(one, drained=min(one.least, reduced.value)) for one in brief.demands
             if isinstance(one, Clearance) and one.wall in walls}
    found = None
    try:
        less = (f"It takes a clearance of {word_mm(reduced.value)} beside the channel, less than the usual 150 mm "
                f"({LIMITS['clearance'].source}; {LIMITS['clearance, Approved Document C'].source}); {reduced.what} "
                f"({reduced.source}). ")
        for new, said in ((dict[Demand, Demand](), ""), (eased, less)):
            both = [tried([*_swapped(brief, new), *drains], Channel(way)) for way in (line, line[::-1])]
            found = min(both, key=lambda one: (not one.solved, one.off_target or 0.0, one.volume or 0.0))
            if found.solved:
                return Cure(name, guidance, found, said)
    except SurveyError as error:
        return Cure(name, guidance, None, error.problems[0].rstrip("."))
    return Cure(name, guidance, found)


def _steps(brief: Brief, fighting: Sequence[Demand], tried: Callable[..., Solution]) -> Iterator[Cure]:
    """A proper step where the old paving was to be met flush."""
    meets = [one for one in brief.demands if one in fighting and isinstance(one, Meet)]
    low, high = LIMITS["step least"].value, LIMITS["step most"].value
    for up in (False, True) if meets else ():
        found = tried(_swapped(brief, {one: Step(one.points, low, high, up=up) for one in meets}))
        way = "up to" if up else "down to"
        yield Cure(f"A step of {word_mm(low)} to {word_mm(high)} {way} the new paving at {', '.join(one.who for one in meets)}",
                   "One clear step is safer than a lip that a foot does not expect; keep its height even and its edge plain to "
                   "see, and never lead water over it towards a house.", found)


def _gravel(brief: Brief, clearances: Sequence[Clearance], tried: Callable[..., Solution]) -> Cure:
    """Gravel along the wall, low enough, and paving beyond it no higher than the DPC."""
    found = tried(_swapped(brief, {one: replace(one, least=0.0, drained=None) for one in clearances}))
    walls = ", ".join(one.wall for one in clearances)
    width = LIMITS["dry channel"]
    return Cure(f"A strip of gravel along the {walls} instead of paving",
                f"Its top lies at least {word_mm(max(one.least for one in clearances))} below the DPC and it is drained at the "
                f"bottom; {word_mm(width.value)} wide at the least ({width.source}: {width.what}). The paving beyond it may lie "
                "nearer to the DPC than 150 mm, but never above it, is held by an edging and still falls away; the strip does "
                "not run across a doorway. What is dug for it is not counted here; do not dig below the footing.", found)


def _one_more_row(brief: Brief, meets: Sequence[Meet], tried: Callable[..., Solution]) -> Cure:
    """One more row of the old paving taken up and laid again as a short slope."""
    row, slope = LIMITS["row of paving"], LIMITS["gradient"]
    gain = row.value * slope.value
    found = tried(_swapped(brief, {one: replace(one, within=one.within + gain) for one in meets}))
    return Cure(f"One more row of the old paving ({word_mm(row.value)}, {row.source}) taken up and laid again as a slope",
                f"No steeper than {word_fall(slope.value)}, it makes up {word_mm(gain)}; never lead water over it towards "
                "a house. Read the old paving one row further on "
                "first: this takes it to be as high there as at the edge.", found)


def _ramp(brief: Brief, tried: Callable[..., Solution]) -> Cure:
    """The paving down along the wall, and a ramp up to the sill."""
    doors = [one for one in brief.demands if isinstance(one, Step) and one.level_access]
    found = tried([one for one in brief.demands if one not in doors])
    said = ""
    if found.finish is not None:
        rise = max(spot.level - one.most - found.finish.level_at(spot.x, spot.y) for one in doors for spot in one.spots)
        slopes = LIMITS["ramp"], LIMITS["ramp, 5 to 10 m"], LIMITS["ramp, over 10 m"]
        slope = slopes[0] if rise / slopes[0].value <= 5 else slopes[1] if rise / slopes[1].value <= 10 else slopes[2]
        if rise > 0:
            said = (f"The paving then lies {word_mm(rise, never='less')} too low for level access at "
                    f"{', '.join(one.who for one in doors)}, which is met by a ramp of "
                    f"{word_distance(rise / slope.value, never='less')} at "
                    f"{word_fall(slope.value)} ({slope.source}: {slope.what}) with a level landing of 1.2 m at its top. ")
    return Cure("A ramp or raised landing at the door alone", "Put a drained channel across the doorway and protect the wall "
                "behind the landing; it may bridge no DPC and cover no air brick.", found, said)
