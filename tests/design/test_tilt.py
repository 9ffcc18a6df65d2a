"""What a leaning plane of light does to a measured fall: more shots from one set-up do not help, turning the instrument does.

From one set-up a tilt moves the levels by a plane, so it is whole in every fall that is fitted to them: generalised least squares
with errors that lie in the space of the unknowns (Rao, Linear Statistical Inference and its Applications, 2nd ed. 1973,
section 4a; from memory). Two set-ups that are meaned share it out by the rules of variances.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace

import numpy as np
import pytest

from sitelevels import ErrorBudget, LevelErrors, read_book, reduce_book

BODY, LEVEL = 6e-5, 4e-5
BUDGET = ErrorBudget(tilt_body=BODY, tilt_level=LEVEL)
TAU = math.hypot(BODY, LEVEL)
WAYS = [(math.cos(angle), math.sin(angle)) for angle in np.radians([0, 30, 90, 160])]
REVERSED, SAME_WAY = {1: 0.0, 2: 180.0}, {1: 0.0, 2: 0.0}


def shot(budget: ErrorBudget, across: int, along: int, setups: int = 1, headings: Mapping[int, float] | None = None,
         stand: tuple[float, float] = (8.0, 6.0), fall: float = 0.0) -> LevelErrors:
    """A yard of 16 m × 12 m, level or falling along x: `across` × `along` points, all read from each of so many set-ups."""
    places = [(f"P{i}-{j}", 16 * i / (across - 1), 12 * j / (along - 1)) for i in range(across) for j in range(along)]
    rows = ["point,bs,is,rl,x,y,feature"]
    for _ in range(setups):
        rows.append("BM,1.500,,10.000,-3,-2,benchmark")
        rows += [f"{name},,{1.5 + fall * x:.6f},,{x:.4f},{y:.4f},ground" for name, x, y in places]
    rows.append("BM,,1.500,,-3,-2,benchmark")
    book = read_book("\n".join(rows))
    return budget.errors(reduce_book(book), instruments={number + 1: stand for number in range(setups)}, headings=headings)


def falls(errors: LevelErrors) -> list[float]:
    """u(fall) in m/m each way."""
    fit = errors.plane_fit(uneven=0.0)
    return [fit.fall_sd(*way) for way in WAYS]


class TestOneSetUp:
    SHOTS = ((2, 2), (6, 4), (20, 12))

    @pytest.mark.parametrize("headings", [None, {1: 0.0}, {1: 123.0}])
    @pytest.mark.parametrize("count", SHOTS)
    def test_the_fall_is_never_surer_than_the_tilt(self, count: tuple[int, int], headings: dict[int, float] | None) -> None:
        assert min(falls(shot(BUDGET, *count, headings=headings))) > TAU

    @pytest.mark.parametrize("count", SHOTS)
    def test_the_tilt_adds_its_own_variance_to_that_of_the_rest(self, count: tuple[int, int]) -> None:
        rest = falls(shot(replace(BUDGET, tilt_body=0, tilt_level=0), *count))
        assert falls(shot(BUDGET, *count)) == pytest.approx([math.hypot(u, TAU) for u in rest], rel=1e-6)

    @pytest.mark.parametrize("fall", [0.0, 0.05])
    def test_the_rest_is_that_of_plain_least_squares(self, fall: float) -> None:
        """No tilt and no cone: u of the gradient along x is s/√Σ(x − mean)², as in any textbook of statistics."""
        errors = shot(ErrorBudget(tilt_body=0, tilt_level=0, collimation=0), 6, 4, fall=fall)
        x = np.array([errors.place(point) for point in errors.ground_points()])[:, 0]
        single = math.hypot(0.001, 0.002, 0.010 * fall)  # reading, placing, and a tape that is 10 mm out on the slope
        assert falls(errors)[0] == pytest.approx(single / math.sqrt(((x - x.mean())**2).sum()), rel=1e-6)

    def test_more_shots_come_down_to_the_tilt_and_stay_there(self) -> None:
        few, some, many = (max(falls(shot(BUDGET, *count))) for count in self.SHOTS)
        assert few > some > many > TAU
        assert few > 2 * TAU
        assert many < 1.2 * TAU


class TestTwoSetUps:
    """The same points from two set-ups in the middle of them: 24, 240 and 1,200 points, the last 2,400 shots in all."""

    SHOTS = ((6, 4), (20, 12), (40, 30))

    def test_reversed_the_tilt_of_the_body_goes_out(self) -> None:
        budget = replace(BUDGET, tilt_level=0)
        few, some, many = (falls(shot(budget, *count, setups=2, headings=REVERSED)) for count in self.SHOTS)
        assert max(many) < BODY / 3
        assert max(many) < max(some) < max(few)
        assert max(some) < BODY  # where one set-up never comes

    def test_reversed_what_turns_with_it_is_nought_whatever_it_was(self) -> None:
        steady = falls(shot(replace(BUDGET, tilt_body=0, tilt_level=0), 6, 4, setups=2, headings=REVERSED))
        leaning = falls(shot(replace(BUDGET, tilt_body=0.01, tilt_level=0), 6, 4, setups=2, headings=REVERSED))
        assert leaning == pytest.approx(steady, rel=1e-6)

    @pytest.mark.parametrize("count", SHOTS)
    def test_reversed_the_tilt_of_each_levelling_stays(self, count: tuple[int, int]) -> None:
        for body in (0.0, BODY):
            assert min(falls(shot(replace(BUDGET, tilt_body=body), *count, setups=2, headings=REVERSED))) > LEVEL / math.sqrt(2)

    @pytest.mark.parametrize("count", SHOTS)
    def test_not_reversed_half_the_variance_stays_at_least(self, count: tuple[int, int]) -> None:
        """And in truth more: the body leans the same way both times, and only each levelling is meaned."""
        found = falls(shot(BUDGET, *count, setups=2, headings=SAME_WAY))
        assert min(found) > math.sqrt(BODY**2 + LEVEL**2 / 2) > TAU / math.sqrt(2)

    @pytest.mark.parametrize(("headings", "left"), [
        (REVERSED, LEVEL / math.sqrt(2)), (SAME_WAY, math.sqrt(BODY**2 + LEVEL**2 / 2)), (None, TAU / math.sqrt(2)),
        ({1: 40.0}, TAU / math.sqrt(2)), ({1: 10.0, 2: 100.0}, TAU / math.sqrt(2)), ({1: -170.0, 2: 370.0}, LEVEL / math.sqrt(2)),
        ({1: 0.0, 2: 120.0}, math.sqrt(BODY**2 / 4 + LEVEL**2 / 2))])
    def test_what_is_left_of_the_tilt(self, headings: dict[int, float] | None, left: float) -> None:
        """Half the sum of two vectors of one length at an angle a has the length cos(a/2): 180° nought, 90° √½, 120° ½."""
        rest = falls(shot(replace(BUDGET, tilt_body=0, tilt_level=0), 6, 4, setups=2, headings=headings))
        found = falls(shot(BUDGET, 6, 4, setups=2, headings=headings))
        assert found == pytest.approx([math.hypot(u, left) for u in rest], rel=1e-6)


class TestCone:
    """A cone is the same all round, so turning the instrument leaves it as it was; it tells from a stand to one side."""

    TURNED = (REVERSED, SAME_WAY, {1: 0.0, 2: 77.0}, None)
    ASIDE = (-4.0, 4.0)

    def test_it_adds_to_the_levels_by_their_distances_whichever_way_it_is_turned(self) -> None:
        """c² ed edᵀ, ed the distance of a point from the instrument less that of the benchmark, the same from both set-ups."""
        for headings in self.TURNED:
            with_cone, without = (shot(replace(BUDGET, collimation=sd), 6, 4, 2, headings, self.ASIDE) for sd in (5e-5, 0.0))
            places = np.array([with_cone.place(point) for point in with_cone.points])
            distance = np.hypot(*(places - self.ASIDE).T)
            further = distance - distance[with_cone.where["BM"]]
            assert with_cone.covariance - without.covariance == pytest.approx(5e-5**2 * np.outer(further, further), abs=1e-18)

    def test_it_adds_to_the_fall_the_same_whichever_way_it_is_turned(self) -> None:
        added = []
        for headings in self.TURNED:
            with_cone, without = (falls(shot(replace(BUDGET, collimation=sd), 6, 4, 2, headings, self.ASIDE))
                                  for sd in (2e-4, 0.0))
            added.append(np.square(with_cone) - np.square(without))
        assert added[0].max() > (5e-5)**2
        assert added == pytest.approx(np.array([added[0]] * len(added)), rel=1e-5, abs=0)
