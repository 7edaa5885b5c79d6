"""Frames of any library give the fleet that files give, and the faults that files give."""

from __future__ import annotations

import datetime

import polars as pl
import pytest

import linedrift


def of_polars(frame):
    return frame


def of_lazy(frame):
    return frame.lazy()


def of_pandas(frame):
    pytest.importorskip("pandas")
    pytest.importorskip("pyarrow")
    return frame.to_pandas()


def of_pyarrow(frame):
    pytest.importorskip("pyarrow")
    return frame.to_arrow()


def in_pieces(frame):
    """Of several chunks, as readers of many files leave them."""
    return pl.concat([frame[:3], frame[3:]], rechunk=False)


def of_lists(frame):
    return frame.to_dict(as_series=False)


@pytest.mark.parametrize("library", [of_polars, of_lazy, of_pandas, of_pyarrow, in_pieces, of_lists])
def test_frames_give_the_fleet_that_files_give(library, tables, unmarked):
    fleet = linedrift.Fleet.from_frames(**{name: library(frame) for name, frame in tables.items()})
    files = linedrift.Fleet.read(unmarked)
    assert fleet.notes == files.notes
    for name, frame in files.frames().items():
        assert frame.equals(fleet.frames()[name]), name
    assert fleet.trim(wing="W03").json() == files.trim(wing="W03").json()


def changed(tables, table, **columns):
    return {**tables, table: tables[table].with_columns(**columns)}


ZURICH = pl.lit(datetime.datetime(2024, 5, 1, 12)).dt.replace_time_zone("Europe/Zurich")
BAD = {
    "a text where a number stands": ("checks", {"hours": pl.lit("many")}),
    "truth where a number stands": ("readings", {"reading_mm": pl.lit(True)}),
    "numbers that are none": ("readings", {"reading_mm": pl.lit(float("nan"))}),
    "endless numbers": ("checks", {"load_n": pl.lit(float("inf"))}),
    "nulls": ("readings", {"line": pl.lit(None, dtype=pl.String)}),
    "a column of nothing": ("wings", {"model": pl.lit(None)}),
    "categories": ("readings", {"side": pl.col("side").cast(pl.Categorical)}),
    "an enumeration": ("readings", {"side": pl.col("side").cast(pl.Enum(["left", "right"]))}),
    "dates with a zone": ("checks", {"date": ZURICH}),
    "decimals": ("checks", {"hours": pl.col("hours").cast(pl.Decimal(10, 2))}),
    "times of day": ("checks", {"date": pl.lit(datetime.time(12))}),
    "lengths of time": ("checks", {"hours": pl.lit(datetime.timedelta(hours=3))}),
    "lists": ("lines", {"nominal_mm": pl.concat_list("nominal_mm")}),
    "structures": ("lines", {"nominal_mm": pl.struct("nominal_mm")}),
    "bytes": ("wings", {"wing": pl.col("wing").cast(pl.Binary)}),
    "a wing that nobody knows": ("checks", {"wing": pl.lit("nobody")}),
    "a side that is none": ("readings", {"side": pl.lit("above")}),
    "a number too large": ("readings", {"repeat": pl.lit(2**64 - 1, dtype=pl.UInt64)}),
}


@pytest.mark.parametrize("name", BAD)
def test_frames_have_the_faults_that_files_have(name, tables, tmp_path):
    table, columns = BAD[name]
    frames = changed(tables, table, **columns)
    for file, frame in frames.items():
        frame.write_parquet(tmp_path / f"{file}.parquet")
    with pytest.raises(linedrift.FaultsError) as of_files:
        linedrift.Fleet.read(tmp_path)
    with pytest.raises(linedrift.FaultsError) as of_frames:
        linedrift.Fleet.from_frames(**frames)
    files, frames = of_files.value.faults, of_frames.value.faults
    assert table in files["table"].to_list()
    if name == "a number too large":
        # a file that cannot be read as a whole is one fault; of a frame the column is known
        assert set(frames["table"]) == {table}
    else:
        assert frames.equals(files), (frames, files)
        assert of_frames.value.json() == of_files.value.json()
        assert str(of_frames.value) == str(of_files.value)


def test_a_fault_of_a_file_is_the_command_lines(tables, tmp_path, command_line):
    for file, frame in changed(tables, "checks", hours=pl.lit("many")).items():
        frame.write_csv(tmp_path / f"{file}.csv")
    with pytest.raises(linedrift.FaultsError) as found:
        linedrift.Fleet.read(tmp_path)
    assert found.value.json() == command_line("trim", tmp_path, "--json", code=1)
    assert found.value.more > 0 or found.value.faults.height == tables["checks"].height


def test_missing_columns_of_all_tables_come_in_one_go(tables):
    frames = {**tables, "readings": tables["readings"].drop("line"), "checks": tables["checks"].drop("date", "hours")}
    with pytest.raises(linedrift.FaultsError) as found:
        linedrift.Fleet.from_frames(**frames)
    missing = found.value.faults.filter(pl.col("row") == 1)
    named = set(zip(missing["table"], missing["column"], strict=True))
    assert named >= {("readings", "line"), ("checks", "date"), ("checks", "hours")}, found.value.faults


def test_categories_of_pandas_are_the_fault_that_files_have(tables):
    pytest.importorskip("pandas")
    pytest.importorskip("pyarrow")
    readings = tables["readings"].to_pandas()
    readings["side"] = readings["side"].astype("category")
    with pytest.raises(linedrift.FaultsError) as found:
        linedrift.Fleet.from_frames(**{**tables, "readings": readings})
    fault = found.value.faults.row(0, named=True)
    assert (fault["table"], fault["column"], fault["row"]) == ("readings", "side", 1)
    assert "categories" in fault["value"]


def test_mixed_values_of_pandas_are_read_as_text(tables):
    pandas = pytest.importorskip("pandas")
    pytest.importorskip("pyarrow")
    readings = tables["readings"].to_pandas()
    mixed = readings["reading_mm"].astype(object)
    mixed.iloc[4] = "illegible"
    readings["reading_mm"] = pandas.Series(mixed, dtype=object)
    with pytest.raises(linedrift.FaultsError) as found:
        linedrift.Fleet.from_frames(**{**tables, "readings": readings})
    fault = found.value.faults.row(0, named=True)
    assert (fault["row"], fault["column"], fault["value"]) == (6, "reading_mm", "illegible")


def test_what_is_no_frame_is_refused(tables):
    with pytest.raises(TypeError):
        linedrift.Fleet.from_frames(**{**tables, "readings": tables["readings"]["line"]})


def test_columns_that_nobody_asked_for_are_named(tables):
    frames = changed(tables, "wings", colour=pl.lit("red"), odd=pl.lit(b"x"))
    notes = linedrift.Fleet.from_frames(**frames).notes
    assert any("`colour`" in note and "`odd`" in note for note in notes), notes


def test_a_covariate_of_a_frame_is_fitted(tables):
    wings = tables["wings"].with_columns(salt=pl.int_range(pl.len()) % 7)
    fleet = linedrift.Fleet.from_frames(**{**tables, "wings": wings}, covariates=["salt"])
    fit = fleet.wear(shape="linear", covariates=["salt"])
    assert "covariate:salt" in fit.terms["term"].to_list()
