"""Reduces a fleet folder file by file on Ray, then fits the wear model to the parts.

    pip install ray
    linedrift simulate --wings 5000 --format parquet --out archive
    python docs/examples/reduce_on_ray.py archive parts

The folder must be seen by every node under the same path, and `linedrift` must be on its PATH (or in LINEDRIFT). A part that is there
already is left as it is: parts are written whole or not at all, so a run that was ended goes on where it stopped.
"""

import os
import subprocess
import sys
from pathlib import Path

import ray

LINEDRIFT = os.environ.get("LINEDRIFT", "linedrift")


@ray.remote(num_cpus=1, max_retries=2)
def reduce(fleet, file, part):
    """One task: one file of readings to one part. What the program says of a fault is what the task raises."""
    if not Path(part).exists():
        command = [LINEDRIFT, "reduce", fleet, "--part", file, "--out", part, "--threads", "1"]
        done = subprocess.run(command, capture_output=True, text=True)
        if done.returncode != 0:
            raise RuntimeError(done.stderr)
    return part


def main():
    fleet, folder = sys.argv[1:3]
    files = sorted(file.name for file in Path(fleet, "readings").glob("*.parquet"))
    os.makedirs(folder, exist_ok=True)
    ray.init()
    parts = ray.get([reduce.remote(fleet, file, str(Path(folder, file + ".part"))) for file in files])
    # the fit runs here: it needs the blocks of all wings, but no reading
    sys.exit(subprocess.run([LINEDRIFT, "wear", "--from", *parts]).returncode)


if __name__ == "__main__":
    main()
