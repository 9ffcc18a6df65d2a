"""How much rain-water comes off paving, and what channels and pipes carry."""

from __future__ import annotations

import math
import warnings
from collections.abc import Mapping
from dataclasses import dataclass, replace
from html import escape
from typing import Any, Literal

import pandas as pd

from ..design.handbook import COEFFICIENTS, INTENSITIES, ROUGHNESS, Published
from ..design.published import PRACTICE, QUOTED, READ
from ..errors import SurveyError, SurveyWarning, finite, must_be
from ..wording import html_table, word_area, word_fall, word_flow, word_mm, word_number, word_share

PER_SECOND = 1 / 3.6e6  # m/s in a mm/h
LEVEL = 0.00005  # m/m: a fall below this is shown as level

WHERE_WATER_GOES = (
    "England: between the front of the house and the highway, more than 5 m² of paving that lets no water through needs planning "
    f"permission, unless its water runs to a lawn or border (guidance on permeable surfacing of front gardens; {READ}).",
    f"Water must not run off your land onto the highway (Surrey County Council; {READ}).",
    f"Water must not be sent onto a neighbour's land ({PRACTICE}).",
    "England: rain-water goes to a soakaway or other infiltration; where that is not reasonably practicable, to a watercourse; "
    f"where that is not either, to a sewer (Building Regulations, H3(3); {QUOTED}).",
    f"Scotland: more than 50 m² of hard surface is paved surface to be drained (Technical Handbook 2017, domestic, 3.6; {READ}).",
)
"""What must be known about where the water of a paved surface may go."""


def looked_up(value: Any, what: str, entries: Mapping[str, Published], rule: str,
              end: Literal["low", "likely"] = "likely") -> tuple[float, str]:
    """A number and its source ("" for one that was given): `value` itself, or what the handbook has under that name."""
    if not isinstance(value, str):
        return finite(value, what, rule), ""
    if value not in entries:
        raise SurveyError(f"{what} {value!r} is not in the handbook", rule=rule, remedy=f"Its names: {'; '.join(entries)}.")
    entry = entries[value]
    return entry.range.low if end == "low" else entry.range.likely, f"{entry.what}: {entry.source}"


@dataclass(frozen=True)
class FlowPart:
    """Water off one surface: `area` m², `intensity` mm/h, `coefficient` the share that runs off, `source` if looked up."""

    area: float
    intensity: float
    coefficient: float
    source: str = ""

    @property
    def flow(self) -> float:
        """In m³/s."""
        return self.coefficient * self.intensity * PER_SECOND * self.area


@dataclass(frozen=True, eq=False)
class Flow:
    """Water off one surface or more, m³/s. Made by `runoff`; flows are added with +."""

    parts: tuple[FlowPart, ...]

    @property
    def flow(self) -> float:
        """All of it, m³/s."""
        return math.fsum(part.flow for part in self.parts)

    @property
    def source(self) -> str:
        """Where what was looked up is written."""
        return "; ".join(dict.fromkeys(one for part in self.parts for one in part.source.split("; ") if one))

    @property
    def table(self) -> pd.DataFrame:
        """A new table: area (m²), intensity (mm/h), coefficient, flow (l/s) and source of each part."""
        rows = [[part.area, part.intensity, part.coefficient, part.flow * 1000, part.source] for part in self.parts]
        return pd.DataFrame(rows, columns=["area", "intensity_mm_h", "coefficient", "flow_l_s", "source"])

    def __add__(self, other: Flow) -> Flow:
        must_be(other, Flow, "what is added to the flow")
        return Flow(self.parts + other.parts)

    def sentence(self) -> str:
        """The flow in words."""
        from_what = " and ".join(f"{word_area(part.area)} in rain of {word_number(part.intensity, figures=3)} mm/h, "
                                 f"{word_share(part.coefficient)} of it running off" for part in self.parts)
        return f"{word_flow(self.flow)} from {from_what}." + (f" Looked up: {self.source}." if self.source else "")

    def _repr_html_(self) -> str:
        return f"<p>{escape(self.sentence())}</p>" + (html_table(self.table) if len(self.parts) > 1 else "")


def runoff(area: float, intensity: float | str, coefficient: float | str) -> Flow:
    """Water off a surface by the rational method.

    Parameters
    ----------
    area : float
        In plan, m².
    intensity : float or str
        Rain in mm/h, or a name in `INTENSITIES`; under 1 and over 500 mm/h it is questioned.
    coefficient : float or str
        Share that runs off, 0 to 1, or a name in `COEFFICIENTS`. For a name the likeliest value is taken.

    Returns
    -------
    Flow

    Raises
    ------
    SurveyError
        An area or rain of nought or less, a coefficient outside 0 to 1, a name that is not in the handbook.

    Notes
    -----
    Flow = coefficient × intensity × area, as in Texas Tech hydrology course notes (lesson 13).

    >>> flow = runoff(40, "paved areas", 1.0) + runoff(12, "roof", "roof")
    >>> round(flow.flow * 1000, 3)  # l/s
    0.785
    """
    surface = finite(area, "the area", "It must be m², over nought.", over=0.0)
    rain, rain_source = looked_up(intensity, "the intensity", INTENSITIES, "It is rain in mm/h or a name.")
    share, share_source = looked_up(coefficient, "the runoff coefficient", COEFFICIENTS, "It is a share from 0 to 1 or a name.")
    finite(rain, "the intensity", "It must be rain in mm/h, over nought.", over=0.0)
    if not 0 <= share <= 1:
        raise SurveyError(f"the runoff coefficient is {share!r}", rule="It is the share of the rain that runs off, 0 to 1.",
                          remedy="Was it meant as per cent? Divide by 100." if share > 1 else "")
    if not 1 <= rain <= 500:
        doubt = "Is it in mm/h?" if rain > 1 else f"{word_number(rain)} is l/s per m²? That is {word_number(rain * 3600)} mm/h."
        warnings.warn(f"Rain of {word_number(rain)} mm/h is no storm to design for. {doubt}", SurveyWarning, stacklevel=2)
    return Flow((FlowPart(surface, rain, share, "; ".join(filter(None, (rain_source, share_source)))),))


@dataclass(frozen=True, eq=False)
class Conduit:
    """A channel or pipe in steady flow. Made by `rectangular_channel` and `pipe`.

    `size` is (width, depth) or (diameter,) in m, `fall` m/m, `n` Manning's, `area` of the water m², `perimeter` that it wets m.
    """

    what: str
    size: tuple[float, ...]
    fall: float
    n: float
    source: str
    area: float
    perimeter: float

    @property
    def hydraulic_radius(self) -> float:
        """Area over wetted perimeter, m."""
        return self.area / self.perimeter

    @property
    def velocity(self) -> float:
        """By Manning's formula, m/s."""
        return math.pow(self.hydraulic_radius, 2 / 3) * math.sqrt(self.fall) / self.n

    @property
    def flow(self) -> float:
        """What it carries, m³/s."""
        return self.velocity * self.area

    @property
    def half_full(self) -> Conduit:
        """The same filled to half its depth; a pipe then runs as fast and carries half."""
        if "half full" in self.what:
            raise SurveyError(f"the {self.what}, is not filled by half again", remedy="Take half_full of one that runs full.")
        dry = math.pi * self.size[0] / 2 if len(self.size) == 1 else self.size[1]
        return replace(self, what=f"{self.what} half full", area=self.area / 2, perimeter=self.perimeter - dry)

    def share(self, flow: Flow | float) -> float:
        """A flow, a `Flow` or m³/s, as a share of what it carries."""
        water = flow.flow if isinstance(flow, Flow) else flow
        return finite(water, "the flow", "It is a Flow, or m³/s, nought at the least.", least=0.0) / self.flow

    def fall_for(self, flow: Flow | float) -> float:
        """The fall in m/m at which it would just carry a flow: by Manning, as the square of the flow."""
        return self.fall * self.share(flow) ** 2

    def sentence(self, flow: Flow | float | None = None) -> str:
        """What it carries, and whether that is enough for a flow (a `Flow` or m³/s)."""
        size = " × ".join(word_mm(length).removesuffix(" mm") for length in self.size)
        said = (f"The {self.what}, {size} mm at {word_fall(self.fall)}, carries {word_flow(self.flow)} at "
                f"{word_number(self.velocity, figures=2)} m/s (Manning's n {word_number(self.n, figures=3)}"
                f"{f', {self.source}' if self.source else ''}).")
        if flow is None:
            return said
        share = self.share(flow)
        over = f": too much. This size needs {word_fall(self.fall_for(flow), never='flatter')} or steeper for it"
        enough = over if share > 1 else ": enough"
        return f"{said} {word_flow(share * self.flow)} is {word_share(share, never='less')} of that{enough}."

    def _repr_html_(self) -> str:
        return f"<p>{escape(self.sentence())}</p>"


def rectangular_channel(width: float, depth: float, fall: float, n: float | str) -> Conduit:
    """What a channel with upright sides carries, full to `depth`.

    Parameters
    ----------
    width, depth : float
        Inside, m.
    fall : float
        m/m along the channel.
    n : float or str
        Manning's n, or a name in `ROUGHNESS`.

    Returns
    -------
    Conduit
        Steady flow in a long run, R being area over wetted perimeter: outlets and bends carry less.

    Raises
    ------
    SurveyError
        A size under 1 mm; no fall, one uphill or over 1:1; n outside 0.001 to 1 or not in the handbook. Sizes over 2 m, a fall
        over 1:5 and n outside 0.005 to 0.1 are questioned.

    Notes
    -----
    Manning's formula, of any textbook on open channels: velocity = R^(2/3) √fall / n, in m/s.

    >>> channel = rectangular_channel(0.1, 0.05, 1 / 100, 0.01)
    >>> round(channel.hydraulic_radius, 4), round(channel.flow * 1000, 2)  # m, l/s
    (0.025, 4.27)
    """
    sides = (_length(width, "width of the channel"), _length(depth, "depth of the channel"))
    return Conduit("rectangular channel", sides, *_run(fall, n, "channel"), sides[0] * sides[1], sides[0] + 2 * sides[1])


def pipe(diameter: float, fall: float, n: float | str) -> Conduit:
    """What a round pipe carries running full.

    `diameter` inside, m; `fall` in m/m along it; `n` is Manning's, or a name in `ROUGHNESS`.

    Refuses and questions what `rectangular_channel` does.

    Source: Manning's formula, as for `rectangular_channel`; half full it wets half and carries half, as fast.

    >>> drain = pipe(0.1, 1 / 80, "smooth plastic")
    >>> round(drain.flow * 1000, 2), round(drain.half_full.flow * 1000, 2)  # l/s
    (7.51, 3.75)
    """
    bore = _length(diameter, "diameter of the pipe")
    return Conduit("pipe", (bore,), *_run(fall, n, "pipe"), math.pi * bore**2 / 4, math.pi * bore)


def _length(value: Any, what: str) -> float:
    length = finite(value, f"the {what}", "It must be a length in m, 1 mm at the least.", least=0.001)
    if length > 2:
        warnings.warn(f"The {what} is {word_number(length)} m. Are those millimetres?", SurveyWarning, stacklevel=3)
    return length


def _run(fall: Any, n: Any, what: str) -> tuple[float, float, str]:
    """Fall, n and the source of n."""
    slope = finite(fall, f"the fall of the {what}", "It is m/m downhill along it, such as 1/100.")
    if abs(slope) < LEVEL:
        raise SurveyError(f"a zero-fall {what} is not for this sum", rule="Manning's formula gives no flow without a fall.",
                          remedy="Use units with a built-in fall and give that fall, or read the flow from the maker's table.")
    if not 0 < slope <= 1:
        raise SurveyError(f"the fall of the {what} is {fall!r}", rule="It is m/m downhill along it, 1 at the most.",
                          remedy="Write 1:80 as 1/80." if slope > 1 else "Give it the way that water is to run.")
    rough, source = looked_up(n, "Manning's n", ROUGHNESS, "It is a number such as 0.012, or a name.")
    finite(rough, "Manning's n", "It lies between 0.001 and 1; smooth plastic has 0.010.", least=0.001, most=1.0)
    if slope > 0.2:
        warnings.warn(f"A {what} at {word_fall(slope)} is steeper than 1:5. Is that m/m?", SurveyWarning, stacklevel=3)
    if not 0.005 <= rough <= 0.1:
        warnings.warn(f"Manning's n of {word_number(rough)} is odd: it is 0.005 to 0.1 as a rule.", SurveyWarning, stacklevel=3)
    return slope, rough, source
