"""Who stands where: ranks with intervals, and the probabilities of being among the best and hardier than the checks.

Rank 1 is the hardiest. Selections are ranked on each rootstock that they stand on, and over all (``all``): there by
their own effect and the mean of its combinations with the stocks they stand on, the stocks' own part taken out, so that
nobody gains by standing on a hardy stock. Everything comes from joint draws of the posterior. An order does not depend
on the share or the grade asked for: every grade's critical temperature moves with the selection.
"""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import sparse

from hardiness import schema
from hardiness.errors import FitError
from hardiness.schema import ALL_STOCKS
from hardiness.tolerance.basis import Figures
from hardiness.tolerance.compare import known_selections
from hardiness.tolerance.design import Design
from hardiness.tolerance.draws import joint_draws
from hardiness.tolerance.floors import check_share, is_number
from hardiness.tolerance.likelihood import Floats
from hardiness.tolerance.matrices import to_dense
from hardiness.tolerance.posterior import Posterior

MULTIPLICITY = (
    "Each probability of being among the best weighs all rivals at once and selections are pooled, so picking the "
    "leader of many is already allowed for; a pair's interval speaks for that pair alone."
)


def ranks_table(posterior: Posterior, *, best: int = 3, checks: Iterable[str] = (), level: float = 0.9) -> pd.DataFrame:
    """Rank selections on each rootstock and over all.

    Parameters
    ----------
    posterior : Posterior
    best : int
        How many the best are.
    checks : iterable of str
        Selections whose hardiness is known.
    level : float
        Probability of the central interval of ranks.

    Returns
    -------
    DataFrame
        Columns of ``schema.RANKS``, by rank within each rootstock, of one rank by the mean of all draws.
        ``probability_hardier_than_checks`` is missing where no (other) check stands.

    Raises
    ------
    FitError
        If ``best`` is not 1 or more, ``level`` is out of range, or a check has no observation.
    """
    if not is_number(best) or not 1 <= best < np.inf or best != int(best):
        raise FitError(f"best: found {best}; accepted: a whole number, 1 or more.")
    level, yardsticks = check_share("level", level), known_selections(posterior, checks, called="check")
    standing, draws = _standing_draws(posterior)
    tables = []
    for stock, members in _groups(standing):
        ranks = _ranks(draws[:, members])
        low, middle, high = np.quantile(
            ranks, [0.5 - level / 2.0, 0.5, 0.5 + level / 2.0], axis=0, method="inverted_cdf"
        )
        names = standing["selection"].to_numpy()[members]
        table = pd.DataFrame({"selection": names, "rootstock": stock, "ranked": len(names)})
        table["rank"], table["rank_low"], table["rank_high"] = middle, low, high
        table["probability_among_best"] = (ranks <= best).mean(axis=0)
        is_check = np.isin(names, yardsticks)
        table["probability_hardier_than_checks"] = _hardier_than_all(draws[:, members], is_check)
        tables.append(table.iloc[np.lexsort((names, ranks.mean(axis=0), middle))])
    whole = pd.concat(tables, ignore_index=True)
    return whole[schema.column_names(schema.RANKS)]


def checks_table(posterior: Posterior, checks: Iterable[str]) -> pd.DataFrame:
    """Hold every selection against each check on the rootstocks both stand on, and over all.

    Parameters
    ----------
    posterior : Posterior
    checks : iterable of str
        Selections whose hardiness is known.

    Returns
    -------
    DataFrame
        Columns of ``schema.AGAINST_CHECKS``.

    Raises
    ------
    FitError
        If a check has no observation.
    """
    yardsticks = known_selections(posterior, checks, called="check")
    standing, draws = _standing_draws(posterior)
    rows = []
    for stock, members in _groups(standing):
        names = standing["selection"].to_numpy()[members]
        for check in (name for name in yardsticks if name in names):
            against = draws[:, members[names == check]]
            hardier = (draws[:, members] < against).mean(axis=0)
            rows += [(name, stock, check, p) for name, p in zip(names, hardier, strict=True) if name != check]
    return pd.DataFrame(rows, columns=schema.column_names(schema.AGAINST_CHECKS)).astype({"probability_hardier": float})


def _standing_draws(posterior: Posterior) -> tuple[pd.DataFrame, Floats]:
    """What is ranked, and its draws [K]: a column per tested cell, then one per selection over all its stocks."""
    design = posterior.design
    cells = pd.DataFrame(list(design.tested_cells), columns=["selection", "rootstock"])
    over_all = pd.DataFrame({"selection": sorted(set(cells["selection"])), "rootstock": ALL_STOCKS})
    whole = pd.concat([cells, over_all], ignore_index=True)
    return whole, joint_draws(posterior, _figures(design, cells, over_all))


def _figures(design: Design, cells: pd.DataFrame, over_all: pd.DataFrame) -> Figures:
    """Deviations of cells, and of selections apart from their stocks; the critical temperatures are left out."""
    columns = pd.MultiIndex.from_tuples(design.cells).get_indexer(pd.MultiIndex.from_frame(cells))
    shape = (len(cells), len(design.cells))
    own = sparse.csr_array((np.ones(len(cells)), (np.arange(len(cells)), columns)), shape=shape)
    selection = pd.Index(over_all["selection"]).get_indexer(pd.Index(cells["selection"]))
    share = 1.0 / np.bincount(selection)[selection]
    means = sparse.csr_array((share, (selection, columns)), shape=(len(over_all), len(design.cells)))
    alpha = np.zeros((len(cells) + len(over_all), design.n_dense))
    stocks = design.block("rootstock")
    if stocks is not None:
        alpha[len(cells) :, stocks.columns] = -to_dense(means @ design.cell_border[:, stocks.columns])
    return Figures(sparse.vstack([own, means]).tocsr(), alpha, np.zeros(len(alpha)))


def _groups(standing: pd.DataFrame) -> list[tuple[str, NDArray[np.int64]]]:
    """Rows of each rootstock by name, ``all`` last."""
    stocks = sorted(set(standing["rootstock"]) - {ALL_STOCKS})
    return [(stock, np.flatnonzero(standing["rootstock"] == stock)) for stock in (*stocks, ALL_STOCKS)]


def _ranks(draws: Floats) -> NDArray[np.int64]:
    """Rank in each draw, 1 the coldest; dims (draw, figure)."""
    ranks = np.empty(draws.shape, dtype=np.int64)
    np.put_along_axis(ranks, np.argsort(draws, axis=1), np.arange(1, draws.shape[1] + 1)[None, :], axis=1)
    return ranks


def _hardier_than_all(draws: Floats, is_check: NDArray[np.bool_]) -> Floats:
    """Probability of each figure to be colder than every check; a check is held against the others."""
    coldest = np.sort(np.where(is_check, draws, np.inf), axis=1)[:, :2]
    if coldest.shape[1] < 2:
        coldest = np.column_stack([coldest, np.full(len(draws), np.inf)])
    leads = is_check & (draws <= coldest[:, :1])
    rival = np.where(leads, coldest[:, 1:], coldest[:, :1])
    probability: Floats = (draws < rival).mean(axis=0)
    others = is_check.sum() - is_check
    return np.where(others > 0, probability, np.nan)
