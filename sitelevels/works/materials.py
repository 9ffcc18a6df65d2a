"""What goes away and what is bought: volumes loose, masses, loads and money, each low, likely and high."""

from __future__ import annotations

import warnings
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from html import escape
from itertools import product
from typing import Any

import pandas as pd

from ..design.handbook import BULKING, DENSITIES, Range, range_of
from ..design.layers import BEDDING, COMPACTED, DENSEST, NO_UNITS, UNITS, USUAL, Layer, mix_usual
from ..errors import SurveyError, SurveyWarning, finite, must_be
from ..wording import (
    html_table,
    whole_up,
    word_area,
    word_between,
    word_mass,
    word_mm,
    word_money,
    word_number,
    word_share,
    word_volume,
)
from .dig import Dig
from .heaps import AWAY, BACK, BAGS, BARROW, BULK_BAG, BUY, CRUMB, ENDS, NOTHING, RUBBLE, SMALL_BAG, SOIL, Carrier, Heap, exactly


@dataclass(frozen=True, eq=False)
class Materials:
    """What a job takes away, puts back and buys. Made by `materials`.

    `heaps` in the order in which they are met; `reusable` is how much of the broken concrete could go back under the paving, as
    m³ compacted; `sources` says where each range comes from.
    """

    dig: Dig
    heaps: tuple[Heap, ...]
    carriers: tuple[Carrier, ...]
    reusable: Range
    sources: tuple[str, ...]

    @property
    def table(self) -> pd.DataFrame:
        """A new table, a row a heap: done what, then in_place and loose (m³) and mass (kg), each _low _likely _high, then area
        (m²), pieces, bags, loads_ of each carrier (likely), cost_low cost_likely cost_high.
        """
        nothing = Heap("", "", NOTHING, NOTHING, NOTHING)
        lines = []
        for heap in (*self.heaps, nothing):
            loads = {_column(one): one.loads(heap.loose, heap.mass)[1] if heap.takes(one) else None for one in self.carriers}
            lines.append({
                "done": heap.done, "what": heap.what, **_columns("in_place", heap.in_place), **_columns("loose", heap.loose),
                **_columns("mass", heap.mass), "area": heap.area.likely if heap.area else None, "pieces": heap.pieces,
                "bags": whole_up(heap.bags.likely) if heap.bags else None, **loads, **_columns("cost", heap.cost)})
        whole = ("pieces", "bags", *map(_column, self.carriers))
        return pd.DataFrame(lines).iloc[:-1].astype({**dict.fromkeys(whole, "Int64"), **{f"cost_{end}": float for end in ENDS}})

    @property
    def words(self) -> pd.DataFrame:
        """A new table for reading: likely values, the ends in brackets."""
        lines = []
        for heap in self.heaps:
            counted = [f"{heap.pieces} units"] if heap.pieces is not None else []
            counted += [word_area(heap.area.likely)] if heap.area else []
            counted += [f"{whole_up(heap.bags.likely)} {BAGS}"] if heap.bags else []
            loads = []
            for carrier in self.carriers:
                low, likely, high = carrier.loads(heap.loose, heap.mass)
                loads.append("" if not heap.takes(carrier) else f"{likely}" if low == high else f"{likely} ({low} to {high})")
            lines.append((heap.done, heap.what, word_between(*heap.in_place.values, word_volume),
                          word_between(*heap.loose.values, word_volume), word_between(*heap.mass.values, word_mass),
                          ", ".join(counted), *loads, word_between(*heap.cost.values, word_money) if heap.cost else ""))
        columns = ["", "what", "in place", "loose, waste counted", "mass", "counted", *(f"{one.name}s" for one in self.carriers),
                   "cost"]
        table = pd.DataFrame(lines, columns=columns)
        return table if any(table["cost"]) else table.drop(columns="cost")

    @cached_property
    def cost(self) -> Range | None:
        """What everything with a price comes to, loads taken away included; None where nothing has one."""
        priced = [heap.cost for heap in self.heaps if heap.cost is not None]
        priced += [Range(*map(float, self.away(one))) * one.price for one in self.carriers if one.price is not None]
        return sum(priced, NOTHING) if priced else None

    def away(self, carrier: Carrier) -> tuple[int, int, int]:
        """Loads of everything that is taken away, low, likely, high."""
        gone = [heap for heap in self.heaps if heap.done == AWAY]
        return carrier.loads(sum((heap.loose for heap in gone), NOTHING), sum((heap.mass for heap in gone), NOTHING))

    def heap(self, done: str, what: str) -> Heap:
        """The heap of that name. Raises SurveyError where there is none."""
        for heap in self.heaps:
            if (heap.done, heap.what) == (done, what):
                return heap
        raise SurveyError(f"there is nothing to {done} called {what!r}",
                          rule=f"There are {', '.join(f'{heap.done} {heap.what}' for heap in self.heaps)}.")

    def sentence(self) -> str:
        """What goes away, what could go back, and what it costs, in words."""
        gone = [heap for heap in self.heaps if heap.done == AWAY]
        said = "; ".join(f"{word_between(*heap.loose.values, word_volume)} of {heap.what} ({word_mass(heap.mass.likely)})"
                         for heap in gone)
        counts = [(self.away(carrier)[1], carrier.name) for carrier in self.carriers]
        loads = ", or ".join(f"{count} {name} load{'s' * (count != 1)}" for count, name in counts)
        told = f"To take away, loose: {said or 'nothing'}{f': {loads}' if loads and gone else ''}."
        if self.reusable.likely:
            told += (f" Broken small and compacted, the old concrete could make up to "
                     f"{word_between(*self.reusable.values, word_volume)} of the sub-base: only if it is clean, free of plaster "
                     "and wood, and no piece is longer than half the thickness of the layer (common practice, no source).")
        if self.cost is not None:
            told += f" What has a price comes to {word_between(*self.cost.values, word_money)}."
        return told

    def __repr__(self) -> str:
        return f"Materials: {self.sentence()}"

    def _repr_html_(self) -> str:
        return f"<p>{escape(self.sentence())}</p>{html_table(self.words, words=True)}"


FILL = Layer("stone", 0.1, kind=COMPACTED)  # what fills where no layer is compacted


def materials(dig: Dig, *, soil: str = "common earth", bulking: Any = None, density: Any = None, reuse: float = 0.0,
              carriers: Sequence[Carrier] = (BARROW, BULK_BAG), units: Any = None) -> Materials:
    """What a dig and its layers come to: loose, in tonnes, in loads, in money.

    Parameters
    ----------
    dig : Dig
        Its brief says what the layers are.
    soil : str
        A kind of BULKING.
    bulking : number or (least, likeliest, greatest), optional
        How much more room the soil takes once dug, as a share of its volume in the ground, in place of that kind's.
    density : the same, optional
        Of the soil in the ground, kg/m³.
    reuse : float
        Share of the broken concrete, 0 to 1, that goes back as sub-base and is not bought; never more than the sub-base takes.
    carriers : sequence of Carrier
        What is counted in loads; a barrow and a bulk bag if not said.
    units : UnitLayout, optional
        The layout that counts the units of the top layer; they are then counted one by one instead of by area.

    Returns
    -------
    Materials
        Each quantity low, likely and high: thickness by the tolerance of the layer, loosening and waste by their ranges, all
        low or all high together, so the truth lies between with room to spare.

    Raises
    ------
    SurveyError
        A soil that is not known, shares outside 0 to 1, a carrier that holds nothing.

    Notes
    -----
    Loose = in the ground × (1 + bulking). To buy = in place × loose for 1 m³ in place × (1 + waste). Mass goes by the volume in
    place. What goes back = broken concrete × (1 + its bulking) / loose for 1 m³ in place.

    >>> from sitelevels import Brief, Finish, Ground, Layer, Plane
    >>> from sitelevels.works.dig import dig_out
    >>> ground = Ground([0, 4, 4, 0], [0, 0, 3, 3], [10.0] * 4)
    >>> area = [(0, 0), (4, 0), (4, 3), (0, 3)]
    >>> brief = Brief(area, layers=[Layer("concrete", 0.10, waste=0.10, density=2400)])
    >>> found = materials(dig_out(ground, Finish.plane(Plane(10.0, 0, 0), area), brief), soil="clay")
    >>> round(found.heap("buy", "concrete").loose.likely, 3), round(found.heap("take away", "dug soil").loose.likely, 3)
    (1.32, 1.68)
    """
    must_be(dig, Dig, "the dig")
    if not isinstance(soil, str) or soil not in BULKING:
        raise SurveyError(f"the kind of soil is {soil!r}", rule=f"Kinds are {', '.join(BULKING)}.",
                          remedy="Or give its bulking as a share.")
    shares = "It is a share: 0.3 for 30 %."
    grows = BULKING[soil].range if bulking is None else _within(bulking, "the bulking of the soil", shares, 0.0, 2.0)
    heavy = DENSITIES["soil"].range if density is None else _within(density, "the density of the soil", NO_UNITS, 1.0, DENSEST)
    must_be(carriers, Iterable, "the list of carriers")
    loads = tuple(carriers)
    for carrier in loads:
        must_be(carrier, Carrier, "one of the carriers")
    if len({one.name for one in loads}) < len(loads):
        raise SurveyError("two carriers have one name", remedy="Give each its own.")
    bag = next((one for one in loads if one.name == BULK_BAG.name), BULK_BAG)
    if units is not None and not (hasattr(units, "order") and hasattr(units, "unit")):
        raise SurveyError(f"the units are {units!r}", rule="They are what `lay_out_units` gives.")
    back = finite(reuse, "the share of the rubble that goes back", "It is a share from 0 to 1; divide per cent by a hundred.",
                  least=0.0, most=1.0)
    layers = dig.brief.layers
    base = next((place for place in reversed(range(len(layers))) if layers[place].kind == COMPACTED), None)
    if back and dig.concrete and base is None:
        warnings.warn("None of the broken concrete goes back: no layer is compacted.", SurveyWarning, stacklevel=2)
    heaps, could, left_to_buy = _rubble(dig, base, back)
    compacted = sum(layer.thickness for layer in layers if layer.kind == COMPACTED)
    stone = compacted * dig.strip_area - dig.displaced_between(0.0, compacted, dig.strip)
    put = min(max(dig.strip_dug - stone, 0.0), dig.soil)
    for done, what, volume in ((AWAY, SOIL, dig.soil - put), (BACK, f"{SOIL} over the strip", put)):
        if volume > CRUMB:
            heaps.append(Heap(done, what, exactly(volume), (grows + 1.0) * volume, heavy * volume))
    top = next((place for place, layer in enumerate(layers) if layer.kind == UNITS), None)
    for place, layer in enumerate(layers):
        needed = left_to_buy if place == base else _needed(dig, place)
        heaps += _bought(dig, layer, needed, units if place == top else None, bag)
    if dig.fill >= 0.005:
        like = FILL if base is None else layers[base]
        with warnings.catch_warnings(action="ignore", category=SurveyWarning):  # a thick layer was questioned when it was made
            like = replace(like, name=f"{like.name}, as fill under the layers")
        heaps += _bought(dig, like, exactly(dig.fill), None, bag)
    sources = _sources(dig, heaps, soil if bulking is None else None, density is None, units is not None)
    return Materials(dig, tuple(heaps), loads, could, sources)


def _rubble(dig: Dig, base: int | None, back: float) -> tuple[list[Heap], Range, Range]:
    """Heaps of broken concrete, how much of it could go back, and what of the base is left to buy, both in m³ compacted."""
    grown, ratio = BULKING[RUBBLE].range + 1.0, exactly(1.0) if base is None else dig.brief.layers[base].loose
    room, solid = NOTHING if base is None else _needed(dig, base), dig.concrete

    def put(share: float, grown: float, ratio: float, room: float) -> float:
        return min(share * solid * grown / ratio, room)

    def over_ends(value: Callable[..., float]) -> Range:
        return _ends_of(value, grown, ratio, room)

    density = DENSITIES["concrete"].range
    away = over_ends(lambda *one: solid * one[0] - put(back, *one) * one[1])
    left = over_ends(lambda *one: solid - put(back, *one) * one[1] / one[0])
    heaps = [Heap(AWAY, RUBBLE, left, away, left * density)] if away.high > CRUMB else []
    if back and base is not None and solid:
        kept = over_ends(lambda *one: put(back, *one) * one[1] / one[0])
        heaps.append(Heap(BACK, RUBBLE, over_ends(lambda *one: put(back, *one)), over_ends(lambda *one: put(back, *one) * one[1]),
                          kept * density))
    return heaps, over_ends(lambda *one: put(1.0, *one)), over_ends(lambda *one: one[2] - put(back, *one))


def _ends_of(value: Callable[..., float], *ranges: Range) -> Range:
    """The likely value, and the least and the greatest over all ends; the value rises or falls steadily with each."""
    corners = [max(value(*ends), 0.0) for ends in product(*(one.values for one in ranges))]
    return Range(min(corners), max(value(*(one.likely for one in ranges)), 0.0), max(corners))


def _within(value: Any, what: str, rule: str, least: float, most: float) -> Range:
    found = range_of(value, what, rule)
    if not least <= found.low <= found.high <= most:
        raise SurveyError(f"{what} is {value!r}", rule=rule)
    return found


def _needed(dig: Dig, place: int) -> Range:
    """Volume of a layer in place, m³: compacted ones reach out over the strip, and footings take their part of each."""
    layer, beside = dig.brief.layers[place], dig.brief.layers[place].kind == COMPACTED
    low = sum(one.thickness for one in dig.brief.layers[place + 1:])
    taken = dig.displaced_between(low, low + layer.thickness, None if beside else dig.paved)
    area = dig.finish.area + (dig.strip_area if beside else 0.0)
    return Range(*(max(thick * area - taken, 0.0) for thick in layer.spread.values))


def _bought(dig: Dig, layer: Layer, in_place: Range, layout: Any, bag: Carrier) -> list[Heap]:
    """What is bought for a layer; of a mix, its parts. A layout counts its own breakage in place of the layer's waste."""
    more, pieces, area = layer.waste + 1.0, None, None
    ordered = in_place * more
    if layer.kind == UNITS and layout is not None:
        pieces = int(layout.order)
        whole = pieces * float(layout.unit[0]) * float(layout.unit[1])
        area, ordered = exactly(whole), layer.spread * whole
    elif layer.kind == UNITS:
        area = more * dig.finish.area
    loose, mass = ordered * layer.loose, ordered * layer.density
    if layer.mix is None:
        return [Heap(BUY, layer.name, in_place, loose, mass, area, pieces, cost=_cost(layer, loose, mass, area, pieces, bag))]
    return [replace(heap, what=f"{heap.what} for the {layer.name}") for heap in mixed(layer.mix, in_place, loose)]


def mixed(mix: Sequence[float], in_place: Range, loose: Range) -> list[Heap]:
    """The parts of a mix, for so much in place and so much loose in all, m³."""
    heaps = []
    for part, name in zip(mix, ("cement", "sand", "aggregate"), strict=False):
        share = loose * (part / sum(mix))
        weight = share * DENSITIES["cement" if name == "cement" else "sand, dry"].range
        heaps.append(Heap(BUY, name, in_place * (part / sum(mix)), share, weight,
                          bags=weight * (1 / SMALL_BAG) if name == "cement" else None))
    return heaps


def _cost(layer: Layer, loose: Range, mass: Range, area: Range | None, pieces: int | None, bag: Carrier) -> Range | None:
    """What the layer costs at its price."""
    if layer.price is None:
        return None
    amount, unit = layer.price
    if (unit == "each" and pieces is None) or (unit == "m2" and area is None):
        raise SurveyError(f"the price of {layer.name!r} is for {unit!r}",
                          rule="Units are counted where they are laid out, and only they are bought by m2.",
                          remedy="Give the size of the units, or a price for m3 or t.")
    bags = Range(*map(float, bag.loads(loose, mass)))
    counted = {"m3": loose, "t": mass * 0.001, "bulk bag": bags, "m2": area,
               "each": None if pieces is None else exactly(pieces)}
    found = counted[unit]
    assert found is not None
    return found * amount


def _sources(dig: Dig, heaps: Iterable[Heap], soil: str | None, soil_density: bool, laid_out: bool) -> tuple[str, ...]:
    """Where each usual range that was used comes from."""
    moved = {heap.what for heap in heaps}
    dug = any(what.startswith(SOIL) for what in moved)
    said = [f"{kind}, bulking {word_share(BULKING[kind].range.low)} to {word_share(BULKING[kind].range.high)}: "
            f"{BULKING[kind].source}" for kind, used in ((RUBBLE, RUBBLE in moved), (soil, dug)) if used and kind]
    said += [f"{what}, density: {DENSITIES[name].source}" for what, name, used in (
        (RUBBLE, "concrete", RUBBLE in moved), (SOIL, "soil", soil_density and dug)) if used]
    stone = [FILL] if any(what.startswith(FILL.name) for what in moved) else []
    for layer in (*dig.brief.layers, *stone):
        usual = USUAL[layer.kind or BEDDING] | mix_usual(layer.mix)
        names = ["tolerance", *(["loose"] if layer.kind != UNITS else []), *(["density"] if layer.mix is None else []),
                 *(["waste"] if not (laid_out and layer.kind == UNITS) else [])]
        said += [f"{layer.name}, {name} {_spread(name, usual[name].range)}: {usual[name].source}" for name in names
                 if getattr(layer, name) in (usual[name].range, usual[name].range.likely)]
        if layer.mix is not None:
            said.append(f"{layer.name}, densities of cement and sand: {DENSITIES['cement'].source}; "
                        f"{DENSITIES['sand, dry'].source}")
    return tuple(said)


def _spread(name: str, spread: Range) -> str:
    words: dict[str, Callable[[float], str]] = {"waste": lambda share: f"{word_number(share * 100)}%", "tolerance": word_mm}
    low, likely, high = map(words.get(name, lambda value: word_number(value, figures=3)), spread.values)
    unit = {"density": " kg/m³", "loose": " m³ fetched for 1 m³ in place"}.get(name, "")
    return (low if low == high else f"{low} to {high}") + unit + ("" if likely in (low, high) else f", likeliest {likely}")


def _columns(name: str, spread: Range | None) -> dict[str, float | None]:
    return {f"{name}_{end}": value for end, value in zip(ENDS, spread.values if spread else (None,) * 3, strict=True)}


def _column(carrier: Carrier) -> str:
    return f"loads_{carrier.name.replace(' ', '_')}"
