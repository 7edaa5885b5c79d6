"""Figures as SVG, shown inline by notebooks."""

from __future__ import annotations

import html
from collections.abc import Iterator
from os import PathLike
from pathlib import Path

__all__ = ["Figure", "Figures"]


class Figure:
    """One figure: SVG with its title and its description in words. A notebook shows it."""

    def __init__(self, name: str, title: str, description: str, svg: str) -> None:
        #: Name of its file, without the ending.
        self.name = name
        #: Title.
        self.title = title
        #: What it shows, in words.
        self.description = description
        #: The whole SVG document, with its own colours and a caution.
        self.svg = svg

    def _repr_svg_(self) -> str:
        return self.svg

    def save(self, path: str | PathLike[str]) -> None:
        """Writes the SVG into a file."""
        Path(path).write_text(self.svg, encoding="utf-8")

    def __repr__(self) -> str:
        return f"<Figure {self.name}: {self.title}>"


class Figures:
    """Figures of one answer, by place or by name; a notebook shows them one under the other."""

    def __init__(self, figures: list[Figure]) -> None:
        self._figures = figures

    def __len__(self) -> int:
        return len(self._figures)

    def __iter__(self) -> Iterator[Figure]:
        return iter(self._figures)

    def __getitem__(self, key: int | str) -> Figure:
        if isinstance(key, int):
            return self._figures[key]
        for figure in self._figures:
            if figure.name == key:
                return figure
        raise KeyError(f"no figure `{key}`; there are {', '.join(self.names())}")

    def names(self) -> list[str]:
        """Names of the figures."""
        return [figure.name for figure in self._figures]

    def _repr_html_(self) -> str:
        # each in a frame of its own: their style sheets and ids are not mixed
        one = '<iframe srcdoc="{}" title="{}" style="width:100%;max-width:52rem;aspect-ratio:8/5;border:0"></iframe>'
        return "".join(one.format(html.escape(f.svg), html.escape(f.title)) for f in self._figures)

    def __repr__(self) -> str:
        return f"<Figures {', '.join(self.names())}>"
