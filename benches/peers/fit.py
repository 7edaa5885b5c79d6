"""One fit by a Python library, in a process of its own: `fit.py PEER COLUMNS.csv FORMULA`; called by run.py.

Prints one line of JSON: version, seconds of the fit, peak memory since its start, REML criterion, rates.
"""

import importlib.metadata
import json
import math
import platform
import sys
import time
import warnings

GROUPS = ["wing", "check", "line"]


def memory_mib():
    with open("/proc/self/status", encoding="ascii") as status:
        return next(int(line.split()[1]) for line in status if line.startswith("VmHWM")) / 1024


def timed(package, fit):
    """Runs `fit`, with the peak of memory set back to what is held now."""
    with open("/proc/self/clear_refs", "w", encoding="ascii") as peak:
        peak.write("5")
    wall, cpu = time.perf_counter(), time.process_time()
    made = fit()
    result = {"wall_s": time.perf_counter() - wall, "cpu_s": time.process_time() - cpu, "memory_mib": memory_mib()}
    version = f"{package} {importlib.metadata.version(package)} (Python {platform.python_version()})"
    return made, result | {"version": version}


def glmm(columns, formula):
    """A slope that differs by wing must be among its fixed terms here. The rates' columns add up to `length_g`, so that it can
    stand in for the first of them: the same model and criterion (the change of columns has determinant 1), and each other
    coefficient is then that rate less the first."""
    import glmm
    import pandas

    data = pandas.read_csv(columns, dtype={name: "category" for name in GROUPS})
    first, *others = [name for name in data.columns if name.startswith("rate_")]
    swapped = formula.replace(f"+ {first} +", "+ length_g +", 1)
    # No degrees of freedom, and standard errors at the spreads found: what linedrift gives as well.
    made, result = timed("glmm", lambda: glmm.fit(data, swapped, satterthwaite=False, wald_se="rx", anova_test="Wald"))
    note = "" if made.converged else "says that it did not converge"
    beta = dict(zip(made.names, map(float, made.beta)))
    rates = {first: beta["length_g"]} | {name: beta["length_g"] + beta[name] for name in others}
    return result | {"criterion": -2 * float(made.loglik), "rates": rates, "note": note}


def lme_python(columns, formula):
    import lme_python
    import polars

    data = polars.read_csv(columns, schema_overrides={name: polars.String for name in GROUPS})
    made, result = timed("lme-python", lambda: lme_python.lmer(formula, data=data, reml=True))
    note = "" if made.converged else "says that it did not converge"
    names = zip(made.fixed_names, made.coefficients)
    return result | {"criterion": made.reml_criterion, "rates": dict(names), "note": note}


def statsmodels(columns, formula):
    """Checks and lines are crossed, but only within wings: variance components of the group `wing` can say that."""
    import pandas
    import statsmodels.formula.api as api

    data = pandas.read_csv(columns, dtype={name: str for name in GROUPS})
    fixed = formula.split(" + (", 1)[0]
    parts = {"check": "0 + C(check)", "line": "0 + C(line)"}

    def fit():
        model = api.mixedlm(fixed, data, groups="wing", re_formula="1 + length_g", vc_formula=parts)
        return model.fit(reml=True)

    made, result = timed("statsmodels", fit)
    note = "" if made.converged else "says that it did not converge"
    rates = {name: float(value) for name, value in made.fe_params.items()}
    return result | {"criterion": -2 * float(made.llf), "rates": rates, "note": note}


def main():
    peer, columns, formula = sys.argv[1:]
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        result = {"glmm": glmm, "lme-python": lme_python, "statsmodels": statsmodels}[peer](columns, formula)
    if not math.isfinite(result["criterion"]):
        sys.exit("gave no criterion")
    print(json.dumps(result))


if __name__ == "__main__":
    main()
