"""The columns of the wear model from the tables of a fleet, for libraries that know nothing of lines.

Only what the comparison needs: linear wear, no adjustments, load and temperature at their defaults. Anything else stops it.
"""

import csv
import re


def count(text):
    """18k, 1.83m or 18000 as a number of readings."""
    match = re.fullmatch(r"(\d+(?:\.\d+)?)([km]?)", text.lower())
    if not match:
        raise ValueError(f"{text} is no size: 18k, 1.83m")
    return float(match[1]) * {"": 1, "k": 1e3, "m": 1e6}[match[2]]


def column(term):
    """The name of a rate as a name that every formula language takes."""
    return term.replace(":", "_")


def table(folder, name):
    with open(folder / f"{name}.csv", newline="", encoding="utf-8") as file:
        yield from csv.DictReader(file)


def exposures(folder, models):
    """For each model and line: its nominal length and its metres by rate column (material and row)."""
    segments = {(row["model"], row["segment"]): row for row in table(folder, "segments")}
    lines = {}
    for line in table(folder, "lines"):
        model, name = line["model"], line["line"]
        if model not in models:
            continue
        metres, segment = {}, name
        while segment:
            piece = segments[model, segment]
            rate = column(f"rate:{piece['material']}:{line['row']}")
            metres[rate] = metres.get(rate, 0.0) + float(piece["length_mm"]) / 1000
            segment = piece["parent"]
        lines[model, name] = float(line["nominal_mm"]), metres
    return lines


def checks_of(folder, models):
    checks = {}
    for check in table(folder, "checks"):
        plain = float(check["load_n"] or 50) == 50 and float(check["temperature_c"] or 20) == 20
        if check["stage"] != "as_found" or not plain:
            raise SystemExit(f"check {check['check']} is adjusted, or read at another load or temperature")
        checks[check["check"]] = check["wing"], models[check["wing"]], float(check["hours"]) / 100, float(check["datum_mm"])
    return checks


def write(folder, out):
    """Writes the columns as CSV; the formula in lme4's notation, and how much there is of what."""
    if (folder / "actions.csv").exists():
        raise SystemExit(f"{folder} has adjustments: the comparison is for fleets without")
    models = {wing["wing"]: wing["model"] for wing in table(folder, "wings")}
    lines = exposures(folder, set(models.values()))
    checks = checks_of(folder, models)
    rates = sorted({rate for _, metres in lines.values() for rate in metres})
    place = {rate: index for index, rate in enumerate(rates)}
    seen, readings = set(), 0
    with open(out, "w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(["d", "length_g", *rates, "wing", "check", "line"])
        for reading in table(folder, "readings"):
            wing, model, g, datum_mm = checks[reading["check"]]
            nominal_mm, metres = lines[model, reading["line"]]
            # The tables hold tenths of a millimetre at most; rounding takes off what subtracting floats adds.
            d = round(float(reading["reading_mm"]) - datum_mm - nominal_mm, 6)
            values = [0.0] * len(rates)
            for rate, length_m in metres.items():
                values[place[rate]] = length_m * g
            line = f"{wing}:{reading['side']}:{reading['line']}"
            writer.writerow([d, sum(metres.values()) * g, *values, wing, reading["check"], line])
            seen.add(line)
            readings += 1
    formula = " + ".join(["d ~ 1", *rates, "(1 + length_g | wing)", "(1 | check)", "(1 | line)"])
    return formula, {"readings": readings, "wings": len(models), "checks": len(checks), "lines": len(seen)}
