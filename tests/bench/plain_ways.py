"""Two plain ways to a floor, one selection at a time: what a trial gives without pooling.

Both get the rows that the fit gets. A selection is answered where a finite estimate exists; `reasons` counts why not.

* Logit (statsmodels): death of a row against its exposure; the exposure at which one in ten dies, with its interval by
  the delta method. Whether Fieller's interval (Fieller 1954, doi:10.1111/j.2517-6161.1954.tb00159.x) is bounded too is
  counted.
* Weibull (lifelines): each plant's fatal coldness [K below 0 degC] lies between the coldest freeze it came through and
  the one that killed it; the coldness that kills one in ten, delta method on its logarithm.
"""

from __future__ import annotations

import warnings
from collections import Counter
from dataclasses import dataclass, field

import numpy as np
import pandas as pd
import statsmodels.api as sm
from lifelines import WeibullFitter
from lifelines.exceptions import ConvergenceError
from scipy import stats

KILLED = 0.1  # share that dies at the 90 % floor
Z90 = float(stats.norm.ppf(0.95))
LEAST_COLD = 0.1  # [K] below 0 degC; the Weibull has no room for less
MOST = 100.0  # [degC] an answer further out is none

NO_ANSWER = (np.nan, np.nan, np.nan)


@dataclass
class Plain:
    """Floor, cold end and warm end [degC] by selection, and how many selections had which outcome."""

    floors: dict[str, tuple[float, float, float]] = field(default_factory=dict)
    reasons: Counter[str] = field(default_factory=Counter)


def logit_floors(rows: pd.DataFrame, worst: int) -> Plain:
    """One logistic regression a selection."""
    found = Plain()
    for name, own in rows.groupby("selection"):
        answer, reason = _logit(own["exposure_c"].to_numpy(float), (own["grade"] == worst).to_numpy())
        found.floors[str(name)] = answer
        found.reasons[reason] += 1
    return found


def _logit(exposure: np.ndarray, died: np.ndarray) -> tuple[tuple[float, float, float], str]:
    if not died.any():
        return NO_ANSWER, "no death"
    if died.all():
        return NO_ANSWER, "no survivor"
    dead, alive = exposure[died], exposure[~died]
    if np.unique(exposure).size == 1:
        return NO_ANSWER, "one exposure"
    if dead.max() <= alive.min() or alive.max() <= dead.min():
        return NO_ANSWER, "separated"
    middle = exposure.mean()
    fitted = sm.Logit(died.astype(float), sm.add_constant(exposure - middle)).fit(disp=0, maxiter=200)
    level, slope = fitted.params
    if not fitted.mle_retvals["converged"] or slope >= 0:
        return NO_ANSWER, "colder is better" if slope >= 0 else "not converged"
    covariance = fitted.cov_params()
    target = np.log(KILLED / (1.0 - KILLED))
    away = (target - level) / slope
    gradient = np.array([-1.0, -away]) / slope
    se = float(np.sqrt(gradient @ covariance @ gradient))
    bounded = slope**2 > Z90**2 * covariance[1, 1]
    floor = middle + away
    if not np.isfinite([floor, se]).all() or abs(floor) > MOST:
        return NO_ANSWER, "far out"
    return (floor, floor - Z90 * se, floor + Z90 * se), "bounded by Fieller" if bounded else "unbounded by Fieller"


def weibull_floors(rows: pd.DataFrame, worst: int) -> Plain:
    """One interval-censored Weibull a selection."""
    found = Plain()
    for name, own in rows.groupby("selection"):
        intervals = np.array([_interval(plant, worst) for _, plant in own.groupby("plant")])
        answer, reason = _weibull(intervals[:, 0], intervals[:, 1])
        found.floors[str(name)] = answer
        found.reasons[reason] += 1
    return found


def _interval(plant: pd.DataFrame, worst: int) -> tuple[float, float]:
    """The plant's fatal coldness: above what it came through, at or below what killed it.

    A plant killed by a milder freeze than one it had come through contradicts itself; only milder ones then count.
    """
    cold = np.maximum(-plant["exposure_c"].to_numpy(float), LEAST_COLD)
    died = (plant["grade"] == worst).to_numpy()
    fatal = float(cold[died].min()) if died.any() else np.inf
    survived = cold[~died & (cold < fatal)]
    return (float(survived.max()) if survived.size else 0.0), fatal


def _weibull(lower: np.ndarray, upper: np.ndarray) -> tuple[tuple[float, float, float], str]:
    if np.isinf(upper).all():
        return NO_ANSWER, "no death"
    if (lower == 0.0).all():
        return NO_ANSWER, "no survivor"
    if lower.max() <= upper.min():
        return NO_ANSWER, "separated"  # one coldness explains all plants: the shape grows without end
    fitter = WeibullFitter(alpha=0.1)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # its advice on convergence; what did not converge raises, or is far out
        try:
            fitter.fit_interval_censoring(lower, upper)
        except ConvergenceError:
            return NO_ANSWER, "not converged"
    covariance = fitter.variance_matrix_.loc[["lambda_", "rho_"], ["lambda_", "rho_"]].to_numpy()
    spread = np.log(-np.log1p(-KILLED))
    log_cold = np.log(fitter.lambda_) + spread / fitter.rho_
    gradient = np.array([1.0 / fitter.lambda_, -spread / fitter.rho_**2])
    variance = float(gradient @ covariance @ gradient)
    if not (np.isfinite([log_cold, variance]).all() and variance >= 0 and log_cold < np.log(MOST)):
        return NO_ANSWER, "far out"
    reach = Z90 * np.sqrt(variance)
    cold, coldest, mildest = np.exp([log_cold, min(log_cold + reach, 700.0), log_cold - reach])
    return (-float(cold), -float(coldest), -float(mildest)), "answered"
