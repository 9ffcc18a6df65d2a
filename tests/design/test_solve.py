"""The best surface against linear programmes, drawn planes and an integral that share no code with the solver."""

from __future__ import annotations

import itertools
from typing import Any

import numpy as np
import pytest
import shapely
from own_programme import (
    GREATEST,
    OwnVolume,
    Rows,
    easier,
    least_off,
    limits_of,
    own_rows,
    plane_of,
    solve_programme,
    targets_of,
    u_of,
    with_misses,
)
from random_jobs import RandomJob, bare_job, demand_on, solvable_job

from sitelevels import Finish, Ground, MaxGradient, Solution, check_finish, cut_and_fill, solve_finish

Array = Any
AIMS = ("target fall", "least dig")
DRAWN = 20_000
ROOM = 1e-8  # m or m/m: what the solver allows itself for the last digits, and as much again
FAR = np.array([1.0, 0.2, 0.2])  # m and m/m round the solved surface: planes farther off are not drawn


def numbers(seed: int) -> np.random.Generator:
    return np.random.default_rng([71, seed])


def surface_of(job: RandomJob, solution: Solution) -> Array:
    assert solution.finish is not None
    (facet,) = solution.finish.facets
    return u_of(job, facet.plane)


def moved(job: RandomJob, finish: Finish) -> float:
    works = cut_and_fill(job.ground, finish.lowered(job.brief.build_up), job.brief.area)
    return works.cut + works.fill


def corners_of(rng: np.random.Generator, a: Array, b: Array, middle: Array, count: int) -> Array:
    """Corners of a feasible region, each farthest in a drawn direction on the plane's unknowns: (k, 3)."""
    bounds = [*zip(middle - FAR, middle + FAR, strict=True), *[(None, None)] * (a.shape[1] - 3)]
    found = []
    for way in rng.normal(size=(count, 3)) / FAR:
        x = solve_programme(np.append(way, np.zeros(a.shape[1] - 3)), a, b, bounds)
        if x is not None:
            found.append(x[:3])
    return np.array(found).reshape(-1, 3)


def mixed(rng: np.random.Generator, corners: Array, count: int) -> Array:
    """Planes drawn as mixtures of corners, many near a corner or an edge."""
    return rng.dirichlet(np.full(len(corners), 0.3), count) @ corners


class Trial:
    """A random job, its solution and planes drawn inside its feasible region."""

    def __init__(self, seed: int) -> None:
        rng = numbers(seed)
        self.job, self.aim = solvable_job(rng), AIMS[seed % 2]
        self.demands = self.job.brief.every_demand
        self.solution = solve_finish(self.job.brief, self.job.ground, aim=self.aim)
        self.u = surface_of(self.job, self.solution)
        self.rows = own_rows(self.job, self.demands)
        self.falls, self.targets = targets_of(self.job, self.demands)
        self.volume = OwnVolume(self.job)
        self.planes = mixed(rng, np.vstack([corners_of(rng, self.rows.a, self.rows.b, self.u, 14), self.u]), DRAWN)
        a, b = self.rows.a, self.rows.b + ROOM
        if self.aim == AIMS[0] and len(self.targets):
            # level on the first aim: the sum of what the targets are missed by is no more than the solver's
            k, off = len(self.targets), self.off(self.u[None])[0]
            a, b = with_misses(Rows(a, b, self.rows.owner, self.rows.field), self.falls, self.targets)
            a, b = np.vstack([a, [0.0] * 3 + [1.0] * k]), np.append(b, off + ROOM)
        self.level_region = a, b
        level = mixed(rng, np.vstack([corners_of(rng, a, b, self.u, 8), self.u]), 120)
        near = 10 ** rng.uniform(-3.0, 0.0, (len(level), 1))
        self.level = np.vstack([level, self.u + near * (level - self.u)])  # both all over the region and close by

    def off(self, planes: Array) -> Array:
        """How far planes (k, 3) miss their targets in all, m/m."""
        return np.abs(planes @ self.falls.T - self.targets).sum(axis=1)

    def broken(self, planes: Array) -> float:
        return float((planes @ self.rows.a.T - self.rows.b).max(initial=0.0))

    def bound(self, enough: float) -> float:
        """A volume below which no plane level on the first aim can come: the lowest point of its tangents at drawn planes.

        Where that is less than `enough`, a tangent is added at that point, and so on.
        """
        a, b = self.level_region
        planes, least = self.level, -np.inf
        bounds = [*zip(self.u - FAR, self.u + FAR, strict=True), *[(None, None)] * (a.shape[1] - 2)]
        cuts, limits = np.column_stack([a, np.zeros(len(b))]), b
        for _ in range(60):
            value, slope = self.volume(planes), self.volume.slope(planes)
            cuts = np.vstack([cuts, np.column_stack([slope, np.zeros((len(slope), a.shape[1] - 3)), -np.ones(len(slope))])])
            limits = np.append(limits, (slope * planes).sum(axis=1) - value)
            found = solve_programme(np.append(np.zeros(a.shape[1]), 1.0), cuts, limits, bounds)
            assert found is not None
            planes, least = found[None, :3], float(found[-1])
            if least > enough:
                break
        return least


JOBS = 120


@pytest.fixture(scope="module")
def trials() -> list[Trial]:
    return [Trial(seed) for seed in range(JOBS)]


class TestRandomJobs:
    def test_they_are_of_every_kind(self, trials: list[Trial]) -> None:
        kinds = {type(demand).__name__ for trial in trials for demand in trial.demands}
        assert kinds == {"Clearance", "FallAway", "FallAlong", "MaxGradient", "Meet", "AccessCover", "Step", "Cover", "KeepBelow",
                         "Gully", "ClosedEdge"}
        assert {len(trial.job.walls) for trial in trials} == {1, 2}
        assert {len(trial.job.brief.area.exterior.coords) - 1 for trial in trials} == {4, 6, 8}
        assert min(len(trial.job.ground.x) for trial in trials) < 30
        assert max(len(trial.job.ground.x) for trial in trials) > 140
        for aim in AIMS:
            with_target = sum(bool(len(trial.targets)) for trial in trials if trial.aim == aim)
            assert JOBS / 10 < with_target < 0.475 * JOBS

    def test_each_is_solved_and_every_verdict_is_met(self, trials: list[Trial]) -> None:
        for trial in trials:
            assert trial.solution.solved
            assert set(check_finish(trial.solution.finish, trial.job.brief).table["verdict"]) == {"met"}
            assert trial.broken(trial.u[None]) < ROOM

    def test_the_volume_told_is_that_of_the_earthworks_and_of_another_integral(self, trials: list[Trial]) -> None:
        for trial in trials:
            assert trial.solution.volume == pytest.approx(moved(trial.job, trial.solution.finish), rel=1e-9)
            assert trial.solution.volume == pytest.approx(float(trial.volume(trial.u[None])[0]), rel=1e-9)

    def test_no_drawn_plane_is_nearer_the_first_aim(self, trials: list[Trial]) -> None:
        asked = 0
        for trial in trials:
            assert trial.broken(trial.planes) < ROOM
            if trial.aim == AIMS[0] and len(trial.targets):
                off = trial.off(trial.u[None])[0]
                assert trial.solution.off_target == pytest.approx(off, abs=1e-9)
                assert trial.off(trial.planes).min() > off - ROOM
                # and the least of all by a programme: between the true circle of a greatest gradient and 32 sides inside it
                assert off < least_off(trial.rows, trial.falls, trial.targets) + ROOM
                true = own_rows(trial.job, trial.demands, cautious=False)
                assert off > least_off(true, trial.falls, trial.targets) - ROOM
                asked += 1
            elif trial.aim == AIMS[1]:
                assert trial.volume(trial.planes[:200]).min() > trial.solution.volume * (1 - 1e-3)
                asked += 1
        assert asked > 0.6 * JOBS

    def test_none_level_with_it_moves_less(self, trials: list[Trial]) -> None:
        for trial in trials:
            assert trial.broken(trial.level) < 3 * ROOM
            assert trial.volume(trial.level).min() > trial.solution.volume * (1 - 1e-3)

    def test_none_could_by_the_tangents_of_the_volume(self, trials: list[Trial]) -> None:
        for trial in trials:
            enough = trial.solution.volume * (1 - 1e-3)
            assert trial.bound(enough) > enough

    def test_the_order_of_demands_and_spots_does_not_matter(self, trials: list[Trial]) -> None:
        for seed, trial in enumerate(trials[:100]):
            rng, job = numbers(1000 + seed), trial.job
            order, spots = rng.permutation(len(job.brief.demands)), rng.permutation(len(job.ground.x))
            other = job.with_demands(*(job.brief.demands[place] for place in order), closed=job.brief.closed)
            ground = Ground(job.ground.x[spots], job.ground.y[spots], job.ground.level[spots])
            corners = shapely.get_coordinates(job.brief.area) - job.middle
            again, shuffled = (surface_of(job, solve_finish(*given, aim=trial.aim))
                               for given in ((job.brief, job.ground), (other.brief, ground)))
            for one in (again, shuffled):
                apart = (one - trial.u)[0] + corners @ (one - trial.u)[1:]
                assert np.abs(apart).max() < 1e-4


def eased_job(job: RandomJob, number: int, field: str, by: float) -> RandomJob:
    demands = list(job.brief.demands)
    demands[number] = demands[number].changed(**{field: easier(field, limits_of(demands[number])[field], by)})
    return job.with_demands(*demands, closed=job.brief.closed)


def multipliers(rows: Rows, u: Array, slope: Array, number: int, field: str) -> tuple[float, float] | None:
    """Least and most that the volume falls by for each m or m/m of ease of a limit, by the conditions at its minimum.

    There −slope is a mixture of the rows at their limits, with shares of nought or more; these are the wanted numbers. None
    where that fails to a hundredth, as it does where a bend of the volume is the reason.
    """
    held = np.flatnonzero(rows.b - rows.a @ u < 1e-6)
    a, count = rows.a[held].T, len(held)
    mine = np.array([float(rows.owner[row] == number and field in rows.field[row].split()) for row in held])
    for room in (1e-4, 1e-3, 1e-2):
        loose = room * np.abs(slope * FAR).max() / FAR
        limits = np.concatenate([loose - slope, loose + slope])
        found = [solve_programme(sign * mine, np.vstack([a, -a]), limits, [(0, None)] * count) for sign in (1.0, -1.0)]
        if all(one is not None for one in found):
            return tuple(float(mine @ one) for one in found)  # type: ignore[return-value]
    return None


def slope_of_earthworks(job: RandomJob, u: Array, step: float = 1e-5) -> Array:
    """Central differences of the exact volume, each from cut_and_fill."""
    return np.array([(moved(job, Finish.plane(plane_of(job, u + shift), job.brief.area))
                      - moved(job, Finish.plane(plane_of(job, u - shift), job.brief.area))) / (2 * step)
                     for shift in step * np.eye(3)])


class TestRelief:
    """What 1 mm or 1 mm/m of relief saves."""

    RELIEF = 0.001

    def test_solving_again_saves_as_much_and_comes_as_near(self, trials: list[Trial]) -> None:
        asked = 0
        for trial in trials[:60]:
            places = {demand: number for number, demand in enumerate(trial.job.brief.demands)}
            for one in trial.solution.binding:
                if not one.limit or (one.limit not in GREATEST and limits_of(one.demand)[one.limit] < self.RELIEF):
                    continue
                eased = eased_job(trial.job, places[one.demand], one.limit, self.RELIEF)
                again = solve_finish(eased.brief, eased.ground, aim=trial.aim)
                assert one.saving == pytest.approx(trial.solution.volume - again.volume, abs=1e-4)
                assert one.nearer == pytest.approx(trial.solution.off_target - again.off_target, abs=1e-7)
                if trial.aim == AIMS[0] and not any(isinstance(demand, MaxGradient) for demand in trial.demands):
                    rows = own_rows(eased, eased.brief.every_demand)
                    nearer = least_off(trial.rows, trial.falls, trial.targets) - least_off(rows, trial.falls, trial.targets)
                    assert one.nearer == pytest.approx(nearer, abs=1e-7)
                asked += 1
        assert asked > 0.3 * JOBS

    def test_the_multipliers_of_the_minimum_say_the_same_to_first_order(self, trials: list[Trial]) -> None:
        """The least volume is convex in a limit, so 1 mm saves no more than its slope before, no less than its slope after."""
        asked = 0
        for trial in [one for one in trials if one.aim == AIMS[1] or not len(one.targets)][:60]:
            places = {demand: number for number, demand in enumerate(trial.job.brief.demands)}
            slope = slope_of_earthworks(trial.job, trial.u)
            for one in trial.solution.binding:
                if not one.limit or (one.limit not in GREATEST and limits_of(one.demand)[one.limit] < self.RELIEF):
                    continue
                number = places[one.demand]
                eased = eased_job(trial.job, number, one.limit, self.RELIEF)
                after = surface_of(eased, solve_finish(eased.brief, eased.ground, aim=trial.aim))
                rows = own_rows(eased, eased.brief.every_demand)
                before = multipliers(trial.rows, trial.u, slope, number, one.limit)
                later = multipliers(rows, after, slope_of_earthworks(eased, after), number, one.limit)
                if before is None or later is None:
                    continue
                felt = np.cos(np.pi / 32) if isinstance(one.demand, MaxGradient) else 1.0  # as its 32 sides feel it
                room = 0.02 * abs(one.saving) + 2e-4
                assert felt * self.RELIEF * later[0] - room < one.saving < felt * self.RELIEF * before[1] + room
                asked += 1
        assert asked > 0.3 * JOBS

    def test_a_binding_demand_is_at_its_limit_and_one_that_is_not_saves_nothing(self, trials: list[Trial]) -> None:
        for trial in trials[:60]:
            gaps = trial.rows.b - trial.rows.a @ trial.u
            told = {(one.demand, one.limit) for one in trial.solution.binding}
            for demand, limit in told:
                number = trial.demands.index(demand)
                mine = [gap for gap, owner, field in zip(gaps, trial.rows.owner, trial.rows.field, strict=True)
                        if owner == number and (not limit or limit in field.split())]
                assert min(mine) < 2e-6
        for trial in trials[:20]:
            told = {(one.demand, one.limit) for one in trial.solution.binding}
            for number, demand in enumerate(trial.job.brief.demands):
                for field, value in limits_of(demand).items():
                    if (demand, field) in told or (field not in GREATEST and value < self.RELIEF) or field in ("lower", "higher"):
                        continue
                    eased = eased_job(trial.job, number, field, self.RELIEF)
                    again = solve_finish(eased.brief, eased.ground, aim=trial.aim)
                    assert again.volume == pytest.approx(trial.solution.volume, abs=2e-4)
                    assert again.off_target == pytest.approx(trial.solution.off_target, abs=1e-6)


def test_volumes_and_slopes_of_the_other_integral_are_those_of_the_earthworks() -> None:
    for seed in range(6):
        job = bare_job(numbers(5000 + seed))
        volume = OwnVolume(job)
        for up in (-0.05, 0.0, 0.02):
            u = np.array([up, *job.hidden[1:]])
            expected = moved(job, Finish.plane(plane_of(job, u), job.brief.area))
            assert float(volume(u[None])[0]) == pytest.approx(expected, rel=1e-9)
            assert volume.slope(u[None])[0] == pytest.approx(slope_of_earthworks(job, u), abs=1e-5)


def test_demands_drawn_on_the_hidden_plane_are_met_by_it() -> None:
    """The random jobs are what they claim: checked by the verdicts, not by the programme."""
    for seed, kind in itertools.product(range(5), ("clearance", "away", "meet", "step", "cover", "below", "gully", "access")):
        rng = numbers(6000 + seed)
        job = bare_job(rng)
        job = job.with_demands(demand_on(rng, job, kind, "P"))
        hidden = plane_of(job, np.array([0.0, *job.hidden[1:]]))
        assert check_finish(Finish.plane(hidden, job.brief.area), job.brief).all_met

