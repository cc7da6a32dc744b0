r"""The picture without a model: what plants and counts show by themselves, beside the model's answers.

*Turnbull's estimate* (1976, doi:10.1111/j.2517-6161.1976.tb01597.x): a plant that died at -9 degC and had come through
-6 has its kill threshold somewhere between; the estimate is the distribution of thresholds under which such intervals
are most probable, and it puts mass on a few innermost intervals only. *Spearman and Karber's mean* (trimmed: Hamilton,
Russo & Thurston 1977, doi:10.1021/es60130a004) of killed shares joined by straight lines in degC: no logarithm is
taken, temperatures being no doses. *Binomial limits* of a killed share.

Cold plays the part of time: intervals are half-open, (coldest survived, warmest fatal] in -degC, so that a plant lives
at the warm end and is dead at the cold one.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike
from scipy import optimize, stats

from hardiness.errors import FitError
from hardiness.tolerance.likelihood import Floats

MOST_STEPS = 500
CLOSE = 1e-8  # of the count: how far the likelihood's slope may stay above it at the maximum
NO_MASS = 1e-7  # a smaller mass is none
LEAST_SHARE = 1e-6  # of a step; a shorter one is left to the self-consistent one


@dataclass(frozen=True, slots=True)
class Turnbull:
    """Turnbull's estimate of a distribution from intervals.

    Parameters
    ----------
    left, right : ndarray, dims (interval,)
        Innermost intervals ``(left, right]`` with mass, in order; how the mass lies inside is unknowable.
    mass : ndarray, dims (interval,)
        Summing to 1.
    log_likelihood : float
        Of the intervals given.
    """

    left: Floats
    right: Floats
    mass: Floats
    log_likelihood: float

    def reached(self, at: ArrayLike) -> tuple[Floats, Floats]:
        """Bounds of the share at or below values: mass surely there, and mass that may be.

        Parameters
        ----------
        at : array_like, dims (value,)

        Returns
        -------
        least, most : ndarray, dims (value,)
        """
        values = np.atleast_1d(np.asarray(at, dtype=float))[:, None]
        return (self.right <= values) @ self.mass, (self.left < values) @ self.mass

    def middle(self) -> tuple[float, float]:
        """The interval that holds the median: where the reached share may first be one half, and where it surely is.

        Returns
        -------
        left, right : float
        """
        least = np.cumsum(self.mass)
        place = int(np.searchsorted(least, 0.5 - NO_MASS))
        return float(self.left[place]), float(self.right[place])


def turnbull(left: ArrayLike, right: ArrayLike) -> Turnbull:
    """Estimate a distribution from intervals that each hold one value.

    The likelihood is concave in the masses; each step solves its quadratic picture under the constraints (Wang 2008,
    doi:10.1016/j.csda.2007.10.018) and makes the masses self-consistent once; the end is where no mass could move to
    any gain.

    Parameters
    ----------
    left, right : array_like, dims (observation,)
        Values lie in ``(left, right]``; ``-inf`` and ``inf`` where an end is open.

    Returns
    -------
    Turnbull

    Raises
    ------
    FitError
        If there is no interval, an end is not a number, an interval is empty, or the solve does not settle.

    Examples
    --------
    >>> found = turnbull([-np.inf, 4.0, 6.0], [5.0, 7.0, np.inf])
    >>> found.left.tolist(), found.right.tolist(), found.mass.round(4).tolist()
    ([4.0, 6.0], [5.0, 7.0], [0.5, 0.5])
    """
    low, high = np.asarray(left, dtype=float), np.asarray(right, dtype=float)
    if low.ndim != 1 or low.shape != high.shape or not low.size:
        raise FitError("Turnbull's estimate: accepted: at least one interval, a left and a right end each.")
    if not (low < high).all():  # NaN fails too
        raise FitError("Turnbull's estimate: found an interval without a value in it; accepted: left below right.")
    ends, counts = np.unique(np.column_stack([low, high]), axis=0, return_counts=True)
    inner_left, inner_right = _innermost(ends[:, 0], ends[:, 1])
    inside = (ends[:, :1] <= inner_left) & (inner_right <= ends[:, 1:])
    mass, log_likelihood = _most_probable(inside.astype(float), counts.astype(float))
    kept = mass > NO_MASS
    return Turnbull(inner_left[kept], inner_right[kept], mass[kept] / mass[kept].sum(), log_likelihood)


def _innermost(left: Floats, right: Floats) -> tuple[Floats, Floats]:
    """Intervals from a left end to the next end of all, where that is a right one."""
    values = np.concatenate([left, right])
    opens = np.repeat([True, False], left.size)
    order = np.lexsort((opens, values))  # at a tie the closed right end lies before the open left one
    values, opens = values[order], opens[order]
    starts = np.flatnonzero(opens[:-1] & ~opens[1:])
    return values[starts], values[starts + 1]


def _most_probable(inside: Floats, counts: Floats) -> tuple[Floats, float]:
    mass, total = np.full(inside.shape[1], 1.0 / inside.shape[1]), counts.sum()

    def value(trial: Floats) -> float:
        with np.errstate(divide="ignore"):
            return float(counts @ np.log(inside @ trial))

    for _ in range(MOST_STEPS):
        slopes = inside / (inside @ mass)[:, None]
        if (counts @ slopes).max() - total < CLOSE * total:
            return mass, value(mass)
        # The quadratic picture under masses that sum to 1 is a cone's: solved without that sum, then scaled to it.
        picture = np.sqrt(counts / total)[:, None] * (slopes - 2.0)
        matrix = np.vstack([picture, np.ones((1, mass.size))])
        aim = optimize.nnls(matrix, np.append(np.zeros(counts.size), 1.0))[0]
        aim /= aim.sum()
        share, best = 1.0, value(mass)
        while value((1.0 - share) * mass + share * aim) < best and share > LEAST_SHARE:
            share *= 0.5
        if share > LEAST_SHARE:
            mass = (1.0 - share) * mass + share * aim
        # Self-consistency: what each mass is expected to hold of the observations. It never loses.
        mass = mass * (counts @ (inside / (inside @ mass)[:, None])) / total
    raise FitError("Turnbull's estimate did not settle; look for many intervals that nearly coincide.")


@dataclass(frozen=True, slots=True)
class Middle:
    """Spearman and Karber's estimate.

    Parameters
    ----------
    value : float
        Mean of the (trimmed) distribution of kill thresholds.
    standard_error : float
        From binomial counts.
    """

    value: float
    standard_error: float


def spearman_karber(at: ArrayLike, exposed: ArrayLike, killed: ArrayLike, *, trim: float = 0.0) -> Middle:
    r"""The mean kill threshold from shares killed at several exposures, joined by straight lines.

    With shares made to rise with the exposure (pooling neighbours that do not), x(p) their inverse and A the trim,

    .. math:: \hat\mu = \frac{1}{1 - 2A} \int_A^{1-A} x(p)\, dp, \qquad
              \widehat{var} = \sum_i \frac{p_i (1 - p_i)}{n_i} \left(\frac{1}{1 - 2A} \int h_i(x)\, dx\right)^2

    h_i is the triangle over exposure i between x(A) and x(1 - A). Without trim this is the classical
    :math:`\sum_i p_i (1 - p_i) / n_i \cdot ((x_{i+1} - x_{i-1}) / 2)^2`.

    Parameters
    ----------
    at : array_like, dims (exposure,)
        Exposures on a scale along which more is killed: -degC, or the logarithm of a dose.
    exposed, killed : array_like, dims (exposure,)
        Counts.
    trim : float
        Share cut from either end, from 0 to below 0.5.

    Returns
    -------
    Middle
        On the scale of ``at``.

    Raises
    ------
    FitError
        If a count is impossible, or the shares killed do not reach from ``trim`` to ``1 - trim``: no estimate.

    Examples
    --------
    >>> found = spearman_karber([6.0, 8.0, 10.0], [5, 5, 5], [0, 2, 5])
    >>> round(found.value, 3), round(found.standard_error, 3)
    (8.2, 0.438)
    """
    x, n, dead = _counts(at, exposed, killed)
    if not 0.0 <= trim < 0.5:
        raise FitError(f"trim: found {trim:g}; accepted: a share from 0 to below 0.5.")
    share = np.asarray(optimize.isotonic_regression(dead / n, weights=n).x)
    if share[0] > trim or share[-1] < 1.0 - trim:
        raise FitError(
            f"no estimate: shares killed reach from {share[0]:.2g} to {share[-1]:.2g}; "
            f"accepted: from {trim:g} or less to {1.0 - trim:g} or more."
        )
    last, first = np.flatnonzero(share <= trim)[-1], np.flatnonzero(share >= 1.0 - trim)[0]
    start, end = _crossing(x, share, last, trim), _crossing(x, share, first - 1, 1.0 - trim)
    knots = np.unique(np.clip(np.concatenate([[start], x, [end]]), start, end))
    widths = np.diff(knots)
    # Hats are straight between knots: their integrals are trapezoids.
    hats = np.array([np.interp(knots, x, unit) for unit in np.eye(x.size)])
    pulls = (0.5 * (hats[:, 1:] + hats[:, :-1])) @ widths
    # By parts: the integral of x over p is [x p] less the integral of p over x.
    value = (end * (1.0 - trim) - start * trim - share @ pulls) / (1.0 - 2.0 * trim)
    variance = np.sum(share * (1.0 - share) / n * pulls**2) / (1.0 - 2.0 * trim) ** 2
    return Middle(float(value), float(np.sqrt(variance)))


def _counts(at: ArrayLike, exposed: ArrayLike, killed: ArrayLike) -> tuple[Floats, Floats, Floats]:
    x, n, dead = (np.asarray(values, dtype=float) for values in (at, exposed, killed))
    if x.ndim != 1 or x.shape != n.shape or x.shape != dead.shape or not x.size:
        raise FitError("accepted: an exposure, a count exposed and a count killed each, at least one.")
    if not np.isfinite(x).all() or not ((n > 0) & (dead >= 0) & (dead <= n)).all():
        raise FitError(
            "found an exposure that is no number, or a count that cannot be; accepted: 0 <= killed <= exposed, not 0."
        )
    values, place = np.unique(x, return_inverse=True)
    exposed_there, killed_there = (np.bincount(place, weights=each).astype(float) for each in (n, dead))
    return values, exposed_there, killed_there


def _crossing(x: Floats, share: Floats, place: int, level: float) -> float:
    """Where the line from one exposure to the next passes a share."""
    if share[place] == level:
        return float(x[place])
    rise = (level - share[place]) / (share[place + 1] - share[place])
    return float(x[place] + rise * (x[place + 1] - x[place]))


def binomial_limits(
    killed: int, exposed: int, *, level: float = 0.95, method: Literal["wilson", "exact"] = "wilson"
) -> tuple[float, float]:
    """Limits of the share killed that counts allow: no deaths among few plants do not make a share of 0.

    Parameters
    ----------
    killed, exposed : int
        Counts.
    level : float
        Probability of the interval.
    method : str
        ``wilson`` (Wilson 1927) or ``exact`` (Clopper & Pearson 1934, doi:10.1093/biomet/26.4.404).

    Returns
    -------
    low, high : float

    Raises
    ------
    FitError
        If a count cannot be.

    Examples
    --------
    >>> [round(limit, 4) for limit in binomial_limits(0, 5)]
    [0.0, 0.4345]
    """
    if not 0 <= killed <= exposed or exposed < 1:
        raise FitError(f"found {killed} killed of {exposed}; accepted: 0 <= killed <= exposed, at least one exposed.")
    limits = stats.binomtest(int(killed), int(exposed)).proportion_ci(level, method=method)
    return float(limits.low), float(limits.high)
