"""Which plant and which freeze pulls a floor most: how far the floor moves when they are left out.

Fast: the scales stay at their mode. Without a plant, the floor moves by one Newton step
(:mod:`hardiness.tolerance.leaving`); without a freeze, which may hold half of all deaths, the mode is found anew. Then,
for the few freezes that matter, the whole posterior is computed anew, scales included: at held scales the shift of a
freeze is understated, by a third and more where it pulls hard.
"""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from hardiness import schema
from hardiness.tolerance.design import Design
from hardiness.tolerance.factor import blas_threads
from hardiness.tolerance.floors import check_grade, floor_distribution
from hardiness.tolerance.functionals import critical_temperatures, reduce_figures
from hardiness.tolerance.latent import Effects
from hardiness.tolerance.leaving import Leverage, central_mode, keep_rows, mode_without, telling_rows
from hardiness.tolerance.likelihood import Floats
from hardiness.tolerance.matrices import Indices, to_dense
from hardiness.tolerance.posterior import Posterior, find_posterior
from hardiness.tolerance.rows import is_named, stands_open

PLANT, FREEZE = "plant", "freeze"
MOST_KEPT = 3  # plants and freezes listed for a cell, of each kind
LEAST_PULL = 0.5  # of half an interval's width: freezes that move no bracketed floor so far are not left out anew
MOST_REFITS = 6  # each costs as much as the fit
CHUNK = 4_000_000  # figures x rows at a time
MOST_ROWS = 2_000_000  # rows x freezes; past it only the freezes with most rows are left out


def influence_table(
    posterior: Posterior, *, survive: float = 0.9, grade: int | None = None, most: int = MOST_KEPT,
    selections: Iterable[str] | None = None,
) -> pd.DataFrame:  # fmt: skip
    """List the plants and freezes whose leaving out moves each floor most.

    Parameters
    ----------
    posterior : Posterior
    survive : float
        Share that comes through; it moves the floor, not the shifts.
    grade : int, optional
        Without reaching this grade; the last unless given.
    most : int
        How many of each kind for a floor.
    selections : iterable of str, optional
        Only floors of these.

    Returns
    -------
    DataFrame
        Columns of ``schema.INFLUENCE``: a positive shift means a warmer floor without it. A freeze is one cold spell at
        all sensors where events are named. ``refit_shift_c`` is empty: see :func:`confirmed_influence`.

    Raises
    ------
    FitError
        If there is no such grade.
    """
    design = posterior.design
    grade = check_grade(grade, design.grades)
    wanted = set(design.selections if selections is None else selections)
    chosen = np.array([i for i, (name, _) in enumerate(design.cells) if name in wanted], dtype=np.int64)
    floor = floor_distribution(posterior, survive=survive, grade=grade).quantile(0.5)
    with blas_threads():
        mode = central_mode(posterior)
        by_plant = _plant_shifts(Leverage.of(mode), design, grade, chosen)
        names, by_freeze = _freeze_shifts(posterior, design, mode.effects, grade, chosen)
    parts = []
    for kind, labels, shifts in ((PLANT, np.array(design.plants), by_plant), (FREEZE, names, by_freeze)):
        for place, cell in enumerate(chosen):
            order = np.argsort(-np.abs(shifts[place]), kind="stable")[:most]
            parts += [(*design.cells[cell], kind, str(labels[number]), float(floor[cell]),
                       float(shifts[place, number]), np.nan) for number in order]  # fmt: skip
    table = pd.DataFrame(parts, columns=schema.column_names(schema.INFLUENCE))
    size = table["shift_c"].abs()
    return table.assign(size=-size).sort_values(
        ["selection", "rootstock", "size", "kind", "left_out"], ignore_index=True
    ).drop(columns="size")  # fmt: skip


def confirm_influence(
    posterior: Posterior, table: pd.DataFrame, *, survive: float = 0.9, grade: int | None = None
) -> pd.DataFrame:
    """Compute the whole posterior anew without each plant or freeze that a table of influence lists.

    Parameters
    ----------
    posterior : Posterior
    table : DataFrame
        Rows of :func:`influence_table`, a few: each plant or freeze costs as much as the fit.
    survive : float
        As in :func:`influence_table`.
    grade : int, optional
        As in :func:`influence_table`.

    Returns
    -------
    DataFrame
        The same rows with ``refit_shift_c``. [K]

    Raises
    ------
    FitError
        If there is no such grade, or what is left cannot be fitted.
    """
    design = posterior.design
    grade = check_grade(grade, design.grades)
    found = table.copy()
    for kind, name in sorted(set(zip(table["kind"], table["left_out"], strict=True))):
        rows = found.index[(found["kind"] == kind) & (found["left_out"] == name)]
        reduced = keep_rows(design, _members(design, kind) != name)
        with blas_threads():
            other = find_posterior(reduced, posterior.priors, span_c=posterior.span_c)
        floors = floor_distribution(other, survive=survive, grade=grade).quantile(0.5)
        moved = dict(zip(design.cells, floors, strict=True))
        cells = zip(found.loc[rows, "selection"], found.loc[rows, "rootstock"], strict=True)
        found.loc[rows, "refit_shift_c"] = [moved[cell] for cell in cells] - found.loc[rows, "floor_c"].to_numpy()
    return found


def confirmed_influence(
    posterior: Posterior, floors: pd.DataFrame, *, survive: float = 0.9, grade: int | None = None,
    selections: Iterable[str] | None = None,
) -> pd.DataFrame:  # fmt: skip
    """List as :func:`influence_table` does, and compute the posterior anew without the freezes that pull hardest.

    Parameters
    ----------
    posterior : Posterior
    floors : DataFrame
        Columns of ``schema.FLOORS``, for the same share and grade.
    survive : float
        As in :func:`influence_table`.
    grade : int, optional
        As in :func:`influence_table`.
    selections : iterable of str, optional
        Only floors of these.

    Returns
    -------
    DataFrame
        Columns of ``schema.INFLUENCE``; ``refit_shift_c`` where a freeze pulls a bracketed floor by more than
        :data:`LEAST_PULL`, of at most :data:`MOST_REFITS` freezes, and something of the cell is left without it.
    """
    table = influence_table(posterior, survive=survive, grade=grade, selections=selections)
    untested = left_untested(posterior.design, table)
    pulls = with_pulls(table[(table["kind"] == FREEZE) & ~untested], floors)
    hardest = pulls[pulls["pull"] > LEAST_PULL].groupby("left_out")["pull"].max().sort_values(ascending=False)
    chosen = (table["kind"] == FREEZE) & ~untested & table["left_out"].isin(hardest.index[:MOST_REFITS])
    if chosen.any():
        table.loc[chosen] = confirm_influence(posterior, table[chosen], survive=survive, grade=grade)
    return table


def with_refits(table: pd.DataFrame, confirmed: pd.DataFrame) -> pd.DataFrame:
    """Take into a table of influence what another one knows of fits done anew.

    Parameters
    ----------
    table : DataFrame
        Columns of ``schema.INFLUENCE``.
    confirmed : DataFrame
        The same columns.

    Returns
    -------
    DataFrame
        The rows of ``table``.
    """
    keys = ["selection", "rootstock", "kind", "left_out"]
    both = table[keys].merge(confirmed[[*keys, "refit_shift_c"]], on=keys, how="left")
    return table.assign(refit_shift_c=both["refit_shift_c"].to_numpy(dtype=float))


def with_pulls(table: pd.DataFrame, floors: pd.DataFrame) -> pd.DataFrame:
    """Keep shifts of bracketed floors, and hold them against the intervals.

    Parameters
    ----------
    table : DataFrame
        Columns ``selection, rootstock, shift_c``; ``refit_shift_c`` counts where it is known.
    floors : DataFrame
        Columns of ``schema.FLOORS``.

    Returns
    -------
    DataFrame
        With ``pull``: the shift in halves of the floor's interval. [1]
    """
    known = floors.loc[floors["evidence"] == "bracketed", ["selection", "rootstock", "floor_low_c", "floor_high_c"]]
    both = table.merge(known, on=["selection", "rootstock"])
    shift = both["shift_c"]
    if "refit_shift_c" in both.columns:
        shift = both["refit_shift_c"].fillna(shift)
    return both.assign(pull=shift.abs() / (0.5 * (both["floor_high_c"] - both["floor_low_c"])))


def left_untested(design: Design, table: pd.DataFrame) -> NDArray[np.bool_]:
    """Tell which rows of a table of influence leave their cell without any row that says something.

    Parameters
    ----------
    design : Design
    table : DataFrame
        Columns ``selection, rootstock, kind, left_out``.

    Returns
    -------
    ndarray of bool, dims (row,)
    """
    rows = design.table[telling_rows(design)]
    open_rows = stands_open(rows)
    alone: dict[tuple[str, str, str], set[str]] = {}
    for kind in (PLANT, FREEZE):
        names = _members(design, kind)
        for selection, rootstock, name in zip(
            rows["selection"][open_rows], rows["rootstock"][open_rows], names[open_rows], strict=True
        ):
            alone.setdefault((kind, selection, rootstock), set()).add(str(name))
    keys = table[["kind", "selection", "rootstock", "left_out"]].itertuples(index=False, name=None)
    return np.array([alone.get(tuple(cell), set()) <= {name} for *cell, name in keys], dtype=np.bool_)


def _members(design: Design, kind: str) -> NDArray[np.str_]:
    """What each telling row belongs to: its plant, or its freeze."""
    table = design.table[telling_rows(design)]
    column = PLANT if kind == PLANT else "event" if is_named(design.table, "event") else FREEZE
    return table[column].astype(str).to_numpy(dtype=str)


def _plant_shifts(leverage: Leverage, design: Design, grade: int, chosen: Indices) -> Floats:
    """Shift of each chosen cell's critical temperature without each plant, dims (cell, plant). [K]."""
    n, mode = design.low.size, leverage.mode
    pulls = np.zeros((2, n))
    order = np.argsort(design.plant_of_row, kind="stable")
    for rows in np.split(order, np.flatnonzero(np.diff(design.plant_of_row[order])) + 1):
        pulls[:, rows] = leverage.pull(rows).reshape(2, -1)
    figures = critical_temperatures(design, grade)
    shifts = np.zeros((chosen.size, len(design.plants)))
    step = max(1, CHUNK // max(n, 1))
    for first in range(0, chosen.size, step):
        cells = chosen[first : first + step]
        some = type(figures)(figures.cells[cells], figures.alpha[cells], figures.offset[cells])
        reduced = reduce_figures(design, mode, some)
        upper, lower = _row_covariances(leverage, design, reduced.answer, reduced.cells, reduced.selections)
        by_row = upper * pulls[0] + lower * pulls[1]
        for place, values in enumerate(by_row):
            shifts[first + place] = -np.bincount(design.plant_of_row, values, minlength=len(design.plants))
    return shifts


def _row_covariances(
    leverage: Leverage, design: Design, answer: Floats, cells: object, selections: object
) -> tuple[Floats, Floats]:
    """Covariance of figures with both critical temperatures of each row, dims (figure, row). [K2]."""
    sums, factor, plant = leverage.sums, leverage.mode.factor, design.plant_of_row
    cell = design.cell_of_plant[plant]
    selection = design.selection_of_cell[cell]
    shared = to_dense(sums.dense @ answer.T).T[:, plant]
    shared = shared + to_dense(cells)[:, cell] * (sums.cell[plant] * factor.variance[1][cell])
    shared = shared + to_dense(selections)[:, selection] * (sums.selection[plant] * factor.variance[2][selection])
    has_upper, has_lower = (design.low > 0).astype(float), (design.high < design.worst).astype(float)
    return (
        shared * has_upper + to_dense(design.upper @ answer.T).T,
        shared * has_lower + to_dense(design.lower @ answer.T).T,
    )


def _freeze_shifts(
    posterior: Posterior, design: Design, effects: Effects, grade: int, chosen: Indices
) -> tuple[NDArray[np.str_], Floats]:
    """Shift of each chosen cell's critical temperature without each freeze, dims (cell, freeze). [K]."""
    freezes = _members(design, FREEZE)
    names, counts = np.unique(freezes, return_counts=True)
    most = max(1, MOST_ROWS // max(freezes.size, 1))
    if names.size > most:
        names = np.sort(names[np.argsort(-counts, kind="stable")[:most]])
    mode = central_mode(posterior)
    before = _critical(design, effects, grade)[chosen]
    shifts = [_critical(design, mode_without(mode, freezes != name), grade)[chosen] - before for name in names]
    return names, np.array(shifts).reshape(names.size, chosen.size).T


def _critical(design: Design, effects: Effects, grade: int) -> Floats:
    own = effects.cells + effects.selections[design.selection_of_cell]
    return np.asarray(own + design.cell_border @ effects.dense + design.alpha_row(grade) @ effects.dense)
