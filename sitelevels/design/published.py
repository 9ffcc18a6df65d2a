"""Published limits, each with its document and how sure we are of it."""

from __future__ import annotations

from dataclasses import dataclass

READ = "text read"
QUOTED = "quoted by others; the document itself was not seen"
MEMORY = "from memory: check before use"
PRACTICE = "common practice, no source"


class Sourced:
    """Whatever is written in a document, with how sure we are of it."""

    document: str
    clause: str
    edition: str
    confidence: str

    @property
    def source(self) -> str:
        """Document, clause, edition and confidence in one line."""
        written = ", ".join(part for part in (self.document, self.clause, self.edition) if part)
        return f"{written} ({self.confidence})" if written else self.confidence


@dataclass(frozen=True)
class Limit(Sourced):
    """A limit from outside the project: `value` in `unit`, where it is written and how sure we are of it.

    Units are "m" and "m/m"; of water also "m²", "m/s", "s" and none. Nothing is refused.

    Reason: whoever is to keep a limit can look up its document, and sees whether we have.

    >>> LIMITS["clearance"].value, LIMITS["clearance"].source
    (0.15, 'NHBC Standards, 10.2.6, 2021 (text read)')
    """

    value: float
    unit: str
    what: str
    document: str = ""
    clause: str = ""
    edition: str = ""
    confidence: str = PRACTICE


ICPI = ("ICPI construction tolerances guide", "", "", READ)
LIMITS: dict[str, Limit] = {
    "clearance": Limit(0.150, "m", "paths, patios and drives lie at least this far below the damp-proof course",
                       "NHBC Standards", "10.2.6", "2021", READ),
    "clearance, Approved Document C": Limit(0.150, "m", "damp-proof course of an external wall above the adjoining ground",
                                            "Approved Document C (England)", "5.5b", "July 2015", QUOTED),
    "clearance, no drain": Limit(0.100, "m", "nearer below the DPC than this, paving needs a drained channel; the aim is 150 mm",
                                "a stone merchant's guidance (United Kingdom)", "", "", QUOTED),
    "fall away": Limit(1 / 80, "m/m", "least crossfall of pedestrian paving; old edition, since replaced by BS 7533-102:2023",
                       "BS 7533", "", "old edition", QUOTED),
    "fall away, drives and paths": Limit(1 / 80, "m/m", "least finished fall of private drives and paths",
                                         "NHBC Standards", "chapter 10.2", "", QUOTED),
    "fall away, flags": Limit(1 / 60, "m/m", "fall of flags away from buildings, advice of two stone suppliers",
                              "suppliers' laying guides", "", "", READ),
    "fall to a drain": Limit(1 / 80, "m/m", "flattest fall of an indoor wet-area floor to its waste, square to each wall",
                             "NCC Housing Provisions (Australia)", "10.2.12", "2022", QUOTED),
    "fall to a drain, most": Limit(1 / 50, "m/m", "steepest fall of an indoor wet-area floor to its waste",
                                   "NCC Housing Provisions (Australia)", "10.2.12", "2022", QUOTED),
    "fall of a channel": Limit(1 / 100, "m/m", "least longitudinal fall of pedestrian paving, taken for a channel formed in it; "
                               "old edition", "BS 7533", "", "old edition", QUOTED),
    "fall along": Limit(1 / 40, "m/m", "greatest crossfall of an approach route to a dwelling",
                        "Approved Document M volume 1 (England)", "1.6", "2015", READ),
    "gradient": Limit(1 / 20, "m/m", "steepest walking surface that is not a ramp",
                      "2010 ADA Standards (United States)", "403.3", "2010", QUOTED),
    "meet": Limit(0.006, "m", "greatest vertical change of level that needs no treatment",
                  "1991 ADA Standards (United States)", "4.5.2", "1991", READ),
    "level approach": Limit(1 / 60, "m/m", "an approach no steeper than this counts as level",
                            "Approved Document M (England)", "", "as an industry page quotes it", QUOTED),
    "ramp": Limit(1 / 12, "m/m", "steepest ramp to a dwelling, up to 5 m long", "Lifetime Homes, criterion 2", "", "", READ),
    "ramp, 5 to 10 m": Limit(1 / 15, "m/m", "steepest ramp of that length", "Lifetime Homes, criterion 2", "", "", READ),
    "ramp, over 10 m": Limit(1 / 20, "m/m", "steepest ramp of that length", "Lifetime Homes, criterion 2", "", "", READ),
    "dry channel": Limit(0.100, "m", "practical least width of a drained dry channel between wall and paving; the paving stays "
                         "at or below the DPC", "a paving forum's advice (United Kingdom)", "", "", QUOTED),
    "threshold, level access": Limit(0.015, "m", "greatest upstand of an accessible threshold",
                                     "NHBC Standards", "7.1.11", "2020", READ),
    "step least": Limit(0.075, "m", "least rise of a stepped approach to a dwelling",
                        "Approved Document M volume 1 (England)", "M4(1)", "", MEMORY),
    "step most": Limit(0.150, "m", "greatest rise of a step on the approach to a new dwelling",
                       "Part M (England), as summarised by a self-build centre", "", "", QUOTED),
    "step most, garden": Limit(0.220, "m", "greatest rise of garden steps outside the building regulations",
                               "NHBC Standards", "10.2.5", "2020", READ),
    "gully proud least": Limit(0.003, "m", "paving stands at least this far above the grating of a drain", *ICPI),
    "gully proud most": Limit(0.010, "m", "paving stands at most this far above the grating of a drain", *ICPI),
    "air brick": Limit(0.075, "m", "paving lies this far below the bottom of an air brick"),
    "channel from wall": Limit(0.500, "m", "where levels would bring water to a wall, a reverse fall for at least this width",
                               "Approved Document H (England)", "H3, about 2.6", "2015", MEMORY),
    "row of paving": Limit(0.450, "m", "a usual length of a flag: one row of old paving"),
    "cover": Limit(0.150, "m", "finished level above a buried thing that stays: a unit, its bed and some sub-base"),
}
"""Limits by name, in m or m/m.

Each demand names those that bear on it; a demand that leaves its limit out takes the first of them.
"""

CAUTIONS = (
    "Before you dig, look for buried cables, gas and water: ask for the drawings, use a locator, dig by hand near them "
    "(HSE HSG47, Great Britain).",
    "Do not dig below the underside of a footing, your own or a neighbour's, without an engineer's advice; near a "
    "neighbour's structure notice may be due by law (in England and Wales the Party Wall etc. Act 1996).",
    "Lift slabs with two people or a lifting tool: no weight is safe for everybody (HSE, Great Britain).",
    "Do not cover air bricks, and do not bridge the damp-proof course or a membrane with paving, bedding or soil.",
    "Cutting paving and concrete sets free silica dust: cut wet and wear a mask that fits; rest from vibrating tools.",
    "Rain-water must not run onto a neighbour's land or the highway; where it may go is for the local authority to say.",
    "Local building rules and licensed practice decide. This workbook checks sums; it does not replace them.",
)
"""What anyone who digs by these numbers must be told, once, where it matters."""
