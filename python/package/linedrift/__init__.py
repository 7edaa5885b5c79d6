"""Line checks of paragliders turned into trim, wear and the next date, with honest intervals.

>>> import linedrift
>>> fleet = linedrift.simulate(wings=8, seed=7)
>>> fit = fleet.wear(shape="linear")
>>> fit.terms.columns[:2]
['term', 'estimate']

Units are part of names: ``_mm _m _n _h _deg _kg _pct``. A deviation is positive when a line is longer than nominal;
incidence is positive nose-up; rates are mm per metre of line in the first 100 h, negative for shrinkage.

A change of trim alters how a wing flies and can make it dangerous: the maker's manual and the local rules come first.
:data:`CAUTIONS` has the cautions that every answer carries.
"""

from ._linedrift import CAUTIONS, __version__
from .answers import Answer, Backtest, Due, Plan, Plans, Report, Summary, Trim, Vet
from .errors import FaultsError, LinedriftError
from .figure import Figure, Figures
from .fleet import Fleet, simulate
from .wear import WearFit

__all__ = [
    "CAUTIONS",
    "Answer",
    "Backtest",
    "Due",
    "FaultsError",
    "Figure",
    "Figures",
    "Fleet",
    "LinedriftError",
    "Plan",
    "Plans",
    "Report",
    "Summary",
    "Trim",
    "Vet",
    "WearFit",
    "__version__",
    "simulate",
]
