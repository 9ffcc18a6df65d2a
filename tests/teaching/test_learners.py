"""Two hundred simulated learners whose mistakes are known: each must be told the right reason, and none be marked down twice."""

from __future__ import annotations

from collections import Counter
from functools import cache
from random import Random

import pytest
from by_hand import Plan
from learners import METHODS, MISTAKES, STYLES, Judged, Learner, drawn_cases, exercise_for, judged, table_of

from sitelevels.teaching.marking import mark_book
from sitelevels.teaching.practice import DIFFICULTIES, KINDS, practice_book

SEED, ONE, TWO = 1, 150, 50


@cache
def results() -> tuple[Judged, ...]:
    return tuple(judged(case) for case in drawn_cases(SEED, ONE, TWO))


def told(chosen: list[Judged]) -> str:
    return "\n".join(one.words for one in chosen)


def test_the_learners_are_what_they_should_be() -> None:
    plans = Counter(len(one.case.plans) for one in results())
    assert plans == {1: ONE, 2: TWO}
    assert {one.case.first[1].kind for one in results()} == set(MISTAKES)
    assert {one.case.learner.method for one in results()} == set(METHODS)
    assert {one.case.style for one in results()} == set(STYLES)
    assert {one.case.learner.exercise.kind for one in results()} == set(KINDS)


def test_the_right_reason_for_95_of_100_first_mistakes() -> None:
    missed = [one for one in results() if not one.right_reason]
    assert len(missed) <= 0.05 * (ONE + TWO), "\n".join(table_of(list(results()))) + "\n" + told(missed)


def test_few_reasons_are_right_only_because_two_mistakes_give_one_number() -> None:
    """Else the test above would count for little."""
    other = [one for one in results() if one.right_reason and one.found is not None and one.found.kind != one.case.first[1].kind]
    assert len(other) <= 0.05 * (ONE + TWO), told(other)


def test_one_mistake_is_marked_wrong_once() -> None:
    bad = [one for one in results() if len(one.case.plans) == 1 and (len(one.wrong) != 1 or one.found is None)]
    assert not bad, told(bad)


def test_two_mistakes_are_marked_wrong_at_most_twice() -> None:
    bad = [one for one in results() if len(one.case.plans) == 2 and not (1 <= len(one.wrong) <= 2 and one.found is not None)]
    assert not bad, told(bad)


def test_no_cell_is_marked_unjustly() -> None:
    """What follows from a learner's own numbers is carried, what is right is right, a slip made again is not called right."""
    bad = [one for one in results() if one.unjust]
    assert not bad, told(bad)


def test_each_check_that_is_named_fails_on_the_page() -> None:
    bad = [one for one in results() if not all(fails for _, fails in one.checks)]
    assert not bad, told(bad)
    named = Counter(check for one in results() for check, _ in one.checks)
    assert {"ΣBS − ΣFS = last − first", "Σrise − Σfall = ΣBS − ΣFS", "Σ(HPC × shots) − Σ(IS + FS) = Σ levels"} <= set(named)
    without = [mark for one in results() for _, mark in one.wrong
               if mark.row and not mark.check and mark.column != "adjusted" and mark.kind != "unit"]
    assert len(without) <= 0.05 * len(results()), without


def test_a_level_of_the_benchmark_copied_wrongly_and_an_adjusted_level_are_checked_truly() -> None:
    """Slips that the learners above seldom make: the page of an honest one, all levels and HPCs raised, or one cell changed."""
    named = Counter()
    for number in range(40):
        exercise = exercise_for(Random(number), "closing")
        honest, learner = Learner(exercise, "hpc"), Learner(exercise, "hpc")
        size = (1, 3, 100, -1000)[number % 4]
        raised = [cell for cell in learner.wrote if cell[1] in ("hpc", "level")]
        chosen = raised if number % 3 else [(learner.booked[-1 - number % 2].row, "adjusted")]
        for cell in chosen:
            learner.note(cell, int(learner.wrote[cell]) + size)
        learner.levels = [level + size * (number % 3 > 0) for level in learner.levels]
        for mark in mark_book(exercise, learner.handed_in()).slips:
            if mark.row:
                named[mark.check] += 1
                assert not mark.check or learner.shown_by(mark.check, mark.row, honest), (exercise, mark)
    assert {"the misclosure", "the level given under rl", "the known level in the closing row", ""} <= set(named), named


def test_the_sentences_say_what_the_marks_say() -> None:
    for one in results():
        marks, words = one.marked.marks, one.marked.words
        told = [text for text in words if "; " in text]
        assert len(told) == len(one.wrong)
        for (_, mark), text in zip(one.wrong, told, strict=True):
            assert f"you wrote {mark.written}; {mark.reason}" in text
            assert ("would have shown it" in text) == bool(mark.check)
            follows = [other for other in marks if other.verdict == "carried" and not other.kind and mark.key in other.since]
            assert ("What follows from it is right, carried." in text) == bool(follows)
            again = [other.row for other in marks if other.kind and other.verdict != "wrong" and other.since[0] == mark.key]
            assert ("It is there again in" in text) == bool(again)
            for row in again:
                assert str(row) in text.split("It is there again in")[1]


def test_the_rows_where_a_slip_is_there_again_are_those_where_it_was_made() -> None:
    """Held against what the learners did, not against the marks: of one mistake, and of two."""
    seen = 0
    for one in results():
        plan = one.case.first[1]
        made = {cell[0] for cell, plans in one.case.learner.slips.items() if plan in plans}
        first = one.found
        text = next((text for text in one.marked.words if first and text.startswith(f"Row {first.row}, ")), "")
        if first and first.row and "It is there again in" in text and len(one.wrong) == len(one.case.plans):
            rows = text.split("It is there again in row")[1].split(", which costs")[0].lstrip("s")
            assert {int(row) for row in rows.replace(" and ", ", ").split(", ")} <= made | {first.row}, one.words
            seen += 1
    assert seen > 10


@pytest.mark.parametrize("method", METHODS)
def test_a_learner_without_mistakes_has_all_right(method: str) -> None:
    random = Random(20 + METHODS.index(method))
    for number in range(50):
        exercise = exercise_for(random, list(KINDS)[number % len(KINDS)])
        learner = Learner(exercise, method)
        marked = mark_book(exercise, learner.handed_in(STYLES[number % len(STYLES)], copies_known=number % 2 == 0))
        bad = [(mark.where, mark.column, mark.written, mark.right, mark.verdict)
               for mark in marked.marks if mark.verdict != "right"]
        assert not [one for one in bad if one[-1] != "missing"], (exercise.seed, exercise.kind, exercise.difficulty, bad)
        assert marked.slips == ()
        assert marked.score[0] == marked.score[1] or bad, (exercise.seed, exercise.kind, marked.score)


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("difficulty", DIFFICULTIES)
def test_an_empty_page_has_nothing_wrong(kind: str, difficulty: str) -> None:
    for seed in range(3):
        exercise = practice_book(seed, kind=kind, difficulty=difficulty)
        marked = mark_book(exercise, exercise.sheet())
        assert marked.slips == ()
        assert marked.marks
        assert {mark.verdict for mark in marked.marks} == {"missing"}
        assert marked.score[0] == 0


def test_a_misclosure_shared_though_not_allowed_is_one_slip() -> None:
    """31 mm low over three set-ups, 8.7 mm allowed: nothing is to be shared out, but 10, 21 and 31 mm are put on."""
    exercise = practice_book(443, kind="closing", slip="any")
    honest = Learner(exercise, "both")
    assert honest.misclosure() == -31
    plan = Plan("correction", "shared though not allowed", (2, "adjusted"), everywhere=True)
    learner = Learner(exercise, "both", [plan])
    assert len(learner.slips) == 9
    assert [mark.kind for mark in mark_book(exercise, learner.handed_in()).slips] == ["correction"]


def test_a_length_in_m_divided_by_a_drop_in_mm_is_found() -> None:
    """10.000 m over 96 mm taken as 10 / 96: N = 0.104. A mistake of the question, as it is written under 1:N."""
    exercise = practice_book(140, kind="a fall")
    name = "fall D1 to D3"
    assert Learner(exercise, "hpc").text["drop D1 to D3", "answer"] == "96"
    page = exercise.sheet(filled=True)
    page.loc[page["point"] == name, "answer"] = "1:0.104"
    assert [(mark.where, mark.kind) for mark in mark_book(exercise, page).slips] == [(name, "question")]
