r"""Whether one effect moves all grades alike: selections compared by their low grades and by their high ones.

The model gives a selection one effect for all grades. One that is tender in the leaf and hardy in the wood breaks that,
and where few plants died its floor is then taken from its leaves. Here the model is fitted twice, once to what the
scores say of the low grades and once to what they say of the high ones. Each selection's effect is read from both, with
the pooling towards the others taken out: of a posterior mean m with variance v under a prior variance :math:`v_0`,

.. math:: \rho = 1 - v / v_0, \qquad \hat a = m / \rho, \qquad \mathrm{var}(\hat a) = v / \rho

Both fits share their plants and freezes, so the difference is, if anything, surer than its z says.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import sparse

from hardiness import schema
from hardiness.tolerance.design import Design
from hardiness.tolerance.factor import blas_threads
from hardiness.tolerance.functionals import differences, posterior_of
from hardiness.tolerance.leaving import coarsen_rows
from hardiness.tolerance.likelihood import Floats
from hardiness.tolerance.matrices import Matrix
from hardiness.tolerance.posterior import Posterior, find_posterior

LEAST_RELIABILITY = 0.2  # a selection that its scores tell less about is not compared
LEAST_SELECTIONS = 3
NORMAL_UP = 0.8413447460685429  # share of a normal below its mean plus one standard deviation


def last_low_grade(worst: int) -> int:
    """The last of the low grades: leaf and green shoots, before wood.

    Parameters
    ----------
    worst : int
        The last grade.

    Returns
    -------
    int

    Examples
    --------
    >>> last_low_grade(5), last_low_grade(2)
    (2, 1)
    """
    return max(1, worst // 2)


def spacing_table(posterior: Posterior) -> pd.DataFrame:
    """Compare each selection's effect by low grades, the lower half of the scale, with that by high grades.

    Parameters
    ----------
    posterior : Posterior

    Returns
    -------
    DataFrame
        Columns of ``schema.SPACING``, the largest z first; a positive difference means tender by the low grades and
        hardy by the high ones. Empty where the scale has one threshold or fewer than three selections can be compared.
        It costs two fits where there are so many.
    """
    design, names = posterior.design, schema.column_names(schema.SPACING)
    split = last_low_grade(design.worst)
    if not 1 <= split < design.worst or len(design.selections) < LEAST_SELECTIONS:
        return pd.DataFrame(columns=names)
    weights = _contrasts(design)
    low, high = design.low, design.high
    coarse = (
        (np.minimum(low, split), np.where(high >= split, design.worst, high)),
        (np.where(low > split, low, 0), np.maximum(high, split)),
    )
    effects = [_effects(posterior, coarsen_rows(design, *ends), weights) for ends in coarse]
    table = pd.DataFrame(
        {"selection": design.selections, "low_grades_c": effects[0].value, "high_grades_c": effects[1].value}
    )
    table["difference_c"] = effects[0].value - effects[1].value
    table["z"] = table["difference_c"] / np.sqrt(effects[0].variance + effects[1].variance)
    compared = (effects[0].reliability > LEAST_RELIABILITY) & (effects[1].reliability > LEAST_RELIABILITY)
    table = table[compared]
    if len(table) < LEAST_SELECTIONS:
        return pd.DataFrame(columns=names)
    order = table["z"].abs().sort_values(ascending=False, kind="stable").index
    return table.loc[order, names].reset_index(drop=True)


def _contrasts(design: Design) -> tuple[Matrix, Matrix]:
    """Weights of the cells: each selection's own, and the mean of all selections on the same stocks."""
    n_cells, n = len(design.cells), len(design.selections)
    stocks = pd.factorize(np.array([stock for _, stock in design.cells]))[0]
    own = np.zeros((n, n_cells))
    own[design.selection_of_cell, np.arange(n_cells)] = 1.0
    own /= own.sum(axis=1, keepdims=True)
    on_stock = (stocks[:, None] == stocks[None, :]).astype(float)
    return sparse.csr_array(own), sparse.csr_array(own @ (on_stock / on_stock.sum(axis=1, keepdims=True)))


@dataclass(frozen=True, slots=True)
class _Effects:
    """Effects with the pooling taken out, dims (selection,). [K]."""

    value: Floats
    variance: Floats
    reliability: Floats


def _effects(posterior: Posterior, design: Design, weights: tuple[Matrix, Matrix]) -> _Effects:
    with blas_threads():
        fitted = find_posterior(design, posterior.priors, span_c=posterior.span_c)
    mixture = posterior_of(fitted, differences(design, *weights))
    mean = mixture.quantile(0.5)
    variance = ((mixture.quantile(NORMAL_UP) - mixture.quantile(1.0 - NORMAL_UP)) / 2.0) ** 2
    coefficients = (weights[0] - weights[1]).toarray()
    by_selection = np.zeros((coefficients.shape[0], len(design.selections)))
    np.add.at(by_selection.T, design.selection_of_cell, coefficients.T)
    squares = fitted.weights @ fitted.scale("tau_a") ** 2, fitted.weights @ fitted.scale("tau_c") ** 2
    before = squares[0] * np.sum(by_selection**2, axis=1) + squares[1] * np.sum(coefficients**2, axis=1)
    reliability = np.clip(1.0 - variance / np.maximum(before, 1e-12), 0.0, 1.0)
    safe = np.maximum(reliability, 1e-6)
    return _Effects(mean / safe, variance / safe, reliability)
