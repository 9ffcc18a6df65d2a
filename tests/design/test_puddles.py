"""Standing water on pits whose depth is known, its chance against closed forms, and doors and buckets by hand.

A square pit with a level rim, on ground that falls away from it all round: water stands from its bottom to the lowest corner of
the rim, since from there a side of a triangle leads down to a corner of the plate.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import norm

from sitelevels import Ground, SurveyError
from sitelevels.design.conditions import Spot
from sitelevels.design.puddles import HOUR, RUNS, StandingWater, standing_water
from sitelevels.surface.ponding import Ponding, ponding

MM = 1e-3
MET, CLOSE, NOT = "met", "too close to call", "not met"
PLATE = [(0.0, 0.0), (6.0, 0.0), (6.0, 6.0), (0.0, 6.0)]
SOURCE = "NHBC Standards, 9.1.11, 2018 (text read)"
TOLD = 1000  # runs, where chances are compared


def pit(deep: float, *, half: float = 0.4, at: tuple[float, float] = (3.0, 3.0), datum: float = 0.0) -> Ponding:
    """A pit `deep` m deep, twice `half` m wide: four corners of the plate, four of the rim, the bottom."""
    (x, y), corners = at, np.array([(-1, -1), (1, -1), (1, 1), (-1, 1)])
    places = np.concatenate([PLATE, half * corners + np.array(at), [(x, y)]])
    return ponding(Ground(*places.T, datum + np.array([-0.1] * 4 + [0.0] * 4 + [-deep])), PLATE)


def verdicts(found: StandingWater) -> list[str]:
    return found.table["verdict"].tolist()


BOTTOM = np.diag([0.0] * 8 + [MM**2])
"""Only the bottom may be out, by 1 mm."""


class TestWithoutErrors:
    @pytest.mark.parametrize(("deep", "half", "expected"), [
        (4.0, 0.4, [MET, MET]), (5.0, 0.4, [MET, MET]), (5.01, 0.4, [NOT, MET]), (4.0, 0.5, [MET, MET]), (4.0, 0.501, [MET, NOT]),
        (5.0, 0.5, [MET, MET]), (9.0, 1.0, [NOT, NOT])])
    @pytest.mark.parametrize("datum", [0.0, 10.0, 123.456])
    def test_at_the_limits_of_5_mm_and_1_square_metre(self, deep: float, half: float, expected: list[str], datum: float) -> None:
        found = standing_water(pit(deep * MM, half=half, datum=datum))
        table = found.table
        assert table["what"].tolist() == ["depth", "area"]
        assert table["limit"].tolist() == [0.005, 1.0]
        assert table["found"].tolist() == pytest.approx([deep * MM, (2 * half) ** 2], abs=1e-9)
        assert table["chance"].isna().all()
        assert table["verdict"].tolist() == expected

    def test_the_widest_counts_not_all_of_them(self) -> None:
        """Two pits of 0.81 m² each: 1.62 m² in all."""
        corners = 0.45 * np.array([(-1, -1), (1, -1), (1, 1), (-1, 1)])
        places = np.concatenate([PLATE, *(corners + np.array(at) for at in ((1.5, 3), (4.5, 3))), [(1.5, 3), (4.5, 3), (3, 3)]])
        level = np.array([-0.1] * 4 + [0.0] * 8 + [-0.003, -0.004, -0.05])
        found = standing_water(ponding(Ground(*places.T, level), PLATE, outlets=[(3, 3)]))
        assert found.ponding.area == pytest.approx(1.62)
        assert found.table["found"].tolist() == pytest.approx([0.004, 0.81])
        assert verdicts(found) == [MET, MET]

    def test_no_water(self) -> None:
        found = standing_water(ponding(Ground([0, 6, 6, 0], [0, 0, 6, 6], [0, 0.1, 0.1, 0]), PLATE))
        assert found.table["found"].tolist() == [0.0, 0.0]
        assert verdicts(found) == [MET, MET]
        assert found.sentence() == f"No water stands: all rain can run off. {HOUR}"
        assert "should all run off" in found.bucket()


class TestChances:
    @pytest.mark.parametrize(("deep", "verdict"), [(3.0, MET), (3.7, CLOSE), (5.0, CLOSE), (6.3, CLOSE), (7.2, NOT)])
    def test_errors_of_the_bottom(self, deep: float, verdict: str) -> None:
        """Φ((d − 5 mm) / 1 mm): 2.3, 9.7, 50, 90.3 and 98.6 of 100; four standard deviations of the count."""
        found = standing_water(pit(deep * MM), covariance=BOTTOM, runs=TOLD)
        chance = float(norm.cdf(deep - 5))
        assert found.table["chance"][0] == pytest.approx(chance, abs=4 * math.sqrt(chance * (1 - chance) / TOLD))
        assert found.table["chance"][1] == 0.0  # 0.64 m², whatever the depth
        assert verdicts(found) == [verdict, MET]

    @pytest.mark.parametrize("deep", [5.0, 7.0, 9.0])
    def test_errors_of_every_spot(self, deep: float) -> None:
        """Deeper than 5 mm if all four corners of the rim lie so far above the bottom: ∫ φ(b) (1 − Φ(b + (5 − d) / σ))⁴ db."""
        sd = 1.5
        chance = quad(lambda b: norm.pdf(b) * norm.sf(b + (5 - deep) / sd) ** 4, -9, 9)[0]
        found = standing_water(pit(deep * MM, datum=50.0), covariance=sd * MM, runs=TOLD)
        assert found.table["chance"][0] == pytest.approx(chance, abs=4 * math.sqrt(chance * (1 - chance) / TOLD))

    def test_area_by_draws_of_its_own(self) -> None:
        """To the lowest corner of the rim at w: of each quarter the share (w − b)² / ((r₁ − b) (r₂ − b)); 20,000 draws."""
        half, deep, count = 0.53, 0.010, 20_000
        random = np.random.default_rng(41)
        rim, bottom = random.normal(0, MM, (4, count)), random.normal(-deep, MM, count)
        up = rim - bottom
        area = sum((up.min(axis=0) / up[corner]) * (up.min(axis=0) / up[corner - 1]) for corner in range(4)) * half**2
        chance = float((area > 1.0).mean())
        assert 0.1 < chance < 0.9
        found = standing_water(pit(deep, half=half), covariance=MM, runs=TOLD)
        scatter = math.sqrt(chance * (1 - chance) * (1 / TOLD + 1 / count))
        assert found.table["chance"][1] == pytest.approx(chance, abs=4 * scatter)
        assert verdicts(found)[1] == CLOSE
        assert found.again is not None
        assert np.quantile(found.again.widest, [0.2, 0.5, 0.8]) == pytest.approx(np.quantile(area, [0.2, 0.5, 0.8]), rel=0.02)

    def test_common_errors_have_no_effect(self) -> None:
        for deep, chance, verdict in ((4.9, 0.0, MET), (5.1, 1.0, NOT)):
            found = standing_water(pit(deep * MM), covariance=np.full((9, 9), (20 * MM) ** 2))
            assert (found.table["chance"][0], found.table["verdict"][0]) == (chance, verdict)

    @pytest.mark.parametrize(("of", "verdict"), [(0, MET), (5, MET), (6, CLOSE), (50, CLOSE), (94, CLOSE), (95, NOT), (100, NOT)])
    def test_the_ends_of_too_close(self, of: int, verdict: str) -> None:
        """So many of a hundred runs 6 mm deep, the others 4 mm; 0.95 asked of either verdict."""
        assert verdicts(self.counted(of, 0.95))[0] == verdict

    def test_at_nine_of_ten(self) -> None:
        assert verdicts(self.counted(10, 0.9))[0] == MET

    def counted(self, of: int, sure: float) -> StandingWater:
        pond = pit(4 * MM)
        levels = np.tile(pond.ground.level, (100, 1))
        levels[:of, 8] = -6 * MM
        return StandingWater(pond, pond.again(levels), (), sure)

    @pytest.mark.parametrize(("sure", "verdict"), [(0.95, CLOSE), (0.85, MET)])
    def test_how_sure_is_a_choice(self, sure: float, verdict: str) -> None:
        """A chance of 9.7 of 100."""
        assert verdicts(standing_water(pit(3.7 * MM), covariance=BOTTOM, runs=TOLD, sure=sure))[0] == verdict

    def test_a_deviation_is_its_covariance(self) -> None:
        pond = pit(5 * MM)
        one, two = (standing_water(pond, covariance=given).again for given in (2 * MM, 4e-6 * np.eye(9)))
        assert one is not None
        assert two is not None
        assert one.depth == pytest.approx(two.depth, abs=1e-12)

    def test_runs_and_seed(self) -> None:
        pond = pit(5 * MM)
        usual, same, other, few = (standing_water(pond, covariance=MM, **more).again for more in (
            {}, {"seed": 1}, {"seed": 2}, {"runs": 25}))  # type: dict[str, Any]
        assert usual is not None
        assert same is not None
        assert other is not None
        assert few is not None
        assert usual.levels.shape == (RUNS, 9)
        assert few.levels.shape == (25, 9)
        assert np.array_equal(usual.depth, same.depth)
        assert not np.array_equal(usual.depth, other.depth)
        assert usual.levels.mean(axis=0) == pytest.approx(pond.ground.level, abs=5 * MM / math.sqrt(RUNS))
        assert usual.levels.std(axis=0) == pytest.approx(np.full(9, MM), rel=5 / math.sqrt(2 * RUNS))

    @pytest.mark.parametrize("covariance", [None, 0.0])
    def test_exactly_at_the_limit_is_met(self, covariance: Any) -> None:
        """Errors of nought change no verdict."""
        assert verdicts(standing_water(pit(5 * MM, half=0.5, datum=10.0), covariance=covariance)) == [MET, MET]

    @pytest.mark.parametrize("deep", [4.99, 5.01])
    def test_no_errors_at_all_is_what_was_found(self, deep: float) -> None:
        pond = pit(deep * MM)
        assert verdicts(standing_water(pond, covariance=0.0)) == verdicts(standing_water(pond))


def beside_the_wall(deep: float, *, x: float = 3.0, y: float = 0.18) -> Ponding:
    """A wall along y = 0, and a pit of 0.36 m by 0.36 m about that place."""
    return pit(deep, half=0.18, at=(x, y))


def door(y: float = 0.0, x: float = 3.0) -> Spot:
    return Spot("D1", x, y, 0.15)


def two_pits(covariance: Any) -> StandingWater:
    """Two flat squares of 0.16 m, 0.18 m from the door to either side of it, that hold water if their middle lies lower."""
    corners = 0.08 * np.array([(-1, -1), (1, -1), (1, 1), (-1, 1)])
    middles = [(3 + 0.18 * math.cos(math.radians(turn)), 0.18 * math.sin(math.radians(turn))) for turn in (30, 150)]
    places = np.concatenate([PLATE, *(corners + middle for middle in middles), middles])
    pond = ponding(Ground(*places.T, np.array([-0.1] * 4 + [0.0] * 8 + [0.0] * 2)), PLATE)
    return standing_water(pond, covariance=covariance, doors=[door()], runs=2 * TOLD)


class TestDoors:
    @pytest.mark.parametrize(("deep", "verdict"), [(0.9, MET), (1.0, MET), (1.01, NOT), (4.0, NOT)])
    def test_at_the_wall(self, deep: float, verdict: str) -> None:
        """The deepest place lies 0.18 m out. None may stand there but a film of 1 mm."""
        row = standing_water(beside_the_wall(deep * MM), doors=[door()]).table.iloc[2]
        assert row["what"] == "depth beside the door D1"
        assert (row["limit"], row["found"]) == pytest.approx((MM, deep * MM), abs=1e-9)
        assert row["verdict"] == verdict

    def test_20_mm_behind_it(self) -> None:
        """0.20 m from the deepest place: 4 mm, or a little less where that place itself is not looked at."""
        row = standing_water(beside_the_wall(4 * MM), doors=[door(-0.02)]).table.iloc[2]
        assert 3 * MM < row["found"] <= 4 * MM + 1e-9
        assert row["verdict"] == NOT

    def test_250_mm_behind_it(self) -> None:
        """Within 0.3 m lies what is 50 mm from the wall: there the pit is 5/18 as deep as in its middle."""
        found = standing_water(beside_the_wall(4 * MM), doors=[door(-0.25)])
        assert found.table["found"][2] == pytest.approx(4 * MM * 5 / 18, abs=1e-9)
        assert verdicts(found)[2] == NOT
        assert found.unknown == ()
        shallow = standing_water(beside_the_wall(3 * MM), doors=[door(-0.25)])
        assert shallow.table["found"][2] == pytest.approx(3 * MM * 5 / 18, abs=1e-9)
        assert verdicts(shallow)[2] == MET

    def test_1_m_away_nothing_is_known(self) -> None:
        found = standing_water(beside_the_wall(4 * MM), doors=[door(-1.0)], covariance=MM, runs=20)
        assert found.table["what"].tolist() == ["depth", "area"]
        (said,) = found.unknown
        assert "Beside the door D1" in said
        assert "not known" in said
        assert said in found.sentence()
        assert said in found._repr_html_()

    def test_water_farther_off_does_not_count(self) -> None:
        """It begins 0.32 m from the door."""
        found = standing_water(beside_the_wall(4 * MM, y=0.5), doors=[door()])
        assert found.table["found"].tolist() == pytest.approx([4 * MM, 0.36**2, 0.0], abs=1e-9)
        assert verdicts(found) == [MET, MET, MET]

    def test_each_door_by_itself(self) -> None:
        doors = [door(x=1.0)._replace(point="east"), door(), door(-5.0)._replace(point="gone")]
        found = standing_water(beside_the_wall(4 * MM), doors=doors)
        assert found.table["what"].tolist()[2:] == ["depth beside the door east", "depth beside the door D1"]
        assert verdicts(found)[2:] == [MET, NOT]
        assert len(found.unknown) == 1
        assert "door gone" in found.unknown[0]
        assert found.doors == tuple(doors)

    @pytest.mark.parametrize(("deep", "verdict"), [(-1.0, MET), (1.0, CLOSE), (3.0, NOT)])
    def test_its_chance(self, deep: float, verdict: str) -> None:
        """Φ((d − 1 mm) / 1 mm), for a bottom that may be out by 1 mm: 2.3, 50 and 97.7 of 100."""
        found = standing_water(beside_the_wall(deep * MM), doors=[door()], covariance=BOTTOM, runs=TOLD)
        chance = float(norm.cdf(deep - 1))
        assert found.table["chance"][2] == pytest.approx(chance, abs=4 * math.sqrt(chance * (1 - chance) / TOLD))
        assert verdicts(found)[2] == verdict

    def test_two_pits_each_by_itself_are_sampled_as_said(self) -> None:
        """Both lie beside the door; one of two: Φ(−1.75) = 4.0 of 100, the other is sure."""
        sd = MM / 1.75
        found = two_pits(np.diag([0.0] * 12 + [sd**2, 0.0]))
        assert found.table["chance"][2] == pytest.approx(0.0401, abs=4 * math.sqrt(0.04 * 0.96 / (2 * TOLD)))
        assert verdicts(found)[2] == MET

    def test_the_chance_is_that_of_any_place_beside_it(self) -> None:
        """Two pits apart from each other, 4.0 of 100 each: 1 − 0.96² = 7.9 of 100 that either is wet, which is no longer met."""
        sd = MM / 1.75
        found = two_pits(np.diag([0.0] * 12 + [sd**2, sd**2]))
        assert found.again is not None
        either = 1 - (1 - 0.0401) ** 2
        assert found.again.chance_deeper(MM) == pytest.approx(either, abs=4 * math.sqrt(either * (1 - either) / (2 * TOLD)))
        assert found.table["chance"][2] == pytest.approx(found.again.chance_deeper(MM + 1e-6), abs=1e-9)  # none stands elsewhere
        assert verdicts(found)[2] == CLOSE

    def test_the_deepest_place_within_reach_counts(self) -> None:
        """1.15 mm stand at a spot that was read 0.21 m from the door: more than a film."""
        row = standing_water(beside_the_wall(1.15 * MM, y=0.21), doors=[door()]).table.iloc[2]
        assert row["found"] == pytest.approx(1.15 * MM, abs=1e-9)
        assert row["verdict"] == NOT

    def test_a_spot_within_reach_is_known(self) -> None:
        """0.29 m from the corner of the plate, where a spot was read, yet none was read within 300 mm, it says."""
        turn = math.radians(52.5)
        found = standing_water(beside_the_wall(4 * MM), doors=[door(-0.29 * math.sin(turn), -0.29 * math.cos(turn))])
        assert found.unknown == ()


class TestBucket:
    def test_ten_litres_in_a_pyramid(self) -> None:
        """2 m by 2 m and 60 mm deep: a² h / 3 = 80 litres; an eighth of them stands half as deep."""
        said = standing_water(pit(60 * MM, half=1.0)).bucket()
        assert "pour 10 litres of water out slowly at x 3 y 3" in said
        assert "30.0 mm deep" in said
        assert "has not run over yet; that takes 80 litres" in said

    @pytest.mark.parametrize(("litres", "deep"), [(0.5, 60 * (0.5 / 80) ** (1 / 3)), (27.3, 60 * (27.3 / 80) ** (1 / 3)),
                                                  (79.9, 59.97)])
    def test_other_buckets(self, litres: float, deep: float) -> None:
        assert f"stands {deep:.1f} mm deep" in standing_water(pit(60 * MM, half=1.0)).bucket(litres / 1000)

    def test_one_that_runs_over(self) -> None:
        """1 m by 1 m and 6 mm deep holds 2 litres; it leaves over a corner of the rim."""
        for volume in (0.010, 0.0021, 3.0):
            said = standing_water(pit(6 * MM, half=0.5)).bucket(volume)
            assert "stands 6.0 mm deep there and runs over at x " in said
            assert "the hollow holds 2 litres" in said
        corner = standing_water(pit(6 * MM, half=0.5)).ponding.basins[0].spill
        assert [abs(place - 3) for place in corner] == pytest.approx([0.5, 0.5])

    def test_where_nothing_stands(self) -> None:
        said = standing_water(ponding(Ground([0, 6, 6, 0], [0, 0, 6, 6], [0, 0.1, 0.1, 0]), PLATE)).bucket(0.012)
        assert "pour 12 litres of water out slowly along the top" in said
        assert "stands" not in said

    @pytest.mark.parametrize("volume", [0, 0.0, -0.01, float("nan"), float("inf"), "10", None, True], ids=str)
    def test_no_volume(self, volume: Any) -> None:
        for pond in (pit(6 * MM), ponding(Ground([0, 6, 6, 0], [0, 0, 6, 6], [0, 0.1, 0.1, 0]), PLATE)):
            with pytest.raises(SurveyError, match="bucket"):
                standing_water(pond).bucket(volume)


class TestRefusals:
    @pytest.mark.parametrize("pond", [None, "pond", Ground([0, 1, 1], [0, 0, 1], [0, 0, 0])], ids=["None", "words", "ground"])
    def test_no_ponding(self, pond: Any) -> None:
        with pytest.raises(SurveyError, match="ponding"):
            standing_water(pond)

    @pytest.mark.parametrize("covariance", [
        "1", "one mm", True, -MM, np.nan, np.inf, np.eye(8), np.ones(9), [], np.diag([1e-6] * 8 + [-1e-6]),
        np.triu(np.ones((9, 9))), np.full((9, 9), np.nan), 1e-6 * (2 * np.ones((9, 9)) - np.eye(9))], ids=str)
    def test_no_covariance(self, covariance: Any) -> None:
        with pytest.raises(SurveyError, match=r"covariance of the levels|standard deviation of the levels"):
            standing_water(pit(5 * MM), covariance=covariance)

    @pytest.mark.parametrize("doors", ["D1", door(), [("D1", 3.0, 0.0, 0.1)], [(3.0, 0.0)], [None], ["D1"], 3, None,
                                       {"D1": door()}], ids=str)
    def test_no_doors(self, doors: Any) -> None:
        with pytest.raises(SurveyError, match="doors"):
            standing_water(pit(5 * MM), doors=doors)

    @pytest.mark.parametrize("sure", [0.0, 0.49, 1.0, 1.5, 95, -0.95, float("nan"), "0.95", None, True], ids=str)
    def test_how_sure_is_no_chance(self, sure: Any) -> None:
        with pytest.raises(SurveyError, match="sure"):
            standing_water(pit(5 * MM), sure=sure)

    @pytest.mark.parametrize("options", [{"runs": 19}, {"runs": 0}, {"runs": 100.0}, {"runs": "100"}, {"seed": -1}, {"seed": 0.5},
                                         {"seed": "a"}, {"runs": True}], ids=str)
    def test_no_runs_or_seed(self, options: dict[str, Any]) -> None:
        with pytest.raises(SurveyError, match=r"number of runs|seed"):
            standing_water(pit(5 * MM), covariance=MM, **options)

    def test_a_door_without_a_place_is_refused_at_once(self) -> None:
        with pytest.raises(SurveyError):
            standing_water(pit(5 * MM), doors=[Spot("D1", float("nan"), 0.0, 0.1)])


@pytest.fixture(scope="module")
def found() -> StandingWater:
    return standing_water(beside_the_wall(7 * MM), covariance=BOTTOM, doors=[door()._replace(point="<back>")])


class TestWords:
    def test_the_table_for_reading(self, found: StandingWater) -> None:
        words = found.words
        assert words["standing water"].tolist() == ["depth", "area", "depth beside the door <back>"]
        assert words["limit"].tolist() == ["at most 5.0 mm", "at most 1.0 m²", "no more than a film"]
        assert words["found"].tolist() == ["7.0 mm", "0.1 m²", "7.0 mm"]
        assert words["chance that it is more"].tolist()[1:] == ["under 1%", "over 99%"]
        assert words["chance that it is more"][0].endswith("%")
        assert words["source"].tolist() == [SOURCE] * 3

    def test_without_errors_no_chance_is_told(self) -> None:
        found = standing_water(pit(6 * MM))
        assert (found.words["chance that it is more"] == "").all()
        assert "The chance" not in found.sentence()
        assert found.again is None

    def test_the_sentence(self, found: StandingWater) -> None:
        said = found.sentence()
        assert said.startswith("Water stands in one place")
        assert "deeper somewhere than: 1.0 mm over 99%, 3.0 mm over 99%, 5.0 mm 9" in said  # Φ(2) = 97.7 of 100
        assert said.endswith(HOUR)
        assert repr(found) == f"StandingWater: {said}"

    def test_the_page(self, found: StandingWater) -> None:
        page = found._repr_html_()
        assert "&lt;back&gt;" in page
        assert "<back>" not in page
        assert "at most 5.0 mm" in page
        assert "pour 10 litres" in page

    def test_a_new_table_each_time(self, found: StandingWater) -> None:
        table = found.table
        table.loc[0, "verdict"] = "changed"
        assert found.table["verdict"][0] != "changed"
