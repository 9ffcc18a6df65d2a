"""Heaps of what is moved, and the barrows, bags and skips that move them."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import KW_ONLY, dataclass

from ..design.handbook import BAG_MASS, BARROW_MASS, CARRIERS, Range
from ..errors import finite, must_be
from ..wording import whole_up, word_mass, word_number

AWAY, BACK, BUY = "take away", "goes back", "buy"
RUBBLE, SOIL = "broken concrete", "dug soil"
SMALL_BAG = 25.0  # kg of cement in a bag: common practice, no source
BAGS = f"bags of {word_mass(SMALL_BAG)}"
CRUMB = 1e-6  # m³: what the last binary digits leave
ENDS = ("low", "likely", "high")


def exactly(value: float) -> Range:
    """A range of no width."""
    return Range(float(value), float(value), float(value))


NOTHING = exactly(0.0)


@dataclass(frozen=True)
class Carrier:
    """What takes things away or brings them: `volume` it holds loose, m³, and the greatest `mass` it may carry, kg, if any.

    `price` of one in any money; `only_away` where nothing is fetched in it, as in a skip.

    Refuses a name that is no text, a volume under 0.001 m³, a mass under 1 kg and a price below nought.

    Reason: ground is heavy, so that a bag or a barrow may be full by its mass while there is room in it; whichever asks for more
    loads counts.

    >>> Carrier("small skip", 3.0).loads(Range(5, 6, 7), Range(7500, 9000, 10500))  # 5, 6 and 7 m³
    (2, 2, 3)
    >>> Carrier("bulk bag", 0.5, 850).loads(Range(1, 1, 1), Range(2000, 2000, 2000))  # 1 m³ of 2000 kg
    (3, 3, 3)
    """

    name: str
    volume: float
    mass: float | None = None
    _: KW_ONLY
    price: float | None = None
    only_away: bool = False

    def __post_init__(self) -> None:
        must_be(self.name, str, "the name of a carrier")
        finite(self.volume, f"what a {self.name} holds", "It is a volume in m³, 0.001 at the least.", least=0.001)
        if self.mass is not None:
            finite(self.mass, f"what a {self.name} may carry", "It is a mass in kg, 1 at the least.", least=1.0)
        if self.price is not None:
            finite(self.price, f"the price of a {self.name}", "It is an amount of money.", least=0.0)

    def loads(self, volume: Range, mass: Range) -> tuple[int, int, int]:
        """Loads for a loose volume (m³) and a mass (kg), whichever asks for more, low, likely and high."""
        found = [max(whole_up(room / self.volume), whole_up(weight / self.mass) if self.mass else 0)
                 for room, weight in zip(volume.values, mass.values, strict=True)]
        return found[0], found[1], found[2]


BARROW = Carrier("barrow", CARRIERS["barrow"].range.likely, BARROW_MASS)
BULK_BAG = Carrier("bulk bag", CARRIERS["bulk bag"].range.likely, BAG_MASS)


@dataclass(frozen=True)
class Heap:
    """One thing that is moved: `what` it is and what is `done` with it; volumes m³ in place and loose, mass kg.

    `area` in m² and `pieces` where it is counted so, `cost` in the money of the prices.
    """

    done: str
    what: str
    in_place: Range
    loose: Range
    mass: Range
    area: Range | None = None
    pieces: int | None = None
    bags: Range | None = None
    cost: Range | None = None

    def takes(self, carrier: Carrier) -> bool:
        """Whether it is moved in such loads; units come as they are."""
        return self.area is None and (self.done == AWAY or not carrier.only_away)


def word_carriers(carriers: Iterable[Carrier]) -> str:
    """What each holds, in words."""
    return ", ".join(f"{one.name} {word_number(one.volume)} m³" + (f" or {word_mass(one.mass)}" if one.mass else "")
                     for one in carriers)
