"""Cases added while small faults were planted in the package, each for one that went unnoticed or was likely to."""

from __future__ import annotations

import dataclasses
import importlib
import pkgutil
import warnings

import numpy as np
import pandas as pd
import pytest
from scipy.stats import t as student

from sitelevels import (
    PegSetup,
    ReducedLevels,
    SurveyError,
    SurveyWarning,
    adjust_network,
    read_book,
    reduce_book,
    survey,
    suspect_slips,
    two_peg_test,
)
from sitelevels.survey.adjustment import Closure
from sitelevels.survey.book import Row
from sitelevels.survey.cells import page_of, plain, safe
from sitelevels.survey.instrument import CURVATURE_AND_REFRACTION
from sitelevels.survey.linking import EXACT, Sight
from sitelevels.survey.slips import Suspicion, Suspicions, _odd_ground, _off_the_neighbours
from sitelevels.survey.tape import places_from_ties

MODULES = [importlib.import_module(f"sitelevels.survey.{one.name}") for one in pkgutil.iter_modules(survey.__path__)]
RESULTS = {thing for module in MODULES for thing in vars(module).values()
           if isinstance(thing, type) and dataclasses.is_dataclass(thing) and thing.__module__.startswith(survey.__name__)
           and dataclasses.fields(thing) and thing.__name__ != "Setup"}  # it is filled as its sights are linked
HEAD = "point,bs,is,fs,rl,x,y,feature,remarks,up,down\n"


def doubts(text: str) -> tuple[str, ...]:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", SurveyWarning)
        return read_book(text).doubts


def network(*, weight: list[float]) -> pd.DataFrame:
    count = len(weight)
    return pd.DataFrame({"from": ["A"] * count, "to": [f"P{number}" for number in range(count)], "dh": [1.0] * count,
                         "weight": weight})


class TestNetwork:
    def test_no_observations_are_refused(self) -> None:
        with pytest.raises(SurveyError, match=r"There are 0 observations. From 1 to 2000 are adjusted at once"):
            adjust_network(network(weight=[]), {"A": 10.0})

    def test_more_than_two_thousand_are_refused_before_any_work(self) -> None:
        with pytest.raises(SurveyError, match="There are 2001 observations"):
            adjust_network(network(weight=[1.0] * 2001), {"A": 10.0})

    @pytest.mark.parametrize(("weighing", "given"), [("sd", 0.98e-12), ("weight", 0.95e-24)])
    def test_a_weight_just_beyond_the_measure_is_refused(self, weighing: str, given: float) -> None:
        # an sd of 0.98e-12 m weighs 1.04e24
        with pytest.raises(SurveyError, match=f"Observation 1: its {weighing} makes a weight beyond all measure"):
            adjust_network(network(weight=[given]).rename(columns={"weight": weighing}), {"A": 10.0})

    @pytest.mark.parametrize(("weighing", "given"), [("sd", 1.02e-12), ("weight", 1.05e-24)])
    def test_a_weight_just_inside_it_is_used(self, weighing: str, given: float) -> None:
        adjusted = adjust_network(network(weight=[given]).rename(columns={"weight": weighing}), {"A": 10.0})
        assert adjusted.levels["P0"] == pytest.approx(11.0, abs=1e-9)


class TestDoubts:
    def test_millimetres_below_the_line_are_offered_as_metres_too(self) -> None:
        # −1452 in a book of metres: staff upside down, and the figures are millimetres
        (told,) = doubts(HEAD + "BM,1.5,,,10,,,,,,\nA,,-1452,,,,,dpc,,,\nBM,,1.5,,,,,,,,\n")
        assert told.endswith("longer than a 5 m staff. Is the unit right? In mm it would be -1.452 m.")


class TestReading:
    @pytest.mark.parametrize(("cell", "remedy"), [("1,452", "Write 1.452 or 1452, whichever was read."), ("1,45", "Write 1.45.")])
    def test_three_figures_behind_a_comma_may_be_thousands(self, cell: str, remedy: str) -> None:
        # the full stop of the first reading says that no comma of this book is a decimal one
        with pytest.raises(SurveyError) as told:
            read_book(f'point,bs,is,fs,rl\nBM,150.0,,,1000\nA,,"{cell}",,\n', unit="cm")
        assert remedy in str(told.value)

    @pytest.mark.parametrize("column", ["up", "down"])
    def test_a_mark_on_the_line_itself_is_taped_at_nought(self, column: str) -> None:
        up, down = ("0", "") if column == "up" else ("", "0")
        book = read_book(f"{HEAD}BM,1.5,,,10,,,,,,\nA,,,,,,,dpc,,{up},{down}\nBM,,1.5,,,,,,,,\n")
        assert [row.is_ for row in book.rows if row.point == "A"] == [0.0]

    def test_nothing_can_be_taped_from_a_line_that_is_not_set_up_yet(self) -> None:
        with pytest.raises(SurveyError, match="it is taped from a line whose backsight is not read yet") as told:
            read_book("point,reading,up,rl\nBM,1.500,,10\nA,1.200,,\nmoved,,,\nB,,0.300,\nA,1.400,,\nC,1.300,,\n")
        assert "point B" in str(told.value)


class TestPage:
    def test_a_row_set_far_below_the_last_leaves_empty_rows_of_as_many_cells(self) -> None:
        assert page_of("point,bs,is\nBM,1.5,\n").with_cells({(4, 0): "A"}) == "point,bs,is\nBM,1.5,\n,,\n,,\nA,,\n"


    def test_a_column_put_in_leaves_every_row_where_it_was(self) -> None:
        text = 'point,bs\nA,"1\n2"\nB,3\nC,4\n'  # the cell of A goes over two lines
        assert page_of(text).with_column(1, "rl") == 'point,rl,bs\nA,,"1\n2"\nB,,3\nC,,4\n'

    @pytest.mark.parametrize("row", [0, 3, -1])
    def test_a_row_that_is_none_cannot_be_taken_out(self, row: int) -> None:
        assert page_of("point,bs\nA,1\nB,2\n").without_row(row) == "point,bs\nA,1\nB,2\n"


class TestTies:
    PLACES = {"C1": (0.0, 0.0), "C2": (4.0, 0.0)}  # noqa: RUF012 - a constant of the tests
    HEAD = "point,from_a,a,from_b,b,side\n"

    @pytest.mark.parametrize(("row", "said"), [
        ("P,3,C1,5,C9,left", "'C9' has no place"), ("P,3,C8,5,C9,left", "'C8' and 'C9' have no place"),
        (",3,C1,5,C2,left", "it has no name")])
    def test_a_tie_from_nowhere_or_of_nothing_is_refused_with_its_row(self, row: str, said: str) -> None:
        with pytest.raises(SurveyError, match=said) as told:
            places_from_ties(f"{self.HEAD}Q,3,C1,5,C2,left\n{row}\n", self.PLACES)
        assert "row 2" in str(told.value)

    def test_points_of_a_book_without_places_are_given_theirs(self) -> None:
        book = read_book("point,bs,is,fs,rl,x,y\nBM,1.5,,,10,,\nA,,1.2,,,7,8\nP,,1.3,,,,\nBM,,,1.5,,,\n")
        placed = book.with_places({"A": (0.0, 0.0), "P": (1.0, 2.0)})
        assert [(row.x, row.y) for row in placed.rows] == [(None, None), (7.0, 8.0), (1.0, 2.0), (None, None)]


def test_decimal_commas_are_told_with_how_many_numbers_were_read_so() -> None:
    book = read_book("point;bs;is;rl;remarks\nBM;1,500;;10,000;wet\nA;;1,25;;\nBM;;1,500;;\n")
    last = book.understood.iloc[-1]
    # one backsight, two intermediate sights, one known level
    assert last.tolist() == ["(in numbers)", "decimal commas", "", 4]


def test_how_each_reading_moves_each_level_where_a_misclosure_is_shared_out() -> None:
    """Against the same book booked anew with one reading 1 mm larger; it closes to 2 mm, which is shared out."""
    readings = {"BM back": 1.500, "A": 1.200, "T fore": 1.300, "T back": 1.400, "B": 1.250, "BM fore": 1.598}

    def reduced(**more: float) -> ReducedLevels:
        bm, a, fore, back, b, end = (f"{value + more.get(name, 0.0):.3f}" for name, value in readings.items())
        text = f"point,bs,is,fs,rl\nBM,{bm},,,10\nA,,{a},,\nT,{back},,{fore},\nB,,{b},,\nBM,,,{end},\n"
        return reduce_book(read_book(text), adjust="setups")
    points, sights, moves = reduced().influence()
    assert [sight.reading for sight in sights] == list(readings.values())
    for column, name in enumerate(readings):
        longer = reduced(**{name: 0.001})
        found = [(longer.level(point) - reduced().level(point)) / 0.001 for point in points]
        assert moves[:, column] == pytest.approx(found, abs=1e-6)


def test_spots_off_their_neighbours_are_told_the_oddest_first_and_which_way_they_are_off() -> None:
    # a level yard of 9 by 9 spots at 1.500 m; P10 is 0.400 m high, P70 1.000 m high, P16 0.600 m low
    readings = {10: 1.100, 70: 0.500, 16: 2.100}
    rows = [f"P{number},,{readings.get(number, 1.5)},,,{number % 9},{number // 9},ground" for number in range(81)]
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", SurveyWarning)
        found = suspect_slips(read_book("\n".join(["point,bs,is,fs,rl,x,y,feature", "BM,1.5,,,10,,,", *rows, "BM,,,1.5,,,,"])))
    assert [one.point for one in found.odd_spots] == ["P70", "P16", "P10"]
    told = [one for one in found.words if "its neighbours" in one]
    assert ["above" in one for one in told] == [True, False, True]
    assert ["below" in one for one in told] == [False, True, False]


@pytest.mark.parametrize(("last", "noticed"), [("1.464", True), ("1.467", False)])
def test_a_run_that_closes_but_worse_than_its_readings_are_is_noticed(last: str, noticed: bool) -> None:
    # +0.048 - 0.285 + 0.241 = 4 mm, or 1 mm: of six readings of 0.5 mm each the sum has √6 × 0.5 = 1.22 mm: 3.3 of that, or 0.8
    book = read_book(f"point,bs,is,fs,rl\nBM,1.412,,,10.000\nA,1.238,,1.364,\nB,1.705,,1.523,\nBM,,,{last},\n")
    assert reduce_book(book).closes
    assert suspect_slips(book, reading_sd=0.0005).noticed == noticed


@pytest.mark.parametrize(("again", "alone"), [("1.505", True), ("1.495", True), ("1.506", False)])
def test_a_repeat_that_is_off_by_the_whole_allowance_can_still_be_reading_alone(again: str, alone: bool) -> None:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", SurveyWarning)
        reduced = reduce_book(read_book(f"point,bs,is,fs,rl\nBM,1.500,,,10.000\nA,,1.2,,\nBM,,{again},,\n"), allowable=0.005)
    (told,) = reduced.steadiness
    assert ("which reading alone can do" in told) == alone


class TestClosures:
    def test_a_run_after_two_known_points_begins_at_the_second(self) -> None:
        # from the second set-up K2 and K3 are both read, and agree: 11.600 - 1.100 and 11.600 - 1.200
        book = read_book("point,bs,is,fs,rl,feature\nBM,1.5,,,10,benchmark\nT,1.4,,1.3,,\nK2,,1.1,,10.5,benchmark\n"
                         "K3,,1.2,,10.4,benchmark\nU,1.0,,1.6,,\nK4,,,1.0,10,benchmark\n")
        closures = reduce_book(book).closures
        assert list(zip(closures["from"], closures["to"], strict=True)) == [("BM", "K2"), ("BM", "K3"), ("K3", "K4")]
        assert closures["misclosure"].tolist() == pytest.approx([0.0] * 3, abs=1e-9)

    @pytest.mark.parametrize("sign", [1.0, -1.0])
    def test_a_misclosure_of_the_whole_allowance_closes(self, sign: float) -> None:
        sight = Sight(0, 1, 1, 1.5, None)
        assert Closure((0,), sight, sight, 0.0, sign * (0.005 + EXACT), 0.005).closes
        assert not Closure((0,), sight, sight, 0.0, sign * 0.00501, 0.005).closes


def test_two_tests_of_the_same_readings_are_two() -> None:
    # results are compared as things: some hold arrays, which have no one answer to ==
    pegs = PegSetup(1.500, 1.400, 20.0, 20.0), PegSetup(1.300, 1.202, 2.0, 38.0)
    one, other = two_peg_test(*pegs), two_peg_test(*pegs)
    assert one.collimation == other.collimation
    assert one != other


def test_a_suspect_of_a_network_is_beyond_student_s_t_shared_by_all_observations() -> None:
    """Externally studentised: t with one degree of freedom less than the redundancy, 5 % shared by all (Bonferroni)."""
    steps = [("A", "B", 1.0), ("B", "C", 1.0), ("C", "D", 1.0), ("D", "A", -3.0), ("A", "C", 2.0), ("B", "D", 2.0)]
    near = []
    for mm in (0.5, 1, 2, 3, 5, 8, 13, 21, 34, 55, 89):
        seen = pd.DataFrame(steps, columns=["from", "to", "dh"]).assign(sd=0.001)
        seen["dh"] += np.array([0.0003, -0.0002, 0.0004, -0.0003, 0.0002, mm / 1000])
        found = adjust_network(seen, {"A": 0.0})
        greatest = found.table["studentised"].abs().max()
        limit = student.isf(0.05 / (2 * len(steps)), found.redundancy - 1)
        assert bool(len(found.suspects)) == (greatest > limit), mm
        near.append(greatest / limit)
    assert min(near) < 1 < max(near)


@pytest.mark.parametrize("weights", [[0.05, 1e11], [1e11, 0.05]])
def test_weights_a_million_million_times_apart_are_refused(weights: list[float]) -> None:
    with pytest.raises(SurveyError, match="differ by more than a million million times"):
        adjust_network(network(weight=weights), {"A": 10.0})
    assert adjust_network(network(weight=[0.2, 1e11]), {"A": 10.0}).levels["P1"] == pytest.approx(11.0)


def test_what_is_guarded_from_a_spreadsheet_within_a_cell_comes_back_as_it_was() -> None:
    for typed in ("a;=1+1", "a, \t=1", "a\n  @x", "a;'=1", "a,'b"):
        assert plain(safe(typed)) == typed


class TestSpotsOffTheirNeighbours:
    @staticmethod
    def by_hand(places: np.ndarray, levels: np.ndarray, spot: int, use: list[int]) -> float:
        """Off the plane through the eight nearest of `use`, the spot itself left out."""
        near = sorted((one for one in use if one != spot), key=lambda one: float(np.hypot(*(places[one] - places[spot]))))[:8]
        design = np.column_stack([np.ones(8), places[near] - places[spot]])
        return float(levels[spot] - np.linalg.lstsq(design, levels[near], rcond=None)[0][0])

    def test_a_spot_that_is_not_trusted_is_held_against_the_eight_nearest_that_are(self) -> None:
        draw = np.random.default_rng(3)
        places, levels = draw.uniform(0, 5, (30, 2)), draw.normal(10, 0.01, 30)
        trusted = np.arange(30) % 5 != 0
        found = _off_the_neighbours(places, levels, trusted)
        use = np.flatnonzero(trusted).tolist()
        assert found == pytest.approx([self.by_hand(places, levels, spot, use) for spot in range(30)], abs=1e-9)

    @pytest.mark.parametrize("seed", [3, 6, 15, 31, 38, 85])
    def test_what_is_odd_is_left_out_and_then_looked_for_again(self, seed: int) -> None:
        """Over four times 1.4826 times the median of what spots are off, 10 mm at the least: once among all, then without those.

        Of the seeds but one the second look finds others than the first; seed 3 has no odd spot.
        """
        draw = np.random.default_rng(seed)
        places, levels = draw.uniform(0, 6, (30, 2)), 10 + 0.02 * draw.standard_t(3, 30)
        off = np.array([self.by_hand(places, levels, spot, list(range(30))) for spot in range(30)])
        limit = max(0.010, 4 * 1.4826 * float(np.median(np.abs(off))))
        left = np.flatnonzero(np.abs(off) <= limit).tolist()
        odd = [spot for spot in range(30) if abs(self.by_hand(places, levels, spot, left)) > limit]
        rows = {str(spot): Row(spot + 1, str(spot), x=x, y=y, feature="ground") for spot, (x, y) in enumerate(places.tolist())}
        found = _odd_ground(rows, {str(spot): level for spot, level in enumerate(levels.tolist())})
        assert [int(point) for point, *_ in found] == odd

    def test_on_rough_ground_a_spot_has_to_stand_farther_off(self) -> None:
        # rows of spots that alternate by 30 mm: none is odd among its like, though each is off by more than 10 mm
        rows = [f"P{number},,{1.5 + 0.03 * ((number % 9 + number // 9) % 2)},,,{number % 9},{number // 9},ground"
                for number in range(81)]
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", SurveyWarning)
            found = suspect_slips(read_book("\n".join(["point,bs,is,fs,rl,x,y,feature", "BM,1.5,,,10,,,", *rows,
                                                       "BM,,,1.5,,,,"])))
        assert found.odd_spots == ()

    @pytest.mark.parametrize(("reading", "told"), [
        (0.5, "was perhaps 1.500 m (1 m dropped), or the ground is so."),
        (0.8573, "no simple slip explains it, or the ground is so.")])
    def test_a_slip_is_told_where_one_explains_it_and_else_that_none_does(self, reading: float, told: str) -> None:
        rows = [f"P{number},,{reading if number == 40 else 1.5},,,{number % 9},{number // 9},ground" for number in range(81)]
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", SurveyWarning)
            found = suspect_slips(read_book("\n".join(["point,bs,is,fs,rl,x,y,feature", "BM,1.5,,,10,,,", *rows,
                                                       "BM,,,1.5,,,,"])))
        (said,) = [one for one in found.words if "its neighbours" in one]
        assert said.endswith(told)


def test_a_slip_is_sought_where_the_run_ends_on_another_known_level() -> None:
    # 10.000 + 1.412 - 1.364 + 1.238 - 1.469 = 9.817; booked is 1.346
    book = read_book("point,bs,is,fs,rl\nBM,1.412,,,10.000\nA,1.238,,1.346,\nK,,,1.469,9.817\n")
    found = suspect_slips(book)
    assert found.noticed
    first = found.on_the_line[0]
    assert (first.point, first.column, first.corrected, first.leaves) == ("A", "fs", 1.364, pytest.approx(0.0, abs=1e-9))


@pytest.mark.parametrize(("rows", "told"), [(5, ""), (6, " 1 more row could explain it."), (9, " 4 more rows could explain it.")])
def test_rows_beyond_the_five_that_are_told_are_counted(rows: int, told: str) -> None:
    one = Suspicion(1, "A", "fs", 1.346, 1.364, "two digits swapped", 0.0, "checks")
    reduced = reduce_book(read_book("point,bs,is,fs,rl\nBM,1.5,,,10\nBM,,,1.5,\n"))
    said = Suspicions(reduced, True, True, (one,) * rows).said
    assert said.count("row 1, point A") == 5
    assert said.endswith(f"{told} Only reading again tells which.")


def test_a_long_sight_reads_too_high_by_the_textbooks_figure() -> None:
    """0.0673 K² m over K km, curvature less refraction: the figure of most survey textbooks (from memory)."""
    assert pytest.approx(0.0673, abs=1e-9) == CURVATURE_AND_REFRACTION * 1000.0**2


@pytest.mark.parametrize("result", sorted(RESULTS, key=lambda one: one.__name__), ids=lambda one: one.__name__)
def test_a_result_cannot_be_changed(result: type) -> None:
    (first, *_) = dataclasses.fields(result)
    with pytest.raises(dataclasses.FrozenInstanceError):
        setattr(object.__new__(result), first.name, None)


def test_a_network_with_two_lines_to_spare_can_point_at_one() -> None:
    # A to B thrice: the third is 20 mm out
    seen = pd.DataFrame({"from": ["A"] * 3, "to": ["B"] * 3, "dh": [1.0, 1.0005, 1.020], "sd": [0.001] * 3})
    assert adjust_network(seen, {"A": 10.0}).table["studentised"].notna().all()
    assert adjust_network(seen.iloc[:2], {"A": 10.0}).table["studentised"].isna().all()
