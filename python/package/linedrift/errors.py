"""What can go wrong, as exceptions. A call that makes no sense raises :class:`ValueError`."""

from __future__ import annotations

import polars as pl

__all__ = ["FaultsError", "LinedriftError"]


class LinedriftError(Exception):
    """A result could not be made; the message says why."""


class FaultsError(LinedriftError):
    """Tables are at fault. All faults of all tables are found in one go, as in a folder of files."""

    def __init__(self, text: str, frame: object, more: int, json: str) -> None:
        super().__init__(text)
        #: One row per fault: ``table``, ``row`` (the header is row 1; 0 is the table as a whole), ``column``, ``value``,
        #: ``expected``. The first 1,000 are kept.
        self.faults: pl.DataFrame = pl.DataFrame(frame)
        #: How many faults there are beyond those kept.
        self.more: int = more
        self._json = json

    def json(self) -> str:
        """The document ``linedrift.error/1``, the same bytes as the command line prints."""
        return self._json
