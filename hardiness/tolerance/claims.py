"""Claims against evidence: the probability that a hearsay figure holds, and whether it was ever tested."""

from __future__ import annotations

import numpy as np
import pandas as pd

from hardiness import schema
from hardiness.tolerance.floors import floor_distribution, floors_table
from hardiness.tolerance.posterior import Posterior
from hardiness.tolerance.sample import Distribution
from hardiness.units import parse_temperature


def claims_table(posterior: Posterior, selections: pd.DataFrame) -> pd.DataFrame:
    """Hold every claimed floor against the floors of its selection on each rootstock.

    Parameters
    ----------
    posterior : Posterior
    selections : DataFrame
        Columns ``selection, claimed_floor, claim_source``; a claim is a number with a unit, empty where there is none.

    Returns
    -------
    DataFrame
        Columns of ``schema.CLAIMS``, a row per claim and rootstock with observations; temperatures in degC.

    Raises
    ------
    UnitsError
        If a claim has no unit.
    """
    claimed = selections.loc[
        selections["claimed_floor"].fillna("").ne(""), ["selection", "claimed_floor", "claim_source"]
    ]
    claimed = claimed.assign(claimed_floor_c=[parse_temperature(text).celsius for text in claimed["claimed_floor"]])
    cells = pd.DataFrame(list(posterior.design.cells), columns=["selection", "rootstock"])
    worst = posterior.design.worst
    for name, survive in (("probability_holds", 0.9), ("probability_half_holds", 0.5)):
        mixture = floor_distribution(posterior, survive=survive, grade=worst)
        cells[name] = _holds(mixture, cells["selection"].map(claimed.set_index("selection")["claimed_floor_c"]))
    floors = floors_table(posterior, survive=0.9, grade=None, level=0.9)
    table = claimed.merge(cells, on="selection").merge(floors, on=["selection", "rootstock"])
    table["beyond_tested"] = table["claimed_floor_c"] < table["tested_to_c"]
    return table.sort_values(["selection", "rootstock"], ignore_index=True)[schema.column_names(schema.CLAIMS)]


def _holds(mixture: Distribution, claims_c: pd.Series) -> np.ndarray:
    claims = claims_c.to_numpy(float)
    known = ~np.isnan(claims)
    probabilities = mixture.probability_below(np.where(known, claims, 0.0))
    return np.where(known, probabilities, np.nan)
