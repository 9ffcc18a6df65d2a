"""The parts of brief.toml about what lies in the ground and what is built: layers, the old floor, footings."""

from __future__ import annotations

from typing import Any

import pandas as pd
import shapely

from ..errors import SurveyError
from ..surface.facet import polygon_of
from .layers import Footing, Layer, Underside
from .parts import Reader, is_number, named


def layer_of(reader: Reader) -> Layer:
    """A [[layer]]."""
    entry = reader.entry
    density = entry.get("density_kg_m3")
    named_density = density if isinstance(density, str) else reader.span("density_kg_m3")
    price = (reader.number("price"), entry.get("price_per", "t")) if "price" in entry else None
    return Layer(reader.text("name"), reader.number("thickness_mm", 0.001), kind=entry.get("kind"),
                 tolerance=reader.maybe("tolerance_mm", 0.001), loose=reader.span("loose"), density=named_density,
                 waste=reader.span("waste_percent", 0.01), lift=reader.maybe("lift_mm", 0.001), mix=entry.get("mix"), price=price)


def outline_of(reader: Reader, spots: pd.DataFrame, usual: str | None = None) -> shapely.Polygon | None:
    """The outline given by corners_m or corners, or else by all points of a `usual` feature; None where there is none."""
    if "corners_m" in reader.entry:
        return polygon_of(reader.entry["corners_m"])
    corners = reader.entry.get("corners", usual)
    return None if corners is None else polygon_of([(spot.x, spot.y) for spot in named(corners, spots)])


def underside_of(reader: Reader, spots: pd.DataFrame) -> Underside:
    """The [old_floor]."""
    given: Any = reader.entry.get("thickness_mm")
    if isinstance(given, list):
        rule = "Each is the name of a point and mm, or x and y in m and mm: [[\"S1\", 110], [2.0, 1.5, 120]]."
        places: list[tuple[float, float, float]] = []
        for one in given:
            if not isinstance(one, list) or len(one) not in (2, 3) or not all(map(is_number, one[-1:] if len(one) == 2 else one)):
                raise SurveyError(f"a thickness of the old floor is {one!r}", rule=rule)
            x, y = one[:2] if len(one) == 3 else next((spot.x, spot.y) for spot in named(one[:1], spots))
            places.append((x, y, one[-1] * 0.001))
        return Underside(places, outline_of(reader, spots))
    return Underside(reader.number("thickness_mm", 0.001), outline_of(reader, spots))


def footing_of(reader: Reader, spots: pd.DataFrame) -> Footing:
    """A [[footing]]; its top is told, or that of the highest of its points."""
    outline = outline_of(reader, spots)
    if outline is None:
        raise SurveyError("the footing has no outline", remedy="Give corners (points) or corners_m (places in m).")
    if "top_m" in reader.entry:
        return Footing(reader.text("name"), outline, reader.number("top_m"))
    return Footing(reader.text("name"), outline, max(spot.level for spot in named(reader.entry.get("points"), spots)))
