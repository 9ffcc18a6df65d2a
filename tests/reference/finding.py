"""What the public names make of a reference case, under the names that its source uses."""

from __future__ import annotations

import math
import warnings
from collections.abc import Callable
from itertools import pairwise
from typing import Any

import numpy as np
import pandas as pd
from finding_pegs_and_networks import PEGS_AND_NETWORKS
from finding_quantities import QUANTITIES
from finding_works import WORKS

import sitelevels as sl

FOOT = 0.3048  # m, exact by the international definition of 1959

Case = dict[str, Any]
Found = dict[str, Any]


def find(case: Case) -> Found:
    """One case through the public names."""
    if case["id"] in FALLS:
        return FALLS[case["id"]](case["inputs"])
    return SPECIAL.get(case["id"], from_book)(case)


# Level books


def csv_text(rows: list[Case]) -> str:
    """A level book as somebody would type it: a line of headings, then the rows, empty cells left empty."""
    columns = ["point", "bs", "is", "fs", "rl"]
    columns += [name for name in ("sight", "hand_level") if any(name in row for row in rows)]
    lines = [columns] + [[str(row.get(name, "")) for name in columns] for row in rows]
    return "\n".join(",".join(line) for line in lines) + "\n"


def booked_rows(case: Case) -> list[Case]:
    """The rows of a case, the known closing level under rl on the last."""
    rows = [dict(row) for row in case["inputs"]["rows"]]
    if "closing_known_rl" in case["inputs"]:
        rows[-1]["rl"] = case["inputs"]["closing_known_rl"]
    return rows


def reduced_from(rows: list[Case], *, unit: str = "m", **options: Any) -> sl.ReducedLevels:
    """Reduced levels of rows that went in as CSV text; questions put to the reader are not shown here."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", sl.SurveyWarning)
        return sl.reduce_book(sl.read_book(csv_text(rows), unit=unit), **options)


def from_book(case: Case) -> Found:
    """What the book of a case comes to, in the unit of the case."""
    foot = case["units"].startswith("ft")
    scale = FOOT if foot else 1.0
    reduced = reduced_from(booked_rows(case), unit="ft" if foot else "m")
    table, sums = reduced.table, reduced.sums.iloc[0] / scale
    levels = (table["level"] / scale).tolist()
    adjusted = (table["adjusted_level"] / scale).tolist()
    hpc = (table["hpc"].dropna() / scale).tolist()
    moves = table["rise"].fillna(0.0) - table["fall"].fillna(0.0)
    points = {f"RL_{point}": level for point, level in zip(table["point"], levels, strict=True)}
    by_point = isinstance(case["expected"].get("rl"), dict)
    found: Found = {
        "rl": dict(zip(table["point"], levels, strict=True)) if by_point else levels,
        "hpc": hpc,
        "hi": hpc if isinstance(case["expected"].get("hi"), list) else hpc[0],
        "adjusted_rl": adjusted,
        "correction_mm": [1000 * (a - b) for a, b in zip(adjusted, levels, strict=True)],
        "rise_fall": (moves / scale).tolist()[1:],
        "elevations": levels[1:],
        "closing_rl": levels[-1],
        "last_rl": levels[-1],
        "rl_x": levels[-1],
        "rl_soffit": levels[-1],
        "height_above_floor": levels[-1] - levels[0],
        **points,
    }
    for name in ("sum_bs", "sum_fs", "sum_rise", "sum_fall"):
        found[name] = found[name.replace("sum_", "sum").replace("bs", "BS").replace("fs", "FS")] = sums[name]
    found["sum_bs_minus_sum_fs"] = found["sumBS_minus_sumFS"] = sums["sum_bs"] - sums["sum_fs"]
    if reduced.misclosure is not None:
        found["misclosure_m"] = found["misclosure_computed_minus_known"] = reduced.misclosure / scale
        found["misclosure_mm"] = 1000 * found["misclosure_m"]
    if "interval_m" in case["inputs"]:
        length = case["inputs"]["interval_m"] * (len(levels) - 1)
        found["gradient_1_in"] = one_in((levels[0] - levels[-1]) / length)
    return found


def made_up_run(
    first: float, falls: list[float], known: float, sights: list[float] | None = None
) -> list[Case]:
    """Rows of a run of our own: a fall for each set-up, backsights 1.2, 1.3 … so that no two are alike."""
    backs = [round(1.2 + 0.1 * place, 3) for place in range(len(falls))]
    fronts = [round(back + fall, 3) for back, fall in zip(backs, falls, strict=True)]
    rows: list[Case] = [{"point": "start", "bs": backs[0], "rl": first}]
    rows += [
        {"point": f"CP{place}", "fs": front, "bs": back}
        for place, (front, back) in enumerate(zip(fronts, backs[1:], strict=False), start=1)
    ]
    rows.append({"point": "end", "fs": fronts[-1], "rl": known})
    if sights:  # the backsight has no length, so that a set-up is as long as its foresight
        rows[0]["sight"] = "0"
        for row, length in zip(rows[1:], sights, strict=True):
            row["sight"] = f"{length}/0"
    return rows


def shared_by_setups(case: Case) -> Found:
    """MD01: the misclosure of a run, shared out equally."""
    given = case["inputs"]
    rows = made_up_run(100.0, [0.0] * given["n_setups"], 100.0 - given["misclosure"])
    reduced = reduced_from(rows, unit="ft", allowable=given["misclosure"] * FOOT)
    moved = ((reduced.table["adjusted_level"] - reduced.table["level"]) / FOOT).tolist()
    return {"correction_per_setup": moved[1], "correction_at_point": moved[given["point_at_setup"]]}


def shared_by_distance(case: Case) -> Found:
    """MD02: the misclosure of a circuit, shared out by the length of its legs."""
    stations = case["inputs"]["stations"]
    legs = list(pairwise(stations))
    rows = made_up_run(
        stations[0]["observed_rl"],
        [a["observed_rl"] - b["observed_rl"] for a, b in legs],
        case["inputs"]["closing_known_rl"],
        [round(1000 * (b["distance_km"] - a["distance_km"])) for a, b in legs],
    )
    return {
        "adjusted_rl": reduced_from(rows, adjust="distance", allowable=1.0).table["adjusted_level"].tolist()
    }


def within_allowance(case: Case) -> Found:
    """W61: a misclosure against 5 mm × √set-ups."""
    given = case["inputs"]
    rows = made_up_run(given["initial_RL_m"], [0.0] * given["set_ups"], given["closing_benchmark_m"])
    reduced = reduced_from(rows)
    return {
        "misclosure_mm": 1000 * reduced.misclosure,
        "allowable_mm": 1000 * reduced.allowable,
        "accepted": reduced.closes,
    }


def from_sums(case: Case) -> Found:
    """W17: a book of one rise and one fall that has the printed sums."""
    given = case["inputs"]
    rows = [
        {"point": "first", "bs": 3.0, "rl": given["first_RL"]},
        {"point": "CP", "fs": round(3.0 - given["sum_rise"], 3), "bs": round(given["sumBS"] - 3.0, 3)},
        {"point": "last", "fs": round(given["sumFS"] - 3.0 + given["sum_rise"], 3)},
    ]
    reduced = reduced_from(rows)
    sums = reduced.sums.iloc[0]
    diffs = (
        sums["sum_bs"] - sums["sum_fs"],
        sums["sum_rise"] - sums["sum_fall"],
        sums["last"] - sums["first"],
    )
    odd_one = max(diffs, key=lambda diff: abs(diff - diffs[0]))  # all three are printed as one number
    return {"last_RL": reduced.level("last"), "diff": odd_one}


# Falls


def one_in(fall: float) -> float:
    """The N of the words 1:N that a fall is shown as."""
    return float(sl.word_fall(fall).partition(" ")[0].removeprefix("1:"))


def falling(run: float, fall: float) -> sl.Plane:
    """A plane that falls by `fall` over `run`, both in m, along x."""
    return sl.Plane(fall, -fall / run, 0.0)


def drop(text: str, run: float) -> float:
    """How far a plane laid to a fall in words goes down over `run`, in the unit of `run`."""
    plane = sl.Plane(0.0, -sl.parse_fall(text), 0.0)
    return float(plane.level_at(0.0, 0.0) - plane.level_at(run, 0.0))


def degrees(text: str) -> float:
    return math.degrees(math.atan(sl.parse_fall(text)))


def combined(given: Case) -> Found:
    plane = sl.Plane(0.0, -given["fall_x"], -given["fall_y"])
    return {
        "true_fall": plane.fall,
        "one_in": 1 / plane.fall,
        "direction_deg_from_x": math.degrees(math.atan2(plane.direction[1], plane.direction[0])),
    }


def off_the_fall_line(given: Case) -> Found:
    plane = sl.Plane(0.0, -sl.parse_fall(f"1:{given['full_one_in']}"), 0.0)
    turned = math.radians(given["off_angle_deg"])
    wanted = sl.parse_fall(f"1:{given['second_apparent']}")
    angles = np.arange(0, 90.05, 0.1)
    falls = [
        plane.fall_towards(math.cos(math.radians(angle)), math.sin(math.radians(angle))) for angle in angles
    ]
    return {
        "apparent_one_in": 1 / plane.fall_towards(math.cos(turned), math.sin(turned)),
        "angle_for_1_in_10_deg": float(angles[np.argmin(np.abs(np.array(falls) - wanted))]),
    }


def depth_to_formation(given: Case) -> Found:
    """W57: the wall along x, the paving as wide as the run, ground read at the wall and at the far edge."""
    run = given["run_m"]
    area = [(0.0, 0.0), (6.0, 0.0), (6.0, run), (0.0, run)]
    plane = sl.Plane(
        given["DPC_m"] - given["clearance_mm"] / 1000, 0.0, -sl.parse_fall(f"1:{given['one_in']}")
    )
    layers = sum(given[name] for name in ("slab_mm", "bed_mm", "sub_base_mm")) / 1000
    top = sl.Finish.plane(plane, area)
    formation = top.lowered(layers)
    ground = sl.Ground(
        [0.0, 6.0, 6.0, 0.0], [0.0, 0.0, run, run], [given["ground_at_wall"]] * 2 + [given["ground_far"]] * 2
    )
    found = {}
    for name, y in (("wall", 0.0), ("far", run)):
        found[f"top_{name}"] = float(top.level_at(3.0, y))
        found[f"formation_{name}"] = float(formation.level_at(3.0, y))
        found[f"dig_{name}_mm"] = 1000 * float(ground.level_at(3.0, y) - formation.level_at(3.0, y))
    return found


FALLS: dict[str, Callable[[Case], Found]] = {
    "W01": lambda i: {
        "slope": falling(i["run_m"], i["fall_m"]).fall_towards(1, 0),
        "one_in": one_in(falling(i["run_m"], i["fall_m"]).fall),
    },
    "W02": lambda i: {"fall_m": drop(f"1:{i['one_in']}", i["run_m"])},
    "W03": lambda i: {"fall_mm": drop(f"1 in {i['one_in']}", i["run_mm"])},
    "W04": lambda i: {"one_in": one_in(falling(i["run_m"], i["block_mm"] / 1000).fall)},
    "W06": lambda i: (
        {f"deg{n}": degrees(f"1:{n}") for n in i["one_in"]}
        | {f"pct{n}": 100 * sl.parse_fall(f"1:{n}") for n in i["one_in"]}
    ),
    "W07": lambda i: {f"one_in_{mm}": 1 / falling(i["run_m"], mm / 1000).fall for mm in i["falls_mm"]},
    "W08": lambda i: {"fall_mm": drop(f"{i['fall_in'] / i['run_ft']} in/ft", i["run_mm"])},
    "W09": combined,
    "W11": off_the_fall_line,
    "W13": lambda i: {"quarter_inch_per_ft_one_in": one_in(sl.parse_fall(f"{i['drawing_in_per_ft']} in/ft"))},
    "W57": depth_to_formation,
    "W60": lambda i: {"fall_m": drop(f"1:{i['one_in']}", i["run_m"])},
    "W62": lambda i: (
        {f"slope_{n}": sl.parse_fall(f"1:{n}") for n in (i["steepest_one_in"], i["flattest_one_in"])}
        | {f"fall_{n}_m": drop(f"1:{n}", i["run_m"]) for n in (i["steepest_one_in"], i["flattest_one_in"])}
    ),
    "B19": lambda i: {"one_in": [one_in(sl.parse_fall(f"{angle}°")) for angle in i["degrees"]]},
    "B33": lambda i: {"fall_mm": 1000 * drop(f"1:{i['one_in']}", i["run_m"])},
    "B45": lambda i: {"one_in": one_in(sl.parse_fall(f"{i['pct']} %"))},
}


# Planes and volumes


def fitted(case: Case) -> Found:
    points = pd.DataFrame(case["inputs"]["points"]).astype(float)
    fit = sl.fit_plane(points["x"], points["y"], points["z"])
    return {
        "coefficients": [float(fit.plane.level_at(0.0, 0.0)), fit.plane.gx, fit.plane.gy],
        "residual_sd": fit.sd,
        "sum_of_errors": float(np.sum(fit.residuals)),
        "sse": float(np.sum(np.square(fit.residuals))),
    }


def pontius(case: Case) -> Found:
    """x in millions and its square as plan coordinates of the size of a site; gradients scaled back."""
    x = np.array(case["inputs"]["x_thousands"]) / 1000
    fit = sl.fit_plane(x, x**2, case["inputs"]["y"])
    return {
        "coefficients": [float(fit.plane.level_at(0.0, 0.0)), fit.plane.gx * 1e-6, fit.plane.gy * 1e-12],
        "sd_gradients": [math.sqrt(fit.covariance[1, 1]) * 1e-6, math.sqrt(fit.covariance[2, 2]) * 1e-12],
        "residual_sd": fit.sd,
    }


def square(levels: list[float], size: tuple[float, float], formation: float) -> tuple[sl.Earthworks, float]:
    """Earthworks under four corners with the middle at their mean, as the source takes it; and that mean."""
    x, y = np.array([0.0, size[0], 0.0, size[0]]), np.array([0.0, 0.0, size[1], size[1]])
    middle = float(sl.fit_plane(x, y, levels).plane.level_at(size[0] / 2, size[1] / 2))
    ground = sl.Ground([*x, size[0] / 2], [*y, size[1] / 2], [*levels, middle])
    area = [(0.0, 0.0), (size[0], 0.0), size, (0.0, size[1])]
    return sl.cut_and_fill(ground, sl.Plane(formation, 0.0, 0.0), area), middle


def borrow(case: Case) -> Found:
    """VO02, in feet and cubic yards outside, metres inside."""
    given = case["inputs"]
    side = given["cell"][0] * FOOT
    works, middle = square(
        [level * FOOT for level in given["existing"]], (side, side), given["design"] * FOOT
    )
    return {
        "mean_existing": middle / FOOT,
        "mean_fill": works.fill / side**2 / FOOT,
        "fill_yd3": works.fill / (3 * FOOT) ** 3,
    }


def cells_of_a_plot(case: Case) -> Found:
    """VO03: net volume of its first two cells."""
    given = case["inputs"]
    works = [
        square([given["levels"][name] for name in cell], tuple(given["cell"]), given["formation"])[0]
        for cell in given["cells"][:2]
    ]
    return {"net_by_cell": [work.cut - work.fill for work in works]}


def strip_hill(case: Case) -> Found:
    """VO01: a hill 10 m wide, even between contours, so that its areas are the printed ones."""
    areas, interval, width = case["inputs"]["areas"], case["inputs"]["interval"], 10.0
    x = [0.0, *(area / width for area in areas)]
    level = [interval * step for step in (len(areas) - 1, *range(len(areas) - 1, -1, -1))]
    ground = sl.Ground(x * 2, [0.0] * len(x) + [width] * len(x), level * 2)
    area = [(0.0, 0.0), (x[-1], 0.0), (x[-1], width), (0.0, width)]
    return {"volume": sl.cut_and_fill(ground, sl.Plane(0.0, 0.0, 0.0), area).cut}


SPECIAL: dict[str, Callable[[Case], Found]] = {
    "MD01": shared_by_setups,
    "MD02": shared_by_distance,
    "W61": within_allowance,
    "W17": from_sums,
    "PL05": fitted,
    "PL06": fitted,
    "NIST-Pontius": pontius,
    "VO01": strip_hill,
    "VO02": borrow,
    "VO03": cells_of_a_plot,
    **PEGS_AND_NETWORKS,
    **QUANTITIES,
    **WORKS,
}
