"""Forms for people who write no code. A form holds controls and calls what a script would call."""

from .class_set import ClassSetForm
from .dig import DigForm
from .exercise import ExerciseForm
from .finish import BriefForm, BriefTextForm
from .instrument import InstrumentForm
from .laid import JointsForm, LaidBookForm
from .learn import LearnerForm, PredictForm
from .parts import MaterialsForm, WaterForm
from .screed import ScreedForm
from .sensitivity import BudgetForm, ShotPlanForm
from .solve import SolveForm
from .start import StartForm
from .surface import SurfaceForm
from .survey import BookForm
from .words import WordsForm

__all__ = ["BookForm", "BriefForm", "BriefTextForm", "BudgetForm", "ClassSetForm", "DigForm", "ExerciseForm", "InstrumentForm",
           "JointsForm", "LaidBookForm", "LearnerForm", "MaterialsForm", "PredictForm", "ScreedForm", "ShotPlanForm", "SolveForm",
           "StartForm", "SurfaceForm", "WaterForm", "WordsForm"]
