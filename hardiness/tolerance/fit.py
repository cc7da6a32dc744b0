"""Fit the tolerance model to observations: the one call from rows to answers."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
import xarray as xr

from hardiness.errors import FitError
from hardiness.settings import SPAN_C
from hardiness.tolerance.cautions import fit_cautions
from hardiness.tolerance.claims import claims_table
from hardiness.tolerance.compare import compare_table
from hardiness.tolerance.curves import survival_curves
from hardiness.tolerance.design import build_design
from hardiness.tolerance.estimates import scales_table, terms_table
from hardiness.tolerance.factor import blas_threads
from hardiness.tolerance.floors import check_grade, floors_table, is_number
from hardiness.tolerance.posterior import Posterior, find_posterior
from hardiness.tolerance.priors import Priors
from hardiness.tolerance.ranks import checks_table, ranks_table
from hardiness.tolerance.rootstocks import rootstocks_table
from hardiness.tolerance.rows import check_observations, stands_open
from hardiness.tolerance.terms import NO_TERMS, Terms
from hardiness.tolerance.thresholds import plain_curves, plain_table


@dataclass(frozen=True, slots=True)
class Fit:
    """A fitted trial; every answer comes from its posterior.

    Parameters
    ----------
    posterior : Posterior

    Notes
    -----
    Its tables carry :attr:`cautions` in ``attrs["cautions"]``: a few rows, or one grade only, are fitted all the same.
    """

    posterior: Posterior

    @property
    def cautions(self) -> list[str]:
        """What makes figures of life and death weak, in sentences; empty where nothing does.

        Examples
        --------
        >>> row = pd.DataFrame({"plant": ["p1"], "selection": "A", "rootstock": "own", "freeze": "f1",
        ...                     "exposure_c": -6.0, "exposure_sd_c": 0.5, "grade": 0})
        >>> fit = fit_tolerance(row)
        >>> fit.cautions[0]
        'Only 1 row: the figures say little more than the prior, what was assumed before any score.'
        >>> fit.floors().attrs["cautions"] == fit.cautions
        True
        """
        return self._cautions(None)

    def _cautions(self, grade: int | None) -> list[str]:
        design = self.posterior.design
        return fit_cautions(design.table[stands_open(design.table)], design.grades, grade)

    def _said_with(self, table: pd.DataFrame, grade: int | None = None) -> pd.DataFrame:
        table.attrs["cautions"] = self._cautions(grade)
        return table

    def floors(self, survive: float = 0.9, grade: int | None = None, level: float = 0.9) -> pd.DataFrame:
        """Tolerance floors; see :func:`hardiness.tolerance.floors.floors_table`.

        Parameters
        ----------
        survive : float
            Share that comes through.
        grade : int, optional
            Without reaching this grade; the last unless given.
        level : float
            Probability of the central interval.

        Returns
        -------
        DataFrame
            Columns of ``schema.FLOORS``. [degC]
        """
        return self._said_with(floors_table(self.posterior, survive=survive, grade=grade, level=level), grade)

    def compare(
        self, selections: Iterable[str] | None = None, against: Iterable[str] | None = None, level: float = 0.9
    ) -> pd.DataFrame:
        """Differences of pairs; see :func:`hardiness.tolerance.compare.compare_table`.

        Parameters
        ----------
        selections, against : iterable of str, optional
            Only pairs of these; only pairs with one of those.
        level : float
            Probability of the central interval.

        Returns
        -------
        DataFrame
            Columns of ``schema.COMPARE``. [K]
        """
        return self._said_with(compare_table(self.posterior, selections=selections, against=against, level=level))

    def ranks(self, best: int = 3, checks: Iterable[str] = (), level: float = 0.9) -> pd.DataFrame:
        """Ranks with intervals; see :func:`hardiness.tolerance.ranks.ranks_table`.

        Parameters
        ----------
        best : int
            How many the best are.
        checks : iterable of str
            Selections whose hardiness is known.
        level : float
            Probability of the central interval.

        Returns
        -------
        DataFrame
            Columns of ``schema.RANKS``.
        """
        return self._said_with(ranks_table(self.posterior, best=best, checks=checks, level=level))

    def against_checks(self, checks: Iterable[str]) -> pd.DataFrame:
        """Every selection against each check; see :func:`hardiness.tolerance.ranks.checks_table`.

        Parameters
        ----------
        checks : iterable of str
            Selections whose hardiness is known.

        Returns
        -------
        DataFrame
            Columns of ``schema.AGAINST_CHECKS``.
        """
        return self._said_with(checks_table(self.posterior, checks))

    def rootstocks(self, level: float = 0.9) -> pd.DataFrame:
        """Rootstocks in pairs; see :func:`hardiness.tolerance.rootstocks.rootstocks_table`.

        Parameters
        ----------
        level : float
            Probability of the central interval.

        Returns
        -------
        DataFrame
            Columns of ``schema.ROOTSTOCKS``. [K]
        """
        return self._said_with(rootstocks_table(self.posterior, level=level))

    def curves(
        self,
        temperatures_c: Sequence[float],
        grade: int | None = None,
        level: float = 0.9,
        cells: Iterable[tuple[str, str]] | None = None,
    ) -> xr.DataArray:
        """Survival curves; see :func:`hardiness.tolerance.curves.survival_curves`.

        Parameters
        ----------
        temperatures_c : sequence of float
            Held temperatures. [degC]
        grade : int, optional
            Grade not reached; the last unless given.
        level : float
            Probability of the band.
        cells : iterable of (selection, rootstock), optional
            Only curves of these.

        Returns
        -------
        DataArray, dims (selection_rootstock, temperature, quantile)
            [1]
        """
        return survival_curves(self.posterior, temperatures_c, grade=grade, level=level, cells=cells)

    def plain(self, grade: int | None = None) -> pd.DataFrame:
        """The picture without the model; see :func:`hardiness.tolerance.thresholds.plain_table`.

        Parameters
        ----------
        grade : int, optional
            Grade that counts as lost; the last unless given.

        Returns
        -------
        DataFrame
            Columns of ``schema.PLAIN``. [degC]
        """
        design = self.posterior.design
        return plain_table(design.table, check_grade(grade, design.grades))

    def plain_curves(self, temperatures_c: Sequence[float], grade: int | None = None) -> xr.DataArray:
        """Turnbull's curves; see :func:`hardiness.tolerance.thresholds.plain_curves`.

        Parameters
        ----------
        temperatures_c : sequence of float
            Held temperatures. [degC]
        grade : int, optional
            Grade not reached; the last unless given.

        Returns
        -------
        DataArray, dims (selection, temperature, bound)
            [1]
        """
        design = self.posterior.design
        return plain_curves(design.table, temperatures_c, check_grade(grade, design.grades))

    def claims(self, selections: pd.DataFrame) -> pd.DataFrame:
        """Hearsay against evidence; see :func:`hardiness.tolerance.claims.claims_table`.

        Parameters
        ----------
        selections : DataFrame
            With ``selection, claimed_floor, claim_source``.

        Returns
        -------
        DataFrame
            Columns of ``schema.CLAIMS``.
        """
        return self._said_with(claims_table(self.posterior, selections))

    def scales(self) -> pd.DataFrame:
        """Posterior mean and standard deviation of sigma and the taus.

        Returns
        -------
        DataFrame
            Columns ``scale, mean_c, sd_c``. [K]
        """
        weights = self.posterior.weights
        names = self.posterior.priors.names
        values = np.array([self.posterior.scale(name) for name in names])
        mean = values @ weights
        sd = np.sqrt(np.maximum((values - mean[:, None]) ** 2 @ weights, 0.0))
        return pd.DataFrame({"scale": names, "mean_c": mean, "sd_c": sd})

    def scales_table(self, level: float = 0.9) -> pd.DataFrame:
        """Posterior of sigma and the taus; see :func:`hardiness.tolerance.estimates.scales_table`.

        Parameters
        ----------
        level : float
            Probability of the central interval.

        Returns
        -------
        DataFrame
            Columns of ``schema.ESTIMATES``. [K]
        """
        return scales_table(self.posterior, level=level)

    def terms(self, level: float = 0.9) -> pd.DataFrame:
        """Effects of the optional terms; see :func:`hardiness.tolerance.estimates.terms_table`.

        Parameters
        ----------
        level : float
            Probability of the central interval.

        Returns
        -------
        DataFrame
            Columns of ``schema.ESTIMATES``. [K]
        """
        return terms_table(self.posterior, level=level)


def fit_tolerance(
    observations: pd.DataFrame,
    grades: int = 6,
    *,
    span_c: float = SPAN_C,
    priors: Priors | None = None,
    terms: Terms = NO_TERMS,
) -> Fit:
    """Fit the tolerance model; the same rows, in any order, give the same numbers.

    Parameters
    ----------
    observations : DataFrame
        Columns ``plant, selection, rootstock, freeze, exposure_c, exposure_sd_c, grade``; used where given:
        ``grade_low, near, event, sensor, sensor_sd_c, protected, winter``. Temperatures in degC.
    grades : int
        Number of grades; grades run from 0 (unharmed) to ``grades - 1`` (dead).
    span_c : float
        Distance that the trade expects from the first grade to the last. [K]
    priors : Priors, optional
    terms : Terms, optional
        Terms beside selection, rootstock, plant and freeze.

    Returns
    -------
    Fit

    Raises
    ------
    FitError
        If the observations cannot be fitted; every fault is listed.

    Examples
    --------
    >>> rows = pd.DataFrame({"plant": ["p1", "p2", "p3", "p4"], "selection": ["A", "A", "B", "B"], "rootstock": "own",
    ...                      "freeze": ["f1", "f2", "f1", "f2"], "exposure_c": [-6.0, -9.0, -6.0, -9.0],
    ...                      "exposure_sd_c": 0.5, "grade": [0, 2, 3, 5]})
    >>> floors = fit_tolerance(rows).floors()
    >>> floors["evidence"].tolist(), bool(floors["floor_c"][0] < floors["floor_c"][1])
    (['all survived', 'bracketed'], True)
    """
    if not (is_number(span_c) and np.isfinite(span_c) and span_c > 0):
        raise FitError(f"span_c: found {span_c}; accepted: a number of degC above 0.")
    design = build_design(
        check_observations(observations, grades, protected=terms.protection is not None), int(grades), terms
    )
    priors = replace(priors or Priors(), others=terms.scales)
    with blas_threads():
        return Fit(find_posterior(design, priors, span_c=float(span_c)))
