"""What may move critical temperatures beside selection, rootstock, plant and freeze, row by row, in degC.

In: observations, and the records and readings they came from. Out: the same rows with a column for each term that the
trial's settings ask for, and what its floors then stand for: a hardened, established, unprotected plant.

Each fixed effect is 0 at that reference and has a weak normal prior around 0; a positive one means more tender. A value
that is not known is taken from the freeze's event (other sensors), else as the median of the rows that have one, and
that is counted and said: the row is still a plant that came through or was lost.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
import xarray as xr

from hardiness import words
from hardiness.observations import Joined
from hardiness.schema import PROTECTIONS
from hardiness.settings import Settings
from hardiness.weather.days import local_midnights, nanoseconds
from hardiness.weather.gaps import HOUR_NS, FloatArray
from hardiness.weather.hardening import hardening_before

HARDENED_H = 400.0  # [h] near-maximum hardiness of satsuma: Ebel et al. 2005, J. Amer. Soc. Hort. Sci. 130:500
COLD_MEAN_C = 5.0  # [degC] as in chambers where citrus hardens for weeks: Durham et al. 1991, Physiol. Plant. 82:519
ESTABLISHED_YEARS = 3.0  # [a] by custom of the trade
YEAR_H = 365.25 * 24.0
SOME_OBSERVER = "not named"


@dataclass(frozen=True, slots=True)
class FixedEffect:
    """A fixed effect that a trial may ask for.

    Parameters
    ----------
    column : str
        Its column in the table of the fit.
    prior_sd : float
        Standard deviation of its normal prior. [K per unit of the column]
    per : str
        The unit of its column, as a grower reads it.
    reference : str
        What floors stand for where it is 0.
    """

    column: str
    prior_sd: float
    per: str
    reference: str


# Priors: hardening moved killing temperatures of citrus by 2 to 9 K (Durham et al. 1991), over some 400 h or 10 K.
FIXED = {
    "hardening": FixedEffect(
        "unhardened_100h",
        1.5,
        f"100 h short of {HARDENED_H:g} h at or below 10 °C in the 500 h before",
        f"hardened by {HARDENED_H:g} h or more at or below 10 °C in the 500 h before",
    ),
    "warmth": FixedEffect(
        "warmth_c", 0.5, f"°C of the mean of the 14 days before above {COLD_MEAN_C:g} °C",
        f"after 14 days at a mean of {COLD_MEAN_C:g} °C",
    ),
    "years": FixedEffect(
        "years_short", 1.0, f"year short of {ESTABLISHED_YEARS:g} since planting",
        f"planted {ESTABLISHED_YEARS:g} or more years ago",
    ),
}  # fmt: skip
RANDOM_SCALES = {"winter": 1.0, "observer": 0.5}  # [K] of the half-normal priors of their standard deviations
PROTECTION_SD = 3.0  # [K] prior of the effect of a kind of protection


@dataclass(frozen=True, slots=True, eq=False)
class Covariates:
    """Observations with the columns of the terms asked for.

    Parameters
    ----------
    table : pandas.DataFrame
        The observations; for each term its column.
    fixed : dict of str to float
        By column: prior standard deviation of its effect. [K per unit]
    random : dict of str to float
        By column: prior scale of the standard deviation of its effects. [K]
    protection : float or None
        Prior standard deviation of the effect of each kind of protection; None: protected rows are not fitted. [K]
    said : list of str
        What floors stand for, what was not known, what cannot be told.
    """

    table: pd.DataFrame
    fixed: dict[str, float]
    random: dict[str, float]
    protection: float | None
    said: list[str]


def add_covariates(
    joined: Joined,
    freezes: pd.DataFrame,
    readings: Mapping[str, xr.DataArray],
    plants: pd.DataFrame,
    sensors: pd.DataFrame,
    settings: Settings,
) -> Covariates:
    """Add the columns of the terms that the trial's settings ask for.

    Parameters
    ----------
    joined : Joined
        The observations, and who scored them.
    freezes : pandas.DataFrame
        The freezes table.
    readings : mapping of str to xarray.DataArray
        Readings of each sensor, dims ``(time,)``, in UTC. [degC]
    plants, sensors : pandas.DataFrame
        The records tables.
    settings : Settings
        Of the trial: ``model`` says which terms.

    Returns
    -------
    Covariates
    """
    asked, table = settings.model, joined.observations.copy()
    said: list[str] = []
    values: dict[str, FloatArray] = {}
    if asked.hardening or asked.warmth:
        before = hardening_before(freezes, readings, sensors, settings)
        if asked.hardening:
            hours = _of_freezes(before, "hardening_h", table)
            values["hardening"] = np.clip(HARDENED_H - hours, 0.0, None) / 100.0
        if asked.warmth:
            values["warmth"] = _of_freezes(before, "mean_before_c", table) - COLD_MEAN_C
    if asked.years:
        values["years"] = _years_short(table, freezes, plants, settings)
    fitted = table["protected"].isin(["", *PROTECTIONS] if asked.protection else [""]).to_numpy()
    fixed: dict[str, float] = {}
    for name, column in values.items():
        effect = FIXED[name]
        unknown = np.isnan(column)
        if unknown[fitted].all():
            said.append(f"{name}: known of no row, so the model leaves it out.")
            continue
        if count := int(unknown[fitted].sum()):
            rows = f"{words.count(count, 'row')} of {int(fitted.sum())}"
            said.append(f"{name}: not known of {rows}, which take the median of the others.")
        column = np.where(unknown, np.nanmedian(column[fitted]), column)
        table[effect.column] = column
        fixed[effect.column] = effect.prior_sd
        if np.ptp(column[fitted]) == 0:
            said.append(f"{name}: the same in every row, so that these scores cannot tell its effect.")
        elif name != "years":
            events = table.loc[fitted, "event"]
            off = events[np.abs(column[fitted]) > 0].nunique()
            said.append(f"{name}: {off} of {words.count(events.nunique(), 'event')} tell its effect.")
    if references := [FIXED[name].reference for name in values if FIXED[name].column in fixed]:
        said.insert(0, f"Floors stand for a plant {words.listed(references)}.")
    random: dict[str, float] = {}
    if asked.winter:
        random["winter"] = RANDOM_SCALES["winter"]
        if len(set(table.loc[fitted, "winter"])) == 1:
            said.append("winter: there is one only, so that its effect cannot be told from the plants' own.")
    if asked.observer:
        table["observer"] = [name or SOME_OBSERVER for name in joined.observers]
        if _share_plants(table[fitted]):
            random["observer"] = RANDOM_SCALES["observer"]
        else:
            said.append("observer: no two observers scored a common plant, so the model leaves it out.")
    if asked.protection:
        said.append("Protected rows are fitted with an effect of their own; they prove nothing and are not counted.")
    return Covariates(table, fixed, random, PROTECTION_SD if asked.protection else None, said)


def _of_freezes(before: pd.DataFrame, name: str, table: pd.DataFrame) -> FloatArray:
    """A measure of each row's freeze; where its sensor has none, the mean over the sensors of the same event."""
    known = before[name].fillna(before.groupby("event")[name].transform("mean"))
    return known.reindex(table["freeze"]).to_numpy(dtype=float)


def _years_short(table: pd.DataFrame, freezes: pd.DataFrame, plants: pd.DataFrame, settings: Settings) -> FloatArray:
    """Years by which each row's plant, when its freeze began, was short of being established; NaN: no planting date."""
    dated = plants[plants["planted_on"].notna()]
    planted = pd.Series(local_midnights(list(dated["planted_on"]), settings.zone), index=dated["plant"], dtype="Int64")
    starts = pd.Series(nanoseconds(freezes["starts"]), index=freezes["freeze"])
    since = starts.reindex(table["freeze"]).to_numpy() - planted.reindex(table["plant"]).to_numpy(
        float, na_value=np.nan
    )
    short: FloatArray = np.clip(ESTABLISHED_YEARS - since / (YEAR_H * HOUR_NS), 0.0, ESTABLISHED_YEARS)
    return short


def _share_plants(table: pd.DataFrame) -> bool:
    """Whether two or more named observers scored common plants."""
    named = table[table["observer"] != SOME_OBSERVER]
    pairs = named[["plant", "observer"]].drop_duplicates()
    return bool(pairs["plant"].duplicated().any())
