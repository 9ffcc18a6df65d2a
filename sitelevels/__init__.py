"""Site levels and drainage falls: from staff readings to verdicts, a dig plan and staff readings to look for."""

from .errors import SurveyError, SurveyWarning
from .wording import parse_fall, word_fall
from .survey.book import ALLOWANCES, LevelBook
from .survey.reading import read_book
from .survey.reduction import ReducedLevels, reduce_book
from .survey.slips import Suspicions, suspect_slips
from .survey.instrument import (PegSetup, RepeatReadings, TurnTest, TwoPegTest, repeat_readings, turn_test, two_peg_test)
from .survey.network import NetworkAdjustment, adjust_network
from .survey.tape import from_offsets, from_ties, level_sd, ties_covariance
from .surface.plane import Plane, PlaneFit, fit_plane
from .surface.ground import Ground
from .surface.facet import Facet
from .surface.finish import Finish
from .surface.shapes import Channel, Outlet
from .surface.straightedge import Straightedge, straightedge
from .surface.basin import Basin
from .surface.ponding import Ponding, ponding
from .design.published import LIMITS, Limit
from .design.conditions import Spot
from .design.demands import (AccessCover, Clearance, ClosedEdge, Cover, FallAlong, FallAway, FallToDrain, Gully, KeepBelow,
                             MaxGradient, Meet, Step, Thickness)
from .design.handbook import Published, Range
from .design.layers import Footing, Layer, Underside, room_in
from .design.brief import Brief, Wall
from .design.budget import ErrorBudget
from .design.propagation import LevelErrors
from .design.verdicts import Verdicts
from .design.check import check_finish
from .design.solve import Solution, solve_finish
from .design.workmanship import LIPPING, REGULARITY, SCREEDS, Regularity
from .design.laid import Laid, check_laid
from .design.mending import Mending, where_to_lift
from .design.lipping import lipping, lips_by_levels
from .design.flatness import Flatness, flatness
from .design.puddles import StandingWater, standing_water
from .design.sensitivity import Sensitivity, sensitivity
from .design.next_shot import NextShot, next_shot
from .design.shot_plan import ShotPlan, shot_plan
from .works.earthworks import Earthworks, cut_and_fill
from .works.build_up import LayersFit, layer_tops, layers_fit
from .works.dig import Dig, dig_out
from .works.heaps import Carrier
from .works.materials import Materials, materials
from .works.units import UnitLayout, lay_out_units
from .works.posts import Post, PostCheck, check_posts
from .works.pegs import pegs_at
from .works.setout import PegTable, set_out, walking_order
from .works.packer import fall_of_packer, packer, packers
from .works.runoff import Conduit, Flow, pipe, rectangular_channel, runoff
from .works.catchment import Catchments, catchments
from .works.soakaway import Infiltration, Soakaway, infiltration, soakaway
from .works.screed import Screed, base_to_screed
from .works.datum import Departure, departure_from_datum
from .teaching.exercise import Exercise, Question, Slip
from .teaching.practice import practice_book
from .teaching.worked import worked_steps
from .teaching.marking import Marked, mark_book
from .teaching.glossary import GLOSSARY

__all__ = [
    "parse_fall", "word_fall", "SurveyError", "SurveyWarning",
    "read_book", "reduce_book", "LevelBook", "ReducedLevels", "ALLOWANCES",
    "suspect_slips", "Suspicions",
    "PegSetup", "two_peg_test", "TwoPegTest", "turn_test", "TurnTest", "repeat_readings", "RepeatReadings",
    "adjust_network", "NetworkAdjustment", "from_ties", "from_offsets", "ties_covariance", "level_sd",
    "Plane", "fit_plane", "PlaneFit", "Ground", "Facet", "Finish", "Channel", "Outlet",
    "Brief", "Wall", "Layer", "Spot", "Clearance", "FallAway", "FallAlong", "Meet", "Step", "Cover", "KeepBelow", "Gully",
    "MaxGradient", "Thickness", "FallToDrain", "AccessCover", "ClosedEdge", "Limit", "LIMITS",
    "ErrorBudget", "LevelErrors", "check_finish", "Verdicts", "solve_finish", "Solution",
    "sensitivity", "Sensitivity", "next_shot", "NextShot", "shot_plan", "ShotPlan",
    "cut_and_fill", "Earthworks", "Range", "Published", "room_in", "layer_tops", "layers_fit", "LayersFit", "Underside",
    "Footing",
    "dig_out", "Dig", "materials", "Materials", "Carrier", "lay_out_units", "UnitLayout", "Post", "check_posts", "PostCheck",
    "pegs_at", "walking_order", "set_out", "PegTable", "packer", "packers", "fall_of_packer",
    "runoff", "Flow", "rectangular_channel", "pipe", "Conduit", "catchments", "Catchments",
    "infiltration", "Infiltration", "soakaway", "Soakaway",
    "check_laid", "Laid", "where_to_lift", "Mending", "straightedge", "Straightedge", "flatness", "Flatness", "Regularity",
    "REGULARITY", "ponding", "Ponding", "Basin", "standing_water", "StandingWater", "lipping", "lips_by_levels", "LIPPING",
    "base_to_screed", "Screed", "SCREEDS", "departure_from_datum", "Departure",
    "practice_book", "Exercise", "Question", "Slip", "worked_steps", "mark_book", "Marked", "GLOSSARY",
]
