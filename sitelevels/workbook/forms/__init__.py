"""Forms for people who write no code. A form holds controls and calls what a script would call."""

from .dig import DigForm
from .finish import BriefForm, BriefTextForm
from .instrument import InstrumentForm
from .laid import JointsForm, LaidBookForm
from .parts import MaterialsForm, WaterForm
from .screed import ScreedForm
from .sensitivity import BudgetForm, ShotPlanForm
from .solve import SolveForm
from .start import StartForm
from .surface import SurfaceForm
from .survey import BookForm

__all__ = ["BookForm", "BriefForm", "BriefTextForm", "BudgetForm", "DigForm", "InstrumentForm", "JointsForm", "LaidBookForm",
           "MaterialsForm", "ScreedForm", "ShotPlanForm", "SolveForm", "StartForm", "SurfaceForm", "WaterForm"]
