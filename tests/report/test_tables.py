"""Tables beside a report: every column with its unit, no cell that computes, the same bytes each time."""

from __future__ import annotations

import csv
import datetime as dt
import io

import numpy as np
import openpyxl
import pandas as pd
import pytest
import xarray as xr

from hardiness import schema
from hardiness.report.netcdf import netcdf_bytes, netcdf_dataset
from hardiness.report.tables import NamedTable, cell_value, columns_table, csv_table, report_tables
from hardiness.report.workbook import workbook_bytes
from hardiness.schema import Column
from tests.report.conftest import settings

HILL = settings()
NOTES = (
    Column("plant", "which"),
    Column("exposure_c", "how cold", "number", "degC"),
    Column("on", "when", "date"),
    Column("at", "when", "time"),
    Column("early", "whether", "flag"),
    Column("grade", "state", "integer"),
)
AWKWARD = NamedTable(
    "awkward",
    "texts that a spreadsheet would compute",
    pd.DataFrame(
        {
            "plant": ["=1+1", "+1", "-2", "@a", "\tx", "007", "a=b", ""],
            "exposure_c": [-9.4, np.nan, 0.0, -1e-3, 1.0, 2.0, 3.0, -12.25],
            "on": [dt.date(2032, 2, 14), None, *[dt.date(2032, 1, 1)] * 6],
            "at": pd.to_datetime(["2032-01-10T05:30", None, *["2032-07-01T00:00"] * 6], utc=True),
            "early": [True, False] * 4,
            "grade": [0, 1, 2, 3, 4, 5, 0, 1],
        }
    ),
    NOTES,
)


@pytest.fixture(scope="module")
def tables(gathered):
    return report_tables(gathered)


def test_every_table_has_its_columns_and_every_column_a_meaning(tables, gathered):
    named = {table.name: table for table in tables}
    assert set(schema.RECORD_TABLES) <= set(named)
    assert {"freezes", "exposures", "observations", "left_out", "floors", "claims", "compare", "checks"} <= set(named)
    for table in tables:
        assert list(table.frame.columns) == [column.name for column in table.columns], table.name
    told = columns_table(tables)
    assert len(told.frame) == sum(len(table.columns) for table in tables)
    assert (told.frame["meaning"] != "").all()


def test_csv_is_tidy_and_computes_nothing():
    rows = list(csv.DictReader(io.StringIO(csv_table(AWKWARD, HILL))))
    assert [row["plant"] for row in rows] == ["'=1+1", "'+1", "'-2", "'@a", "'\tx", "007", "a=b", ""]
    assert [row["exposure_c"] for row in rows[:4]] == ["-9.4", "", "0.0", "-0.001"]
    assert rows[0]["at"] == "2032-01-10T06:30:00+01:00" and rows[2]["at"] == "2032-07-01T02:00:00+02:00"
    assert rows[0]["on"] == "2032-02-14" and rows[1]["on"] == "" and rows[0]["early"] == "true"


def test_workbook_has_units_in_its_second_row_and_no_formula():
    book = openpyxl.load_workbook(io.BytesIO(workbook_bytes([AWKWARD], HILL)))
    assert book.sheetnames == ["columns", "awkward"]
    sheet = book["awkward"]
    cells = list(sheet.iter_rows(min_row=3, values_only=True))
    assert [cell.value for cell in sheet[1]] == ["plant", "exposure_c", "on", "at", "early", "grade"]
    assert [cell.value or "" for cell in sheet[2]][1] == "degC"
    assert [cell.data_type for row in sheet.iter_rows(min_row=3) for cell in row if cell.data_type == "f"] == []
    assert [row[0] for row in cells[:4]] == ["=1+1", "+1", "-2", "@a"]
    assert cells[0][1] == -9.4 and cells[5][0] == "007"
    assert sheet.freeze_panes == "A3"


def test_workbook_is_the_same_on_any_day(monkeypatch):
    first = workbook_bytes([AWKWARD], HILL)
    monkeypatch.setattr("openpyxl.writer.excel.datetime", Later)
    assert workbook_bytes([AWKWARD], HILL) == first


class Later:
    """A clock of another year, as openpyxl asks it."""

    datetime = dt.datetime
    timezone = dt.timezone

    @staticmethod
    def now(tz=None):
        return dt.datetime(2051, 1, 1, tzinfo=tz)


def test_control_characters_do_not_break_the_workbook():
    bad = NamedTable("bad", "", pd.DataFrame({"notes": ["a\x07b\nc"]}), (Column("notes", "anything"),))
    sheet = openpyxl.load_workbook(io.BytesIO(workbook_bytes([bad], HILL)))["bad"]
    assert sheet["A3"].value == "a b c"


@pytest.mark.parametrize(
    ("value", "column", "cell"),
    [
        (np.float64(-9.4), Column("x_c", "", "number"), -9.4),
        (np.int64(3), Column("grade", "", "grade"), 3),
        (np.nan, Column("x_c", "", "number"), None),
        (pd.NaT, Column("at", "", "time"), None),
        (np.bool_(True), Column("early", "", "flag"), "true"),
        ("-12 C", Column("claimed_floor", "", "temperature"), "-12 C"),
    ],
)
def test_a_cell_is_what_the_table_holds(value, column, cell):
    assert cell_value(value, column, HILL) == cell


def test_netcdf_carries_floors_curves_and_observations_with_units(gathered, tmp_path):
    made = netcdf_dataset(gathered)
    content = netcdf_bytes(made)
    assert content == netcdf_bytes(made)
    path = tmp_path / "trial.nc"
    path.write_bytes(content)
    with xr.open_dataset(path, engine="h5netcdf") as data:
        assert data["floor_claimable_c"].attrs["units"] == "degC" and data["floor_plants"].attrs["units"] == "1"
        assert data["observation_exposure_sd_c"].attrs["units"] == "K"
        assert data.sizes["cell"] == len(gathered.floors)
        assert data["floor_selection"].to_numpy().tolist() == gathered.floors["selection"].tolist()
        np.testing.assert_allclose(data["floor_floor_c"], gathered.floors["floor_c"])
        shares = data["share_coming_through"].transpose("cell", "temperature", "quantile")
        untested = (gathered.floors["evidence"] == "untested").to_numpy()
        assert np.isnan(shares.to_numpy()[untested]).all() and not np.isnan(shares.to_numpy()[~untested]).any()
        # Warmer is never more dangerous, and the quantiles keep their order.
        fitted = shares.to_numpy()[~untested]
        assert (np.diff(fitted, axis=1) >= -1e-9).all() and (np.diff(fitted, axis=2) >= -1e-9).all()
        for name, variable in data.variables.items():
            assert variable.dtype.kind in "OUS" or "units" in variable.attrs, name


def test_a_trial_without_observations_still_gives_arrays(empty_trial, gathered):
    nothing = type(gathered)(
        empty_trial.flow(), empty_trial.settings, "", empty_trial.flow().floors(), gathered.claims.iloc[:0],
        gathered.tested.iloc[:0], gathered.influence.iloc[:0], gathered.sensitivity, None, (),
    )  # fmt: skip
    data = netcdf_dataset(nothing)
    assert data.sizes["cell"] == 0 and "share_coming_through" not in data
