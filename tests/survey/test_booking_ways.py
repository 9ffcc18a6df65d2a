"""How a garden or a floor is booked: a plain list, a receiver on a rod, a moved laser, a tape from the line, a metre mark."""

from __future__ import annotations

import pytest

from sitelevels import LevelBook, ReducedLevels, SurveyError, SurveyWarning, read_book, reduce_book

QUIET = pytest.mark.filterwarnings("ignore::sitelevels.SurveyWarning")  # where the doubts are not what is shown


def booked(book: LevelBook) -> list[tuple[str, float | None, float | None, float | None]]:
    return [(row.point, row.bs, row.is_, row.fs) for row in book.rows]


def levels(reduced: ReducedLevels) -> dict[str, float]:
    return {point: reduced.level(point) for point in reduced.spots()["point"]}


class TestPlainList:
    def test_benchmark_first_and_last(self) -> None:
        # HPC 10.000 + 1.482 = 11.482: A 11.482 − 1.365 = 10.117, step 11.482 − 0.907 = 10.575
        reduced = reduce_book(read_book("point,reading,rl\nBM,1.482,10.000\nA,1.365,\nstep,0.907,\nBM,1.482,\n"))
        assert levels(reduced) == pytest.approx({"BM": 10.0, "A": 10.117, "step": 10.575}, abs=1e-9)
        assert reduced.misclosure == pytest.approx(0.0, abs=1e-9)

    def test_a_benchmark_that_is_read_in_the_middle_too_checks_the_instrument(self) -> None:
        # reading up 2 mm: the benchmark is found 2 mm low; the mean backsight is 1.481 and A 11.481 − 1.2 = 10.281
        reduced = reduce_book(read_book("point,reading,rl\nBM,1.480,10.000\nA,1.200,\nBM,1.482,\nB,1.300,\nBM,1.481,\n"))
        assert reduced.stability["difference"].tolist() == pytest.approx([-0.002, -0.001], abs=1e-9)
        assert reduced.level("A") == pytest.approx(10.281, abs=1e-9)

    def test_a_receiver_on_a_rod_reads_the_rod_from_its_foot(self) -> None:
        """Marks up the rod are staff readings: the higher the mark, the lower the ground. In centimetres, to the half."""
        # HPC 1000 + 152.5 cm = 11.525 m: A 11.525 − 1.37 = 10.155, hollow 11.525 − 1.84 = 9.685
        book = read_book("peg,staff (cm),level (m)\nsill,152.5,10.000\nA,137,\nhollow,184,\nsill,152.5,\n")
        assert levels(reduce_book(book)) == pytest.approx({"sill": 10.0, "A": 10.155, "hollow": 9.685}, abs=1e-9)

    @QUIET
    def test_the_staff_upside_down_under_a_lintel(self) -> None:
        # HPC 11.5: lintel 11.5 + 0.8 = 12.3
        reduced = reduce_book(read_book("point,reading,rl\nBM,1.500,10.000\nlintel,-0.800,\nA,1.300,\nBM,1.500,\n"))
        assert reduced.level("lintel") == pytest.approx(12.3, abs=1e-9)


class TestMoved:
    TEXT = "point,reading,rl\nBM,1.500,10.000\nA,1.250,\nTP,1.800,\n{},,\nTP,0.900,\nB,1.000,\nBM,0.602,\n"
    # HPC 11.500: A 10.250, TP 9.700; HPC 10.600: B 9.600, BM 9.998, 2 mm low over two set-ups, shared 1 and 2 mm

    @pytest.mark.parametrize("said", ["moved", "Moved", "MOVED", "laser moved", "the laser moved", "the instrument moved",
                                      "level moved"])
    def test_a_change_point_before_and_after(self, said: str) -> None:
        book = read_book(self.TEXT.format(said))
        assert booked(book) == [("BM", 1.5, None, None), ("A", None, 1.25, None), ("TP", None, None, 1.8),
                                ("TP", 0.9, None, None), ("B", None, 1.0, None), ("BM", None, 0.602, None)]
        reduced = reduce_book(book)
        assert reduced.table["level"].tolist() == pytest.approx([10.0, 10.25, 9.7, 9.7, 9.6, 9.998], abs=1e-9)
        assert reduced.misclosure == pytest.approx(-0.002, abs=1e-9)
        assert reduced.level("TP") == pytest.approx(9.701, abs=1e-9)
        assert reduced.level("B") == pytest.approx(9.602, abs=1e-9)
        assert [row.number for row in book.rows] == [1, 2, 3, 5, 6, 7]  # as they stand in the file

    def test_backsighted_again_on_the_benchmark(self) -> None:
        # HPC 11.500 and 11.320: A 10.250, B 11.320 − 1.150 = 10.170
        book = read_book("point,reading,rl\nBM,1.500,10.000\nA,1.250,\nBM,1.501,\nmoved,,\nBM,1.320,\nB,1.150,\nBM,1.320,\n")
        assert booked(book)[2:4] == [("BM", None, None, 1.501), ("BM", 1.32, None, None)]
        reduced = reduce_book(book)
        assert reduced.table["level"].tolist() == pytest.approx([10.0, 10.25, 9.999, 10.0, 10.17, 10.0], abs=1e-9)
        assert reduced.table["hpc"].dropna().tolist() == pytest.approx([11.5, 11.32], abs=1e-9)

    @QUIET
    def test_backsighted_on_a_point_shot_earlier(self) -> None:
        # A 10.250; HPC 10.250 + 1.100 = 11.350: C 11.350 − 1.400 = 9.950
        reduced = reduce_book(read_book("point,reading,rl\nBM,1.500,10.000\nA,1.250,\nB,1.300,\nmoved,,\nA,1.100,\nC,1.400,\n"))
        assert reduced.level("C") == pytest.approx(9.95, abs=1e-9)

    @QUIET
    def test_moved_to_a_point_that_nothing_links_is_refused_by_its_row(self) -> None:
        with pytest.raises(SurveyError, match="Row 4, point Q: this set-up is on a point that nothing links"):
            reduce_book(read_book("point,reading,rl\nBM,1.500,10.000\nA,1.250,\nmoved,,\nQ,1.100,\nC,1.400,\n"))

    @QUIET
    @pytest.mark.parametrize("before", ["A,1.250,,\n", "BM,1.500,,\n"], ids=["a spot", "the check"])
    @pytest.mark.parametrize("after", ["D,,0.200,\nBM,1.400,,\nB,1.300,,\n", "D,,0.200,\n"], ids=["backsighted later", "never"])
    def test_what_is_taped_from_the_moved_line_before_its_backsight_is_never_worked_from_the_old_line(
            self, before: str, after: str) -> None:
        """The old line is at 11.500, the new one at 11.400: D is 11.600 and not 11.700, or the row is refused."""
        try:
            book = read_book(f"point,reading,up,rl\nBM,1.500,,10.000\n{before}moved,,,\n{after}")
        except SurveyError as error:
            told = str(error)
        else:
            told = f"{reduce_book(book).level('D'):.3f}"
        assert told == "11.600" or told.startswith("Row 4, point D")

    @QUIET
    @pytest.mark.parametrize("rows", ["moved,,\nBM,1.500,10\nA,1.2,\n", "BM,1.500,10\nA,1.2,\nmoved,,\n",
                                      "BM,1.500,10\nA,1.2,\nmoved,,\nmoved,,\nBM,1.5,\n"])
    def test_moved_at_an_end_or_twice_does_no_harm(self, rows: str) -> None:
        assert reduce_book(read_book("point,reading,rl\n" + rows)).level("A") == pytest.approx(10.3, abs=1e-9)

    @QUIET
    def test_a_point_that_is_called_moved_and_has_a_reading_is_a_point(self) -> None:
        assert reduce_book(read_book("point,reading,rl\nBM,1.5,10\nmoved,1.2,\n")).level("moved") == pytest.approx(10.3, abs=1e-9)

    def test_in_a_book_of_three_columns_it_is_a_row_without_a_reading(self) -> None:
        with pytest.raises(SurveyError, match="Row 2, point moved: there is no reading"):
            read_book("point,bs,is\nBM,1.5,\nmoved,,\nA,,1.2\n")


class TestTaped:
    """The DPC is measured from the line of the laser by tape, the ground by staff, from one set-up."""

    def test_up_and_down_beside_staff_readings(self) -> None:
        # HPC 10.000 + 1.400 = 11.400: D1 11.400 + 0.065 = 11.465, D2 11.400 − 0.035 = 11.365, G 11.400 − 1.550 = 9.850
        book = read_book("point,bs,is,up,down,rl,feature\nBM,1.400,,,,10.000,benchmark\nD1,,,0.065,,,dpc\nD2,,,,0.035,,dpc\n"
                         "G,,1.550,,,,ground\nBM,,1.400,,,,\n")
        assert [(row.is_, row.taped) for row in book.rows] == [(None, False), (-0.065, True), (0.035, True), (1.55, False),
                                                                (1.4, False)]
        assert levels(reduce_book(book)) == pytest.approx({"BM": 10, "D1": 11.465, "D2": 11.365, "G": 9.85}, abs=1e-9)

    def test_in_a_plain_list_the_taped_rows_are_never_the_backsight_or_the_check(self) -> None:
        # HPC 11.400: first and last rows are taped, the backsight is still the first reading of the staff
        book = read_book("point,reading,up,down,rl\nBM,1.400,,,10.000\nD,,0.100,,\nG,1.500,,,\nBM,1.400,,,\nD,,0.100,,\n")
        assert booked(book)[:3] == [("BM", 1.4, None, None), ("D", None, -0.1, None), ("G", None, 1.5, None)]
        assert levels(reduce_book(book)) == pytest.approx({"BM": 10, "D": 11.5, "G": 9.9}, abs=1e-9)

    def test_what_is_taped_after_the_check_is_still_from_that_set_up(self) -> None:
        text = "point,reading,up,rl\nBM,1.400,,10.000\nG,1.500,,\nBM,1.400,,\nD,,0.100,\n"
        assert reduce_book(read_book(text)).level("D") == pytest.approx(11.5, abs=1e-9)

    @QUIET
    def test_in_millimetres(self) -> None:
        book = read_book("point,bs (mm),is (mm),up (mm),rl (m)\nBM,1400,,,10.000\nD,,,65,\nG,,1550,,\n")
        assert levels(reduce_book(book)) == pytest.approx({"BM": 10, "D": 11.465, "G": 9.85}, abs=1e-9)

    @pytest.mark.parametrize(("cells", "said"), [
        ("D,,1.2,0.1,", "'is' and 'up' cannot stand on one row"), ("D,,,0.1,0.2", "'up' and 'down' cannot stand on one row"),
        ("D,,,-0.1,", "What is taped up or down from the line has no sign"),
        ("D,,,,-0.1", "What is taped up or down from the line has no sign")])
    def test_what_cannot_be_is_refused_by_its_row(self, cells: str, said: str) -> None:
        with pytest.raises(SurveyError, match=f"Row 2, point D: .*{said}"):
            read_book(f"point,bs,is,up,down\nBM,1.4,,,\n{cells}\nBM,,1.4,,\n")

    def test_a_tape_before_any_backsight_is_refused(self) -> None:
        with pytest.raises(SurveyError, match="Row 1, point D: it is read before any backsight"):
            read_book("point,bs,is,up\nD,,,0.1\nBM,1.4,,\n")


class TestMetreMark:
    """A line at 1.000 m above finished floor, and what is taped down and up from it."""

    @QUIET
    @pytest.mark.parametrize("first", ["line,,,1.000,", "mark,,,1.000,line", "Line,,,1.000,LINE"])
    def test_down_and_up_from_a_line_of_known_level(self, first: str) -> None:
        # floor 1.000 − 1.012 = −0.012 m, hump 1.000 − 0.991 = 0.009, sill 1.000 + 0.150 = 1.150
        book = read_book(f"point,down,up,rl,feature\n{first}\nA,1.012,,,\nB,0.991,,,\nsill,,0.150,,\n")
        found = levels(reduce_book(book))
        assert [found[point] for point in ("A", "B", "sill")] == pytest.approx([-0.012, 0.009, 1.15], abs=1e-9)
        assert found[book.rows[0].point] == 1.0

    @QUIET
    def test_a_book_with_only_a_column_down(self) -> None:
        found = levels(reduce_book(read_book("point,down (mm),rl (m)\nline,,1.000\nA,1012,\nB,991,\n")))
        assert (found["A"], found["B"]) == pytest.approx((-0.012, 0.009), abs=1e-9)

    @QUIET
    def test_a_second_line_starts_a_second_set_up(self) -> None:
        # line 1.000: A −0.010; other line 1.150: C 1.150 − 1.140 = 0.010
        found = levels(reduce_book(read_book("point,down,rl,feature\nL1,,1.000,line\nA,1.010,,\nL2,,1.150,line\nC,1.140,,\n")))
        assert (found["A"], found["C"]) == pytest.approx((-0.01, 0.01), abs=1e-9)

    @QUIET
    def test_in_a_plain_list_the_readings_are_from_the_line(self) -> None:
        # the line stands in for the backsight: A 1.000 − 1.012
        found = levels(reduce_book(read_book("point,reading,rl\nline,,1.000\nA,1.012,\nB,0.991,\n")))
        assert (found["A"], found["B"]) == pytest.approx((-0.012, 0.009), abs=1e-9)

    def test_a_line_without_a_level_is_refused(self) -> None:
        with pytest.raises(SurveyError, match="Row 1, point line: the line has no level"):
            read_book("point,down,rl\nline,,\nA,1.012,\n")

    def test_a_tape_with_no_line_above_it_is_refused(self) -> None:
        with pytest.raises(SurveyError, match="Row 1, point A: it is read before any backsight"):
            read_book("point,down,rl\nA,1.012,\nline,,1.000\n")


class TestWorkedOutLevelsUnderRl:
    """HPC 11.500: A 10.250, B 10.200, C 10.100."""

    HEAD = "point,bs,is,rl,feature,remarks\n"
    SHOTS = "A,,1.250,10.250,,\nB,,1.300,{},,\nC,,1.400,10.100,,\nBM,,1.500,10.000,,\n"

    def read(self, text: str) -> tuple[LevelBook, list[str]]:
        with pytest.warns(SurveyWarning) as warned:
            book = read_book(text)
        return book, [str(one.message) for one in warned]

    def test_the_first_is_known_where_no_benchmark_is_marked(self) -> None:
        book, (told,) = self.read(self.HEAD + "peg,1.500,,10.000,,\n" + self.SHOTS.format("10.200").replace("BM", "peg"))
        assert told.startswith("rl is filled on 5 of 5 rows, so most of it was worked out. "
                               "Taken as known: peg (row 1), 10.000 m.")
        assert dict(book.known) == {"peg": 10.0}
        assert [row.hand_level for row in book.rows] == [None, 10.25, 10.2, 10.1, 10.0]
        assert reduce_book(book).hand_slip is None

    @pytest.mark.parametrize(("point", "feature", "remark"), [
        ("BM", "", ""), ("TBM 2", "", ""), ("OBM", "", ""), ("peg", "benchmark", ""), ("peg", "", "the bench mark"),
        ("step", "", "TBM, brass stud")])
    def test_only_benchmarks_are_known_where_some_are_marked(self, point: str, feature: str, remark: str) -> None:
        text = self.HEAD + (f'Q,1.200,,10.300,,\n{point},,1.500,10.000,{feature},"{remark}"\nA,,1.250,10.250,,\n'
                            "Q,,1.200,10.300,,\n")
        book, (told,) = self.read(text)
        assert f"Taken as known: {point} (row 2), 10.000 m. The others are compared with ours as hand_level." in told
        assert dict(book.known) == {point: 10.0}

    def test_a_misprinted_worked_level_is_then_named(self) -> None:
        book, _ = self.read(self.HEAD + "BM,1.500,,10.000,,\n" + self.SHOTS.format("10.020"))
        with pytest.warns(SurveyWarning, match=r"Row 3, point B: the hand-worked level 10\.020 m is 180\.0 mm too low; "
                                               r"the readings give 10\.200 m\.$"):
            reduced = reduce_book(book)
        assert reduced.level("B") == pytest.approx(10.2, abs=1e-9)

    def test_the_second_level_of_a_benchmark_read_again_is_a_worked_one(self) -> None:
        """10.003 on the last row is not a second known level: it was worked out, and the reading bears it out."""
        text = self.HEAD + "BM,1.500,,10.000,,\n" + self.SHOTS.format("10.200").replace("BM,,1.500,10.000", "BM,,1.497,10.003")
        book, _ = self.read(text)
        assert dict(book.known) == {"BM": 10.0}
        assert reduce_book(book).hand_slip is None

    @pytest.mark.parametrize("text", [
        "point,bs,is,rl\nBM,1.5,,10\nA,,1.2,\nB,,1.3,\nBM2,,1.4,10.1\n",  # two of four
        "point,bs,is,rl\nBM,1.5,,10\nBM,,1.5,10\n",  # two are too few to tell
        "point,bs,is,rl\nBM1,1.5,,10\nBM2,,1.4,10.1\nBM3,,1.3,10.2\n",  # every one a benchmark
        "point,bs,is,rl,feature\nP,1.5,,10,benchmark\nQ,,1.4,10.1,benchmark\nR,,1.3,10.2,benchmark\n",
        "point,bs,is,rl,hand_level\nP,1.5,,10,\nQ,,1.4,10.1,10.1\nR,,1.3,10.2,\nP,,1.5,,\n"])  # worked ones have their column
    def test_otherwise_rl_is_believed(self, text: str) -> None:
        book = read_book(text)
        assert len(book.known) >= (1 if "BM,,1.5,10" in text else 2)
        assert not any("worked out" in doubt for doubt in book.doubts)
        assert [row.hand_level for row in book.rows if row.hand_level is not None] in ([], [10.1])
