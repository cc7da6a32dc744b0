"""Observations checked and put into one order: what the model may be fitted to.

In: a table of observations. Out: the rows of unprotected plants (and, where protection is a term of the model, of
protected ones), every number finite and every label there.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from hardiness.errors import FitError, near_name
from hardiness.schema import PROTECTIONS
from hardiness.tolerance.likelihood import Floats

REQUIRED = ("plant", "selection", "rootstock", "freeze", "exposure_c", "exposure_sd_c", "grade")
MOST_LISTED = 20  # faults of one column in a message


def check_observations(observations: pd.DataFrame, grades: int, *, protected: bool = False) -> pd.DataFrame:
    """Check a table of observations and put it into one order.

    Parameters
    ----------
    observations : DataFrame
        At least the columns ``plant, selection, rootstock, freeze, exposure_c, exposure_sd_c, grade``; a
        ``protected`` column that is neither empty nor ``no`` leaves a row out.
    grades : int
        Number of grades.
    protected : bool, default False
        Keep rows of a known kind of protection; :func:`stands_open` tells them from the others.

    Returns
    -------
    DataFrame
        With ``grade_low`` and ``near`` filled, sorted, index 0..n-1.

    Raises
    ------
    FitError
        For missing columns, no row, empty labels, non-finite numbers, unknown grades, duplicate rows, a plant in two
        cells, or one freeze with two exposures at one sensor.
    """
    if isinstance(grades, bool) or not isinstance(grades, int | np.integer) or grades < 2:
        raise FitError(f"grades: found {grades!r}; accepted: the number of grades, 2 or more.")
    missing = [name for name in REQUIRED if name not in observations.columns]
    if missing:
        hints = [near_name(name, [str(column) for column in observations.columns]) or "" for name in missing]
        raise FitError(
            [f"column '{name}' is missing. {hint}".strip() for name, hint in zip(missing, hints, strict=True)]
        )
    table = observations.copy()
    if "protected" in table.columns:
        table["protected"] = table["protected"].fillna("").astype(str).replace("no", "")
        table = table[table["protected"].isin(["", *PROTECTIONS] if protected else [""])]
    if not stands_open(table).any():
        raise FitError("nothing to fit: there is no observation of an unprotected plant.")
    table["grade_low"] = _filled(table, "grade_low", table["grade"])
    table["near"] = _filled(table, "near", pd.Series(1, index=table.index))
    problems: list[str] = []
    for name in ("plant", "selection", "rootstock", "freeze"):
        empty = table[name].isna() | (table[name].astype(str) == "")
        problems += [f"row {label}, column {name}: found nothing; accepted: a name." for label in table.index[empty]]
        table[name] = table[name].astype(str)
    for name, (accepted, good) in _accepted(grades).items():
        number = pd.to_numeric(table[name], errors="coerce").to_numpy(dtype=float, na_value=np.nan)
        bad = ~np.isfinite(number)
        bad[~bad] = ~good(number[~bad])
        problems += [
            f"row {label}, column {name}: found {table[name].loc[label]}; accepted: {accepted}."
            for label in table.index[bad][:MOST_LISTED]
        ]
        table[name] = number
    if not problems:
        problems += _contradictions(table)
    if problems:
        raise FitError(problems)
    if ((table["grade_low"] == 0) & (table["grade"] == grades - 1)).all():
        raise FitError("nothing to fit: no row tells what its freeze did (grade_low 0 and the last grade at once).")
    whole = ["grade", "grade_low", "near"]
    table[whole] = table[whole].astype(np.int64)
    order = ["selection", "rootstock", "plant", "freeze", "exposure_c", "grade", "grade_low"]
    return table.sort_values(order, kind="stable").reset_index(drop=True)


def stands_open(table: pd.DataFrame) -> NDArray[np.bool_]:
    """Tell the rows of plants that nothing protected: only these prove anything.

    Parameters
    ----------
    table : DataFrame
        From :func:`check_observations`.

    Returns
    -------
    ndarray of bool, dims (row,)
    """
    if "protected" not in table.columns:
        return np.ones(len(table), dtype=np.bool_)
    return table["protected"].isin(["", "no"]).to_numpy(dtype=np.bool_)


def _accepted(grades: int) -> dict[str, tuple[str, Callable[[Floats], NDArray[np.bool_]]]]:
    """What each column of numbers may hold, in words and as a test."""
    return {
        "exposure_c": ("a temperature in degC", lambda v: np.abs(v) < 100),
        "exposure_sd_c": ("a number, 0 or more", lambda v: v >= 0),
        "grade": (f"a whole grade 0-{grades - 1}", lambda v: (v >= 0) & (v < grades) & (v == np.round(v))),
        "grade_low": ("a whole grade from 0 to the row's grade", lambda v: (v >= 0) & (v == np.round(v))),
        "near": ("a whole number, 1 or more", lambda v: (v >= 1) & (v == np.round(v))),
    }


def _filled(table: pd.DataFrame, name: str, default: pd.Series) -> pd.Series:
    return table[name].where(table[name].notna(), default) if name in table.columns else default


def _contradictions(table: pd.DataFrame) -> list[str]:
    problems = []
    for label in table.index[table["grade_low"] > table["grade"]]:
        problems.append(
            f"row {label}: grade_low {table['grade_low'].loc[label]:g} is above grade {table['grade'].loc[label]:g}."
        )
    for plant, freeze in table.loc[table.duplicated(["plant", "freeze"]), ["plant", "freeze"]].itertuples(index=False):
        problems.append(f"plant {plant}, freeze {freeze}: two rows; accepted: one row for a plant and freeze.")
    cells = table[["plant", "selection", "rootstock"]].drop_duplicates()
    for plant in cells.loc[cells.duplicated("plant"), "plant"].unique():
        problems.append(f"plant {plant} is listed under two selections or rootstocks; accepted: one.")
    if is_named(table, "sensor"):
        exposures = table[["freeze", "sensor", "exposure_c", "exposure_sd_c"]].drop_duplicates()
        for freeze in exposures.loc[exposures.duplicated(["freeze", "sensor"]), "freeze"].unique():
            problems.append(f"freeze {freeze} has two exposures at one sensor; accepted: one.")
    return problems


def is_named(table: pd.DataFrame, name: str) -> bool:
    """Whether a column is there and names something in every row.

    Parameters
    ----------
    table : DataFrame
    name : str

    Returns
    -------
    bool
    """
    return name in table.columns and bool((table[name].notna() & (table[name].astype(str) != "")).all())
