"""What a question gives back: JSON, text, polars frames by name, figures."""

from __future__ import annotations

import html
from os import PathLike
from pathlib import Path

import polars as pl

from . import _linedrift
from .figure import Figure, Figures

__all__ = ["Answer", "Backtest", "Due", "Plan", "Plans", "Report", "Summary", "Trim", "Vet"]


class Answer:
    """The answer to one question. ``print`` shows it on one screen; a notebook too."""

    def __init__(self, inner: _linedrift.Answer) -> None:
        self._inner = inner
        self._frames: dict[str, pl.DataFrame] = {}

    def json(self) -> str:
        """One JSON document, the same bytes as the command line prints with ``--json``."""
        return self._inner.json()

    def frame(self, name: str) -> pl.DataFrame:
        """A result table by its name (see :attr:`frame_names`). Every column has its unit in its name."""
        if name not in self._frames:
            found = self._inner.table(name)
            if found is None:
                raise KeyError(f"no table `{name}`; there are {', '.join(self.frame_names)}")
            self._frames[name] = pl.DataFrame(found)
        return self._frames[name]

    @property
    def frame_names(self) -> list[str]:
        """Names of the result tables."""
        return self._inner.table_names()

    @property
    def figures(self) -> Figures:
        """The figures."""
        return Figures([Figure(*figure) for figure in self._inner.figure_list()])

    @property
    def failed(self) -> list[str]:
        """What could not be done for some wings, and why; the others' results stand."""
        return self._inner.failed_list()

    def __str__(self) -> str:
        return self._inner.text()

    def __repr__(self) -> str:
        return f"<{type(self).__name__} with {', '.join(self.frame_names)}>"

    def _repr_html_(self) -> str:
        return f"<pre>{html.escape(str(self))}</pre>"


class Summary(Answer):
    """What a fleet holds."""

    @property
    def models(self) -> pl.DataFrame:
        """One row per line set, with its counts."""
        return self.frame("summary_models")

    @property
    def rows(self) -> pl.DataFrame:
        """Verdicts by row and material, over each wing's latest check."""
        return self.frame("summary_rows")


class Vet(Answer):
    """Doubtful readings, each with what it probably is."""

    @property
    def findings(self) -> pl.DataFrame:
        """One row per doubtful reading (mm)."""
        return self.frame("vet_findings")

    @property
    def checks(self) -> pl.DataFrame:
        """One row per check looked through."""
        return self.frame("vet_checks")


class Trim(Answer):
    """Judged checks. A deviation (mm) is positive when a line is longer than nominal; incidence (degrees) is positive nose-up."""

    @property
    def checks(self) -> pl.DataFrame:
        """One row per check: state, common offset (mm), incidence change (degrees), bands."""
        return self.frame("trim_checks")

    @property
    def diagnosis(self) -> pl.DataFrame:
        """One row per sentence of the diagnosis."""
        return self.frame("trim_diagnosis")

    @property
    def rows(self) -> pl.DataFrame:
        """One row per row and side: mean and effective deviation (mm)."""
        return self.frame("trim_rows")

    @property
    def lines(self) -> pl.DataFrame:
        """One row per line: deviation, tolerance, uncertainty (mm) and verdict."""
        return self.frame("trim_lines")

    @property
    def twist(self) -> pl.DataFrame:
        """Incidence change along the span, degrees."""
        return self.frame("trim_twist")


class Plan(Answer):
    """What to adjust after one check, and the trim that it should leave."""

    @property
    def actions(self) -> pl.DataFrame:
        """One row per action, in the order of work; changes in mm, negative shortens."""
        return self.frame("plan_actions")

    @property
    def lines(self) -> pl.DataFrame:
        """One row per line: distance from the target before and after, mm."""
        return self.frame("plan_lines")

    @property
    def plans(self) -> pl.DataFrame:
        """One row per plan: before and after in short."""
        return self.frame("plans")


class Plans(Plan):
    """The plans of all wings, one row each in :attr:`plans`."""


class Due(Answer):
    """The next check per wing."""

    @property
    def wings(self) -> pl.DataFrame:
        """One row per wing, most urgent first: hours now and due (h), date, reason, crossing quantiles (h)."""
        return self.frame("due")


class Backtest(Answer):
    """How well earlier checks would have foreseen the later ones."""

    @property
    def scores(self) -> pl.DataFrame:
        """One row per forecast of a row mean (mm)."""
        return self.frame("backtest")

    @property
    def coverage(self) -> pl.DataFrame:
        """Share of the intervals that held what was measured, with the band by chance."""
        return self.frame("backtest_coverage")

    @property
    def crps(self) -> pl.DataFrame:
        """Mean score of each method, mm; lower is better."""
        return self.frame("backtest_crps")


class Report(Answer):
    """The whole report: one HTML page, and the result tables. Its JSON is the judged checks, ``linedrift.trim/1``."""

    @property
    def html(self) -> str:
        """The page, one self-contained HTML document."""
        return self._inner.page_html() or ""

    def save(self, path: str | PathLike[str]) -> None:
        """Writes the page into a file."""
        Path(path).write_text(self.html, encoding="utf-8")

    def _repr_html_(self) -> str:
        return f'<iframe srcdoc="{html.escape(self.html)}" style="width:100%;height:40rem;border:0"></iframe>'
