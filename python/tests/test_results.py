"""Results: frames by name, figures, errors, progress, stopping."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import xml.etree.ElementTree as ElementTree

import polars as pl
import pytest

import linedrift
from conftest import DEMO


@pytest.fixture(scope="module")
def fit(demo):
    return demo.wear(shape="linear")


def test_a_fit_hands_out_its_tables(fit):
    document = json.loads(fit.json())
    assert fit.terms["term"].to_list() == [term["term"] for term in document["terms"]]
    assert fit.terms["estimate"].to_list() == [term["estimate"] for term in document["terms"]]
    assert (fit.readings, fit.wings, fit.converged) == (document["readings"], document["wings"], True)
    assert fit.frame.height > 0 and fit.residuals.height > 0 and fit.effects.height > 0
    assert fit.design["term"].n_unique() <= fit.terms.height
    assert fit.influence["wing"].n_unique() == fit.wings
    assert fit.draws(50, seed=2).height > 0
    assert fit.covariance.height > 0 and fit.spread.height == len(document["spread"])


def test_a_contrast_is_the_difference_of_its_rates(fit):
    rate = dict(zip(fit.terms["term"], fit.terms["estimate"], strict=True))
    found = fit.contrast("uhmwpe:C - uhmwpe:A", "uhmwpe:A")
    difference = rate["rate:uhmwpe:C"] - rate["rate:uhmwpe:A"]
    assert found["estimate"].to_list() == pytest.approx([difference, rate["rate:uhmwpe:A"]], abs=1e-12)
    assert fit.pairs("materials").height > 0
    with pytest.raises(ValueError, match="nothing:Z"):
        fit.contrast("nothing:Z - uhmwpe:A")


def test_another_model_is_compared(fit):
    assert fit.compare("terms=rate").height == 2


def test_trim_hands_out_its_tables_and_figures(demo):
    trim = demo.trim(wing="W03")
    document = json.loads(trim.json())
    assert trim.checks["check"].to_list() == [check["check"] for check in document["checks"]]
    assert trim.lines.height == len(document["checks"][0]["lines"])
    assert trim.lines.schema["deviation_mm"] == pl.Float64
    assert len(trim.figures) > 3
    for figure in trim.figures:
        assert ElementTree.fromstring(figure.svg).tag.endswith("svg")
        assert "(invented)" in figure.title
        assert figure._repr_svg_() == figure.svg
    assert trim.figures[trim.figures.names()[0]].svg == trim.figures[0].svg
    assert "<iframe" in trim.figures._repr_html_()
    assert trim._repr_html_().startswith("<pre>")
    assert linedrift.CAUTIONS and document["cautions"] == list(linedrift.CAUTIONS)


def test_plan_and_due_hand_out_theirs(demo, fit):
    plan = demo.plan(wing="W05", curve=True)
    assert plan.actions.height == len(json.loads(plan.json())["actions"])
    assert all(ElementTree.fromstring(figure.svg) is not None for figure in plan.figures)
    due = demo.due(draws=500)
    assert sorted(due.wings["wing"].to_list()) == sorted(demo.wings)
    assert due.figures.names()
    assert fit.figures.names()[0] == "rates"


def test_settings_that_do_not_exist_are_refused(demo):
    for ask, name in [
        (lambda: demo.trim(tolerence_mm=3), "tolerence_mm"),
        (lambda: demo.plan(wing="W03", aims="trim"), "aims"),
        (lambda: demo.wear(terms="speed"), "speed"),
        (lambda: demo.wear(shape="linear", scale_h=5.0), "scale_h"),
        (lambda: demo.due(today="yesterday"), "yesterday"),
        (lambda: demo.trim(wing="nobody"), "nobody"),
        (lambda: demo.vet(check="none"), "none"),
        (lambda: demo.trim(wing="W03", limits={"line": 3}), "line"),
        (lambda: linedrift.simulate(wigns=3), "wigns"),
        (lambda: linedrift.simulate(demo=True, wings=3), "demo"),
    ]:
        with pytest.raises(ValueError, match=name):
            ask()


def test_a_folder_that_is_not_there_is_a_fault(tmp_path):
    with pytest.raises(linedrift.FaultsError) as found:
        linedrift.Fleet.read(tmp_path / "nothing")
    assert found.value.faults["expected"].to_list() == ["a folder with the tables of a fleet"]


def test_the_demo_is_its_seed(demo):
    made = linedrift.simulate(demo=True)
    assert made.is_demo and demo.is_demo
    assert made.truth["spec"]["wings"] == len(demo.wings)
    assert made.trim(wing="W03").json() == demo.trim(wing="W03").json()


def test_progress_is_told_and_may_stop_the_work(demo):
    seen = []
    demo.due(draws=500, progress=lambda step, done, wings: seen.append((step, done, wings)))
    assert any("fitting" in step for step, _, _ in seen), seen

    def refuse(step, done, wings):
        raise RuntimeError(step)

    with pytest.raises(RuntimeError):
        demo.report(progress=refuse)


@pytest.mark.skipif(sys.platform == "win32", reason="signals of another kind")
def test_ctrl_c_stops_the_work(demo):
    # a shell starts what runs in the background with this signal ignored
    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    try:
        with pytest.raises(KeyboardInterrupt):
            demo.report(progress=lambda *_: os.kill(os.getpid(), signal.SIGINT))
    finally:
        signal.signal(signal.SIGINT, before)
    # and the package goes on to work
    assert demo.trim(wing="W03").checks.height == 1


def test_other_threads_run_meanwhile():
    code = f"""
import threading, time, linedrift
fleet = linedrift.Fleet.read({str(DEMO)!r})
ticks, over = [], threading.Event()
def tick():
    while not over.is_set():
        ticks.append(1)
        time.sleep(0.005)
thread = threading.Thread(target=tick)
thread.start()
before = len(ticks)
fleet.wear(shape="linear")
after = len(ticks)
over.set()
thread.join()
assert after > before, "the lock was held"
"""
    subprocess.run([sys.executable, "-c", code], check=True)
