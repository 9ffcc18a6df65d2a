"""Forms for people who write no code. A form holds controls and calls what a script would call."""

from .dig import DigForm
from .finish import BriefForm, BriefTextForm, SurfaceForm
from .instrument import InstrumentForm
from .start import StartForm
from .survey import BookForm

__all__ = ["BookForm", "BriefForm", "BriefTextForm", "DigForm", "InstrumentForm", "StartForm", "SurfaceForm"]
