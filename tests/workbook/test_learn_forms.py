"""The forms of notebook 8-learn: every exercise answered through them, by sums that the test does itself."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import nbformat
import pandas as pd
import pytest
from messages import refused, went_well

from sitelevels.teaching.lessons import LESSONS, lesson
from sitelevels.teaching.practice import DIFFICULTIES, KINDS
from sitelevels.workbook import forms
from sitelevels.workbook.answers import page_text
from sitelevels.workbook.exercise_page import book_columns

NOTEBOOK = Path(__file__).parents[2] / "notebooks" / "8-learn.ipynb"


@pytest.fixture
def learner(desk: Path) -> Any:
    return forms.LearnerForm()


@pytest.fixture
def changing(learner: Any) -> Any:
    return forms.ExerciseForm(learner, "change points")


def column(form: Any, name: str) -> int:
    return next(place for place, heading in enumerate(form.grid.headings) if heading.split(",")[0].casefold() == name)


def kept(desk: Path) -> list[str]:
    folder = desk / "learning"
    return sorted(path.name for path in folder.glob("*.csv"))


# A page worked by hand: readings and what is given come from the texts that a learner sees


def worked_book(sheet: pd.DataFrame) -> Iterator[dict[str, Any]]:
    """Each row of the book with rise or fall, hpc, level and the number of its set-up, in whole mm."""
    levels: dict[str, int] = {}
    hpc, before, setup = 0, 0, 0
    for line in sheet[sheet["row"] != ""].to_dict("records"):
        bs, mid, fs, known = (None if line[name] == "" else int(line[name].replace(".", "")) for name in ("bs", "is", "fs", "rl"))
        done: dict[str, Any] = {"point": line["point"], "known": known}
        front = mid if mid is not None else fs
        if front is not None:
            done["level"] = hpc - front
            done["rise" if before >= front else "fall"] = abs(before - front)
            before = front
        if bs is not None:
            start = levels.get(line["point"], known) if front is None else done["level"]
            done["level"] = start
            done["hpc"], before = start + bs, bs
            hpc = done["hpc"]
        done["setup"] = setup  # that found its level
        setup += bs is not None
        levels[line["point"]] = done["level"]
        yield done


def mm(number: float) -> str:
    return f"{number / 1000:.3f}"


def found(pattern: str, told: str) -> list[float]:
    return [float(number) for number in re.findall(pattern, told)]


def answers(kind: str, rows: list[dict[str, Any]], told: str) -> dict[str, str]:
    """The answers to the questions, from the levels in mm and what is told."""
    if kind == "two pegs":
        return pegs(told)
    last, setups = rows[-1], max(row["setup"] for row in rows)
    known = last["known"] or next(row["known"] for row in rows if row["point"] == last["point"])
    missed = last["level"] - known
    said = {"misclosure": str(missed), "closes": "yes" if abs(missed) <= 5 * math.sqrt(setups) else "no"}
    level = {row["point"]: row["level"] for row in rows[:-1]}
    hpc = rows[0]["hpc"]
    if kind == "a fall":
        runs = {(one, two): float(run) for one, two, run in re.findall(r"(D\d) to (D\d) is ([\d.]+) m", told)}
        ends = min(one for one, _ in runs), max(two for _, two in runs)
        parts = {ends: sum(runs.values())} | (runs if len(runs) > 1 else {})
        for (one, two), run in parts.items():
            said |= fall_of(one, two, level, run)
        asked = 1 / found(r"The least fall is 1:(\d+)", told)[0]
        judged = [(level[one] - level[two]) / 1000 / run >= asked - 1e-9 for (one, two), run in parts.items()]
        whole = (level[ends[0]] - level[ends[1]]) / 1000 / sum(runs.values()) >= asked - 1e-9
        said["least fall"] = "met" if (all(judged) if "each part" in told else whole) else "not met"
    if kind in ("a dig", "a yard"):
        below, ratio = found(r"lie (\d+) mm below", told)[0], found(r"falls 1:(\d+)", told)[0]
        layers = sum(found(r"(?:slab|bed|sub-base) (\d+) mm", told))
        out = found(r"([\d.]+) m (?:out from it|from wall to far edge)", told)[0]
        governing = min((name for name in level if name.startswith("DPC")), key=level.__getitem__)
        near = level[governing] - below
        far = near - 1000 * out / ratio
        spots = {"G1": near, "G2": far} if kind == "a dig" else {"A": near, "C": far}
        wall, edge = ("finished level at G1", "finished level at G2") if kind == "a dig" else (
            "finished level at the wall", "finished level at the far edge")
        said |= {wall: mm(near), edge: mm(far), "governing DPC": governing}
        for name, finished in spots.items():
            said |= {f"formation at {name}": mm(finished - layers), f"staff at {name}": mm(hpc - finished + layers),
                     f"dig at {name}": f"{level[name] - finished + layers:.0f}"}
        if kind == "a yard":
            said |= fall_of("A", "D", level, out)
            said["ground clears DPC"] = "met" if level[governing] - max(level["A"], level["B"]) >= below else "not met"
            said["step up to T"] = f"{level['T'] - near:.0f}"
    return said


def fall_of(one: str, two: str, level: dict[str, int], run: float) -> dict[str, str]:
    drop = level[one] - level[two]
    fall = f"1:{1000 * run / abs(drop):.1f}{' uphill' if drop < 0 else ''}" if drop else "level"
    return {f"drop {one} to {two}": str(drop), f"fall {one} to {two}": fall}


def pegs(told: str) -> dict[str, str]:
    a1, b1, a2, b2 = (1000 * number for number in found(r"([\d.]+) m on peg [AB]", told))
    apart, far = found(r"stand ([\d.]+) m apart", told)[0], found(r"([\d.]+) m from peg A", told)[0]
    true = a1 - b1
    wrong = ((a2 - b2) - true) * far / apart
    in_fifty = wrong * 50 / far
    return {"by set-up 1": mm(true), "by set-up 2": mm(a2 - b2), "true difference": mm(true),
            "error of the far reading": f"{wrong:.0f}", "collimation in 50 m": f"{in_fifty:.1f}",
            "verdict": "passes" if abs(in_fifty) <= 3 + 1e-9 else "does not pass"}


def fill_in(form: Any, kind: str) -> None:
    """Type the whole page."""
    sheet, told = form.blank, re.sub(r"<[^>]*>", " ", form.told.value) + " ".join(one.ask for one in form.exercise.questions)
    rows = list(worked_book(sheet))
    said = answers(kind, rows, told)
    setups = max((row["setup"] for row in rows), default=0)
    for number, row in enumerate(rows):
        cells = {name: mm(row[name]) for name in ("rise", "fall", "hpc", "level") if name in row}
        if any(heading.startswith("adjusted") for heading in form.grid.headings):
            share = int(said["misclosure"]) / setups * (row["setup"] if number else 0)
            cells["adjusted"] = mm(row["level"] - (share if said["closes"] == "yes" else 0))
        for name, text in cells.items():
            form.grid.typed(number, column(form, name), text)
    for name, field in form.fields.items():
        field.value = said[name]


@pytest.mark.parametrize("difficulty", DIFFICULTIES)
@pytest.mark.parametrize("kind", KINDS)
def test_an_exercise_answered_by_hand_is_all_right(learner: Any, kind: str, difficulty: str) -> None:
    form = forms.ExerciseForm(learner, kind)
    learner.difficulty.value = difficulty
    for number in ("1", "7003"):
        learner.number.value = number
        fill_in(form, kind)
        form.mark()
        assert form.message.value == ""
        assert form.grid.marks == []
        score = re.search(r"(\d+) of (\d+) right", form.marked.value)
        assert score, form.marked.value
        assert score[1] == score[2], form.marked.value
        assert all("Right." in beside.value for beside in form.beside.values())


def test_the_notebook_has_every_lesson_and_every_kind_of_exercise() -> None:
    source = "\n".join(cell.source for cell in nbformat.read(NOTEBOOK, as_version=4).cells if cell.cell_type == "code")
    assert re.findall(r'PredictForm\(learner, "(.+)"\)', source) == list(LESSONS)
    assert sorted(re.findall(r'ExerciseForm\(learner, "(.+)"\)', source)) == sorted(KINDS)


class TestMarks:
    def test_a_slip_stands_at_its_cell_with_its_reason(self, changing: Any) -> None:
        fill_in(changing, "change points")
        row = list(worked_book(changing.blank))[1]
        wrong = 2 * int(changing.blank["is"].iloc[1].replace(".", "")) + row["level"]  # the reading added to the HPC
        changing.grid.typed(1, column(changing, "level"), mm(wrong))
        changing.mark()
        (mark,) = [mark for mark in changing.grid.marks if not mark["doubt"]]
        assert (mark["row"], mark["column"]) == (1, column(changing, "level"))
        assert "you added the intermediate sight" in mark["said"]
        assert "you added the intermediate sight" in changing.marked.value

    def test_a_cell_that_is_mended_loses_its_mark_and_the_rest_is_said_to_be_older(self, changing: Any) -> None:
        fill_in(changing, "change points")
        level = column(changing, "level")
        changing.grid.typed(1, level, "99")
        changing.grid.typed(4, level, "77")
        changing.mark()
        assert {mark["row"] for mark in changing.grid.marks} == {1, 4}
        changing.grid.typed(1, level, "10")
        assert {mark["row"] for mark in changing.grid.marks} == {4}
        assert "press Mark again" in changing.marked.value

    def test_right_cells_are_ticked_in_words_until_their_row_is_changed(self, changing: Any) -> None:
        fill_in(changing, "change points")
        assert changing.grid.worked_headings == []
        changing.grid.typed(1, column(changing, "level"), "99")
        changing.mark()
        assert changing.grid.worked_headings == ["right"]
        assert changing.grid.worked[1] in (["✓ fall"], ["✓ rise"])
        assert changing.grid.worked[2] == ["✓ all"]
        changing.grid.typed(2, column(changing, "level"), "98")
        assert changing.grid.worked[2] == [""]
        changing.start_again()
        assert changing.grid.worked_headings == changing.grid.worked == []

    def test_what_is_no_number_is_told_at_its_cell(self, changing: Any) -> None:
        changing.grid.typed(1, column(changing, "level"), "l0.113")
        changing.mark()
        (mark,) = changing.grid.marks
        assert (mark["row"], mark["doubt"]) == (1, False)
        assert "l0.113" in mark["said"]

    def test_an_empty_page_is_called_empty_and_nothing_is_given_away(self, changing: Any) -> None:
        changing.mark()
        assert "left empty" in changing.marked.value.lower()
        assert "No slip" not in changing.marked.value
        for row in list(worked_book(changing.blank))[1:-1]:
            assert mm(row["level"]) not in changing.marked.value + changing.told.value + changing.answers.value

    def test_an_answer_is_marked_beside_its_field(self, changing: Any) -> None:
        changing.fields["misclosure"].value = "500"
        changing.fields["closes"].value = "yes"
        changing.mark()
        assert "Right." not in changing.beside["misclosure"].value
        assert changing.beside["misclosure"].value != ""
        changing.fields["misclosure"].value = "501"
        assert changing.beside["misclosure"].value == ""


class TestKept:
    def test_it_comes_back_when_the_form_is_opened_again(self, changing: Any, learner: Any, desk: Path) -> None:
        changing.grid.typed(1, column(changing, "level"), "1O.1, about")
        changing.fields["misclosure"].value = "−3 mm?"
        changing.fields["closes"].value = "no"
        assert kept(desk) == ["1-change-points-usual.csv"]
        again = forms.ExerciseForm(learner, "change points")
        assert again.grid.cells[1][column(again, "level")] == "1O.1, about"
        assert (again.fields["misclosure"].value, again.fields["closes"].value) == ("−3 mm?", "no")
        assert again.message.value == ""

    def test_nothing_is_written_before_something_is_typed(self, changing: Any, learner: Any, desk: Path) -> None:
        learner.number.value = "2"
        changing.mark()
        changing.show_answers()
        assert kept(desk) == []

    def test_each_number_difficulty_and_slip_keeps_its_own(self, changing: Any, learner: Any, desk: Path) -> None:
        changing.grid.typed(1, column(changing, "level"), "1.111")
        learner.number.value = "2"
        assert changing.grid.cells[1][column(changing, "level")] == ""
        changing.grid.typed(1, column(changing, "level"), "2.222")
        learner.difficulty.value = "hard"
        changing.grid.typed(1, column(changing, "level"), "3.333")
        learner.slips.value = "any"
        changing.grid.typed(1, column(changing, "level"), "4.444")
        assert kept(desk) == ["1-change-points-usual.csv", "2-change-points-hard-slip-any.csv", "2-change-points-hard.csv",
                              "2-change-points-usual.csv"]
        for number, difficulty, slip, typed in (("1", "usual", "none", "1.111"), ("2", "usual", "none", "2.222"),
                                                ("2", "hard", "none", "3.333"), ("2", "hard", "any", "4.444")):
            learner.number.value, learner.difficulty.value, learner.slips.value = number, difficulty, slip
            assert changing.grid.cells[1][column(changing, "level")] == typed

    def test_two_forms_of_one_exercise_do_not_wipe_each_other(self, changing: Any, learner: Any, desk: Path) -> None:
        other = forms.ExerciseForm(learner, "change points")
        changing.grid.typed(1, column(changing, "level"), "1.111")
        other.grid.typed(2, column(changing, "level"), "2.222")
        texts = [path.read_text(encoding="utf-8") for path in (desk / "learning").iterdir()]
        assert any("1.111" in text for text in texts)
        assert any("2.222" in text for text in texts)

    def test_a_file_that_holds_something_else_is_told_and_put_aside(self, changing: Any, learner: Any, desk: Path) -> None:
        changing.grid.typed(1, column(changing, "level"), "1.111")
        (desk / "learning" / "1-change-points-usual.csv").write_text("my,shopping\nmilk,2\n", encoding="utf-8")
        again = forms.ExerciseForm(learner, "change points")
        assert "no column to fill in" in refused(again)
        again.grid.typed(1, column(changing, "level"), "1.222")
        assert "milk" in (desk / "learning" / "1-change-points-usual-before.csv").read_text(encoding="utf-8")

    def test_where_nothing_can_be_written_it_is_said_and_what_was_typed_still_stands(self, changing: Any, desk: Path) -> None:
        (desk / "learning").write_text("a file in the way", encoding="utf-8")
        changing.grid.typed(1, column(changing, "level"), "1.111")
        assert "cannot be made" in refused(changing)
        assert changing.grid.cells[1][column(changing, "level")] == "1.111"

    def test_start_again_leaves_the_page_where_nothing_can_be_written(self, changing: Any, desk: Path) -> None:
        (desk / "learning").write_text("a file in the way", encoding="utf-8")
        changing.grid.typed(1, column(changing, "level"), "1.111")
        changing.start_again()
        assert "cannot be made" in refused(changing)
        assert changing.grid.cells[1][column(changing, "level")] == "1.111"
        changing.pasted.value = page_text(changing.blank)
        changing.take_in()
        assert "cannot be made" in refused(changing)
        assert changing.grid.cells[1][column(changing, "level")] == "1.111"

    def test_a_change_from_elsewhere_is_told(self, changing: Any, learner: Any, desk: Path) -> None:
        changing.grid.typed(1, column(changing, "level"), "1.111")
        again = forms.ExerciseForm(learner, "change points")
        again.grid.typed(2, column(again, "level"), "2.222")
        assert again.message.value == ""
        changing.grid.typed(3, column(changing, "level"), "3.333")
        assert "was changed elsewhere too" in changing.message.value
        assert "2.222" in (desk / "learning" / "1-change-points-usual-before.csv").read_text(encoding="utf-8")

    @pytest.mark.parametrize("content", ["9\u00e9".encode("latin-1"), b"x" * 2_000_001])
    def test_a_spoilt_file_is_told_and_put_aside(self, changing: Any, learner: Any, desk: Path, content: bytes) -> None:
        (desk / "learning").mkdir()
        (desk / "learning" / "1-change-points-usual.csv").write_bytes(content)
        again = forms.ExerciseForm(learner, "change points")
        assert "1-change-points-usual.csv" in refused(again)
        again.grid.typed(1, column(again, "level"), "1.111")
        assert (desk / "learning" / "1-change-points-usual-before.csv").read_bytes() == content

    def test_a_blank_page_that_was_filled_in_is_not_written_over(self, changing: Any, desk: Path) -> None:
        changing.save_blank()
        saved = desk / "learning" / "1-change-points-usual-blank.csv"
        saved.write_text("mine", encoding="utf-8")
        changing.save_blank()
        assert saved.read_text(encoding="utf-8") == "mine"
        assert (desk / "learning" / "1-change-points-usual-blank1.csv").is_file()

    def test_what_stands_beside_the_page_in_its_file_is_put_aside(self, changing: Any, learner: Any, desk: Path) -> None:
        changing.grid.typed(1, column(changing, "level"), "1.111")
        kept_file = desk / "learning" / "1-change-points-usual.csv"
        first, *rest = kept_file.read_text(encoding="utf-8").splitlines()
        kept_file.write_text("\n".join([f"{first},my sums", *(f"{line},7" for line in rest)]) + "\n", encoding="utf-8")
        again = forms.ExerciseForm(learner, "change points")
        assert again.grid.cells[1][column(again, "level")] == "1.111"
        again.grid.typed(2, column(again, "level"), "2.222")
        assert "my sums" in (desk / "learning" / "1-change-points-usual-before.csv").read_text(encoding="utf-8")

    def test_a_row_twice_keeps_what_is_filled_in(self, changing: Any) -> None:
        changing.pasted.value = "row,level\n2,9.111\n2,\n"
        changing.take_in()
        assert changing.grid.cells[1][column(changing, "level")] == "9.111"
        changing.pasted.value = "row,level,level\n2,9.111,8\n"
        changing.take_in()
        assert "twice" in refused(changing)

    def test_a_column_that_is_not_of_the_page_is_told(self, changing: Any) -> None:
        changing.pasted.value = "row,level (m),rize\n2,9.111,0.1\n"
        changing.take_in()
        assert changing.grid.cells[1][column(changing, "level")] == "9.111"
        assert "Not columns of the page, and not used: rize." in went_well(changing)

    def test_start_again_puts_aside_what_was_typed(self, changing: Any, desk: Path) -> None:
        changing.start_again()
        assert went_well(changing) == "The page is blank."
        for typed in ("1.111", "1.222"):
            changing.grid.typed(1, column(changing, "level"), typed)
            changing.start_again()
            assert changing.grid.cells[1][column(changing, "level")] == ""
        assert "put aside as 1-change-points-usual-before1.csv" in went_well(changing)
        for number, typed in (("", "1.111"), ("1", "1.222")):
            aside = desk / "learning" / f"1-change-points-usual-before{number}.csv"
            assert typed in aside.read_text(encoding="utf-8")

    def test_what_a_spreadsheet_would_run_is_made_safe_and_shown_as_typed(self, changing: Any, learner: Any, desk: Path) -> None:
        changing.fields["misclosure"].value = "=1+1"
        assert ",'=1+1" in (desk / "learning" / "1-change-points-usual.csv").read_text(encoding="utf-8")
        assert forms.ExerciseForm(learner, "change points").fields["misclosure"].value == "=1+1"


class TestGiven:
    def test_columns_stand_as_on_paper(self, changing: Any) -> None:
        assert changing.grid.headings == [
            "point", "BS, m", "IS, m", "FS, m", "rise, m", "fall, m", "HPC, m", "level, m", "remarks"]
        assert [heading.split("\n")[0] for heading in (one.heading for one in book_columns())] == [
            "row", *(heading.split(",")[0] for heading in changing.grid.headings)]
        known = changing.blank["rl"].iloc[0]
        assert changing.grid.cells[0][-1].endswith(f"; known: {known} m")
        assert list(changing.blank)[5:] == ["rise", "fall", "hpc", "level", "rl", "remarks", "answer"]

    def test_the_readings_cannot_be_overwritten(self, changing: Any, desk: Path) -> None:
        before = [list(cells) for cells in changing.grid.cells]
        for name in ("point", "bs", "is", "fs", "remarks"):
            assert column(changing, name) in changing.grid.locked
            changing.grid.typed(1, column(changing, name), "9.999")
            assert "cannot be overwritten" in refused(changing)
        assert changing.grid.cells == before
        assert "9.999" not in changing.page.to_csv()

    def test_a_pasted_block_fills_what_can_be_filled(self, changing: Any) -> None:
        rows = len(changing.grid.cells)
        changing.grid.typed(0, column(changing, "rise"), "a\tb\tc\td\te\n" * (rows + 3), paste=True)
        assert "cannot be overwritten" in refused(changing)
        first = column(changing, "rise")
        assert all(cells[first:first + 4] == ["a", "b", "c", "d"] for cells in changing.grid.cells)
        assert len(changing.grid.cells) == rows

    @pytest.mark.parametrize("content", [
        {}, {"row": -1, "column": 8, "value": "x"}, {"row": 99, "column": 8, "value": "x"},
        {"row": 0, "column": 99, "value": "x"},
        {"row": 0, "column": 8, "value": None}, {"row": "0", "column": 8, "value": "x"},
        {"row": 0, "column": 8, "value": "x" * 10**6}])
    def test_a_cell_that_is_not_there_is_refused(self, changing: Any, content: dict[str, Any]) -> None:
        changing.grid._handle_custom_msg({"count": 3, **content}, [])
        long = len(str(content.get("value"))) > 100
        assert ("too long for the grid" if long else "does not have") in refused(changing)
        assert changing.grid.received == 3

    def test_the_grid_of_a_book_has_nothing_locked(self, hand: Any) -> None:
        assert forms.BookForm(hand.open()).grid.locked == []


class TestAnswers:
    def test_they_are_hidden_until_asked_for(self, changing: Any) -> None:
        level = mm(list(worked_book(changing.blank))[1]["level"])
        assert level not in changing.answers.value
        changing.show_answers()
        assert level in changing.answers.value
        assert changing.show.description == "Hide the answers"
        assert "HPC = " in changing.answers.value
        changing.show_answers()
        assert changing.answers.value == ""

    def test_they_are_hidden_again_for_another_number(self, changing: Any, learner: Any) -> None:
        changing.show_answers()
        learner.number.value = "2"
        assert changing.answers.value == ""

    @pytest.mark.parametrize("kind", KINDS)
    def test_every_exercise_has_them(self, learner: Any, kind: str) -> None:
        form = forms.ExerciseForm(learner, kind)
        form.show_answers()
        assert form.message.value == ""
        assert form.answers.value.count("<li>") >= 5


class TestElsewhere:
    def filled(self, changing: Any, desk: Path, change: Callable[[str], str] = str) -> str:
        """The blank page, filled in with levels as a spreadsheet would save it."""
        changing.save_blank()
        assert "1-change-points-usual-blank.csv" in went_well(changing)
        lines = (desk / "learning" / "1-change-points-usual-blank.csv").read_text(encoding="utf-8").splitlines()
        heads = lines[0].split(",")
        pages = [lines[0]]
        for line, row in zip(lines[1:], [*worked_book(changing.blank), None, None], strict=True):
            cells = line.split(",")
            if row:
                cells[heads.index("level")] = mm(row["level"])
                cells[heads.index("hpc")] = mm(row["hpc"]) if "hpc" in row else ""
            else:
                cells[-1] = "yes" if cells[1] == "closes" else ""
            pages.append(",".join(cells))
        return change("\n".join(pages))

    @pytest.mark.parametrize("change", [
        str, lambda text: text.replace(",", ";").replace(".", ","), lambda text: text.replace(",", "\t"),
        lambda text: re.sub(r"(\.\d*?)0+(?=[,\n]|$)", r"\1", text), lambda text: "\ufeff" + text.replace("\n", "\r\n")])
    def test_a_page_filled_in_elsewhere_is_taken_and_marked(self, changing: Any, desk: Path, change: Any) -> None:
        changing.pasted.value = self.filled(changing, desk, change)
        changing.take_in()
        went_well(changing)
        changing.mark()
        assert changing.grid.marks == []
        assert "Right." in changing.beside["closes"].value

    def test_what_stood_there_is_put_aside(self, changing: Any, desk: Path) -> None:
        changing.pasted.value = self.filled(changing, desk)
        changing.grid.typed(1, column(changing, "level"), "1.111")
        changing.take_in()
        assert "put aside as 1-change-points-usual-before.csv" in went_well(changing)
        assert "1.111" in (desk / "learning" / "1-change-points-usual-before.csv").read_text(encoding="utf-8")

    def test_the_page_of_another_number_is_refused_whole(self, changing: Any, learner: Any, desk: Path) -> None:
        page = self.filled(changing, desk)
        learner.number.value = "2"
        changing.grid.typed(1, column(changing, "level"), "1.111")
        changing.pasted.value = page
        changing.take_in()
        assert refused(changing).count("is that of another exercise") == 1
        assert changing.grid.cells[1][column(changing, "level")] == "1.111"

    @pytest.mark.parametrize(("text", "told"), [("", "page is empty"), ("hello", "no column to fill in"),
                                                ("row,point\n1,BM", "no column to fill in"),
                                                ('row,point,level\n1,BM,"open', "quotation mark"),
                                                ("row,point,level\n77,ZZ,9.9", "neither a row of the book nor")])
    def test_what_is_no_page_is_refused(self, changing: Any, text: str, told: str) -> None:
        changing.pasted.value = text
        changing.take_in()
        assert told in refused(changing)


class TestLearner:
    def test_the_choice_of_last_time_comes_back(self, learner: Any, desk: Path) -> None:
        learner.number.value, learner.difficulty.value, learner.slips.value = "1003", "hard", "any"
        again = forms.LearnerForm()
        assert again.choice == (1003, "hard", "any")
        assert (again.number.value, again.difficulty.value, again.slips.value) == ("1003", "hard", "any")

    @pytest.mark.parametrize("content", [b"", b"\xff\xfe", b"1\nusual", b"1\nusual\nevery", b"9999999999\nusual\nany",
                                         b"-1\nhard\nany"])
    def test_a_spoilt_choice_is_passed_over(self, desk: Path, content: bytes) -> None:
        (desk / "learning").mkdir()
        (desk / "learning" / "last-chosen.txt").write_bytes(content)
        assert forms.LearnerForm().choice == (1, "usual", "none")

    @pytest.mark.parametrize("number", ["", "abc", "-1", "1.5", "1000000001", "9" * 30, "٣", "1e3"])
    def test_what_is_no_number_of_a_learner_is_refused(self, learner: Any, changing: Any, number: str) -> None:
        before = changing.told.value
        learner.number.value = number
        assert "whole number from 0 to 1,000,000,000" in refused(learner)
        assert "still those of number 1" in refused(learner)
        assert changing.told.value == before

    def test_a_book_names_its_slip_none_too_so_that_it_can_be_compared_with_a_page(self, learner: Any, changing: Any) -> None:
        assert "Practice 1: change points, usual, slip none (an invented yard)" in changing.told.value
        assert "If the first row here is not the first row on paper, one of the fields differs." in learner.children[1].value

    @pytest.mark.parametrize("number", ["0", "1000000000", " 7 "])
    def test_the_ends_can_be_used(self, learner: Any, changing: Any, number: str) -> None:
        learner.number.value = number
        assert learner.message.value == ""
        assert f"Practice {number.strip()}: change points" in changing.told.value

    def test_a_number_mended_after_a_refusal_is_followed(self, learner: Any, changing: Any) -> None:
        learner.number.value = "x"
        learner.number.value = "12"
        assert learner.message.value == ""
        assert "Practice 12:" in changing.told.value

    def test_perhaps_leaves_open_whether_there_is_a_slip(self, learner: Any, changing: Any) -> None:
        learner.slips.value = "perhaps"
        planted = set()
        for number in range(12):
            learner.number.value = str(number)
            assert "One reading may be booked wrongly" in changing.told.value
            assert list(changing.fields) == ["misclosure", "closes", "row of the slip"]
            slip = changing.exercise.slip
            planted.add(slip is not None)
            changing.fields["row of the slip"].value = "none" if slip is None or not slip.caught_by else str(slip.row)
            changing.mark()
            assert "Right." in changing.beside["row of the slip"].value
        assert planted == {True, False}

    def test_a_slip_that_a_kind_cannot_have_is_said_to_be_missing(self, learner: Any) -> None:
        form = forms.ExerciseForm(learner, "one set-up")
        learner.slips.value = "the sign lost"
        assert "There is no slip in it" in form.told.value
        for slip in ("any", "perhaps"):
            learner.slips.value = slip
            assert "There is no slip in it" not in form.told.value
            assert "There is no slip in it" in forms.ExerciseForm(learner, "two pegs").told.value


class TestPrediction:
    @pytest.mark.parametrize("key", LESSONS)
    def test_nothing_is_given_away_before_it_is_run(self, learner: Any, key: str) -> None:
        form = forms.PredictForm(learner, key)
        assert form.shown.value == ""
        for _ in range(2):
            form.run()
            assert "nothing is predicted yet" in refused(form).lower()
            assert form.shown.value == ""

    @pytest.mark.parametrize("text", ["22.479", "22,479", "22.479 m", "22479 mm", "22479mm", " 22.4794 "])
    def test_a_right_prediction(self, learner: Any, text: str) -> None:
        """Learner 1: benchmark 22.906 m + 1.859 m − 2.286 m."""
        form = forms.PredictForm(learner, "HPC")
        assert all(number in form.asked.value for number in ("22.906 m", "1.859 m", "2.286 m"))
        form.field.value = text
        form.run()
        assert "You had it." in form.shown.value
        assert form.shown.value.count("22.479 m") >= 2  # predicted beside what comes out

    def test_a_wrong_prediction_is_set_beside_what_comes_out(self, learner: Any) -> None:
        form = forms.PredictForm(learner, "HPC")
        form.field.value = "27.051"  # the reading added
        form.run()
        assert "You said 4.572 m too much. You added the reading: down from the line of sight" in form.shown.value
        assert "27.051 m" in form.shown.value
        assert "22.479 m" in form.shown.value
        assert "Down from the line to a point: take off." in form.shown.value

    @pytest.mark.parametrize("text", ["1:50", "1 in 50", "20 mm/m", "2 %", "1.146°", "120 mm over 6 m", "60mm in 3m", "2,0 %"])
    def test_a_fall_may_be_said_in_every_way(self, learner: Any, text: str) -> None:
        """Learner 124: 120 mm over 6.0 m."""
        learner.number.value = "124"
        form = forms.PredictForm(learner, "falls")
        assert "120 mm over 6.0 m" in form.asked.value
        form.field.value = text
        form.run()
        assert "You had it." in form.shown.value, form.message.value

    @pytest.mark.parametrize("text", ["50", "2,0", "-50"])
    def test_a_bare_number_is_no_fall(self, learner: Any, text: str) -> None:
        form = forms.PredictForm(learner, "falls")
        form.field.value = text
        form.run()
        assert f"It could be 1:{text}, {text} mm/m or {text} %." in refused(form)

    def test_half_a_millimetre_is_told_as_it_was_predicted(self, learner: Any) -> None:
        form = forms.PredictForm(learner, next(key for key in LESSONS if lesson(key, 1).unit == "mm"))
        form.field.value = "0.5"
        form.run()
        assert "You predicted</td><td><b>0.5 mm</b>" in form.shown.value

    def test_the_sign_of_a_difference_of_level_is_told(self, learner: Any) -> None:
        form = forms.PredictForm(learner, "a reading")
        step, gully = found(r"([\d.]+) m", form.asked.value)
        form.field.value = f"{1000 * (step - gully):.0f}"
        form.run()
        assert "You had it." not in form.shown.value
        assert f"<b>−{1000 * (gully - step):.0f} mm</b>" in form.shown.value
        assert "That would be higher: the larger reading is the lower point" in form.shown.value

    @pytest.mark.parametrize(("key", "text"), [
        ("HPC", "about 26"), ("HPC", "26.1.0"), ("HPC", "1e9"), ("HPC", "nan"), ("HPC", "26 kg"), ("HPC", "9" * 500),
        ("falls", "50"), ("falls", "steep"), ("falls", "1:0"), ("falls", "3 mm over 0 m"), ("falls", "x mm over y m"),
        ("falls", "9000 mm over 1 m"), ("a reading", "<b>"), ("more shots", "one")])
    def test_garbage_gets_a_sentence_and_no_answer(self, learner: Any, key: str, text: str) -> None:
        form = forms.PredictForm(learner, key)
        form.field.value = text
        form.run()
        assert refused(form)
        assert form.shown.value == ""
        assert form.field.value == text

    def test_it_follows_the_number_and_brings_back_what_was_typed(self, learner: Any) -> None:
        form = forms.PredictForm(learner, "HPC")
        asked = form.asked.value
        form.field.value = "26.1"
        form.run()
        learner.number.value = "2"
        assert form.asked.value != asked
        assert (form.field.value, form.shown.value) == ("", "")
        learner.number.value = "1"
        assert (form.asked.value, form.field.value, form.shown.value) == (asked, "26.1", "")
