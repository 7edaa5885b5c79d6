"""linedrift's wear model against general libraries for mixed models: same model, same data, same run.

    python3 -m venv target/peers-venv
    target/peers-venv/bin/pip install -r benches/peers/requirements.txt
    cargo build --release
    target/peers-venv/bin/python benches/peers/run.py --sizes 18k,178k

Needs, beside Python 3.10 or later: R with lme4 and jsonlite for `lme4`; cargo and a C++ compiler for `mixeff-rs`; GNU time at
/usr/bin/time; Linux (/proc). A peer that is not there, fails, or takes longer than `--cap` gets a row that says so. All three
sizes with the slowest peers, in the background:

    nice target/peers-venv/bin/python benches/peers/run.py --sizes 18k,178k,1.83m --cap 900 >peers.md 2>peers.log

The model, by REML, with L_m the metres of material m in a line's path, L their sum and g = hours / 100:

    d ~ 1 + sum over material, row of rate[material,row] * L_m * g * [row] + (1 + L*g | wing) + (1 | check) + (1 | line)

Fleets come from `linedrift simulate` (no adjustments). linedrift is timed as a whole process, `wear FLEET --terms rate --json`
from the tables on disk to the JSON. A peer is timed for its fit alone: reading its columns, which are made ready once per
size, is not counted, nor what it does beyond estimates and standard errors where that can be switched off. Memory is the
peak of the process; for a peer, from the start of its fit. linedrift runs before and after each peer; ratios are to the
median of these runs. CPU seconds count all threads, and suffer less from other work on the machine than wall seconds do.

Every answer is compared with linedrift's. The exit code is 1 when one differs by more than the tolerances below.
"""

import argparse
import datetime
import json
import os
import platform
import signal
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path

import design

HERE = Path(__file__).resolve().parent
ROOT = HERE.parents[1]
PEERS = ["lme4", "glmm", "lme-python", "statsmodels", "mixeff-rs"]
READINGS_PER_WING = 404
# A peer's answer is the same when its criterion (-2 log restricted likelihood) is this close and its rates within this share
# of a standard error: optimisers stop at tolerances of their own, far below anything that matters to a reader.
SAME_CRITERION = 0.01
SAME_RATE_IN_SE = 0.01
# A fit this quick is made three times, and the median taken.
QUICK_S = 10.0
# Reading the columns does not count for the cap, but must not hang either.
READING_S = 180.0
REPEATS = 3


class Failed(Exception):
    """A measured process that gave no result; the text says why."""


class Late(Failed):
    """A measured process that was ended at its cap."""


def say(text):
    print(f"{datetime.datetime.now():%H:%M:%S} {text}", file=sys.stderr, flush=True)


def measured(command, cap_s):
    """Runs a command; its output, wall and CPU seconds and peak memory in MiB."""
    with tempfile.TemporaryFile() as out, tempfile.TemporaryFile() as err, tempfile.NamedTemporaryFile() as peak:
        begin = time.perf_counter()
        wrapped = ["/usr/bin/time", "-q", "-f", "%M", "-o", peak.name, *map(str, command)]
        child = subprocess.Popen(wrapped, stdout=out, stderr=err, start_new_session=True)
        late = threading.Event()

        def stop():
            late.set()
            os.killpg(child.pid, signal.SIGKILL)

        timer = threading.Timer(cap_s, stop)
        timer.start()
        try:
            _, status, usage = os.wait4(child.pid, 0)
        except BaseException:
            stop()
            raise
        finally:
            timer.cancel()
        wall_s = time.perf_counter() - begin
        child.returncode = os.waitstatus_to_exitcode(status)
        if late.is_set():
            raise Late(f"not done after {cap_s:g} s")
        if child.returncode != 0:
            err.seek(0)
            lines = err.read().decode(errors="replace").strip().splitlines() or [f"exit code {child.returncode}"]
            raise Failed(" ".join(lines[-2:])[:200].replace("|", "/"))
        out.seek(0)
        return {
            "text": out.read().decode(),
            "wall_s": wall_s,
            "cpu_s": usage.ru_utime + usage.ru_stime,
            "memory_mib": int(peak.read().split()[-1]) / 1024,
        }


def run_linedrift(binary, fleet, threads):
    command = [binary, "wear", fleet, "--terms", "rate", "--json"]
    run = measured(command + (["--threads", threads] if threads else []), 600)
    result = json.loads(run.pop("text"))
    if not result["converged"] or result["dropped_terms"]:
        raise Failed("linedrift's own fit is not a plain one")
    terms = {term["term"]: term for term in result["terms"]}
    rates = {name: term for name, term in terms.items() if name.startswith("rate:")}
    return run | {
        "criterion": result["deviance"],
        "rates": {design.column(name): term["estimate"] for name, term in rates.items()},
        "se": {design.column(name): term["se"] for name, term in rates.items()},
    }


def command_of(peer):
    if peer == "lme4":
        return ["Rscript", HERE / "lme4.R"]
    if peer == "mixeff-rs":
        manifest = HERE / "Cargo.toml"
        # NLopt is built by cmake, which requirements.txt brings.
        path = f"{Path(sys.executable).parent}{os.pathsep}{os.environ['PATH']}"
        build = ["cargo", "build", "--release", "--locked", "--quiet", "--manifest-path", str(manifest)]
        subprocess.run(build, check=True, env=os.environ | {"PATH": path}, stdout=sys.stderr)
        return [Path(os.environ.get("CARGO_TARGET_DIR", HERE / "target")) / "release" / "linedrift-peers"]
    return [sys.executable, HERE / "fit.py", peer]


def run_peer(peer, columns, formula, cap_s):
    try:
        run = measured([*command_of(peer), columns, formula], cap_s + READING_S)
    except Late as error:
        raise Failed(f"not done after {cap_s:g} s") from error
    try:
        result = json.loads(run["text"].strip().splitlines()[-1])
    except (IndexError, ValueError) as error:
        raise Failed("gave no result") from error
    if result["wall_s"] > cap_s:
        raise Failed(f"not done after {cap_s:g} s")
    return result


def middle(runs):
    """One run with the median of each measure."""
    keys = ("wall_s", "cpu_s", "memory_mib")
    return runs[-1] | {key: statistics.median(run[key] for run in runs) for key in keys}


def compare(peer, own):
    """Differences of a peer's answer from linedrift's."""
    rates = {name: peer["rates"][name] - own["rates"][name] for name in own["rates"]}
    return {
        "criterion": peer["criterion"] - own["criterion"],
        "rate": max(abs(value) for value in rates.values()),
        "rate_in_se": max(abs(value) / own["se"][name] for name, value in rates.items()),
    }


def figure(value):
    """Three significant digits, without an exponent."""
    if value >= 100:
        return f"{value:,.0f}"
    return f"{value:.1f}" if value >= 10 else f"{value:.3g}"


def row(name, run, own, difference="", note=""):
    cells = [name, figure(run["wall_s"])]
    cells += [figure(run["wall_s"] / own["wall_s"]), figure(run["cpu_s"]), figure(run["cpu_s"] / own["cpu_s"])]
    cells += [f"{run['memory_mib']:,.0f}"]
    if difference:
        cells += [f"{difference['criterion']:+.1e}", f"{difference['rate']:.0e} ({difference['rate_in_se']:.0e} se)"]
    else:
        cells += ["–", "–"]
    return "| " + " | ".join([*cells, note]) + " |"


class Table:
    """Everything measured at one size."""

    def __init__(self, args, size, folder):
        self.args, self.size = args, size
        self.fleet = folder / f"fleet-{size}"
        self.columns = folder / f"columns-{size}.csv"
        self.own, self.single, self.peers, self.failed = [], [], {}, {}
        self.agree = True
        self.formula, self.shape = None, {}

    def prepare(self):
        wings = max(5, round(design.count(self.size) / READINGS_PER_WING))
        say(f"{self.size}: inventing {wings} wings")
        binary = self.args.linedrift
        measured([binary, "simulate", "--wings", wings, "--seed", self.args.seed, "--out", self.fleet], 600)
        self.formula, self.shape = design.write(self.fleet, self.columns)

    def run_own(self):
        for _ in range(2):
            self.own.append(run_linedrift(self.args.linedrift, self.fleet, None))
            self.single.append(run_linedrift(self.args.linedrift, self.fleet, 1))

    def run(self):
        self.run_own()
        for peer in self.args.peers:
            say(f"{self.size}: {peer}")
            try:
                runs = [run_peer(peer, self.columns, self.formula, self.args.cap)]
                while runs[0]["wall_s"] < QUICK_S and len(runs) < REPEATS:
                    runs.append(run_peer(peer, self.columns, self.formula, self.args.cap))
                self.peers[peer] = middle(runs)
                say(f"{self.size}: {peer} fits in {runs[-1]['wall_s']:.2f} s")
            except (Failed, OSError, subprocess.CalledProcessError) as error:
                self.failed[peer] = str(error).replace("\n", " ")
                say(f"{self.size}: {peer}: {error}")
            self.run_own()

    def print(self):
        own = middle(self.own)
        shape = ", ".join(f"{value:,} {what}" for what, value in self.shape.items())
        print(f"\n**{self.shape['readings']:,} readings** ({shape.split(', ', 1)[1]})\n")
        print("| | wall s | ratio | CPU s | ratio | peak MiB | criterion | rates, mm/m | |")
        print("|---|---|---|---|---|---|---|---|---|")
        print(row("linedrift, whole process", own, own, note=f"median of {len(self.own)}"))
        print(row("linedrift, one thread", middle(self.single), own))
        for peer in self.args.peers:
            if peer in self.failed:
                print(f"| {peer} | – | – | – | – | – | – | – | {self.failed[peer]} |")
            if peer not in self.peers:
                continue
            run = self.peers[peer]
            difference = compare(run, own)
            notes = [run["note"]] if run.get("note") else []
            if abs(difference["criterion"]) > SAME_CRITERION or difference["rate_in_se"] > SAME_RATE_IN_SE:
                self.agree = False
                notes.insert(0, "**another answer**")
            print(row(f"{peer}, fit alone", run, own, difference, "; ".join(notes)))
        sys.stdout.flush()


def head(args, tables):
    version = subprocess.run([args.linedrift, "--version"], capture_output=True, text=True, check=True).stdout.strip()
    names = {name: run["version"] for table in tables for name, run in table.peers.items()}
    print(f"{datetime.date.today()}, {platform.system()} {platform.machine()}, {os.cpu_count()} cores, load average "
          f"{os.getloadavg()[0]:.1f} at the end; {'; '.join([version, *names.values()])}.")
    rises = [compare(run, middle(table.own)) for table in tables for run in table.peers.values()]
    if rises:
        print(f"Largest difference of a criterion {max(abs(r['criterion']) for r in rises):.1e}, of a rate "
              f"{max(r['rate'] for r in rises):.1e} mm/m ({max(r['rate_in_se'] for r in rises):.1e} of its standard error).")


def listed(text):
    return [part.strip() for part in text.split(",") if part.strip()]


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--sizes", type=listed, default=["18k", "178k"], help="readings, about (default 18k,178k)")
    parser.add_argument("--peers", type=listed, default=PEERS, help=f"of {','.join(PEERS)} (default all)")
    parser.add_argument("--cap", type=float, default=900, metavar="SECONDS", help="longest fit of a peer (default 900)")
    parser.add_argument("--linedrift", type=Path, default=ROOT / "target/release/linedrift", metavar="PATH")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--work", type=Path, default=ROOT / "target/peers", metavar="DIR", help="fleets and columns")
    args = parser.parse_args()
    unknown = [peer for peer in args.peers if peer not in PEERS]
    if unknown:
        parser.error(f"no such peer: {', '.join(unknown)}")
    try:
        for size in args.sizes:
            design.count(size)
    except ValueError as error:
        parser.error(str(error))
    if not args.linedrift.is_file():
        parser.error(f"{args.linedrift} is not there: cargo build --release, or --linedrift PATH")
    # Told to end, it ends the peer too and prints what it has, as on an interrupt.
    signal.signal(signal.SIGTERM, signal.default_int_handler)
    args.work.mkdir(parents=True, exist_ok=True)
    tables = []
    for size in args.sizes:
        table = Table(args, size, args.work)
        table.prepare()
        tables.append(table)
        stopped = False
        try:
            table.run()
        except KeyboardInterrupt:
            stopped = True
        if table.own:
            table.print()
        if stopped:
            break
    print()
    head(args, [table for table in tables if table.own])
    sys.exit(0 if all(table.agree for table in tables) else 1)


if __name__ == "__main__":
    main()
