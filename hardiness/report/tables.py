"""The tables of a trial that go with a report: each with its columns, and as CSV that no spreadsheet computes.

In: the gathered answers. Out: named tables. A CSV is tidy: UTF-8, one row of names, ISO 8601 times with the trial's
offset, numbers whole, empty where missing.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

import pandas as pd

from hardiness import schema
from hardiness.report.gathered import Gathered
from hardiness.schema import Column
from hardiness.settings import Settings

MOST_PAIRED = 60  # selections up to which all pairs are listed; past it each against the checks
FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")  # what makes a spreadsheet compute a cell


@dataclass(frozen=True)
class NamedTable:
    """A table and what its columns are.

    Parameters
    ----------
    name : str
        Of its file or sheet.
    meaning : str
        What a row is.
    frame : DataFrame
    columns : tuple of Column
        All of its columns.
    """

    name: str
    meaning: str
    frame: pd.DataFrame
    columns: tuple[Column, ...]


def report_tables(gathered: Gathered) -> list[NamedTable]:
    """List the tables of a trial, in the order of the flow.

    Parameters
    ----------
    gathered : Gathered

    Returns
    -------
    list of NamedTable
    """
    flow, rules = gathered.flow, gathered.settings.rules
    measured = schema.freeze_columns(rules.thresholds, rules.held_h)
    named = [
        NamedTable(table.name, f"the records of {table.name} that count", getattr(flow.records, table.name),
                   table.columns)
        for table in schema.RECORD_TABLES.values()
    ]  # fmt: skip
    selections = gathered.flow.records.selections["selection"]
    against = None if len(selections) <= MOST_PAIRED else flow.checks
    pairs = flow.compare(against=against) if against is None or against else flow.compare([])
    named += [
        NamedTable("freezes", "a row per freeze and sensor", flow.freezes, measured),
        NamedTable("exposures", "a row per plant and freeze", flow.exposures, (*schema.EXPOSED, *measured)),
        NamedTable("observations", "a row per plant and scored window: what the model sees", flow.observations,
                   schema.OBSERVATIONS),
        NamedTable("left_out", "what does not count, and why", flow.left_out, schema.LEFT_OUT),
        NamedTable("second_look", "scores worth a second look", flow.joined.second_look, schema.SECOND_LOOK),
        NamedTable("floors", "tolerance floors: 9 in 10 come through alive; 90 % intervals", gathered.floors,
                   schema.FLOORS),
        NamedTable("compare", "differences of pairs of selections", pairs, schema.COMPARE),
        NamedTable("rootstocks", "differences of rootstocks", flow.rootstocks(), schema.ROOTSTOCKS),
        NamedTable("claims", "hearsay held against the evidence", gathered.claims, schema.CLAIMS),
        NamedTable("influence", "which plants and freezes move a floor most", gathered.influence, schema.INFLUENCE),
    ]  # fmt: skip
    if gathered.checks is not None:
        named += [
            NamedTable("checks", "whether the fit may be trusted", gathered.checks.rows, schema.CHECKS),
            NamedTable("calibration", "predicted against seen", gathered.checks.calibration, schema.CALIBRATION),
        ]
    return named


def columns_table(tables: Sequence[NamedTable]) -> NamedTable:
    """List every column of every table with its unit and meaning.

    Parameters
    ----------
    tables : sequence of NamedTable

    Returns
    -------
    NamedTable
    """
    rows = [(table.name, c.name, c.unit or "", c.meaning) for table in tables for c in table.columns]
    columns = (
        Column("table", "which table"), Column("column", "which column"), Column("unit", "its unit"),
        Column("meaning", "what it says"),
    )  # fmt: skip
    return NamedTable("columns", "every column of these tables", pd.DataFrame(rows, columns=[c.name for c in columns]),
                      columns)  # fmt: skip


def csv_table(table: NamedTable, settings: Settings) -> str:
    """Write a table as CSV.

    Parameters
    ----------
    table : NamedTable
    settings : Settings
        For the time zone.

    Returns
    -------
    str
    """
    out = pd.DataFrame(
        {
            column.name: pd.Series(
                [cell_value(value, column, settings, guarded=True) for value in table.frame[column.name]], dtype=object
            )
            for column in table.columns
        }
    )
    return out.to_csv(index=False, lineterminator="\n")


def cell_value(
    value: object, column: Column, settings: Settings, *, guarded: bool = False
) -> str | float | int | bool | dt.date | None:
    """Turn a value of a table into a cell.

    Parameters
    ----------
    value : object
    column : Column
    settings : Settings
    guarded : bool
        Whether a text that a spreadsheet would compute gets an apostrophe before it.

    Returns
    -------
    str, float, int, bool, date or None
        None where missing.

    Examples
    --------
    >>> from hardiness.settings import Settings
    >>> hill = Settings("Hill", "Europe/Lisbon")
    >>> cell_value("=1+1", Column("notes", ""), hill, guarded=True), cell_value(-9.4, Column("x_c", "", "number"), hill)
    ("'=1+1", -9.4)
    """
    if value is None or value is pd.NaT or value is pd.NA or (isinstance(value, float) and pd.isna(value)):
        return None
    if isinstance(value, pd.Timestamp):
        return value.tz_convert(settings.zone).isoformat(timespec="seconds")
    if column.kind == "date" and isinstance(value, dt.date):
        return value.isoformat()[:10] if guarded else dt.date(value.year, value.month, value.day)
    if column.kind == "flag":
        return str(bool(value)).lower()
    if column.kind in ("number", "integer", "grade") and not isinstance(value, str):
        number = float(value)  # type: ignore[arg-type]
        return int(number) if column.kind != "number" and number == int(number) else number
    text = str(value)
    return f"'{text}" if guarded and text.startswith(FORMULA_STARTS) else text
