"""The three aims, both sides alike and a free target, solved by a general mixed-integer solver as an outside referee.

Made in three steps (scipy 1.17.1, whose milp calls HiGHS):

    python aims.py wings                  writes aims.json: invented wings
    cargo test --no-default-features --test linedrift slow_degrees_of_the_referees_wings -- --ignored
                                          adds what a millimetre on each line does to incidence and asymmetry, by differences
    python aims.py solve                  adds the fewest lines outside, and the least cost with that number

Beside the programme of referee.py (a binary for each step at each segment, a share for each line and combination of steps on
its way down) a step that goes against what was done below it costs the price of a replacement on top, and what is left of
incidence and asymmetry has a price per degree. Both sides are one programme, since asymmetry ties them. Written from the
statement of the problem, without the crate.
"""
import itertools, json, math, pathlib, sys
import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import coo_matrix
from referee import DEARER, PRICE, path, steps, wing

FILE = pathlib.Path(__file__).with_name("aims.json")
REPLACE = 6.0
# price of actions, price of a degree of incidence, of asymmetry, whether the maker's lengths are the target
AIMS = {"work": (1.0, 0.0, 20.0, False), "trim": (0.5, 100.0, 100.0, False), "table": (0.5, 0.0, 20.0, True)}
FREE_MM = 8
WINGS = [(11, "AB", 2, 2, 3)]


def median(values):
    values, n = sorted(values), len(values)
    return values[n // 2] if n % 2 else (values[n // 2 - 1] + values[n // 2]) / 2


class Programme:
    def __init__(self):
        self.cost, self.out, self.whole, self.upper = [], [], [], []
        self.rows, self.low, self.high = [], [], []

    def variable(self, cost, whole=False, out=0.0, upper=1.0):
        self.cost.append(cost), self.out.append(out), self.whole.append(whole), self.upper.append(upper)
        return len(self.cost) - 1

    def row(self, terms, low, high):
        self.rows.append(terms), self.low.append(low), self.high.append(high)

    def run(self, objective, extra=None):
        rows, low, high = list(self.rows), list(self.low), list(self.high)
        if extra:
            rows.append(extra[0]), low.append(-np.inf), high.append(extra[1])
        at = [(r, c, v) for r, terms in enumerate(rows) for c, v in terms]
        r, c, v = zip(*at)
        a = coo_matrix((v, (r, c)), shape=(len(rows), len(self.cost))).tocsr()
        found = milp(objective, constraints=LinearConstraint(a, low, high), integrality=np.array(self.whole, int),
                     bounds=Bounds(0, self.upper), options={"mip_rel_gap": 1e-9})
        assert found.status == 0, found.message
        return found


def solve(w, aim, same, target):
    weight, per_incidence, per_asymmetry, _ = AIMS[aim]
    segments, lines, degrees = w["segments"], w["lines"], w["degrees"]
    options = [steps(s) for s in segments]
    height = [1 + DEARER * (sum(1 for _ in path(segments, s)) - 1) for s in range(len(segments))]
    mean = sum(math.sqrt(1 - l["span"] ** 2) for l in lines) / len(lines)
    p = Programme()
    moved = {"incidence": {}, "asymmetry": {}}

    def shares(way, of, x, undo):
        """A share for each combination of the steps on a way; the last of the way pays for going against those below."""
        rows = {}
        for combination in itertools.product(*[range(len(options[s])) for s in way]):
            own = options[way[0]][combination[0]]
            below = sum(options[s][o] for s, o in zip(way[1:], combination[1:]))
            against = undo * weight * REPLACE * height[way[0]] if own * below < -1e-9 else 0.0
            cost, out = of(own + below)
            share = p.variable(cost + against, out=out)
            for s, o in zip(way, combination):
                rows.setdefault((s, o), []).append((share, 1.0))
        for (s, o), ys in rows.items():
            p.row(ys + [(x[s][o], -1.0)], 0, 0)

    for group in ([("left", "right")] if same else [("left",), ("right",)]):
        x = []
        for s, own in enumerate(options):
            price = len(group) * weight * PRICE * height[s]
            x.append([p.variable(price if o else 0.0, whole=True) for o in range(len(own))])
            p.row([(one, 1.0) for one in x[s]], 1, 1)
        tops = {l["segment"] for l in lines}
        for s in range(len(segments)):
            if s not in tops and segments[s]["parent"] is not None:
                shares(list(path(segments, s)), lambda change: (0.0, 0.0), x, len(group))
        for side in group:
            for at, line in enumerate(lines):
                off = w["deviation_mm"][side][at] - target

                def of(change, off=off, line=line):
                    after = off + change
                    return math.sqrt(1 - line["span"] ** 2) / mean * (after / 10) ** 2, float(abs(after) > 10)

                way = list(path(segments, line["segment"]))
                shares(way, of, x, 1)
                for s in way:
                    for o, change in enumerate(options[s]):
                        for name in moved:
                            known = moved[name].setdefault(x[s][o], 0.0)
                            moved[name][x[s][o]] = known + degrees[name][side][at] * change
    for name, per in (("incidence", per_incidence), ("asymmetry", per_asymmetry)):
        if per:
            left = p.variable(per, upper=np.inf)
            terms = list(moved[name].items())
            p.row(terms + [(left, -1.0)], -np.inf, -degrees["as_read"][name])
            p.row([(v, -c) for v, c in terms] + [(left, -1.0)], -np.inf, degrees["as_read"][name])
    fewest = round(p.run(p.out).fun)
    held = [(v, 1.0) for v, out in enumerate(p.out) if out]
    found = p.run(p.cost, (held, fewest + 0.5) if held else None)
    return {"outside": fewest, "cost": float(found.fun)}


def solve_all(w):
    everything = w["deviation_mm"]["left"] + w["deviation_mm"]["right"]
    found = []
    for aim, (_, _, _, maker) in AIMS.items():
        for same in (False, True):
            best = solve(w, aim, same, 0.0 if maker else median(everything))
            found.append({"aim": aim, "sides": "same" if same else "separate", "target": "maker" if maker else "common", **best})
            print(w["seed"], found[-1], file=sys.stderr, flush=True)
    free = min((solve(w, "work", True, target) for target in range(-FREE_MM, FREE_MM + 1)), key=lambda one: (one["outside"], one["cost"]))
    found.append({"aim": "work", "sides": "same", "target": "free", **free})
    print(w["seed"], found[-1], file=sys.stderr, flush=True)
    return found


if sys.argv[1] == "wings":
    wings = [wing(*one) for one in WINGS]
else:
    wings = json.loads(FILE.read_text())["wings"]
    for w in wings:
        w["referee"] = solve_all(w)
FILE.write_text(json.dumps({"solver": "scipy 1.17.1 milp (HiGHS)", "free_mm": FREE_MM, "wings": wings}, separators=(",", ":")) + "\n")
