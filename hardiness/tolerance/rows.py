"""Observations checked and put into one order: what the model may be fitted to.

In: a table of observations. Out: the rows of unprotected plants (and, where protection is a term of the model, of
protected ones), every number finite and every label there.
"""

from __future__ import annotations

import numbers
from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from hardiness.errors import FitError, near_name
from hardiness.schema import ALL_STOCKS, PROTECTIONS
from hardiness.tolerance.likelihood import Floats

REQUIRED = ("plant", "selection", "rootstock", "freeze", "exposure_c", "exposure_sd_c", "grade")
NAMES = ("plant", "selection", "rootstock", "freeze")
IN_CONTAINER = "container"  # what the join puts where a protected row has its kind
MOST_LISTED = 20  # faults of one kind in a message


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
        For what is no table, missing columns, no row, empty labels, a rootstock called ``all``, an unknown kind of
        protection, non-finite numbers, unknown grades, duplicate rows, a plant in two cells, a freeze in two events, or
        one freeze with two exposures (or standard deviations of one) at one sensor; rows that name no sensor are of
        one.
    """
    if isinstance(grades, bool) or not isinstance(grades, int | np.integer) or grades < 2:
        raise FitError(f"grades: found {grades!r}; accepted: the number of grades, 2 or more.")
    _refuse_other_shapes(observations)
    table = observations.copy()
    labels = _row_labels(table.index)
    table = table.reset_index(drop=True)
    if "protected" in table.columns:
        table["protected"] = table["protected"].astype(object).where(_given(table, "protected"), "").astype(str)
        table["protected"] = table["protected"].replace("no", "")
        unknown = ~table["protected"].isin(["", IN_CONTAINER, *PROTECTIONS])
        if unknown.any():
            raise FitError(_few([_unknown_kind(labels[i], table["protected"][i]) for i in np.flatnonzero(unknown)]))
        table = table[table["protected"].isin(["", *PROTECTIONS] if protected else [""])]
    if not stands_open(table).any():
        raise FitError("nothing to fit: there is no observation of an unprotected plant.")
    named = labels[table.index.to_numpy()]
    table = table.reset_index(drop=True)
    problems = _unnamed(table, named)
    for name in NAMES:
        table[name] = table[name].astype(str)
    low_given, near_given = _given(table, "grade_low"), _given(table, "near")
    table["grade_low"] = table["grade_low"].where(low_given, table["grade"]) if low_given.any() else table["grade"]
    table["near"] = table["near"].where(near_given, 1) if near_given.any() else 1
    asked = {"grade_low": low_given, "near": near_given, "sensor_sd_c": _given(table, "sensor_sd_c")}
    for name, (accepted, good) in _accepted(grades).items():
        if name not in table.columns:
            continue
        number = _numbers(table[name])
        bad = ~np.isfinite(number)
        bad[~bad] = ~good(number[~bad])
        bad &= asked.get(name, np.ones_like(bad))
        problems += _few([
            f"row {named[i]}, column {name}: found {_shown(table[name][i])}; accepted: {accepted}."
            for i in np.flatnonzero(bad)
        ])  # fmt: skip
        table[name] = number
    if not problems:
        problems += _contradictions(table, named)
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
    return name in table.columns and bool(_given(table, name).all())


def _refuse_other_shapes(observations: pd.DataFrame) -> None:
    """Refuse what is no table, or a table without a column or with two of one name."""
    if not isinstance(observations, pd.DataFrame):
        kind = type(observations).__name__
        raise FitError(f"observations: found a {kind}; accepted: a pandas DataFrame with {', '.join(REQUIRED)}.")
    columns = [str(column) for column in observations.columns]
    missing = [name for name in REQUIRED if name not in columns]
    hints = [near_name(name, columns) or "" for name in missing]
    problems = [f"column '{name}' is missing. {hint}".strip() for name, hint in zip(missing, hints, strict=True)]
    twice = sorted({name for name in columns if columns.count(name) > 1})
    problems += [f"column '{name}': found it {columns.count(name)} times; accepted: once." for name in twice]
    if problems:
        raise FitError(problems)


def _row_labels(index: pd.Index) -> NDArray[np.object_]:
    """What rows are called: by the table's index, and by their place where the index repeats itself."""
    labels = np.empty(len(index), dtype=object)
    labels[:] = [str(label) for label in index]
    if not index.is_unique:
        labels[:] = [f"{place} (index {label})" for place, label in enumerate(labels)]
    return labels


def _few(problems: Sequence[str]) -> list[str]:
    """The first problems of one kind, and how many more there are."""
    rest = len(problems) - MOST_LISTED
    return [*problems[:MOST_LISTED], *([f"... and {rest} more like the last one."] if rest > 0 else [])]


def _unknown_kind(label: str, found: str) -> str:
    accepted = f"nothing, or one of {', '.join(PROTECTIONS)}"
    hint = near_name(found, PROTECTIONS)
    return f"row {label}, column protected: found '{found}'; accepted: {accepted}.{f' {hint}' if hint else ''}"


def _given(table: pd.DataFrame, name: str) -> NDArray[np.bool_]:
    """In which rows a column holds something."""
    if name not in table.columns:
        return np.zeros(len(table), dtype=np.bool_)
    return (table[name].notna() & (table[name].astype(str) != "")).to_numpy(dtype=np.bool_)


def _unnamed(table: pd.DataFrame, labels: NDArray[np.object_]) -> list[str]:
    problems = []
    for name in NAMES:
        empty = np.flatnonzero(~_given(table, name))
        problems += _few([f"row {labels[i]}, column {name}: found nothing; accepted: a name." for i in empty])
    mistaken = np.flatnonzero(table["rootstock"].astype(str) == ALL_STOCKS)
    return problems + _few([
        f"row {labels[i]}, column rootstock: found '{ALL_STOCKS}'; accepted: another name, since comparisons and ranks "
        "call the mean over all rootstocks so."
        for i in mistaken
    ])  # fmt: skip


def _numbers(column: pd.Series) -> Floats:
    """A column as floats; NaN where it holds no number: truth and dates are none."""
    if column.dtype.kind not in "iuf":
        readable = [
            isinstance(value, numbers.Real | str) and not isinstance(value, bool | np.bool_) for value in column
        ]
        column = column.astype(object).where(np.array(readable, dtype=np.bool_))
    return pd.to_numeric(column, errors="coerce").to_numpy(dtype=float, na_value=np.nan)


def _shown(value: object) -> str:
    return "nothing" if value is None or value is pd.NA or value == "" else f"{value}"


def _accepted(grades: int) -> dict[str, tuple[str, Callable[[Floats], NDArray[np.bool_]]]]:
    """What each column of numbers may hold, in words and as a test."""
    return {
        "exposure_c": ("a temperature in degC", lambda v: np.abs(v) < 100),
        "exposure_sd_c": ("a number, 0 or more", lambda v: v >= 0),
        "sensor_sd_c": ("a number, 0 or more", lambda v: v >= 0),
        "grade": (f"a whole grade 0-{grades - 1}", lambda v: (v >= 0) & (v < grades) & (v == np.round(v))),
        "grade_low": ("a whole grade from 0 to the row's grade", lambda v: (v >= 0) & (v == np.round(v))),
        "near": ("a whole number, 1 or more", lambda v: (v >= 1) & (v == np.round(v))),
    }


def _contradictions(table: pd.DataFrame, labels: NDArray[np.object_]) -> list[str]:
    above = np.flatnonzero(table["grade_low"] > table["grade"])
    problems = _few([
        f"row {labels[i]}: grade_low {table['grade_low'][i]:g} is above grade {table['grade'][i]:g}." for i in above
    ])  # fmt: skip
    twice = table.loc[table.duplicated(["plant", "freeze"]), ["plant", "freeze"]].drop_duplicates()
    problems += _few([
        f"plant {plant}, freeze {freeze}: two rows; accepted: one row for a plant and freeze."
        for plant, freeze in twice.itertuples(index=False)
    ])  # fmt: skip
    cells = table[["plant", "selection", "rootstock"]].drop_duplicates()
    problems += _few([
        f"plant {plant} is listed under two selections or rootstocks; accepted: one."
        for plant in cells.loc[cells.duplicated("plant"), "plant"].unique()
    ])  # fmt: skip
    return problems + _freezes_at_odds(table)


def _freezes_at_odds(table: pd.DataFrame) -> list[str]:
    """Freezes that say two things of themselves. Rows that name no sensor are of one sensor."""
    sensor = table["sensor"].where(_given(table, "sensor"), "") if "sensor" in table.columns else ""
    stated = table[["freeze", "exposure_c", "exposure_sd_c"]].assign(sensor=sensor).astype({"sensor": str})
    hint = "" if stated["sensor"].ne("").all() else " Rows without a sensor count as one sensor."
    problems = []
    for column, what in (("exposure_c", "exposures"), ("exposure_sd_c", "values of exposure_sd_c")):
        problems += _few([
            f"freeze {freeze} has two {what} at one sensor ({some[0]:g} and {some[1]:g}); accepted: one.{hint}"
            for freeze, some in _several(stated[["freeze", "sensor", column]])
        ])  # fmt: skip
    if "event" in table.columns:
        events = table.loc[_given(table, "event"), ["freeze", "event"]].astype(str)
        problems += _few([
            f"freeze {freeze} lies in two events ({some[0]} and {some[1]}); accepted: one."
            for freeze, some in _several(events)
        ])  # fmt: skip
    return problems


def _several(table: pd.DataFrame) -> list[tuple[str, list[Any]]]:
    """By the first column: what the last one holds, where that is not one thing for all the others."""
    found: dict[tuple[str, ...], list[Any]] = {}
    for *key, value in table.drop_duplicates().itertuples(index=False, name=None):
        found.setdefault(tuple(key), []).append(value)
    return [(key[0], found[key]) for key in sorted(found) if len(found[key]) > 1]
