"""Invented tasks that end in a number to build by: a two-peg test, a fall, a dig, a whole yard."""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction
from itertools import pairwise

from ..design.published import CAUTIONS, LIMITS
from ..survey.instrument import COLLIMATION_LIMIT
from ..survey.linking import EXACT
from ..wording import word_level, word_mm
from .asking import Asking, Way, always, ask_drop, length, m
from .drawing import Booked, Draw, Place, Walk
from .exercise import Own
from .yards import HARD, REDUCE, Site, Yard

CLEAR = LIMITS["clearance"]
GOVERNING, JUDGED = "governing DPC", ("met", "not met")
BELOW = word_mm(CLEAR.value)


def _term(said: str) -> str:
    """A number that is taken off, in brackets where it has a minus."""
    return f"({said})" if said.startswith("−") else said


def two_pegs(draw: Draw, difficulty: str) -> tuple[str, tuple[str, ...], Asking]:
    """Task, what is given and the questions of a two-peg test."""
    pegs, near = 25 * draw.whole(1, 2, 1), 25 * (difficulty == HARD)
    rise = draw.whole(-400, 400)
    most = 6 if difficulty == HARD else 5
    error = draw.whole(-most, most, 2 if difficulty == HARD else 0)  # in the difference by set-up 2; every answer in whole mm
    a1, a2 = draw.whole(1200, 1700), draw.whole(1200, 1700)
    b1, b2 = a1 - rise, a2 - rise - error
    far = pegs + near
    beside = f"{near}.0 m beyond peg B" if near else "beside peg B, so close that its reading on B holds no error"
    given = (f"Two pegs stand {pegs}.0 m apart.",
             f"Set-up 1, midway between them, {pegs / 2} m from each: {m(a1)} on peg A, {m(b1)} on peg B.",
             f"Set-up 2, {beside}, {far}.0 m from peg A: {m(a2)} on peg A, {m(b2)} on peg B.",
             f"Allowed is {word_mm(COLLIMATION_LIMIT * 50)} in 50 m, either way (a surveying supplier's method note).")
    asking = Asking()
    one, two, true, out = "by set-up 1", "by set-up 2", "true difference", "error of the far reading"
    slope = "collimation in 50 m"
    for name, a, b in ((one, a1, b1), (two, a2, b2)):
        asking.ask(name, "m", f"How far is peg B above peg A {name}? Below is minus.",
                   always((a - b) / 1000), always(f"Reading on A − reading on B: {m(a)} − {m(b)}"),
                   {"that is reading on B − reading on A: the smaller reading is on the higher peg": always((b - a) / 1000),
                    "the readings are taken from each other, not added": always((a + b) / 1000)})
    asking.ask(true, "m", "How far is peg B truly above peg A?", lambda own: own.number(one),
               lambda a: "From midway both sights are equally long and equally wrong, so their error drops out: set-up 1",
               {"set-up 2 has unequal sights: its error does not drop out": lambda own: own.number(two),
                "the mean of the two set-ups keeps half of the error": lambda own: (own.number(one) + own.number(two)) / 2})
    asking.ask(out, "mm", f"By how much is the reading of set-up 2 on peg A, {far}.0 m away, too high? Too low is minus.",
               lambda own: (own.number(two) - own.number(true)) * far / pegs,
               lambda a: (f"({a.said(two)} − {_term(a.said(true))}) × {far} / {pegs}" if near else
                          f"{a.said(two)} − {_term(a.said(true))}"),
               {"the sign is the other way: a line that points up reads too high":
                lambda own: (own.number(true) - own.number(two)) * far / pegs,
                "the two differences are taken from each other, not added":
                lambda own: (own.number(two) + own.number(true)) * far / pegs})
    asking.ask(slope, "mm", "How far does the line of sight point up in 50 m? Down is minus.",
               lambda own: own.number(out) * 50 / far, lambda a: f"{a.said(out)} × 50 / {far}",
               {f"that is over {far} m, not over 50 m": lambda own: own.number(out),
                "the lengths are upside down": lambda own: own.number(out) * far / 50})
    asking.either("verdict", ("passes", "does not pass"), "Does the instrument pass?",
                  lambda own: abs(own.number(slope)) <= COLLIMATION_LIMIT * 50 + EXACT,
                  lambda a: f"{a.said(slope)} against {word_mm(COLLIMATION_LIMIT * 50)} either way",
                  {"a minus does not make it small: the size counts":
                   lambda own: own.number(slope) <= COLLIMATION_LIMIT * 50 + EXACT})
    return "Work out the two-peg test: does this level read true?", given, asking


def _ground(yard: Yard) -> tuple[int, Walk]:
    """The height of collimation over a yard, and a walk from its benchmark."""
    return yard.bench.level + yard.draw.whole(1150, 1700), Walk({"BM": yard.bench.level})


def a_fall(draw: Draw, difficulty: str) -> Site:
    """Spots along a line of drainage."""
    yard = Yard(draw, difficulty)
    height, walk = _ground(yard)
    name, of = draw.one((("fall away, drives and paths", "path"), ("fall of a channel", "channel")))
    limit = LIMITS[name]
    least = Fraction(limit.value).limit_denominator(1000).denominator
    level = height - draw.whole(1200, 1500)
    marks, runs = [Place("D1", level, f"head of the {of}")], []
    for number in range(2, yard.by(2, 3, 3) + 1):
        runs.append(draw.whole(3000, 7000, 500))
        drop = draw.whole(runs[-1] // 150 // 5 * 5, runs[-1] // 45 // 5 * 5)
        before, over = (0, runs[-1]) if difficulty == HARD else (marks[0].level - level, sum(runs))
        if abs((before + drop) * least - over) * 20 < over:  # too near the limit to be judged by hand
            drop += -(-over // (50 * least)) * 5
        level -= drop
        marks.append(Place(f"D{number}", level, f"{of}, towards the gully"))
    spots = yard.spots(yard.by(1, 1, 2), height - 1400, height - 1400)
    walk.set_up(height, yard.bench, [*spots, *marks], yard.bench, high=yard.noise(2))
    first, last = "D1", marks[-1].point
    legs = [(one.point, two.point, run) for (one, two), run in zip(pairwise(marks), runs, strict=True)]
    parts = [(first, last, sum(runs)), *(legs if difficulty == HARD else [])]
    asked = [f"fall {one} to {two}" for one, two, _ in (parts[1:] or parts)]

    def ask(asking: Asking, booked: Booked) -> None:
        for one, two, run in parts:
            ask_drop(asking, booked, one, two, run)
        mistakes: dict[str, Callable[[Own], bool]] = {}
        if parts[1:]:
            mistakes["that holds for the whole length; each part must fall enough"] = (
                lambda own: own.number(f"fall {first} to {last}") >= 1 / least - EXACT)
        mistakes["a greater N is a flatter fall, not a steeper one"] = (
            lambda own: min(own.number(one) for one in asked) <= 1 / least + EXACT)
        asking.either("least fall", JUDGED, f"Does {'each part' if parts[1:] else f'the {of}'} fall at least 1:{least}?",
                      lambda own: min(own.number(one) for one in asked) >= 1 / least - EXACT,
                      lambda a: f"{', '.join(a.said(one) for one in asked)} against at least 1:{least} "
                                f"({word_mm(1 / least, digits=1)} in a metre); the greater N, the flatter", mistakes)

    distances = (f"{one} to {two} is {length(run)}" for one, two, run in legs)
    return Site(walk, f"{REDUCE} Then find the fall of the {of} and say whether it is enough.",
                (f"Along the {of}: {', '.join(distances)}; water runs from D1 to {last}.",
                 f"The least fall is 1:{least}: {limit.what}. Source: {limit.source}."), ask,
                kept=tuple(mark.point for mark in marks))


def _layers(draw: Draw) -> tuple[str, int]:
    slab, bed, base = draw.one((40, 50, 60)), draw.one((30, 40)), draw.one((100, 150))
    return f"Layers: slab {slab} mm, bed {bed} mm, sub-base {base} mm.", slab + bed + base


def _out(draw: Draw) -> tuple[int, int, int]:
    """N of a fall 1:N, the distance in mm over which it is laid, and its drop in mm."""
    fall, drop = draw.one((50, 60, 80)), draw.whole(50, 75, 5)
    return fall, fall * drop, drop


def _below(of: str) -> str:
    return f"The paving at the wall is to lie {BELOW} below the {of}: {CLEAR.what}. Source: {CLEAR.source}."


def _ask_formation(asking: Asking, booked: Booked, point: str, finished: str, layers: int, *, formation: bool) -> None:
    """Formation, dig and staff reading at a point whose finished level was asked before."""
    row, height, depth = booked.row(point), booked.heights[0] / 1000, layers / 1000
    name, dig = f"formation at {point}", f"dig at {point}"
    if formation:
        asking.ask(name, "m", f"What is the level of the formation at {point}?", lambda own: own.number(finished) - depth,
                   lambda a: f"{a.said(finished)} − {layers} mm",
                   {"the layers were left out: that is the finished level": lambda own: own.number(finished),
                    "the layers lie below the finished level, so they come off": lambda own: own.number(finished) + depth},
                   check="formation + layers = finished level")
    asking.ask(dig, "mm", f"How deep must be dug at {point}, from today's ground to the formation? Plus is down.",
               lambda own: own.levels[row] - own.number(finished) + depth,
               lambda a: f"Ground − formation: {m(booked.by_row[row])} − ({a.said(finished)} − {layers} mm)",
               {"the layers were forgotten: that is down to the finished level":
                lambda own: own.levels[row] - own.number(finished),
                "that is formation minus ground: a dig is plus when the ground is higher":
                lambda own: own.number(finished) - depth - own.levels[row],
                "the layers were taken off the dig: they make it deeper":
                lambda own: own.levels[row] - own.number(finished) - depth},
               check="ground − dig + layers = finished level")
    asking.ask(f"staff at {point}", "m", f"Which staff reading shows that the formation at {point} is reached? The instrument "
               "has not moved.",
               lambda own: own.hpcs.get(1, height) - own.number(finished) + depth,
               lambda a: f"HPC − formation: {word_level(height)} − ({a.said(finished)} − {layers} mm)",
               {"that is the reading on the finished paving: the layers lie below it":
                lambda own: own.hpcs.get(1, height) - own.number(finished),
                "that is formation minus HPC: the reading is HPC − formation":
                lambda own: own.number(finished) - depth - own.hpcs.get(1, height),
                "deeper ground gives a longer reading: the dig is added to the reading on the ground, not taken off":
                lambda own: own.hpcs.get(1, height) - own.levels[row] - own.number(dig)},
               check=f"reading on {point} + dig")


def _ask_finished(asking: Asking, booked: Booked, marks: tuple[str, ...], wall: str, far: str, drop: int) -> None:
    """Finished levels at the wall, `BELOW` under the mark that governs, and at the far edge, `drop` mm lower."""
    rows, clear, down = {one: booked.row(one) for one in marks}, CLEAR.value, drop / 1000

    def dpc(own: Own) -> float:
        """The level of the mark that was said to govern, so that a wrong one costs once."""
        return own.levels[rows[str(own.answers.get(GOVERNING, marks[0]))]]

    mistakes: dict[str, Way] = {
        "the paving lies below the DPC: the clearance comes off, it is not added": lambda own: dpc(own) + clear,
        "the clearance was left out: that is the DPC itself": dpc}
    if marks[1:]:
        mistakes["the lower mark governs, not the higher one"] = lambda own: max(own.levels[row] for row in rows.values()) - clear
    lower = min(booked.by_row[row] for row in rows.values())
    asking.ask(wall, "m", f"What is the {wall}?", lambda own: dpc(own) - clear,
               lambda _: f"{m(lower)} − {BELOW}", mistakes, check=f"finished level + {BELOW} = DPC")
    asking.ask(far, "m", f"What is the {far}?", lambda own: own.number(wall) - down,
               lambda a: f"{a.said(wall)} − {drop} mm of fall",
               {"the paving falls away from the wall: the far side is lower": lambda own: own.number(wall) + down,
                "the fall was left out": lambda own: own.number(wall)}, check="the fall back up to the wall")


def a_dig(draw: Draw, difficulty: str) -> Site:
    """From DPC and ground to formation."""
    yard = Yard(draw, difficulty)
    height, walk = _ground(yard)
    dpc = height - draw.whole(800, 1200)
    ground = dpc - draw.whole(90, 230)
    (said, layers), (fall, out, drop) = _layers(draw), _out(draw)
    marks = [Place("DPC", dpc, "damp-proof course", "dpc"), Place("G1", ground, "ground at the wall", "ground"),
             Place("G2", ground - drop // 5 * 5 + draw.whole(-50, 50), f"ground {length(out)} out", "ground")]
    spots = yard.spots(yard.by(0, 1, 3), ground, ground)
    walk.set_up(height, yard.bench, [*marks, *spots], yard.bench, high=yard.noise(2))
    near, far = "finished level at G1", "finished level at G2"

    def ask(asking: Asking, booked: Booked) -> None:
        _ask_finished(asking, booked, ("DPC",), near, far, drop)
        for point, finished in (("G1", near), ("G2", far)):
            _ask_formation(asking, booked, point, finished, layers, formation=True)

    return Site(walk, f"{REDUCE} Then find how deep to dig for the paving, and the staff readings to dig to.",
                (_below("DPC"), f"It falls 1:{fall} away from the wall; G1 is at the wall, G2 {length(out)} out from it.", said,
                 CAUTIONS[0]), ask, kept=tuple(mark.point for mark in marks))


def a_yard(draw: Draw, difficulty: str) -> Site:
    """From readings to verdict, all by hand."""
    yard = Yard(draw, difficulty)
    height, walk = _ground(yard)
    low, higher = height - draw.whole(850, 1150), draw.whole(10, 75)
    other = height + draw.whole(150, 600) if difficulty == HARD else low + higher
    upper = "DPC of the raised store" if difficulty == HARD else "DPC by the corner"
    first = draw.whole(0, 1, 1)
    dpcs = [Place(f"DPC{number + 1}", low if number == first else other, "DPC by the door" if number == first else upper, "dpc")
            for number in (0, 1)]
    (said, layers), (fall, out, drop) = _layers(draw), _out(draw)
    wall = [low - draw.whole(110, 220) for _ in "AB"]
    edge = [level - draw.whole(15, 120) for level in wall]
    where = ("at the wall", "at the wall", "far edge, out from B", "far edge, out from A")
    corners = [Place(name, level, at, "corner") for name, level, at in zip("ABCD", (*wall, *edge[::-1]), where, strict=True)]
    stays = Place("T", low - draw.whole(0, 40), "threshold, stays", "threshold")
    spots = yard.spots(yard.by(0, 0, 2), wall[0], corners[2].level)
    walk.set_up(height, yard.bench, [*dpcs, *corners, *spots, stays], yard.bench, high=yard.noise(2))
    near, far = "finished level at the wall", "finished level at the far edge"

    def ask(asking: Asking, booked: Booked) -> None:
        one, two, a, b, step = (booked.row(name) for name in ("DPC1", "DPC2", "A", "B", "T"))
        levels = booked.by_row
        asking.either(GOVERNING, ("DPC1", "DPC2"), "Which DPC mark governs the paving?",
                      lambda own: own.levels[one] <= own.levels[two],
                      lambda _: f"The lower of DPC1 {m(levels[one])} and DPC2 {m(levels[two])}",
                      {"the higher mark does not govern: paving that clears the lower one clears both":
                       lambda own: own.levels[one] > own.levels[two]})
        _ask_finished(asking, booked, ("DPC1", "DPC2"), near, far, drop)
        ask_drop(asking, booked, "A", "D", out)
        asking.either("ground clears DPC", JUDGED,
                      f"Does today's ground at A and at B lie at least {BELOW} below the governing DPC?",
                      lambda own: max(own.levels[a], own.levels[b]) <= own.number(near) + EXACT,
                      lambda _: f"{m(min(levels[one], levels[two]))} − {m(max(levels[a], levels[b]))} = "
                                f"{min(levels[one], levels[two]) - max(levels[a], levels[b])} mm against {BELOW}",
                      {"the higher of A and B is the one that counts":
                       lambda own: min(own.levels[a], own.levels[b]) <= own.number(near) + EXACT,
                       "it is the other way: ground below the finished level at the wall clears the DPC":
                       lambda own: max(own.levels[a], own.levels[b]) > own.number(near)})
        asking.ask("step up to T", "mm", "How high will the step be from the finished paving at the wall up to the threshold T?",
                   lambda own: own.levels[step] - own.number(near), lambda a: f"{m(levels[step])} − {a.said(near)}",
                   {"that is paving minus threshold: a step up is plus": lambda own: own.number(near) - own.levels[step]},
                   check="finished level + step = threshold")
        for point, finished in (("A", near), ("C", far)):
            _ask_formation(asking, booked, point, finished, layers, formation=False)

    return Site(walk, f"{REDUCE} Then take the yard from readings to verdict.",
                ("A and B are at the wall, C is out from B and D out from A.",
                 f"The yard is {length(out)} from wall to far edge.", _below("lower DPC mark"),
                 f"It falls 1:{fall} away from the wall.", said, CAUTIONS[0]), ask,
                kept=tuple(mark.point for mark in (*dpcs, *corners, stays)))
