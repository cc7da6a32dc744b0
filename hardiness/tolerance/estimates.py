"""What the model found beside floors: its scales, and the effects of its optional terms, all in degC."""

from __future__ import annotations

import numpy as np
import pandas as pd
from scipy import sparse

from hardiness import schema
from hardiness.tolerance.basis import Figures
from hardiness.tolerance.border import Block
from hardiness.tolerance.floors import check_share
from hardiness.tolerance.functionals import posterior_of
from hardiness.tolerance.posterior import Posterior
from hardiness.tolerance.terms import CORE


def scales_table(posterior: Posterior, *, level: float = 0.9) -> pd.DataFrame:
    """Posterior of sigma and the taus.

    Parameters
    ----------
    posterior : Posterior
    level : float
        Probability of the central interval.

    Returns
    -------
    DataFrame
        Columns of ``schema.ESTIMATES``, with kind ``scale``; the estimate is the mean. [K]

    Raises
    ------
    FitError
        If ``level`` is out of range.
    """
    level = check_share("level", level)
    weights = posterior.weights
    rows = []
    for name in posterior.priors.names:
        values = posterior.scale(name)
        mean = float(weights @ values)
        sd = float(np.sqrt(weights @ np.square(values - mean)))
        low, high = (_weighted_quantile(values, weights, 0.5 + side * level / 2.0) for side in (-1, 1))
        rows.append(("scale", name, "", mean, low, high, sd))
    return pd.DataFrame(rows, columns=schema.column_names(schema.ESTIMATES))


def terms_table(posterior: Posterior, *, level: float = 0.9) -> pd.DataFrame:
    """Posterior of the effects of the model's optional terms.

    Parameters
    ----------
    posterior : Posterior
    level : float
        Probability of the central interval.

    Returns
    -------
    DataFrame
        Columns of ``schema.ESTIMATES``, with kind ``fixed`` (K per unit of the column), ``protected`` (a kind of
        protection) or ``random`` (one label, such as a winter); the estimate is the median, positive is more tender.

    Raises
    ------
    FitError
        If ``level`` is out of range.
    """
    level = check_share("level", level)
    blocks = [block for block in posterior.design.blocks if block.kind not in CORE]
    labels = [_label(block, name) for block in blocks for name in block.names]
    columns = schema.column_names(schema.ESTIMATES)
    if not labels:
        return pd.DataFrame(columns=columns)
    positions = np.concatenate([np.arange(block.columns.start, block.columns.stop) for block in blocks])
    design, count = posterior.design, len(labels)
    dense = np.zeros((count, design.n_dense))
    dense[np.arange(count), positions] = 1.0
    found = posterior_of(posterior, Figures(sparse.csr_array((count, len(design.cells))), dense, np.zeros(count)))
    sd = found.moments()[1]
    low, middle, high = found.quantiles([0.5 - level / 2.0, 0.5, 0.5 + level / 2.0])
    rows = [(*label, *numbers) for label, *numbers in zip(labels, middle, low, high, sd, strict=True)]
    return pd.DataFrame(rows, columns=columns)


def _label(block: Block, name: str) -> tuple[str, str, str]:
    if block.kind == "fixed":
        return "fixed", name, ""
    if block.kind == "protected":
        return "protected", "protected", name
    return "random", block.kind, name


def _weighted_quantile(values: np.ndarray, weights: np.ndarray, share: float) -> float:
    order = np.argsort(values, kind="stable")
    summed = np.cumsum(weights[order]) - 0.5 * weights[order]
    return float(np.interp(share, summed / weights.sum(), values[order]))
