"""A simulated learner reduces the page of an exercise by hand, in whole mm, and makes a planned mistake.

Nothing here is taken from the reduction or the marking. The page is read as text and filled in as text. A mistake is made in one
cell, or in every cell where it can be made, or by a reading that was misread for good; whatever is worked out later follows
honestly from the wrong number.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace

import pandas as pd

from sitelevels.teaching.exercise import Exercise, Own, Question

Cell = tuple[int | str, str]  # (row, "hpc" | "step" | "level" | "adjusted") or (name of a question, "answer")
Ways = dict[tuple[str, str], int | float | str]  # wrong numbers by kind and name: mm in the book, m or m/m in a question


# The page


def mm_of(text: str) -> int | None:
    """'-1.385' as -1385; None for an empty cell."""
    if not text:
        return None
    whole, _, part = text.lstrip("-").partition(".")
    size = 1000 * int(whole) + int((part + "000")[:3])
    return -size if text.startswith("-") else size


def metres(mm: int) -> str:
    """-1385 as '-1.385'."""
    return f"{'-' if mm < 0 else ''}{abs(mm) // 1000}.{abs(mm) % 1000:03d}"


@dataclass
class Line:
    """A row of the page, in mm."""

    row: int
    point: str
    bs: int | None
    mid: int | None
    fs: int | None
    rl: int | None

    @property
    def front(self) -> int | None:
        return self.fs if self.fs is not None else self.mid


def lines_of(page: pd.DataFrame) -> list[Line]:
    """The rows of the book on a page."""
    return [Line(int(one["row"]), one["point"], *(mm_of(one[name]) for name in ("bs", "is", "fs", "rl")))
            for one in page.to_dict("records") if one["row"]]


# One learner


@dataclass
class Plan:
    """What a learner is going to do wrong."""

    kind: str
    name: str
    first: Cell
    everywhere: bool = False  # in every cell where it can be made
    reading: tuple[int, str, int] | None = None  # the reading of a row that is misread for good


@dataclass
class Sum:
    """One sum of the book: what goes in, so that it can go wrong."""

    cell: Cell
    right: int  # what follows from the learner's own numbers
    index: int  # of its row
    setup: int
    hpc: int | None = None
    back: int | None = None
    front: int | None = None
    base: int | None = None
    step: int | None = None
    share: tuple[int, int] | None = None


@dataclass
class Learner:
    """Works through a page; `wrote` is what stands in each cell (mm, or the value of an answer), `sums` how it came there."""

    exercise: Exercise
    method: str
    plans: list[Plan] = field(default_factory=list)
    page: pd.DataFrame = field(init=False)
    lines: list[Line] = field(init=False)
    wrote: dict[Cell, int | float | str] = field(default_factory=dict)
    text: dict[Cell, str] = field(default_factory=dict)
    sums: dict[Cell, Sum] = field(default_factory=dict)
    ways: dict[Cell, Ways] = field(default_factory=dict)
    slips: dict[Cell, list[Plan]] = field(default_factory=dict)
    levels: list[int] = field(default_factory=list)
    hpcs: list[int] = field(default_factory=list)  # by set-up
    hpc_rows: list[int] = field(default_factory=list)  # the row that each set-up starts in

    def __post_init__(self) -> None:
        self.page = self.exercise.sheet()
        self.lines = lines_of(self.page)
        self.booked = [replace(line) for line in self.lines]
        for plan in self.plans:
            if plan.reading is not None:
                row, column, value = plan.reading
                setattr(next(line for line in self.lines if line.row == row), column, value)
        self.known = {line.point: line.rl for line in self.lines if line.rl is not None}
        self.reduce()
        if self.exercise.adjusts and self.lines:
            self.adjust()
        self.answer()

    # the book

    def start_of(self, index: int) -> int:
        """The level of the point that a set-up stands its backsight on."""
        line = self.lines[index]
        if line.point in self.known:
            return self.known[line.point]
        if line.front is not None:
            return self.levels[index]
        return self.levels[max(place for place in range(index) if self.lines[place].point == line.point)]

    def reduce(self) -> None:
        back = 0  # the reading before this one from the same set-up
        before = 0  # the level that it gave
        hpc = 0
        setup = -1
        for index, line in enumerate(self.lines):
            if line.front is not None:
                if self.method != "hpc":
                    step = self.put(Sum((line.row, "step"), back - line.front, index, setup, back=back, front=line.front))
                if self.method == "rise and fall":
                    level = self.put(Sum((line.row, "level"), before + step, index, setup, base=before, step=step))
                else:
                    level = self.put(Sum((line.row, "level"), hpc - line.front, index, setup, hpc=hpc, front=line.front))
                self.levels.append(level)
                back, before = line.front, level
            else:
                self.levels.append(0)
            if line.bs is not None:
                setup += 1
                start = self.start_of(index)
                if line.front is None:
                    self.levels[index] = start
                    self.note((line.row, "level"), start)
                if self.method != "rise and fall":
                    hpc = self.put(Sum((line.row, "hpc"), start + line.bs, index, setup, base=start, back=line.bs))
                self.hpcs.append(start + line.bs if self.method == "rise and fall" else hpc)
                self.hpc_rows.append(line.row)
                back, before = line.bs, start

    def note(self, cell: Cell, value: int) -> None:
        self.wrote[cell], self.text[cell] = value, metres(value)

    def put(self, one: Sum) -> int:
        """Writes the result of a sum, wrong where that is planned; returns what the learner goes on with."""
        ways = self.ways_of(one)
        self.sums[one.cell], self.ways[one.cell] = one, ways
        self.note(one.cell, one.right)
        for plan in self.plans:
            if plan.reading is not None:
                if self.uses(one, plan.reading):
                    self.slips.setdefault(one.cell, []).append(plan)
                continue
            chosen = (plan.kind, plan.name)
            again = plan.everywhere and plan.first in self.slips
            if again and plan.kind == "other set-up":
                again = self.sums[plan.first].setup == one.setup
            if (one.cell == plan.first or again) and chosen in ways:
                self.slips.setdefault(one.cell, []).append(plan)
                if plan.kind == "unit":
                    self.wrote[one.cell], self.text[one.cell] = 1000 * one.right, str(one.right)
                    return one.right  # 9884 was written, 9.884 is gone on with
                self.note(one.cell, int(ways[chosen]))
                if plan.name == "two decimals":
                    self.text[one.cell] = self.text[one.cell][:-1]
        return int(self.wrote[one.cell])

    def uses(self, one: Sum, reading: tuple[int, str, int]) -> bool:
        """Whether a sum takes a reading straight from the page, and comes out wrong by it."""
        row, column, _ = reading
        here = self.lines[one.index].row
        what = one.cell[1]
        if what == "hpc":
            return column == "bs" and here == row
        if what == "level":
            return one.hpc is not None and here == row and column != "bs"
        before = self.lines[one.index - 1].row
        if what != "step":
            return False
        if column == "bs":
            return before == row
        return here == row or (before == row and self.lines[one.index - 1].bs is None)

    # the misclosure shared out, and the questions

    def misclosure(self) -> int | None:
        last = self.lines[-1]
        return self.levels[-1] - self.known[last.point] if last.point in self.known and last.front is not None else None

    def adjust(self) -> None:
        count = sum(line.bs is not None for line in self.lines)
        whole = self.misclosure() or 0
        allowed = whole * whole <= 25 * count  # 5 mm × √set-ups; what is beyond is not shared out, the task says
        setup = 0
        for index, line in enumerate(self.lines):
            level = self.levels[index]
            if line.point in self.known and (allowed or line.front is None):
                self.note((line.row, "adjusted"), self.known[line.point])
            else:
                right = level - part(whole, setup, count) if allowed else level
                self.put(Sum((line.row, "adjusted"), right, index, setup, base=level, share=(whole, count)))
            setup += line.bs is not None

    def own(self, answers: dict[str, float | str]) -> Own:
        levels = {line.row: level / 1000 for line, level in zip(self.lines, self.levels, strict=True)}
        hpcs = {row: hpc / 1000 for row, hpc in zip(self.hpc_rows, self.hpcs, strict=True)}
        return Own(levels, hpcs, dict(answers))

    def answer(self) -> None:
        answers: dict[str, float | str] = {}
        for question in self.exercise.questions:
            own = self.own(answers)
            cell: Cell = (question.name, "answer")
            right = question.answer(own)
            ways = ways_of_answer(question, right, own)
            self.ways[cell] = ways
            value = right
            for plan in self.plans:
                if plan.first == cell and (plan.kind, plan.name) in ways:
                    self.slips.setdefault(cell, []).append(plan)
                    value = ways[plan.kind, plan.name]
            self.wrote[cell], self.text[cell] = value, worded(question, value)
            answers[question.name] = value

    # what can go wrong

    def ways_of(self, one: Sum) -> Ways:
        """Every wrong number that a known mistake gives here, by kind and name."""
        ways: Ways = {}
        what = one.cell[1]
        line = self.lines[one.index]
        after = self.lines[one.index + 1] if one.index + 1 < len(self.lines) else None
        before = self.lines[one.index - 1]
        if what == "level" and one.hpc is not None and one.front is not None:
            if one.front > 0:
                ways["added", "reading added"] = one.hpc + one.front
            else:
                ways["sign", "sign lost"] = one.hpc + one.front
            if one.setup:
                ways["other set-up", "the set-up before"] = self.hpcs[one.setup - 1] - one.front
            if after is not None and after.front is not None:
                ways["other reading", "the next row"] = one.hpc - after.front
            if line.bs is not None:
                ways["other reading", "backsight for foresight"] = one.hpc - line.bs
            for name, other in swaps(one.front):
                ways["reading miscopied", name] = one.hpc - other
        if what == "hpc" and one.base is not None and one.back is not None:
            ways["backsight subtracted", "less the backsight"] = one.base - one.back
            if line.fs is not None:
                ways["other reading", "foresight for backsight"] = one.base + line.fs
            if after is not None and after.front is not None:
                ways["other reading", "the next row"] = one.base + after.front
            if one.index:
                ways["other level", "the row before"] = self.levels[one.index - 1] + one.back
            for name, other in swaps(one.back):
                ways["reading miscopied", name] = one.base + other
        if what == "step" and one.back is not None and one.front is not None:
            if one.right:
                ways["rise for fall", "the other column"] = -one.right
            if before.bs is not None and one.index > 1:
                foresight = before.front if before.front is not None else self.lines[one.index - 2].front
                if foresight is not None:
                    ways["across the change point", "from its foresight"] = foresight - one.front
            if after is not None and after.front is not None:
                ways["other reading", "the next row"] = one.back - after.front
            if one.front < 0:
                ways["sign", "sign of this reading lost"] = one.back + one.front
            if one.back < 0:
                ways["sign", "sign of the reading before lost"] = -one.back - one.front
            for name, other in swaps(one.front):
                ways["reading miscopied", f"this reading, {name}"] = one.back - other
            for name, other in swaps(one.back):
                ways["reading miscopied", f"reading before, {name}"] = other - one.front
        if what == "level" and one.step is not None and one.base is not None:
            if one.step:
                ways["wrong way", "the wrong way"] = one.base - one.step
            if one.index > 1:
                ways["other level", "two rows before"] = self.levels[one.index - 2] + one.step
        if what == "level" and line.rl is None and line.point in self.known:
            ways["known level", "copied"] = self.known[line.point]
        if what == "level" and line.rl is not None:
            ways["known level", "copied"] = line.rl
        if what == "adjusted" and one.base is not None and one.share is not None:
            shared, count = one.share
            if shared * shared > 25 * count:
                ways["correction", "shared though not allowed"] = one.base - part(shared, one.setup, count)
            else:
                ways["correction", "wrong sign"] = one.base + part(shared, one.setup, count)
                ways["correction", "not shared"] = one.base
                for other in range(1, count + 1):
                    ways["correction", f"share {other}"] = one.base - part(shared, other, count)
        for name, value in swaps(one.right):
            ways["digits swapped", name] = value
        for name in ("two decimals", "a nought at the end") if abs(one.right) > 5 else ():
            ways["rounded", name] = (one.right + 5) // 10 * 10
        for size in (1000, 100, 10):
            for sign in (1, -1):
                ways["carry", f"{sign * size} mm"] = one.right + sign * size if one.right >= 0 else one.right - sign * size
        if abs(one.right) > 10:  # "7" for 0.007 could be anything
            ways["unit", "mm"] = one.right * 1000
        for size in (37, 68, 123, 214, 346, 487):  # never a single digit that differs
            for sign in (1, -1):
                ways["arithmetic", f"{sign * size} mm"] = one.right + sign * size if one.right >= 0 else one.right - sign * size
        for (kind, name), value in list(ways.items()):
            same_side = value * one.right > 0 if what == "step" else value > 0
            if value == one.right or (kind in ("carry", "digits swapped", "arithmetic", "unit") and not same_side):
                del ways[kind, name]
        return ways

    def also(self, cell: Cell, value: float | str) -> set[str]:
        """The kinds of mistake that would give the very same number in a cell, other rows' readings and levels tried as well."""
        if cell not in self.sums or isinstance(value, str):
            return {kind for (kind, _), other in self.ways[cell].items() if same(other, value)}
        one = self.as_booked(self.sums[cell])
        readings = [reading for line in self.booked for reading in (line.bs, line.mid, line.fs) if reading is not None]
        levels = [level for level in self.levels if level not in (0, one.base)]
        found: dict[str, list[int]] = {"other reading": [], "other level": [], "reading miscopied": [], "other set-up": []}
        if one.hpc is not None and one.front is not None:
            found["other set-up"] = [hpc - one.front for hpc in self.hpcs if hpc != one.hpc]
            found["other reading"] = [one.hpc - reading for reading in readings if reading != one.front]
            found["reading miscopied"] = [one.hpc - other for other in misread(one.front)]
        elif one.back is not None and one.front is not None:
            found["other reading"] = [one.back - reading for reading in readings if reading != one.front]
            found["other reading"] += [reading - one.front for reading in readings if reading != one.back]
            found["reading miscopied"] = [one.back - other for other in misread(one.front)]
            found["reading miscopied"] += [other - one.front for other in misread(one.back)]
        elif one.back is not None and one.base is not None:
            found["other reading"] = [one.base + reading for reading in readings if reading != one.back]
            found["reading miscopied"] = [one.base + other for other in misread(one.back)]
            found["other level"] = [level + one.back for level in levels]
        elif one.step is not None and one.base is not None:
            found["other level"] = [level + one.step for level in levels]
            found["reading miscopied"] = [one.base + other for other in misread(one.step)]
        kinds = {kind for (kind, _), other in self.ways_of(one).items() if other == value}
        return kinds | {kind for kind, others in found.items() if value in others}

    def follows(self, cell: Cell) -> bool:
        """Whether a level as written follows from the numbers written before it, by the other route or by a second slip."""
        if cell[1] != "level" or cell not in self.sums:
            return False
        one, wrote = self.sums[cell], {place: int(mm) for place, mm in self.wrote.items() if place[1] in ("hpc", "step", "level")}
        front, before = self.booked[one.index].front, wrote[self.lines[one.index - 1].row, "level"]
        hpc, step = wrote.get((self.hpc_rows[one.setup], "hpc")), wrote.get((self.lines[one.index].row, "step"))
        by_hpc = hpc is not None and front is not None and wrote[cell] == hpc - front
        return by_hpc or (step is not None and wrote[cell] in (before + step, before - step))

    def as_booked(self, one: Sum) -> Sum:
        """A sum with the readings that stand in the book, where the learner misread one for good."""
        here, before = self.booked[one.index], self.booked[one.index - 1]
        if one.hpc is not None and one.front is not None and here.front is not None:
            return replace(one, front=here.front, right=one.hpc - here.front)
        if one.cell[1] == "hpc" and one.base is not None and here.bs is not None:
            return replace(one, back=here.bs, right=one.base + here.bs)
        back = before.bs if before.bs is not None else before.front
        if one.cell[1] == "step" and back is not None and here.front is not None:
            return replace(one, back=back, front=here.front, right=back - here.front)
        return one

    def meant(self, cell: Cell) -> int | None:
        """The number that stands in a cell of the book, in mm; what was meant where it was written in mm for m."""
        in_mm = any(plan.kind == "unit" for plan in self.slips.get(cell, []))
        return self.sums[cell].right if in_mm else int(self.wrote[cell]) if cell in self.wrote else None

    def shown_by(self, check: str, row: int, honest: Learner) -> bool:
        """Whether a check, worked out on the page as it was handed in, fails: for a slip in a row, where that matters."""
        fronts = [line for line in self.booked if line.front is not None]
        levels = {line.row: self.meant((line.row, "level")) for line in self.booked}
        first, last = (levels[self.booked[place].row] for place in (0, -1))
        assert first is not None
        assert last is not None
        backsights = [line.bs for line in self.booked if line.bs is not None]
        climb = sum(backsights) - sum(line.fs for line in self.booked if line.fs is not None)
        if check == "ΣBS − ΣFS = last − first":
            return last - first != climb
        if check == "Σrise − Σfall = ΣBS − ΣFS":
            return sum(self.meant((line.row, "step")) or 0 for line in fronts) != climb
        if check == "Σ(HPC × shots) − Σ(IS + FS) = Σ levels":
            out, hpc = 0, 0
            for line in self.booked:
                if line.front is not None:
                    out += hpc - line.front - (levels[line.row] or 0)
                hpc = self.meant((line.row, "hpc")) or hpc
            return out != 0
        if check in ("the misclosure", "the known level in the closing row"):
            end, own, right = self.booked[-1], self.misclosure(), honest.misclosure()
            closes = right is not None and right * right <= 25 * len(backsights)
            if check == "the misclosure":
                return closes and own is not None and own * own > 25 * len(backsights)
            return closes and self.meant((end.row, "adjusted")) != self.known[end.point]
        if check == "the level given under rl":
            return any(line.rl not in (None, levels[line.row]) for line in self.booked if line.row == row)
        if check == "rise and fall beside it":
            backs = [one.front if one.bs is None else one.bs for one in self.booked]
            return any((levels[two.row] or 0) - (levels[one.row] or 0) != (back or 0) - two.front
                       for one, back, two in zip(self.booked, backs, self.booked[1:], strict=False) if two.front is not None)
        assert check == "HPC and level beside it", check
        return any(levels[line.row] != honest.meant((line.row, "level")) for line in fronts)

    # what is handed in

    def handed_in(self, style: str = "plain", *, copies_known: bool = True) -> pd.DataFrame | str:
        """The page filled in: "plain", "comma" (decimal commas), "units" (m and mm written behind), "csv" (as text)."""
        filled = self.page.to_dict("records")
        for line in filled:
            cell = (int(line["row"]), "") if line["row"] else (line["point"], "answer")
            if not line["row"]:
                line["answer"] = dressed(self.text[cell], style)
                continue
            for column in ("hpc", "level", "adjusted"):
                blank = column == "level" and line["rl"] and not line["is"] and not line["fs"] and not copies_known
                if (cell[0], column) in self.text and not blank:
                    line[column] = dressed(self.text[cell[0], column], style, unit=" m")
            if (cell[0], "step") in self.text and (step := self.text[cell[0], "step"]):
                if int(self.wrote[cell[0], "step"]) == 0 and style == "csv":
                    continue  # no rise, no fall: left blank
                line["fall" if step.startswith("-") else "rise"] = dressed(step.lstrip("-"), style, unit=" m")
        page = pd.DataFrame(filled, columns=list(self.page.columns)).fillna("")
        return page.to_csv(index=False) if style == "csv" else page


def part(misclosure: int, setup: int, count: int) -> int:
    """setup/count of a misclosure to the nearest mm, halves away from nought."""
    whole = (2 * abs(misclosure) * setup + count) // (2 * count)
    return whole if misclosure >= 0 else -whole


def swaps(mm: int) -> Iterator[tuple[str, int]]:
    """A number with two neighbouring digits swapped; a nought never comes to stand in front."""
    digits = str(abs(mm)) if abs(mm) >= 1000 else f"{abs(mm):04d}"
    for place in range(len(digits) - 1):
        one, two = digits[place], digits[place + 1]
        if one == two or (place == 0 and "0" in (one, two)):
            continue
        value = int(digits[:place] + two + one + digits[place + 2:])
        yield f"digits {place + 1} and {place + 2}", value if mm >= 0 else -value


def misread(mm: int) -> Iterator[int]:
    """A number with one digit misread."""
    digits = f"{abs(mm):04d}"
    for place, digit in enumerate(digits):
        for other in "0123456789":
            if other != digit:
                value = int(digits[:place] + other + digits[place + 1:])
                yield value if mm >= 0 else -value


def same(one: float | str, two: float | str) -> bool:
    if isinstance(one, str) or isinstance(two, str):
        return one == two
    return abs(one - two) < 1e-9


def ways_of_answer(question: Question, right: float | str, own: Own) -> Ways:
    """Wrong answers to a question by kind and name."""
    ways: Ways = {("question", name): wrong(own) for name, wrong in question.mistakes.items()}
    if not isinstance(right, str) and question.unit in ("m", "mm"):
        mm = in_mm(right)
        if abs(right - mm / 1000) < 1e-9 and abs(mm) > 9:
            digits = str(abs(mm))
            for place in range(len(digits) - 1):
                if digits[place] != digits[place + 1] and digits[place + 1] != "0":
                    other = int(digits[:place] + digits[place + 1] + digits[place] + digits[place + 2:])
                    ways["digits swapped", f"digits {place + 1} and {place + 2}"] = (other if mm > 0 else -other) / 1000
            ways["arithmetic", "37 mm"] = (mm + (37 if mm > 0 else -37)) / 1000
            ways["carry", "100 mm"] = (mm + (100 if mm > 0 else -100)) / 1000
    for kind, value in list(ways.items()):
        if worded(question, value) == worded(question, right):
            del ways[kind]
    return ways


def in_mm(value: float) -> int:
    whole = int(abs(value) * 1000 + 0.5)
    return whole if value >= 0 else -whole


def worded(question: Question, value: float | str) -> str:
    """An answer as a learner writes it."""
    if isinstance(value, str):
        return value
    if question.unit == "m":
        return metres(in_mm(value))
    if question.unit == "mm":
        tenths = int(abs(value) * 10000 + 0.5)
        sign = "-" if value < 0 and tenths else ""
        return f"{sign}{tenths // 10}" + (f".{tenths % 10}" if tenths % 10 else "")
    if abs(value) < 0.00005:
        return "level"
    places = 1 if abs(value) < 0.1 else 3
    return f"1:{1 / abs(value):.{places}f}" + (" uphill" if value < 0 else "")


def dressed(text: str, style: str, *, unit: str = "") -> str:
    """A number in one of the ways that people write numbers."""
    if style == "comma" and text.lstrip("-").replace(".", "", 1).isdigit():
        return text.replace(".", ",").replace("-", "−")
    return text + unit if style == "units" and text and "." in text else text
