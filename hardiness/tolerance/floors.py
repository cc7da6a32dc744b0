r"""**The definition of the tolerance floor**, and of the figure that may be claimed.

The tolerance floor of a selection on a rootstock is the held temperature of a typical freeze at which a stated share q
(90 % unless told) of such plants come through without reaching the stated grade k (the last one unless told):

.. math:: \alpha_k + a_s + b_r + c_{sr} + Q(q)

with Q(q) the q-quantile of :math:`\tau_u Z + \sigma L`. Colder is hardier. The *claimable* floor speaks of freezes to
come: it is the warmest of the 95 % point of the same with Q of :math:`\sqrt{\tau_u^2 + \tau_e^2} Z + \sigma L`, of the
coldest exposure tested, and of the coldest that a plant of the cell came through. It is empty where all died, or where
nothing was tested. A floor is an estimate for the places and winters tested.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from hardiness import schema
from hardiness.errors import FitError
from hardiness.tolerance.evidence import count_evidence
from hardiness.tolerance.functionals import critical_temperatures, posterior_of
from hardiness.tolerance.mixture import Mixture
from hardiness.tolerance.posterior import Posterior
from hardiness.tolerance.spread import spread_quantile

CLAIM_LEVEL = 0.95  # one-sided


def check_share(name: str, value: float) -> float:
    """A share strictly between 0 and 1.

    Parameters
    ----------
    name : str
        What the share is called.
    value : float

    Returns
    -------
    float

    Raises
    ------
    FitError
        Otherwise.
    """
    if not 0.0 < value < 1.0:
        raise FitError(f"{name}: found {value:g}; accepted: a share between 0 and 1, such as 0.9.")
    return float(value)


def check_grade(grade: int | None, grades: int) -> int:
    """The grade asked for: 1..K, the last where none is given.

    Parameters
    ----------
    grade : int or None
    grades : int
        Number of grades.

    Returns
    -------
    int

    Raises
    ------
    FitError
        If there is no such grade.
    """
    if grade is None:
        return grades - 1
    if grade != int(grade) or not 1 <= grade < grades:
        raise FitError(f"grade: found {grade}; accepted: a grade from 1 to {grades - 1}.")
    return int(grade)


def floor_mixture(posterior: Posterior, *, survive: float, grade: int) -> Mixture:
    """Posterior of every cell's tolerance floor.

    Parameters
    ----------
    posterior : Posterior
    survive : float
        Share that comes through.
    grade : int
        Without reaching this grade.

    Returns
    -------
    Mixture
        Figures in the order of ``posterior.design.cells``. [degC]
    """
    critical = posterior_of(posterior, critical_temperatures(posterior.design, grade))
    return critical.shifted(spread_quantile(survive, posterior.scale("tau_u"), posterior.scale("sigma")))


def floors_table(posterior: Posterior, *, survive: float, grade: int | None, level: float) -> pd.DataFrame:
    """Tolerance floors of every selection and rootstock with a row.

    Parameters
    ----------
    posterior : Posterior
    survive : float
        Share that comes through, between 0 and 1.
    grade : int or None
        Without reaching this grade; None: the last.
    level : float
        Probability of the central interval, between 0 and 1.

    Returns
    -------
    DataFrame
        Columns of ``schema.FLOORS``; temperatures in degC, NaN where there is none.

    Raises
    ------
    FitError
        If a share or the grade is out of range.
    """
    survive, level = check_share("survive", survive), check_share("level", level)
    grade = check_grade(grade, posterior.design.grades)
    critical = posterior_of(posterior, critical_temperatures(posterior.design, grade))
    tau_u, tau_e, sigma = (posterior.scale(name) for name in ("tau_u", "tau_e", "sigma"))
    floor = critical.shifted(spread_quantile(survive, tau_u, sigma))
    to_come = critical.shifted(spread_quantile(survive, np.hypot(tau_u, tau_e), sigma))
    cells = pd.DataFrame(list(posterior.design.cells), columns=["selection", "rootstock"])
    cells["floor_c"] = floor.quantile(0.5)
    cells["floor_low_c"] = floor.quantile(0.5 - level / 2.0)
    cells["floor_high_c"] = floor.quantile(0.5 + level / 2.0)
    cells["bound"] = to_come.quantile(CLAIM_LEVEL)
    table = count_evidence(posterior.design.table, grade).merge(cells, on=["selection", "rootstock"], how="left")
    warmest = table[["bound", "tested_to_c", "coldest_survived_c"]].max(axis=1)
    table["claimable_c"] = warmest.where(table["evidence"].isin(["bracketed", "all survived"]))
    return table[schema.column_names(schema.FLOORS)]
