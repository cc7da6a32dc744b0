"""What the rows of a cell show by themselves, before any model: counts, tested to, evidence.

For the grade G asked for, a row is *lost* where ``grade_low`` is G or worse (this freeze did it), and *came through*
where ``grade`` is below G. A row whose plant carried that damage already says neither.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from hardiness.tolerance.rows import stands_open

MOST_PRIOR = 3  # fewer rows lost than this in the whole trial: the figure rests on the prior


def count_evidence(table: pd.DataFrame, grade: int) -> pd.DataFrame:
    """Count, for every selection and rootstock, what its plants met and what became of them.

    Parameters
    ----------
    table : DataFrame
        Checked observations; rows of protected plants are not counted.
    grade : int
        The grade asked for.

    Returns
    -------
    DataFrame
        Columns ``selection, rootstock, plants, scores, killed, coldest_survived_c, warmest_fatal_c, tested_to_c,
        evidence, open_end, rests_on``; temperatures in degC, NaN where there is none; sorted by cell.

    Examples
    --------
    >>> rows = pd.DataFrame({"plant": ["p1", "p2"], "selection": "S", "rootstock": "own", "exposure_c": [-6.0, -9.0],
    ...                      "grade": [1, 5], "grade_low": [1, 5]})
    >>> counted = count_evidence(rows, 5)
    >>> counted["evidence"].tolist(), float(counted["coldest_survived_c"][0]), counted["rests_on"].tolist()
    (['bracketed'], -6.0, ['prior'])
    """
    table = table[stands_open(table)]
    rows = table[["plant", "selection", "rootstock", "exposure_c"]].copy()
    lost = (table["grade_low"] >= grade).to_numpy()
    through = (table["grade"] < grade).to_numpy()
    rows["killed"] = rows["plant"].where(lost)
    rows["survived_c"] = rows["exposure_c"].where(through)
    rows["fatal_c"] = rows["exposure_c"].where(lost)
    counted = (
        rows.groupby(["selection", "rootstock"], sort=True)
        .agg(
            plants=("plant", "nunique"),
            scores=("plant", "size"),
            killed=("killed", "nunique"),
            coldest_survived_c=("survived_c", "min"),
            warmest_fatal_c=("fatal_c", "max"),
            tested_to_c=("exposure_c", "min"),
        )
        .reset_index()
    )
    some_lost = counted["killed"].to_numpy() > 0
    some_through = counted["coldest_survived_c"].notna().to_numpy()
    counted["evidence"] = np.select(
        [some_lost & some_through, some_through, some_lost], ["bracketed", "all survived", "all died"], "untested"
    )
    counted["open_end"] = counted["evidence"].map(
        {"bracketed": "none", "all survived": "cold", "all died": "warm", "untested": "none"}
    )
    of_selection = counted.assign(lost=some_lost, through=some_through).groupby("selection")[["lost", "through"]]
    both = of_selection.transform("any").all(axis=1).to_numpy()
    counted["rests_on"] = np.select([counted["evidence"].eq("bracketed"), both], ["cell", "selection"], "trial")
    if int(lost.sum()) < MOST_PRIOR:
        counted["rests_on"] = "prior"
    return counted
