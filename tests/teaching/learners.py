"""Simulated learners whose mistakes are known, marked.

`python tests/teaching/learners.py [count [seed]]` prints, for each kind of mistake, how often it was found with the right reason.
"""

from __future__ import annotations

import sys
from collections import Counter, defaultdict
from dataclasses import dataclass
from random import Random

from by_hand import Cell, Learner, Plan, same, swaps

from sitelevels.teaching.exercise import Exercise
from sitelevels.teaching.marking import Mark, Marked, mark_book
from sitelevels.teaching.practice import DIFFICULTIES, KINDS, practice_book

METHODS = ("hpc", "rise and fall", "both")
MISTAKES = ("added", "other set-up", "sign", "rise for fall", "backsight subtracted", "other reading",
            "across the change point", "wrong way", "other level", "known level", "digits swapped", "reading miscopied", "carry",
            "unit", "correction", "question", "rounded", "arithmetic")
CONCEPTUAL = ("added", "rise for fall", "backsight subtracted", "across the change point", "wrong way", "other set-up",
              "correction", "unit", "rounded")
"""Mistakes that are made in every row by somebody who does not know better, as well as once."""
ONLY_IN = {"correction": "closing", "sign": "staff inverted"}
"""Practice books to draw for a mistake that few others give room for."""


# Drawing learners


def exercise_for(random: Random, kind: str | None = None) -> Exercise:
    """A practice book of any seed, kind and difficulty, a slip planted in one of eight."""
    kinds, difficulties = list(KINDS), list(DIFFICULTIES)
    kind = kind or kinds[int(random.random() * len(kinds))]
    seed = int(random.random() * 100_000)
    difficulty = difficulties[int(random.random() * len(difficulties))]
    slip = "any" if random.random() < 0.125 and kind != "two pegs" else None
    return practice_book(seed, kind=kind, difficulty=difficulty, slip=slip)


def drawn_method(random: Random) -> str:
    return METHODS[int(random.random() * len(METHODS))]


def drawn_plan(random: Random, honest: Learner, kind: str) -> Plan | None:
    """A mistake of a kind somewhere in the work of an honest learner; None where none can be made."""
    places = [(cell, name) for cell, ways in honest.ways.items() for found, name in ways if found == kind]
    if not places:
        return None
    cells = sorted({cell for cell, _ in places}, key=list(honest.ways).index)
    cell = cells[int(random.random() * len(cells))]
    names = [name for place, name in places if place == cell]
    name = names[int(random.random() * len(names))]
    if kind in ("sign", "reading miscopied") and random.random() < 0.5:
        return misread_for_good(random, honest, kind)
    everywhere = kind in CONCEPTUAL and cell[1] != "answer" and not name.startswith("share") and random.random() < 0.5
    return Plan(kind, name, cell, everywhere)


def misread_for_good(random: Random, honest: Learner, kind: str) -> Plan | None:
    """A reading that is misread once and taken so wherever it is used."""
    found = [(line.row, column, reading) for line in honest.lines for column in ("bs", "mid", "fs")
             if (reading := getattr(line, column)) is not None and (reading < 0 or kind != "sign")]
    if not found:
        return None
    row, column, reading = found[int(random.random() * len(found))]
    wrong = [-reading] if kind == "sign" else [value for _, value in swaps(reading)]
    if not wrong:
        return None
    reading = (row, column, wrong[int(random.random() * len(wrong))])
    first = next((cell for cell, one in honest.sums.items() if honest.uses(one, reading)), None)
    return Plan(kind, "for good", first, reading=reading) if first is not None else None


@dataclass
class Case:
    """A learner with planned mistakes, and what is expected of the marking."""

    learner: Learner
    honest: Learner
    plans: list[Plan]
    style: str

    @property
    def expected(self) -> dict[Cell, str]:
        """The verdict that each cell deserves."""
        told, seen = {}, set()
        for cell, value in self.learner.wrote.items():
            if same(value, self.honest.wrote[cell]):
                told[cell] = "right"
            elif cell not in self.learner.slips:
                told[cell] = "carried"
            else:
                own = [id(plan) for plan in self.learner.slips[cell]]
                again = "carried" if self.learner.slips[cell][0].kind == "unit" else "again"  # right but for the unit
                told[cell] = again if seen.issuperset(own) else "wrong"
                seen.update(own)
        return told

    @property
    def sound(self) -> bool:
        """Whether each mistake was made, changed its number, and stands apart from the others."""
        cells = [cell for cell, plans in self.learner.slips.items() if len(plans) > 1]
        wrong = sum(verdict == "wrong" for verdict in self.expected.values())
        made = all(any(plan in plans for plans in self.learner.slips.values()) for plan in self.plans)
        return made and not cells and wrong == len(self.plans)

    @property
    def first(self) -> tuple[Cell, Plan]:
        """The first mistake in the order of the work."""
        cell = next(cell for cell, verdict in self.expected.items() if verdict == "wrong")
        return cell, self.learner.slips[cell][0]

    @property
    def kinds(self) -> set[str]:
        """The kinds that explain the first mistake: its own, and those that give the very same number."""
        cell, plan = self.first
        also = self.learner.also(cell, self.learner.wrote[cell])
        if plan.kind in ("carry", "sign", "unit"):  # exactly so much, or a minus there to be lost: not to be put otherwise
            also -= {"reading miscopied", "added"}
        one = self.learner.sums.get(cell)
        if plan.kind == "backsight subtracted" and one is not None and (one.back or 0) < 0:
            also.add("sign")  # a backsight upside down taken off, or its minus lost: one number
        return {plan.kind} | also - {"arithmetic"}

    def __str__(self) -> str:
        one = self.learner.exercise
        told = "; ".join(f"{plan.kind} ({plan.name}{', everywhere' if plan.everywhere else ''}"
                         f"{f', {plan.reading}' if plan.reading else ''}) at {plan.first}" for plan in self.plans)
        slip = f", slip={one.slip.kind!r}" if one.slip else ""
        return f"practice_book({one.seed}, kind={one.kind!r}, difficulty={one.difficulty!r}{slip}), {self.learner.method}: {told}"


STYLES = ("plain", "plain", "comma", "units", "csv")


def drawn_case(random: Random, wanted: str | None, count: int) -> Case:
    """A learner who makes so many mistakes, one of them as wanted, redrawn until they can be told apart."""
    while True:
        kinds = [wanted] if wanted else []
        kinds += [MISTAKES[int(random.random() * len(MISTAKES))] for _ in range(count - len(kinds))]
        exercise, method = exercise_for(random, next(filter(None, map(ONLY_IN.get, kinds)), None)), drawn_method(random)
        honest = Learner(exercise, method)
        plans = [plan for kind in kinds if (plan := drawn_plan(random, honest, kind)) is not None]
        style = STYLES[int(random.random() * len(STYLES))]
        if len(plans) < len(kinds):
            continue
        case = Case(Learner(exercise, method, plans), honest, plans, style)
        if case.sound and not (case.first[1].kind == "arithmetic" and len(case.kinds) > 1):
            return case


def drawn_cases(seed: int, one: int, two: int) -> list[Case]:
    """Learners with one mistake, each kind in turn, then learners with two."""
    random = Random(seed)
    cases = [drawn_case(random, MISTAKES[number % len(MISTAKES)], 1) for number in range(one)]
    return cases + [drawn_case(random, None, 2) for _ in range(two)]


# Marked


def cell_of(mark: Mark, questions: set[str]) -> Cell:
    """The cell that a mark is on; rise and fall are one."""
    if mark.row == 0:
        return next((name for name in questions if name in mark.where), mark.where), "answer"
    return mark.row, "step" if mark.column in ("rise", "fall") else mark.column


@dataclass
class Judged:
    """What the marking made of a case."""

    case: Case
    marked: Marked
    verdicts: dict[Cell, str]
    wrong: list[tuple[Cell, Mark]]

    @property
    def unjust(self) -> list[str]:
        """Cells whose verdict is another than they deserve, in words."""
        return [f"{cell} wrote {self.case.learner.text[cell]!r}: expected {verdict}, got {self.verdicts[cell]}"
                for cell, verdict in self.case.expected.items()
                if cell in self.verdicts and self.verdicts[cell] not in self.just(cell, verdict)]

    def just(self, cell: Cell, verdict: str) -> set[str]:
        """The verdicts that can be stood by: a slip made again may follow as well, a like slip elsewhere may be the same."""
        learner = self.case.learner
        found = {verdict}
        if verdict in ("again", "wrong") and cell != self.case.first[0] and (
                learner.follows(cell) or (verdict == "again" and learner.slips[cell][0].kind == "rounded")):
            found.add("carried")
        wrote, right = learner.wrote[cell], self.case.honest.wrote[cell]
        if cell[1] == "answer" and not isinstance(wrote, str) and not isinstance(right, str) and right and (
                abs(wrote / right - 1) < 0.01):  # a fall is judged to 1 in 100
            found.add("right")
        if verdict == "wrong" and cell != self.case.first[0]:
            kinds = {learner.slips[cell][0].kind} | learner.also(cell, learner.wrote[cell])
            if "sign" in kinds:
                kinds.add("added")  # a minus lost and a reading added give one number
            if kinds & self.case.kinds:
                found.add("carried" if "unit" in kinds else "again")
        return found

    @property
    def checks(self) -> list[tuple[str, bool]]:
        """The checks that are named for slips in the book, and whether they fail on the page."""
        return [(mark.check, self.case.learner.shown_by(mark.check, mark.row, self.case.honest))
                for _, mark in self.wrong if mark.row and mark.check]

    @property
    def found(self) -> Mark | None:
        """The mark on the first mistake, wherever in its row it was put."""
        cell, _ = self.case.first
        same_row = [mark for place, mark in self.wrong if place == cell or (cell[1] != "answer" and place[0] == cell[0])]
        return same_row[0] if same_row else None

    @property
    def words(self) -> str:
        """What was done, and what was made of it."""
        reason = self.found.kind if self.found else "not found"
        lines = [f"{self.case}", f"reason: {reason}, expected {' or '.join(sorted(self.case.kinds))}", *self.unjust]
        return "\n    ".join([*lines, *(f"wrong at {cell}: {mark.kind}: {mark.reason}" for cell, mark in self.wrong)])

    @property
    def right_reason(self) -> bool:
        return self.found is not None and self.found.kind in self.case.kinds


def judged(case: Case) -> Judged:
    """A case marked."""
    learner = case.learner
    marked = mark_book(learner.exercise, learner.handed_in(case.style))
    questions = {question.name for question in learner.exercise.questions}
    verdicts: dict[Cell, str] = {}
    wrong = []
    for mark in marked.marks:
        cell = cell_of(mark, questions)
        if mark.verdict != "missing" and not (cell in verdicts and not mark.written):
            verdicts[cell] = mark.verdict
        if mark.verdict == "wrong":
            wrong.append((cell, mark))
    return Judged(case, marked, verdicts, wrong)


def table_of(results: list[Judged]) -> list[str]:
    """For each kind of first mistake: learners, found, right reason, wrong too often, unjust cells."""
    groups: dict[str, list[Judged]] = defaultdict(list)
    for result in results:
        groups[result.case.first[1].kind].append(result)
    form = "{:<26}{:>9}{:>9}{:>13}{:>15}{:>13}{:>14}"
    lines = [form.format("first mistake", "learners", "found", "right reason", "by another too", "wrong twice", "unjust cells")]
    for kind in (*MISTAKES, "all"):
        chosen = results if kind == "all" else groups[kind]
        lines.append(form.format(
            kind, len(chosen), sum(one.found is not None for one in chosen), sum(one.right_reason for one in chosen),
            sum(one.right_reason and one.found is not None and one.found.kind != one.case.first[1].kind for one in chosen),
            sum(max(0, len(one.wrong) - len(one.case.plans)) for one in chosen), sum(len(one.unjust) for one in chosen)))
    return lines


def main(count: int, seed: int) -> int:
    results = [judged(case) for case in drawn_cases(seed, 3 * count // 4, count - 3 * count // 4)]
    print(*table_of(results), sep="\n")
    for result in results:
        if result.unjust or not result.right_reason or len(result.wrong) > len(result.case.plans):
            print(f"\n{result.words}")
    checks = [fails for result in results for _, fails in result.checks]
    print(f"\n{len(checks)} checks named, {checks.count(False)} of them untrue")
    print("styles", dict(Counter(result.case.style for result in results)))
    return 0


if __name__ == "__main__":
    given = [int(one) for one in sys.argv[1:]]
    sys.exit(main(*given, *(200, 1)[len(given):]))
