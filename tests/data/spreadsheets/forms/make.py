#!/usr/bin/env python3
"""Writes the spreadsheets of this folder, and manifest.json with the answer that must come of each.

Everything is invented: a wing of an invented model in an invented club's loft. The answer of each form was written down first, as the
person who made the file means it; what such a file leaves open must be asked. Libraries: openpyxl, and pandas with odfpy; `soffice`
converts some by a real office suite (files that are there stay where there is none). Run:

    python3 -m venv /tmp/venv && /tmp/venv/bin/pip install openpyxl pandas odfpy
    /tmp/venv/bin/python tests/data/spreadsheets/forms/make.py
"""

import csv
import datetime
import io
import json
import os
import shutil
import subprocess

import openpyxl
import pandas
from openpyxl.comments import Comment
from openpyxl.styles import PatternFill

HERE = os.path.dirname(os.path.abspath(__file__))
cases = []

# the truth: 9 lines in A and B, 8 in C, 5 in D, 3 stabilos, 6 brakes a side; mm
ROWS = [("A", 9, 7420, 1), ("B", 9, 7350, 0), ("C", 8, 7440, -5), ("D", 5, 7610, -8), ("S", 3, 6480, -2), ("K", 6, 7890, -9)]
ROW_NAMES = {"A": "A", "B": "B", "C": "C", "D": "D", "S": "stabilo", "K": "brake"}


class Line:
    def __init__(self, letter, n, nominal, left, right):
        self.letter, self.n, self.nominal, self.left, self.right = letter, n, nominal, left, right
        self.name = f"{letter}{n}"
        self.roman = letter + "I" * ((n + 2) // 3)

    def on(self, side):
        return self.left if side == "left" else self.right


LINES = []
for letter, count, first, off in ROWS:
    for n in range(1, count + 1):
        nominal = first - 31 * (n - 1) - 5 * (n - 1) ** 2
        at = len(LINES) + n
        LINES.append(Line(letter, n, nominal, nominal + off + [1, 0, -1, 2, 0][at % 5], nominal + off + [0, 2, 1, -1, 1][at % 5]))


def of(letters):
    return [line for line in LINES if line.letter in letters]


def answer(lines=None, name=lambda line: line.name, **more):
    """What must come: [name, row, nominal, left, right] of each line."""
    lines = LINES if lines is None else lines
    want = dict(lines=[[name(l), ROW_NAMES[l.letter], l.nominal, l.left, l.right] for l in lines])
    want.update(more)
    return want


def case(file, form, want, *args):
    cases.append(dict(file=file, form=form, args=list(args), **want))


def asks(says, **more):
    return dict(asks=says, **more)


def path(name):
    return os.path.join(HERE, name)


def xlsx(name, sheets, merges=(), tweak=None):
    book = openpyxl.Workbook()
    book.remove(book.active)
    for title, grid in (sheets if isinstance(sheets, dict) else {"Sheet1": sheets}).items():
        sheet = book.create_sheet(title)
        for row in grid:
            sheet.append(list(row))
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
    pandas.DataFrame(list(map(list, grid))).to_excel(path(name), engine="odf", header=False, index=False)


def office(source, ending):
    """The same file by a real office suite."""
    if shutil.which("soffice") is None:
        return
    subprocess.run(["soffice", "--headless", "--convert-to", ending, "--outdir", HERE, path(source)],
                   check=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    if not source.endswith("." + ending):
        os.remove(path(source))


def comma(mm, unit="cm"):
    return (f"{mm / 10:.1f}" if unit == "cm" else f"{mm / 1000:.3f}").replace(".", ",")


def wide(header, lines=None, row=lambda l: [l.name, l.nominal, l.left, l.right]):
    return [header] + [row(l) for l in (LINES if lines is None else lines)]


def spelled(spell, lines=None):
    return wide(["Line", "Nominal [mm]", "Left", "Right"], lines, lambda l: [spell(l), l.nominal, l.left, l.right])


# --- five languages, with accents and short words --------------------------------------------------------------------

xlsx("english-short.xlsx", [["Annual check, club loft"], ["W/O 118"], []]
     + wide(["Line #", "Factory length", "Meas. L", "Meas. R", "Diff L", "Diff R"], row=lambda l: [l.name, l.nominal, l.left, l.right, l.left - l.nominal, l.right - l.nominal])
     + [["Average", None, None, None, -2.1, -2.4]])
case("english-short.xlsx", "English short words, differences beside, an average below", answer())

text("german-short.csv", [["Leine", "Soll", "Ist li.", "Ist re.", "Diff li.", "Diff re."]]
     + [[l.name, comma(l.nominal), comma(l.left), comma(l.right), comma(l.left - l.nominal), comma(l.right - l.nominal)] for l in LINES],
     mark=";", encoding="cp1252")
case("german-short.csv", "German short words, decimal commas, Windows letters", answer(unit="cm"))

xlsx("german-long.xlsx", [["Leinenvermessung", None, None, None], ["Prüfdatum:", "14. März 2026"], ["Betriebsstunden:", "62,5 Std."], ["Messlast", "5 kg"], []]
     + wide(["Leinen-Bezeichnung", "Solllänge in mm", "Istlänge links in mm", "Istlänge rechts in mm", "Bemerkung"], row=lambda l: [l.name, l.nominal, l.left, l.right, "Mantel" if l.n == 3 else None]))
case("german-long.xlsx", "German long words, date and hours in words", answer(date="2026-03-14", hours=62.5, load_n=49.03))

ods("french.ods", wide(["Suspente", "Cote constructeur (mm)", "Mesure G", "Mesure D", "Écart G", "Écart D"],
                       row=lambda l: [l.name, l.nominal, l.left, l.right, l.left - l.nominal, l.right - l.nominal]))
case("french.ods", "French, G and D for the sides, differences beside", answer())

text("french-long.csv", [["Date du contrôle", "14/03/2026"], ["Nb d'heures de vol", "62h30"], ["Voile n°", "17"], [],
     ["Suspente", "Longueur théorique", "Longueur mesurée gauche", "Longueur mesurée droite", "Observations"]]
     + [[l.name, f"{l.nominal // 1000} {l.nominal % 1000:03d}", f"{l.left // 1000}\u202f{l.left % 1000:03d}", f"{l.right // 1000}\u00a0{l.right % 1000:03d}", ""] for l in LINES], mark=";")
case("french-long.csv", "French, thin spaces between the thousands, 62h30", answer(date="2026-03-14", hours=62.5, wing="17"))

xlsx("spanish.xlsx", wide(["Línea", "Teórica (cm)", "Izda.", "Dcha."], row=lambda l: [l.name, l.nominal / 10, l.left / 10, l.right / 10]))
case("spanish.xlsx", "Spanish, izda. and dcha.", answer(unit="cm"))

ods("italian.ods", [["Controllo cordini"], ["Data", "14/03/2026"], []]
    + wide(["Cordino", "Misura nominale", "Misura rilevata SX", "Misura rilevata DX", "Diff. SX", "Diff. DX"],
           row=lambda l: [l.name, l.nominal, l.left, l.right, l.left - l.nominal, l.right - l.nominal]))
case("italian.ods", "Italian, SX and DX, differences beside", answer(date="2026-03-14"))

# --- units and numbers -----------------------------------------------------------------------------------------------

xlsx("unit-row.xlsx", [["Line", "Nominal", "Left", "Right"], [None, "mm", "mm", "mm"]] + wide([], row=lambda l: [l.name, l.nominal, l.left, l.right])[1:])
case("unit-row.xlsx", "units in a row of their own below the header", answer())

xlsx("unit-row-cm.xlsx", [["Line", "Nominal", "Left", "Right"], ["", "[cm]", "[cm]", "[cm]"]] + wide([], row=lambda l: [l.name, l.nominal / 10, l.left / 10, l.right / 10])[1:])
case("unit-row-cm.xlsx", "the same in cm, in brackets", answer(unit="cm"))

xlsx("inches-said.xlsx", wide(["Line", "Nominal (in)", "Left (in)", "Right (in)"], row=lambda l: [l.name, round(l.nominal / 25.4, 4), round(l.left / 25.4, 4), round(l.right / 25.4, 4)]))
case("inches-said.xlsx", "inches in the headings", answer(unit="in", within_mm=0.01))

xlsx("inches-unsaid.xlsx", wide(["Line", "Nominal", "Left", "Right"], row=lambda l: [l.name, round(l.nominal / 25.4, 2), round(l.left / 25.4, 2), round(l.right / 25.4, 2)]))
case("inches-unsaid.xlsx", "inches that nothing names: they could be a small wing's centimetres", asks("--unit in"))

text("metres-comma.csv", [[l.name, comma(l.nominal, "m"), comma(l.left, "m"), comma(l.right, "m")] if l else ["Leine", "Soll [m]", "Links", "Rechts"] for l in [None] + LINES], mark="\t")
case("metres-comma.csv", "metres with decimal commas, tabs", answer(unit="m"))

text("quoted-commas.csv", wide(["Leine", "Soll cm", "Links cm", "Rechts cm"], row=lambda l: [l.name, comma(l.nominal), comma(l.left), comma(l.right)]))
case("quoted-commas.csv", "commas between cells and, in quotes, before decimals", answer(unit="cm"))

xlsx("dashes.xlsx", wide(["Line", "Nominal", "Left", "Right"], row=lambda l: [l.name, l.nominal, l.left if l.name != "B4" else "—", l.right if l.name != "C2" else "not accessible"]))
case("dashes.xlsx", "words where nothing was read: what they mean is asked at their cell", dict(cells="not accessible"))

text("pipes.txt", wide(["Line", "Nominal", "Left", "Right"]), mark="|")
case("pipes.txt", "bars between cells", answer())

with open(path("aligned.txt"), "w") as file:
    file.write("Line    Nominal  Left   Right\n" + "".join(f"{l.name:<8}{l.nominal:<9}{l.left:<7}{l.right}\n" for l in LINES))
case("aligned.txt", "columns aligned by blanks, as copied from a mail", answer())

text("negative.csv", wide(["Line", "Nominal", "Left", "Right"], row=lambda l: [l.name, l.nominal, -l.left if l.name == "B2" else l.left, l.right]))
case("negative.csv", "a length below zero", dict(cells="above 0"))

with open(path("aligned-gap.txt"), "w") as file:
    file.write("Line    Nominal  Left   Right\n" + "".join(f"{l.name:<8}{l.nominal:<9}{'' if l.name == 'A2' else l.left:<7}{l.right}\n" for l in LINES))
case("aligned-gap.txt", "a gap among columns that blanks set apart: the reading behind it would be another", dict(refused="write `-` where nothing was read"))

text("utf16.txt", wide(["Leine", "Soll", "Links", "Rechts"]), mark="\t", encoding="utf-16-le", bom=b"\xff\xfe", end="\r\n")
case("utf16.txt", "text in UTF-16 with tabs, as spreadsheet programs save it", answer())

xlsx("text-numbers.xlsx", wide(["Line", "Nominal", "Left", "Right"], row=lambda l: [l.name, f"{l.nominal:,}", f"{l.left:,} mm", f"{l.right:,} mm"]))
case("text-numbers.xlsx", "numbers as text, a comma between the thousands, units in the cells", answer())

xlsx("flagged.xlsx", wide(["Line", "Nominal", "Left", "Right"], row=lambda l: [l.name, l.nominal, f"{l.left}*" if l.name == "A3" else l.left, f"{l.right}?" if l.name == "B2" else l.right]))
case("flagged.xlsx", "numbers with a mark behind them", dict(cells="*"))

# --- names -----------------------------------------------------------------------------------------------------------

text("names-1a.csv", sorted(spelled(lambda l: f"{l.n}{l.letter}")[1:], key=lambda row: row[0]))
with open(path("names-1a.csv"), "r+") as file:
    body = file.read()
    file.seek(0)
    file.write("Line,Nominal [mm],Left,Right\n" + body)
LONG_A = [Line("A", n, 7900 - 40 * n, 7901 - 40 * n, 7899 - 40 * n) for n in range(1, 13)]
case("names-1a.csv", "1A, 2A, …, sorted as text", answer(name=lambda l: f"{l.n}{l.letter}", ranks=True))

text("names-1a-twelve.csv", [["Line", "Nominal", "Left", "Right"]] + sorted([f"{l.n}A", l.nominal, l.left, l.right] for l in LONG_A))
case("names-1a-twelve.csv", "10A before 1A and 2A: the number counts, not the order", answer(LONG_A, name=lambda l: f"{l.n}A", ranks=True))

xlsx("names-dashed.xlsx", spelled(lambda l: f"{l.letter.lower()}-{l.n}"))
case("names-dashed.xlsx", "a-1", answer(name=lambda l: f"{l.letter.lower()}-{l.n}", ranks=True))

xlsx("names-zeros.xlsx", spelled(lambda l: f"{l.letter}{l.n:02d}"))
case("names-zeros.xlsx", "A01", answer(name=lambda l: f"{l.letter}{l.n:02d}", ranks=True))

xlsx("names-spaced-side.xlsx", [["Line", "Nominal", "Measured"]] + [[f"{l.letter} {l.n} {side[0].upper()}", l.nominal, l.on(side)] for l in LINES for side in ("left", "right")])
case("names-spaced-side.xlsx", "A 1 L and A 1 R", answer(name=lambda l: f"{l.letter} {l.n}"))

text("names-al1.csv", [["Line", "Nominal", "Measured"]] + [[f"{l.letter}{side[0].upper()}{l.n}", l.nominal, l.on(side)] for side in ("left", "right") for l in LINES])
case("names-al1.csv", "AL1 and AR1: BR1 is B on the right", answer())

text("names-one-side.csv", [["Line", "Nominal", "Left", "Right"]] + [[f"{l.letter}R{l.n}", l.nominal, l.left, l.right] for l in of("ABC")])
case("names-one-side.csv", "AR1, BR1, CR1 alone: BR may be the right of B, or the brake", asks("BR1"))

xlsx("names-trade.xlsx", spelled(lambda l: {"S": f"St{l.n}", "K": f"Br{l.n}"}.get(l.letter, l.name)))
case("names-trade.xlsx", "St1 and Br1", answer(name=lambda l: {"S": f"St{l.n}", "K": f"Br{l.n}"}.get(l.letter, l.name)))

xlsx("names-tip.xlsx", spelled(lambda l: {"S": f"Tip {l.n}", "K": f"Brake {l.n}"}.get(l.letter, l.name)))
case("names-tip.xlsx", "Tip 1, Brake 1", answer(name=lambda l: {"S": f"Tip {l.n}", "K": f"Brake {l.n}"}.get(l.letter, l.name)))

xlsx("names-unknown.xlsx", spelled(lambda l: {"S": f"X{l.n}"}.get(l.letter, l.name)))
case("names-unknown.xlsx", "X1: of which row is it?", dict(cells="X1"))

# --- layouts ---------------------------------------------------------------------------------------------------------

xlsx("left-right-blocks.xlsx", [["LEFT", None, None, None, "RIGHT", None, None], ["Line", "Nominal", "Measured", None, "Line", "Nominal", "Measured"]]
     + [[l.name, l.nominal, l.left, None, l.name, l.nominal, l.right] for l in LINES], merges=["A1:C1", "E1:G1"])
case("left-right-blocks.xlsx", "a block for each side with names of its own", answer())

grid = [["Leinen", "Soll", "Links", "Rechts"]]
for letter, title in (("A", "A-Ebene"), ("B", "B-Ebene"), ("C", "C-Ebene"), ("D", "D-Ebene"), ("S", "Stabilo"), ("K", "Bremse")):
    grid += [[title]] + [[l.n, l.nominal, l.left, l.right] for l in of(letter)] + [[f"Summe {title}", sum(l.nominal for l in of(letter)), sum(l.left for l in of(letter)), sum(l.right for l in of(letter))]]
xlsx("sections-sums.xlsx", grid)
case("sections-sums.xlsx", "a section for each row, each with its sum", answer())

grid = [["Line", "Nominal", "Left", "Right"]]
for letter in "ABCDSK":
    grid += [[l.name, l.nominal, l.left, l.right] for l in of(letter)] + [[f"{letter} total", sum(l.nominal for l in of(letter)), sum(l.left for l in of(letter)), sum(l.right for l in of(letter))],
                                                                          [f"Ø {letter}", sum(l.nominal for l in of(letter)) / len(of(letter)), sum(l.left for l in of(letter)) / len(of(letter)), sum(l.right for l in of(letter)) / len(of(letter))]]
ods("totals-per-row.ods", grid)
case("totals-per-row.ods", "`A total` and a mean below each row", answer())

xlsx("row-once.xlsx", [["Row", "No", "Nominal", "Left", "Right"]] + [[(ROW_NAMES[l.letter] if l.n == 1 else None), l.n, l.nominal, l.left, l.right] for l in LINES])
case("row-once.xlsx", "the row stands at its first line only", answer())

grid = [[], []]
for letter in "ABCDSK":
    grid[0] += [{"S": "Stabilo", "K": "Brake"}.get(letter, letter), None, None, None, None]
    grid[1] += ["No", "Nom", "L", "R", None]
for n in range(1, 10):
    row = []
    for letter in "ABCDSK":
        found = [l for l in of(letter) if l.n == n]
        row += [n, found[0].nominal, found[0].left, found[0].right, None] if found else [None] * 5
    grid.append(row)
xlsx("blocks-per-row.xlsx", grid)
case("blocks-per-row.xlsx", "a block of columns for each row of lines", answer())

grid = [["A", None, None, "B", None, None, "C", None, None, "D", None, None], ["nominal", "left", "right"] * 4]
for n in range(1, 10):
    row = [n]
    for letter in "ABCD":
        found = [l for l in of(letter) if l.n == n]
        row += [found[0].nominal, found[0].left, found[0].right] if found else [None] * 3
    grid.append(row)
grid[0] = [None] + grid[0]
grid[1] = ["Line"] + grid[1]
xlsx("merged-rows.xlsx", grid, merges=["B1:D1", "E1:G1", "H1:J1", "K1:M1"])
case("merged-rows.xlsx", "a merged heading for each row above nominal, left and right", answer(of("ABCD")))

text("long-fr.csv", [["Côté", "Rangée", "N°", "Théorique", "Mesuré", "Opérateur"]]
     + [[{"left": "G", "right": "D"}[side], {"S": "stabilo", "K": "frein"}.get(l.letter, l.letter), l.n, l.nominal, l.on(side), "Zoé"] for side in ("left", "right") for l in LINES], mark=";")
case("long-fr.csv", "long form in French: side, row, number, operator", answer(operator="Zoé"))

xlsx("long-side-once.xlsx", [["Side", "Line", "Nominal mm", "Reading mm"]] + [[(side if l is LINES[0] else None), l.name, l.nominal, l.on(side)] for side in ("left", "right") for l in LINES])
case("long-side-once.xlsx", "long form, the side at its first line only", answer())

grid = [["Line check"], [], ["Left wing"], ["Line", "Nominal", "Measured"]] + [[l.name, l.nominal, l.left] for l in LINES] + [[], ["Right wing"], ["Line", "Nominal", "Measured"]] + [[l.name, l.nominal, l.right] for l in LINES]
ods("stacked-sides.ods", grid)
case("stacked-sides.ods", "one side below the other", answer())

matrix = lambda value: [[None, "A", "B", "C", "D", "Stabi", "Bremse"]] + [[n] + [next((value(l) for l in of(x) if l.n == n), None) for x in "ABCDSK"] for n in range(1, 10)]
xlsx("matrix-three-sheets.xlsx", {"Soll": matrix(lambda l: l.nominal), "Ist links": matrix(lambda l: l.left), "Ist rechts": matrix(lambda l: l.right)})
office("matrix-three-sheets.xlsx", "ods")
case("matrix-three-sheets.ods", "a sheet each for nominal, left and right, by an office suite", answer())

xlsx("turned-mains.xlsx", [["Main"] + [l.roman for l in of("AB")], ["Line"] + [l.name for l in of("AB")], ["Nominal"] + [l.nominal for l in of("AB")],
                           ["Left"] + [l.left for l in of("AB")], ["Right"] + [l.right for l in of("AB")]])
case("turned-mains.xlsx", "lines from left to right with their mains", answer(of("AB"), mains=[[l.name, l.roman] for l in of("AB")]))

grid = [[None] + [l.roman if l.n % 3 == 1 else None for l in of("AB")], ["Line"] + [l.name for l in of("AB")], ["Nominal"] + [l.nominal for l in of("AB")],
        ["Left"] + [l.left for l in of("AB")], ["Right"] + [l.right for l in of("AB")]]
xlsx("turned-bracketed.xlsx", grid, merges=[f"{openpyxl.utils.get_column_letter(2 + 3 * i)}1:{openpyxl.utils.get_column_letter(4 + 3 * i)}1" for i in range(6)])
case("turned-bracketed.xlsx", "a main's name over the bracket of its lines, from left to right", answer(of("AB"), mains=[[l.name, l.roman] for l in of("AB")]))

grid = [["Line", "Nominal", "Left", "Right"]]
for l in of("ABC"):
    if l.n % 3 == 1:
        last = min(l.n + 2, len(of(l.letter)))
        grid.append([f"{l.roman} ({l.name}-{l.letter}{last})"])
    grid.append([l.name, l.nominal, l.left, l.right])
ods("mains-as-titles.ods", grid)
case("mains-as-titles.ods", "titles such as `AI (A1-A3)` above the lines of each main", answer(of("ABC"), mains=[[l.name, l.roman] for l in of("ABC")]))

grid = [["Stammleine", "Leine", "Soll", "Links", "Rechts"]] + [[(f"{l.letter}-Stamm {(l.n + 2) // 3}" if l.n % 3 == 1 else None), l.name, l.nominal, l.left, l.right] for l in of("ABC")]
xlsx("mains-merged.xlsx", grid, merges=[f"A{2 + i}:A{4 + i}" for i in (0, 3, 6, 9, 12, 15, 18, 21)])
case("mains-merged.xlsx", "merged cells of mains beside their lines", answer(of("ABC"), mains=[[l.name, f"{l.letter}-Stamm {(l.n + 2) // 3}"] for l in of("ABC")]))

xlsx("mains-once.xlsx", grid)
case("mains-once.xlsx", "the main stands at its first line only", answer(of("ABC"), mains=[[l.name, f"{l.letter}-Stamm {(l.n + 2) // 3}"] for l in of("ABC")]))

grid = [[None, "Line", "Nominal", "Left", "Right"]] + [[(l.roman if l.n % 3 == 1 else None), l.name, l.nominal, l.left, l.right] for l in of("ABC")]
xlsx("mains-untitled.xlsx", grid, merges=[f"A{2 + i}:A{4 + i}" for i in (0, 3, 6, 9, 12, 15, 18, 21)])
case("mains-untitled.xlsx", "merged cells of mains without a heading: what they are is asked, or they are left out and named", answer(of("ABC"), mains=[[l.name, l.roman] for l in of("ABC")]))

xlsx("names-with-mains.xlsx", [["Line (main)", "Nominal", "Left", "Right"]] + [[f"{l.name} ({l.roman})", l.nominal, l.left, l.right] for l in of("ABC")])
case("names-with-mains.xlsx", "the main in brackets behind the name", answer(of("ABC"), mains=[[l.name, l.roman] for l in of("ABC")]))

grid = [["Line", "Nominal", "Left", "Right"]]
for l in of("AB"):
    if l.n % 3 == 1:
        grid.append([l.roman, 2950, 2951, 2949])
    grid.append([l.name, l.nominal, l.left, l.right])
xlsx("mains-as-lines.xlsx", grid)
case("mains-as-lines.xlsx", "mains of three metres among whole lines", asks("pieces"))

# --- several tables and sheets, earlier checks -----------------------------------------------------------------------

half = lambda lines, more=0: wide(["Line", "Nominal", "Left", "Right"], lines, lambda l: [l.name, l.nominal, l.left + more, l.right + more])
xlsx("checks-by-year.xlsx", {"2024": half(None, 3), "2025": half(None, 1), "2026": half(None)})
case("checks-by-year.xlsx", "a sheet for each year's check", asks('--sheet "2026"'))
case("checks-by-year.xlsx", "a sheet for each year's check, one named", answer(), "--sheet", "2026")

text("two-wings.csv", [["Wing 3"]] + half(None) + [[], ["Wing 8"]] + half(None, 4))
case("two-wings.csv", "two wings on one sheet", asks("is in two tables"))

xlsx("two-wings-beside.xlsx", [["Wing 3", None, None, None, None, "Wing 8"]] + [a + [None] + b for a, b in zip(half(None), half(None, 4))])
case("two-wings-beside.xlsx", "two wings beside each other", asks("is in two tables"))

xlsx("years-beside.xlsx", [["Line", "Nominal", "Left 2024", "Right 2024", "Left 2026", "Right 2026"]] + [[l.name, l.nominal, l.left + 2, l.right + 2, l.left, l.right] for l in LINES])
case("years-beside.xlsx", "an earlier check's columns beside", asks("--columns left="))
case("years-beside.xlsx", "an earlier check's columns beside, the others named", answer(), "--columns", "left=Left 2026,right=Right 2026")

xlsx("dates-beside.xlsx", [["Line", "Nominal", "Left 1.3.24", "Right 1.3.24", "Left 14.3.26", "Right 14.3.26"]] + [[l.name, l.nominal, l.left + 2, l.right + 2, l.left, l.right] for l in LINES])
case("dates-beside.xlsx", "dates in the headings of earlier checks", asks("--columns left="))

xlsx("checks-beside.xlsx", [["Line", "Nominal", "Check 1 left", "Check 1 right", "Check 2 left", "Check 2 right"]] + [[l.name, l.nominal, l.left + 2, l.right + 2, l.left, l.right] for l in LINES])
case("checks-beside.xlsx", "check 1 and check 2 beside each other are no repeats", asks("--columns left="))

xlsx("last-beside.xlsx", [["Line", "Nominal", "Last L", "Last R", "Left", "Right"]] + [[l.name, l.nominal, l.left + 2, l.right + 2, l.left, l.right] for l in LINES])
case("last-beside.xlsx", "the last check's values beside, named so", answer())

xlsx("read-twice.xlsx", [["Line", "Nominal", "Left 1", "Left 2", "Right 1", "Right 2"]] + [[l.name, l.nominal, l.left, l.left, l.right, l.right] for l in LINES])
case("read-twice.xlsx", "read twice, numbered", answer(repeats=2, notes="read 2 times"))

xlsx("two-people.xlsx", [["Line", "Nominal", "Left (Ann)", "Left (Ben)", "Right (Ann)", "Right (Ben)"]] + [[l.name, l.nominal, l.left, l.left + 1, l.right, l.right + 1] for l in LINES])
case("two-people.xlsx", "read by two people", asks("two columns hold readings of the left"))


def hide(book):
    book.active.column_dimensions["C"].hidden = True
    book.active.column_dimensions["D"].hidden = True


xlsx("hidden-columns.xlsx", [["Line", "Nominal", "Left", "Right", "Left", "Right"]] + [[l.name, l.nominal, l.left + 3, l.right + 3, l.left, l.right] for l in LINES], tweak=hide)
case("hidden-columns.xlsx", "hidden columns hold an earlier check", asks("two columns hold readings of the left"))

xlsx("nominal-differs.xlsx", {"Table": wide(["Line", "Nominal"], row=lambda l: [l.name, l.nominal]),
                              "Check": wide(["Line", "Nominal", "Left", "Right"], row=lambda l: [l.name, l.nominal + (25 if l.name == "B3" else 0), l.left, l.right])})
case("nominal-differs.xlsx", "two lengths of the maker for one line", asks("two lengths of the maker"))

xlsx("sizes.xlsx", [["Line", "S", "M", "L"]] + [[l.name, l.nominal - 300, l.nominal, l.nominal + 300] for l in LINES])
text("readings-fr.csv", [["Suspente", "Gauche", "Droite"]] + [[l.name, l.left, l.right] for l in LINES], mark=";")
case("readings-fr.csv", "the maker's lengths in a file of four sizes", asks("size"), "--nominal", "sizes.xlsx")
case("readings-fr.csv", "the maker's lengths in a file of sizes, one named", answer(), "--nominal", "sizes.xlsx", "--columns", "nominal=M")

# --- what stands beside ----------------------------------------------------------------------------------------------

xlsx("tolerances.xlsx", [["Line", "Nominal", "Tol. ±", "Left", "Right"]] + [[l.name, l.nominal, "±12" if l.letter == "A" else "+/- 10 mm", l.left, l.right] for l in LINES])
case("tolerances.xlsx", "tolerances with their signs", answer(tolerances=[["A1", 12], ["B1", 10]]))

xlsx("tolerance-heading.xlsx", [["Line", "Nominal", "± [mm]", "Left", "Right", "OK?"]] + [[l.name, l.nominal, 10, l.left, l.right, "yes"] for l in LINES])
case("tolerance-heading.xlsx", "a sign for the heading of tolerances", answer(tolerances=[["A1", 10]]))

xlsx("tolerance-uneven.xlsx", [["Line", "Nominal", "Tolerance", "Left", "Right"]] + [[l.name, l.nominal, "+10/-5", l.left, l.right] for l in LINES])
case("tolerance-uneven.xlsx", "a tolerance that is not the same both ways", dict(cells="+10/-5"))

xlsx("loops.xlsx", [["Line", "Nominal", "Left", "Loop left", "Right", "Loop right", "Correction"]] + [[l.name, l.nominal, l.left, 1 if l.n == 1 else 0, l.right, 2 if l.n == 1 else 0, "+5"] for l in LINES])
case("loops.xlsx", "loops beside the readings", answer())


def colour(book):
    for row in book.active.iter_rows(min_row=2):
        row[2].fill = PatternFill("solid", fgColor="FFAA88")
    book.active["C3"].comment = Comment("read twice", "loft")
    book.active.freeze_panes = "A2"
    book.active.auto_filter.ref = book.active.dimensions


xlsx("coloured.xlsx", wide(["Line", "Nominal", "Left", "Right"]), tweak=colour)
case("coloured.xlsx", "colours, comments, a filter", answer())

grid = [["Line", "Nominal", "Left", "Right", "Δ L", "Δ R", "L-R"]]
for at, l in enumerate(LINES):
    grid.append([l.name, l.nominal, l.left, l.right, f"=C{at + 2}-B{at + 2}", f"=D{at + 2}-B{at + 2}", f"=C{at + 2}-D{at + 2}"])
xlsx("formulas.xlsx", grid)
case("formulas.xlsx", "formulas that were never worked out, in columns that are not needed", answer())

grid = [["Line", "Nominal", "Instrument L", "Instrument R", "Left", "Right"]] + [[l.name, l.nominal, l.left - 120, l.right - 120, f"=C{at + 2}+120", f"=D{at + 2}+120"] for at, l in enumerate(LINES)]
xlsx("formula-readings.xlsx", grid)
office("formula-readings.xlsx", "ods")
case("formula-readings.ods", "what the instrument shows beside the length worked out of it: which is the reading?", asks("two columns hold readings of the left"))

xlsx("labels-above.xlsx", [["Date", "Flight hours", "Serial no.", "Owner"], [datetime.date(2026, 3, 14), 62.5, "PL-0042", "Loft"], []] + wide(["Line", "Nominal", "Left", "Right"]))
case("labels-above.xlsx", "labels with their values below", answer(date="2026-03-14", hours=62.5, serial="PL-0042", owner="Loft"))

for at, (written, day) in enumerate([("14. März 2026", "2026-03-14"), ("14-Mar-26", "2026-03-14"), ("March 14th, 2026", "2026-03-14"), ("le 14 mars 2026", "2026-03-14"), ("Sat 14 Mar 2026", "2026-03-14"),
                                     ("20260314", "2026-03-14"), ("2026-03-14T09:30", "2026-03-14"), ("14.03.26", "2026-03-14"), ("14 marzo 2026", "2026-03-14"), ("sabato 14/3/2026", "2026-03-14")]):
    cases.append(dict(form=f"date {written}", days=[written, day]))

xlsx("date-beside-title.xlsx", [["Line check of 14/03/2026", None, None, "Hours: 62,5"]] + wide(["Line", "Nominal", "Left", "Right"]))
case("date-beside-title.xlsx", "the date in a title, the hours behind their label in one cell", answer(date="2026-03-14", hours=62.5))

xlsx("deviations-only.xlsx", [["Line", "Nominal [mm]", "Dev. left [mm]", "Dev. right [mm]"]] + [[l.name, l.nominal, l.left - l.nominal, l.right - l.nominal] for l in LINES])
case("deviations-only.xlsx", "deviations in place of readings", answer(notes="deviations"))

xlsx("deviations-bare.xlsx", [["Line", "Dev. left [mm]", "Dev. right [mm]"]] + [[l.name, l.left - l.nominal, l.right - l.nominal] for l in LINES])
case("deviations-bare.xlsx", "deviations without the maker's lengths", asks("maker's lengths"))

text("no-header.csv", [[l.name, l.nominal, l.left, l.right] for l in LINES])
case("no-header.csv", "no header at all", asks("header"))

xlsx("as-found-left.xlsx", [["Suspente", "Théorique", "Avant réglage G", "Avant réglage D", "Après réglage G", "Après réglage D"]] + [[l.name, l.nominal, l.left + 4, l.right + 4, l.left, l.right] for l in LINES])
case("as-found-left.xlsx", "before and after adjusting beside each other, in French", asks("--stage"))
case("as-found-left.xlsx", "before and after adjusting, after named", answer(), "--stage", "as_left")

# --- models ----------------------------------------------------------------------------------------------------------

LEVEL_LENGTHS = dict(main=2400, middle=1500)
xlsx("levels-materials.xlsx", [["Line", "Middle", "Main", "Length", "Middle length", "Main length", "Material", "Middle material", "Main material"]]
     + [[l.name, f"{l.letter}m{(l.n + 1) // 2}", l.roman, l.nominal - 3900, 1500, 2400, "aramid", "aramid", "uhmwpe"] for l in of("ABC")])
case("levels-materials.xlsx", "a column per level, with lengths and materials of each", dict(model=[[l.name, ROW_NAMES[l.letter], l.nominal] for l in of("ABC")],
     mains=[[l.name, l.roman] for l in of("ABC")], segments=[["A1", "Am1", "aramid", 3520], ["Am1", "AI", "aramid", 1500], ["AI", "", "uhmwpe", 2400]]))

xlsx("levels-named.xlsx", [["Galerieleine", "Mittelleine", "Stammleine", "Gesamtlänge"]] + [[l.name, f"{l.letter}m{(l.n + 1) // 2}", l.roman, l.nominal] for l in of("ABC")]
     + [[], ["Ebene", "Material", "Durchmesser"], ["Galerieleinen", "Aramid", 0.9], ["Mittelleinen", "Aramid", 1.1], ["Stammleinen", "UHMWPE", 1.4]])
case("levels-named.xlsx", "a table of levels with their materials", dict(model=[[l.name, ROW_NAMES[l.letter], l.nominal] for l in of("ABC")],
     segments=[["A1", "Am1", "aramid", None], ["Am1", "AI", "aramid", None], ["AI", "", "uhmwpe", None]]))

text("levels-labels.csv", [["Model", "Plover"], ["Material top", "Aramid"], ["Material main", "UHMWPE"], [], ["Line", "Main", "Nominal"]] + [[l.name, l.roman, l.nominal] for l in of("ABC")])
case("levels-labels.csv", "materials of the levels as labels", dict(model=[[l.name, ROW_NAMES[l.letter], l.nominal] for l in of("ABC")], segments=[["A1", "AI", "aramid", None], ["AI", "", "uhmwpe", None]]))

json.dump(cases, open(path("manifest.json"), "w"), indent=1, ensure_ascii=False)
