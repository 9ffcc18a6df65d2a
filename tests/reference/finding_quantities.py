"""What the public names make of other people's quantities, under the names and in the units that they use."""

from __future__ import annotations

import math
import warnings
from collections.abc import Callable
from typing import Any

from scipy.constants import foot, inch, lb, yard

import sitelevels as sl
from sitelevels.works.build_up import layer_tops
from sitelevels.works.dig import Dig, dig_out
from sitelevels.works.heaps import Heap
from sitelevels.works.materials import Materials, materials

Case = dict[str, Any]
Found = dict[str, Any]
Outline = list[tuple[float, float]]
G = 9.81  # m/s²
LEVEL = 10.0  # m, of ground and finished surface in cases that say nothing of them


def rectangle(length: float, width: float) -> Outline:
    return [(0.0, 0.0), (length, 0.0), (length, width), (0.0, width)]


def dig_of(outline: Outline, *layers: sl.Layer) -> Dig:
    """Level ground, and the finished surface level with it: what is dug is what the layers fill."""
    reach = max(max(abs(x), abs(y)) for x, y in outline) + 1
    ground = sl.Ground([-reach, reach, reach, -reach], [-reach, -reach, reach, reach], [LEVEL] * 4)
    brief = sl.Brief(outline, layers=layers, beyond_edge=0.0)
    return dig_out(ground, sl.Finish.plane(sl.Plane(LEVEL, 0, 0), outline), brief)


def concrete(outline: Outline, thickness: float, *, waste: float = 0.0, **options: Any) -> Materials:
    """A single layer of concrete, as thick as it should be and no looser than it lies unless that is said."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", sl.SurveyWarning)
        layer = sl.Layer("concrete", thickness, kind="bedding", tolerance=0, waste=waste, **{"loose": 1.0} | options)
    return materials(dig_of(outline, layer))


def net_and_order(outline: Outline, thickness: float, waste: float) -> tuple[float, float]:
    """Volume in place and with waste, m³."""
    heap = concrete(outline, thickness, waste=waste).heap("buy", "concrete")
    return heap.in_place.likely, heap.loose.likely


def dug(volume: float, **options: Any) -> Heap:
    """Soil of a volume in the ground (m³), taken away."""
    dig = dig_of(rectangle(2.0, 2.0), sl.Layer("formation", volume / 4.0, kind="units"))
    return materials(dig, **options).heap("take away", "dug soil")


def swelling(case: Case) -> Found:
    """W28: dug ground by the printed swell; the source divides the other way."""
    given = case["inputs"]
    return {"loose": dug(1.0, bulking=given["swell_pct"] / 100).loose.likely * given["bank"]}


def spoil_by_mass(case: Case) -> Found:
    """W29: so much ground that its mass is the printed one, grown by the printed swell; and its mass once more."""
    given, cubic = case["inputs"], yard**3
    heap = dug(given["mass_lb"] / given["bank_lb_yd3"] * cubic, density=given["bank_lb_yd3"] * lb / cubic,
               bulking=given["swell_pct"] / 100)
    return {"bank_yd3": heap.in_place.likely / cubic, "loose_yd3": heap.loose.likely / cubic, "mass_lb": heap.mass.likely / lb}


def densities(case: Case) -> Found:
    """W30, W31: the loose density that our volumes and masses give back, and the load factor."""
    given = case["inputs"]
    heap = dug(1.0, density=given["bank"], bulking=given["swell_pct"] / 100)
    return {"loose": heap.mass.likely / heap.loose.likely, "load_factor": heap.in_place.likely / heap.loose.likely}


def slab_with_waste(case: Case) -> Found:
    """W32."""
    given = case["inputs"]
    net, order = net_and_order(rectangle(given["l"], given["w"]), given["t"], given["waste_pct"] / 100)
    return {"net_m3": net, "order_m3": order}


def drive(widths: list[float], case: Case) -> Found:
    """W33: a drive that narrows evenly from one width to the other."""
    given, cubic = case["inputs"], yard**3
    length, (wide, narrow) = given["length_ft"] * foot, (width * foot for width in widths)
    outline = [(0.0, 0.0), (length, 0.0), (length, narrow), (0.0, wide)]
    net, order = net_and_order(outline, given["thickness_in"] * inch, given["waste_pct"] / 100)
    return {"area_ft2": net / (given["thickness_in"] * inch) / foot**2, "net_yd3": net / cubic, "order_yd3": order / cubic}


def beds(case: Case) -> Found:
    """W34: a rectangle, and a circle of 2000 sides that has the area of the round one to a millionth."""
    given, sides = case["inputs"], 2000
    circle = [(given["radius"] * math.cos(2 * math.pi * k / sides), given["radius"] * math.sin(2 * math.pi * k / sides))
              for k in range(sides)]
    return {"rect_m3": net_and_order(rectangle(given["l"], given["w"]), given["d"], 0.0)[0],
            "circle_m3": net_and_order(circle, given["circle_depth"], 0.0)[0]}


def parts_of(case: Case, outline: Outline, thickness: float) -> tuple[Heap, Heap, Heap]:
    """Cement, sand and aggregate of a mix."""
    mix = tuple(float(part) for part in case["inputs"]["mix"].split(":"))
    found = concrete(outline, thickness, mix=mix, loose=case["inputs"]["dry_factor"])
    cement, sand, aggregate = (found.heap("buy", f"{name} for the concrete") for name in ("cement", "sand", "aggregate"))
    return cement, sand, aggregate


def mix_of_metres(case: Case) -> Found:
    """W35 and W36, m³; bags of 50 kg."""
    given = case["inputs"]
    outline = rectangle(given["area_m2"], 1.0) if "area_m2" in given else rectangle(given["l"], given["w"])
    heaps = parts_of(case, outline, given["t"])
    return {"wet_m3": sum(heap.in_place.likely for heap in heaps), "dry_m3": sum(heap.loose.likely for heap in heaps),
            **{name: heap.loose.likely for name, heap in zip(("cement_m3", "sand_m3", "agg_m3"), heaps, strict=True)},
            "bags50": heaps[0].mass.likely / 50}


def mix_of_feet(case: Case) -> Found:
    """W37, ft³; bags of 1.25 ft³."""
    given, cubic = case["inputs"], foot**3
    heaps = parts_of(case, rectangle(given["l_ft"] * foot, given["w_ft"] * foot), given["t_ft"] * foot)
    return {"wet_ft3": sum(heap.in_place.likely for heap in heaps) / cubic,
            "dry_ft3": sum(heap.loose.likely for heap in heaps) / cubic,
            **{name: heap.loose.likely / cubic for name, heap in zip(("cement_ft3", "sand_ft3", "agg_ft3"), heaps, strict=True)},
            "bags": heaps[0].loose.likely / cubic / given["bag_ft3"]}


def foundation(case: Case) -> Found:
    """W63: walls and footings, each twice, and a slab, ft³; every one as an area and a thickness."""
    given = case["inputs"]
    found, total, order = {}, 0.0, 0.0
    walls = enumerate(given["foundation_wall_ft"], 1)
    pieces = [(f"wall_{n}_ft3", 2, (length, thick), high) for n, (length, thick, high) in walls]
    pieces += [(f"footing_{n}_ft3", 2, (length, wide), high) for n, (length, wide, high) in enumerate(given["footing_ft"], 1)]
    length, wide, thick = given["slab_ft"]
    pieces.append(("slab_ft3", 1, (length, wide), thick))
    for name, times, size, high in pieces:
        net, with_waste = net_and_order(rectangle(size[0] * foot, size[1] * foot), high * foot, given["waste_pct"] / 100)
        found[name] = times * net / foot**3
        total, order = total + times * net, order + times * with_waste
    return {**found, "total_ft3": total / foot**3, "with_waste_ft3": order / foot**3, "yd3": order / yard**3}


def dig_to_formation(case: Case) -> Found:
    """W57 again, through the layers: the formation at both ends, how deep the dig is, and its volume for each metre of wall."""
    given = case["inputs"]
    run, wide = given["run_m"], 3.0
    area = rectangle(wide, run)
    layers = tuple(sl.Layer(name, given[f"{name}_mm"] / 1000) for name in ("slab", "bed", "sub_base"))
    finish = sl.Finish.plane(sl.Plane(given["DPC_m"] - given["clearance_mm"] / 1000, 0.0, -1 / given["one_in"]), area)
    brief = sl.Brief(area, layers=layers, beyond_edge=0.0)
    ground = sl.Ground([0.0, wide, wide, 0.0], [0.0, 0.0, run, run], [given["ground_at_wall"]] * 2 + [given["ground_far"]] * 2)
    formation = dict(layer_tops(finish, brief))["formation"]
    dig = dig_out(ground, finish, brief)
    return {"formation_wall": formation.level_at(1.0, 0.0), "formation_far": formation.level_at(1.0, run),
            "dig_deepest_mm": 1000 * dig.deepest, "soil_m3_per_m": dig.soil / wide}


def unit_weights(case: Case) -> Found:
    """E13, E14: least and greatest mass of a cubic metre of each, by the layer that is taken to be made of it, as kN/m³.

    Hardcore is published as loose fill, and no layer is taken to be that unless it says so.
    """
    found: Found = {}
    kinds = case["inputs"]["kinds"] | dict.fromkeys(case["inputs"]["densities_by_name"], "compacted")
    for name, kind in kinds.items():
        said = {"density": name} if name in case["inputs"]["densities_by_name"] else {}
        layer = sl.Layer(name, 0.25, kind=kind, tolerance=0, waste=0, loose=1, **said)
        heap = materials(dig_of(rectangle(2.0, 2.0), layer)).heap("buy", name)
        found[name] = [heap.mass.low * G / 1000, heap.mass.high * G / 1000]
    return found


QUANTITIES: dict[str, Callable[[Case], Found]] = {
    "W28": swelling,
    "W29": spoil_by_mass,
    "W30": densities,
    "W31": densities,
    "W32": slab_with_waste,
    "W33": lambda case: drive(case["inputs"]["widths_ft_as_used"], case),
    "W34": beds,
    "W35": mix_of_metres,
    "W36": mix_of_metres,
    "W37": mix_of_feet,
    "W57-layers": dig_to_formation,
    "W63": foundation,
    "E13-E14": unit_weights,
}
