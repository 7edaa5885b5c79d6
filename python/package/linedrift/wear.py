"""The wear model fitted to a fleet."""

from __future__ import annotations

import html
from collections.abc import Sequence
from os import PathLike, fspath

import polars as pl

from . import _linedrift
from .figure import Figure, Figures
from .progress import Progress, shown

__all__ = ["WearFit"]


class WearFit:
    """How fast materials drift, row by row. Rates are mm per metre of line in the first 100 h, negative for shrinkage."""

    def __init__(self, inner: _linedrift.WearFit) -> None:
        self._inner = inner
        self._frames: dict[str, pl.DataFrame] = {}

    def _table(self, name: str) -> pl.DataFrame:
        if name not in self._frames:
            self._frames[name] = pl.DataFrame(self._inner.table(name))
        return self._frames[name]

    @property
    def terms(self) -> pl.DataFrame:
        """Fixed terms: estimate, standard error, 95 % interval, degrees of freedom, p."""
        return self._table("terms")

    @property
    def spread(self) -> pl.DataFrame:
        """Standard deviations and correlations of what differs between wings, checks, lines and readings."""
        return self._table("spread")

    @property
    def drift(self) -> pl.DataFrame:
        """Drift of each row's mean over the first 100 h of an average wing, mm."""
        return self._table("drift")

    @property
    def covariance(self) -> pl.DataFrame:
        """Covariance of the fixed terms."""
        return self._table("covariance")

    @property
    def frame(self) -> pl.DataFrame:
        """The model frame: one row per line read at a check, the mean of its readings (deviation in mm, hours in h)."""
        return self._table("frame")

    @property
    def design(self) -> pl.DataFrame:
        """The fixed part of the design, by row of :attr:`frame` and term."""
        return self._table("design")

    @property
    def effects(self) -> pl.DataFrame:
        """The random effects, predicted."""
        return self._table("effects")

    @property
    def residuals(self) -> pl.DataFrame:
        """Residuals by level (mm; rates mm per metre in the first 100 h)."""
        return self._table("residuals")

    @property
    def influence(self) -> pl.DataFrame:
        """What the estimates owe to each wing."""
        return self._table("influence")

    @property
    def profiles(self) -> pl.DataFrame:
        """Profile likelihoods of the parameters. Takes many fits."""
        return self._table("profiles")

    def draws(self, draws: int = 1000, seed: int = 1) -> pl.DataFrame:
        """Draws of the fixed terms from their joint distribution."""
        return pl.DataFrame(self._inner.table("draws", draws, seed))

    def contrast(self, *contrasts: str, simultaneous: bool = False) -> pl.DataFrame:
        """Questions to the fit, one row each, such as ``"uhmwpe:C - lcp:C"`` or ``"drift:MODEL:A@200 - drift:MODEL:C@200"``.

        With ``simultaneous`` the intervals hold together.
        """
        return pl.DataFrame(self._inner.contrasts(list(contrasts), [], simultaneous))

    def pairs(self, which: str = "materials") -> pl.DataFrame:
        """Rates compared pair by pair, with intervals that hold together: ``materials``, ``rows`` or ``rates``."""
        return pl.DataFrame(self._inner.contrasts([], [which], False))

    def compare(self, *changes: str, progress: Progress = None) -> pl.DataFrame:
        """This model beside others that differ, such as ``"wing_effects=rate+row"`` or ``"shape=log,terms=rate"``."""
        with shown(progress) as line:
            return pl.DataFrame(self._inner.compare([change.replace("_", "-") for change in changes], line))

    @property
    def figures(self) -> Figures:
        """Rates by material and row; drift against hours with band and data."""
        return Figures([Figure(*figure) for figure in self._inner.figure_list()])

    @property
    def readings(self) -> int:
        """Readings in the fit."""
        return self._inner.facts()[0]

    @property
    def wings(self) -> int:
        """Wings in the fit."""
        return self._inner.facts()[1]

    @property
    def checks(self) -> int:
        """Checks in the fit."""
        return self._inner.facts()[2]

    @property
    def lines(self) -> int:
        """Lines in the fit."""
        return self._inner.facts()[3]

    @property
    def deviance(self) -> float:
        """−2 log likelihood."""
        return self._inner.facts()[4]

    @property
    def converged(self) -> bool:
        """Whether the search ended at a minimum."""
        return self._inner.facts()[5]

    @property
    def dropped_terms(self) -> list[str]:
        """Terms that the readings could not tell apart."""
        return self._inner.facts()[6]

    @property
    def diagnostics(self) -> list[tuple[str, str]]:
        """Remarks, each with its code and what to do."""
        return self._inner.diagnostics()

    def json(
        self,
        *,
        contrasts: Sequence[str] = (),
        pairs: Sequence[str] = (),
        simultaneous: bool = False,
        compare: Sequence[str] = (),
        progress: Progress = None,
    ) -> str:
        """The document ``linedrift.wear/1``, the same bytes as ``linedrift wear --json`` with the same questions."""
        with shown(progress) as line:
            return self._inner.json(list(contrasts), list(pairs), simultaneous, list(compare), line)

    def save(self, path: str | PathLike[str]) -> None:
        """Saves the fit for wings elsewhere (``Fleet.due(fit=path)``, ``linedrift due --fit``)."""
        self._inner.save(fspath(path))

    def __str__(self) -> str:
        return self._inner.text()

    def __repr__(self) -> str:
        return f"<WearFit of {self.readings} readings of {self.wings} wings>"

    def _repr_html_(self) -> str:
        return f"<pre>{html.escape(str(self))}</pre>"
