"""Observations as arrays the model can use: indexed along the tree of plants, cells and selections.

In: checked observations. Out: :class:`Design`: for each row its grades and exposure; the tree of plants, cells
(selection on rootstock) and selections; and the dense border of effects that many plants share.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import sparse

from hardiness.tolerance.border import Block, lay_border
from hardiness.tolerance.likelihood import Floats
from hardiness.tolerance.matrices import Indices, Matrix
from hardiness.tolerance.rows import stands_open
from hardiness.tolerance.terms import NO_TERMS, Terms, unrelated

DENSE_LIMIT = 1_000_000  # entries; above it the row matrices are sparse


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
    plant_of_row, cell_of_plant, selection_of_cell : ndarray of int
        The tree.
    cells : tuple of (selection, rootstock)
    plants, selections : tuple of str
    selection_share : ndarray, dims (selection,)
        Variance of each selection's own part, in units of tau_a squared: 1 unless parents are known. [1]
    upper, lower : matrix, dims (row, dense)
        Coefficients of the dense border in the critical temperature of grades ``low`` and ``high + 1``.
    cell_border : matrix, dims (cell, dense)
        Coefficients of the dense border in a typical plant of each cell, without the critical temperatures.
    blocks : tuple of Block
        The dense border behind the critical temperatures.
    alpha_mean : float
        Prior mean of the first critical temperature: the warmest exposure that an unprotected plant met. [degC]
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
    cells: tuple[tuple[str, str], ...]
    plants: tuple[str, ...]
    selections: tuple[str, ...]
    selection_share: Floats
    upper: Matrix
    lower: Matrix
    cell_border: Matrix
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
        """Width of the dense border."""
        return int(self.upper.shape[1])

    @property
    def tested_cells(self) -> tuple[tuple[str, str], ...]:
        """Cells with a row of an unprotected plant: only these have something to show."""
        open_rows = self.table.loc[stands_open(self.table), ["selection", "rootstock"]]
        tested = set(open_rows.itertuples(index=False, name=None))
        return tuple(cell for cell in self.cells if cell in tested)

    def alpha_row(self, grade: int) -> Floats:
        """Coefficients, dims (dense,), of the critical temperature of a grade, without the prior mean.

        Parameters
        ----------
        grade : int
            1..K.

        Returns
        -------
        ndarray, dims (dense,)
        """
        row = np.zeros(self.n_dense)
        row[0] = 1.0
        row[1:grade] = -1.0
        return row

    def block(self, kind: str) -> Block | None:
        """The block of a kind, where the design has one.

        Parameters
        ----------
        kind : str

        Returns
        -------
        Block or None
        """
        return next((block for block in self.blocks if block.kind == kind), None)


def build_design(table: pd.DataFrame, grades: int, terms: Terms = NO_TERMS) -> Design:
    """Index checked observations; see :class:`Design`.

    Parameters
    ----------
    table : DataFrame
        From :func:`hardiness.tolerance.rows.check_observations`.
    grades : int
        Number of grades.
    terms : Terms
        Optional terms of the model.

    Returns
    -------
    Design

    Raises
    ------
    FitError
        If a column that the border needs is at fault.
    """
    worst = grades - 1
    plants = table[["plant", "selection", "rootstock"]].drop_duplicates().reset_index(drop=True)
    cells = plants[["selection", "rootstock"]].drop_duplicates().reset_index(drop=True)
    selections = tuple(dict.fromkeys(cells["selection"]))
    kinship = terms.kinship or unrelated(selections)
    says = ~((table["grade_low"] == 0) & (table["grade"] == worst)).to_numpy()
    rows = table[says].reset_index(drop=True)
    border = lay_border(table, rows, cells, first=worst, terms=terms, kinship=kinship)
    low, high = rows["grade_low"].to_numpy(np.int64), rows["grade"].to_numpy(np.int64)
    of_plants = pd.MultiIndex.from_frame(plants[["selection", "rootstock"]])
    return Design(
        table=table,
        grades=grades,
        low=low,
        high=high,
        exposure=rows["exposure_c"].to_numpy(float),
        log_near=np.log(rows["near"].to_numpy(float)),
        plant_of_row=_positions(rows["plant"], plants["plant"].tolist()),
        cell_of_plant=pd.MultiIndex.from_frame(cells).get_indexer(of_plants),
        selection_of_cell=_positions(cells["selection"], list(selections)),
        cells=tuple(cells.itertuples(index=False, name=None)),
        plants=tuple(plants["plant"]),
        selections=selections,
        selection_share=np.array([kinship.own_variance[name] for name in selections]),
        upper=_row_matrix(low, low > 0, worst, border.rows),
        lower=_row_matrix(high + 1, high < worst, worst, border.rows),
        cell_border=border.cells,
        blocks=border.blocks,
        alpha_mean=float(table.loc[stands_open(table), "exposure_c"].max()),
    )


def keep_selections(design: Design, keep: NDArray[np.bool_]) -> Design:
    """Keep some selections, with their cells, plants and rows; the dense border stays whole.

    Parameters
    ----------
    design : Design
    keep : ndarray of bool, dims (selection,)

    Returns
    -------
    Design
    """
    in_cells = keep[design.selection_of_cell]
    in_plants = in_cells[design.cell_of_plant]
    rows, plants, cells = (np.flatnonzero(some) for some in (in_plants[design.plant_of_row], in_plants, in_cells))
    new_plant, new_cell, new_selection = (np.cumsum(some) - 1 for some in (in_plants, in_cells, keep))
    names = tuple(design.selections[index] for index in np.flatnonzero(keep))
    return replace(
        design,
        table=design.table[design.table["selection"].isin(names)],
        low=design.low[rows],
        high=design.high[rows],
        exposure=design.exposure[rows],
        log_near=design.log_near[rows],
        plant_of_row=new_plant[design.plant_of_row[rows]],
        cell_of_plant=new_cell[design.cell_of_plant[plants]],
        selection_of_cell=new_selection[design.selection_of_cell[cells]],
        cells=tuple(design.cells[index] for index in cells),
        plants=tuple(design.plants[index] for index in plants),
        selections=names,
        selection_share=design.selection_share[keep],
        upper=design.upper[rows],
        lower=design.lower[rows],
        cell_border=design.cell_border[cells],
    )


def _positions(values: pd.Series, names: list[str]) -> Indices:
    return pd.Index(names).get_indexer(pd.Index(values)).astype(np.int64)


def _row_matrix(grade: Indices, has_end: NDArray[np.bool_], worst: int, shared: Matrix) -> Matrix:
    """The shared effects and the critical temperature of each row's grade; empty rows where it has no such end."""
    n, width = shared.shape
    alpha = np.where(np.arange(worst)[None, :] < grade[:, None], -1.0, 0.0)
    alpha[:, 0] = 1.0
    whole = sparse.hstack([sparse.csr_array(alpha), sparse.csr_array((n, width - worst))]).tocsr() + shared
    whole = (sparse.dia_array((has_end.astype(float)[None, :], [0]), shape=(n, n)) @ whole).tocsr()
    return whole.toarray() if n * width <= DENSE_LIMIT else whole
