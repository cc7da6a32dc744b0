"""What waits in a trial: plants to score, sensors that fell silent, selections that stand on one living plant only.

In: a flow. Out: small tables for the one who decides what to do next.
"""

from __future__ import annotations

import datetime as dt

import pandas as pd

from hardiness.flow import Flow
from hardiness.weather.extents import extents_of
from hardiness.weather.sensors import sensor_orders, sensors_known, texts

SILENT_DAYS = 7.0  # [day] behind the newest reading of the trial; common practice, no source


def living_plants(flow: Flow, on: dt.date | None = None) -> pd.DataFrame:
    """The plants that stand: not removed, and not scored dead at last.

    Parameters
    ----------
    flow : Flow
    on : datetime.date, optional
        A plant removed later than this day still stands on it; None: whoever has a date of removal is gone.

    Returns
    -------
    DataFrame
        Rows of the register.
    """
    plants, scores = flow.records.plants, flow.records.scores
    last = scores.sort_values("scored_on", kind="stable").groupby("plant")["grade"].last()
    dead = set(last[last >= flow.settings.worst].index)
    gone = [removed is not None and (on is None or removed <= on) for removed in plants["removed_on"]]
    return plants[~plants["plant"].isin(dead) & ~pd.Series(gone, index=plants.index, dtype=bool)]


def unscored_plants(flow: Flow) -> pd.DataFrame:
    """Living plants that have no score since the last freeze they met.

    Parameters
    ----------
    flow : Flow

    Returns
    -------
    DataFrame
        ``plant``, ``selection``, ``rootstock``, ``block``, ``freeze`` and ``ends`` (UTC) of the last freeze met; in the
        order of the register.
    """
    met = flow.exposures[flow.exposures["freeze"].isin(flow.freezes_that_count["freeze"])]
    last = met.sort_values("ends", kind="stable").groupby("plant").tail(1)[["plant", "freeze", "ends"]]
    scores = flow.records.scores
    noon = pd.Series(
        [pd.Timestamp.combine(day, dt.time(12)).tz_localize(flow.settings.zone) for day in scores["scored_on"]],
        index=scores.index,
        dtype=f"datetime64[ns, {flow.settings.timezone}]",
    )
    scored = noon.groupby(scores["plant"]).max().rename("scored")
    waiting = last.merge(scored, left_on="plant", right_index=True, how="left")
    waiting = waiting[waiting["scored"].isna() | (waiting["scored"] <= waiting["ends"])]
    standing = living_plants(flow)[["plant", "selection", "rootstock", "block"]]
    return standing.merge(waiting[["plant", "freeze", "ends"]], on="plant", how="inner")


def silent_sensors(flow: Flow) -> pd.DataFrame:
    """Sensors whose readings end well before the newest ones of the trial, or that have none.

    Parameters
    ----------
    flow : Flow

    Returns
    -------
    DataFrame
        ``sensor``, ``last`` (UTC; NaT without a reading); the longest silent first.
    """
    lasts = {name: pd.Timestamp(extent.last) for name, extent in extents_of(flow.records.readings).items()}
    names = sorted({*flow.records.sensors["sensor"], *flow.records.readings})
    table = pd.DataFrame({"sensor": names, "last": [lasts.get(name, pd.NaT) for name in names]})
    table["last"] = pd.to_datetime(table["last"]).astype("datetime64[ns]").dt.tz_localize("UTC")
    newest = table["last"].max()
    silent = table["last"].isna() | (newest - table["last"] > pd.Timedelta(days=SILENT_DAYS))
    quiet: pd.DataFrame = table[silent]
    return quiet.sort_values(["last", "sensor"], na_position="first", ignore_index=True)


def plants_without_sensor(flow: Flow) -> pd.DataFrame:
    """Living plants for which no sensor with readings speaks: none named, none in their block, none for all.

    Parameters
    ----------
    flow : Flow

    Returns
    -------
    DataFrame
        Rows of the register; none while no sensor has a reading.
    """
    known = sensors_known(flow.records.sensors, flow.records.readings)
    orders = sensor_orders(known, flow.settings)
    with_readings = set(extents_of(flow.records.readings))
    standing = living_plants(flow)
    if not with_readings:
        return standing.iloc[:0]
    asked = zip(texts(standing["sensor"]), texts(standing["block"]), strict=True)
    heard = [bool(with_readings & set(orders.of_plant(named, block))) for named, block in asked]
    return standing[~pd.Series(heard, index=standing.index, dtype=bool)]


def single_selections(flow: Flow) -> pd.DataFrame:
    """Candidates that stand on one living plant only: one loss, and they are gone.

    Parameters
    ----------
    flow : Flow

    Returns
    -------
    DataFrame
        ``selection``, ``plant``, ``rootstock``; by selection.
    """
    standing = living_plants(flow)
    register = flow.records.selections
    candidates = set(register.loc[register["role"] != "check", "selection"])
    alone = standing[~standing.duplicated("selection", keep=False) & standing["selection"].isin(candidates)]
    return alone[["selection", "plant", "rootstock"]].sort_values("selection", ignore_index=True)


def winters_table(flow: Flow) -> pd.DataFrame:
    """What each winter was, and what it did.

    Parameters
    ----------
    flow : Flow

    Returns
    -------
    DataFrame
        ``winter``, ``freezes`` (cold spells that count), ``coldest_c`` (coldest reading) [degC], ``exposure_c``
        (coldest held temperature of an observation) [degC], ``plants`` (that stood open and have an observation),
        ``damaged`` (of them, above grade 0) and ``lost`` (newly dead); oldest first.
    """
    counted = flow.freezes_that_count
    cold = counted.groupby("winter").agg(freezes=("event", "nunique"), coldest_c=("minimum_c", "min"))
    open_rows = flow.observations[flow.observations["protected"] == ""]
    worst = flow.settings.worst
    seen = open_rows.groupby("winter").agg(exposure_c=("exposure_c", "min"), plants=("plant", "nunique"))
    for name, rows in (
        ("damaged", open_rows[open_rows["grade"] > 0]),
        ("lost", open_rows[open_rows["grade_low"] >= worst]),
    ):
        seen[name] = rows.groupby("winter")["plant"].nunique().reindex(seen.index, fill_value=0)
    table = cold.join(seen, how="outer").sort_index().rename_axis("winter").reset_index()
    counts = ["freezes", "plants", "damaged", "lost"]
    table[counts] = table[counts].astype("Float64").fillna(0).astype("int64")
    return table
