"""Survival curves: the share of a cell's plants that come through, against temperature, with its band.

The curve's point at temperature T is the share q whose tolerance floor is T, so curves and floors never disagree.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np
import pandas as pd
import xarray as xr

from hardiness.errors import FitError
from hardiness.tolerance.floors import check_grade, check_share, check_temperatures, floor_distribution
from hardiness.tolerance.posterior import Posterior
from hardiness.tolerance.spread import spread_quantile

_UPPER_SHARES = 1.0 / (1.0 + np.exp(-np.linspace(0.225, 9.0, 40)))
_SHARES = np.concatenate([1.0 - _UPPER_SHARES[::-1], [0.5], _UPPER_SHARES])

Cells = Iterable[tuple[str, str]]


def survival_curves(
    posterior: Posterior,
    temperatures_c: Sequence[float],
    *,
    grade: int | None = None,
    level: float = 0.9,
    cells: Cells | None = None,
) -> xr.DataArray:
    """Share that comes through without reaching a grade, by temperature, for tested selections and rootstocks.

    Parameters
    ----------
    posterior : Posterior
    temperatures_c : sequence of float
        Held temperatures. [degC]
    grade : int, optional
        Grade not reached; the last unless given.
    level : float
        Probability of the central band.
    cells : iterable of (selection, rootstock), optional
        Only curves of these; every one with a row of an unprotected plant unless given. Fewer take less time, and are
        the same curves.

    Returns
    -------
    DataArray, dims (selection_rootstock, temperature, quantile)
        Shares between 0 and 1, in order of selections and rootstocks. [1]

    Raises
    ------
    FitError
        If a temperature is not finite, a share or the grade is out of range, or a cell has no row.
    """
    temperatures = check_temperatures(temperatures_c)
    level, grade = check_share("level", level), check_grade(grade, posterior.design.grades)
    quantiles = np.array([0.5 - level / 2.0, 0.5, 0.5 + level / 2.0])
    wanted = _tested(posterior, cells)
    places = pd.MultiIndex.from_tuples(posterior.design.cells).get_indexer(pd.MultiIndex.from_tuples(wanted))
    sd, sigma = posterior.scale("tau_u"), posterior.scale("sigma")
    upper = [spread_quantile(float(share), sd, sigma) for share in _UPPER_SHARES]
    deviations = [*(-deviation for deviation in reversed(upper)), np.zeros_like(sd), *upper]
    middle = floor_distribution(posterior, survive=0.5, grade=grade).coarse()  # at one half the deviation is 0
    # A plant's odds are high where its floor is surely colder: the band turns round.
    turned = (1.0 - quantiles).tolist()
    # Cells are taken out last, so that a curve is the same whichever others are asked for.
    floors = np.array([middle.shifted(by).simplified().of(places).quantiles(turned) for by in deviations])
    shares = np.empty((len(wanted), temperatures.size, quantiles.size))
    for column in range(quantiles.size):
        for row in range(len(wanted)):
            shares[row, :, column] = np.interp(temperatures, floors[:, column, row], _SHARES)
    curves = xr.DataArray(
        shares,
        dims=("selection_rootstock", "temperature", "quantile"),
        coords={
            "selection_rootstock": pd.MultiIndex.from_tuples(wanted, names=["selection", "rootstock"]),
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


def _tested(posterior: Posterior, cells: Cells | None) -> list[tuple[str, str]]:
    """The cells asked for, in the order of the design."""
    tested = posterior.design.tested_cells
    asked = set(tested if cells is None else cells)
    unknown = sorted(f"{selection} on {rootstock}" for selection, rootstock in asked.difference(tested))
    if unknown or not asked:
        raise FitError(
            f"curves: found {', '.join(unknown) or 'no cell'}; accepted: selections and rootstocks with a row."
        )
    return [cell for cell in tested if cell in asked]
