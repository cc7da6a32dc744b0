"""Observations as arrays the model can use: checked, sorted, and indexed.

In: the observations table. Out: :class:`Design`: for each row its grades and exposure; the tree of plants, cells
(selection on rootstock) and selections; and the dense block of effects that many plants share: the critical
temperatures, the rootstocks, and the freezes (with events and sensors where they are named).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import sparse

from hardiness.errors import FitError, near_name
from hardiness.tolerance.likelihood import Floats

Indices = NDArray[np.int64]
Matrix = Any  # numpy array or scipy sparse array; both take @, .T and slicing

REQUIRED = ("plant", "selection", "rootstock", "freeze", "exposure_c", "exposure_sd_c", "grade")
MOST_LISTED = 20  # faults of one column in a message
DENSE_LIMIT = 20_000_000  # entries; above it the row matrices are sparse


@dataclass(frozen=True, slots=True)
class Block:
    """Where one kind of effect stands in the dense block."""

    start: int
    names: tuple[str, ...]
    own_sd: Floats
    has_tau: str | None = None

    @property
    def columns(self) -> slice:
        """Its columns of the dense block."""
        return slice(self.start, self.start + len(self.names))


@dataclass(frozen=True, slots=True)
class Design:
    """Rows and effects of one fit.

    Rows that say nothing (grade_low 0 and the last grade at once) are not in the row arrays.

    Parameters
    ----------
    table : DataFrame
        The checked rows, sorted; what counts and evidence are taken from.
    grades : int
        Number of grades, K + 1.
    low, high : ndarray, dims (row,)
        Least and most new damage that the row allows.
    exposure : ndarray, dims (row,)
        [degC]
    log_near : ndarray, dims (row,)
        [1]
    plant_of_row, cell_of_plant, selection_of_cell, rootstock_of_cell : ndarray of int
        The tree.
    cells : tuple of (selection, rootstock)
    selections, rootstocks : tuple of str
    upper, lower : matrix, dims (row, dense)
        Coefficients of the dense block in the critical temperature of grades ``low`` and ``high + 1``.
    blocks : tuple of Block
        Rootstocks, freezes, and events and sensors where named.
    alpha_mean : float
        Prior mean of the first critical temperature: the warmest exposure met. [degC]
    """

    table: pd.DataFrame
    grades: int
    low: Indices
    high: Indices
    exposure: Floats
    log_near: Floats
    plant_of_row: Indices
    cell_of_plant: Indices
    selection_of_cell: Indices
    rootstock_of_cell: Indices
    cells: tuple[tuple[str, str], ...]
    selections: tuple[str, ...]
    rootstocks: tuple[str, ...]
    upper: Matrix
    lower: Matrix
    blocks: tuple[Block, ...]
    alpha_mean: float

    @property
    def worst(self) -> int:
        """The last grade, K."""
        return self.grades - 1

    @property
    def gaps(self) -> slice:
        """Columns of the gaps between neighbouring critical temperatures."""
        return slice(1, self.worst)

    @property
    def n_dense(self) -> int:
        """Width of the dense block."""
        return int(self.upper.shape[1])

    def alpha_row(self, grade: int) -> Floats:
        """Coefficients, dims (dense,), of the critical temperature of a grade, without the prior mean."""
        row = np.zeros(self.n_dense)
        row[0] = 1.0
        row[1:grade] = -1.0
        return row


def check_observations(observations: pd.DataFrame, grades: int) -> pd.DataFrame:
    """Check a table of observations and put it into one order.

    Parameters
    ----------
    observations : DataFrame
        At least the columns ``plant, selection, rootstock, freeze, exposure_c, exposure_sd_c, grade``; a
        ``protected`` column that is neither empty nor ``no`` leaves a row out.
    grades : int
        Number of grades.

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
        table = table[table["protected"].fillna("").astype(str).isin(["", "no"])]
    if table.empty:
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
    whole = ["grade", "grade_low", "near"]
    table[whole] = table[whole].astype(np.int64)
    order = ["selection", "rootstock", "plant", "freeze", "exposure_c", "grade", "grade_low"]
    return table.sort_values(order, kind="stable").reset_index(drop=True)


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
    if _named(table, "sensor"):
        exposures = table[["freeze", "sensor", "exposure_c", "exposure_sd_c"]].drop_duplicates()
        for freeze in exposures.loc[exposures.duplicated(["freeze", "sensor"]), "freeze"].unique():
            problems.append(f"freeze {freeze} has two exposures at one sensor; accepted: one.")
    return problems


def _named(table: pd.DataFrame, name: str) -> bool:
    return name in table.columns and bool((table[name].notna() & (table[name].astype(str) != "")).all())


def build_design(table: pd.DataFrame, grades: int) -> Design:
    """Index checked observations; see :class:`Design`.

    Parameters
    ----------
    table : DataFrame
        From :func:`check_observations`.
    grades : int
        Number of grades.

    Returns
    -------
    Design

    Raises
    ------
    FitError
        If a sensor's standard deviation is below 0, missing, varies within the sensor, or is above a freeze's.
    """
    worst = grades - 1
    cells_of_plants = table[["plant", "selection", "rootstock"]].drop_duplicates().reset_index(drop=True)
    cells = cells_of_plants[["selection", "rootstock"]].drop_duplicates().reset_index(drop=True)
    selections = tuple(dict.fromkeys(cells["selection"]))
    rootstocks = tuple(sorted(set(cells["rootstock"])))
    says = ~((table["grade_low"] == 0) & (table["grade"] == worst)).to_numpy()
    rows = table[says].reset_index(drop=True)
    cell_index = pd.MultiIndex.from_frame(cells)
    blocks = _blocks(table, rootstocks, first=max(worst, 1))
    low, high = rows["grade_low"].to_numpy(np.int64), rows["grade"].to_numpy(np.int64)
    upper, lower = _row_matrices(rows, low, high, worst, blocks)
    return Design(
        table=table,
        grades=grades,
        low=low,
        high=high,
        exposure=rows["exposure_c"].to_numpy(float),
        log_near=np.log(rows["near"].to_numpy(float)),
        plant_of_row=_positions(rows["plant"], cells_of_plants["plant"].tolist()),
        cell_of_plant=cell_index.get_indexer(pd.MultiIndex.from_frame(cells_of_plants[["selection", "rootstock"]])),
        selection_of_cell=_positions(cells["selection"], list(selections)),
        rootstock_of_cell=_positions(cells["rootstock"], list(rootstocks)),
        cells=tuple(cells.itertuples(index=False, name=None)),
        selections=selections,
        rootstocks=rootstocks,
        upper=upper,
        lower=lower,
        blocks=blocks,
        alpha_mean=float(table["exposure_c"].max()),
    )


def _positions(values: pd.Series, names: list[str]) -> Indices:
    return pd.Index(names).get_indexer(pd.Index(values)).astype(np.int64)


def _blocks(table: pd.DataFrame, rootstocks: tuple[str, ...], first: int) -> tuple[Block, ...]:
    """Lay out rootstocks and freezes; with events and sensors named, e = sensor + event + rest."""
    blocks = [Block(first, rootstocks, np.zeros(len(rootstocks)), "tau_b")]
    split = all(_named(table, name) for name in ("sensor", "event")) and "sensor_sd_c" in table.columns
    freezes = table.assign(_freeze=_freeze_key(table, split)).groupby("_freeze", sort=True)
    sd = np.sqrt(freezes["exposure_sd_c"].apply(lambda values: float(np.mean(np.square(values)))))
    names = tuple(str(name) for name in sd.index)
    start = first + len(rootstocks)
    if not split:
        return (*blocks, Block(start, names, sd.to_numpy(float), "tau_e"))
    sensors = table.assign(sensor=table["sensor"].astype(str)).groupby("sensor", sort=True)["sensor_sd_c"]
    if not np.isfinite(table["sensor_sd_c"].to_numpy(float)).all() or (table["sensor_sd_c"] < 0).any():
        raise FitError("column sensor_sd_c: found a number that is missing or below 0; accepted: a number, 0 or more.")
    if (sensors.max() > sensors.min()).any():
        name = (sensors.max() - sensors.min()).idxmax()
        raise FitError(f"sensor {name}: found two values of sensor_sd_c; accepted: one for a sensor.")
    of_sensor = freezes["sensor_sd_c"].first()
    rest = np.square(sd) - np.square(of_sensor)
    if (rest < -1e-9).any():
        raise FitError(f"freeze {rest.idxmin()}: sensor_sd_c is above exposure_sd_c; accepted: at most that.")
    events = tuple(sorted(set(table["event"].astype(str))))
    blocks.append(Block(start, names, np.sqrt(rest.clip(lower=0.0)).to_numpy(float)))
    blocks.append(Block(start + len(names), events, np.zeros(len(events)), "tau_e"))
    blocks.append(
        Block(start + len(names) + len(events), tuple(sensors.first().index), sensors.first().to_numpy(float))
    )
    return tuple(blocks)


def _freeze_key(table: pd.DataFrame, split: bool) -> pd.Series:
    return table["freeze"] + "\x1f" + table["sensor"].astype(str) if split else table["freeze"]


def _row_matrices(
    rows: pd.DataFrame, low: Indices, high: Indices, worst: int, blocks: tuple[Block, ...]
) -> tuple[Matrix, Matrix]:
    n, width = len(rows), blocks[-1].columns.stop
    split = len(blocks) == 4
    keys = [rows["rootstock"], _freeze_key(rows, split)]
    if split:
        keys += [rows["event"].astype(str), rows["sensor"].astype(str)]
    shared_columns = [block.start + _positions(key, list(block.names)) for block, key in zip(blocks, keys, strict=True)]
    shared_signs = [1.0] + [-1.0] * (len(blocks) - 1)  # a freeze that reads too warm makes plants look tender

    def matrix(grade: Indices, counts: NDArray[np.bool_]) -> Matrix:
        columns, values, numbers = [np.zeros(n, np.int64)], [np.ones(n)], [np.arange(n)]
        for gap in range(1, worst):
            below = np.flatnonzero(grade > gap)
            columns.append(np.full(below.size, gap))
            values.append(np.full(below.size, -1.0))
            numbers.append(below)
        for column, sign in zip(shared_columns, shared_signs, strict=True):
            columns.append(column)
            values.append(np.full(n, sign))
            numbers.append(np.arange(n))
        whole = sparse.csr_array(
            (np.concatenate(values), (np.concatenate(numbers), np.concatenate(columns))), shape=(n, width)
        )
        whole = (sparse.dia_array((counts.astype(float)[None, :], [0]), shape=(n, n)) @ whole).tocsr()
        return whole.toarray() if n * width <= DENSE_LIMIT else whole

    return matrix(low, low > 0), matrix(high + 1, high < worst)
