"""What the tests share: the demo, the command line, and the demo's tables without the mark that it is invented."""

from __future__ import annotations

import os
import shutil
import subprocess
from pathlib import Path

import polars as pl
import pytest

import linedrift

ROOT = Path(__file__).resolve().parents[2]
DEMO = ROOT / "notebooks-data" / "demo"
TABLES = ["lines", "segments", "rows", "models", "wings", "checks", "readings", "risers", "actions", "fittings", "events"]


@pytest.fixture(scope="session")
def command_line():
    """Runs the command line: ``LINEDRIFT`` names it, else the release build of this project."""
    target = Path(os.environ.get("CARGO_TARGET_DIR", ROOT / "target"))
    binary = os.environ.get("LINEDRIFT") or target / "release" / "linedrift"
    if not Path(binary).is_file():
        pytest.skip(f"no command line at {binary}: cargo build --release, or name one by LINEDRIFT")

    def run(*arguments: object, code: int = 0) -> str:
        done = subprocess.run([str(binary), *map(str, arguments)], capture_output=True, text=True, check=False)
        assert done.returncode == code, done.stderr
        return done.stdout

    return run


@pytest.fixture(scope="session")
def demo() -> linedrift.Fleet:
    return linedrift.Fleet.read(DEMO)


@pytest.fixture(scope="session")
def tables() -> dict[str, pl.DataFrame]:
    """The demo's tables as frames."""
    files = {name: DEMO / f"{name}.csv" for name in TABLES}
    return {name: pl.read_csv(file, infer_schema_length=None) for name, file in files.items() if file.is_file()}


@pytest.fixture(scope="session")
def unmarked(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo's folder without its mark, as the tables of any club."""
    folder = tmp_path_factory.mktemp("unmarked") / "fleet"
    shutil.copytree(DEMO, folder)
    (folder / "DEMO").unlink()
    return folder
