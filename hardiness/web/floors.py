"""Floors as the pages show them: rows with their marks on a strip."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import pandas as pd

from hardiness import words
from hardiness.flow import Flow
from hardiness.units import parse_temperature
from hardiness.web.jobs import Answer
from hardiness.web.pages import part
from hardiness.web.strips import FloorMarks, Scale, floor_marks, scale_over

QUARTERS = {"floor_low_c": "floor_q25_c", "floor_high_c": "floor_q75_c"}
CELL = ["selection", "rootstock"]


@dataclass(frozen=True, slots=True)
class FloorRow:
    """One cell's floor.

    Parameters
    ----------
    selection, rootstock : str
    href : str
        The selection's page.
    figure : str
        What may be claimed, in words.
    evidence : str
    marks : FloorMarks
    """

    selection: str
    rootstock: str
    href: str
    figure: str
    evidence: str
    marks: FloorMarks


@dataclass(frozen=True, slots=True)
class Strips:
    """Floors, hardiest first, and the scale that they stand on.

    Parameters
    ----------
    scale : Scale
    rows : list of FloorRow
    whole : int
        Cells in all.
    """

    scale: Scale
    rows: list[FloorRow]
    whole: int


def floors_hardiest_first(answer: Answer, survive: float = 0.9, grade: int | None = None) -> pd.DataFrame:
    """Floors with their quartiles and hearsay, hardiest first.

    Parameters
    ----------
    answer : Answer
        With its floors done.
    survive : float
        Share that comes through.
    grade : int, optional
        Without reaching this grade; the last unless given.

    Returns
    -------
    DataFrame
        Columns of ``schema.FLOORS``, then ``floor_q25_c``, ``floor_q75_c``, ``claimed_floor_c``. [degC]
    """

    def make(flow: Flow) -> pd.DataFrame:
        half = flow.floors(survive, grade, 0.5).rename(columns=QUARTERS)[[*CELL, *QUARTERS.values()]]
        register = flow.records.selections
        hearsay = {
            row.selection: parse_temperature(str(row.claimed_floor)).celsius
            for row in register.itertuples()
            if row.claimed_floor
        }
        table = flow.floors(survive, grade).merge(half, on=CELL)
        table["claimed_floor_c"] = table["selection"].map(hearsay).astype(float)
        return table.sort_values(["floor_c", *CELL], na_position="last", ignore_index=True)

    return answer.keep(("floors", survive, grade), make)


def strips_of(
    answer: Answer,
    table: pd.DataFrame | None = None,
    *,
    survive: float = 0.9,
    grade: int | None = None,
    start: int = 0,
    most: int = 60,
) -> Strips:
    """Place floors on strips of one scale.

    Parameters
    ----------
    answer : Answer
        With its floors done.
    table : DataFrame, optional
        Some rows of :func:`floors_hardiest_first`; all unless given.
    survive, grade : float, int or None
        As in :func:`floors_hardiest_first`.
    start, most : int
        The first row shown, and how many.

    Returns
    -------
    Strips
    """
    whole = floors_hardiest_first(answer, survive, grade)
    table = whole if table is None else table
    units = answer.done.settings.units
    names = ("tested_to_c", "claimable_c", "floor_c", "floor_low_c", "floor_high_c", "claimed_floor_c")
    scale = scale_over((value for name in names for value in whole.loc[_bounded(whole, name), name]), units)
    return Strips(
        scale, [_row(row, scale, units) for row in table.iloc[start : start + most].to_dict("records")], len(table)
    )


def _bounded(table: pd.DataFrame, name: str) -> pd.Series:
    """Rows whose figure is drawn: estimates only where plants bound them on both sides."""
    if name in ("tested_to_c", "claimable_c", "claimed_floor_c"):
        return table[name].notna()
    return table[name].notna() & (table["open_end"] == "none") & (table["evidence"] != "untested")


def _row(row: Mapping[Any, Any], scale: Scale, units: str) -> FloorRow:
    numbers = {name: value for name, value in row.items() if isinstance(value, float)}
    open_end, evidence = str(row["open_end"]), str(row["evidence"])
    floor, claim = words.floor_texts(
        open_end, numbers["floor_c"], numbers["claimable_c"], numbers["warmest_fatal_c"], units
    )
    if evidence == "untested":
        figure = "untested"
    elif open_end == "warm":
        figure = f"{floor} °{units}"
    else:
        figure = f"{'at or below ' if open_end == 'cold' else ''}{claim} °{units}"
    selection = str(row["selection"])
    return FloorRow(
        selection,
        str(row["rootstock"]),
        f"/results/selection/{part(selection)}",
        figure,
        evidence,
        floor_marks(row, scale),
    )
