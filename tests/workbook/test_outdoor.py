"""What a job comes to outside, read out of brief.toml: numbers worked by hand on the yard of 4 x 3 m."""

import re
import warnings
from typing import Any

import pytest

from sitelevels.errors import SurveyError

STORMS = "storms = [[5, 5], [10, 20], [20, 20.5]]\n"
HOLE = "[soakaway]\nfactor = 1\nsize_m = [1.0, 1.0, 1.0]\n"
UNITS = '[units]\nlength_mm = 500\nwidth_mm = 500\njoint_mm = 0\nbond = "stack"\n'


@pytest.fixture
def yard(hand: Any) -> Any:
    """The yard worked by hand, dug no farther than its edges."""
    return hand.change("[[wall]]", "beyond_edge_mm = 0\n[[wall]]")


def outdoor(folder: Any, more: str = "") -> Any:
    return folder.write(brief=folder.brief + more).open().outdoor


class TestDigging:
    def test_by_hand(self, yard: Any) -> None:
        dig = outdoor(yard).dig
        assert dig.soil == pytest.approx(0.24)  # 4 x 2 x 0.060 / 2
        assert dig.fill == pytest.approx(0.06)  # 4 x 1 x 0.030 / 2
        assert dig.deepest == pytest.approx(0.060)
        assert dig.concrete == 0

    def test_an_old_floor(self, yard: Any) -> None:
        found = outdoor(yard, "[old_floor]\nthickness_mm = 50\ncorners_m = [[0, 0], [2, 0], [2, 1], [0, 1]]\n")
        assert found.dig.concrete == pytest.approx(0.10)  # 2 m² x 50 mm

    def test_layers_above_what_is_buried(self, yard: Any) -> None:
        yard.change_book("BM,,,1.500,,,,benchmark,,\n", "B1,,1.800,,,2.0,1.0,buried,,\nBM,,,1.500,,,,benchmark,,\n")
        told = outdoor(yard).fit.sentence()  # 9.700 m below 9.975 m; 275 less 180 mm
        assert "Tightest at B1: the finished surface lies 275 mm above it and the layers take 180 mm; 95 mm" in told

    def test_nothing_buried(self, yard: Any) -> None:
        assert not outdoor(yard).fit.rooms

    def test_of_a_footing_only_what_lies_under_the_paving_counts(self, yard: Any) -> None:
        """It reaches from 3 to 6 m, the paving ends at 4 m; at 2 m out 9.950 − 9.700 − 0.180 m are left."""
        found = outdoor(yard, '[[footing]]\nname = "pad"\ncorners_m = [[3, 1], [6, 1], [6, 2], [3, 2]]\ntop_m = 9.7\n').fit
        assert sorted(room.likely for room in found.rooms) == pytest.approx([0.070, 0.070, 0.095, 0.095])
        assert re.search(r"Tightest at pad, x [34] y 2:", found.sentence())

    def test_a_footing_outside_the_paving_is_not_in_the_way(self, yard: Any) -> None:
        found = outdoor(yard, '[[footing]]\nname = "pad"\ncorners_m = [[5, 1], [6, 1], [6, 2], [5, 2]]\ntop_m = 9.99\n')
        assert not found.fit.rooms

    def test_corners_of_a_footing_count_as_buried(self, yard: Any) -> None:
        found = outdoor(yard, '[[footing]]\nname = "pad"\ncorners_m = [[1, 1], [2, 1], [2, 2], [1, 2]]\ntop_m = 9.7\n')
        assert len(found.fit.rooms) == 4
        assert "the layers take 180 mm; 70 mm" in found.fit.sentence()  # at 2 m out 9.950 - 9.700 - 0.180


class TestMaterials:
    def test_by_hand(self, yard: Any) -> None:
        soil, slabs, bed, *hardcore = outdoor(yard).materials.heaps
        assert (soil.done, soil.what, soil.loose.values) == ("take away", "dug soil", pytest.approx((0.288, 0.312, 0.348)))
        assert slabs.area.likely == pytest.approx(13.2)  # 12 m² and 10 %
        assert bed.in_place.likely == pytest.approx(0.48)
        assert sum(heap.in_place.likely for heap in hardcore) == pytest.approx(1.20 + 0.06)  # with the fill under the layers

    def test_kind_of_soil_bulking_and_density(self, yard: Any) -> None:
        soil = outdoor(yard, "[taking_up]\nbulking_percent = [10, 20, 30]\ndensity_kg_m3 = 1500\n").materials.heaps[0]
        assert soil.loose.values == pytest.approx((0.264, 0.288, 0.312))
        assert soil.mass.values == pytest.approx((360, 360, 360))

    def test_carriers(self, yard: Any) -> None:
        found = outdoor(yard, "[taking_up]\nbarrow_litres = 80\nbulk_bag_m3 = 0.7\nskip_m3 = 4\nskip_t = 5\n"
                              "price_of_a_skip = 200\n")
        assert [(one.name, one.volume, one.mass) for one in found.carriers] == [
            ("barrow", 0.08, 100.0), ("bulk bag", 0.7, 850.0), ("skip", 4.0, 5000.0)]
        barrow, bag, skip = (found.materials.away(one)[1] for one in found.carriers)
        assert (barrow, bag, skip) == (4, 1, 1)  # 0.312 m³ or 384 kg: 3.9 barrows by volume, 3.84 by mass
        assert found.materials.cost.likely == 200

    def test_a_barrow_of_a_litre_is_the_least(self, yard: Any) -> None:
        found = outdoor(yard, "[taking_up]\nbarrow_litres = 1\n")
        assert found.materials.away(found.carriers[0])[1] == 312  # 0.312 m³

    def test_units_to_buy_are_those_laid_out(self, yard: Any) -> None:
        found = outdoor(yard, UNITS + 'start = "C1"\nbreakage_percent = 0\n')
        assert (found.units.whole, found.units.cut, found.units.order) == (48, 0, 48)
        assert found.materials.heap("buy", "slabs").pieces == 48
        assert found.cuts.empty


class TestUnitsAndPosts:
    def test_none_where_the_brief_has_none(self, yard: Any) -> None:
        found = outdoor(yard)
        assert (found.units, found.cuts, found.post_check, found.flow, found.soakaway, found.infiltration) == (None,) * 6
        assert (found.posts, found.holes, found.conduits, found.roofs) == ((), (), (), [])

    def test_a_post_over_a_metre_is_a_doubt(self, yard: Any) -> None:
        found = outdoor(yard, '[[post]]\nname = "P"\nat = [2.0, 1.5]\nsize_mm = 1200\n')
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            assert found.post_check is not None
        assert any("1.20 m wide" in doubt for doubt in found.doubts)

    def test_breakage(self, yard: Any) -> None:
        assert outdoor(yard, UNITS).units.order == 51  # 48 and 5 %: 50.4

    def test_a_post_in_the_middle_of_a_unit(self, yard: Any) -> None:
        found = outdoor(yard, UNITS + 'start = "C1"\n[[post]]\nname = "P"\nat = [1.25, 1.25]\nsize_mm = [100, 200]\n')
        (post,) = found.posts
        assert (post.at, post.size, post.footing) == ((1.25, 1.25), (0.1, 0.2), None)
        assert (found.units.whole, found.units.cut) == (47, 1)
        assert list(found.cuts["shape"]) == ["with a hole"]
        assert "150 mm" in found.post_check.sentence()  # 250 less half of 200

    def test_a_post_at_a_point_and_on_a_footing(self, yard: Any) -> None:
        found = outdoor(yard, '[[footing]]\nname = "pad"\ncorners_m = [[1, 1], [2, 1], [2, 2], [1, 2]]\ntop_m = 9.7\n'
                        '[[post]]\nname = "P"\nat = [1.5, 1.5]\nsize_mm = 100\nfooting = "pad"\n'
                        '[[post]]\nname = "Q"\nat = "C3"\nsize_mm = 100\n')
        assert found.posts[0].footing.area == pytest.approx(1.0)
        assert found.posts[1].at == (4.0, 3.0)
        assert "450 mm inside its side" in found.post_check.sentence()  # 500 less half of 100

    def test_a_hole(self, yard: Any) -> None:
        found = outdoor(yard, UNITS + 'start = "C1"\n[[hole]]\nname = "cover"\nat = [1.25, 1.25]\nsize_mm = [500, 500]\n')
        assert (found.units.whole, found.units.cut) == (47, 0)


class TestWater:
    def test_catchments(self, yard: Any) -> None:
        found = outdoor(yard, '[rain]\nroofs = [[6.0, "C1"], [2.0, 1.5, 0.5]]\n')
        assert found.roofs == [(6.0, 0.0, 0.0), (2.0, 1.5, 0.5)]
        assert found.catchments.area == pytest.approx(12)
        assert "12.0 m² and 8.0 m² of roof over the edge from C3 to C4" in found.catchments.sentence()

    def test_flow_and_what_carries_it(self, yard: Any) -> None:
        found = outdoor(yard, '[rain]\nintensity_mm_h = 36\ncoefficient = 0.5\nroofs = [[6.0, "C1"]]\nchannel_mm = [100, 50]\n'
                              'pipe_mm = 100\nfall = "1:100"\nroughness = 0.01\n')
        assert found.flow.flow == pytest.approx((12 * 0.5 + 6 * 0.9) * 1e-5)  # 36 mm/h are 1e-5 m/s; roofs 0.9
        channel, pipe = found.conduits  # both with a hydraulic radius of 25 mm: 8.5499 dm/s
        assert channel.flow == pytest.approx(0.005 * 0.854988, rel=1e-5)
        assert pipe.flow == pytest.approx(0.00785398 * 0.854988, rel=1e-5)

    def test_a_test_hole_and_a_soakaway(self, yard: Any) -> None:
        found = outdoor(yard, f"{HOLE}hole_seconds = [900, 950, 1000]\n{STORMS}")
        # half the depth is 0.3 x 0.3 x 0.15 m³, through four sides half deep and the bottom: 0.27 m²
        assert found.infiltration.rate == pytest.approx(0.0135 / 0.27 / 1000)
        assert found.soakaway.needed == pytest.approx(0.24 - 2 * 5e-5 * 600)  # 12 m² x 20 mm; half the sides of 1 m³
        assert found.soakaway.has == pytest.approx(0.30)
        assert found.soakaway.enough

    def test_roofs_fill_it_too_and_room_is_as_told(self, yard: Any) -> None:
        found = outdoor(yard, f'[rain]\nroofs = [[8.0, "C1"]]\n{HOLE}rate_m_s = 5e-5\nvoid_percent = 20\n{STORMS}').soakaway
        assert found.needed == pytest.approx(20 * 0.02 - 0.06)
        assert found.has == pytest.approx(0.20)
        assert not found.enough

    def test_a_factor(self, yard: Any) -> None:
        hole = HOLE.replace("factor = 1", "factor = 2")
        assert outdoor(yard, f"{hole}rate_m_s = 5e-5\n{STORMS}").soakaway.needed == pytest.approx(0.24 - 0.03)


class TestPegs:
    def test_readings_for_each_layer_formation_first(self, yard: Any) -> None:
        table = outdoor(yard).readings
        assert list(table) == ["reading in m at peg", "formation", "top of hardcore", "top of bed", "finished"]
        assert dict(zip(table.iloc[:, 0], table.iloc[:, 1:].itertuples(index=False, name=None), strict=True)) == {
            "C1": ("1.680", "1.580", "1.540", "1.500"), "C2": ("1.680", "1.580", "1.540", "1.500"),
            "C3": ("1.755", "1.655", "1.615", "1.575"), "C4": ("1.755", "1.655", "1.615", "1.575")}

    def test_packers(self, yard: Any) -> None:
        table = outdoor(yard).packers
        assert list(table.iloc[0]) == ["1:40 (25.0 mm/m)", "25.0", "30.0", "45.0", "50.0"]  # 25 mm/m at 1, 1.2, 1.8, 2 m

    @pytest.mark.parametrize(("more", "places"), [
        ("", {(0, 0), (4, 0), (4, 3), (0, 3)}),
        ('pegs = ["C3"]\n', {(4, 3)}),
        ("edges_m = 2.0\n", {(0, 0), (2, 0), (4, 0), (4, 1.5), (4, 3), (2, 3), (0, 3), (0, 1.5)}),
        ("grid_m = 1.5\n", {(x, y) for x in (0, 1.5, 3) for y in (0, 1.5, 3)} | {(4, 0), (4, 3)})])
    def test_where_they_stand(self, yard: Any, more: str, places: set[tuple[float, float]]) -> None:
        found = outdoor(yard, more).places
        assert {tuple(peg[1:3]) for peg in found} == places
        assert len(found) == len(places)
        assert {peg[0] for peg in found if tuple(peg[1:3]) == (4, 3)} == {"C3"}

    def test_a_peg_on_a_spot_has_its_level_and_one_between_is_read_off_the_ground(self, yard: Any) -> None:
        pegs = {(peg.x, peg.y): peg for peg in outdoor(yard, "edges_m = 2.0\n").pegs().pegs}
        assert pegs[4, 3].existing == pytest.approx(9.715)
        assert pegs[4, 1.5].existing == pytest.approx((9.880 + 9.715) / 2)

    def test_the_outlet_and_the_ends_of_the_channel_are_set_out(self, yard: Any) -> None:
        finish = re.compile(r"\[finish\]\n(.*\n){4}")
        plain = yard.brief
        yard.write(brief=finish.sub('[finish]\nshape = "channel"\nline = [[0.0, 2.0], [4.0, 2.0]]\nlevel_m = 9.93\n'
                                    'fall = "1:100"\nleft = "1:50"\nright = "1:50"\n', plain))
        assert {peg[0]: tuple(peg[1:3]) for peg in outdoor(yard).places if peg[0].startswith("channel")} == {
            "channel start": (0, 2), "channel end": (4, 2)}
        yard.write(brief=finish.sub('[finish]\nshape = "outlet"\noutlet = [2.0, 1.5]\nlevel_m = 9.9\n'
                                    "perimeter_m = 9.98\n", plain))
        assert ("outlet", 2.0, 1.5) in [tuple(peg[:3]) for peg in outdoor(yard).places]

    @pytest.mark.parametrize("reading", [None, True, "1.4", float("nan"), 1e9])
    def test_a_reading_that_is_none_is_refused(self, yard: Any, reading: Any) -> None:
        yard.change("backsight_m = 1.500\n", "")
        with pytest.raises(SurveyError, match="BM"):
            outdoor(yard).pegs(reading)


CHANNEL = ('[finish]\nshape = "channel"\nline = [[0.0, 2.0], [4.0, 2.0]]\nlevel_m = 9.93\nfall = "1:100"\nleft = "1:50"\n'
           'right = "1:50"\n')


class TestFolds:
    @staticmethod
    def folded(yard: Any, more: str) -> Any:
        """A channel along the yard, 2 m out."""
        yard.write(brief=re.sub(r"\[finish\]\n(.*\n){4}", CHANNEL, yard.brief))
        return outdoor(yard, UNITS + 'start = "C1"\n' + more)

    def test_units_are_cut_beside_a_channel(self, yard: Any) -> None:
        """100 mm wide: the rows from 1.5 to 2 m and from 2 to 2.5 m lose 50 mm each; 4 of 6 rows of 8 stay whole."""
        found = self.folded(yard, "[rain]\nchannel_mm = [100, 75]\n")
        assert [fold.bounds for fold in found.folds] == [pytest.approx((0, 1.95, 4, 2.05))]
        assert (found.units.whole, found.units.cut) == (32, 16)
        assert found.cuts[["length", "width", "count"]].to_numpy().tolist() == [["500 mm", "450 mm", 16]]

    def test_units_are_cut_along_a_fold(self, yard: Any) -> None:
        """Where the channel has no width yet, a line of 2 mm: 1 mm of either row."""
        found = self.folded(yard, "")
        assert [fold.bounds for fold in found.folds] == [pytest.approx((0, 1.999, 4, 2.001))]
        assert found.cuts[["length", "width", "count"]].to_numpy().tolist() == [["500 mm", "499 mm", 16]]

    def test_a_gully_in_the_channel_parts_it(self, yard: Any) -> None:
        """200 mm wide in the middle, 2 mm clear: (4 − 0.204) × 0.1 m² of channel are left, in two parts."""
        found = self.folded(yard, '[rain]\nchannel_mm = [100, 75]\n[[hole]]\nname = "gully"\nat = [2.0, 2.0]\nsize_mm = 200\n')
        assert [fold.area for fold in found.folds] == pytest.approx([1.898 * 0.1] * 2)
        assert (found.units.whole, found.units.cut) == (32, 16)  # the gully meets four that the channel cuts already

    def test_one_plane_has_none(self, yard: Any) -> None:
        assert outdoor(yard, UNITS).folds == ()


class TestStart:
    JOINTED = UNITS.replace("joint_mm = 0", "joint_mm = 10")

    @pytest.mark.parametrize(("kept", "start"), [("", (0.0, 0.01)), ('kept = [["C1", "C4"]]\n', (0.01, 0.01))])
    def test_at_a_side_that_stays_it_begins_a_joint_off_it(self, yard: Any, kept: str, start: tuple[float, float]) -> None:
        """C1 lies at the house along y = 0, and where that paving stays at x = 0 too."""
        yard.change("beyond_edge_mm", f"{kept}beyond_edge_mm")
        assert outdoor(yard, self.JOINTED + 'start = "C1"\n').units.start == pytest.approx(start, abs=1e-9)

    def test_away_from_the_sides_it_begins_where_told(self, yard: Any) -> None:
        x, y = outdoor(yard, self.JOINTED + "start = [1.0, 1.0]\n").units.start
        assert (x % 0.51, y % 0.51) == pytest.approx((1.0 % 0.51, 1.0 % 0.51), abs=1e-9)

    def test_where_a_straight_side_that_stays_has_a_corner(self, yard: Any) -> None:
        """One joint off the house, not one for each part of its side."""
        yard.change('corners = ["C1", "C2", "C3", "C4"]', "corners_m = [[0, 0], [2, 0], [4, 0], [4, 3], [0, 3]]")
        assert outdoor(yard, self.JOINTED + "start = [2.0, 0.0]\n").units.start[1] == pytest.approx(0.01, abs=1e-9)


class TestByHand:
    def test_the_sums_on_paper(self, yard: Any) -> None:
        peg, bed, soil = outdoor(yard).by_hand
        for words in ("Peg C1", "10.000 m + 1.500 m = 11.500 m", "9.820 m", "11.500 m − 9.820 m = 1.680 m"):
            assert words in peg
        # loose 1.3 times what lies in place, and a tenth for waste: 12 x 0.040 x 1.3 x 1.1 = 0.6864 m³
        for words in ("bed: 12.0 m² × 40 mm × 1.3", "× 1.1", "= 0.69 m³"):
            assert words in bed
        assert "0.24 m³ × 1.3 (bulking) = 0.31 m³" in soil
        assert re.search(r"\b6\b", soil.partition("= 0.31 m³")[2])  # barrows of 0.06 m³: 5.2

    def test_of_a_job_without_bedding(self, yard: Any) -> None:
        yard.change('name = "bed"\n', 'name = "bed"\nmix = [1, 4]\n')
        assert len(outdoor(yard).by_hand) == 2

    def test_where_nothing_is_dug(self, yard: Any) -> None:
        """100 mm higher all is fill: there is no soil to reckon with."""
        peg, bed = outdoor(yard.change("level_at_wall_m = 10.000", "level_at_wall_m = 10.100")).by_hand
        assert "= 1.580 m" in peg
        assert "bed" in bed


class TestRefusals:
    @pytest.mark.parametrize(("attribute", "more", "where", "what"), [
        ("materials", '[taking_up]\nsoil = "moon"\n', "[taking_up]", "moon"),
        ("materials", "[taking_up]\nbarrow_litres = 0\n", "[taking_up]", "barrow"),
        ("materials", "[taking_up]\nreuse_percent = 150\n", "[taking_up]",
         "reuse_percent is 150. It is per cent: nought to 100."),
        ("materials", "[taking_up]\nreuse_percent = -1\n", "[taking_up]", "reuse_percent is -1. It is per cent"),
        ("materials", "[taking_up]\nbarrow_litres = 0.9\n", "[taking_up]", "0.001 at the least"),
        ("units", UNITS + "breakage_percent = 101\n", "[units]", "breakage_percent is 101. It is per cent: nought to 100."),
        ("units", "[units]\nlength_mm = 500\njoint_mm = 0\n", "[units]", "width_mm is missing"),
        ("units", UNITS.replace("stack", "herringbone"), "[units]", "herringbone"),
        ("units", UNITS + 'start = "C9"\n', "[units]", "C9"),
        ("posts", '[[post]]\nname = "P"\nat = [1, 1]\n', "[[post]] number 1", "size_mm is missing"),
        ("posts", '[[post]]\nat = [1, 1]\nsize_mm = 100\n', "[[post]] number 1", "name"),
        ("posts", '[[post]]\nname = "P"\nat = "Z"\nsize_mm = 100\n', "[[post]] number 1", "Z"),
        ("posts", '[[post]]\nname = "P"\nat = [1, 1]\nsize_mm = [1, 2, 3]\n', "[[post]] number 1", "size_mm"),
        ("posts", '[[post]]\nname = "P"\nat = [1, 1]\nsize_mm = 100\nfooting = "pad"\n', "[[post]] number 1", "pad"),
        ("holes", '[[hole]]\nname = "H"\nsize_mm = 100\n', "[[hole]] number 1", "at"),
        ("roofs", "[rain]\nroofs = [[6.0]]\n", "[rain]", "roof"),
        ("roofs", '[rain]\nroofs = [["C1", 6.0]]\n', "[rain]", "C1"),
        ("roofs", '[rain]\nroofs = [[6.0, "Z"]]\n', "[rain]", "Z"),
        ("flow", '[rain]\nintensity_mm_h = "heavy"\n', "[rain]", "heavy"),
        ("conduits", "[rain]\nchannel_mm = [100, 50]\n", "[rain]", "fall is missing"),
        ("conduits", '[rain]\nchannel_mm = [100]\nfall = "1:100"\n', "[rain]", "channel_mm"),
        ("conduits", '[rain]\npipe_mm = -5\nfall = "1:100"\n', "[rain]", "pipe"),
        ("soakaway", HOLE, "[soakaway]", "how fast"),
        ("soakaway", "[soakaway]\nrate_m_s = 5e-5\n", "[soakaway]", "soakaway"),
        ("soakaway", HOLE + "rate_m_s = 5e-5\nvoid_percent = 130\n", "[soakaway]",
         "void_percent is 130. It is per cent: nought to 100."),
        ("soakaway", HOLE + "rate_m_s = 5e-5\nvoid_percent = 0\n", "[soakaway]", "stones"),
        ("soakaway", HOLE + "rate_m_s = 5e-5\nstorms = [[10]]\n", "[soakaway]", "storm"),
        ("places", 'pegs = ["Z"]\n', "[setting_out]", "Z"),
        ("places", "grid_m = 0.01\n", "[setting_out]", "mm"),
    ])
    def test_the_sentence_names_the_part(self, yard: Any, attribute: str, more: str, where: str, what: str) -> None:
        with pytest.raises(SurveyError) as refusal:
            getattr(outdoor(yard, more), attribute)
        assert f"brief.toml, {where}" in str(refusal.value)
        assert what in str(refusal.value)

    def test_doubts_are_kept_and_not_printed(self, yard: Any) -> None:
        found = outdoor(yard, HOLE + f"hole_seconds = [1000]\n{STORMS}")
        assert found.infiltration.rate == pytest.approx(5e-5)
        assert any("three times" in doubt for doubt in found.doubts)

    def test_a_part_that_is_wrong_keeps_the_others(self, yard: Any) -> None:
        found = outdoor(yard, '[rain]\nintensity_mm_h = "heavy"\n')
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            assert found.dig.soil == pytest.approx(0.24)
            assert found.catchments.area == pytest.approx(12)
