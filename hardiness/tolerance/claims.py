"""Claims against evidence: the probability that a hearsay figure holds, and whether it was ever tested."""

from __future__ import annotations

import numpy as np
import pandas as pd

from hardiness import schema
from hardiness.errors import FitError
from hardiness.tolerance.distribution import Distribution
from hardiness.tolerance.floors import floor_distribution, floors_table
from hardiness.tolerance.posterior import Posterior
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
    FitError
        If a column is missing, or a selection has two claims.
    """
    claimed = _claimed(selections)
    claimed["claimed_floor_c"] = [parse_temperature(str(text)).celsius for text in claimed["claimed_floor"]]
    cells = pd.DataFrame(list(posterior.design.cells), columns=["selection", "rootstock"])
    worst = posterior.design.worst
    for name, survive in (("probability_holds", 0.9), ("probability_half_holds", 0.5)):
        mixture = floor_distribution(posterior, survive=survive, grade=worst)
        cells[name] = _holds(mixture, cells["selection"].map(claimed.set_index("selection")["claimed_floor_c"]))
    floors = floors_table(posterior, survive=0.9, grade=None, level=0.9)
    table = claimed.merge(cells, on="selection").merge(floors, on=["selection", "rootstock"])
    table["beyond_tested"] = table["claimed_floor_c"] < table["tested_to_c"]
    return table.sort_values(["selection", "rootstock"], ignore_index=True)[schema.column_names(schema.CLAIMS)]


def _claimed(selections: pd.DataFrame) -> pd.DataFrame:
    """The rows that hold a claim."""
    if not isinstance(selections, pd.DataFrame):
        raise FitError(f"selections: found a {type(selections).__name__}; accepted: a pandas DataFrame.")
    columns = ["selection", "claimed_floor", "claim_source"]
    missing = [name for name in columns if name not in selections.columns]
    if missing:
        raise FitError([f"selections: column '{name}' is missing; accepted: {', '.join(columns)}." for name in missing])
    claimed = selections.loc[selections["claimed_floor"].fillna("").ne(""), columns].copy()
    twice = sorted(set(claimed.loc[claimed["selection"].duplicated(), "selection"]))
    if twice:
        raise FitError([f"selection '{name}' has two claims; accepted: one." for name in twice])
    return claimed


def _holds(mixture: Distribution, claims_c: pd.Series) -> np.ndarray:
    claims = claims_c.to_numpy(float)
    known = ~np.isnan(claims)
    probabilities = mixture.probability_below(np.where(known, claims, 0.0))
    return np.where(known, probabilities, np.nan)
