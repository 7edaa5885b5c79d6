"""How far long work is, on stderr: on a terminal and in a notebook, else nowhere."""

from __future__ import annotations

import sys
from collections.abc import Callable
from contextlib import contextmanager
from typing import Any, Iterator, Optional, Union

__all__ = ["Progress"]

#: ``None``: shown on a terminal and in a notebook. ``False``: never. A function is called with what is being done, and how
#: many wings are done of how many (0 of 0 where a step does not go wing by wing).
Progress = Union[None, bool, Callable[[str, int, int], Any]]


def _is_notebook() -> bool:
    shell = getattr(sys.modules.get("IPython"), "get_ipython", lambda: None)()
    return shell is not None and hasattr(shell, "kernel")


@contextmanager
def shown(progress: Progress) -> Iterator[Optional[Callable[[str, int, int], Any]]]:
    if callable(progress):
        yield progress
        return
    wanted = progress is True or (progress is None and (sys.stderr.isatty() or _is_notebook()))
    if not wanted:
        yield None
        return
    width = 0

    def line(step: str, done: int, wings: int) -> None:
        nonlocal width
        text = f"{step}: {done} of {wings} wings" if wings else step
        print(f"\r{text:<{width}}", end="", file=sys.stderr, flush=True)
        width = len(text)

    try:
        yield line
    finally:
        print(f"\r{'':<{width}}\r", end="", file=sys.stderr, flush=True)
