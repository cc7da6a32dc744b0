"""Survival curves: the share of a cell's plants that come through, against temperature, with its band.

The curve's point at temperature T is the share q whose tolerance floor is T, so curves and floors never disagree.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd
import xarray as xr

from hardiness.tolerance.floors import check_grade, check_share, check_temperatures, floor_distribution
from hardiness.tolerance.posterior import Posterior
from hardiness.tolerance.spread import spread_quantile

_SHARES = 1.0 / (1.0 + np.exp(-np.linspace(-9.0, 9.0, 81)))


def survival_curves(
    posterior: Posterior, temperatures_c: Sequence[float], *, grade: int | None = None, level: float = 0.9
) -> xr.DataArray:
    """Share that comes through without reaching a grade, by temperature, for every tested selection and rootstock.

    Parameters
    ----------
    posterior : Posterior
    temperatures_c : sequence of float
        Held temperatures. [degC]
    grade : int, optional
        Grade not reached; the last unless given.
    level : float
        Probability of the central band.

    Returns
    -------
    DataArray, dims (selection_rootstock, temperature, quantile)
        Shares between 0 and 1. [1]

    Raises
    ------
    FitError
        If a temperature is not finite, or a share or the grade is out of range.
    """
    temperatures = check_temperatures(temperatures_c)
    level, grade = check_share("level", level), check_grade(grade, posterior.design.grades)
    quantiles = np.array([0.5 - level / 2.0, 0.5, 0.5 + level / 2.0])
    sd, sigma = posterior.scale("tau_u"), posterior.scale("sigma")
    # At one half the deviation is 0.
    middle = floor_distribution(posterior, survive=0.5, grade=grade).coarse()
    deviations = [spread_quantile(float(share), sd, sigma) for share in _SHARES]
    cells = posterior.design.tested_cells
    places = pd.MultiIndex.from_tuples(posterior.design.cells).get_indexer(pd.MultiIndex.from_tuples(cells))
    shares = np.empty((len(cells), temperatures.size, quantiles.size))
    # A plant's odds are high where its floor is surely colder: the band turns round.
    floors = np.array([middle.shifted(deviation).quantiles((1.0 - quantiles).tolist()) for deviation in deviations])
    for column in range(quantiles.size):
        for row, place in enumerate(places):
            shares[row, :, column] = np.interp(temperatures, floors[:, column, place], _SHARES)
    curves = xr.DataArray(
        shares,
        dims=("selection_rootstock", "temperature", "quantile"),
        coords={
            "selection_rootstock": pd.MultiIndex.from_tuples(cells, names=["selection", "rootstock"]),
            "temperature": ("temperature", temperatures, {"units": "degC", "long_name": "held temperature",
                                                          "units_metadata": "temperature: on_scale"}),
            "quantile": ("quantile", quantiles, {"units": "1", "long_name": "posterior quantile"}),
        },
        name="share_coming_through",
        attrs={
            "units": "1",
            "long_name": f"share of plants that come through without reaching grade {grade}",
            "interval_kind": "central posterior interval",
            "probability": level,
        },
    )  # fmt: skip
    return curves
