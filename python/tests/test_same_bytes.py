"""The same question gives the same bytes here and on the command line."""

from __future__ import annotations

import json

import pytest

import linedrift
from conftest import DEMO

LIMITS = {"line_mm": 12.0, "model": {"HF2-L": {"offset_mm": 25.0}}}
LIMITS_FILE = 'line_mm = 12.0\n[model."HF2-L"]\noffset_mm = 25.0\n'

ASKED = {
    "summary": (["summary"], lambda fleet: fleet.summary()),
    "vet": (["vet"], lambda fleet: fleet.vet()),
    "vet one wing": (["vet", "--wing", "W03"], lambda fleet: fleet.vet(wing="W03")),
    "trim": (["trim"], lambda fleet: fleet.trim()),
    "trim one check, guarded": (
        ["trim", "--check", "W03-1", "--rule", "guarded"],
        lambda fleet: fleet.trim(check="W03-1", rule="guarded"),
    ),
    "trim, arch": (
        ["trim", "--wing", "W04", "--arch-radius-m", "7.5"],
        lambda fleet: fleet.trim(wing="W04", arch_radius_m=7.5),
    ),
    "plan": (["plan", "--wing", "W05"], lambda fleet: fleet.plan(wing="W05")),
    "plan with its curve": (["plan", "--wing", "W05", "--curve"], lambda fleet: fleet.plan(wing="W05", curve=True)),
    "plan for the trim": (
        ["plan", "--wing", "W06", "--aim", "trim", "--without", "replace_line", "--only", "shorten"],
        lambda fleet: fleet.plan(wing="W06", aim="trim", without=["replace_line"], only="shorten"),
    ),
    "due": (["due"], lambda fleet: fleet.due()),
    "due by another model": (
        ["due", "--wing", "W03", "--shape", "linear"],
        lambda fleet: fleet.due(wing="W03", wear={"shape": "linear"}),
    ),
    "due of one wing": (
        ["due", "--wing", "W07", "--risk", "0.2", "--seed", "3", "--today", "2026-01-31"],
        lambda fleet: fleet.due(wing="W07", risk=0.2, seed=3, today="2026-01-31"),
    ),
}


@pytest.mark.parametrize("name", ASKED)
def test_an_answer_is_the_command_lines(name, demo, command_line):
    arguments, ask = ASKED[name]
    command, *options = arguments
    assert ask(demo).json() == command_line(command, DEMO, *options, "--json")


def test_all_plans_are_the_command_lines(demo, command_line):
    assert demo.plan().json() == command_line("plan", DEMO, "--all", "--json")


def test_limits_by_name_are_those_of_a_file(demo, command_line, tmp_path):
    file = tmp_path / "limits.toml"
    file.write_text(LIMITS_FILE)
    wanted = command_line("trim", DEMO, "--wing", "W03", "--limits", file, "--json")
    assert demo.trim(wing="W03", limits=LIMITS).json() == wanted
    assert demo.trim(wing="W03", limits=file).json() == wanted


def test_the_wear_fit_and_its_questions_are_the_command_lines(demo, command_line):
    fit = demo.wear(shape="linear", wing_effects="rate")
    fixed = ["wear", DEMO, "--shape", "linear", "--wing-effects", "rate"]
    assert fit.json() == command_line(*fixed, "--json")
    contrasts = ["uhmwpe:A - lcp:A", "uhmwpe:C - uhmwpe:A"]
    asked = [part for contrast in contrasts for part in ["--contrast", contrast]]
    wanted = command_line(*fixed, *asked, "--pairs", "rows", "--simultaneous", "--compare", "wing-effects=rate+row", "--json")
    assert fit.json(contrasts=contrasts, pairs=["rows"], simultaneous=True, compare=["wing-effects=rate+row"]) == wanted


def test_the_chosen_wear_model_is_the_command_lines(demo, command_line):
    assert demo.wear().json() == command_line("wear", DEMO, "--json")


def test_an_invented_fleet_written_and_read_gives_the_same_backtest(command_line, tmp_path):
    made = linedrift.simulate(wings=14, seed=11, years=6)
    made.write(tmp_path / "fleet")
    wanted = command_line("backtest", tmp_path / "fleet", "--json")
    assert linedrift.Fleet.read(tmp_path / "fleet").backtest().json() == wanted
    assert made.backtest().json() == wanted
    assert json.loads(wanted)["forecasts"] > 0


def test_a_saved_fit_serves_as_the_command_lines_own(demo, unmarked, command_line, tmp_path):
    fleet = linedrift.Fleet.read(unmarked)
    fleet.wear(shape="linear").save(tmp_path / "fit.json")
    command_line("wear", unmarked, "--shape", "linear", "--save", tmp_path / "own.json")
    assert (tmp_path / "fit.json").read_bytes() == (tmp_path / "own.json").read_bytes()
    wanted = command_line("due", unmarked, "--fit", tmp_path / "own.json", "--wing", "W03", "--json")
    assert fleet.due(fit=tmp_path / "fit.json", wing="W03").json() == wanted


def test_the_page_of_a_wing_is_the_command_lines(demo, command_line, tmp_path):
    command_line("report", DEMO, "--wing", "W03", "--out", tmp_path / "out")
    assert demo.report(wing="W03").html == (tmp_path / "out" / "index.html").read_text(encoding="utf-8")
