"""Full-size wings solved by a general mixed-integer solver, as an outside referee for the search.

Run with any recent scipy (made with 1.17.1, whose milp calls HiGHS):  python referee.py > referee.json

Each wing is invented from a seeded generator. A binary x[s,o] says which step is taken at segment s. The cost of a line is
not linear in the corrections on its path, so for every line and every combination of steps along its path a share
y[l,combination] carries the cost, tied to x by sum over the combinations with step o at s = x[s,o]. With x whole, y is.
First the number of lines outside is minimised, then, with that number held, the cost. Written from the statement of the
problem, without the crate.
"""
import itertools, json, math, random, sys
import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import lil_matrix

PRICE, DEARER, LINK, LINE = 2.0, 0.25, 5.17, 1.1
TURN = round(math.pi * (LINK + LINE) / 2, 3)


def wing(seed, rows, mains, middles, uppers):
    rng = random.Random(seed)
    segments, lines = [], []
    for row in rows:
        rank, count = 0, mains * middles * uppers
        for m in range(mains):
            main = len(segments)
            segments.append({"name": f"{row}m{m}", "parent": None, "loop": rng.random() < 0.8, "turns": rng.randint(0, 2)})
            for k in range(middles):
                middle = len(segments)
                segments.append({"name": f"{row}m{m}n{k}", "parent": main, "loop": rng.random() < 0.6, "turns": rng.randint(0, 1)})
                for _ in range(uppers):
                    rank += 1
                    segments.append({"name": f"{row}{rank}", "parent": middle, "loop": rng.random() < 0.5, "turns": rng.randint(0, 1)})
                    lines.append({"name": f"{row}{rank}", "row": row, "segment": len(segments) - 1, "span": round(0.95 * (rank - 0.5) / count, 4)})
    sides = {}
    for side in ("left", "right"):
        off = {s: rng.gauss(0, 6 if segments[s]["parent"] is None else 4) for s in range(len(segments))}
        sides[side] = [round(sum(off[s] for s in path(segments, l["segment"])) + rng.gauss(0, 3)) for l in lines]
    return {"seed": seed, "segments": segments, "lines": lines, "deviation_mm": sides}


def path(segments, s):
    while s is not None:
        yield s
        s = segments[s]["parent"]


def steps(segment):
    """Turns up to three on the link, a lark's head on a bare link, turns taken out, a small link at the riser."""
    found, lying = [0.0], segment["turns"]
    if segment["loop"]:
        found += [-round(n * math.pi * (LINK + LINE) / 2, 3) for n in range(1, 3 - lying + 1)]
        if lying == 0:
            found.append(-round(0.5 * (math.pi * (LINK + LINE) + (2 + math.pi / 2) * LINE), 3))
    found += [round(n * math.pi * (LINK + LINE) / 2, 3) for n in range(1, lying + 1)]
    if segment["parent"] is None:
        found.append(8.0)
    return found


def solve(w):
    segments, lines = w["segments"], w["lines"]
    everything = sorted(w["deviation_mm"]["left"] + w["deviation_mm"]["right"])
    n = len(everything)
    common = everything[n // 2] if n % 2 else (everything[n // 2 - 1] + everything[n // 2]) / 2
    mean = sum(math.sqrt(1 - l["span"] ** 2) for l in lines) / len(lines)
    outside = cost = variables = 0
    for side in ("left", "right"):
        o, c, v = solve_side(segments, lines, w["deviation_mm"][side], common, mean)
        outside, cost, variables = outside + o, cost + c, variables + v
    return {"common_mm": common, "outside": outside, "cost": cost, "variables": variables}


def solve_side(segments, lines, deviations, common, mean):
    options = [steps(s) for s in segments]
    x0, cost, out = [], [], []
    for s, own in enumerate(options):
        x0.append(len(cost))
        level = sum(1 for _ in path(segments, s)) - 1
        cost += [0.0] + [PRICE * (1 + DEARER * level)] * (len(own) - 1)
    whole = len(cost)
    out = [0.0] * whole
    ties = []
    for line, d in zip(lines, deviations):
        way = list(path(segments, line["segment"]))
        first, rows = len(cost), {}
        for combination in itertools.product(*[range(len(options[s])) for s in way]):
            after = d - common + sum(options[s][o] for s, o in zip(way, combination))
            for s, o in zip(way, combination):
                rows.setdefault((s, o), []).append(len(cost))
            cost.append(math.sqrt(1 - line["span"] ** 2) / mean * (after / 10) ** 2)
            out.append(float(abs(after) > 10))
        ties += [(x0[s] + o, ys) for (s, o), ys in rows.items()]
    count = len(cost)
    a = lil_matrix((len(segments) + len(ties), count))
    right = np.zeros(len(segments) + len(ties))
    for s, own in enumerate(options):
        a[s, x0[s]:x0[s] + len(own)] = 1
        right[s] = 1
    for r, (x, ys) in enumerate(ties):
        a[len(segments) + r, x] = -1
        for y in ys:
            a[len(segments) + r, y] = 1
    a = a.tocsr()
    integrality = np.r_[np.ones(whole), np.zeros(count - whole)]
    settings = {"mip_rel_gap": 0.0}
    first = milp(out, constraints=LinearConstraint(a, right, right), integrality=integrality, bounds=Bounds(0, 1), options=settings)
    fewest = round(first.fun)
    held = LinearConstraint(np.array(out).reshape(1, -1), -np.inf, fewest + 0.5)
    second = milp(cost, constraints=[LinearConstraint(a, right, right), held], integrality=integrality, bounds=Bounds(0, 1), options=settings)
    assert first.status == 0 and second.status == 0, (first.message, second.message)
    taken = second.x[:whole] > 0.5
    actions = sum(float(c) for c, t in zip(cost, taken) if t)
    share = np.asarray(second.x[whole:])
    assert np.all((share < 1e-6) | (share > 1 - 1e-6))
    full = actions + sum(c for c, y in zip(cost[whole:], share) if y > 0.5)
    return fewest, full, count


if __name__ == "__main__":
    wings = []
    for seed, rows, mains, middles, uppers in [(1, "ABC", 3, 2, 3), (2, "AB", 4, 3, 4), (3, "ABCD", 3, 3, 4), (4, "ABC", 5, 3, 4), (5, "ABCD", 4, 3, 3)]:
        w = wing(seed, rows, mains, middles, uppers)
        w["referee"] = solve(w)
        print(seed, len(w["lines"]), w["referee"], file=sys.stderr)
        wings.append(w)
    json.dump({"solver": "scipy 1.17.1 milp (HiGHS)", "wings": wings}, sys.stdout, separators=(",", ":"))
