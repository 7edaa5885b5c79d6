"""Each aim of a plan solved by a general mixed-integer solver, as an outside referee for the coupled search.

Run with any recent scipy (made with 1.17.1, whose milp calls HiGHS):  python referee_aims.py > referee_aims.json

Wings of two rows on an elliptic planform. There the weight of the lift over the local chord is constant along the span, so the
effective incidence change of a side is (4/pi)/(c0 dx) times the integral over the half span of (front row - rear row), each
row linear between its lines and held constant beyond them; degrees nose-up. With x the steps, first the lines outside are
minimised, then

    sum w (e/t)^2 + p sum price + ki |incidence| + ka |left - right|

by binaries for the steps, shares for what a line's cost is under each combination on its path, and two positive parts for
each absolute value. Written from the statement of the problem, without the crate.
"""
import itertools, json, math, random, sys
import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import lil_matrix

PRICE, DEARER, LINK, LINE = 2.0, 0.25, 5.17, 1.1
CHORDS, ROOT_MM = {"A": 0.1, "C": 0.6}, 2500.0
AIMS = {"work": (1.0, 0.0, 20.0), "trim": (0.5, 100.0, 100.0), "table": (0.5, 0.0, 20.0)}
SIDES = ("left", "right")


def wing(seed, mains, uppers):
    rng = random.Random(seed)
    segments, lines, count = [], [], mains * uppers
    for row in CHORDS:
        for m in range(mains):
            main = len(segments)
            segments.append({"name": f"{row}m{m}", "parent": None, "loop": rng.random() < 0.8, "turns": rng.randint(0, 1)})
            for u in range(uppers):
                rank = m * uppers + u + 1
                segments.append({"name": f"{row}{rank}", "parent": main, "loop": rng.random() < 0.4, "turns": 0})
                lines.append({"name": f"{row}{rank}", "row": row, "segment": len(segments) - 1, "span": round(0.95 * (rank - 0.5) / count, 4)})
    shift = {"A": rng.choice([-6, 0, 6]), "C": rng.choice([-7, 0, 7])}
    uneven = rng.choice([0, 0, 5])
    sides = {}
    for side in SIDES:
        off = [rng.gauss(0, 4) for _ in segments]
        sides[side] = [round(shift[l["row"]] + (uneven if side == "left" and l["row"] == "C" else 0) + sum(off[s] for s in path(segments, l["segment"]))) for l in lines]
    return {"seed": seed, "segments": segments, "lines": lines, "deviation_mm": sides}


def path(segments, s):
    while s is not None:
        yield s
        s = segments[s]["parent"]


def steps(segment):
    found, lying = [(None, 0, 0.0)], segment["turns"]
    turn = lambda n: round(n * math.pi * (LINK + LINE) / 2, 3)
    if segment["loop"]:
        found += [("turn", n, -turn(n)) for n in range(1, 3 - lying + 1)]
        if lying == 0:
            found.append(("larks_head", 0, -round(0.5 * (math.pi * (LINK + LINE) + (2 + math.pi / 2) * LINE), 3)))
    found += [("remove_loop", -n, turn(n)) for n in range(1, lying + 1)]
    if segment["parent"] is None:
        found.append(("small_link", 0, 8.0))
        found += [("larger_link", 0, mm) for mm in (5.0, 10.0, 15.0)]
    return found


def shares(lines):
    """Degrees of a side's incidence per millimetre on each of its lines."""
    dx, out = CHORDS["C"] - CHORDS["A"], [0.0] * len(lines)
    for row, sign in (("A", 1.0), ("C", -1.0)):
        of = [i for i, l in enumerate(lines) if l["row"] == row]
        spans = [lines[i]["span"] for i in of]
        weights = [0.0] * len(of)
        weights[0] += spans[0]
        weights[-1] += 1.0 - spans[-1]
        for k in range(len(of) - 1):
            for end in (k, k + 1):
                weights[end] += 0.5 * (spans[k + 1] - spans[k])
        for i, w in zip(of, weights):
            out[i] = sign * math.degrees(4 / math.pi * w / (ROOT_MM * dx))
    return out


def solve(w, aim, alike, target):
    segments, lines, dev = w["segments"], w["lines"], w["deviation_mm"]
    part, ki, ka = AIMS[aim]
    mean = sum(math.sqrt(1 - l["span"] ** 2) for l in lines) / len(lines)
    share = shares(lines)
    options = [steps(s) for s in segments]
    cost, at = [], {}
    for side in SIDES:
        for s, own in enumerate(options):
            if alike and side == "right":
                at[side, s] = at["left", s]
                continue
            at[side, s] = len(cost)
            level = sum(1 for _ in path(segments, s)) - 1
            one = part * PRICE * (1 + DEARER * level) * (2 if alike else 1)
            cost += [0.0] + [one] * (len(own) - 1)
    whole = len(cost)
    out, rows, low = [0.0] * whole, [], []
    for key in sorted(set(at.values())):
        s = next(s for (side, s), v in at.items() if v == key)
        rows.append([(key + o, 1.0) for o in range(len(options[s]))]); low.append(1.0)
    tilt = {"left": {}, "right": {}}
    base = {}
    for side in SIDES:
        base[side] = sum(a * (d - 0.0) for a, d in zip(share, dev[side]))
        for i, (line, d) in enumerate(zip(lines, dev[side])):
            way, ties = list(path(segments, line["segment"])), {}
            for combination in itertools.product(*[range(len(options[s])) for s in way]):
                after = d - target + sum(options[s][o][2] for s, o in zip(way, combination))
                for s, o in zip(way, combination):
                    ties.setdefault((s, o), []).append(len(cost))
                cost.append(math.sqrt(1 - line["span"] ** 2) / mean * (after / 10) ** 2)
                out.append(float(abs(after) > 10))
            for (s, o), ys in ties.items():
                rows.append([(y, 1.0) for y in ys] + [(at[side, s] + o, -1.0)]); low.append(0.0)
            for s in way:
                for o in range(1, len(options[s])):
                    key = at[side, s] + o
                    tilt[side][key] = tilt[side].get(key, 0.0) + share[i] * options[s][o][2]
    parts = len(cost)
    for price, (cl, cr) in ((ki, (0.5, 0.5)), (ka, (1.0, -1.0))):
        up, down = len(cost), len(cost) + 1
        cost += [price, price]; out += [0.0, 0.0]
        sums = {}
        for side, c in zip(SIDES, (cl, cr)):
            for key, v in tilt[side].items():
                sums[key] = sums.get(key, 0.0) + c * v
        rows.append(list(sums.items()) + [(up, -1.0), (down, 1.0)])
        low.append(-(cl * base["left"] + cr * base["right"]))
    n = len(cost)
    a = lil_matrix((len(rows), n))
    for r, row in enumerate(rows):
        for c, v in row:
            a[r, c] += v
    a = a.tocsr()
    low = np.array(low)
    integrality = np.r_[np.ones(whole), np.zeros(n - whole)]
    bounds = Bounds(0, np.r_[np.ones(parts), np.full(n - parts, np.inf)])
    settings = {"mip_rel_gap": 0.0}
    first = milp(out, constraints=LinearConstraint(a, low, low), integrality=integrality, bounds=bounds, options=settings)
    fewest = round(first.fun)
    held = LinearConstraint(np.array(out).reshape(1, -1), -np.inf, fewest + 0.5)
    second = milp(cost, constraints=[LinearConstraint(a, low, low), held], integrality=integrality, bounds=bounds, options=settings)
    assert first.status == 0 and second.status == 0, (first.message, second.message)
    actions = []
    for side in SIDES:
        for s, own in enumerate(options):
            for o in range(1, len(own)):
                if second.x[at[side, s] + o] > 0.5:
                    kind, turns, change = own[o]
                    actions.append({"side": side, "segment": s, "action": kind, "turns": turns, "change_mm": change})
    return {"aim": aim, "same_sides": alike, "target_mm": target, "outside": fewest, "cost": second.fun, "actions": actions}


wings = []
for seed in range(1, 9):
    w = wing(seed, 3, 3)
    every = sorted(w["deviation_mm"]["left"] + w["deviation_mm"]["right"])
    n = len(every)
    common = every[n // 2] if n % 2 else (every[n // 2 - 1] + every[n // 2]) / 2
    w["common_mm"] = common
    w["solved"] = [solve(w, aim, alike, 0.0 if aim == "table" else common) for aim in AIMS for alike in (False, True)]
    if seed <= 3:
        free = [solve(w, aim, False, float(t)) for aim in ("work", "trim") for t in range(-3, 4)]
        for aim in ("work", "trim"):
            best = min((f for f in free if f["aim"] == aim), key=lambda f: (f["outside"], f["cost"]))
            w["solved"].append({**best, "free": True})
    print(seed, [(f["aim"], f["same_sides"], f["outside"], round(f["cost"], 3), len(f["actions"])) for f in w["solved"]], file=sys.stderr, flush=True)
    wings.append(w)
json.dump({"solver": "scipy 1.17.1 milp (HiGHS)", "free_within_mm": 3, "wings": wings}, sys.stdout, separators=(",", ":"))
