"""How long a fit takes from frames in memory, against the whole process from Parquet: ``python bench.py BINARY [WINGS]``.

Both fit the same invented fleet with the same model, linear and the default one, one after the other in one run. BINARY is
the command line, ``target/release/linedrift``. Run it with nothing else at work.
"""

from __future__ import annotations

import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import polars as pl

import linedrift


def timed(work):
    began = time.perf_counter()
    result = work()
    return result, time.perf_counter() - began


def main() -> None:
    binary, wings = sys.argv[1], sys.argv[2] if len(sys.argv) > 2 else "4530"
    with tempfile.TemporaryDirectory() as folder:
        fleet_folder = Path(folder) / "fleet"
        simulate = [binary, "simulate", "--wings", wings, "--format", "parquet", "--out", fleet_folder]
        subprocess.run(simulate, check=True, stdout=subprocess.DEVNULL)
        frames = {}
        for name in ["lines", "segments", "rows", "models", "wings", "checks", "readings", "actions", "fittings"]:
            if (fleet_folder / f"{name}.parquet").is_file():
                frames[name] = pl.read_parquet(fleet_folder / f"{name}.parquet")
            elif (fleet_folder / name).is_dir():
                frames[name] = pl.read_parquet(fleet_folder / name / "*.parquet")
        print(f"{frames['wings'].height} wings, {frames['readings'].height} readings")
        fleet, taken = timed(lambda: linedrift.Fleet.from_frames(**frames))
        print(f"frames taken over and judged: {taken:.2f} s")
        for shape in ["linear", "auto"]:
            fit, fitted = timed(lambda: fleet.wear(shape=shape))
            document, written = timed(fit.json)
            command = [binary, "wear", fleet_folder, "--shape", shape, "--json"]
            own, whole = timed(lambda: subprocess.run(command, check=True, capture_output=True, text=True).stdout)
            same = "the same bytes" if own == document else "OTHER BYTES"
            print(
                f"shape {shape}: from frames in memory {taken + fitted:.2f} s (fit {fitted:.2f} s), JSON {written:.2f} s; "
                f"whole process from Parquet {whole:.2f} s; {same}"
            )
        print(f"most memory of the Python process: {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MB")


if __name__ == "__main__":
    main()
