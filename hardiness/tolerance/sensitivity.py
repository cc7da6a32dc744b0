"""What other priors would have said: floors under half and double the scales of the priors."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pandas as pd

from hardiness import schema
from hardiness.tolerance.factor import blas_threads
from hardiness.tolerance.floors import check_grade, floor_distribution
from hardiness.tolerance.posterior import Posterior, find_posterior
from hardiness.tolerance.priors import SCALES, Priors

SPREADS = "spreads"  # the half-normal priors of all taus
SPAN = "span"  # the distance from the first grade to the last
BOTH = "both"
ENDS = (0.05, 0.5, 0.95)  # of the intervals whose widths are compared, and their middle
VARIANTS = tuple((what, factor) for what in (SPREADS, SPAN) for factor in (0.5, 2.0))
TOGETHER = ((BOTH, 0.5), (BOTH, 2.0))


def sensitivity_table(
    posterior: Posterior,
    *,
    survive: float = 0.9,
    grade: int | None = None,
    variants: Sequence[tuple[str, float]] = VARIANTS,
) -> pd.DataFrame:
    """Compute floors under other priors: all spreads expected half or twice as large, the span half or twice as long.

    Parameters
    ----------
    posterior : Posterior
    survive : float
        Share that comes through.
    grade : int, optional
        Without reaching this grade; the last unless given.
    variants : sequence of (str, float)
        What is changed, and by which factor.

    Returns
    -------
    DataFrame
        Columns of ``schema.SENSITIVITY``, a row per cell and prior. Each costs one fit.

    Raises
    ------
    FitError
        If there is no such grade.
    """
    design = posterior.design
    grade = check_grade(grade, design.grades)
    before, width = _floors(posterior, survive, grade)
    parts = []
    for what, factor in variants:
        priors = scaled_priors(posterior.priors, factor) if what != SPAN else posterior.priors
        span = posterior.span_c * (factor if what != SPREADS else 1.0)
        with blas_threads():
            other = find_posterior(design, priors, span_c=span)
        after, other_width = _floors(other, survive, grade)
        parts.append(
            pd.DataFrame(list(design.cells), columns=["selection", "rootstock"]).assign(
                prior=what, factor=factor, floor_c=after, shift_c=after - before, width_ratio=other_width / width
            )
        )
    table = pd.concat(parts, ignore_index=True)
    return table.sort_values(["selection", "rootstock"], kind="stable", ignore_index=True)[
        schema.column_names(schema.SENSITIVITY)
    ]


def scaled_priors(priors: Priors, factor: float) -> Priors:
    """Multiply the scales of the half-normal priors of all standard deviations.

    Parameters
    ----------
    priors : Priors
    factor : float

    Returns
    -------
    Priors

    Examples
    --------
    >>> scaled_priors(Priors(tau_a=2.0), 0.5).tau_a
    1.0
    """
    scales = {name: factor * getattr(priors, name) for name in SCALES[1:]}
    return replace(priors, **scales, others={name: factor * scale for name, scale in priors.others.items()})


def _floors(posterior: Posterior, survive: float, grade: int) -> tuple[np.ndarray, np.ndarray]:
    """Medians of the floors, and widths of their central intervals. [degC], [K]."""
    mixture = floor_distribution(posterior, survive=survive, grade=grade)
    low, middle, high = mixture.quantiles(ENDS)
    return middle, high - low
