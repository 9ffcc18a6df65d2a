"""A class set on paper: a page of its own for each learner, the answers with the working apart, and the exercise outdoors."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from ..errors import SurveyError, must_be, whole
from ..teaching.exercise import Exercise
from ..teaching.planting import KNOCKED
from ..teaching.practice import KINDS, practice_book
from .exercise_page import answer_pages, exercise_pages, last_level, misclosure
from .outdoor_page import outdoor_pages
from .page import as_pdf
from .paper import Column, Paper
from .saving import write_all

CLASS_FILES = ("exercises.pdf", "answers.pdf", "outdoor.pdf")
MOST_LEARNERS, LAST_SEED = 60, 999_999
WAITING = 901  # beyond the numbers of the learners: the pages for those who wait outdoors
_SUMMARY = (Column("number", "exercise\n", 24.0, words=True), Column("kind", "kind\n", 28.0, words=True),
            Column("slip", "slip\n", 50.0, words=True), Column("shown", "shown by\n", 38.0, words=True),
            Column("misclosure", "misclosure\n", 21.0), Column("level", "last level\n", 21.0))


def class_exercises(*, seed: int, learners: int = 12, kinds: Sequence[str] | str = ("change points",), difficulty: str = "usual",
                    slip: str | None = None) -> tuple[Exercise, ...]:
    """An exercise for each learner, numbered 1000 × seed + 1 and so on, the kinds in turn; the same seed gives the same again.

    Parameters
    ----------
    seed : int
        0 to 999999.
    learners : int
        1 to 60.
    kinds : sequence of str
        Names from `KINDS`.
    difficulty, slip : str
        As `practice_book` takes them, "perhaps" among the slips. Among other kinds a two-peg test, which has no book, goes
        without one.

    Raises
    ------
    SurveyError
        For a seed or a number of learners outside those, an unknown kind or difficulty, or a slip that a kind cannot have.

    >>> [exercise.seed for exercise in class_exercises(seed=7, learners=3)]
    [7001, 7002, 7003]
    """
    seed = whole(seed, "the seed of a class set", 0, LAST_SEED)
    learners = whole(learners, "the number of learners", 1, MOST_LEARNERS)
    must_be(kinds, Sequence, "the list of kinds")
    chosen = (kinds,) if isinstance(kinds, str) else tuple(kinds)
    if not chosen:
        raise SurveyError("no kind of exercise is chosen", remedy=f"Choose one or more of {', '.join(KINDS)}.")
    for kind in chosen:
        if not isinstance(kind, str) or kind not in KINDS:
            raise SurveyError(f"there is no kind of exercise called {kind!r}", rule=f"There are {', '.join(KINDS)}.")
    exercises = []
    for place in range(1, learners + 1):
        kind = chosen[(place - 1) % len(chosen)]
        bookless = kind == "two pegs" and len(set(chosen)) > 1  # it has no book to plant a slip in; the others of the set have
        exercises.append(practice_book(1000 * seed + place, kind=kind, difficulty=difficulty, slip=None if bookless else slip))
    return tuple(exercises)


def save_class_set(folder: str | Path, *, seed: int, learners: int = 12, kinds: Sequence[str] | str = ("change points",),
                   difficulty: str = "usual", slip: str | None = None) -> Path:
    """Write exercises.pdf, answers.pdf and outdoor.pdf into a folder, which is made if it is not there.

    outdoor.pdf has a page for the tutor, a field book, and two exercises for those who wait: a book of a knocked instrument, and
    a two-peg test; their answers are with the others. Raises SurveyError as `class_exercises` does, for a folder of a job
    or in it, and where nothing can be written.
    """
    must_be(folder, (str, Path), "the folder of the class set")
    place = Path(folder)
    exercises = class_exercises(seed=seed, learners=learners, kinds=kinds, difficulty=difficulty, slip=slip)
    waiting = (practice_book(1000 * seed + WAITING, difficulty=difficulty, slip=KNOCKED),
               practice_book(1000 * seed + WAITING + 1, kind="two pegs", difficulty=difficulty))
    asked = "none" if slip is None else slip
    if any((above / "brief.toml").exists() for above in (place, *place.parents)):
        raise SurveyError(f"{place.name} is the folder of a job, or in one", remedy="Give the class set a folder of its own.")
    feet = {exercise: _foot(exercise, asked) for exercise in exercises} | {one: _foot(one, KNOCKED) for one in waiting}
    pages = {exercise: exercise_pages(exercise, foot) for exercise, foot in feet.items()}
    answers = [*_summary([*feet], seed), *(page for exercise, foot in feet.items() for page in answer_pages(exercise, foot))]
    content = [as_pdf(title, [page.finished() for page in printed]) for title, printed in (
        (f"Class set {seed}: exercises", [page for exercise in exercises for page in pages[exercise]]),
        (f"Class set {seed}: answers", answers),
        ("The outdoor exercise", [*outdoor_pages(), *(page for one in waiting for page in pages[one])]))]
    try:
        place.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise SurveyError(f"the folder {place.name} cannot be made: {error.strerror}",
                          remedy="Look for a file of that name, or a folder that is read-only.") from None
    return write_all(place, CLASS_FILES, content)


def _foot(exercise: Exercise, asked: str) -> str:
    """What a learner types to have the page marked."""
    asked = asked if exercise.book else "none"
    return (f"Invented. To have it marked, notebook 8-learn: number {exercise.seed}, {exercise.kind}, {exercise.difficulty}, "
            f"slip {asked}. If the first reading on the screen is not the first here, one of these differs.")


def _summary(exercises: Sequence[Exercise], seed: int) -> list[Paper]:
    """All answers at a glance."""
    pages: list[Paper] = []
    for exercise in exercises:
        slip = exercise.slip
        cells = {"number": str(exercise.seed), "kind": exercise.kind, "misclosure": misclosure(exercise),
                 "level": last_level(exercise),
                 "slip": f"row {slip.row}, {slip.point}: {slip.kind}" if slip else "none",
                 "shown": (slip.caught_by or "no check of this book") if slip else "none planted"}
        if not pages or pages[-1].room < 14:
            pages.append(Paper(f"Answers of class set {seed}", "for the tutor", "Invented. Keep this apart from the exercises."))
            pages[-1].down += 2.0
            pages[-1].heading(_SUMMARY)
        pages[-1].row(_SUMMARY, cells, least=5.2, bold=["number"])
    return pages
