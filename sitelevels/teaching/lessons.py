"""Lessons: a question on an invented yard with the learner's own numbers, what comes out, how, and what it means."""

from __future__ import annotations

import math
import warnings
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from typing import Literal

import pandas as pd

from ..design.brief import Brief
from ..design.layers import Layer
from ..design.published import LIMITS
from ..errors import SurveyError, SurveyWarning, whole
from ..surface.finish import Finish
from ..surface.plane import Plane, fit_plane
from ..survey.instrument import PegSetup, two_peg_test
from ..survey.reading import read_book
from ..survey.reduction import ReducedLevels, reduce_book
from ..wording import parse_fall, true_minus, word_distance, word_fall, word_level, word_mm, word_number
from ..works.build_up import layer_tops
from .drawing import Draw
from .practice import SEEDS

FALL_WITHIN = 0.0001
"""m/m: two falls this near are the same, however they were said; 0.1 mm in 1 m."""


@dataclass(frozen=True)
class Lesson:
    """A question with its answer. Made by `lesson`.

    `answer` in m for "m" and "mm", in m/m for "fall"; `within` is how near to it a prediction must be, in the same. `mistakes`
    are usual wrong ways: what is said of each, and what it gives.
    """

    question: str
    unit: Literal["m", "mm", "fall"]
    answer: float
    working: tuple[str, ...]
    meaning: str
    within: float = 0.0005
    mistakes: Mapping[str, float] = field(default_factory=dict)

    def word(self, value: float) -> str:
        """An answer in words."""
        if self.unit == "fall":
            return word_fall(value)
        return word_level(value) if self.unit == "m" else word_mm(value, digits=0 if self.within >= 0.0005 else 1)

    def agrees(self, value: float) -> bool:
        """Whether a prediction is near enough to be right."""
        return abs(value - self.answer) <= self.within + 1e-9

    def why(self, value: float) -> str:
        """What a wrong prediction comes from, in a sentence: mistakes that the lesson knows, the sign or the unit; else ""."""
        near = 0.02 if self.unit == "fall" else 0.0  # of a fall, which few say to its last figure
        fits = [said for said, wrong in self.mistakes.items()
                if abs(value - wrong) <= max(self.within, near * abs(wrong)) + 1e-9]
        if not fits and self.agrees(-value):
            return "The size is right, the sign is not."
        if not fits and self.unit != "fall" and self.agrees(abs(value) / (0.001 if self.unit == "mm" else 1000.0)):
            return f"That is in {'m, and mm' if self.unit == 'mm' else 'mm, and m'} are asked for."
        return " Or: ".join(fits)


class _Draw(Draw):
    """Numbers of a lesson."""

    def mm(self, low: int, high: int) -> float:
        """A length in m from whole mm."""
        return self.whole(low, high) / 1000

    def yard(self) -> str:
        """Where it is; invented."""
        yards = ("the yard of a bakery", "a dairy's loading yard", "the path beside a chapel", "a school's bin yard",
                 "the forecourt of a smithy", "the yard behind a boat shed", "a weaver's drying green", "a pump house's yard")
        return f"Invented: {self.one(yards)}."


def lesson(key: str, seed: int) -> Lesson:
    """A lesson with the numbers of one learner.

    Parameters
    ----------
    key : str
        One of LESSONS.
    seed : int
        The learner's own number, 0 to SEEDS. The same number gives the same lesson on every machine.

    Raises SurveyError for a lesson that is not there, and for another number.

    Each answer is what the package's own functions give for the numbers drawn.

    >>> lesson("HPC", 1) == lesson("HPC", 1), lesson("HPC", 1).answer == lesson("HPC", 2).answer
    (True, False)
    """
    if not isinstance(key, str) or key not in LESSONS:
        raise SurveyError(f"there is no lesson {key!r}", rule=f"Lessons are {', '.join(LESSONS)}.")
    seed = whole(seed, "the learner's number", 0, SEEDS)
    draw = _Draw(100 * seed + list(LESSONS).index(key))  # 100, so that a lesson more changes none that is there
    yard = draw.yard()
    found = LESSONS[key](draw)
    return replace(found, question=true_minus(f"{yard} {found.question}"), working=tuple(map(true_minus, found.working)))


m, mm = word_level, word_mm  # half of the sentences below are numbers


def _reduced(*rows: tuple[str, float | None, float | None, float | None, float | None]) -> ReducedLevels:
    """A short book, rows of point bs is fs rl in m, reduced; that it has no closing shot is meant."""
    with warnings.catch_warnings(action="ignore", category=SurveyWarning):
        return reduce_book(read_book(pd.DataFrame(rows, columns=["point", "bs", "is", "fs", "rl"])))


def _reading(draw: _Draw) -> Lesson:
    step = draw.mm(900, 1300)
    gully = step + draw.mm(90, 420)
    table = _reduced(("step", step, None, None, 10.0), ("gully", None, None, gully, None)).table
    fall = float(table["fall"].iloc[1])
    return Lesson(
        f"From one set-up the staff reads {m(step)} on the doorstep and {m(gully)} on the gully. How "
        "much lower than the step is the gully, in mm?", "mm", fall,
        (f"{m(gully)} − {m(step)} = {m(fall)}, which is {mm(fall)}.",
         "The gully has the larger reading, so it is the lower of the two."),
        "A reading is the height of the line of sight above the foot of the staff. The line is level, so where the ground is "
        "lower more of the staff stands below the line: the larger reading is the lower point. No level is known yet, only a "
        "difference of level.", mistakes={
            "That would be higher: the larger reading is the lower point, and how much lower is asked for.": step - gully,
            "You added the two readings: a difference of level is one less the other.": step + gully,
            "That is the reading on the gully, not how much lower it is.": gully,
            "That is the reading on the step, not how much lower the gully is.": step})


def _hpc(draw: _Draw) -> Lesson:
    known, bs, spot = draw.mm(12_000, 68_000), draw.mm(700, 1900), draw.mm(900, 2400)
    reduced = _reduced(("BM", bs, None, None, known), ("spot", None, None, spot, None))
    hpc, level = float(reduced.table["hpc"].iloc[0]), reduced.level("spot")
    return Lesson(
        f"The benchmark BM is at {m(known)}. The backsight on it is {m(bs)}; then a spot of the "
        f"ground reads {m(spot)}. What is the level of the spot, in m?", "m", level,
        (f"HPC = level of BM + backsight = {m(known)} + {m(bs)} = {m(hpc)}.",
         f"Level of the spot = HPC − reading = {m(hpc)} − {m(spot)} = {m(level)}."),
        "HPC is the level of the line of sight. Up from the benchmark to the line: add. Down from the line to a point: take "
        "off. Found once, it serves every point of the set-up, until the instrument moves.", mistakes={
            "You added the reading: down from the line of sight to a point, take it off.": hpc + spot,
            "That is the HPC, the level of the line of sight: the spot lies a reading below it.": hpc,
            "You took the backsight off: up from the benchmark to the line of sight, add it.": known - bs - spot,
            "Both ways round: add the backsight, take the reading off.": known - bs + spot,
            "The backsight was left out: the reading is measured from the line of sight, not from the benchmark.": known - spot})


def _rise_and_fall(draw: _Draw) -> Lesson:
    known, bs, first, second = draw.mm(9_000, 30_000), draw.mm(1000, 1600), draw.mm(800, 1900), draw.mm(800, 1900)
    reduced = _reduced(("BM", bs, None, None, known), ("A", None, first, None, None), ("B", None, None, second, None))
    at_a, at_b = reduced.level("A"), reduced.level("B")
    steps = []
    for name, before, now, from_level, level in (("A", bs, first, known, at_a), ("B", first, second, at_a, at_b)):
        kind, sign = ("rise", "+") if before >= now else ("fall", "−")
        steps.append(f"To {name}: {m(before)} − {m(now)} = {m(before - now)}, a {kind}. Level of {name} = "
                     f"{m(from_level)} {sign} {m(abs(before - now))} = {m(level)}.")
    hpc = m(known + bs)
    return Lesson(
        f"BM, {m(known)}, reads {m(bs)}; A reads {m(first)}; B reads "
        f"{m(second)}, all from one set-up. Go by rise and fall: what is the level of B, in m?", "m", at_b,
        (*steps, f"By HPC: {hpc} − {m(second)} = {m(at_b)}, the same."),
        "Rise and fall goes from point to point: the reading before less the reading now, a rise if it is more than nought. "
        "Why both? A wrong sum at A is carried on to B by rise and fall, but not by HPC, so the two part company there. That "
        "finds a slip in the sums. A staff misread is misread in both: on a change point a closing reading finds it, on a spot "
        "only a second reading.", mistakes={
            "Rise and fall changed places: a smaller reading than the one before is a rise.": known - bs + second,
            "That is the level of A: one more step leads to B.": at_a,
            "The step from BM to A was left out: each goes on from the point before.": known + first - second,
            "You added the reading: it is taken off.": known + bs + second, "That is the HPC.": known + bs})


def _change_points(draw: _Draw) -> Lesson:
    known, bs, fs = draw.mm(10_000, 40_000), draw.mm(700, 1400), draw.mm(1300, 2300)
    back, spot = draw.mm(700, 1500), draw.mm(1000, 2200)
    reduced = _reduced(("BM", bs, None, None, known), ("CP", back, None, fs, None), ("S", None, None, spot, None))
    change, level = reduced.level("CP"), reduced.level("S")
    first, second = (float(hpc) for hpc in reduced.table["hpc"].dropna())
    return Lesson(
        f"BM is at {m(known)}; backsight {m(bs)}. The change point CP reads {m(fs)}. "
        f"The instrument is carried round the corner, and CP reads {m(back)} from there. Then a spot S reads "
        f"{m(spot)}. What is the level of S, in m?", "m", level,
        (f"First set-up: HPC = {m(known)} + {m(bs)} = {m(first)}; level of CP = {m(first)} − {m(fs)} = {m(change)}.",
         f"Second set-up: HPC = {m(change)} + {m(back)} = {m(second)}.",
         f"Level of S = {m(second)} − {m(spot)} = {m(level)}."),
        "A change point is read twice: a foresight before the move, a backsight after it. It stays still while the "
        "instrument moves, and carries the level across. The old HPC is of no use after the move. Choose something hard that "
        "cannot sink: whatever goes wrong on it goes into every level after it.", mistakes={
            "You worked from the old HPC: the instrument has moved since, and has another.": first - spot,
            "You took the backsight on CP off: the new HPC is the level of CP with it added.": change - back - spot,
            "You added the reading on S: it is taken off the HPC.": second + spot,
            "That is the level of CP: S is still to come.": change, "That is the second HPC.": second})


def _closing(draw: _Draw) -> Lesson:
    known, bs, fs, back = draw.mm(10_000, 40_000), draw.mm(900, 1600), draw.mm(900, 1600), draw.mm(900, 1600)
    wrong = draw.one((-23, -12, -6, -4, -3, -2, 2, 3, 4, 6, 12, 23)) / 1000
    last = bs - fs + back - wrong  # whole mm, but for binary digits
    reduced = _reduced(("BM", bs, None, None, known), ("CP", back, None, fs, None), ("BM", None, None, last, None))
    missed = float(reduced.misclosure or 0.0)
    found = known + missed
    return Lesson(
        f"BM is at {m(known)}. Backsight {m(bs)}, foresight on CP {m(fs)}; the "
        f"instrument moves; backsight on CP {m(back)}, foresight on BM again {m(last)}. What is the misclosure, "
        "in mm? It is the level found less the level known, with a minus if too low.", "mm", missed,
        (f"Sum of backsights − sum of foresights = ({m(bs)} + {m(back)}) − ({m(fs)} + "
         f"{m(last)}) = {m(missed)}. You came back to where you began, so it ought to be nought.",
         f"Level found for BM = {m(known)} + ({m(missed)}) = {m(found)}.", reduced.closing),
        "The last reading goes back to a level that you know. Small misclosures are how well anybody can read, and are "
        "shared out; a large one is a slip, and is looked for before anybody digs. 5 mm × √set-ups is the usual allowance of "
        "this workbook. A closing reading says nothing of points that were read once on the way.", mistakes={
            "That is known less found: the misclosure is the level found less the level known.": -missed,
            "That is the level found, not how far it is from the known one.": found})


def _two_pegs(draw: _Draw) -> Lesson:
    apart, wrong = draw.one((30, 40, 50)), draw.one((-18, -12, -9, -6, -1, 1, 6, 9, 12, 18)) / 1000
    a, b, near = draw.mm(1200, 1500), draw.mm(1100, 1600), draw.mm(1300, 1500)
    far = near + a - b + wrong
    test = two_peg_test(PegSetup(a, b, apart / 2, apart / 2), PegSetup(far, near, apart, 0))
    level = test.correct(far, apart)
    more, sign = ("more", "+") if a >= b else ("less", "−")
    return Lesson(
        f"Two pegs stand {apart} m apart. From midway the staff reads {m(a)} on A and {m(b)} on "
        f"B. From right beside B, with next to no sight, it reads {m(near)} on B and {m(far)} on A. What would "
        "it have read on A, in m, if the line of sight were level?", "m", level,
        (f"Midway both sights are equally long, and so are their errors: A truly reads {m(abs(a - b))} {more} than B.",
         f"So from beside B the staff on A should read {m(near)} {sign} {m(abs(a - b))} = {m(level)}.",
         f"It read {m(far)}: {m(far)} − {m(level)} = {mm(far - level)} over {apart} m. {test.words}"),
        "A line of sight that points up or down reads wrong in proportion to the length of the sight. Backsight and "
        "foresight equally long: the errors are the same and drop out. That is why one sets up midway, and why an instrument "
        "that does not pass can still give right levels.", mistakes={
            "The difference is the other way round: whichever peg read more from midway reads more from B too.": near - (a - b),
            "That is what it did read: the error of the long sight is still in it.": far,
            "That is the reading on B: the pegs are not equally high.": near,
            "That shares the error out: all of it lies in the long sight.": (far + level) / 2})


def _falls(draw: _Draw) -> Lesson:
    length, ratio = draw.whole(5, 16) * 500, draw.one((40, 48, 50, 60, 70, 75, 80, 100))  # mm
    drop = (length + ratio // 2) // ratio
    fall = parse_fall(f"{drop}/{length}")
    said = m(length / 1000, digits=1)
    run = word_fall(fall).partition(" ")[0].partition(":")[2]
    return Lesson(
        f"A path falls {drop} mm over {said}. What is its fall? Say it in whichever way you like: 1 in 60, 1:60, "
        "16.7 mm/m, 1.67 %, 0.95°, or 50 mm over 3 m.", "fall", fall,
        (f"In mm/m: {drop} mm ÷ {said} = {mm(fall, digits=1)}/m.",
         f"1 in so many: {length} mm ÷ {drop} mm = {run}, so 1 in {run}, which is also written 1:{run}.",
         f"In per cent: {word_number(fall * 100, figures=3)} %, m in 100 m: the mm/m divided by ten.",
         f"In degrees: {word_number(math.degrees(math.atan(fall)), figures=3)}°, the angle whose tangent is "
         f"{word_number(fall, figures=3)}.",
         f"Over another length: {mm(fall * 2, digits=1)} over 2 m, the length of a straightedge."),
        "All say the same thing. Mind two traps: the larger N of 1:N, the flatter; and 1 in 60 is 1.67 %, not 60 %. To set "
        "it out, turn it into mm over the length that you have in your hands.", FALL_WITHIN, {
            "That is the mm/m called per cent: per cent is the mm/m divided by ten.": 10 * fall,
            "That is the per cent called mm/m: mm/m is ten times as many.": fall / 10,
            "That is the N of 1:N called per cent: per cent is 100 divided by N.": 0.01 / fall,
            "The N of 1:N and the mm/m changed places: each is 1000 divided by the other.": 0.001 / fall,
            "That is the per cent called degrees: one degree is 1.75 %.": math.tan(math.radians(100 * fall))})


def _plane(draw: _Draw) -> Lesson:
    wide, deep = draw.whole(8, 20) / 2, draw.whole(6, 14) / 2
    a, b, c = draw.mm(9_900, 9_990), draw.mm(9_860, 9_990), draw.mm(9_780, 9_880)
    level = fit_plane([0, wide, 0], [0, 0, deep], [a, b, c]).plane.level_at(wide, deep)
    return Lesson(
        f"It is {word_distance(wide)} by {word_distance(deep)} and laid to one plane. Corner A, at the wall, is at "
        f"{m(a)}; B, along the wall from A, at {m(b)}; C, straight out from A, at {m(c)}. What is the "
        "level of D, straight out from B, in m?", "m", level,
        (f"From A to B it {'rises' if b > a else 'falls'} {mm(abs(b - a))}; on a plane it does the same from C to D.",
         f"Level of D = C + B − A = {m(c)} + {m(b)} − {m(a)} = {m(level)}."),
        "Three points make a plane, always and exactly, as a stool with three legs never rocks. For the same reason three "
        "points prove nothing: one of them misread tilts the plane, and nothing shows it. The fourth is the first check, and "
        "it says whether the corners are in one plane at all.", mistakes={
            "The step from A to B was taken the wrong way: from C to D it is the same as from A to B.": c + a - b,
            "The step from A to C was taken the wrong way: from B to D it is the same as from A to C.": b + a - c,
            "That is the mean of B and C, which is the level in the middle of the yard.": (b + c) / 2,
            "That is C: along the wall it rises or falls too.": c, "That is B: away from the wall it rises or falls too.": b})


def _more_shots(draw: _Draw) -> Lesson:
    sd, side = draw.one((2, 3, 4, 6)) / 1000, draw.one((2, 3, 4, 5))
    x = [float(number % side) for number in range(side * side)]
    y = [float(number // side) for number in range(side * side)]
    covariance = fit_plane(x, y, [10.0] * len(x), sd=sd).covariance  # of the level in the middle and of the two gradients
    assert covariance is not None
    found = math.sqrt(float(covariance[0, 0]))
    return Lesson(
        f"One shot on a slab is uncertain by {mm(sd)} (a standard deviation: about two shots of three are nearer). "
        f"You read a grid of {side} by {side} spots instead, {side * side} shots. How uncertain is the level in the middle "
        "of the slab, in mm?", "mm", found,
        (f"{side * side} shots: divide by √{side * side} = {side}. {mm(sd)} ÷ {side} = {mm(found, digits=1)}.",),
        "Errors of reading go up and down by chance, and partly cancel: four times the shots halve what is left of them. It "
        "does not help against an error that is the same in every shot, as the next lesson shows.", 0.00005, {
            "You divided by the number of shots: it is divided by its square root.": sd / side**2,
            "That is one shot: of several, the errors partly cancel.": sd,
            "You multiplied: more shots make the level surer, not less sure.": sd * side})


def _tilt(draw: _Draw) -> Lesson:
    length, tilt, side = draw.one((4, 5, 6, 8, 10)), draw.one((5, 8, 10, 15, 20)) / 10_000, draw.one((3, 4, 5))
    drop = draw.one((12, 14, 15, 16, 18)) * length / 1000
    out = [length * (number // side) / (side - 1) for number in range(side * side)]
    along = [float(number % side) for number in range(side * side)]
    read = [10.0 - drop / length * y for y in out]
    true = fit_plane(along, out, [level + tilt * y for level, y in zip(read, out, strict=True)]).plane.fall_towards(0.0, 1.0)
    return Lesson(
        f"By {side * side} shots with a laser it falls {mm(drop)} over the {length} m out from the wall. But the "
        f"laser has been knocked: its light climbs {mm(tilt * 10)} in 10 m on the way out from the wall. What is the fall of "
        "the yard, truly?", "fall", true,
        (f"At {length} m the light is {mm(tilt * length, digits=1)} too high, so the staff reads that much too much and the "
         "ground seems that much too low.",
         f"True drop = {mm(drop)} − {mm(tilt * length, digits=1)} = {mm(drop - tilt * length, digits=1)} over {length} m: "
         f"{word_fall(true)}.",
         f"Read at {side * side} spots or at a thousand: the light is as tilted for each, and the answer is the same."),
        "More shots help against chance, never against tilt: it goes straight into the fall. Against tilt help the turn test "
        "of 1-survey, and reading the same spots again with the laser turned half round.", FALL_WITHIN, {
            "You added the tilt: light that climbs makes the ground seem too low, so it is taken off.": drop / length + tilt,
            "That is the fall as read, the tilt still in it: more shots do not take it out.": drop / length,
            "That is the tilt alone.": tilt})


def _clear_of_the_dpc(draw: _Draw) -> Lesson:
    least, ratio, drop = LIMITS["clearance"], draw.one((40, 50, 60, 80)), draw.whole(40, 80) / 1000
    left, right = draw.mm(10_200, 10_240), draw.mm(10_180, 10_239)
    right -= 0.001 if right == left else 0.0
    length = ratio * drop
    lower = min(left, right)
    wall = lower - least.value
    far = Plane(wall, 0.0, -parse_fall(f"1:{ratio}")).level_at(0.0, length)
    other = LIMITS["clearance, Approved Document C"]
    return Lesson(
        f"The DPC is at {m(left)} at the left end of the wall, at {m(right)} at the right end. The "
        f"paving is to lie {mm(least.value)} below the DPC, level along the wall, and to fall 1:{ratio} away from it. What "
        f"is the highest that it may lie {word_distance(length)} out from the wall, in m?", "m", far,
        (f"The lower end governs: {m(lower)} − {mm(least.value)} = {m(wall)} at the wall.",
         f"The fall takes {word_distance(length)} ÷ {ratio} = {mm(drop)}.",
         f"{m(wall)} − {mm(drop)} = {m(far)}."),
        f"Rain splashes; {mm(least.value)} keeps the splash below the damp-proof course. Where the number comes from: "
        f"{least.source}: {least.what}; and {other.source}: {other.what}. Other places ask for "
        "other numbers: local rules decide.", mistakes={
            "You began from the higher end of the DPC: the lower one governs.": max(left, right) - least.value - drop,
            "That is the level at the wall: the fall away from it is still to come.": wall,
            "You added the fall: away from the wall paving falls.": wall + drop,
            "The distance below the DPC was left out.": lower - drop,
            "You added the distance below the DPC: paving lies under it.": lower + least.value - drop})


def _dig(draw: _Draw) -> Lesson:
    layers = (Layer("slabs", draw.one((35, 40, 50)) / 1000), Layer("bed", draw.one((30, 40)) / 1000),
              Layer("sub-base", draw.one((75, 100, 150)) / 1000))
    finished, ground, hpc = draw.mm(9_950, 10_050), draw.mm(9_900, 10_020), draw.mm(11_300, 11_600)
    area = [(0, 0), (4, 0), (4, 3), (0, 3)]
    tops = layer_tops(Finish.plane(Plane(finished, 0.0, 0.0), area), Brief(area, layers=layers))
    formation = tops[-1][1].level_at(1.0, 1.0)
    depth = ground - formation
    total = math.fsum(layer.thickness for layer in layers)
    listed = " + ".join(mm(layer.thickness) for layer in layers)
    told = ", ".join(f"{mm(layer.thickness)} of {layer.name}" for layer in layers)
    return Lesson(
        f"At a peg the paving is to finish at {m(finished)}; the ground there lies at {m(ground)} "
        f"today. From the top down come {told}. How deep do you dig there, in mm?", "mm", depth,
        (f"Layers together: {listed} = {mm(total)}.",
         f"Formation = finished level − layers = {m(finished)} − {mm(total)} = {m(formation)}.",
         f"How deep to dig = {m(ground)} − {m(formation)} = {mm(depth)}.",
         f"With the line of sight at {m(hpc)}, dig until the staff reads {m(hpc)} − {m(formation)} = "
         f"{m(hpc - formation)} on the formation."),
        "Formation is the top of the ground once dug. Set out by its level, not by a depth: today's ground goes up and down, "
        "the formation must not. Look for buried cables, gas and water before the first spade.", mistakes={
            "You left the layers out: that leads to the finished level only.": ground - finished,
            "You took the layers off the dig: they make it deeper.": ground - finished - total,
            "That is the layers alone: today's ground is not at the finished level.": total,
            "Ground and finished level changed places.": finished - ground + total})


LESSONS: dict[str, Callable[[_Draw], Lesson]] = {
    "a reading": _reading, "HPC": _hpc, "rise and fall": _rise_and_fall, "change points": _change_points, "closing": _closing,
    "two pegs": _two_pegs, "falls": _falls, "a plane": _plane, "more shots": _more_shots, "a tilt": _tilt,
    "150 mm": _clear_of_the_dpc, "a dig": _dig,
}
"""The lessons by key, in the order in which they are taught."""
