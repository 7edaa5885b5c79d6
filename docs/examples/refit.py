"""Fits the wear model again from the tables that `linedrift wear FLEET --shape linear --out DIR --export` writes, with nothing but
numpy and scipy: the restricted likelihood of the marginal covariance, wing by wing, maximised from a neutral start.

    python refit.py DIR

For the plain model (wing offset and rate, check, line) on lines that were never adjusted, one reading each.
"""
import csv
import sys
from collections import defaultdict
from pathlib import Path

import numpy as np
from scipy.linalg import cho_factor, cho_solve
from scipy.optimize import minimize


def table(folder: Path, name: str) -> list[dict[str, str]]:
    with open(folder / f"wear_{name}.csv", newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def main(folder: Path) -> int:
    frame, design, terms, spread = (table(folder, name) for name in ("frame", "design", "terms", "spread"))
    if any(row["restart"] != "0" or row["readings"] != "1" for row in frame):
        print("this script takes single readings of lines that were never adjusted")
        return 2
    place = {row["term"]: k for k, row in enumerate(terms)}
    x = np.zeros((len(frame), len(terms)))
    for row in design:
        x[int(row["frame_row"]), place[row["term"]]] = float(row["value"])
    y = np.array([float(row["deviation_mm"]) for row in frame])
    length_g = np.array([float(row["length_g_m"]) for row in frame])
    by_wing = defaultdict(list)
    for k, row in enumerate(frame):
        by_wing[row["wing"]].append(k)

    def alike(rows: list[int], key) -> np.ndarray:
        names = [key(frame[k]) for k in rows]
        return np.equal.outer(names, names).astype(float) if names else np.zeros((0, 0))

    blocks = []
    for rows in by_wing.values():
        z = np.column_stack([np.ones(len(rows)), length_g[rows]])
        same_check = alike(rows, lambda row: row["check"])
        same_line = alike(rows, lambda row: row["side"] + row["line"])
        blocks.append((z, same_check, same_line, x[rows], y[rows]))

    n, p = x.shape

    def solve(theta: np.ndarray):
        """Criterion with the scale profiled out, coefficients and their covariance."""
        line, check, a, b, c = theta
        factor = np.array([[a, 0.0], [b, c]])
        xx, xy, yy, log_det = np.zeros((p, p)), np.zeros(p), 0.0, 0.0
        for z, same_check, same_line, xs, ys in blocks:
            root = z @ factor
            v = np.eye(len(ys)) + check**2 * same_check + line**2 * same_line + root @ root.T
            chol = cho_factor(v, lower=True)
            log_det += 2.0 * np.log(np.diag(chol[0])).sum()
            vx, vy = cho_solve(chol, xs), cho_solve(chol, ys)
            xx += xs.T @ vx
            xy += xs.T @ vy
            yy += ys @ vy
        beta = np.linalg.solve(xx, xy)
        rest = yy - beta @ xy
        criterion = log_det + np.linalg.slogdet(xx)[1] + (n - p) * (1.0 + np.log(2.0 * np.pi * rest / (n - p)))
        return criterion, beta, np.linalg.inv(xx) * rest / (n - p), np.sqrt(rest / (n - p))

    scale = 1.0 / np.sqrt(np.mean(length_g**2))
    start = np.array([1.0, 1.0, 1.0, 0.0, scale])
    found = minimize(lambda t: solve(t)[0], start, method="L-BFGS-B", options={"ftol": 1e-13, "gtol": 1e-6, "maxiter": 200})
    criterion, beta, covariance, sigma = solve(found.x)
    se = np.sqrt(np.diag(covariance))
    ours = np.array([float(row["estimate"]) for row in terms])
    ours_se = np.array([float(row["se"]) for row in terms])
    for row, theirs, error in zip(terms, beta, se):
        print(f"{row['term']:<24} {float(row['estimate']):>12.6f} {theirs:>12.6f} {float(row['se']):>10.6f} {error:>10.6f}")
    reading = next(float(row["sd"]) for row in spread if row["group"] == "reading")
    worst, worst_se = np.max(np.abs(ours - beta) / se), np.max(np.abs(ours_se / se - 1.0))
    print(f"criterion {criterion:.6f}; largest difference: estimates {worst:.1e} se, standard errors {worst_se:.1e}, "
          f"reading spread {abs(reading / sigma - 1.0):.1e}")
    return int(worst > 5e-3 or worst_se > 5e-3 or abs(reading / sigma - 1.0) > 2e-3)


if __name__ == "__main__":
    sys.exit(main(Path(sys.argv[1])))
