"""The streaming pass beside a plain polars scan of the same columns, for fleets of several sizes.

    target/peers-venv/bin/python benches/peers/scan.py --wings 2500,12500,124000 --fits 1

Invents each fleet as Parquet in parts in a temporary folder, then in turn, `--runs` times: a plain scan (every row of the four columns
that matter is read: the sum of the readings, the longest of each text), `linedrift reduce` and `linedrift wear`. The reduction's seconds are
those of the whole process, the writing of the part included. Prints medians as a table; the ratio is that of the medians of one size. With `--shuffle`, rows are put in random order first.
"""

import argparse
import json
import os
import shutil
import statistics
import subprocess
import sys
import tempfile
import time

ROOT = os.path.dirname(os.path.dirname(os.path.dirname(os.path.abspath(__file__))))

PLAIN = """
import json, sys, time
import polars as pl
begun, cpu = time.perf_counter(), time.process_time()
text = [pl.col(name).str.len_bytes().max() for name in ("check", "side", "line")]
found = pl.scan_parquet(sys.argv[1] + "/readings/*.parquet").select(pl.len(), pl.col("reading_mm").sum(), *text)
found = found.collect(engine="streaming")
taken = time.perf_counter() - begun
peak = next(int(line.split()[1]) for line in open("/proc/self/status") if line.startswith("VmHWM")) / 1024
cpu = time.process_time() - cpu
print(json.dumps({"s": taken, "cpu_s": cpu, "rows": found["len"][0], "peak_mib": peak}))
"""

SHUFFLE = """
import sys
import polars as pl
folder = sys.argv[1] + "/readings/"
frame = pl.read_parquet(folder + "*.parquet").sample(fraction=1.0, shuffle=True, seed=1)
import glob, os
for name in glob.glob(folder + "*.parquet"):
    os.remove(name)
size = 400_000
for part in range(0, -(-frame.height // size)):
    frame.slice(part * size, size).write_parquet(f"{folder}part-{part:05}.parquet")
"""


def run(command):
    done = subprocess.run(command, capture_output=True, text=True, cwd=ROOT)
    if done.returncode != 0:
        sys.exit(f"{' '.join(command)}\n{done.stderr}")
    return done.stdout


def measured(command):
    """Its JSON, wall seconds and peak of memory."""
    begun = time.perf_counter()
    child = subprocess.Popen(command, stdout=subprocess.PIPE, text=True, cwd=ROOT)
    text = child.stdout.read()
    _, status, usage = os.wait4(child.pid, 0)
    taken = time.perf_counter() - begun
    if status != 0:
        sys.exit(f"{' '.join(command)} failed")
    return {**json.loads(text), "s": taken, "cpu_s": usage.ru_utime + usage.ru_stime, "peak_mib": usage.ru_maxrss / 1024}


def folder_mib(folder):
    sizes = [os.path.getsize(os.path.join(at, name)) for at, _, names in os.walk(folder) for name in names]
    return sum(sizes) / 2**20


def main():
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    options.add_argument("--wings", default="2500,12500,124000")
    options.add_argument("--runs", type=int, default=5)
    options.add_argument("--shuffle", action="store_true")
    options.add_argument("--built", action="store_true", help="take target/release/linedrift as it is")
    options.add_argument("--fits", type=int, help="runs of `wear`, where they should be fewer")
    options.add_argument("--keep", help="put the fleets into this folder and leave them there")
    options = options.parse_args()
    if not options.built:
        run(["cargo", "build", "--release"])
    linedrift = os.path.join(ROOT, "target/release/linedrift")
    print("| wings | readings | MiB on disk | written s | plain scan s | CPU s | reduction s | ratio | million readings/s | ns each "
          "| `reduce` in all, CPU s | peak MiB | `wear` in all, s | CPU s | evaluations | peak MiB |")
    print("|" + "---|" * 16)
    for wings in options.wings.split(","):
        place = options.keep or tempfile.mkdtemp(prefix="linedrift-scan-")
        folder = os.path.join(place, f"fleet-{wings}{'-shuffled' if options.shuffle else ''}")
        part = os.path.join(place, "all.part")
        try:
            written = None
            if not os.path.isdir(folder):
                begun = time.perf_counter()
                run([linedrift, "simulate", "--wings", wings, "--format", "parquet", "--out", folder])
                written = time.perf_counter() - begun
                if options.shuffle:
                    run([sys.executable, "-c", SHUFFLE, folder])
            plain, reduced, fitted = [], [], []
            for count in range(options.runs):
                plain.append(json.loads(run([sys.executable, "-c", PLAIN, folder])))
                reduced.append(measured([linedrift, "reduce", folder, "--out", part, "--json"]))
                if count < (options.fits or options.runs):
                    fitted.append(measured([linedrift, "wear", folder, "--json"]))
            size = folder_mib(os.path.join(folder, "readings"))
        finally:
            if not options.keep:
                shutil.rmtree(place, ignore_errors=True)
        middle = lambda rows, key: statistics.median(row[key] for row in rows)
        readings, scan_s, plain_s = reduced[0]["readings"], middle(reduced, "s"), middle(plain, "s")
        assert plain[0]["rows"] == readings == fitted[0]["readings"], "they did not read the same"
        said = "–" if written is None else f"{written:.1f}"
        print(f"| {int(wings):,} | {readings:,} | {size:,.0f} | {said} | {plain_s:.3f} | {middle(plain, 'cpu_s'):.2f} | {scan_s:.3f} "
              f"| {scan_s / plain_s:.2f} | {readings / scan_s / 1e6:.1f} | {1e9 * scan_s / readings:.0f} "
              f"| {middle(reduced, 'cpu_s'):.2f} | {middle(reduced, 'peak_mib'):,.0f} "
              f"| {middle(fitted, 's'):.2f} | {middle(fitted, 'cpu_s'):.2f} | {fitted[0]['evaluations']} "
              f"| {middle(fitted, 'peak_mib'):,.0f} |", flush=True)


if __name__ == "__main__":
    main()
