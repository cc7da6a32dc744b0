"""The dense border of the model: effects that many plants share, and how each row and each cell rests on them.

Columns: the critical temperature of grade 1 and the gaps to the others, the rootstocks, the freezes (where sensors and
events are named, a freeze is sensor + event + rest), and the optional terms.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import sparse

from hardiness.errors import FitError
from hardiness.tolerance.likelihood import Floats
from hardiness.tolerance.matrices import Indices, Matrix
from hardiness.tolerance.rows import is_named, stands_open
from hardiness.tolerance.terms import Kinship, Terms

_SEPARATOR = "\x1f"


@dataclass(frozen=True, slots=True)
class Block:
    """Where one kind of effect stands in the dense border, and its prior N(0, own_sd^2 + (tau share)^2).

    Parameters
    ----------
    kind : str
        ``rootstock``, ``freeze``, ``event``, ``sensor``, ``ancestor``, ``fixed``, ``protected``, or the column of a
        random term.
    start : int
        Its first column.
    names : tuple of str
        What each column stands for.
    own_sd : ndarray, dims (column,)
        Known standard deviation. [K]
    tau : str, optional
        The scale that adds to it.
    share : ndarray, dims (column,)
        How much of that scale. [1]
    """

    kind: str
    start: int
    names: tuple[str, ...]
    own_sd: Floats
    tau: str | None
    share: Floats

    @property
    def columns(self) -> slice:
        """Its columns of the dense border."""
        return slice(self.start, self.start + len(self.names))


@dataclass(frozen=True, slots=True)
class Border:
    """The blocks, and the coefficients of rows and cells in them.

    Parameters
    ----------
    blocks : tuple of Block
    rows : sparse matrix, dims (row, dense)
        Without the critical temperatures.
    cells : sparse matrix, dims (cell, dense)
        Of a typical plant in a typical freeze: rootstock and ancestors.
    """

    blocks: tuple[Block, ...]
    rows: Matrix
    cells: Matrix


class _Layout:
    """Lays blocks side by side and gathers coefficients."""

    def __init__(self, first: int, n_rows: int, n_cells: int) -> None:
        self.next = first
        self.blocks: list[Block] = []
        self.sizes = {"rows": n_rows, "cells": n_cells}
        self.parts: dict[str, list[tuple[Indices, Indices, Floats]]] = {"rows": [], "cells": []}

    def block(
        self, kind: str, names: tuple[str, ...], own_sd: Floats, tau: str | None = None, share: Floats | None = None
    ) -> Block:
        block = Block(kind, self.next, names, own_sd, tau, np.ones(len(names)) if share is None else share)
        self.blocks.append(block)
        self.next += len(names)
        return block

    def labels(self, where: str, block: Block, labels: pd.Series, sign: float) -> None:
        columns = block.start + pd.Index(block.names).get_indexer(pd.Index(labels)).astype(np.int64)
        self.parts[where].append((np.arange(len(columns)), columns, np.full(len(columns), sign)))

    def values(self, where: str, block: Block, values: Floats) -> None:
        numbers, columns = np.nonzero(values)
        self.parts[where].append((numbers, block.start + columns, values[numbers, columns]))

    def matrix(self, where: str) -> Matrix:
        numbers, columns, values = (np.concatenate(part) for part in zip(*self.parts[where], strict=True))
        return sparse.csr_array((values, (numbers, columns)), shape=(self.sizes[where], self.next))


def lay_border(
    table: pd.DataFrame, rows: pd.DataFrame, cells: pd.DataFrame, *, first: int, terms: Terms, kinship: Kinship
) -> Border:
    """Lay out the dense border of a design.

    Parameters
    ----------
    table : DataFrame
        All checked rows.
    rows : DataFrame
        Those that say something.
    cells : DataFrame
        ``selection, rootstock`` of each cell.
    first : int
        Columns taken by the critical temperatures.
    terms : Terms
    kinship : Kinship

    Returns
    -------
    Border

    Raises
    ------
    FitError
        If a sensor's standard deviation is below 0, missing, varies within the sensor, or is above a freeze's; or a
        term's column is missing or has gaps.
    """
    layout = _Layout(first, len(rows), len(cells))
    names = tuple(sorted(set(cells["rootstock"])))
    stocks = layout.block("rootstock", names, np.zeros(len(names)), "tau_b")
    layout.labels("rows", stocks, rows["rootstock"], 1.0)
    layout.labels("cells", stocks, cells["rootstock"], 1.0)
    _lay_freezes(layout, table, rows)
    if kinship.ancestors:
        share = np.sqrt(kinship.ancestor_variance)
        ancestors = layout.block("ancestor", kinship.ancestors, np.zeros(share.size), "tau_a", share)
        for where, frame in (("rows", rows), ("cells", cells)):
            weights = [kinship.weights[name] for name in frame["selection"]]
            layout.values(where, ancestors, np.array(weights).reshape(-1, share.size))
    for name, sd in terms.fixed.items():
        if not np.isfinite(pd.to_numeric(_term(table, name), errors="coerce")).all():
            raise FitError(f"column '{name}': found a value that is no number; accepted: a number in every row.")
        block = layout.block("fixed", (name,), np.array([float(sd)]))
        layout.values("rows", block, rows[[name]].to_numpy(float))
    if terms.protection is not None and not stands_open(table).all():
        kinds = tuple(sorted(set(table.loc[~stands_open(table), "protected"])))
        block = layout.block("protected", kinds, np.full(len(kinds), float(terms.protection)))
        layout.values("rows", block, (rows["protected"].to_numpy()[:, None] == np.array(kinds)).astype(float))
    for name in terms.random:
        names = tuple(sorted(set(_term(table, name).astype(str))))
        block = layout.block(name, names, np.zeros(len(names)), f"tau_{name}")
        layout.labels("rows", block, rows[name].astype(str), 1.0)
    return Border(tuple(layout.blocks), layout.matrix("rows"), layout.matrix("cells"))


def _term(table: pd.DataFrame, name: str) -> pd.Series:
    if name not in table.columns:
        raise FitError(
            f"column '{name}' is missing, though a term of the model names it; accepted: a column of that name."
        )
    return table[name]


def _lay_freezes(layout: _Layout, table: pd.DataFrame, rows: pd.DataFrame) -> None:
    """Lay out freezes; with events and sensors named, e = sensor + event + rest. What reads too warm counts against."""
    split = all(is_named(table, name) for name in ("sensor", "event")) and "sensor_sd_c" in table.columns
    freezes = table.assign(_freeze=_freeze_key(table, split)).groupby("_freeze", sort=True)
    sd = np.sqrt(freezes["exposure_sd_c"].apply(lambda values: float(np.mean(np.square(values)))))
    names = tuple(str(name) for name in sd.index)
    if not split:
        layout.labels("rows", layout.block("freeze", names, sd.to_numpy(float), "tau_e"), rows["freeze"], -1.0)
        return
    sensors = table.assign(sensor=table["sensor"].astype(str)).groupby("sensor", sort=True)["sensor_sd_c"]
    if not np.isfinite(table["sensor_sd_c"].to_numpy(float)).all() or (table["sensor_sd_c"] < 0).any():
        raise FitError("column sensor_sd_c: found a number that is missing or below 0; accepted: a number, 0 or more.")
    if (sensors.max() > sensors.min()).any():
        name = (sensors.max() - sensors.min()).idxmax()
        raise FitError(f"sensor {name}: found two values of sensor_sd_c; accepted: one for a sensor.")
    rest = np.square(sd) - np.square(freezes["sensor_sd_c"].first())
    if (rest < -1e-9).any():
        name = str(rest.idxmin()).split(_SEPARATOR)[0]
        raise FitError(f"freeze {name}: sensor_sd_c is above exposure_sd_c; accepted: at most that.")
    own = layout.block("freeze", names, np.sqrt(rest.clip(lower=0.0)).to_numpy(float))
    layout.labels("rows", own, _freeze_key(rows, split), -1.0)
    events = tuple(sorted(set(table["event"].astype(str))))
    cold = layout.block("event", events, np.zeros(len(events)), "tau_e")
    layout.labels("rows", cold, rows["event"].astype(str), -1.0)
    of_sensor = sensors.first()
    bias = layout.block("sensor", tuple(of_sensor.index), of_sensor.to_numpy(float))
    layout.labels("rows", bias, rows["sensor"].astype(str), -1.0)


def _freeze_key(table: pd.DataFrame, split: bool) -> pd.Series:
    return table["freeze"] + _SEPARATOR + table["sensor"].astype(str) if split else table["freeze"]
