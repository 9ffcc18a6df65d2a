"""Where the rain of a job goes and what takes it, read out of brief.toml: falls, rains, factors and outlets by hand."""

import re
import warnings
from typing import Any

import pytest

from sitelevels.errors import SurveyError

CHANNEL = ('[finish]\nshape = "channel"\nline = [[0.0, 2.0], [4.0, 2.0]]\nlevel_m = 9.93\nfall = "1:100"\nleft = "1:50"\n'
           'right = "1:50"\n')
OUTLET = '[finish]\nshape = "outlet"\noutlet = [2.0, 1.5]\nlevel_m = 9.9\nperimeter_m = 9.98\n'
STORMS = "storms = [[5, 5], [10, 20], [20, 20.5]]\n"
HOLE = "[soakaway]\nsize_m = [1.0, 1.0, 1.0]\nrate_m_s = 5e-5\n"
RAIN = "[rain]\nchannel_mm = [100, 75]\nroughness = 0.01\n"


def outdoor(folder: Any, more: str = "", *, finish: str = "") -> Any:
    """The yard worked by hand with other parts in its brief."""
    brief = re.sub(r"\[finish\]\n(.*\n){4}", finish, folder.brief) if finish else folder.brief
    return folder.write(brief=brief + more).open().outdoor


class TestFallOfTheChannel:
    def test_it_is_that_of_the_finished_surface_where_none_is_told(self, hand: Any) -> None:
        """100 × 75 mm: R = 0.0075 / 0.25 = 0.03 m; 0.03^(2/3) = 0.096549; × 0.1 / 0.01 × 0.0075 m² = 0.0072412 m³/s."""
        found = outdoor(hand, RAIN, finish=CHANNEL)
        (channel,) = found.conduits
        assert channel.fall == pytest.approx(0.01, rel=1e-9)
        assert channel.flow == pytest.approx(0.0072412, abs=1e-7)
        assert found.doubts == ()

    @pytest.mark.parametrize(("told", "doubted"), [("1:100", False), ("1:105", False), ("1:112", True), ("1:60", True),
                                                   ("1:89", True)])
    def test_one_that_is_told_counts_and_a_difference_of_more_than_a_tenth_is_a_doubt(self, hand: Any, told: str,
                                                                                    doubted: bool) -> None:
        found = outdoor(hand, f'{RAIN}fall = "{told}"\n', finish=CHANNEL)
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            (channel,) = found.conduits
        assert channel.fall == pytest.approx(1 / float(told[2:]), rel=1e-9)
        assert len(found.doubts) == doubted
        for doubt in found.doubts:
            assert f"with a fall of {told} " in doubt
            assert "in the finished surface it falls 1:100 (10.0 mm/m)" in doubt

    def test_without_a_channel_in_the_surface_it_must_be_told(self, hand: Any) -> None:
        with pytest.raises(SurveyError, match=r"\[rain\]: fall is missing"):
            _ = outdoor(hand, RAIN).conduits

    def test_a_channel_drawn_from_its_low_end(self, hand: Any) -> None:
        """It carries as much, whichever end is drawn first."""
        found = outdoor(hand, RAIN, finish=CHANNEL.replace('"1:100"', '"1:100 uphill"'))
        assert found.conduits[0].fall == pytest.approx(0.01, rel=1e-9)

    def test_a_pipe_has_a_fall_of_its_own_or_that_which_is_told(self, hand: Any) -> None:
        """100 mm full: R = 25 mm, 0.085499 × √(1/80) / 0.01 = 0.95591 m/s, × 7853.98 mm²; at 1:100 0.85499 m/s."""
        plain = hand.brief
        channel, pipe = outdoor(hand, f'{RAIN}pipe_mm = 100\npipe_fall = "1:80"\n', finish=CHANNEL).conduits
        assert (channel.fall, pipe.fall) == pytest.approx((0.01, 0.0125), rel=1e-9)
        assert pipe.flow == pytest.approx(0.95591 * 0.00785398, rel=1e-5)
        hand.write(brief=plain)
        (pipe,) = outdoor(hand, '[rain]\npipe_mm = 100\nfall = "1:100"\nroughness = 0.01\n').conduits
        assert pipe.flow == pytest.approx(0.85499 * 0.00785398, rel=1e-5)


class TestRain:
    @pytest.mark.parametrize("rain", ['intensity_mm_h = "paved areas"\n', ""])
    def test_roofs_take_the_rain_of_roofs_where_that_of_the_paving_is_a_name(self, hand: Any, rain: str) -> None:
        """12 m² in 50.4 mm/h, all of it, and 8 m² of roof in 75 mm/h, nine tenths of it: 0.168 and 0.150 l/s."""
        found = outdoor(hand, f'[rain]\n{rain}coefficient = 1.0\nroofs = [[8.0, "C1"]]\n')
        assert found.flow.flow == pytest.approx(0.000168 + 0.000150, rel=1e-9)
        assert [part.intensity for part in found.flow.parts] == pytest.approx([50.4, 75])

    def test_a_rain_in_figures_is_that_of_both(self, hand: Any) -> None:
        found = outdoor(hand, '[rain]\nintensity_mm_h = 36\ncoefficient = 1.0\nroofs = [[8.0, "C1"]]\n')
        assert found.flow.flow == pytest.approx((12 + 8 * 0.9) * 1e-5, rel=1e-9)

    def test_a_doubtful_rain_is_a_doubt(self, hand: Any) -> None:
        found = outdoor(hand, "[rain]\nintensity_mm_h = 0.014\ncoefficient = 1.0\n")
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            assert found.flow.flow > 0
        assert any("l/s per m²" in doubt for doubt in found.doubts)


class TestSoakaway:
    def test_the_factor_of_safety_is_two_where_none_is_given(self, hand: Any) -> None:
        found = outdoor(hand, HOLE + STORMS).soakaway
        assert found.factor == 2
        assert found.needed == pytest.approx(0.24 - 2 * 2.5e-5 * 600, rel=1e-9)  # 12 m² × 20 mm; half the sides of 1 m³

    def test_a_factor_that_is_given_counts(self, hand: Any) -> None:
        assert outdoor(hand, f"{HOLE}factor = 1\n{STORMS}").soakaway.needed == pytest.approx(0.24 - 2 * 5e-5 * 600, rel=1e-9)

    def test_an_empty_part_is_none(self, hand: Any) -> None:
        found = outdoor(hand, "[soakaway]\n[rain]\n[units]\n")
        assert (found.soakaway, found.flow, found.units, found.faults) == (None, None, None, ())


class TestOutlet:
    def test_the_point_of_an_outlet_takes_the_water(self, hand: Any) -> None:
        found = outdoor(hand, finish=OUTLET).catchments
        assert found.outlets == (("outlet", 2.0, 1.5),)
        (sink,) = found.sinks
        assert found.taken(sink) == (pytest.approx(12.0), 0)
        assert found.dead == ()

    def test_one_plane_and_a_channel_have_none(self, hand: Any) -> None:
        assert outdoor(hand, finish=CHANNEL).catchments.outlets == ()


class TestFaultsAndDoubts:
    def test_each_part_that_is_wrong_is_told_once_and_the_others_are_worked_out(self, hand: Any) -> None:
        hand.change("[[wall]]", "beyond_edge_mm = 0\n[[wall]]")
        found = outdoor(hand, '[rain]\nintensity_mm_h = "heavy"\n[taking_up]\nsoil = "moon"\n')
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            assert [fault.partition(":")[0] for fault in found.faults] == ["brief.toml, [taking_up]", "brief.toml, [rain]"]
            assert (found.tried("materials"), found.tried("flow")) == (None, None)
            assert found.tried("dig").soil == pytest.approx(0.24)
            assert found.tried("catchments").area == pytest.approx(12)

    def test_none_where_nothing_is_wrong(self, hand: Any) -> None:
        assert outdoor(hand, RAIN + HOLE + STORMS, finish=CHANNEL).faults == ()

    def test_a_surface_that_cannot_be_worked_out_is_told_once(self, hand: Any) -> None:
        assert len(outdoor(hand.change('fall_away = "25 mm/m"', 'fall_away = "steep"')).faults) == 1

    def test_doubts_of_several_parts_are_collected_each_once(self, hand: Any) -> None:
        hole = HOLE.replace("rate_m_s = 5e-5", "hole_seconds = [1000]")
        found = outdoor(hand, f"[rain]\nintensity_mm_h = 0.014\n{hole}{STORMS}")
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            assert found.faults == found.faults == ()
        assert sum("fill it three times" in doubt for doubt in found.doubts) == 1
        assert sum("l/s per m²" in doubt for doubt in found.doubts) == 1

    def test_a_footing_outside_the_dig_is_a_doubt_too(self, hand: Any) -> None:
        found = outdoor(hand, '[[footing]]\nname = "pad"\ncorners_m = [[10, 1], [11, 1], [11, 2]]\ntop_m = 9.7\n')
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            assert found.dig.soil > 0
        assert any("'pad' lies outside the dig" in doubt for doubt in found.doubts)

    def test_a_fault_names_its_part_once(self, hand: Any) -> None:
        (fault,) = outdoor(hand, '[[post]]\nname = "P"\nat = [1, 1]\n').faults
        assert fault.startswith("brief.toml, [[post]] number 1: size_mm is missing")
