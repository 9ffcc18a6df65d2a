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
from .surface.finish import Facet, Finish
from .design.published import LIMITS, Limit
from .design.demands import (Clearance, Cover, FallAlong, FallAway, Gully, KeepBelow, MaxGradient, Meet, Spot, Step)
from .design.brief import Brief, Layer, Wall
from .design.check import Verdicts, check_finish
from .works.earthworks import Earthworks, cut_and_fill
from .works.setout import PegTable, set_out

__all__ = [
    "parse_fall", "word_fall", "SurveyError", "SurveyWarning",
    "read_book", "reduce_book", "LevelBook", "ReducedLevels", "ALLOWANCES",
    "suspect_slips", "Suspicions",
    "PegSetup", "two_peg_test", "TwoPegTest", "turn_test", "TurnTest", "repeat_readings", "RepeatReadings",
    "adjust_network", "NetworkAdjustment", "from_ties", "from_offsets", "ties_covariance", "level_sd",
    "Plane", "fit_plane", "PlaneFit", "Ground", "Facet", "Finish",
    "Brief", "Wall", "Layer", "Spot", "Clearance", "FallAway", "FallAlong", "Meet", "Step", "Cover", "KeepBelow", "Gully",
    "MaxGradient", "Limit", "LIMITS", "check_finish", "Verdicts",
    "cut_and_fill", "Earthworks", "set_out", "PegTable",
]
