"""Which rootstock makes its trees hardier: differences of pairs of stocks.

Two questions, a row each. ``shared``: on the selections that both carry, the difference of their critical temperatures
on average: b_r - b_q and the mean of c over these selections. ``any``: over selections at large, b_r - b_q alone. Where
the interval covers 0 the stocks are *not separable*, which is not to say that they are alike.
"""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pandas as pd
from scipy import sparse

from hardiness import schema
from hardiness.tolerance.basis import Figures
from hardiness.tolerance.border import Block
from hardiness.tolerance.design import Design
from hardiness.tolerance.floors import check_share
from hardiness.tolerance.functionals import differences, posterior_of
from hardiness.tolerance.posterior import Posterior

NOT_SEPARABLE = "not separable"


def rootstocks_table(posterior: Posterior, *, level: float = 0.9) -> pd.DataFrame:
    """Compare rootstocks in pairs: those that an unprotected plant with a score stands on.

    Parameters
    ----------
    posterior : Posterior
    level : float
        Probability of the central interval.

    Returns
    -------
    DataFrame
        Columns of ``schema.ROOTSTOCKS``; differences in K, negative where ``rootstock_a`` is hardier. A pair without
        a shared selection has no row ``shared``.

    Raises
    ------
    FitError
        If ``level`` is out of range.
    """
    level, design = check_share("level", level), posterior.design
    stocks = next(block for block in design.blocks if block.kind == "rootstock")
    names = schema.column_names(schema.ROOTSTOCKS)
    tested = sorted({stock for _, stock in design.tested_cells})
    pairs = [(a, b, _carried_by_both(design, a, b)) for a, b in combinations(tested, 2)]
    if not pairs:
        return pd.DataFrame(columns=names)
    at_large = _table(pairs, "any", posterior, _population(design, stocks, pairs), level)
    meeting = [pair for pair in pairs if pair[2]]
    tables = [at_large]
    if meeting:
        tables.append(_table(meeting, "shared", posterior, _on_shared(design, meeting), level))
    whole = pd.concat(tables).sort_values(["rootstock_a", "rootstock_b", "over"], ascending=[True, True, False])
    return whole.reset_index(drop=True)[names]


_Pair = tuple[str, str, list[str]]


def _carried_by_both(design: Design, a: str, b: str) -> list[str]:
    on_a, on_b = ({selection for selection, stock in design.tested_cells if stock == name} for name in (a, b))
    return sorted(on_a & on_b)


def _population(design: Design, stocks: Block, pairs: list[_Pair]) -> Figures:
    alpha = np.zeros((len(pairs), design.n_dense))
    for row, (a, b, _) in enumerate(pairs):
        alpha[row, stocks.start + stocks.names.index(a)] = 1.0
        alpha[row, stocks.start + stocks.names.index(b)] = -1.0
    return Figures(sparse.csr_array((len(pairs), len(design.cells))), alpha, np.zeros(len(pairs)))


def _on_shared(design: Design, pairs: list[_Pair]) -> Figures:
    index = {cell: number for number, cell in enumerate(design.cells)}
    left, right = (np.zeros((len(pairs), len(design.cells))) for _ in range(2))
    for row, (a, b, shared) in enumerate(pairs):
        for side, stock in ((left, a), (right, b)):
            side[row, [index[selection, stock] for selection in shared]] = 1.0 / len(shared)
    return differences(design, sparse.csr_array(left), sparse.csr_array(right))


def _table(pairs: list[_Pair], over: str, posterior: Posterior, figures: Figures, level: float) -> pd.DataFrame:
    difference = posterior_of(posterior, figures)
    low, middle, high = difference.quantiles([0.5 - level / 2.0, 0.5, 0.5 + level / 2.0])
    table = pd.DataFrame([(a, b, over, len(shared)) for a, b, shared in pairs])
    table.columns = pd.Index(["rootstock_a", "rootstock_b", "over", "shared_selections"])
    table["difference_c"], table["low_c"], table["high_c"] = middle, low, high
    table["probability_a_hardier"] = difference.probability_below(np.zeros(len(pairs)))
    hardier = np.where(high < 0, table["rootstock_a"] + " is hardier", table["rootstock_b"] + " is hardier")
    table["verdict"] = np.where((low <= 0) & (high >= 0), NOT_SEPARABLE, hardier)
    return table
