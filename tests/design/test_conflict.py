"""Which demands fight and what each would give, against all subsets and linear programmes of our own."""

from __future__ import annotations

import re
import warnings
from itertools import combinations
from typing import Any

import numpy as np
import pytest
from own_programme import GREATEST, SAME, Rows, easier, limits_of, own_rows, smallest_sets, solve_programme
from random_jobs import RandomJob, quarrelling_job

from sitelevels import (
    AccessCover,
    Brief,
    Clearance,
    FallAway,
    Ground,
    Gully,
    KeepBelow,
    MaxGradient,
    Meet,
    Spot,
    Step,
    SurveyWarning,
    Wall,
    solve_finish,
)

JOBS = 100
WITHOUT_END = 1000.0  # m or m/m: a greatest limit eased by so much limits nothing


def numbers(seed: int) -> np.random.Generator:
    return np.random.default_rng([83, seed])


class Trial:
    """A random job whose demands fight, all its smallest sets by our own programmes, and what the solver says of it."""

    def __init__(self, job: RandomJob, sets: set[frozenset[int]]) -> None:
        self.job, self.sets = job, sets
        self.demands = job.brief.every_demand
        self.solution = solve_finish(job.brief, job.ground)
        with warnings.catch_warnings():  # a test of its own asks that there be none
            warnings.simplefilter("ignore", SurveyWarning)
            self.quarrel = self.solution.quarrel

    def number(self, demand: Any) -> int:
        return self.demands.index(demand)

    def missed(self, changed: dict[int, dict[str, float]], *, cautious: bool, without: int | None = None) -> float:
        """By how much the whole brief is missed, some limits changed."""
        keep = [number for number in range(len(self.demands)) if number != without]
        return own_rows(self.job, self.demands, changed, cautious=cautious).missed(keep)[0]


def drawn(seed: int) -> Trial:
    """A job that cannot be met, whose sets are the same for a true circle of gradients and for 32 sides inside it."""
    rng = numbers(seed)
    while True:
        job = quarrelling_job(rng, parted=seed % 3 == 0)
        demands = job.brief.every_demand
        rows = own_rows(job, demands)
        if rows.missed()[0] < 1e-4:
            continue
        sets = smallest_sets(rows, len(demands))
        if any(isinstance(demand, MaxGradient) for demand in demands) and \
                smallest_sets(own_rows(job, demands, cautious=False), len(demands)) != sets:
            continue
        return Trial(job, sets)


@pytest.fixture(scope="module")
def trials() -> list[Trial]:
    return [drawn(seed) for seed in range(JOBS)]


class TestSets:
    def test_at_least_twenty_jobs_have_two_quarrels_that_share_no_demand(self, trials: list[Trial]) -> None:
        assert sum(any(not one & two for one, two in combinations(trial.sets, 2)) for trial in trials) >= 20
        assert {len(one) for trial in trials for one in trial.sets} >= {2, 3, 4}
        assert max(len(trial.demands) for trial in trials) == 8

    def test_each_told_set_fights_and_every_part_of_it_can_be_met(self, trials: list[Trial]) -> None:
        for trial in trials:
            assert not trial.solution.solved
            rows = own_rows(trial.job, trial.demands)
            for conflict in trial.solution.conflicts:
                one = [trial.number(demand) for demand in conflict.demands]
                assert rows.missed(one)[0] > SAME
                for number in one:
                    assert rows.missed(set(one) - {number})[0] <= SAME

    def test_all_smallest_sets_are_told_the_smallest_first(self, trials: list[Trial]) -> None:
        for trial in trials:
            told = [frozenset(map(trial.number, conflict.demands)) for conflict in trial.solution.conflicts]
            assert len(set(told)) == len(told)
            assert set(told) == trial.sets
            assert [len(one) for one in told] == sorted(map(len, told))

    def test_what_would_change_is_asked_of_each_demand_in_them(self, trials: list[Trial]) -> None:
        for trial in trials:
            fighting = set().union(*trial.sets)
            assert {trial.number(change.demand) for change in trial.quarrel.changes} == fighting
            assert len(trial.quarrel.changes) == len(fighting)


def beyond(field: str, old: float, new: float, by: float) -> float:
    """A stated limit with so much more ease, or less where `by` is negative, yet never tighter than it was."""
    more = easier(field, new, by)
    return max(more, old) if field in GREATEST else min(more, old)


class TestChanges:
    def test_a_little_more_is_enough_and_a_little_less_is_not(self, trials: list[Trial]) -> None:
        asked = fields = 0
        for trial in trials:
            for change in trial.quarrel.changes:
                if not (change.enough and change.values):
                    continue
                number, old = trial.number(change.demand), limits_of(change.demand)
                step = 1e-4 if change.demand.unit == "mm" else 1e-5
                more = {field: beyond(field, old[field], new, step) for field, new in change.values.items()}
                less = {field: beyond(field, old[field], new, -step) for field, new in change.values.items()}
                # between the true circle of a greatest gradient and the 32 sides inside it
                assert trial.missed({number: more}, cautious=False) <= SAME
                assert trial.missed({number: less}, cautious=True) > SAME
                assert limits_of(change.changed) == pytest.approx({**old, **change.values}, abs=1e-12)
                assert type(change.changed) is type(change.demand)
                asked, fields = asked + 1, max(fields, len(change.values))
        assert asked > 60

    def test_two_limits_of_one_demand_change_together_where_neither_alone_would_do(self) -> None:
        """Paving at 9.900 m under treads at 9.980 and 10.040 m: steps of 80 and 140 mm, where 100 to 120 mm are asked for."""
        step = Step([("low", 1, 1, 9.98), ("high", 5, 3, 10.04)], 0.100, 0.120)
        paving = Meet([("A", 0, 0, 9.9), ("B", 6, 0, 9.9), ("C", 0, 4, 9.9)], 0.0)
        brief = Brief([(0, 0), (6, 0), (6, 4), (0, 4)], demands=[step, paving])
        solution = solve_finish(brief, Ground([0, 6, 6, 0], [0, 0, 4, 4], [9.8] * 4))
        change = next(change for change in solution.quarrel.changes if change.demand == step)
        assert change.enough
        assert change.values == pytest.approx({"least": 0.080, "most": 0.140}, abs=2e-6)
        assert shown(change.words, "mm") == [(0.08, 0.1), (0.14, 0.12)]

    def test_where_no_change_is_enough_none_is(self, trials: list[Trial]) -> None:
        hopeless = 0
        for trial in trials:
            for change in trial.quarrel.changes:
                number, old = trial.number(change.demand), limits_of(change.demand)
                far = {field: easier(field, value, WITHOUT_END) for field, value in old.items()}
                if old:
                    assert (trial.missed({number: far}, cautious=True) <= SAME) == change.enough
                else:
                    assert (trial.missed({}, cautious=True, without=number) <= SAME) == change.enough
                if not change.enough:
                    assert change.changed is None
                    assert change.values == {}
                    hopeless += 1
        assert hopeless > 60

    def test_of_several_limits_the_one_that_gives_least_is_told(self, trials: list[Trial]) -> None:
        asked = 0
        for trial in trials:
            for change in trial.quarrel.changes:
                if len(change.values) != 1:
                    continue
                number, old = trial.number(change.demand), limits_of(change.demand)
                (told, new), = change.values.items()
                give = abs(new - old[told])
                for field in set(old) - {told}:
                    assert trial.missed({number: {field: easier(field, old[field], give - 1e-5)}}, cautious=True) > SAME
                    asked += 1
        assert asked > 20


NUMBER = {"mm": r"(-?[\d.]+) mm\b(?!/)", "mm/m": r"(?:1:([\d.]+)|level) \(([\d.]+) mm/m\)"}


def shown(words: str, unit: str) -> list[tuple[float, float]]:
    """New and old limits in the words of a change, m or m/m; of a fall its ratio."""
    falls = [1 / float(run) if run else 0.0 for run, _ in re.findall(NUMBER["mm/m"], words)] if unit == "mm/m" else []
    found = falls or [float(size) / 1000 for size in re.findall(NUMBER["mm"], words)]
    return list(zip(found[::2], found[1::2], strict=True))


class TestWords:
    def test_the_new_limit_is_rounded_to_the_easier_side(self, trials: list[Trial]) -> None:
        asked = 0
        for trial in trials:
            for change in [*trial.quarrel.changes, *trial.quarrel.shared]:
                told = shown(change.words, change.demand.unit)
                assert len(told) == len(change.values)
                for (field, new), (said, old) in zip(change.values.items(), told, strict=True):
                    room = 1.01e-4 if change.demand.unit == "mm" else max(0.05 * new**2, 5e-5) * 2.1
                    sign = 1 if field in GREATEST else -1
                    assert -1e-9 <= sign * (said - new) < room
                    assert old == pytest.approx(limits_of(change.demand)[field], abs=5.1e-4)
                    asked += 1
        assert asked > 100

    def test_so_is_the_fall_in_mm_per_m_beside_the_ratio(self, trials: list[Trial]) -> None:
        asked, harder = 0, []
        for trial in trials:
            for change in [*trial.quarrel.changes, *trial.quarrel.shared]:
                if change.demand.unit == "mm/m":
                    said = [float(size) / 1000 for _, size in re.findall(NUMBER["mm/m"], change.words)][::2]
                    for (field, new), one in zip(change.values.items(), said, strict=True):
                        asked += 1
                        if (one - new if field in GREATEST else new - one) < -1e-9:
                            harder.append((field, new, change.words))
        assert asked > 20
        assert harder == []

    def test_following_the_words_of_a_length_is_enough(self, trials: list[Trial]) -> None:
        asked = 0
        for trial in trials:
            for change in trial.quarrel.changes:
                if change.enough and change.values:
                    told = shown(change.words, change.demand.unit)
                    as_said = {field: said for field, (said, _) in zip(change.values, told, strict=True)}
                    assert trial.missed({trial.number(change.demand): as_said}, cautious=False) <= SAME
                    asked += 1
        assert asked > 60


def least_share(trial: Trial, *, cautious: bool) -> float | None:
    """The least greatest share of its limit that any limit of the fighting demands must give; None where all are of no use."""
    fighting = set().union(*trial.sets)
    plain = own_rows(trial.job, trial.demands, cautious=cautious)
    fields = [(number, field, value) for number in sorted(fighting) for field, value in limits_of(trial.demands[number]).items()
              if value > 0]
    # how each right-hand side moves with each limit: by writing the rows with that limit eased by 1 mm or 1 mm/m
    moves = []
    for number, field, value in fields:
        by = min(1e-3, value)
        eased = own_rows(trial.job, trial.demands, {number: {field: easier(field, value, by)}}, cautious=cautious)
        moves.append((eased.b - plain.b) / by)
    q = len(fields)
    if not q:
        return None
    a = np.column_stack([plain.a, -np.array(moves).T, np.zeros(len(plain.b))])
    of_share = np.column_stack([np.zeros((q, 3)), np.eye(q), [-value for _, _, value in fields]])
    bounds = [(None, None)] * 3 + [(0, None if field in GREATEST else value) for _, field, value in fields] + [(0, None)]
    x = solve_programme([0] * (3 + q) + [1], np.vstack([a, of_share]), np.append(plain.b + SAME / 2, np.zeros(q)), bounds)
    return None if x is None else float(x[-1])


class TestSharing:
    def test_the_shared_give_is_enough(self, trials: list[Trial]) -> None:
        asked = 0
        for trial in trials:
            if trial.quarrel.share is None:
                assert trial.quarrel.shared == ()
                continue
            changed = {trial.number(change.demand): limits_of(change.changed) for change in trial.quarrel.shared}
            assert trial.missed(changed, cautious=True) <= 2 * SAME
            asked += 1
        assert asked > 50

    def test_no_smaller_greatest_share_is(self, trials: list[Trial]) -> None:
        for trial in trials:
            strict, true = least_share(trial, cautious=True), least_share(trial, cautious=False)
            told = trial.quarrel.share
            assert (told is None) == (strict is None)
            if told is not None:
                assert true is not None
                assert true - 1e-5 < told < strict + 1e-5
                shares = [abs(new - old) / old for change in trial.quarrel.shared for field, new in change.values.items()
                          if (old := limits_of(change.demand)[field])]
                assert max(shares) == pytest.approx(told, abs=1e-4)


def test_a_job_that_can_be_met_has_no_quarrel() -> None:
    rng = numbers(10_000)
    met = 0
    while met < 10:
        job = quarrelling_job(rng, parted=False)
        if own_rows(job, job.brief.every_demand).missed()[0] == 0.0:
            solution = solve_finish(job.brief, job.ground)
            assert solution.solved
            assert solution.conflicts == ()
            assert solution.quarrel.changes == ()
            assert solution.cures == ()
            met += 1


def test_the_trial_of_subsets_itself_by_hand() -> None:
    """x ≤ 0 and x ≥ 1 fight; so do y ≤ 0, z ≤ 0 and y + z ≥ 1; nothing else does."""
    a = np.array([[1, 0, 0], [-1, 0, 0], [0, 1, 0], [0, 0, 1], [0, -1, -1], [0, 0, -1]], dtype=float)
    rows = Rows(a, np.array([0.0, -1.0, 0.0, 0.0, -1.0, 5.0]), np.arange(6), [""] * 6)
    assert smallest_sets(rows, 6) == {frozenset({0, 1}), frozenset({2, 3, 4})}


def test_the_solver_does_not_question_the_unit_of_what_it_proposes_itself() -> None:
    """1 m down over 6 m is 167 mm/m: steep, and no slip of a unit that anybody made. A warning here is an error."""
    spots = [("A", 3.0, 0.0, 10.0), ("B", 3.0, 6.0, 9.0)]
    demands = [Meet([spots[0]], 0.0), Meet([spots[1]], 0.0), MaxGradient(0.05)]
    brief = Brief([(0, 0), (6, 0), (6, 6), (0, 6)], demands=demands)
    solution = solve_finish(brief, Ground([0, 6, 6, 0], [0, 0, 6, 6], [10.0, 10.0, 9.0, 9.0]))
    change = next(change for change in solution.quarrel.changes if isinstance(change.demand, MaxGradient))
    assert change.enough
    assert change.values["most"] == pytest.approx(1 / 6, rel=0.005)


def test_a_cover_that_is_to_be_reset_lower_gives_more_of_it_not_less() -> None:
    """At most 9.900 m under a sill, at least 10.000 − 0.006 − 0.020 m at a frame: 74 mm to share over 76 mm of limits."""
    cover = AccessCover([("frame", 3, 2, 10.0)], 0.006, lower=0.020)
    brief = Brief([(0, 0), (6, 0), (6, 4), (0, 4)], demands=[KeepBelow(("sill", 3, 2, 9.95), 0.05), cover])
    solution = solve_finish(brief, Ground([0, 6, 6, 0], [0, 0, 4, 4], [9.8] * 4))
    assert solution.quarrel.share == pytest.approx(74 / 76, abs=1e-5)
    values = {field: value for change in solution.quarrel.shared for field, value in change.values.items()}
    for field, old in (("within", 0.006), ("lower", 0.020)):
        assert values[field] == pytest.approx(old * (1 + 74 / 76), abs=1e-5)
    assert values["by"] == pytest.approx(0.05 * (1 - 74 / 76), abs=1e-5)


def test_a_quarrel_by_hand() -> None:
    """150 mm below a DPC of 10.000 m and 1:50 down over 4 m leave 9.770 m at the far edge: 30 mm below what is to be met."""
    wall = Wall("wall", (0, 0), (6, 0), dpc=10.0)
    demands = [Clearance("wall", 0.15), FallAway("wall", 0.02), Meet([("P", 3.0, 4.0, 9.80)], 0.0)]
    brief = Brief([(0, 0), (6, 0), (6, 4), (0, 4)], walls=[wall], demands=demands)
    solution = solve_finish(brief, Ground([0, 6, 6, 0], [0, 0, 4, 4], [9.9, 9.9, 9.8, 9.8]))
    assert [set(conflict.demands) for conflict in solution.conflicts] == [set(demands)]
    assert solution.conflicts[0].words.startswith("These 3 cannot all be met: ")
    found = {type(change.demand).__name__: change.values for change in solution.quarrel.changes}
    # 9.80 + 0.08 = 9.88 leaves 120 mm; (9.85 − 9.80) / 4 is 1:80; 9.80 − 9.77 is 30 mm
    assert found["Clearance"]["least"] == pytest.approx(0.120, abs=1e-6)
    assert found["FallAway"]["least"] == pytest.approx(0.0125, abs=1e-6)
    assert found["Meet"]["within"] == pytest.approx(0.030, abs=1e-6)
    # shared: 0.15 s + 4 × 0.02 s = 0.030 m, as nothing can be shared of a limit of nought
    assert solution.quarrel.share == pytest.approx(0.030 / 0.23, abs=1e-5)


@pytest.mark.parametrize(("grating", "said"), [(9.8005, "It goes 37 mm lower at G."), (9.7295, "It goes 34 mm higher at G.")])
def test_the_usual_cure_for_a_gully_is_to_reset_its_grating(grating: float, said: str) -> None:
    """9.850 m at the wall and 1:50 over 4 m are 9.770 m at the gully: 6.5 mm below that is the middle of 3 mm to 10 mm."""
    wall = Wall("wall", (0, 0), (6, 0), dpc=10.0)
    kept = [FallAway("wall", 0.02, most=0.02), Meet([("M", 0.0, 0.0, 9.85), ("N", 6.0, 0.0, 9.85)], 0.0)]
    gully = Gully(("G", 3.0, 4.0, grating), (0.003, 0.01))
    brief = Brief([(0, 0), (6, 0), (6, 4), (0, 4)], walls=[wall], demands=[*kept, gully])
    solution = solve_finish(brief, Ground([0, 6, 6, 0], [0, 0, 4, 4], [9.9, 9.9, 9.8, 9.8]))
    first = solution.cures[0]
    assert first.works
    assert first.words.startswith("The grating reset at G: that does it, ")
    assert f" {said} Its frame is taken up and bedded again so that the paving stands 3 mm to 10 mm proud of it; " in first.words


def test_two_demands_cannot_both_be_met() -> None:
    demands = [KeepBelow(("sill", 3, 2, 9.95), 0.05), Meet([("P", 3, 2, 10.0)], 0.0)]
    brief = Brief([(0, 0), (6, 0), (6, 4), (0, 4)], demands=demands)
    (conflict,) = solve_finish(brief, Ground([0, 6, 6, 0], [0, 0, 4, 4], [9.8] * 4)).conflicts
    assert conflict.words.startswith("These 2 cannot both be met: ")


def test_of_two_gives_alike_the_higher_step_is_told_for_a_low_one_trips() -> None:
    """Paving that meets E and F falls 60 mm from sill to sill, where 15 mm of step are left: 45 mm are wanting either way."""
    brief = Brief([(0, 0), (6, 0), (6, 4), (0, 4)], demands=[
        Step((Spot("s1", 0, 0, 10.0), Spot("s2", 6, 0, 10.0)), 0.075, 0.090), Meet([("E", 0, 4, 9.9), ("F", 6, 4, 9.84)], 0.0)])
    quarrel = solve_finish(brief, Ground([0, 6, 6, 0], [0, 0, 4, 4], [9.9] * 4)).quarrel
    (step,) = (one for one in quarrel.changes if isinstance(one.demand, Step))
    assert step.words == "let the step at s1, s2 be as high as 135.0 mm instead of 90 mm"
