"""A job begun, booked, spoilt, pasted and found again by somebody at the keyboard."""

import re
from pathlib import Path
from typing import Any

from lab import Desk, expect

JOB = "back yard 2"
# point, column, reading: one set-up on BM at 10.000 m, another on CP; chosen so that it closes to the millimetre
READ = (("BM", "bs", "1.500"), ("A", "is", "1.250"), ("CP", "fs", "1.420"), ("CP", "bs", "1.100"), ("B", "is", "0.900"),
        ("BM", "fs", "1.180"))
COLUMNS = ("point", "bs", "is", "fs", "rl")
PASTED = "point,bs,is,fs,rl\nBM,1.000,,,20.000\nK,,2.345,,\nBM,,,1.000,\n"


def by_hand(read: tuple[tuple[str, str, str], ...], known: int) -> list[tuple[str, int]]:
    """Levels in whole mm by height of collimation, in a loop of the test's own."""
    levels: dict[str, int] = {read[0][0]: known}
    found, height = [], 0
    for point, column, reading in read:
        mm = int(reading.replace(".", ""))
        if column == "bs":
            height = levels[point] + mm
        else:
            levels[point] = height - mm
        found.append((point, levels[point]))
    return found


def worked(desk: Desk) -> list[str]:
    """The levels beside the rows of the grid."""
    return list(desk.page.locator(".book-grid tbody td.worked:last-child").all_inner_texts())


def cell(desk: Desk, row: int, column: str) -> Any:
    """A cell of the grid, by the name that a screen reader says."""
    return desk.page.locator(".book-grid").get_by_label(re.compile(f"^row {row}, {column}(, m)?$"))


class TestFromANameToASavedBook:
    """In the order in which it is done; each goes on where the one before ended."""

    def test_a_job_is_started(self, desk: Desk) -> None:
        desk.open("0-start")
        desk.run_all()
        form = desk.form("New job")
        form.get_by_label("New job", exact=True).fill(JOB)
        form.get_by_role("button", name="Start it").click()
        expect(form.get_by_role("status")).to_contain_text(f"The folder data/{JOB} is made and chosen.")
        assert (desk.root / "data" / ".chosen").read_text() == JOB
        assert {place.name for place in folder(desk).iterdir()} == {"survey.csv", "brief.toml"}

    def test_a_book_is_typed_with_keys_alone(self, desk: Desk) -> None:
        desk.open("1-survey")
        desk.run_all()
        expect(cell(desk, 2, "point")).to_have_value("D1")  # of the example that a new job comes with
        keys = desk.page.keyboard
        desk.form("Book").get_by_label("Book", exact=True).focus()
        for key in ("Control+A", "Delete", "Tab"):
            keys.press(key)
        expect(cell(desk, 2, "point")).to_have_count(0)
        cell(desk, 1, "point").focus()
        rows = [("BM", {"bs": "1.500", "rl": "10.000"}), ("A", {"is": "1.250"}), ("CP", {"bs": "1.100", "fs": "1.420"}),
                ("B", {"is": "0.900"}), ("BM", {"fs": "1.180"})]
        for point, readings in rows:
            for column in COLUMNS:
                keys.type(point if column == "point" else readings.get(column, ""))
                keys.press("Tab" if column != COLUMNS[-1] else "Enter")
        expect(desk.form("Book").get_by_role("status").first).to_contain_text("5 rows read and reduced; no check failed.")
        levels = dict(by_hand(READ, 10_000))
        assert levels == {"BM": 10_000, "A": 10_250, "CP": 10_080, "B": 10_280}
        assert worked(desk)[:5] == [f"{levels[point] / 1000:.3f}" for point, _ in rows]
        assert [cell(desk, row, "point").input_value() for row in range(1, 6)] == [point for point, _ in rows]

    def test_what_is_typed_is_kept_before_it_is_saved(self, desk: Desk) -> None:
        drafts = list(folder(desk).glob("survey-draft-*.txt"))
        assert len(drafts) == 1
        assert "CP,1.100,,1.420" in drafts[0].read_text()
        assert "CP" not in (folder(desk) / "survey.csv").read_text()

    def test_two_digits_swapped_are_found(self, desk: Desk) -> None:
        form = desk.form("Book")
        cell(desk, 3, "fs").fill("1.240")
        cell(desk, 3, "fs").press("Tab")
        told = form.get_by_role("alert")
        expect(told).to_contain_text("does NOT close")  # 1.420 less 1.240 is 180 mm
        expect(told).to_contain_text("180.0 mm high")
        expect(told).to_contain_text("row 3, point CP: fs 1.240 m was perhaps 1.420 m (two digits swapped)")
        expect(form.locator(".book-grid tr", has_text="two digits swapped")).to_have_count(1)

    def test_a_metre_misread_is_found(self, desk: Desk) -> None:
        form = desk.form("Book")
        cell(desk, 3, "fs").fill("0.420")
        cell(desk, 3, "fs").press("Tab")
        told = form.get_by_role("alert")
        expect(told).to_contain_text("1000.0 mm high")
        expect(told).to_contain_text("fs 0.420 m was perhaps 1.420 m (1 m dropped)")
        for _ in range(2):
            form.get_by_role("button", name="Undo").click()
        expect(cell(desk, 3, "fs")).to_have_value("1.420")
        expect(form.get_by_role("status").first).to_contain_text("no check failed")

    def test_a_word_in_the_cell_of_a_number_is_told_and_stays(self, desk: Desk) -> None:
        form = desk.form("Book")
        cell(desk, 2, "is").fill("a metre and a bit")
        cell(desk, 2, "is").press("Enter")
        expect(form.get_by_role("alert").last).to_contain_text("a metre and a bit")
        expect(cell(desk, 2, "is")).to_have_attribute("aria-invalid", "true")
        expect(form.locator(".book-grid td.said")).to_contain_text("is not a number")
        expect(cell(desk, 2, "is")).to_have_value("a metre and a bit")
        assert "a metre and a bit" in next(folder(desk).glob("survey-draft-*.txt")).read_text()
        cell(desk, 2, "is").fill("1.250")
        cell(desk, 2, "is").press("Enter")
        expect(form.get_by_role("status").first).to_contain_text("no check failed")

    def test_it_is_saved_and_what_was_there_before_is_kept(self, desk: Desk) -> None:
        before = (folder(desk) / "survey.csv").read_bytes()
        form = desk.form("Book")
        form.get_by_role("button", name="Save", exact=True).click()
        expect(form.get_by_text("Saved.", exact=True)).to_be_visible()
        assert "CP,1.100,,1.420" in (folder(desk) / "survey.csv").read_text()
        assert (folder(desk) / "survey-before.csv").read_bytes() == before
        assert not list(folder(desk).glob("survey-draft-*.txt"))

    def test_after_the_kernel_was_killed_all_comes_back(self, desk: Desk) -> None:
        cell(desk, 6, "point").fill("late")
        cell(desk, 6, "point").press("Tab")
        expect(desk.form("Book").get_by_role("alert").last).to_contain_text("Row 6")
        desk.kill_kernel()
        desk.run_all()
        form = desk.form("Book")
        expect(form.get_by_text("A book that was typed and not saved was found", exact=False)).to_be_visible()
        expect(cell(desk, 3, "fs")).to_have_value("1.420")  # as saved
        expect(cell(desk, 6, "point")).to_have_value("")
        form.get_by_role("button", name="Take it up again").click()
        expect(cell(desk, 6, "point")).to_have_value("late")
        assert worked(desk)[0] == ""  # a row without a reading: nothing is reduced
        form.get_by_role("button", name="Undo").click()
        expect(cell(desk, 6, "point")).to_have_value("")
        expect(form.get_by_role("status").first).to_contain_text("no check failed")
        assert worked(desk)[:5] == ["10.000", "10.250", "10.080", "10.280", "10.000"]

    def test_a_book_is_pasted_into_the_box(self, desk: Desk) -> None:
        desk.page.evaluate("text => navigator.clipboard.writeText(text)", PASTED)
        form = desk.form("Book")
        form.get_by_label("Book", exact=True).focus()
        for key in ("Control+A", "Control+V", "Tab"):
            desk.page.keyboard.press(key)
        expect(form.get_by_role("status").first).to_contain_text("3 rows read and reduced")
        assert worked(desk)[:3] == ["20.000", "18.655", "20.000"]  # 20.000 + 1.000 - 2.345

    def test_a_block_is_pasted_into_the_grid(self, desk: Desk) -> None:
        desk.page.evaluate("text => navigator.clipboard.writeText(text)", "L\t\t0.500\nM\t\t0.250\n")
        cell(desk, 2, "point").focus()
        desk.page.keyboard.press("Control+A")
        desk.page.keyboard.press("Control+V")
        expect(cell(desk, 3, "point")).to_have_value("M")
        assert [cell(desk, row, "is").input_value() for row in (2, 3)] == ["0.500", "0.250"]


def folder(desk: Desk) -> Path:
    return desk.root / "data" / JOB
