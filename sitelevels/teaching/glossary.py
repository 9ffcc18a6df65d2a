"""The words of the trade and of this workbook, a sentence each, for somebody on site."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping
from difflib import get_close_matches
from types import MappingProxyType

from ..design.published import LIMITS
from ..errors import SurveyError, must_be
from ..wording import word_mm

_CLEAR = LIMITS["clearance"]

GLOSSARY: Mapping[str, str] = MappingProxyType({
    "access cover": "Lid and frame over a manhole or a valve; the frame is fixed, or is reset to suit the paving.",
    "adjusted level": "Level in m with its share of the misclosure taken off.",
    "air brick": "Brick with holes that lets air under a floor; paving must neither cover it nor let water into it.",
    "allowance": ("The most, in mm, that a misclosure may be before the book is doubted; it grows with the number of set-ups "
                  "or the length of the run."),
    "alone": "What the errors of the readings by themselves would show under a straightedge, in mm, were the paving truly flat.",
    "along": "The part of a fall that runs parallel to the wall, from its first end to its second, shown as 1:N and in mm/m.",
    "arithmetic": ("Sums that must agree whichever way a book is worked, in m, such as ΣBS − ΣFS = last level − first level. "
                   "They find slips of working, not of reading."),
    "at its limit": "Just inside what is asked, with nothing to spare.",
    "away": ("The part of a fall that runs square out from the wall, shown as 1:N and in mm/m; positive when water leaves the "
             "wall."),
    "backsight": "First reading from a set-up, in m, on a point whose level is known; level + backsight = HPC.",
    "bare side": "Edge of the paving with neither a wall nor paving that stays beside it; the dig reaches a little past it.",
    "base": "What a screed is laid on, or what carries the paving.",
    "basin": "One piece of standing water, from its lowest place up to where it runs over.",
    "bed": "Layer of mortar or sand that the units are laid on; its thickness is in mm.",
    "benchmark": "Mark that will not move, whose level in m is known or agreed; the first and the last reading are taken on it.",
    "beyond": "Said of a limit so narrow that the errors of the readings are wider: no finding inside it could be sure.",
    "binding": "Said of a demand that holds the surface where it is: ease it a little, and a better surface can be found.",
    "bond": "How the joints of the units lie: in line (stack), or every second row moved by half a unit (running).",
    "breakage": "Units bought beyond those that are laid, in % of them, because some break.",
    "brief": "File brief.toml of a job: its walls, layers, demands and chosen surface.",
    "budget": "List of how far each thing may be out (reading, tilt, laying and so on), each as a standard deviation.",
    "bulking": "How much more room ground takes once it is dug, in % of its volume in place.",
    "carried": ("Of a level: worked on from one set-up to the next; of an answer: wrong, but following rightly from an earlier "
                "number of your own."),
    "catchment": "Part of a surface, in m², from which the rain runs to one place.",
    "change point": ("Point read twice, by a foresight before the instrument moves and by a backsight after; it carries the "
                     "level on."),
    "channel": "Line along which water is led away, to which the surface falls from one side or both.",
    "clearance": "How far the finished paving lies below the DPC, in mm; positive when it is below.",
    "closes": "Said of a book whose misclosure, in mm, is within what is allowed; in one that does not a slip is looked for.",
    "closing": "Ending a book with a reading on a point of known level, so that a mistake shows as a misclosure.",
    "collimation": ("The line of sight of an instrument; its error is how far that line points up or down, in mm over a length "
                    "in m."),
    "cone": "Fault of a laser whose light is not a flat plane but dips or rises alike on all sides, in mm over a length in m.",
    "conflict": ("Smallest set of demands that no surface can meet together: leave any one of them out, and the others can be "
                 "met."),
    "cover": "How much must lie between the top of something buried and the finished level, in mm.",
    "crossfall": "Fall across a path or a paved area, from one side to the other, shown as 1:N and in mm/m.",
    "cure": "What the trade does when demands fight, such as a channel at the wall; each is tried on the brief.",
    "cut": "How deep the ground is dug at a place, in mm, straight down; as a sum, what is dug, in m³.",
    "cut piece": "Piece of a unit that was cut to fit against an edge or round a post.",
    "datum": "Level surface that all levels of a job are counted from, in m.",
    "day of setting out": "Day on which a surface is built from pegs: another set-up and the laying bring errors of their own.",
    "dead spot": "Place on a surface that water cannot leave.",
    "demand": "One thing that the finished surface must do, such as stay below the DPC or fall away from a wall.",
    "departure from datum": "How far a floor lies above or below the level it was meant to have, in mm.",
    "determination": "Reading that gives its point a level; two of them on one point check each other.",
    "deviation": "How far a laid place is off its design level, in mm; positive where it lies too high.",
    "dig": "What is taken out between today's ground and the formation, its depth in mm and its volume in m³.",
    "DPC": ("Damp-proof course: layer in a wall that keeps damp from rising, never to be bridged; paths and patios lie at least "
            f"{word_mm(_CLEAR.value)} below it: {_CLEAR.source}."),
    "draft": "What was typed into the level book and is not saved yet; it is kept, and offered again.",
    "drain": "Channel or outlet that a part of the surface falls to.",
    "effect": "How far an error of usual size moves a number or a margin, in mm or mm/m.",
    "equal offset": ("Greatest distance of a surface, above or below, from a straight line between its levels at the two ends "
                     "of a bar, in mm."),
    "exercise": "Book or page of questions to work out by hand for practice; those drawn for practice are invented.",
    "facet": "One flat part of a surface that is made of several.",
    "fall": ("How much a surface drops over a length, as 1:60 (1 m in 60 m) or in mm/m, positive downhill; in a level book by "
             "rise and fall, the drop in m from one reading to the next."),
    "feature": "What kind of thing a point is: ground, corner, dpc, edge, threshold, gully and so on.",
    "fill": "How much must be put back at a place to reach the formation, in mm, straight up; as a sum, in m³.",
    "finish": "The top of the paving or the screed once it is done; its level is in m.",
    "footing": "Widened foot of a wall or a post in the ground. Do not dig below its underside without an engineer's advice.",
    "foresight": "Last reading from a set-up, in m, before the instrument moves or the book is closed.",
    "formation": "Top of the ground once it is dug: finished level less the thickness of all layers, in m.",
    "gap": "Greatest distance between a straightedge and the surface beneath, in mm, between the two points it rests on.",
    "give": "How far a limit would have to move, in mm or mm/m, for every demand to be met.",
    "give or take": "How far a number may be out, in its own unit; of a margin, with the sureness that the budget asks for.",
    "governs": "Said of what decides a level: the lower DPC mark, which paving must clear, or the spot of a base whose least "
               "thickness holds the whole floor up.",
    "gradient": "Steepness of a surface, in whatever direction it is steepest, shown as 1:N and in mm/m.",
    "grating": "Bars over a gully or a channel that let water through.",
    "gully": "Pot in the ground, under a grating, that takes surface water to a drain.",
    "hand level": "Level in m that somebody worked out on paper; it is compared with ours and never believed.",
    "hardcore": "Broken stone, brick or concrete, compacted to make a layer under paving or a floor.",
    "heading": "Way that the front of a laser points, in degrees; also the word on top of a column.",
    "HPC": ("Level of the line of sight or of the laser's light, in m: known level + backsight; every level from that set-up "
            "is HPC − reading."),
    "infiltration": "How fast the ground takes in water, in mm/h or m/s.",
    "input": "One error that comes in by itself, such as one reading or one levelling of the laser.",
    "instrument": "Level or laser on its tripod, which gives the line of sight that all readings are taken from.",
    "intermediate sight": "Any reading between the backsight and the foresight of a set-up, in m; nothing else depends on it.",
    "joint": "Space between two units, in mm wide.",
    "knock": "Blow that shifts the instrument between two readings: all later ones of that set-up are out by the same, in mm.",
    "known level": "Level in m that is given and not worked out from this book.",
    "laid": "As it was built, read in a second book after the work.",
    "laser": ("Instrument that sweeps a flat plane of light round itself, which a receiver on the staff finds. Never look into "
              "the light."),
    "layer": "One thickness under the finish, from the top down: units, bed, sub-base; in mm.",
    "laying": "Setting the units down; its error is how far a unit ends off its string or peg, in mm.",
    "level": "Height of a point above the job's datum, in m; the tool one looks through is called the instrument.",
    "level access": "Way in without a step, which a wheelchair can pass; the upstand left at the door is in mm.",
    "level book": "List of the staff readings, in m, in the order in which they were read, with the known levels and the points.",
    "lift": ("To take units up round a spot and lay them again at their design level; also one layer that is compacted at a "
             "time, in mm."),
    "limit": "The least or the most that a demand allows, in mm, as 1:N or in mm/m.",
    "line": "Light, string or mark at one known level, such as 1.000 m above the finished floor, that is taped from up or down.",
    "line of sight": "Level line along which one looks through the instrument, or along which the laser's light goes.",
    "lip": "How far one unit stands above the next at their joint, in mm.",
    "loop": "Set-ups that begin on a known level and end on one, often the same, so that the last reading shows the misclosure.",
    "loose": "As tipped from a barrow or lying in a skip, not yet compacted; its volume is in m³.",
    "Manning's n": ("Number for how rough a channel or a pipe is; with its fall it says how much water flows, in l/s "
                    "(Manning's formula)."),
    "margin": "How far inside its limit a finding is, in mm or mm/m; negative when it breaks the limit.",
    "mark": ("Point of the first survey that demands hang on, such as a DPC or a sill, and which is read again when the work "
             "is done."),
    "meet": "To come to the level of paving or of a floor that stays, within so many mm.",
    "membrane": "Sheet that keeps damp out of a floor or a wall; nothing must bridge or pierce it.",
    "misclosure": "Level found at a point of known level less the level it has, in mm: observed minus known.",
    "outlet": "Place where water leaves a floor; the surface falls to it from all sides or from some.",
    "packer": "Block under the lower end of a level that brings its bubble to the middle; its thickness in mm gives the fall.",
    "pad": "Small heap of screed set to the right level before the rest, from which the floor is drawn off.",
    "page": "What a learner fills in: the rows of a level book with columns left empty, and the questions below.",
    "peg": "Stake driven where a level is set out; the staff on it, or a mark on it, shows the level.",
    "placing": ("Of a straightedge: where on a surface it is laid, and in which direction; of the staff: setting it on its mark, "
                "with an error in mm."),
    "plane": "Perfectly flat surface, level or with a fall.",
    "planted": "Said of a slip that was put into an invented book on purpose, to be found.",
    "point": "Name of a place that was read, such as BM, C1 or S7.",
    "post": "Upright that stands in the paving on its own footing; units are cut round it.",
    "proud": "Standing above what is beside it, in mm.",
    "puddle": "Water that is left in a hollow once everything has run off that can; its depth is in mm.",
    "quarrel": "All the conflicts of a brief together, with what each demand would have to give.",
    "rainfall": "How hard it rains, in mm of water an hour.",
    "range": "Three figures for one quantity: the least, the likely and the most that it could be.",
    "rational method": "Sum for the flow to a drain: share that runs off × rain × area, in l/s.",
    "reading": ("What is read on the staff, in m, from its foot up to the line of sight; negative when the staff is held "
                "upside down."),
    "receiver": "Box on a staff or rod that beeps where the laser's light meets it; it is read like a line of sight.",
    "reduce": "To work out levels in m from the readings of a book.",
    "regularity": ("How straight a floor or paving must be: the greatest gap or offset, in mm, under a straightedge of a given "
                   "length, in m."),
    "relief": "A limit eased by 1 mm, or by 1 mm/m of fall, to see what that would save.",
    "residual": "How far a spot lies off the plane or surface that fits best, in mm; positive for a high spot.",
    "rise": ("Step up from one reading to the next of the same set-up, in m: earlier reading − later reading, where that is "
             "positive."),
    "rise and fall": "Way to reduce a book by the steps from one reading to the next, in m, with no height of collimation.",
    "rl": "Column of a level book for known levels, in m, such as the benchmark's; never for a level that you worked out.",
    "run": "Set-ups that are joined to each other by change points.",
    "runoff": "Part of the rain that runs off a surface instead of soaking in, as a share of one.",
    "scabble": ("To cut a high spot of a concrete base down, by so many mm. It sets free silica dust: work wet and wear a mask "
                "that fits."),
    "screed": "Layer of sand and cement on a base, drawn off to the level or fall that the floor needs; its thickness is in mm.",
    "section": "Set-ups from one known level to the next; as a picture, the ground and the paving cut through at one place.",
    "seed": "Number that an exercise is made from: the same number makes the same exercise again.",
    "set-up": "All readings taken from one place of the instrument, without moving it.",
    "setting out": ("Marking on the ground where a surface shall lie: pegs in plan, and the staff reading to look for at each, "
                    "in m."),
    "shape": "How many planes the finish has, and where they meet: one plane, two to a channel, or a floor to an outlet.",
    "shared give": "The least that all limits must move together, as a share of each, for every demand to be met.",
    "shaving": "Cut so thin that it is left to the joint instead of being laid.",
    "shot": "One reading of the staff on one point, in m, and the level that it gives.",
    "sight": "One look at the staff; its length is the distance from the instrument to the staff, in m.",
    "sill": "Bottom piece of a door or window frame, which the paving stays below.",
    "sink": "Place where water ends: a channel, an outlet, a free edge.",
    "slab": "Flat piece of stone or concrete that paving is laid of, also called a flag.",
    "slip": "Mistake in one reading or one sum, such as two figures swapped or a metre dropped; not the small error that every "
            "reading has.",
    "sliver": "Cut piece so narrow, measured against a whole unit, that it breaks easily.",
    "soakaway": ("Pit of stones or boxes in the ground that stores rain-water until it soaks away; its size is in m, its "
                 "volume in m³."),
    "soffit": "Underside of something overhead, such as a lintel or an arch, read with the staff held upside down.",
    "spill": "Place where a puddle runs over once it is full; its level is in m.",
    "spot": "Place on a surface that was measured, with x, y and a level in m.",
    "staff": "Upright rule that readings in m are taken on; its foot stands on the point.",
    "standard deviation": "Usual size of an error, in the unit of what is measured: about two of three errors are smaller.",
    "standard uncertainty": "How far a number found may well be off the truth, as a standard deviation in the number's own unit.",
    "station": "Distance along a wall from its first end, in m.",
    "steadiness": ("Whether an instrument stayed where it was: the first point read again from the same set-up must give the "
                   "same level, within so many mm."),
    "step": "Height between one tread and the next, or between the paving and the sill, in mm.",
    "straightedge": "Straight bar laid on a surface to see gaps beneath, in mm; its length is in m.",
    "strip": "Width by which dig and sub-base reach past a bare side, in mm.",
    "sub-base": ("Layer of crushed stone or the like, compacted on the formation, that carries bed and units; its thickness is "
                 "in mm."),
    "suspicion": "Slip that would explain what the checks of a book say; it is never put right by itself: read again.",
    "taped": "Measured with a tape up or down from a line, in m, where there was no staff.",
    "target": "Fall or level that one would like best, where the limits leave a choice.",
    "threshold": "Bottom of a doorway that one steps over; paving meets it, or stays a step below, in mm.",
    "tie": "One of two lengths in m, taped from two known points to a third, to find its place.",
    "tilt": "Lean of a laser's plane: too high on one side and as much too low on the other, in mm over a length in m.",
    "tolerance": "How much a layer or a piece may come out thicker or thinner than it should, in mm.",
    "too close to call": "Verdict where the margin is smaller than what errors can do: neither met nor not met has been shown.",
    "turn test": ("Test of a laser: the same mark is read with the laser turned a quarter, half and three quarters round; it "
                  "finds the tilt."),
    "two-peg test": ("Test of an instrument: two pegs read from midway and from close to one; it shows whether the line of "
                     "sight points up or down."),
    "underside": "Bottom of an old floor that is taken up, or of a footing, as a level in m.",
    "unit": "One slab, flag, block or paver as it is bought, its sizes in mm; also what a number is counted in, such as m or mm.",
    "upside down": "Staff held with its foot up against something overhead; its reading in m is booked with a minus.",
    "upstand": "Height that something stands up above the floor or the paving beside it, in mm.",
    "variance": "Square of a standard deviation; shares of it tell which error matters most.",
    "verdict": "What is said of a demand: met, not met, or too close to call.",
    "void": "Room between the stones of a soakaway that water can fill, in % of its volume.",
    "wall": "Line that the paving lies against; x runs along it and y out from it, in m.",
    "waste": "What is bought beyond what is laid, in %, because some is spilt, cut off or lost; of a wet-room floor, its outlet.",
    "zero": "Foot of the staff, from which it is counted; its error, in mm, is how far the figures begin above or below it.",
})
"""What each word means, in the order of the alphabet; a word for a quantity says its unit, such as m, mm or 1:N."""

_ALSO = {
    "access cover": "manhole cover",
    "adjusted level": "adjusted, adjusted rl, correction",
    "air brick": "airbrick, vent",
    "allowance": "allowable",
    "alone": "errors alone",
    "along": "fall along",
    "arithmetic": "arithmetic check, sums",
    "at its limit": "at limit",
    "away": "fall away",
    "backsight": "bs",
    "bed": "bedding, laying course",
    "benchmark": "bm",
    "beyond": "unproved",
    "budget": "error budget",
    "bulking": "bulking factor",
    "change point": "cp, turning point, tp",
    "channel": "drainage channel",
    "clearance": "clearance below the dpc",
    "closing": "closing shot, closing reading, close, closure",
    "collimation": "collimation error",
    "conflict": "fight",
    "cut": "how deep to dig, depth to dig",
    "day of setting out": "on the day, day",
    "departure from datum": "departure",
    "DPC": "damp-proof course",
    "drain": "fall to drain",
    "facet": "flat part",
    "finish": "finished surface, finished level",
    "footing": "foundation",
    "foresight": "fs",
    "formation": "formation level",
    "governs": "governing",
    "gradient": "slope",
    "grating": "grate",
    "HPC": "height of the plane of collimation, height of collimation, hoc, height of instrument, hi, plane of collimation",
    "infiltration": "infiltration rate",
    "instrument": "the instrument",
    "intermediate sight": "is, intersight, intermediate",
    "laser": "laser level, rotating laser",
    "level": "reduced level, elevation",
    "level book": "book, survey",
    "line": "laser line",
    "loose": "loose volume",
    "Manning's n": "Manning, Manning's formula, roughness",
    "margin": "in hand",
    "mark": "dpc mark",
    "membrane": "damp-proof membrane, dpm",
    "misclosure": "closing error, misclose",
    "pad": "screed pad",
    "planted": "planted slip",
    "proud": "stands proud",
    "puddle": "ponding, standing water",
    "rainfall": "rain, intensity, rainfall intensity",
    "range": "likely, low and high",
    "rational method": "design flow",
    "reading": "staff reading",
    "reduce": "reduced, reduction, reducing",
    "regularity": "surface regularity, class of regularity, flatness, straightness",
    "runoff": "runoff coefficient, coefficient, share that runs off",
    "scabble": "scabbling",
    "setting out": "set out",
    "shared give": "share it",
    "sight": "sight length, length of sight",
    "sill": "door sill",
    "slab": "flag, paver, paving slab",
    "slip": "mistake, blunder",
    "spill": "spill point",
    "staff": "levelling staff, rod",
    "standard deviation": "sd",
    "standard uncertainty": "u, uncertainty",
    "steadiness": "stability, stay put",
    "straightedge": "bar",
    "suspicion": "suspect",
    "taped": "up from the line, down from the line",
    "target": "aim",
    "threshold": "doorstep",
    "turn test": "turning",
    "two-peg test": "two pegs, peg test",
    "upside down": "inverted, staff inverted, inverted staff",
    "verdict": "met, not met",
    "waste": "waste percent",
}
"""Other words and abbreviations for the same, with commas between."""

_LONGEST = 100  # signs: no word is so long


def _key(word: str) -> str:
    """A word regardless of case, spaces, hyphens and dots."""
    return re.sub(r"[\W_]+", "", unicodedata.normalize("NFKC", word).casefold())


_WORD_OF = {_key(spelling): word for word in GLOSSARY for spelling in (word, *_ALSO.get(word, "").split(",")) if spelling}


def _head(text: str) -> str:
    """The word of the glossary that is meant, in the singular or the plural; "" where there is none."""
    key = _key(text)
    singulars = (key, key.removesuffix("s"), key.removesuffix("es"), re.sub("ies$", "y", key))
    return next((_WORD_OF[one] for one in singulars if one in _WORD_OF), "")


def words_like(text: str, *, most: int | None = None) -> tuple[str, ...]:
    """Words of the glossary that may be meant, the likeliest first, cut short at `most`; every word where nothing is typed.

    First comes the word itself, then those that hold what is typed, those spelt nearly so, those that are explained with it.

    Raises SurveyError for what is no text.

    >>> words_like("two peg", most=1), words_like("bakcsight", most=1), words_like("√")
    (('two-peg test',), ('backsight',), ())
    """
    must_be(text, str, "the word")
    key = _key(text[:_LONGEST])
    if not text.strip():
        return tuple(GLOSSARY)[:most]
    if not key:
        return ()
    holding = [one for one in _WORD_OF if len(key) > 1 and key in one]
    holding.sort(key=lambda one: (not one.startswith(key), len(one)))
    near = sorted(get_close_matches(key, _WORD_OF, n=5, cutoff=0.6), key=lambda one: abs(len(one) - len(key)))
    whole = re.compile(rf"\b{re.escape(text.strip()[:_LONGEST])}", re.IGNORECASE)
    told = [word for word, said in GLOSSARY.items() if whole.search(said)] if len(key) > 3 else []
    found = [head for head in (_head(text), *(_WORD_OF[one] for one in (*holding, *near)), *told) if head]
    return tuple(dict.fromkeys(found))[:most]


def is_begun(text: str) -> bool:
    """Whether a word, or another word for the same, begins with what is typed.

    >>> is_begun("backs"), is_begun("kerb")
    (True, False)
    """
    key = _key(text[:_LONGEST])
    return bool(key) and any(spelling.startswith(key) for spelling in _WORD_OF)


def meaning(word: str) -> str:
    """What a word means, in a sentence or two; case, plural and spelling do not matter, and abbreviations are known.

    Raises SurveyError, offering words that are near, for a word that the glossary does not have.

    >>> meaning("Set-ups") == meaning("set up")
    True
    >>> meaning("BS")
    'First reading from a set-up, in m, on a point whose level is known; level + backsight = HPC.'
    """
    must_be(word, str, "the word")
    if not word.strip():
        raise SurveyError("no word is typed", remedy="Type one, such as HPC.")
    if len(word) <= _LONGEST and (head := _head(word)):
        return GLOSSARY[head]
    near = words_like(word, most=5)
    raise SurveyError(f"{word.strip()[:_LONGEST]!r} is not in the glossary",
                      remedy=f"Near it: {', '.join(near)}." if near else "Notebook 9-words lists all words.")
