"""Fleets, and what can be asked of them."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from datetime import date
from os import PathLike, fspath
from typing import Any, Optional, Union

import polars as pl

from . import _linedrift
from .answers import Backtest, Due, Plan, Plans, Report, Summary, Trim, Vet
from .progress import Progress, shown
from .wear import WearFit

__all__ = ["Fleet", "simulate"]

Folder = Union[str, "PathLike[str]"]
#: The path of a limits file (TOML), or its entries by name, those of single models under ``model``.
Limits = Union[None, str, "PathLike[str]", Mapping[str, Any]]
Day = Union[None, str, date]
#: The wear model that forecasts rest on: arguments of :meth:`Fleet.wear` by name, such as ``{"shape": "linear"}``.
Wear = Optional[Mapping[str, Any]]


def _path(path: Optional[Folder]) -> Optional[str]:
    return None if path is None else fspath(path)


def _day(day: Day) -> Optional[str]:
    return day.isoformat() if isinstance(day, date) else day


def _value(value: Any) -> str:
    """A value as TOML; JSON writes text, numbers and truth as TOML does."""
    if isinstance(value, Mapping):
        return "{ " + ", ".join(f"{json.dumps(name)} = {_value(inner)}" for name, inner in value.items()) + " }"
    if isinstance(value, (list, tuple)):
        return "[" + ", ".join(map(_value, value)) + "]"
    return json.dumps(value.isoformat() if isinstance(value, date) else value)


def _toml(entries: Mapping[str, Any]) -> str:
    return "".join(f"{json.dumps(name)} = {_value(value)}\n" for name, value in entries.items())


def _limits(limits: Limits) -> Optional[str]:
    if limits is None:
        return None
    if isinstance(limits, Mapping):
        return _toml(limits)
    with open(limits, encoding="utf-8") as file:
        return file.read()


def _arrow(frame: object) -> object:
    """A frame as something that speaks Arrow."""
    if frame is None:
        return None
    if isinstance(frame, pl.LazyFrame):
        return frame.collect()
    if type(frame).__module__.split(".")[0] == "pandas":
        return _of_pandas(frame)
    if hasattr(frame, "__arrow_c_stream__"):
        return frame
    return pl.DataFrame(frame)  # type: ignore[arg-type]


def _of_pandas(frame: Any) -> object:
    """A pandas frame column by column, so that one of mixed values is text, as it would be in a file."""
    columns = []
    for name in frame.columns:
        column = frame[name]
        try:
            columns.append(pl.Series(str(name), pl.from_pandas(column)))
        except Exception:  # noqa: BLE001 - of whatever kind: pyarrow has several for values of two types
            empty = column.isna()
            texts = [None if is_empty else str(value) for value, is_empty in zip(column, empty)]
            columns.append(pl.Series(str(name), texts, dtype=pl.String))
    return pl.DataFrame(columns)


class Fleet:
    """Line sets, wings, checks and readings. :meth:`read` takes a folder, :meth:`from_frames` frames of any library."""

    def __init__(self, inner: _linedrift.Fleet) -> None:
        self._inner = inner

    @classmethod
    def read(
        cls,
        folder: Folder,
        *,
        covariates: Sequence[str] = (),
        materials: Optional[Folder] = None,
        progress: Progress = None,
    ) -> Fleet:
        """Reads a fleet folder: tables as CSV or Parquet.

        ``covariates`` names columns of ``wings`` to keep for :meth:`wear`; ``materials`` is a table of your own materials.

        :raises FaultsError: with every fault of every table, in one go.
        """
        with shown(progress) as line:
            return cls(_linedrift.Fleet.read(fspath(folder), list(covariates), _path(materials), line))

    @classmethod
    def from_frames(
        cls,
        *,
        lines: object,
        wings: object,
        checks: object,
        readings: object,
        segments: object = None,
        rows: object = None,
        models: object = None,
        risers: object = None,
        actions: object = None,
        fittings: object = None,
        events: object = None,
        covariates: Sequence[str] = (),
        materials: Optional[Folder] = None,
        progress: Progress = None,
    ) -> Fleet:
        """Takes over frames that speak Arrow (polars, pandas, pyarrow, …), with the columns of the fleet folder.

        Lengths are in mm, loads in N, hours in h, temperatures in °C, as the columns' names say. Frames are judged as files
        are: row 2 of a fault is the frame's first row.

        :raises FaultsError: with every fault of every frame, in one go.
        """
        given = {
            "lines": lines,
            "segments": segments,
            "rows": rows,
            "models": models,
            "wings": wings,
            "checks": checks,
            "readings": readings,
            "risers": risers,
            "actions": actions,
            "fittings": fittings,
            "events": events,
        }
        frames = {name: _arrow(frame) for name, frame in given.items()}
        with shown(progress) as line:
            return cls(_linedrift.Fleet.from_frames(frames, list(covariates), _path(materials), line))

    @property
    def notes(self) -> list[str]:
        """What was left out or assumed in reading, in sentences."""
        return self._inner.notes()

    @property
    def wings(self) -> list[str]:
        """Ids of the wings, in the fleet's order."""
        return self._inner.wings()

    @property
    def is_demo(self) -> bool:
        """Whether this is the bundled invented demo."""
        return self._inner.is_demo()

    @property
    def truth(self) -> Optional[dict[str, Any]]:
        """Of an invented fleet: everything that made it."""
        text = self._inner.truth()
        return None if text is None else json.loads(text)

    def frames(self) -> dict[str, pl.DataFrame]:
        """The tables by name, as they would be written into a folder."""
        return {name: pl.DataFrame(frame) for name, frame in self._inner.frames()}

    def write(self, folder: Folder, *, format: str = "csv") -> None:
        """Writes the tables into a new folder, as ``csv`` or ``parquet``."""
        if format not in ("csv", "parquet"):
            raise ValueError(f"format: `{format}` is none of csv, parquet")
        self._inner.write(fspath(folder), format == "parquet")

    def summary(self, *, progress: Progress = None) -> Summary:
        """Counts what the fleet holds."""
        with shown(progress) as line:
            return Summary(self._inner.summary(line))

    def vet(self, *, wing: Optional[str] = None, check: Optional[str] = None, progress: Progress = None) -> Vet:
        """Looks for doubtful readings in each wing's latest check, in one wing's, or in one check."""
        with shown(progress) as line:
            return Vet(self._inner.vet(wing, check, line))

    def trim(
        self,
        *,
        wing: Optional[str] = None,
        check: Optional[str] = None,
        limits: Limits = None,
        planform: Optional[Folder] = None,
        progress: Progress = None,
        **spec: Any,
    ) -> Trim:
        """Judges each wing's latest check, one wing's, or one check.

        Further keyword arguments are the settings of the library's ``TrimSpec``, with its defaults: ``rule`` (``"value"``,
        ``"guarded"``), ``brake_tolerance_mm`` (20), ``incidence_range_deg`` (1), ``asymmetry_threshold_deg`` (0.1),
        ``arch_radius_m`` (none), … What the wing is held to comes from ``limits``: ``{"line_mm": 10}``, or a limits file.
        """
        with shown(progress) as line:
            inner = self._inner.trim(wing, check, _limits(limits), _path(planform), json.dumps(spec), line)
            return Trim(inner)

    def plan(
        self,
        *,
        wing: Optional[str] = None,
        check: Optional[str] = None,
        curve: bool = False,
        limits: Limits = None,
        steps: Optional[Folder] = None,
        progress: Progress = None,
        **spec: Any,
    ) -> Plan:
        """What to adjust after a wing's latest check, or after one check; of a fleet of several wings, the plans of all.

        Further keyword arguments are the settings of the library's ``PlanSpec``, with its defaults: ``aim`` (``"work"``,
        ``"trim"``, ``"table"``; else the recommended one), ``target`` (``"common"``, ``"maker"``, ``"free"``), ``only``
        (``"shorten"``, ``"lengthen"``), ``most_actions``, ``without`` (kinds of action), ``stretch_mm`` (0), ``most_turns``
        (3), ``small_links_mm`` ([8]), … ``curve`` adds the best plans with 0, 1, 2, … actions.
        """
        everyone = wing is None and check is None and len(self.wings) > 1
        with shown(progress) as line:
            inner = self._inner.plan(wing, check, curve, _limits(limits), _path(steps), json.dumps(spec), line)
        return Plans(inner) if everyone else Plan(inner)

    def wear(
        self,
        *,
        shape: str = "auto",
        scale_h: Optional[float] = None,
        terms: str = "rate+span",
        wing_effects: str = "auto",
        criterion: str = "reml",
        offsets: str = "common",
        covariates: Sequence[str] = (),
        progress: Progress = None,
    ) -> WearFit:
        """Fits the wear model.

        ``shape`` is ``auto``, ``linear``, ``log`` or ``saturating`` (with ``scale_h``, hours, else estimated); ``terms``
        ``rate`` or ``rate+span``; ``wing_effects`` ``auto``, ``rate`` or ``rate+row``; ``criterion`` ``reml`` or ``ml``;
        ``offsets`` ``common`` or ``model+row``. A shape or wing effects given fix the whole model.
        """
        with shown(progress) as line:
            model = {
                "shape": shape,
                "scale_h": scale_h,
                "terms": terms,
                "wing_effects": wing_effects,
                "criterion": criterion,
                "offsets": offsets,
                "covariates": list(covariates),
            }
            return WearFit(self._inner.wear(json.dumps(model), line))

    def due(
        self,
        *,
        wing: Optional[str] = None,
        fit: Optional[Folder] = None,
        wear: Wear = None,
        use_demo_fit_for_real_wings: bool = False,
        risk: float = 0.1,
        horizon_h: Optional[float] = None,
        draws: Optional[int] = None,
        seed: int = 1,
        today: Day = None,
        interval_h: Optional[float] = None,
        interval_months: Optional[float] = None,
        limits: Limits = None,
        service: Optional[Folder] = None,
        longer_intervals: bool = False,
        progress: Progress = None,
    ) -> Due:
        """The next check per wing: the hours (h) at which the chance that a limit is passed reaches ``risk``, capped by the
        interval.

        The wear model is fitted to the fleet, with the arguments of :meth:`wear` in ``wear``, or read from a saved ``fit``. ``horizon_h`` is 1,000 h by default, ``draws``
        4,000, ``today`` the day of the fleet's last check.
        """
        with shown(progress) as line:
            inner = self._inner.due(
                wing,
                _path(fit),
                json.dumps(dict(wear or {})),
                use_demo_fit_for_real_wings,
                risk,
                horizon_h,
                draws,
                seed,
                _day(today),
                interval_h,
                interval_months,
                _limits(limits),
                _path(service),
                longer_intervals,
                line,
            )
            return Due(inner)

    def backtest(
        self,
        *,
        wear: Wear = None,
        rolling: bool = False,
        draws: Optional[int] = None,
        most_fits: Optional[int] = None,
        seed: int = 1,
        progress: Progress = None,
    ) -> Backtest:
        """Hides checks, forecasts them from what was known before, and compares. ``draws`` is 2,000 by default, ``most_fits``
        200; with ``rolling`` every check after a wing's first is forecast, not only its last."""
        with shown(progress) as line:
            return Backtest(self._inner.backtest(json.dumps(dict(wear or {})), rolling, draws, most_fits, seed, line))

    def report(
        self,
        *,
        wing: Optional[str] = None,
        check: Optional[str] = None,
        wear: Wear = None,
        today: Day = None,
        seed: int = 1,
        limits: Limits = None,
        calibration: bool = False,
        progress: Progress = None,
    ) -> Report:
        """Everything in one HTML page with figures, of all wings or of one."""
        with shown(progress) as line:
            model = json.dumps(dict(wear or {}))
            return Report(self._inner.report(wing, check, model, _day(today), seed, _limits(limits), calibration, line))

    def __repr__(self) -> str:
        return f"<Fleet of {len(self.wings)} wings{' (invented demo)' if self.is_demo else ''}>"


def simulate(
    *,
    demo: bool = False,
    settings: Optional[Folder] = None,
    progress: Progress = None,
    **spec: Any,
) -> Fleet:
    """An invented fleet with known truth (:attr:`Fleet.truth`).

    Keyword arguments are the settings of the library's ``FleetSpec``, with its defaults: ``wings`` (48), ``seed`` (1),
    ``years``, ``checks_per_year``, ``offset_mm``, ``missing_share``, ``misreading_share``, ``rounding_mm``, ``repeats``, …;
    ``settings`` is a file of them (TOML). ``demo`` gives the bundled demo.
    """
    if demo and (settings is not None or spec):
        raise ValueError("the demo has its settings: leave the others out")
    text = None
    if settings is not None:
        with open(settings, encoding="utf-8") as file:
            text = file.read()
    if spec:
        text = _toml(spec) + (text or "")
    with shown(progress) as line:
        return Fleet(_linedrift.simulate(text, demo, line))
