"""Exposures x scores x plants -> observations: what the model sees, and a table of what was left out.

An observation is one plant in one scored window (:mod:`hardiness.windows`): the state it was in when the window
closed, and the coldest freeze of that window. Plants and windows that nobody scored give no row: they are no
survivors by default.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from hardiness.errors import InputError
from hardiness.remarks import Join, left_out_of, second_look_at, sentences_on
from hardiness.schema import OBSERVATIONS, column_names
from hardiness.settings import Settings
from hardiness.timelines import Freezes, IntArray, Scores, TextArray, sort_freezes, sort_scores
from hardiness.weather.placing import Exposures
from hardiness.weather.sensors import sensors_known
from hardiness.windows import Windows, close_windows, coldest_freezes, standing_grades

CONTAINER = "container"
_DTYPES = {"text": "str", "number": "float64", "integer": "int64", "flag": "bool", "date": "object"}


@dataclass(frozen=True, slots=True, eq=False)
class Joined:
    """What joining scores to exposures gave.

    Parameters
    ----------
    observations : pandas.DataFrame
        A row per plant and scored window, sorted by plant and date.
    left_out : pandas.DataFrame
        Scores, windows and freezes that gave no row, each with its reason.
    said : list of str
        Sentences for the user.
    second_look : pandas.DataFrame
        Scores to look at once more: plant, scored_on, reason, detail.
    observers : list of str
        Who gave the score that counts, for each of the observations; empty where that is not known.
    """

    observations: pd.DataFrame
    left_out: pd.DataFrame
    said: list[str]
    second_look: pd.DataFrame
    observers: list[str]


def join_scores(
    exposures: Exposures,
    plants: pd.DataFrame,
    scores: pd.DataFrame,
    sensors: pd.DataFrame,
    settings: Settings,
    *,
    containers: bool = False,
) -> Joined:
    """Join scores to the freezes they answer for.

    Parameters
    ----------
    exposures : Exposures
        What every plant met. Times in UTC, temperatures in degC.
    plants, scores, sensors : pandas.DataFrame
        The records that count now. Their order, and that of the exposures, is no matter.
    settings : Settings
        The trial's: time zone, hemisphere, scale, ``settle_days`` and ``model_held_h``.
    containers : bool, default False
        Let plants in containers count like those in the ground. Otherwise their rows carry ``container`` as their
        protection, and are not fitted.

    Returns
    -------
    Joined
        ``exposure_c`` and its deviations in its observations are in degC and K.

    Raises
    ------
    InputError
        If a score or an exposure is of a plant that is not in ``plants``.

    Notes
    -----
    An ``accuracy_c`` that is missing counts as 0.5 K. No other missing value is filled: a window with a freeze of
    unknown temperature is left out as a whole, since that freeze may have been its coldest.

    Examples
    --------
    A freeze, a score in January and another in May: the last one counts.

    >>> from datetime import date
    >>> from hardiness.schema import LEFT_OUT, PLANTS, SCORES, SENSORS
    >>> freeze = {"plant": "T12", "freeze": "2031-12-14 L1", "event": "2031-12-14", "winter": "2031-32",
    ...           "sensor": "L1", "starts": "2031-12-14T20:00Z", "ends": "2031-12-15T06:00Z", "minimum_c": -6.9,
    ...           "duration_h": 10.0, "held_1h_c": -6.4, "coverage": 1.0, "sd_c": 0.5}
    >>> none = pd.DataFrame(columns=["plant", "event", "starts", "ends"])
    >>> met = Exposures(pd.DataFrame([freeze]), none, pd.DataFrame(columns=column_names(LEFT_OUT)))
    >>> plants = pd.DataFrame([{"plant": "T12", "selection": "OL-07", "rootstock": "stock P"}])
    >>> scores = pd.DataFrame([("T12", date(2032, 1, 20), 3, "", "", ""), ("T12", date(2032, 5, 2), 2, "", "", "")],
    ...                       columns=list(SCORES.names))
    >>> joined = join_scores(met, plants.reindex(columns=list(PLANTS.names)), scores,
    ...                      pd.DataFrame(columns=list(SENSORS.names)), Settings("Hill", "Europe/Lisbon"))
    >>> joined.observations[["plant", "exposure_c", "grade_low", "grade"]].values.tolist()
    [['T12', -6.4, 2, 2]]
    >>> joined.left_out["reason"].tolist()
    ['superseded']
    """
    _refuse_strangers(exposures, plants, scores)
    plants = plants.sort_values("plant", ignore_index=True)
    names = pd.Index(plants["plant"])
    freezes = sort_freezes(exposures.table, exposures.unknown, names, settings)
    timeline = sort_scores(scores, names, freezes, settings)
    windows = close_windows(freezes, timeline, worst=settings.worst, settle_days=settings.settle_days)
    coldest, near = coldest_freezes(freezes, windows)
    standing = standing_grades(freezes, timeline, windows, coldest)
    join = Join(names.to_numpy(dtype=object), freezes, timeline, windows, coldest, near, standing, settings)
    protected = protection_of(freezes, timeline, windows, coldest)
    return Joined(
        observations=_observations(join, plants, exposures.table, sensors, protected, containers=containers),
        left_out=left_out_of(join, plants),
        said=sentences_on(join, protected),
        second_look=second_look_at(join),
        observers=[str(name) for name in timeline.observer[windows.score[near > 0]]],
    )


def left_out_summary(left_out: pd.DataFrame) -> pd.DataFrame:
    """Count what was left out by reason, with one sentence of each as an example.

    Parameters
    ----------
    left_out : pandas.DataFrame
        A table of what was left out.

    Returns
    -------
    pandas.DataFrame
        Columns reason, count and example (the first row's sentence); the most frequent reason first.

    Examples
    --------
    >>> rows = {"reason": ["early", "not scored", "early"], "detail": ["grade 1 on 2032-01-12", "1 freeze", "grade 2"]}
    >>> left_out_summary(pd.DataFrame(rows)).values.tolist()
    [['early', 2, 'grade 1 on 2032-01-12'], ['not scored', 1, '1 freeze']]
    """
    by_reason = left_out.groupby("reason", sort=True)["detail"].agg(["size", "first"]).reset_index()
    by_reason.columns = pd.Index(["reason", "count", "example"])
    return by_reason.sort_values("count", ascending=False, kind="stable", ignore_index=True)


def protection_of(freezes: Freezes, scores: Scores, windows: Windows, coldest: IntArray) -> TextArray:
    """Say what stood between each window's plant and the air in its coldest freeze.

    The last score that says anything is believed, among those of the window that the coldest freeze lies before: an
    empty cell says nothing, ``no`` unsays what an earlier score named. On one day a named protection goes before
    ``no``, and the worst grade's before another's.

    Parameters
    ----------
    freezes : Freezes
        What the plants met.
    scores : Scores
        What was seen.
    windows : Windows
        The windows.
    coldest : array of int
        Their coldest freezes.

    Returns
    -------
    array of str
        The protection, empty where the plant stood open.
    """
    protected = np.full(len(windows.plant), "", dtype=object)
    speaks = np.flatnonzero((scores.protected != "") & (windows.window_of_group[windows.group_of_score] >= 0))
    window = windows.window_of_group[windows.group_of_score[speaks]]
    lies_before = scores.before[speaks] > (coldest[window] - freezes.offset[scores.plant[speaks]])
    speaks, window = speaks[lies_before], window[lies_before]
    # Within a day the worst grade stands first; sorted last, it is the one that stays.
    order = np.lexsort((-speaks, scores.protected[speaks] != "no", scores.day[speaks], window))
    protected[window[order]] = scores.protected[speaks[order]]
    protected[protected == "no"] = ""
    return protected


def _observations(
    join: Join,
    plants: pd.DataFrame,
    table: pd.DataFrame,
    sensors: pd.DataFrame,
    protected: TextArray,
    *,
    containers: bool,
) -> pd.DataFrame:
    """Give a row for every window whose exposure is known."""
    kept = np.flatnonzero(join.near > 0)
    freezes, windows = join.freezes, join.windows
    coldest, score = join.coldest[kept], windows.score[kept]
    plants = plants.iloc[windows.plant[kept]]
    exposed = table.iloc[freezes.row[coldest]]
    accuracy_c = sensors_known(sensors, table["sensor"])["accuracy_c"]
    grade = join.scores.grade[score]
    in_container = (plants["grown_in"] == CONTAINER).to_numpy() & (not containers)
    columns = {
        **{name: plants[name].to_numpy() for name in ("plant", "selection", "rootstock")},
        **{name: exposed[name].to_numpy() for name in ("freeze", "event", "sensor", "winter")},
        "exposure_c": freezes.temperature_c[coldest],
        "exposure_sd_c": exposed["sd_c"].to_numpy(),
        "sensor_sd_c": accuracy_c.loc[exposed["sensor"]].to_numpy(),
        "grade": grade,
        "grade_low": np.where(grade > join.standing[kept], grade, 0),
        "near": join.near[kept],
        "protected": np.where(in_container, CONTAINER, protected[kept]),
        "scored_on": np.array([join.scored_on(each) for each in score], dtype=object),
        "freezes": (windows.stop - windows.first)[kept],
        "provisional": windows.provisional[kept],
    }
    observations = pd.DataFrame(columns, columns=column_names(OBSERVATIONS))
    return observations.astype({column.name: _DTYPES[column.kind] for column in OBSERVATIONS})


def _refuse_strangers(exposures: Exposures, plants: pd.DataFrame, scores: pd.DataFrame) -> None:
    """Refuse rows of plants that are not in the register: they would be counted to nobody."""
    known = set(plants["plant"])
    problems = []
    for table, what in ((scores, "score"), (exposures.table, "exposure"), (exposures.unknown, "exposure")):
        problems += [f"found a {what} of plant '{name}'; accepted: a plant of the register." for name in
                     sorted(set(table["plant"]) - known)]  # fmt: skip
    if problems:
        raise InputError(problems)
