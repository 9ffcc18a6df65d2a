"""The class set: what is written, that nothing on the pages overlaps or is cut off, and what is refused."""

import re
import time
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from messages import refused, went_well
from sheet_pages import flowing, in_order, pages, said, texts

from sitelevels import SurveyError, read_book
from sitelevels.__main__ import main
from sitelevels.teaching.exercise import Change, Exercise, Question, Slip
from sitelevels.teaching.practice import KINDS, practice_book
from sitelevels.workbook import job_names
from sitelevels.workbook.class_set import CLASS_FILES, class_exercises, save_class_set
from sitelevels.workbook.exercise_page import answer_pages, exercise_pages
from sitelevels.workbook.forms.class_set import ClassSetForm
from sitelevels.workbook.outdoor_page import CAUTIONS, outdoor_pages
from sitelevels.workbook.paper import BY_HAND, Paper

FOOT = ("Invented. To have it marked, notebook 8-learn: number 123456012, change points, usual, slip the instrument was knocked. "
        "If the first reading on the screen is not the first here, one of these differs.")


def drawn(every: list[Paper]) -> list[Figure]:
    """As on paper: coarse dots would make letters wider than they are printed."""
    made = [one.finished() for one in every]
    for page in made:
        page.set_dpi(288)
        FigureCanvasAgg(page).draw()
    return made


def files(folder: Path) -> dict[str, bytes]:
    return {place.name: place.read_bytes() for place in folder.iterdir()}


class TestFiles:
    def test_three_files_and_nothing_else_with_a_page_at_least_for_each_learner(self, tmp_path: Path) -> None:
        start = time.process_time()
        assert save_class_set(tmp_path / "new" / "set", seed=4) == tmp_path / "new" / "set"
        assert time.process_time() - start < 20
        made = files(tmp_path / "new" / "set")
        assert sorted(made) == sorted(CLASS_FILES)
        sizes = {name: pages(content) for name, content in made.items()}
        assert len(sizes["exercises.pdf"]) == 12  # a book of change points fits its page
        assert len(sizes["answers.pdf"]) >= 13  # the first is the summary
        assert len(sizes["outdoor.pdf"]) == 4  # for the tutor, a field book, and two exercises for those who wait
        for every in sizes.values():
            for width, height in every:  # A4 is 210 mm by 297 mm
                assert (width / 72 * 25.4, height / 72 * 25.4) == (pytest.approx(210, abs=0.2), pytest.approx(297, abs=0.2))
        assert b"Class set 4: exercises" in made["exercises.pdf"]

    def test_the_same_seed_writes_the_same_bytes_and_another_seed_others(self, tmp_path: Path) -> None:
        first, again, other = (files(save_class_set(tmp_path / str(place), seed=seed, learners=1, slip="any"))
                               for place, seed in enumerate((7, 7, 8)))
        assert first == again
        assert first["exercises.pdf"] != other["exercises.pdf"]
        assert first["answers.pdf"] != other["answers.pdf"]

    def test_each_learner_has_a_number_and_a_book_of_their_own(self) -> None:
        every = class_exercises(seed=7, learners=12)
        assert [one.seed for one in every] == list(range(7001, 7013))
        assert len({one.sheet().to_csv() for one in every}) == 12

    def test_kinds_come_in_turn(self) -> None:
        every = class_exercises(seed=1, learners=5, kinds=["one set-up", "two pegs"], slip="any")
        assert [one.slip is not None for one in every] == [True, False, True, False, True]
        assert [one.kind for one in every] == ["one set-up", "two pegs", "one set-up", "two pegs", "one set-up"]

    def test_perhaps_leaves_open_whether_there_is_a_slip(self) -> None:
        from sitelevels.workbook import class_set
        every = class_exercises(seed=7, learners=12, kinds=("change points", "two pegs"), slip="perhaps")
        books = every[::2]
        assert {one.slip is not None for one in books} == {True, False}
        assert all(", usual, slip perhaps. If the first reading on" in class_set._foot(one, "perhaps") for one in books)
        assert ", two pegs, usual, slip none. If the first reading on" in class_set._foot(every[1], "perhaps")
        assert len({one.given for one in books}) == 1
        assert {len(one.questions) for one in books} == {3}

    @pytest.mark.parametrize(("asked", "told"), [
        ({"seed": -1}, "from 0 to 999,999"), ({"seed": 10**6}, "from 0 to 999,999"), ({"seed": True}, "from 0 to 999,999"),
        ({"seed": 1.5}, "from 0 to 999,999"), ({"learners": 0}, "from 1 to 60"), ({"learners": 61}, "from 1 to 60"),
        ({"kinds": ()}, "no kind of exercise is chosen"), ({"kinds": ("yard",)}, "no kind of exercise called 'yard'"),
        ({"kinds": 5}, "must be a Sequence"), ({"difficulty": "very"}, "'very' is not known"),
        ({"slip": "a big one"}, "'a big one' is not known"), ({"kinds": ("two pegs",), "slip": "any"}, "cannot have the slip")])
    def test_refusals_write_nothing(self, tmp_path: Path, asked: dict[str, Any], told: str) -> None:
        with pytest.raises(SurveyError) as error:
            save_class_set(tmp_path / "set", **{"seed": 1} | asked)
        assert told.lower() in str(error.value).lower()
        assert not (tmp_path / "set").exists()

    def test_the_folder_of_a_job_and_a_file_are_refused(self, demo: Any, tmp_path: Path) -> None:
        before = demo.files()
        with pytest.raises(SurveyError, match="is the folder of a job"):
            save_class_set(demo.path, seed=1, learners=1)
        assert demo.files() == before
        (tmp_path / "file").write_text("mine")
        with pytest.raises(SurveyError, match="cannot be made"):
            save_class_set(tmp_path / "file", seed=1, learners=1)


class TestPages:
    @pytest.mark.parametrize("kind", KINDS)
    @pytest.mark.parametrize("difficulty", ["usual", "hard"])
    def test_nothing_overlaps_or_is_cut_off(self, kind: str, difficulty: str) -> None:
        exercise = practice_book(123456012, kind=kind, difficulty=difficulty, slip=None if kind == "two pegs" else "any")
        given, answered = exercise_pages(exercise, FOOT), answer_pages(exercise, FOOT)
        assert len(given) <= 2
        assert len(answered) <= 2
        for page in drawn([*given, *answered]):
            in_order(page)
            assert "123456012" in said(page)
            assert "…" not in said(page)

    def test_what_is_given_and_nothing_of_the_answers(self) -> None:
        book = read_book("point,bs,is,fs,rl\nBM,1.384,,,10.000\nS1,,1.500,,\nCP1,1.250,,1.613,\nBM,,,1.025,")
        exercise = Exercise(book, questions=(Question("closes", "Does it close?", "choice", lambda own: "no", "It does not.",
                                                      choices=("yes", "no")),
                                             Question("misclosure", "By how much?", "mm", lambda own: -0.004, "So much.")),
                            slip=Slip("a digit misread", "S1", (Change(2, "is", 1.800, 1.500),), ""))
        (page,) = drawn(exercise_pages(exercise, FOOT))
        words = said(page)
        for shown in ("1.384", "1.500", "1.250", "1.613", "1.025", "known: 10.000 m", "Name", "date", "ΣBS − ΣFS =", "sums",
                      "ring one: yes / no", "misclosure", "Workings"):
            assert shown in words
        headings = {text.get_text() for text in texts(page) if text.get_fontweight() == "bold"}
        assert {"row", "point", "BS", "IS", "FS", "rise", "fall", "HPC", "level", "remarks"} <= headings
        # HPC 11.384 m, S1 9.884 m, CP1 9.771 m, HPC 11.021 m, BM 9.996 m, worked by hand; nor is the slip told
        assert not re.search(r"11\.384|9\.884|9\.771|11\.021|9\.996|1\.800|-4 mm|−4 mm", words)
        words = flowing(drawn(answer_pages(exercise, FOOT))[0])
        for shown in ("11.384", "9.884", "9.771", "11.021", "9.996", "IS 1.800 m was read", "A slip was planted in row 2",
                      "closes: no", "misclosure: −4 mm", "Row 2, S1: level = 11.384 − 1.500 = 9.884 m.",
                      "ΣBS − ΣFS = last − first: −0.004 m and −0.004 m."):  # 1.384 + 1.250 - 1.613 - 1.025 = -0.004
            assert shown in words

    def test_rows_can_be_written_in(self) -> None:
        page = exercise_pages(practice_book(1), FOOT)[0].finished()
        levels = sorted(text.get_position()[1] for text in texts(page) if re.fullmatch(r"S\d+|CP\d+", text.get_text()))
        assert min(two - one for one, two in pairwise(levels)) >= BY_HAND - 0.01 >= 7.0  # mm

    def test_a_long_book_goes_on_under_the_same_headings(self) -> None:
        rows = "\n".join(f"S{number},,1.{number + 100},,,shed door" for number in range(60))
        book = read_book(f"point,bs,is,fs,rl,remarks\nBM,1.384,,,10.000,\n{rows}\nBM,,,1.384,,")
        for made in (exercise_pages(Exercise(book), FOOT), answer_pages(Exercise(book), FOOT)):
            every = drawn(made)
            assert len(every) > 1
            found = []
            for page in every:
                in_order(page)
                found += re.findall(r"^S\d+$", said(page), re.MULTILINE)
            assert found == [f"S{number}" for number in range(60)]

    def test_the_summary_has_every_exercise(self) -> None:
        from sitelevels.workbook import class_set
        every = class_exercises(seed=3, learners=60, kinds=("one set-up", "closing"), slip="1 m dropped")
        summary = drawn(class_set._summary(every, 3))
        for page in summary:
            in_order(page)
        words = " ".join(flowing(page) for page in summary)
        assert [int(one) for one in re.findall(r"\b3\d{3}\b", words)] == [one.seed for one in every]
        assert words.count("1 m dropped") == 60
        assert "none planted" in flowing(drawn(class_set._summary(class_exercises(seed=3, learners=1), 3))[0])

    def test_a_slip_is_told_with_true_minuses(self) -> None:
        slip = Slip("a digit misread", "C1", (Change(2, "is", -1.216, -1.246),), "")
        assert "−1.246 m is booked where −1.216 m was read." in slip.words


class TestOutdoors:
    def test_one_page_and_a_field_book(self) -> None:
        page, book = drawn(outdoor_pages())
        for one in (page, book):
            in_order(one)
        assert outdoor_pages()[0].room > 0
        words = flowing(page)
        for caution in CAUTIONS:
            assert caution in words
        for told in ("the field book (page 2) twice for each group",
                     "the two exercises behind it, for those who wait, once for each",
                     "never look into the beam", "a staff conducts", "risk assessment decide", "invented",
                     "8.7 mm"):  # 5 mm x root 3
            assert told in words

    def test_each_group_does_each_thing_once_and_one_group_reads_at_a_time(self) -> None:
        from sitelevels.workbook.outdoor_page import _ROUNDS
        jobs = {"reads", "checks", "knock", "two pegs"}
        assert all(set(group[1:]) == jobs for group in _ROUNDS)
        assert all({group[number] for group in _ROUNDS} == jobs for number in range(1, 5))


class TestForm:
    def test_writes_beside_the_jobs_and_says_where(self, desk: Path) -> None:
        form = ClassSetForm()
        form.learners.value = 2
        form.kinds.value = ("one set-up", "a fall")
        form.slip.value = "perhaps"
        form.write()
        assert "data/class-set" in went_well(form)
        (place,) = (desk / "class-set").iterdir()
        assert sorted(one.name for one in place.iterdir()) == sorted(CLASS_FILES)
        assert job_names() == ["pottery-yard"]
        assert f"../data/class-set/{place.name}/exercises.pdf" in form.message.value

    def test_says_that_it_writes_before_it_has(self, desk: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        form, seen = ClassSetForm(), []

        def save(folder: Path, **_: Any) -> Path:
            seen.append(went_well(form))
            return folder
        monkeypatch.setattr("sitelevels.workbook.forms.class_set.save_class_set", save)
        form.write()
        assert seen == ["Writing the class set; this may take a minute …"]
        assert "Written into" in went_well(form)

    @pytest.mark.parametrize(("field", "typed"), [("seed", "-1"), ("seed", "one"), ("learners", "2.5"), ("learners", "61")])
    def test_refuses_in_sentences(self, desk: Path, field: str, typed: str) -> None:
        form = ClassSetForm()
        getattr(form, field).set_state({"value": typed})
        form.write()
        assert "It must be a whole number" in refused(form)
        assert not (desk / "class-set").exists()

    def test_no_kind_chosen(self, desk: Path) -> None:
        form = ClassSetForm()
        form.kinds.value = ()
        form.write()
        assert "No kind of exercise is chosen." in refused(form)


class TestCommand:
    def test_writes_and_says_so(self, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
        asked = ["--seed", "5", "--learners", "1", "--kind", "a fall", "--difficulty", "easy", "--slip", "perhaps"]
        assert main(["--class-set", str(tmp_path / "set"), *asked]) == 0
        told = capsys.readouterr()
        assert told.out.splitlines()[0] == f"Written: exercises.pdf, answers.pdf, outdoor.pdf in {tmp_path / 'set'}."
        assert told.err == ""
        same = save_class_set(tmp_path / "same", seed=5, learners=1, kinds=("a fall",), difficulty="easy", slip="perhaps")
        assert files(tmp_path / "set") == files(same)

    @pytest.mark.parametrize("asked", [["--kind", "yard"], ["--learners", "0"], ["--slip", "any", "--kind", "two pegs"]])
    def test_a_refusal_is_a_sentence_and_1(self, tmp_path: Path, asked: list[str], capsys: pytest.CaptureFixture[str]) -> None:
        assert main(["--class-set", str(tmp_path / "set"), *asked]) == 1
        told = capsys.readouterr()
        assert told.out == ""
        assert told.err.rstrip().endswith(".")

    @pytest.mark.parametrize(("asked", "told"), [
        ([], "give either a job_folder, or --class-set"),
        (["yard", "--class-set", "set"], "give either a job_folder, or --class-set"),
        (["yard", "--kind", "a fall"], "--kind goes with --class-set only"),
        (["--class-set", "set", "--seed", "x"], "'x' is not a whole number"),
        (["--class-set", ""], "give either a job_folder, or --class-set")])
    def test_exactly_one_of_both(self, asked: list[str], told: str, capsys: pytest.CaptureFixture[str]) -> None:
        with pytest.raises(SystemExit) as left:
            main(asked)
        assert left.value.code == 2
        assert told in capsys.readouterr().err
