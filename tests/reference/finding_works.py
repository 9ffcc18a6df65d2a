"""What the public names make of worked examples of drainage by other people, under the names that they use."""

from __future__ import annotations

import warnings
from collections.abc import Callable
from typing import Any

from scipy.constants import acre, foot, hectare, hour, inch, micro, mile, milli, minute

from sitelevels import SurveyWarning, infiltration, pipe, rectangular_channel, runoff, soakaway

Case = dict[str, Any]
Found = dict[str, Any]


def drained(given: Case) -> float:
    """The flow in m³/s of a case in US units, of whatever size."""
    area = given["A_acre"] * acre if "A_acre" in given else given["A_mi2"] * mile**2
    return runoff(area, given["i_in_h"] * inch / milli, given["C"]).flow


def mixed(given: Case) -> float:
    """W42: rural and urban land side by side."""
    part, of = given["rural_share"]
    rural = given["area_ha"] * hectare * part / of
    return (
        runoff(rural, given["i_mm_h"], given["C_rural"])
        + runoff(given["area_ha"] * hectare - rural, given["i_mm_h"], given["C_urban"])
    ).flow


def paved(given: Case) -> Found:
    """W44: by the name of the rain."""
    flow = runoff(given["area_m2"], given["intensity"], given["C"])
    return {"Q_l_s": flow.flow / milli, "i_mm_h": flow.parts[0].intensity}


def us_constant(given: Case) -> float:
    """D29: what Manning's formula is multiplied by when everything is in feet."""
    channel = rectangular_channel(given["b_ft"] * foot, given["y_ft"] * foot, given["S"], given["n"])
    velocity, radius = channel.velocity / foot, channel.hydraulic_radius / foot
    return float(velocity * channel.n / (radius ** (2 / 3) * channel.fall**0.5))


def wide_channel(given: Case) -> Found:
    """W47, wider than a channel in a yard, which is questioned."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", SurveyWarning)
        channel = rectangular_channel(given["b"], given["y"], given["S"], given["n"])
    return {"R": channel.hydraulic_radius, "v": channel.velocity, "Q": channel.flow}


def full_pipe(given: Case) -> Found:
    """W48."""
    drain = pipe(given["D_ft"] * foot, given["S"], given["n"])
    return {"Rh_ft": drain.hydraulic_radius / foot, "Q_cfs": drain.flow / foot**3}


def trial_pit(given: Case) -> Found:
    """W52."""
    pit = infiltration(given["pit_m"], [time * minute for time in given["times_min"]])
    return {"Vp_m3": pit.volume, "ap50_m2": pit.area, "f_um_s": pit.rate / micro}


def of_the_sheet(given: Case) -> Found:
    """W53: its size, under rain of our own, of three storms the middle of which is the worst."""
    hole = soakaway(
        given["A_m2"], given["f_m_s"], given["size_m"], void=given["void"], rain=[(10, 10.0), (30, 18.0), (60, 20.0)]
    )
    return {"as50_m2": hole.side_area, "outflow": hole.outflow / micro, "S_actual_m3": hole.has}


def percolation_hole(given: Case) -> Found:
    """W55: the time from three quarters to a quarter of the depth that has the percolation value of the case."""
    time = given["Vp_s_mm"] * given["hole_m"][2] / 2 / milli
    hole = infiltration(given["hole_m"], [time] * 3)
    return {"f_m_s": hole.rate, "Vp_s_mm": hole.percolation_value}


def small_soakaway(given: Case) -> Found:
    """W56."""
    hole = soakaway(given["area_m2"], given["f_m_s"], given["pit_m"], void=given["void"])
    storm = hole.table.iloc[0]
    return {
        "inflow_m3": storm["inflow"],
        "outflow_m3": storm["outflow"],
        "storage_m3": hole.needed,
        "pit_volume_rubble_m3": hole.needed / hole.void,
    }


def _of(find: Callable[[Case], Found]) -> Callable[[Case], Found]:
    return lambda case: find(case["inputs"])


WORKS: dict[str, Callable[[Case], Found]] = {
    "W39": _of(lambda given: {"l_s_m2": runoff(1.0, given["mm_h"], 1.0).flow / milli}),
    "D23": _of(lambda given: {"Q_cfs": drained(given) / foot**3}),
    "W40": _of(lambda given: {"Q_acre_in_h": drained(given) / (acre * inch / hour)}),
    "W41": _of(lambda given: {"Q_acre_in_h": drained(given) / (acre * inch / hour)}),
    "W42": _of(lambda given: {"Q_m3s": mixed(given)}),
    "W43": _of(lambda given: {"Q_m3s": runoff(given["A_ha"] * hectare, given["i_mm_h"], given["C"]).flow}),
    "W44": _of(paved),
    "D29": _of(lambda given: {"constant": us_constant(given)}),
    "W47": _of(wide_channel),
    "W48": _of(full_pipe),
    "W50": _of(lambda given: {"Q_m3s": pipe(given["d"], given["S"], given["n"]).half_full.flow}),
    "W52": _of(trial_pit),
    "W52-rate": _of(trial_pit),
    "W53": _of(of_the_sheet),
    "W53-rest": _of(of_the_sheet),
    "W55": _of(percolation_hole),
    "W56": _of(small_soakaway),
}
