#!/usr/bin/env python3
"""Writes the spreadsheets of this folder, and manifest.json with the answer that must come of each.

Everything is invented: a wing of an invented model in an invented club's loft. The libraries are openpyxl, pandas with odfpy, and
xlwt; with `soffice` on the path, some files are converted by a real office suite. Run:

    python3 -m venv /tmp/venv && /tmp/venv/bin/pip install openpyxl pandas odfpy xlwt msoffcrypto-tool
    /tmp/venv/bin/python tests/data/spreadsheets/make.py

The files are kept: a test reads them, and this script only says how they came to be.
"""

import csv
import datetime
import io
import json
import os
import shutil
import subprocess
import zipfile

import openpyxl
import pandas
import xlwt

HERE = os.path.dirname(os.path.abspath(__file__))
manifest = []

# the truth: 8 lines in A, B and C, 2 stabilos, 4 brakes a side; readings in mm
ROWS = [("A", 8, 6700, 0), ("B", 8, 6640, -1), ("C", 8, 6720, -7), ("S", 2, 6000, -2), ("K", 4, 7100, -9)]


def lines():
    out = []
    for letter, count, first, off in ROWS:
        for n in range(1, count + 1):
            nominal = first - 35 * (n - 1) - 4 * (n - 1) ** 2
            left = nominal + off + [1, 0, -1, 2][(n + len(out)) % 4]
            right = nominal + off + [0, 1, 1, -1][(n + len(out)) % 4]
            main = f"{letter}M{(n + 2) // 3}"
            out.append(dict(name=f"{letter}{n}", letter=letter, n=n, nominal=nominal, left=left, right=right, main=main))
    return out


LINES = lines()
ROWNAMES = {"A": "A", "B": "B", "C": "C", "S": "stabilo", "K": "brake"}
COUNTS = {"A": 16, "B": 16, "C": 16, "stabilo": 4, "brake": 8}


def truth(**more):
    """What must come of a file that holds the wing whole."""
    want = dict(lines=60, rows=COUNTS, readings=60, unit="mm", readings_mm=[[l["name"], l["left"], l["right"]] for l in LINES])
    want.update(more)
    return want


def note(name, form, want, args=None):
    entry = dict(file=name, form=form, args=args or [])
    entry.update(want)
    manifest.append(entry)


def grid_wide(header, rows=None, of=lambda l: [l["name"], l["nominal"], l["left"], l["right"]]):
    return [header] + [of(l) for l in (rows or LINES)]


def path(name):
    return os.path.join(HERE, name)


def xlsx(name, grids, merges=(), tweak=None):
    book = openpyxl.Workbook()
    book.remove(book.active)
    for title, grid in grids.items():
        sheet = book.create_sheet(title)
        for row in grid:
            sheet.append(row)
        for merge in merges:
            sheet.merge_cells(merge)
    if tweak:
        tweak(book)
    book.save(path(name))


def text(name, grid, mark=",", encoding="utf-8", bom=b"", end="\n"):
    out = io.StringIO()
    csv.writer(out, delimiter=mark, lineterminator=end).writerows(grid)
    with open(path(name), "wb") as file:
        file.write(bom + out.getvalue().encode(encoding))


def ods(name, grid):
    pandas.DataFrame(grid).to_excel(path(name), engine="odf", header=False, index=False)


def xls(name, grid):
    book = xlwt.Workbook()
    sheet = book.add_sheet("Check")
    for r, row in enumerate(grid):
        for c, cell in enumerate(row):
            if cell is not None:
                sheet.write(r, c, cell)
    book.save(path(name))


def convert(source, ending, name):
    """By a real office suite, where there is one; the file that is there stays otherwise."""
    if shutil.which("soffice") is None:
        print("no soffice: kept", name)
        return
    subprocess.run(["soffice", "--headless", "--convert-to", ending, "--outdir", "/tmp/mile-convert", path(source)],
                   check=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    stem = os.path.splitext(os.path.basename(source))[0]
    shutil.move(f"/tmp/mile-convert/{stem}.{ending.split(':')[0]}", path(name))


def comma(mm, unit=10):
    value = mm / unit
    return f"{value:.1f}".replace(".", ",") if unit == 10 else f"{value:.3f}".replace(".", ",")


# --- left and right side by side -------------------------------------------------------------------------------------

xlsx("wide-plain.xlsx", {"Sheet1": grid_wide(["Line", "Nominal [mm]", "Left", "Right"])})
note("wide-plain.xlsx", "left and right side by side", truth())

xlsx("wide-title-totals.xlsx", {"Check": [["Line check, wing 17"], ["Date", datetime.date(2026, 3, 14)], ["Hours", 62.5], ["Datum", -30], [],
     ["Line", "Row", "Nominal [mm]", "Left [mm]", "Right [mm]", "Remarks"]]
     + [[l["name"], ROWNAMES[l["letter"]], l["nominal"], l["left"] - 30, l["right"] - 30, "frayed" if l["name"] == "B2" else None] for l in LINES]
     + [[], ["Total", None, sum(l["nominal"] for l in LINES), sum(l["left"] for l in LINES), sum(l["right"] for l in LINES)]]})
note("wide-title-totals.xlsx", "title rows, date, hours and datum above, totals below",
     truth(date="2026-03-14", hours=62.5, datum_mm=-30, readings_mm=[[l["name"], l["left"] - 30, l["right"] - 30] for l in LINES]))

text("wide-german.csv", [["Leine", "Ebene", "Soll (cm)", "Ist links", "Ist rechts"]]
     + [[l["name"], l["letter"] if l["letter"] in "ABC" else {"S": "Stabilo", "K": "Bremse"}[l["letter"]], comma(l["nominal"]), comma(l["left"]), comma(l["right"])] for l in LINES],
     mark=";")
note("wide-german.csv", "German headings, decimal commas, semicolons, cm", truth(unit="cm"))

text("wide-german-latin1.csv", [["Prüfdatum", "1. März 2026"], ["Flugstunden", "62,5"], [], ["Länge in cm", "", "", ""], ["Leine", "Sollmaß", "links", "rechts"]]
     + [[l["name"], comma(l["nominal"]), comma(l["left"]), comma(l["right"])] for l in LINES], mark=";", encoding="latin-1")
note("wide-german-latin1.csv", "German, Latin-1, date by name, hours with comma", truth(unit="cm", date="2026-03-01", hours=62.5))

text("wide-french.csv", [["Suspente", "Cote théorique", "Mesure gauche", "Mesure droite", "Écart gauche", "Écart droite"]]
     + [[l["name"], comma(l["nominal"], 1000), comma(l["left"], 1000), comma(l["right"], 1000), l["left"] - l["nominal"], l["right"] - l["nominal"]] for l in LINES],
     mark="\t", encoding="utf-16")
note("wide-french.csv", "French headings, tabs, UTF-16, metres, deviations beside", truth(unit="m"))

text("wide-spanish.csv", [["Línea", "Longitud nominal (mm)", "Izquierda", "Derecha"]] + [[l["name"], l["nominal"], l["left"], l["right"]] for l in LINES],
     bom=b"\xef\xbb\xbf", end="\r\n")
note("wide-spanish.csv", "Spanish headings, byte-order mark, Windows line ends", truth())

text("wide-italian.csv", [["Cordino", "Lunghezza nominale", "SX", "DX"]] + [[l["name"], l["nominal"], l["left"], l["right"]] for l in LINES], mark=";")
note("wide-italian.csv", "Italian headings", truth())

xlsx("wide-french-gd.xlsx", {"Feuille1": grid_wide(["Suspente", "Longueur constructeur", "G", "D"])})
note("wide-french-gd.xlsx", "French with G and D for the sides", truth())

xlsx("wide-thin-spaces.xlsx", {"Check": [["Line", "Maker", "L", "R"]]
     + [[l["name"], f"{l['nominal'] // 1000}\u202f{l['nominal'] % 1000:03d}", f"{l['left'] // 1000}\u2009{l['left'] % 1000:03d}", f"{l['right'] // 1000}\u00a0{l['right'] % 1000:03d}"] for l in LINES]})
note("wide-thin-spaces.xlsx", "lengths as text with thin spaces", truth())

xlsx("wide-units-in-cells.xlsx", {"Check": [["Line", "Nominal", "Left", "Right"]]
     + [[l["name"], f"{l['nominal'] / 10:.1f} cm", f"{l['left']} mm", f"{l['right']} mm"] for l in LINES]})
note("wide-units-in-cells.xlsx", "a unit in every cell, two of them", truth())

xlsx("wide-two-units.xlsx", {"Check": [["Line", "Nominal [m]", "Left [mm]", "Right [mm]"]]
     + [[l["name"], l["nominal"] / 1000, l["left"], l["right"]] for l in LINES]})
note("wide-two-units.xlsx", "nominal in m, readings in mm, by headings", truth())

xlsx("wide-metres-by-size.xlsx", {"Check": grid_wide(["Line", "Nominal", "Left", "Right"], of=lambda l: [l["name"], l["nominal"] / 1000, l["left"] / 1000, l["right"] / 1000])})
note("wide-metres-by-size.xlsx", "metres, seen by size", truth(unit="m"))

xlsx("wide-dashes.xlsx", {"Check": grid_wide(["Line", "Nominal", "Left", "Right"],
     of=lambda l: [l["name"], l["nominal"], "–" if l["name"] == "A3" else l["left"], {"B4": "-", "K2": "n/a", "C1": 0}.get(l["name"], l["right"])])})
note("wide-dashes.xlsx", "dashes, n/a and a nought for missing", truth(readings=56,
     readings_mm=[[l["name"], None if l["name"] == "A3" else l["left"], None if l["name"] in ("B4", "K2", "C1") else l["right"]] for l in LINES]))

xlsx("wide-blank-columns.xlsx", {"Check": [[None, None, "Line", None, "Nominal", None, "Left", None, "Right"]]
     + [row for l in LINES for row in ([[None, None, l["name"], None, l["nominal"], None, l["left"], None, l["right"]]] + ([[None]] if l["n"] == 4 else []))]})
note("wide-blank-columns.xlsx", "blank rows and columns", truth())

xlsx("wide-merged-groups.xlsx", {"Check": [[None, "Lengths in mm", None, None], ["Line", "Maker", "Measured", None], [None, None, "Left", "Right"]]
     + [[l["name"], l["nominal"], l["left"], l["right"]] for l in LINES]}, merges=["A2:A3", "B2:B3", "C2:D2"])
note("wide-merged-groups.xlsx", "merged headers over two rows", truth())


def formulas(book):
    sheet = book.active
    for r in range(2, len(LINES) + 2):
        sheet.cell(r, 5).value = f"=C{r}-B{r}"


xlsx("formulas-unworked.xlsx", {"Check": grid_wide(["Line", "Nominal", "Left", "Right", "Diff"])}, tweak=formulas)
note("formulas-unworked.xlsx", "formulas without values in a column that is not needed", truth())


def summed(book):
    sheet = book.active
    for r, l in enumerate(LINES, start=2):
        sheet.cell(r, 3).value = f"=B{r}+{l['left'] - l['nominal']}"


xlsx("formula-reading.xlsx", {"Check": grid_wide(["Line", "Nominal", "Left", "Right"])}, tweak=summed)
note("formula-reading.xlsx", "readings by formulas that were never worked out", dict(error="cells", says="save it, so that its formulas"))
convert("formula-reading.xlsx", "ods", "formula-reading.ods")
note("formula-reading.ods", "the same, worked out by an office suite", truth())

xls("wide.xls", grid_wide(["Line", "Nominal [mm]", "Left", "Right"]))
note("wide.xls", "an old .xls", truth())
ods("wide.ods", grid_wide(["Leine", "Soll", "links", "rechts"]))
note("wide.ods", "OpenDocument", truth())
convert("wide-title-totals.xlsx", "xls", "wide-title-totals.xls")
note("wide-title-totals.xls", "converted to .xls by an office suite",
     truth(date="2026-03-14", hours=62.5, datum_mm=-30, readings_mm=[[l["name"], l["left"] - 30, l["right"] - 30] for l in LINES]))
convert("wide-merged-groups.xlsx", "ods", "wide-merged-groups.ods")
note("wide-merged-groups.ods", "merged headers, converted to .ods", truth())

# --- long form ---------------------------------------------------------------------------------------------------------

LONG = [(side, l) for side in ("left", "right") for l in LINES]
text("long.csv", [["side", "line", "nominal_mm", "reading_mm"]] + [[s, l["name"], l["nominal"], l[s]] for s, l in LONG])
note("long.csv", "a row per side and line", truth())

xlsx("long-german.xlsx", {"Messung": [["Seite", "Leine", "Sollmaß [mm]", "Messwert [mm]"]]
     + [["L" if s == "left" else "R", l["name"], l["nominal"], l[s]] for s, l in LONG]})
note("long-german.xlsx", "long form in German, L and R", truth())

xlsx("long-merged.xlsx", {"Check": [["Line", "Side", "Nominal", "Measured"]]
     + [row for l in LINES for row in ([[l["name"], "left", l["nominal"], l["left"]], [None, "right", l["nominal"], l["right"]]])]},
     merges=[f"A{2 * i + 2}:A{2 * i + 3}" for i in range(len(LINES))])
note("long-merged.xlsx", "long form with names merged over both sides", truth())

text("long-repeats.csv", [["side", "line", "nominal", "reading", "repeat", "operator"]]
     + [[s, l["name"], l["nominal"], l[s] + (i - 1), i, "Ann"] for s, l in LONG for i in (1, 2)])
note("long-repeats.csv", "each line read twice", truth(readings=120, readings_mm=[[l["name"], l["left"], l["right"]] for l in LINES]))

text("side-in-name.csv", [["Line", "Nominal [mm]", "Measured [mm]"]]
     + [[f"{l['name']}{'L' if s == 'left' else 'R'}", l["nominal"], l[s]] for l in LINES for s in ("left", "right")])
note("side-in-name.csv", "the side in the line's name", truth())

# --- a block or a column for each row of lines -------------------------------------------------------------------------

BLOCKS = ["A", "B", "C", "S", "K"]
TITLES = {"A": "A lines", "B": "B lines", "C": "C lines", "S": "Stabilo", "K": "Brakes"}
header, titles, body = [], [], [[] for _ in range(8)]
for letter in BLOCKS:
    own = [l for l in LINES if l["letter"] == letter]
    titles += [TITLES[letter], None, None, None, None]
    header += ["Line", "Nominal", "Left", "Right", None]
    for at in range(8):
        l = own[at] if at < len(own) else None
        body[at] += [l["name"], l["nominal"], l["left"], l["right"], None] if l else [None] * 5
xlsx("blocks-beside.xlsx", {"Check": [["Line lengths in mm"], [], titles, header] + body})
note("blocks-beside.xlsx", "a block for each row of lines, beside each other", truth())
text("blocks-beside.csv", [["" if c is None else c for c in row] for row in [titles, header] + body], mark=";")
note("blocks-beside.csv", "the same as text", truth())

stacked = []
for letter in BLOCKS:
    stacked += [[TITLES[letter]], ["No", "Nominal", "Left", "Right"]]
    stacked += [[l["n"], l["nominal"], l["left"], l["right"]] for l in LINES if l["letter"] == letter] + [[]]
xlsx("blocks-below.xlsx", {"Check": stacked})
note("blocks-below.xlsx", "a block for each row of lines, below each other, lines by number", truth())

sections = [["Leine", "Soll", "Links", "Rechts"]]
for letter, title in zip(BLOCKS, ["A-Ebene", "B-Ebene", "C-Ebene", "Stabilo", "Bremse"]):
    sections += [[title]] + [[l["n"], l["nominal"], l["left"], l["right"]] for l in LINES if l["letter"] == letter]
xlsx("sections.xlsx", {"Messung": sections})
note("sections.xlsx", "one header, a title line before each row of lines", truth())


def matrix(kind):
    rows = []
    for n in range(1, 9):
        row = [n]
        for letter in BLOCKS:
            own = [l for l in LINES if l["letter"] == letter and l["n"] == n]
            row.append(own[0][kind] if own else None)
        rows.append(row)
    return rows


stack = []
for title, kind in (("Nominal [mm]", "nominal"), ("Left", "left"), ("Right", "right")):
    stack += [[title], ["No", "A", "B", "C", "Stabilo", "Brake"]] + matrix(kind) + [[]]
xlsx("matrix-below.xlsx", {"Check": stack})
note("matrix-below.xlsx", "a column for each row of lines, three blocks below each other", truth())

beside = [[None, "Soll", None, None, None, None, "Links", None, None, None, None, "Rechts"], ["Nr"] + ["A", "B", "C", "Stab", "Br"] * 3]
beside += [a + b[1:] + c[1:] for a, b, c in zip(matrix("nominal"), matrix("left"), matrix("right"))]
xlsx("matrix-beside.xlsx", {"Check": beside}, merges=["B1:F1", "G1:K1", "L1:P1"])
note("matrix-beside.xlsx", "a column for each row of lines, three groups beside each other, merged", truth())

head = ["No", "A", "B", "C", "S", "K"]
xlsx("matrix-sheets.xlsx", {"Nominal": [head] + matrix("nominal"), "Left": [head] + matrix("left"), "Right": [head] + matrix("right")})
note("matrix-sheets.xlsx", "a column for each row of lines, a sheet for each side", truth())

xlsx("matrix-no-numbers.xlsx", {"Check": [r[1:] if len(r) > 1 else r for r in stack]})
note("matrix-no-numbers.xlsx", "the same without numbers in front", truth())

# --- nominal elsewhere -------------------------------------------------------------------------------------------------

xlsx("two-blocks.xlsx", {"Check": [["Line", "Maker's length"]] + [[l["name"], l["nominal"]] for l in LINES] + [[], ["Line", "Left", "Right"]] + [[l["name"], l["left"], l["right"]] for l in LINES]})
note("two-blocks.xlsx", "nominal and measured in two tables", truth())

xlsx("two-sheets.xlsx", {"Soll": [["Leine", "Länge [mm]"]] + [[l["name"], l["nominal"]] for l in LINES],
                         "Messung": [["Leine", "links", "rechts"]] + [[l["name"], l["left"], l["right"]] for l in LINES]})
note("two-sheets.xlsx", "nominal and measured on two sheets", truth())

text("nominal.csv", [["Line", "Length [mm]"]] + [[l["name"], l["nominal"]] for l in LINES])
text("readings-only.csv", [["Line", "Left", "Right"]] + [[l["name"].lower(), l["left"], l["right"]] for l in LINES])
note("readings-only.csv", "nominal in another file", truth(), args=["--nominal", "nominal.csv"])
note("readings-only.csv", "no nominal anywhere", dict(error="question", says="no column with the maker's lengths"))

xlsx("own-headings.xlsx", {"Check": grid_wide(["Strang", "Katalog", "Backbord", "Steuerbord"])})
note("own-headings.xlsx", "headings of one's own, mapped by hand", truth(),
     args=["--columns", "line=Strang,nominal=Katalog,left=Backbord,right=Steuerbord"])
note("own-headings.xlsx", "headings of one's own, not mapped", dict(error="question", says="--columns"))

xlsx("deviations.xlsx", {"Check": [["Line", "Nominal [mm]", "Left deviation", "Right deviation"]] + [[l["name"], l["nominal"], l["left"] - l["nominal"], l["right"] - l["nominal"]] for l in LINES]})
note("deviations.xlsx", "deviations in place of readings", truth())

xlsx("names-spelled.xlsx", {"Check": grid_wide(["Line", "Nominal", "Left", "Right"], of=lambda l: [f"{l['letter'].lower()}-{l['n']:02d}", l["nominal"], l["left"], l["right"]])})
note("names-spelled.xlsx", "names such as a-01", truth(readings_mm=[[f"{l['letter'].lower()}-{l['n']:02d}", l["left"], l["right"]] for l in LINES]))

text("sorted-as-text.csv", [["Line", "Nominal", "Left", "Right"]] + [[l["name"], l["nominal"], l["left"], l["right"]] for l in sorted(LINES, key=lambda l: l["name"], reverse=True)])
note("sorted-as-text.csv", "lines in another order", truth(rank=["A8", 8]))

xlsx("before-after.xlsx", {"Check": [["Line", "Nominal", "Left before", "Right before", "Left after", "Right after"]] + [[l["name"], l["nominal"], l["left"], l["right"], l["left"] + 2, l["right"] + 2] for l in LINES]})
note("before-after.xlsx", "before and after side by side", dict(error="question", says="--stage as_found"))
note("before-after.xlsx", "before and after, the first chosen", truth(), args=["--stage", "as_found"])

xlsx("turned.xlsx", {"Check": [list(r) for r in zip(*grid_wide(["Line", "Nominal", "Left", "Right"]))]})
note("turned.xlsx", "lines from left to right", truth())

xlsx("full.xlsx", {"Check": [["Model", "Heron"], ["Wing", "17"], ["Date", "14.03.2026"], ["Hours", "62,5"], ["Root chord [m]", 2.68], ["Tolerance", "± 8 mm"], ["Load", "50 N"], [],
     ["Row", "Chord"], ["A", 0.11], ["B", 0.36], ["C", 0.64], [],
     ["Line", "Main", "Material", "Span", "Nominal", "Left", "Right"]]
     + [[l["name"], l["main"], "uhmwpe", (l["n"] - 0.5) / 8, l["nominal"], l["left"], l["right"]] for l in LINES]})
note("full.xlsx", "model, chord positions, mains, materials, tolerance in the file", truth(date="2026-03-14", hours=62.5, incidence=True))

# --- the cascade -------------------------------------------------------------------------------------------------------

xlsx("cascade-levels.xlsx", {"Model": [["Top line", "Middle line", "Main line", "Nominal [mm]", "Left", "Right"]]
     + [[l["name"], f"{l['letter']}R{(l['n'] + 1) // 2}", f"{l['letter']}M{(l['n'] + 3) // 4}", l["nominal"], l["left"], l["right"]] for l in LINES]})
note("cascade-levels.xlsx", "a column for each level of the cascade", truth(segments=53))

indented = [["Line", "Nominal [mm]", "Left", "Right"]]
pieces = 0
for letter in BLOCKS:
    main = None
    for l in [l for l in LINES if l["letter"] == letter]:
        if l["main"] != main:
            main = l["main"]
            pieces += 1
            indented.append([main, None, None, None])
        indented.append([f"   {l['name']}", l["nominal"], l["left"], l["right"]])
text("cascade-indented.csv", indented, mark=";")
note("cascade-indented.csv", "names indented below their mains", truth(segments=30 + pieces))

# --- what is refused, and how ------------------------------------------------------------------------------------------

text("two-tables.csv", grid_wide(["Line", "Nominal", "Left", "Right"]) + [[]] + grid_wide(["Line", "Nominal", "Left", "Right"], of=lambda l: [l["name"], l["nominal"], l["left"] + 3, l["right"] + 3]))
note("two-tables.csv", "two tables of the same lines", dict(error="question", says="is in two tables"))

xlsx("two-checks.xlsx", {"March": grid_wide(["Line", "Nominal", "Left", "Right"]), "June": grid_wide(["Line", "Nominal", "Left", "Right"], of=lambda l: [l["name"], l["nominal"], l["left"] + 3, l["right"] + 3])})
note("two-checks.xlsx", "two sheets with readings", dict(error="question", says="--sheet \"June\""))
note("two-checks.xlsx", "two sheets, one named", truth(), args=["--sheet", "March"])

text("mixed-units.csv", grid_wide(["Line", "Nominal", "Left", "Right"], of=lambda l: [l["name"], l["nominal"], l["left"] / 10 if l["letter"] == "B" else l["left"], l["right"]]))
note("mixed-units.csv", "one row of lines in cm, the others in mm", dict(error="question", says="units are mixed"))

text("one-misread.csv", grid_wide(["Line", "Nominal", "Left", "Right"], of=lambda l: [l["name"], l["nominal"], l["left"] / 10 if l["name"] == "B3" else l["left"], l["right"]]))
note("one-misread.csv", "one value in cm: a doubtful reading, not a mixed file", truth(doubtful=[["left", "B3"]], readings_mm=[[l["name"], l["left"] / 10 if l["name"] == "B3" else l["left"], l["right"]] for l in LINES]))

xlsx("date-either.xlsx", {"Check": [["Date", "03/04/2026"], []] + grid_wide(["Line", "Nominal", "Left", "Right"])})
note("date-either.xlsx", "a date that is two", dict(error="question", says="--date 2026-04-03"))
note("date-either.xlsx", "the same, said", truth(date="2026-04-03"), args=["--date", "2026-04-03"])
xlsx("date-dotted.xlsx", {"Check": [["Datum", "03.04.2026"], []] + grid_wide(["Leine", "Soll", "Links", "Rechts"])})
note("date-dotted.xlsx", "a dotted date", truth(date="2026-04-03"))

text("no-row.csv", grid_wide(["Line", "Nominal", "Left", "Right"], of=lambda l: [f"X{l['n']}" if l["letter"] == "S" else l["name"], l["nominal"], l["left"], l["right"]]))
note("no-row.csv", "names that say no row", dict(error="cells", says="a line whose row is known"))

text("no-name.csv", grid_wide(["Line", "Nominal", "Left", "Right"], of=lambda l: ["" if l["name"] == "B3" else l["name"], l["nominal"], l["left"], l["right"]]))
note("no-name.csv", "lengths without a line", dict(error="cells", says="a line's name"))

text("not-a-number.csv", grid_wide(["Line", "Nominal", "Left", "Right"], of=lambda l: [l["name"], l["nominal"], "6S20" if l["name"] == "B3" else l["left"], l["right"]]))
note("not-a-number.csv", "a value that is no number", dict(error="cells", says="6S20"))

text("marks-mixed.csv", [["Line", "Nominal", "Left", "Right"]] + [[l["name"], comma(l["nominal"]), f"{l['left'] / 10:.1f}", comma(l["right"])] for l in LINES], mark=";")
note("marks-mixed.csv", "decimal points and commas", dict(error="question", says="decimal mark"))

xlsx("locked-source.xlsx", {"Check": grid_wide(["Line", "Nominal", "Left", "Right"])})
try:
    import msoffcrypto
    from msoffcrypto.format.ooxml import OOXMLFile
    with open(path("locked-source.xlsx"), "rb") as plain, open(path("locked.xlsx"), "wb") as locked:
        OOXMLFile(plain).encrypt("secret", locked)
    note("locked.xlsx", "a password", dict(error="file", says="protected by a password"))
finally:
    os.remove(path("locked-source.xlsx"))

whole = open(path("wide-plain.xlsx"), "rb").read()
with open(path("damaged.xlsx"), "wb") as file:
    file.write(whole[: len(whole) // 2])
note("damaged.xlsx", "half a file", dict(error="file", says="is damaged"))

with zipfile.ZipFile(path("wide-plain.xlsx")) as source, zipfile.ZipFile(path("macros.xlsm"), "w", zipfile.ZIP_DEFLATED) as out:
    for item in source.infolist():
        out.writestr(item.filename, source.read(item))
    out.writestr("xl/vbaProject.bin", b"no real macros")
note("macros.xlsm", "macros", truth(notes="macros: none was run"))

with zipfile.ZipFile(path("bomb.xlsx"), "w", zipfile.ZIP_DEFLATED, compresslevel=9) as out:
    with zipfile.ZipFile(path("wide-plain.xlsx")) as source:
        for item in source.infolist():
            if item.filename != "xl/worksheets/sheet1.xml":
                out.writestr(item.filename, source.read(item))
    with out.open("xl/worksheets/sheet1.xml", "w") as sheet:
        for _ in range(300):
            sheet.write(b"0" * (1 << 20))
note("bomb.xlsx", "unpacks to 300 MB", dict(error="file", says="unpacks to more than"))


def far(book):
    book.active.cell(900_000, 3).value = 6500


xlsx("far.xlsx", {"Check": grid_wide(["Line", "Nominal", "Left", "Right"])}, tweak=far)
note("far.xlsx", "a value in row 900,000", dict(error="file", says="is too large"))

with open(path("page.xls"), "w") as file:
    file.write("<html><table><tr><td>A1</td><td>6500</td></tr></table></html>")
note("page.xls", "a web page under a spreadsheet's name", dict(error="file", says="web page"))
with open(path("empty.csv"), "wb"):
    pass
note("empty.csv", "an empty file", dict(error="file", says="is empty"))

with open(path("manifest.json"), "w") as file:
    json.dump(manifest, file, indent=1, ensure_ascii=False)
    file.write("\n")
print(len(manifest), "cases,", len({m['file'] for m in manifest}), "files")
