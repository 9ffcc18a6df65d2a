"""Every public function that takes numbers, with each number in turn replaced by what is none: a sentence, or a sound result."""

from __future__ import annotations

import math
import random
import re
from collections.abc import Callable, Iterator
from decimal import Decimal
from functools import cache
from typing import Any

import numpy as np
import pandas as pd
from ledger import Ledger, SlippedError, quiet, sound

import sitelevels as sl

SMALL = [(0.0, 0.0), (1.2, 0.0), (1.2, 1.0), (0.0, 1.0)]
AREA = [(0.0, 0.0), (6.0, 0.0), (6.0, 4.0), (0.0, 4.0)]
BOOK = (
    "point,bs,is,fs,rl,x,y,feature\nBM,1.000,,,10.000,-1,2,benchmark\nD1,,0.850,,,0,0,dpc\nD2,,0.850,,,6,0,dpc\n"
    "A,,1.150,,,0,0,corner\nB,,1.152,,,6,0,corner\nC,,1.221,,,6,4,corner\nD,,1.220,,,0,4,corner\nE,,1.184,,,3,2,\n"
    "BM,,,1.001,,-1,2,benchmark\n"
)
LINES = pd.DataFrame({"from": ["A", "A", "B"], "to": ["B", "C", "C"], "dh": [1.0, 3.0, 2.003], "length_km": [1.0, 1.0, 1.0]})

ODD: list[tuple[str, Any]] = [
    ("nan", math.nan),
    ("inf", math.inf),
    ("-inf", -math.inf),
    ("numpy nan", np.float64("nan")),
    ("None", None),
    ("a word", "wide"),
    ("a number in words", "1.5"),
    ("1e308", 1e308),
    ("-1e308", -1e308),
    ("complex", 1 + 2j),
    ("10**400", 10**400),
    ("a list", [1.5]),
    ("Decimal nan", Decimal("NaN")),
    ("pandas NA", pd.NA),
    ("an object", object()),
    ("bytes", b"1.5"),
    ("an array", np.array([1.0, 2.0])),
]


@cache
def things() -> dict[str, Any]:
    """What the functions are given beside numbers."""
    with quiet():
        book = sl.read_book(BOOK)
        reduced = sl.reduce_book(book)
        ground = sl.Ground([0, 6, 6, 0, 3], [0, 0, 4, 4, 2], [9.90, 9.90, 9.82, 9.82, 9.87], points="ABCDE")
        plane = sl.Plane(9.85, 0.0, -1 / 60)
        finish = sl.Finish.plane(plane, AREA)
        wall = sl.Wall("wall", (0, 0), (6, 0), dpc=[(0, 10.15), (6, 10.15)], points=["D1", "D2"])
        layers = (sl.Layer("slab", 0.04), sl.Layer("bed", 0.03), sl.Layer("sub-base", 0.10))
        brief = sl.Brief(AREA, walls=[wall], demands=[sl.Clearance("wall", 0.15), sl.FallAway("wall", 1 / 80)], layers=layers)
        budget = sl.ErrorBudget()
        errors = budget.errors(reduced)
        verdicts = sl.check_finish(finish, brief, budget=errors)
        dish = sl.Ground([0, 4, 4, 0, 2], [0, 0, 4, 4, 2], [10.0, 10.0, 10.0, 10.0, 9.97])
        dig = sl.dig_out(ground, finish, brief)
        return {
            "book": book,
            "reduced": reduced,
            "ground": ground,
            "plane": plane,
            "finish": finish,
            "wall": wall,
            "brief": brief,
            "budget": budget,
            "errors": errors,
            "verdicts": verdicts,
            "dish": dish,
            "small": sl.Ground([0, 1.2, 1.2, 0, 0.6], [0, 0, 1, 1, 0.5], [9.90, 9.90, 9.89, 9.89, 9.894]),
            "dig": dig,
            "ponding": sl.ponding(dish, [(0, 0), (4, 0), (4, 4), (0, 4)]),
            "exercise": sl.practice_book(5),
            "base": sl.Ground([0, 6, 6, 0, 3], [0, 0, 4, 4, 2], [9.90, 9.90, 9.91, 9.905, 9.902]),
            "units": sl.lay_out_units(AREA, (2.0, 1.0), joint=0.005),
            "room": sl.Brief(AREA),
        }


def calls() -> list[tuple[str, Callable[..., Any], dict[str, Any]]]:
    """Valid calls, by the public name that they stand for; numbers in the arguments are replaced one by one."""
    t = things()
    spot = ("sill", 1.2, 0.0, 10.15)
    mm: list[tuple[str, Callable[..., Any], dict[str, Any]]] = [
        ("word_fall", sl.word_fall, {"fall": 0.0125}),
        ("reduce_book", lambda **k: sl.reduce_book(t["book"], **k), {"allowable": 0.005}),
        ("suspect_slips", lambda **k: sl.suspect_slips(t["book"], **k), {"allowable": 0.005, "reading_sd": 0.001}),
        ("LevelBook", lambda level: t["book"].with_known("A", level), {"level": 9.85}),
        ("LevelBook", lambda places: t["book"].with_places(places), {"places": {"BM": (1.0, 2.0)}}),
        ("PegSetup", sl.PegSetup, {"a": 1.283, "b": 0.860, "to_a": 25.0, "to_b": 25.0}),
        ("PegSetup", sl.PegSetup, {"a": [1.283, 1.284], "b": [0.860, 0.861], "to_a": 25.0, "to_b": 25.0}),
        (
            "two_peg_test",
            lambda a, b, c, d, **k: sl.two_peg_test(sl.PegSetup(1.283, 0.860, 25, 25), sl.PegSetup(a, b, c, d), **k),
            {"a": 1.612, "b": 1.219, "c": 55.0, "d": 5.0, "limit": 6e-5, "curvature": 0.0},
        ),
        ("two_peg_test", lambda true: sl.two_peg_test(sl.PegSetup(1.283, 0.860, 55, 5), true_difference=true), {"true": 0.42}),
        ("turn_test", sl.turn_test, {"readings_by_heading": {0: 1.503, 90: 1.499, 180: 1.497, 270: 1.501}, "distance": 30.0}),
        ("repeat_readings", sl.repeat_readings, {"groups": [1.412, 1.413, 1.411]}),
        ("repeat_readings", sl.repeat_readings, {"groups": [[1.412, 1.413], [1.411, 1.412]]}),
        ("adjust_network", sl.adjust_network, {"observations": LINES, "known": {"A": 10.0}, "sd_per_root_km": 0.002}),
        (
            "from_ties",
            lambda **k: sl.from_ties(**k, side="left"),
            {"a": (0.0, 0.0), "b": (4.0, 0.0), "from_a": 3.0, "from_b": 5.0},
        ),
        ("from_offsets", sl.from_offsets, {"first": (0.0, 0.0), "second": (4.0, 0.0), "along": 1.0, "out": 2.0}),
        ("ties_covariance", sl.ties_covariance, {"a": (0.0, 0.0), "b": (4.0, 0.0), "place": (0.0, 3.0), "sd": 0.01}),
        ("ties_covariance", sl.ties_covariance, {"a": (0.0, 0.0), "b": (4.0, 0.0), "place": (0.0, 3.0), "sd": (0.01, 0.02)}),
        ("level_sd", sl.level_sd, {"covariance": [[1e-4, 0.0], [0.0, 1e-4]], "gx": 0.05, "gy": 0.0}),
        ("Plane", lambda **k: sl.Plane(**k).level_at(1.0, 2.0), {"level": 10.0, "gx": 0.0, "gy": -0.02, "at": (0.0, 0.0)}),
        ("Plane", lambda x, y: t["plane"].level_at(x, y), {"x": 2.0, "y": 3.0}),
        ("Plane", lambda x, y: t["plane"].fall_towards(x, y), {"x": 0.0, "y": 1.0}),
        ("fit_plane", sl.fit_plane, {"x": [0.0, 4.0, 4.0, 0.0], "y": [0.0, 0.0, 3.0, 3.0], "level": [10.0, 10.0, 9.95, 9.95]}),
        ("fit_plane", lambda **k: sl.fit_plane([0, 4, 4, 0], [0, 0, 3, 3], [10, 10, 9.95, 9.95], **k), {"sd": [0.001] * 4}),
        ("fit_plane", lambda **k: sl.fit_plane([0, 4, 4, 0], [0, 0, 3, 3], [10, 10, 9.95, 9.95], **k), {"sd": 0.002}),
        (
            "fit_plane",
            lambda **k: sl.fit_plane([0, 4, 4, 0], [0, 0, 3, 3], [10, 10, 9.95, 9.95], **k),
            {"covariance": [[1e-6 * (i == j) for i in range(4)] for j in range(4)]},
        ),
        ("Ground", sl.Ground, {"x": [0.0, 4.0, 4.0, 0.0], "y": [0.0, 0.0, 3.0, 3.0], "level": [10.0, 10.0, 9.94, 9.94]}),
        ("Ground", lambda x, y: t["ground"].level_at(x, y), {"x": 2.0, "y": 1.5}),
        ("Facet", lambda area: sl.Facet(t["plane"], area), {"area": AREA}),
        ("Finish", lambda area: sl.Finish.plane(t["plane"], area), {"area": AREA}),
        (
            "Finish",
            lambda line, **k: sl.Finish.channel(line, AREA, **k),
            {"line": ((0.0, 2.0), (6.0, 2.0)), "level": 9.8, "fall": 0.01, "left": 0.02, "right": 0.025},
        ),
        (
            "Finish",
            lambda point, **k: sl.Finish.outlet(point, AREA, **k),
            {"point": (2.0, 1.0), "level": 9.98, "perimeter": 10.0},
        ),
        ("Finish", lambda by: t["finish"].lowered(by), {"by": 0.18}),
        ("Finish", lambda x, y: t["finish"].level_at(x, y), {"x": 2.0, "y": 1.5}),
        ("Channel", lambda line: sl.Channel(line).parts(AREA), {"line": ((0.0, 2.0), (6.0, 2.0))}),
        ("Outlet", lambda **k: sl.Outlet(**k).parts(AREA), {"point": (2.0, 1.0)}),
        ("Brief", sl.Brief, {"area": AREA, "beyond_edge": 0.1}),
        ("Brief", lambda **k: sl.Brief(AREA, **k), {"closed": [((0.0, 4.0), (6.0, 4.0))]}),
        ("Brief", lambda **k: sl.Brief(AREA, **k), {"free": [((0.0, 4.0), (6.0, 4.0))]}),
        ("Brief", lambda **k: sl.Brief(AREA, **k), {"kept": [((0.0, 4.0), (6.0, 4.0))]}),
        ("Brief", lambda level, **k: t["brief"].plane_from("wall", level, **k), {"level": 9.9, "away": 0.02, "along": 0.0}),
        ("Wall", lambda **k: sl.Wall("wall", **k), {"first": (0.0, 0.0), "second": (6.0, 0.0), "dpc": 10.15}),
        (
            "Wall",
            lambda **k: sl.Wall("wall", **k),
            {"first": (0.0, 0.0), "second": (6.0, 0.0), "dpc": [(0.0, 10.15), (6.0, 10.15)]},
        ),
        ("Wall", lambda along: t["wall"].dpc_at(along), {"along": 3.0}),
        ("Layer", lambda **k: sl.Layer("slab", **k), {"thickness": 0.04, "tolerance": 0.005}),
        (
            "Layer",
            lambda **k: sl.Layer("base", 0.1, kind="compacted", **k),
            {"loose": (1.2, 1.3, 1.4), "density": 1900.0, "waste": (0.05, 0.1, 0.15), "lift": 0.1, "price": (30.0, "t")},
        ),
        ("Layer", lambda **k: sl.Layer("bed", 0.04, **k), {"mix": (1.0, 4.0)}),
        ("Spot", lambda **k: sl.Meet([tuple(sl.Spot("E", **k))]), {"x": 0.0, "y": 4.0, "level": 9.86}),
        ("Clearance", lambda **k: judged(sl.Clearance("wall", **k)), {"least": 0.15, "drained": 0.1}),
        ("FallAway", lambda **k: judged(sl.FallAway("wall", **k)), {"least": 0.0125, "target": 0.0167, "most": 0.05}),
        ("FallAlong", lambda **k: judged(sl.FallAlong("wall", **k)), {"most": 0.025}),
        ("Meet", lambda **k: judged(sl.Meet(**k)), {"points": [("E", 0.0, 4.0, 9.86)], "within": 0.006}),
        ("Step", lambda **k: judged(sl.Step(**k)), {"at": [spot], "least": 0.075, "most": 0.15}),
        ("Cover", lambda **k: judged(sl.Cover(**k)), {"points": [("pipe", 3.0, 2.0, 9.6)], "least": 0.15}),
        ("KeepBelow", lambda **k: judged(sl.KeepBelow(**k)), {"point": ("brick", 4.5, 0.0, 10.0), "by": 0.075}),
        ("Gully", lambda **k: judged(sl.Gully(**k)), {"point": ("G", 3.0, 4.0, 9.78), "proud": (0.003, 0.01)}),
        ("MaxGradient", lambda **k: judged(sl.MaxGradient(**k)), {"most": 0.05}),
        ("Thickness", lambda **k: judged(sl.Thickness(**k)), {"points": [("S", 1.0, 1.0, 9.8)], "least": 0.02, "most": 0.08}),
        (
            "FallToDrain",
            lambda **k: judged(sl.FallToDrain(**k), drained=True),
            {"least": 0.0125, "target": 0.0167, "most": 0.05, "channel": 0.01},
        ),
        (
            "AccessCover",
            lambda **k: judged(sl.AccessCover(**k)),
            {"points": [("C", 2.0, 1.0, 9.84)], "within": 0.006, "lower": 0.02, "higher": 0.0},
        ),
        ("ClosedEdge", sl.ClosedEdge, {"first": (0.0, 4.0), "second": (6.0, 4.0)}),
        (
            "ErrorBudget",
            sl.ErrorBudget,
            dict.fromkeys(
                (
                    "reading",
                    "placing_hard",
                    "placing_ground",
                    "placing_buried",
                    "backsight",
                    "zero",
                    "tilt_body",
                    "tilt_level",
                    "collimation",
                    "tape",
                    "laying",
                ),
                0.001,
            )
            | {"sure": 0.95},
        ),
        ("LevelErrors", lambda **k: sl.ErrorBudget().errors(t["reduced"], **k), {"instruments": {1: (3.0, 2.0)}}),
        ("LevelErrors", lambda **k: sl.ErrorBudget().errors(t["reduced"], **k), {"headings": {1: 90.0}}),
        ("LevelErrors", lambda **k: t["errors"].plane_fit(**k), {"uneven": 0.001}),
        ("sensitivity", lambda **k: sl.sensitivity(t["verdicts"], **k), {"trials": 100, "seed": 1}),
        ("next_shot", lambda **k: sl.next_shot(t["verdicts"], **k), {"demand": 0}),
        (
            "shot_plan",
            lambda **k: sl.shot_plan(t["brief"], **k),
            {"margin": 0.01, "fall_margin": 0.002, "benchmark": (-1.0, 2.0)},
        ),
        ("cut_and_fill", lambda area: sl.cut_and_fill(t["ground"], t["plane"], area), {"area": AREA}),
        ("Range", sl.Range, {"low": 1.0, "likely": 1.5, "high": 2.0}),
        ("Range", lambda by: sl.Range(1, 1.5, 2) * by, {"by": 2.0}),
        ("room_in", lambda dig: sl.room_in(dig, [sl.Layer("slab", 0.04)]), {"dig": 0.15}),
        ("layers_fit", lambda points: sl.layers_fit(t["finish"], t["brief"], points), {"points": [("F", 2.0, 2.0, 9.5)]}),
        ("Underside", sl.Underside, {"thickness": [(0.0, 0.0, 0.1), (4.0, 0.0, 0.14)]}),
        ("Underside", sl.Underside, {"thickness": 0.1, "area": AREA}),
        ("Underside", lambda x, y: sl.Underside([(0, 0, 0.1), (4, 0, 0.14)]).thickness_at(x, y), {"x": [1.0], "y": [0.0]}),
        ("Footing", lambda **k: sl.Footing("pad", **k), {"area": AREA, "top": 9.7}),
        (
            "materials",
            lambda **k: sl.materials(t["dig"], **k),
            {"bulking": (1.1, 1.2, 1.3), "density": (1500.0, 1600.0, 1700.0), "reuse": 0.1},
        ),
        ("materials", lambda **k: sl.materials(t["dig"], **k), {"bulking": 0.2, "density": 1600.0}),
        ("Carrier", lambda **k: sl.Carrier("skip", **k), {"volume": 4.0, "mass": 5000.0, "price": 200.0}),
        (
            "lay_out_units",
            sl.lay_out_units,
            {
                "area": AREA,
                "unit": (2.0, 1.0),
                "joint": 0.005,
                "along": (1.0, 0.0),
                "waste": 0.05,
                "start": (0.0, 0.0),
                "kerf": 0.004,
                "hole_joint": 0.005,
            },
        ),
        (
            "lay_out_units",
            lambda **k: sl.lay_out_units(AREA, (2.0, 1.0), joint=0.005, **k),
            {"holes": [[(1.0, 1.0), (2.0, 1.0), (2.0, 2.0)]]},
        ),
        ("lay_out_units", lambda **k: sl.lay_out_units(AREA, (2.0, 1.0), joint=0.005, **k), {"kept": [((0.0, 4.0), (6.0, 4.0))]}),
        ("UnitLayout", lambda number: t["units"].layout(number), {"number": 1}),
        ("Post", lambda **k: sl.check_posts([sl.Post("P", **k)], AREA), {"at": (2.0, 1.0), "size": 0.1}),
        ("Post", lambda **k: sl.check_posts([sl.Post("P", **k)], AREA), {"at": (2.0, 1.0), "size": (0.1, 0.2)}),
        ("check_posts", lambda area: sl.check_posts([sl.Post("P", (2, 1))], area), {"area": AREA}),
        ("pegs_at", lambda **k: sl.pegs_at(t["brief"], **k), {"edges": 1.0, "grid": 2.0, "points": [("P", 1.0, 1.0)]}),
        ("walking_order", sl.walking_order, {"pegs": [("P", 1.0, 1.0), ("Q", 2.0, 1.0), ("R", 3.0, 3.0)], "start": (0.0, 0.0)}),
        (
            "set_out",
            lambda pegs, **k: sl.set_out(t["finish"], t["brief"], pegs, **k),
            {"pegs": [("P", 1.0, 1.0, 9.9)], "hpc": 11.0},
        ),
        ("set_out", lambda **k: sl.set_out(t["finish"], t["brief"], [("P", 1, 1)], **k), {"backsight": (10.0, 1.0)}),
        (
            "PegTable",
            lambda sight, check: sl.set_out(t["finish"], t["brief"], [("P", 1, 1)], hpc=11.0).moved(
                sight, check=("P", check, "finished")
            ),
            {"sight": (10.0, 1.0), "check": 1.0},
        ),
        ("packer", sl.packer, {"fall": 0.0125, "length": 1.2}),
        ("packers", sl.packers, {"falls": [0.0125, 0.02], "lengths": (1.0, 1.2)}),
        ("fall_of_packer", sl.fall_of_packer, {"block": 0.015, "length": 1.2}),
        ("runoff", sl.runoff, {"area": 24.0, "intensity": 50.0, "coefficient": 0.9}),
        ("rectangular_channel", sl.rectangular_channel, {"width": 0.1, "depth": 0.075, "fall": 0.01, "n": 0.012}),
        ("pipe", sl.pipe, {"diameter": 0.1, "fall": 0.0125, "n": 0.012}),
        ("Conduit", lambda width: sl.rectangular_channel(width, 0.075, 0.01, 0.012), {"width": 0.1}),
        (
            "catchments",
            lambda **k: sl.catchments(t["finish"], t["brief"], **k),
            {"outlets": [("G", 3.0, 4.0)], "roof": [(6.0, 1.0, 1.0)], "reach": 0.3},
        ),
        ("infiltration", sl.infiltration, {"size": (1.0, 0.5, 0.5), "times": (1500.0, 1700.0, 1800.0)}),
        (
            "soakaway",
            sl.soakaway,
            {
                "area": 24.0,
                "rate": 2e-5,
                "size": (1.0, 1.0, 1.0),
                "void": 0.3,
                "rain": [(10.0, 12.7), (60.0, 24.8)],
                "factor": 1.5,
                "to_building": 6.0,
                "to_boundary": 3.0,
                "to_water": 2.0,
            },
        ),
        ("straightedge", lambda **k: sl.straightedge(t["ground"], **k), {"length": 2.0, "within": AREA}),
        (
            "flatness",
            lambda **k: sl.flatness(t["small"], **k),
            {"within": SMALL, "sure": 0.95, "covariance": [[1e-6 * (i == j) for i in range(5)] for j in range(5)]},
        ),
        (
            "ponding",
            lambda **k: sl.ponding(t["dish"], **k),
            {
                "area": [(0.0, 0.0), (4.0, 0.0), (4.0, 4.0), (0.0, 4.0)],
                "walls": [((0.0, 0.0), (4.0, 0.0))],
                "outlets": [(4.0, 4.0)],
            },
        ),
        (
            "ponding",
            lambda **k: sl.ponding(t["dish"], [(0, 0), (4, 0), (4, 4), (0, 4)], **k),
            {"free": [((0.0, 4.0), (4.0, 4.0))]},
        ),
        (
            "standing_water",
            lambda **k: sl.standing_water(t["ponding"], **k),
            {"sure": 0.95, "runs": 20, "seed": 1, "covariance": [[1e-6 * (i == j) for i in range(5)] for j in range(5)]},
        ),
        ("standing_water", lambda x: sl.standing_water(t["ponding"], doors=[sl.Spot("sill", x, 0.0, 10.1)]), {"x": 1.0}),
        ("lipping", sl.lipping, {"joints": [("by the door", 0.001), ("at the gully", 0.0042)], "most": 0.002}),
        (
            "base_to_screed",
            lambda **k: sl.base_to_screed(t["base"], t["room"], **k),
            {"least": 0.025, "most": 0.1, "mix": (1.0, 4.0), "waste": (0.05, 0.1, 0.15)},
        ),
        (
            "base_to_screed",
            lambda to, **k: sl.base_to_screed(t["base"], t["room"], to=sl.Outlet(to), **k),
            {"to": (3.0, 2.0), "fall": 0.0125, "steepest": 0.05},
        ),
        (
            "Screed",
            lambda pads, line: sl.base_to_screed(t["base"], t["room"]).pads(pads, line),
            {"pads": [("P", 1.0, 1.0)], "line": 11.0},
        ),
        ("departure_from_datum", lambda **k: sl.departure_from_datum(t["base"], **k), {"datum": 9.9, "most": 0.015}),
        ("practice_book", sl.practice_book, {"seed": 1}),
        ("mark_book", lambda **k: sl.mark_book(t["exercise"], t["exercise"].sheet(filled=True), **k), {"digit": 0.001}),
    ]
    return mm


EXEMPT: dict[str, str] = {
    **dict.fromkeys(("SurveyError", "SurveyWarning"), "takes sentences"),
    **dict.fromkeys(("ALLOWANCES", "LIMITS", "REGULARITY", "LIPPING", "SCREEDS", "GLOSSARY"), "a table"),
    **dict.fromkeys(("parse_fall", "read_book", "worked_steps"), "takes text, whose numbers the readers' attacks spoil"),
    **dict.fromkeys(
        (
            "ReducedLevels",
            "Suspicions",
            "TwoPegTest",
            "TurnTest",
            "RepeatReadings",
            "NetworkAdjustment",
            "PlaneFit",
            "Verdicts",
            "Solution",
            "Sensitivity",
            "NextShot",
            "ShotPlan",
            "Earthworks",
            "LayersFit",
            "Dig",
            "Materials",
            "PostCheck",
            "Flow",
            "Catchments",
            "Infiltration",
            "Soakaway",
            "Laid",
            "Mending",
            "Straightedge",
            "Flatness",
            "Ponding",
            "Basin",
            "StandingWater",
            "Departure",
            "Exercise",
            "Question",
            "Slip",
            "Marked",
            "Limit",
            "Published",
            "Regularity",
        ),
        "a result or a record, which functions make",
    ),
    **dict.fromkeys(
        ("check_finish", "solve_finish", "layer_tops", "dig_out", "check_laid", "lips_by_levels", "where_to_lift"),
        "takes no numbers, but what was made of them",
    ),
}


def judged(demand: Any, *, drained: bool = False) -> Any:
    """A demand that was made, and what it finds."""
    demand.words()
    finish = sl.Finish.outlet((2, 1), AREA, level=9.7, perimeter=9.8) if drained else things()["finish"]
    return sl.check_finish(finish, sl.Brief(AREA, walls=[things()["wall"]], demands=[demand]), budget=sl.ErrorBudget())


def slots(value: Any, at: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    """Where a number stands in nested arguments."""
    if isinstance(value, bool):
        return
    if isinstance(value, (int, float)):
        yield at
    elif isinstance(value, dict):
        for key, one in value.items():
            yield from slots(one, (*at, key))
    elif isinstance(value, (list, tuple)):
        for place, one in enumerate(value):
            yield from slots(one, (*at, place))
    elif isinstance(value, pd.DataFrame):
        yield from ((*at, (0, name)) for name in value.select_dtypes("number"))


def put(value: Any, at: tuple[Any, ...], odd: Any) -> Any:
    """The arguments with something else in one place."""
    if not at:
        return odd
    if isinstance(value, pd.DataFrame):
        changed = value.astype(object)
        changed.at[at[0]] = odd
        return changed
    changed = list(value) if isinstance(value, (list, tuple)) else dict(value)
    changed[at[0]] = put(value[at[0]], at[1:], odd)
    if isinstance(value, tuple):
        return type(value)(*changed) if hasattr(value, "_fields") else tuple(changed)
    return changed


_NAN = re.compile(r"(?<![\w/])(nan|inf|NaN|−inf|-inf)(?![\w/])")


def looked_at(result: Any) -> None:
    """A result and what it shows hold no nan and no infinity."""
    sound(result)
    for name in ("words", "sentence", "_repr_html_", "table", "basis"):
        if name in ("words", "table") and isinstance(getattr(type(result), name, None), property):
            shown = getattr(result, name)
        elif callable(getattr(result, name, None)) and not isinstance(result, type):
            shown = getattr(result, name)()
        else:
            continue
        if isinstance(shown, pd.DataFrame):
            sound(shown, name)
            shown = shown.select_dtypes("object").to_string() if name == "words" else ""
        if found := _NAN.search(str(shown)):
            raise SlippedError(f"{name} shows {found[0]}")


def tries() -> list[tuple[str, Callable[..., Any], dict[str, Any], tuple[Any, ...], str, Any]]:
    """Every number of every call with everything that is none."""
    return [
        (name, function, given, at, what, odd)
        for name, function, given in calls()
        for key in given
        for at in ends([*slots(given[key], (key,))])
        for what, odd in ODD
    ]


def ends(places: list[tuple[Any, ...]]) -> list[tuple[Any, ...]]:
    """All places of a few; of many the first two and the last."""
    return places if len(places) <= 4 else [*places[:2], places[-1]]


def attack(count: int | None, seed: int) -> Ledger:
    """All of them, or so many of them drawn by the seed."""
    ledger = Ledger("numbers that are none", seed)
    every = tries()
    chosen = every if count is None else random.Random(seed).sample(every, min(count, len(every)))
    for name, function, given, at, what, odd in chosen:
        place = ".".join(map(str, at))
        said = f"{name}({place}={what})"

        def act(function: Any = function, given: Any = given, at: Any = at, odd: Any = odd) -> None:
            result = function(**put(given, at, odd))
            for one in result if isinstance(result, tuple) else (result,):
                looked_at(one)

        before = len(ledger.unhandled)
        ledger.attempt(said, act)
        for fault in ledger.unhandled[before:]:
            ledger.unhandled[before] = f"{name} {place}: {fault}"
    ledger.note = f"{len(calls())} calls of {len({name for name, *_ in calls()})} public names"
    return ledger
