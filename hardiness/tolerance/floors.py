r"""**The definition of the tolerance floor**, and of the figure that may be claimed.

The tolerance floor of a selection on a rootstock is the held temperature of a typical freeze at which a stated share q
(90 % unless told) of such plants come through without reaching the stated grade k (the last one unless told):

.. math:: \alpha_k + a_s + b_r + c_{sr} + Q(q)

with Q(q) the q-quantile of :math:`\tau_u Z + \sigma L`. Colder is hardier. The *claimable* floor speaks of freezes to
come: it is the warmest of the 95 % point of the same with Q of :math:`\sqrt{\tau_u^2 + \tau_e^2} Z + \sigma L` (with
:math:`\tau_{winter}^2` under the root where the model has an effect of each winter: winters to come differ too), of the
coldest exposure tested, and of the coldest that a plant of the cell came through. It is empty where all died, or where
nothing was tested. Where the model has terms for hardening, years since planting or protection, floors stand for a
hardened, established, unprotected plant. A floor is an estimate for the places and winters tested.
"""

from __future__ import annotations

import numbers
from collections.abc import Sequence

import numpy as np
import pandas as pd

from hardiness import schema
from hardiness.errors import FitError
from hardiness.tolerance.distribution import Distribution
from hardiness.tolerance.evidence import count_evidence
from hardiness.tolerance.functionals import critical_temperatures, posterior_of
from hardiness.tolerance.likelihood import Floats
from hardiness.tolerance.posterior import Posterior
from hardiness.tolerance.spread import spread_quantile

CLAIM_LEVEL = 0.95  # one-sided
DIFFERS_TO_COME = ("tau_u", "tau_e", "tau_winter")  # plants, freezes, and winters where the model tells them apart


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
    if not is_number(value) or not 0.0 < value < 1.0:
        found = f"{value:g}" if is_number(value) else f"'{value}'"
        raise FitError(f"{name}: found {found}; accepted: a share between 0 and 1, such as 0.9.")
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
    if not is_number(grade) or not 1 <= grade < grades or grade != int(grade):
        found = f"'{grade}'" if isinstance(grade, str) else grade
        raise FitError(f"grade: found {found}; accepted: a grade from 1 to {grades - 1}, by its number.")
    return int(grade)


def check_temperatures(temperatures_c: Sequence[float]) -> Floats:
    """Temperatures as an array.

    Parameters
    ----------
    temperatures_c : sequence of float
        [degC]

    Returns
    -------
    ndarray, dims (temperature,)

    Raises
    ------
    FitError
        If it is no list of finite numbers.
    """
    try:
        temperatures = np.asarray(temperatures_c, dtype=float)
    except (TypeError, ValueError):
        temperatures = np.array(np.nan)
    if temperatures.ndim != 1 or not np.isfinite(temperatures).all():
        raise FitError(f"temperatures_c: found {temperatures_c}; accepted: a list of finite temperatures in degC.")
    return temperatures


def is_number(value: object) -> bool:
    """Whether something is a number, as one asks for a grade or a share: text and truth are none.

    Parameters
    ----------
    value : object

    Returns
    -------
    bool

    Examples
    --------
    >>> is_number(0.9), is_number(np.int64(3)), is_number("3"), is_number(True)
    (True, True, False, False)
    """
    return isinstance(value, numbers.Real) and not isinstance(value, bool | np.bool_)


def floor_distribution(posterior: Posterior, *, survive: float, grade: int) -> Distribution:
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
    Mixture or Sample
        Figures in the order of ``posterior.design.cells``. [degC]
    """
    critical = posterior_of(posterior, critical_temperatures(posterior.design, grade))
    return critical.shifted(_plant_deviation(posterior, survive))


def _plant_deviation(posterior: Posterior, survive: float) -> Floats:
    """How far plants deviate from the typical one in a typical freeze [K], at the share asked for; dims (node,)."""
    return spread_quantile(survive, posterior.scale("tau_u"), posterior.scale("sigma"))


def claim_deviation(posterior: Posterior, *, survive: float, more_sd: float = 0.0) -> Floats:
    """How far plants deviate from the typical one over freezes and winters to come, at the share asked for.

    Parameters
    ----------
    posterior : Posterior
    survive : float
        Share that comes through.
    more_sd : float
        Standard deviation of what else differs between freezes to come. [K]

    Returns
    -------
    ndarray, dims (node,)
        [K]
    """
    names = [name for name in DIFFERS_TO_COME if name in posterior.priors.names]
    sd = np.sqrt(more_sd**2 + sum(np.square(posterior.scale(name)) for name in names))
    return spread_quantile(survive, sd, posterior.scale("sigma"))


def claimable(table: pd.DataFrame) -> pd.Series[float]:
    """The figure that the evidence of each cell carries.

    Parameters
    ----------
    table : DataFrame
        Columns ``bound`` (95 % point of the claimable quantile), ``tested_to_c``, ``coldest_survived_c`` and
        ``evidence``.

    Returns
    -------
    Series
        NaN where all died, nothing was tested, or there is no bound. [degC]
    """
    warmest = table[["bound", "tested_to_c", "coldest_survived_c"]].max(axis=1)
    return warmest.where(table["bound"].notna() & table["evidence"].isin(["bracketed", "all survived"]))


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
    floor = critical.shifted(_plant_deviation(posterior, survive))
    to_come = critical.shifted(claim_deviation(posterior, survive=survive))
    cells = pd.DataFrame(list(posterior.design.cells), columns=["selection", "rootstock"])
    ends = floor.quantiles([0.5 - level / 2.0, 0.5, 0.5 + level / 2.0])
    cells["floor_low_c"], cells["floor_c"], cells["floor_high_c"] = ends
    cells["bound"] = to_come.quantile(CLAIM_LEVEL)
    table = count_evidence(posterior.design.table, grade).merge(cells, on=["selection", "rootstock"], how="left")
    table["claimable_c"] = claimable(table)
    return table[schema.column_names(schema.FLOORS)]
