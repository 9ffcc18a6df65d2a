"""What leaving out a point or measuring otherwise does to verdicts and volumes, against doing so by hand."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from drawn_yards import drawn_yard
from own_errors import Yard

from sitelevels import Brief, Finish, Ground, Wall, check_finish, cut_and_fill, sensitivity

pytestmark = pytest.mark.filterwarnings("ignore::sitelevels.SurveyWarning")  # what is doubtful has tests of its own

MM = 1000
BUILT = [drawn_yard(seed) for seed in range(6)]
EXISTING = [drawn_yard(seed, exists=True) for seed in range(2)]


@pytest.fixture(scope="module")
def yards() -> list[Yard]:
    return [BUILT[0], BUILT[5], EXISTING[0]]


class TestLeftOut:
    def test_without_a_point_the_margin_is_that_of_a_brief_without_it(self, yards: list[Yard]) -> None:
        asked = 0
        for yard in yards:
            table = sensitivity(yard.verdicts).left_out
            for point, title, margin, without, unit, verdict in table.itertuples(index=False):
                number = [one.demand.title for one in yard.verdicts.worst].index(title)
                worst = yard.verdicts.worst[number]
                assert margin == pytest.approx(worst.margin * MM)
                assert unit == worst.demand.unit
                expected = self.by_hand(yard, point, number)
                if expected is None:
                    assert math.isnan(without)
                    assert verdict == "nothing else tells it"
                else:
                    assert without == pytest.approx(expected[0] * MM, abs=1e-6)
                    assert verdict == expected[1]
                asked += 1
            told = set(zip(table["point"], table["demand"], strict=True))
            for name, title in (("D1", "below the DPC"), ("E1", "meet the old paving"), ("B2", "cover"), ("T", "step")):
                assert (name, title) in told
        assert asked > 60

    @staticmethod
    def by_hand(yard: Yard, point: str, number: int) -> tuple[float, str] | None:
        """The margin and verdict of the demand where the brief, and the fitted plane, know nothing of a point."""
        demand, wall = yard.verdicts.worst[number].demand, yard.brief.walls[0]
        if point in ("D1", "D2"):
            along, kept = (yard.width, "D2") if point == "D1" else (0.0, "D1")
            wall = Wall("house", (0, 0), (yard.width, 0), dpc=[(along, dict(zip(wall.points, wall.shots, strict=True))[kept][1])],
                        points=[kept])
        spots = [spot for spot in getattr(demand, "spots", ()) if spot.point != point]
        if hasattr(demand, "spots"):
            if not spots:
                return None
            demand = replace(demand, **{demand._field: tuple(spots) if len(spots) > 1 else spots[0]})
        surveyed, finish = tuple(name for name in yard.surveyed if name != point), yard.finish
        errors = yard.book.errors()
        if surveyed != yard.surveyed:
            finish = Finish.plane(errors.plane_fit(surveyed).plane, yard.area)
        found = check_finish(finish, Brief(yard.area, walls=[wall], demands=[demand]), budget=errors, surveyed=surveyed)
        return found.worst[0].margin, found.judged[0][0]

    def test_volumes_are_those_of_the_ground_without_the_spot(self, yards: list[Yard]) -> None:
        ground = pit(3)
        table = sensitivity(drawn_yard(0).verdicts, ground=ground).left_out
        table = table[table["unit"] == "m³"]
        area, finish = drawn_yard(0).area, drawn_yard(0).finish
        assert ground.points is not None
        assert len(table) == len(ground.points)
        for number, (margin, without) in enumerate(zip(table["margin"], table["without"], strict=True)):
            keep = np.arange(len(ground.x)) != number
            other = Ground(ground.x[keep], ground.y[keep], ground.level[keep])
            assert margin == pytest.approx(volume(ground, finish, area), abs=1e-9)
            assert without == pytest.approx(volume(other, finish, area), abs=1e-9)


class TestWhatIf:
    def test_a_budget_changed_by_hand_says_the_same(self) -> None:
        """Half the reading, tilt and collimation; or a reading and its placing drawn twice and meaned: 1/√2 of both."""
        for yard in (*BUILT[:6], *EXISTING[:2]):
            table = sensitivity(yard.verdicts).what_if
            usual = yard.book.budget
            better = replace(usual, **{name: getattr(usual, name) / 2 for name in
                                       ("reading", "backsight", "tilt_body", "tilt_level", "collimation")})
            twice = replace(usual, **{name: getattr(usual, name) / math.sqrt(2) for name in
                                      ("reading", "backsight", "placing_hard", "placing_ground", "placing_buried")})
            for change, budget in (("as it is", usual), ("a better instrument", better), ("every reading twice", twice)):
                errors = replace(yard.book, budget=budget).errors()
                finish = Finish.plane(errors.plane_fit(yard.surveyed).plane, yard.area) if yard.surveyed else yard.finish
                found = check_finish(finish, yard.brief, budget=errors, surveyed=yard.surveyed)
                rows = table[table["change"] == change]
                assert rows["u"].to_numpy() == pytest.approx([(one.u or 0.0) * MM for one in found.worst], rel=1e-9)
                assert rows["verdict"].tolist() == [verdict for verdict, _ in found.judged]
                assert rows["probability"].to_numpy() == pytest.approx([told for _, told in found.judged], abs=1e-12)

    def test_closing_shots_and_turning_are_those_of_books_that_have_them(self) -> None:
        for seed in range(0, 20, 3):
            yard = drawn_yard(seed, setups=1)
            table, book = sensitivity(yard.verdicts).what_if, yard.book
            closed = book if book.shots[-1] == ("BM", "fs") else replace(
                book, shots=(*book.shots[:-1], ("BM", "is"), book.shots[-1]),
                readings=(*book.readings[:-1], book.readings[0], book.readings[-1]))
            start = book.headings.get(1, 0.0)
            turned = replace(book, shots=book.shots * 2, readings=book.readings * 2, headings={1: start, 2: start + 180},
                             stands={1: book.stands[1], 2: book.stands[1]})
            for change, other in (("closing shots", closed), ("read again, turned half round", turned)):
                told = table.loc[table["change"] == change, "u"].to_numpy()
                own = [yard.u(one.condition, other) * MM for one in check_finish(
                    yard.finish, yard.brief, budget=other.errors()).worst]
                assert told == pytest.approx(own, rel=1e-7)


def pit(seed: int) -> Ground:
    """Invented ground about the first drawn yard's formation, both above and below it, its spots named S1 and so on."""
    yard, rng = drawn_yard(0), np.random.default_rng([151, seed])
    x, y = rng.uniform(-0.5, yard.width + 0.5, 9), rng.uniform(-0.5, yard.area.bounds[3] + 0.5, 9)
    level = np.array([yard.finish.facets[0].plane.level_at(*one) for one in zip(x, y, strict=True)]) + rng.normal(0, 0.05, 9)
    return Ground(x, y, level, points=[f"S{number}" for number in range(1, 10)])


def volume(ground: Ground, finish: Finish, area: Any) -> float:
    works = cut_and_fill(ground, finish, area)
    return float(works.cut + works.fill)


class TestVolume:
    def test_its_standard_uncertainty_is_that_of_many_perturbed_grounds(self) -> None:
        """2,000 grounds, exact volumes each; a standard deviation of N trials is known within 1/√(2N) of itself."""
        for seed in range(2):
            yard = drawn_yard(seed, exists=True)
            names = list(yard.surveyed)
            marks, rng = yard.book.marks, np.random.default_rng([152, seed])
            x, y = (np.array([getattr(marks[name], axis) for name in names]) for axis in "xy")
            plane = yard.finish.facets[0].plane
            level = np.array(plane.level_at(x, y)) + rng.normal(0, 0.05, len(names))
            ground = Ground(x, y, level, points=names)
            told = sensitivity(yard.verdicts, ground=ground).volume_u()
            fall = ground.plane_fit().plane.fall
            effect = yard.book.effects(names)
            spread = effect @ effect.T + (yard.book.budget.tape * fall)**2 * np.eye(len(names))
            out = rng.multivariate_normal(np.zeros(len(names)), spread, 2000)
            found = [volume(Ground(x, y, level + one), yard.finish, yard.area) for one in out]
            assert told == pytest.approx(np.std(found), rel=4 / math.sqrt(2 * 2000) + 0.01)

    def test_without_a_ground_or_names_there_is_none(self) -> None:
        ground = pit(1)
        assert sensitivity(BUILT[0].verdicts).volume_u() is None
        nameless = Ground(ground.x, ground.y, ground.level)
        assert sensitivity(BUILT[0].verdicts, ground=nameless).volume_u() is None

    def test_a_ground_whose_spots_the_book_does_not_hold_is_dealt_with(self) -> None:
        ground = pit(1)
        stranger = Ground(ground.x, ground.y, ground.level, points=[f"far {number}" for number in range(9)])
        found = sensitivity(BUILT[0].verdicts, ground=stranger).volume_u()
        assert found is None or found > 0
