"""Which held duration explains the damage: the same scores, fitted to the temperature held for 0, 1, 2, 4, 8 hours.

In: a flow. Out: the evidence of each duration on the rows that all of them can explain, the fit of each, and floors
averaged over them. A row is common where every duration has a held temperature for its window and sees the same damage
done there (grades, standing grade and protection); so the data are the same and only the exposures differ. A freeze
too short for one of the durations can tell nothing of it, so its rows are left out of all, and counted.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from hardiness import schema
from hardiness.errors import FitError
from hardiness.flow import Flow
from hardiness.settings import Settings
from hardiness.tolerance.averaging import Member, averaged_floors
from hardiness.tolerance.fit import Fit, fit_tolerance
from hardiness.tolerance.rows import check_observations
from hardiness.tolerance.weighing import log_evidence, model_weights

DURATIONS_H = (0.0, 1.0, 2.0, 4.0, 8.0)  # [h]; 0 is the minimum
# A smaller Bayes factor is "not worth more than a bare mention" (Kass & Raftery 1995,
# doi:10.1080/01621459.1995.10476572).
WORTH_A_MENTION = 3.0
SAME = ["plant", "scored_on", "grade", "grade_low", "protected"]  # what a row says, whatever the exposure


@dataclass(frozen=True, slots=True, eq=False)
class Durations:
    """The model at several held durations, fitted to the same scores.

    Parameters
    ----------
    flow : Flow
        At the trial's own duration, with all durations measured.
    table : DataFrame
        Columns of ``schema.DURATIONS``, a row for each duration, shortest first.
    fits : dict of float to Fit
        By duration.
    left_out : int
        Rows of the trial's own duration that are not common to all.
    """

    flow: Flow
    table: pd.DataFrame
    fits: dict[float, Fit]
    left_out: int

    @property
    def best_h(self) -> float:
        """The most probable duration, the shortest of equals. [h]."""
        return float(self.table["held_h"].to_numpy()[self.table["weight"].to_numpy().argmax()])

    @property
    def chosen_h(self) -> float:
        """The most probable duration where the scores can tell it from the trial's own, else the trial's own. [h]."""
        own_h = self.flow.settings.model_held_h
        return self.best_h if self.odds(self.best_h, own_h) >= WORTH_A_MENTION else own_h

    def odds(self, one_h: float, other_h: float) -> float:
        """How many times as well one duration foretells the scores as another.

        Parameters
        ----------
        one_h, other_h : float
            Of the table. [h]

        Returns
        -------
        float
            A Bayes factor. [1]
        """
        evidence = self.table.set_index("held_h")["log_evidence"]
        return float(np.exp(evidence[one_h] - evidence[other_h]))

    def floors(self, survive: float = 0.9, grade: int | None = None, level: float = 0.9) -> pd.DataFrame:
        """Floors averaged over the durations; see :func:`hardiness.tolerance.averaging.averaged_floors`.

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
            Columns of ``schema.FLOORS``, stated at the trial's own held duration. [degC]
        """
        names = ["held_h", "weight", "offset_c", "offset_sd_c"]
        members = [Member(self.fits[held_h].posterior, *numbers) for held_h, *numbers in self.table[names].to_numpy()]
        settings = self.flow.settings
        evidence = check_observations(
            self.flow.observations, len(settings.grades), protected=settings.model.protection
        )  # of all rows: what a plant came through counts, whichever durations are known of it
        return averaged_floors(members, evidence, survive=survive, grade=grade, level=level)


def compare_durations(flow: Flow, asked_h: Sequence[float] = DURATIONS_H) -> Durations:
    """Fit the model at several held durations to the same scores, and weigh them by their evidence.

    Parameters
    ----------
    flow : Flow
    asked_h : sequence of float
        Durations; the trial's own is always among them. [h]

    Returns
    -------
    Durations

    Raises
    ------
    FitError
        If no row is common to all durations, or the common rows cannot be fitted.
    """
    own_h = flow.settings.model_held_h
    hours = sorted({own_h, *asked_h})
    measured = flow.with_settings(with_durations(flow.settings, hours))
    at = {h: measured.with_settings(replace(measured.settings, model_held_h=h)) for h in hours}
    common = _common({h: _held(each.observations, measured.freezes, h) for h, each in at.items()})
    if not common["protected"].eq("").any():
        raise FitError(
            f"nothing to fit: no row has a temperature held for each of {', '.join(f'{h:g}' for h in hours)} h."
        )
    fits = {h: _fit(each, common) for h, each in at.items()}
    evidence = np.array([log_evidence(fits[h].posterior) for h in hours])
    used = fits[own_h].posterior.design.table["freeze"].unique()
    offset, offset_sd = zip(*(_offset(measured.freezes, used, own_h, h) for h in hours), strict=True)
    table = pd.DataFrame(
        {
            "held_h": hours,
            "rows": [len(fits[h].posterior.design.table) for h in hours],
            "log_evidence": evidence,
            "weight": model_weights(evidence),
            "offset_c": offset,
            "offset_sd_c": offset_sd,
        },
        columns=schema.column_names(schema.DURATIONS),
    )
    return Durations(at[own_h], table, fits, len(at[own_h].observations) - len(common))


def with_durations(settings: Settings, hours: Sequence[float]) -> Settings:
    """The same settings, with these durations measured too.

    Parameters
    ----------
    settings : Settings
    hours : sequence of float
        Held durations. [h]

    Returns
    -------
    Settings

    Examples
    --------
    >>> with_durations(Settings("Hill", "Europe/Lisbon"), [0.0, 2.0, 8.0]).rules.held_h
    (1.0, 2.0, 4.0, 0.0, 8.0)
    """
    more = [h for h in dict.fromkeys(hours) if h not in settings.rules.held_h]
    if not more:
        return settings
    return replace(settings, rules=replace(settings.rules, held_h=(*settings.rules.held_h, *more)))


def _held(observations: pd.DataFrame, freezes: pd.DataFrame, hours: float) -> pd.DataFrame:
    """Rows whose freeze lasted long enough; elsewhere a shorter one goes by its minimum."""
    held = freezes.set_index("freeze")[schema.held_column(hours)]
    return observations[held.reindex(observations["freeze"]).notna().to_numpy()]


def _common(tables: dict[float, pd.DataFrame]) -> pd.DataFrame:
    """What the rows say that all durations have."""
    first, *others = (table[SAME] for table in tables.values())
    for other in others:
        first = first.merge(other, on=SAME)
    return first


def _fit(flow: Flow, common: pd.DataFrame) -> Fit:
    rows = flow.covariates.table.merge(common, on=SAME)
    return fit_tolerance(rows, len(flow.settings.grades), span_c=flow.settings.span_c, terms=flow.terms)


def _offset(freezes: pd.DataFrame, used: np.ndarray, own_h: float, other_h: float) -> tuple[float, float]:
    """Median and standard deviation over freezes of the own duration's temperature minus another's. [K]."""
    met = freezes[freezes["freeze"].isin(used)]
    own, other = (met[schema.held_column(h)] for h in (own_h, other_h))
    difference = (own - other).dropna().to_numpy(dtype=float)
    if not difference.size:
        return 0.0, 0.0
    return float(np.median(difference)), float(np.std(difference, ddof=1)) if difference.size > 1 else 0.0
