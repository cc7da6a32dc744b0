"""Figures from a flow: each takes the tables that it shows, prepares them, and draws.

A choice left open is made from the data: the hardiest selection, the coldest freeze, the block with most plants.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
import pandas as pd
import xarray as xr
from matplotlib.figure import Figure

from hardiness.errors import InputError, Problem, near_name
from hardiness.figures.calibration import draw_calibration, prepare_calibration
from hardiness.figures.damage_map import draw_damage_map, prepare_damage_map
from hardiness.figures.exposure_grade import BIN_C, NARROW_BIN_C, draw_exposure_grade, prepare_exposure_grade
from hardiness.figures.formats import format_named
from hardiness.figures.freeze_course import draw_freeze_course, prepare_freeze_course
from hardiness.figures.pairs import draw_pairs, prepare_pairs
from hardiness.figures.quality_calendar import draw_quality_calendar, prepare_quality_calendar
from hardiness.figures.ranks import draw_ranks, prepare_ranks
from hardiness.figures.sheet import Sheet
from hardiness.figures.station_logger import draw_station_logger, prepare_station_logger
from hardiness.figures.summary import draw_summary, prepare_summary
from hardiness.figures.survival import draw_survival, prepare_survival, survival_temperatures
from hardiness.figures.winters import draw_winters, prepare_winters
from hardiness.flow import Flow
from hardiness.schema import ALL_STOCKS, CALIBRATION, COMPARE, column_names
from hardiness.settings import Settings
from hardiness.tolerance.calibration import calibration_table
from hardiness.tolerance.prediction import predict_rows

EMPTY = xr.DataArray(np.zeros(0), {"time": np.zeros(0, "datetime64[ns]")}, ("time",))


def summary_of(flow: Flow, settings: Settings, *, page: str = "A4", half_zones: bool = False) -> list[Sheet]:
    """Draw the trial summary chart.

    Parameters
    ----------
    flow : Flow
    settings : Settings
    page : str
        One of the page formats.
    half_zones : bool
        Put bands of hardiness half-zones behind the floors.

    Returns
    -------
    list of Sheet
    """
    floors = flow.floors()
    half = flow.floors(level=0.5).rename(columns={"floor_low_c": "floor_q25_c", "floor_high_c": "floor_q75_c"})
    summary = prepare_summary(
        settings=settings,
        floors=floors.merge(half[["selection", "rootstock", "floor_q25_c", "floor_q75_c"]]),
        freezes=flow.freezes_that_count,
        observations=flow.observations,
        claims=flow.claims,
        selections=flow.records.selections,
        plants=flow.records.plants,
        half_zones=half_zones,
    )
    return draw_summary(summary, page=page)


def _as_one(sheets: Sequence[Sheet]) -> Figure:
    first, *rest = sheets
    first.further = tuple(rest)
    return first


def _known(value: str, names: Sequence[object], called: str) -> str:
    """Check a name that a person gave.

    Raises
    ------
    InputError
        If the trial has none of that name.
    """
    known = sorted({str(name) for name in names if name})
    if value not in known:
        some = ", ".join(known[:8]) + (", ..." if len(known) > 8 else "")
        accepted = f"one of {some}" if known else "none: the trial has no such name yet"
        raise InputError(Problem(f"{called} '{value}'", accepted, hint=near_name(value, known)))
    return value


def _summary(flow: Flow, settings: Settings, *, page: str = "A4") -> Figure:
    return _as_one(summary_of(flow, settings, page=page))


def _open_rows(flow: Flow) -> pd.DataFrame:
    return flow.observations[flow.observations["protected"].isin(["", "no"])]


def trial_curves(
    flow: Flow, settings: Settings, cells: Sequence[tuple[str, str]] | None = None
) -> dict[int, xr.DataArray]:
    """Survival curves of every cell, for figures of many selections: made once, handed to each.

    Parameters
    ----------
    flow : Flow
    settings : Settings
    cells : sequence of (selection, rootstock), optional
        Only these.

    Returns
    -------
    dict of int to xarray.DataArray
        By grade, dims (selection_rootstock, temperature, quantile). [1]
    """
    rows = _open_rows(flow)
    if not (len(rows) and flow.can_fit):
        return {}
    temperatures = survival_temperatures(rows).tolist()
    return {grade: flow.fit.curves(temperatures, grade, cells=cells) for grade in range(1, settings.worst + 1)}


def _survival(
    flow: Flow, settings: Settings, *, page: str = "A4", selection: str = "", rootstock: str = "",
    curves: dict[int, xr.DataArray] | None = None,
) -> Figure:  # fmt: skip
    plants, rows = flow.records.plants, _open_rows(flow)
    selection = _known(selection, [*plants["selection"]], "selection") if selection else _hardiest(flow)
    if rootstock:
        _known(rootstock, [*plants.loc[plants["selection"] == selection, "rootstock"]], "rootstock")
    else:
        counts = rows.loc[rows["selection"] == selection, "rootstock"].value_counts()
        registered = sorted(plants.loc[plants["selection"] == selection, "rootstock"])
        rootstock = str(counts.index[0]) if len(counts) else (registered[0] if registered else "own")
    cell = rows[(rows["selection"] == selection) & (rows["rootstock"] == rootstock)]
    own = {}
    if len(cell):
        every = trial_curves(flow, settings, [(selection, rootstock)]) if curves is None else curves
        own = {grade: shares.sel(selection=selection, rootstock=rootstock).squeeze(drop=True)
               for grade, shares in every.items()}  # fmt: skip
    prepared = prepare_survival(own, cell, selection=selection, rootstock=rootstock,
                                settings=settings)  # fmt: skip
    return _as_one(draw_survival(prepared, page=page))


def _hardiest(flow: Flow) -> str:
    """The selection with the coldest claimable floor; where none has one, the first registered."""
    floors = flow.floors()
    claimed = floors[floors["claimable_c"].notna()]
    if len(claimed):
        return str(claimed.sort_values("claimable_c", kind="stable")["selection"].iloc[0])
    registered = sorted(flow.records.selections["selection"])
    return str(registered[0]) if registered else ""


def _event(flow: Flow, event: str) -> str:
    """The event asked for, else the coldest that counts."""
    freezes = flow.freezes
    if event:
        return _known(event, [*freezes["event"]], "event")
    counted = flow.freezes_that_count.dropna(subset=["minimum_c"])
    return str(counted.sort_values("minimum_c", kind="stable")["event"].iloc[0]) if len(counted) else ""


def _damage_map(flow: Flow, settings: Settings, *, page: str = "A4", block: str = "", event: str = "") -> Figure:
    plants = flow.records.plants
    if block:
        _known(block, [*plants["block"]], "block")
    event = _event(flow, event)
    if not block and len(plants):
        met = plants[plants["plant"].isin(flow.exposures.loc[flow.exposures["event"] == event, "plant"])]
        blocks = (met if len(met) else plants)["block"].value_counts()
        block = str(blocks.index[0])
    prepared = prepare_damage_map(
        plants, flow.observations, flow.exposures, block=block, event=event, settings=settings
    )
    return _as_one(draw_damage_map(prepared, page=page))


def _winters(flow: Flow, settings: Settings, *, page: str = "A4", winter: str = "") -> Figure:
    if winter:
        _known(winter, [*flow.freezes_that_count["winter"]], "winter")
    prepared = prepare_winters(flow.freezes_that_count, flow.observations, settings=settings, winter=winter)
    return _as_one(draw_winters(prepared, page=page))


def _offsets(flow: Flow) -> dict[str, float]:
    sensors = flow.records.sensors
    return dict(zip(sensors["sensor"], sensors["offset_c"].fillna(0.0), strict=True))


def _readings(flow: Flow) -> dict[str, xr.DataArray]:
    """Readings as every freeze is measured from them: masks and dated offsets applied, where the flow knows them."""
    return dict(flow.readings)


def _freeze_course(flow: Flow, settings: Settings, *, page: str = "A4", event: str = "") -> Figure:
    prepared = prepare_freeze_course(
        _readings(flow), flow.freezes, event=_event(flow, event), settings=settings, offsets_c=_offsets(flow)
    )
    return _as_one(draw_freeze_course(prepared, page=page))


def _exposure_grade(
    flow: Flow, settings: Settings, *, page: str = "A4", selection: str = "", rootstock: str = ""
) -> Figure:
    plants = flow.records.plants
    if selection:
        _known(selection, [*plants["selection"]], "selection")
    if rootstock:
        _known(rootstock, [*plants["rootstock"]], "rootstock")
    bin_c = NARROW_BIN_C if format_named(page).narrow else BIN_C
    prepared = prepare_exposure_grade(flow.observations, settings=settings, selection=selection, rootstock=rootstock,
                                      bin_c=bin_c)  # fmt: skip
    return _as_one(draw_exposure_grade(prepared, page=page))


def _ranks(flow: Flow, settings: Settings, *, page: str = "A4", rootstock: str = "") -> Figure:
    if rootstock and rootstock != ALL_STOCKS:
        _known(rootstock, [*flow.records.plants["rootstock"]], "rootstock")
    checks = flow.checks if flow.can_fit else []
    prepared = prepare_ranks(flow.ranks(), rootstock=rootstock or ALL_STOCKS, settings=settings, checks=checks)
    return _as_one(draw_ranks(prepared, page=page))


def _pairs(flow: Flow, settings: Settings, *, page: str = "A4", selection: str = "", rootstock: str = "") -> Figure:
    plants = flow.records.plants
    selection = _known(selection, [*plants["selection"]], "selection") if selection else _hardiest(flow)
    if rootstock and rootstock != ALL_STOCKS:
        _known(rootstock, [*plants["rootstock"]], "rootstock")
    tested = selection in set(_open_rows(flow)["selection"])
    table = flow.compare(against=[selection]) if tested else pd.DataFrame(columns=column_names(COMPARE))
    prepared = prepare_pairs(table, selection=selection, rootstock=rootstock or ALL_STOCKS, settings=settings,
                             checks=flow.checks if flow.can_fit else [])  # fmt: skip
    return _as_one(draw_pairs(prepared, page=page))


def _calibration(flow: Flow, settings: Settings, *, page: str = "A4") -> Figure:
    empty = pd.DataFrame(columns=column_names(CALIBRATION))
    table = calibration_table(predict_rows(flow.fit.posterior)) if flow.can_fit else empty
    return _as_one(draw_calibration(prepare_calibration(table, settings.grades, settings.name), page=page))


def _station_logger(flow: Flow, settings: Settings, *, page: str = "A4", sensor: str = "", station: str = "") -> Figure:
    readings, offsets, sensors = _readings(flow), _offsets(flow), flow.records.sensors
    stations = set(sensors.loc[sensors["kind"] == "station", "sensor"])
    if station:
        _known(station, [name for name in readings if name in stations], "station")
    if sensor:
        _known(sensor, [name for name in readings if name not in stations], "sensor")

    def longest(names: set[str]) -> str:
        return max(sorted(names), key=lambda name: readings[name].size, default="")

    station = station or longest({name for name in readings if name in stations})
    sensor = sensor or longest({name for name in readings if name not in stations})
    if not (station and sensor):
        prepared = prepare_station_logger(EMPTY, EMPTY, station_name=station, logger_name=sensor, settings=settings)
    else:
        pair = [readings[name] + offsets.get(name, 0.0) for name in (station, sensor)]
        prepared = prepare_station_logger(*pair, station_name=station, logger_name=sensor, settings=settings)
    return _as_one(draw_station_logger(prepared, page=page))


def _quality_calendar(flow: Flow, settings: Settings, *, page: str = "A4") -> Figure:
    prepared = prepare_quality_calendar(flow.flags, flow.records.readings, flow.freezes_that_count, settings)
    return _as_one(draw_quality_calendar(prepared, page=page))


DRAW: dict[str, Callable[..., Figure]] = {
    "summary": _summary,
    "survival": _survival,
    "damage_map": _damage_map,
    "winters": _winters,
    "freeze_course": _freeze_course,
    "exposure_grade": _exposure_grade,
    "ranks": _ranks,
    "pairs": _pairs,
    "calibration": _calibration,
    "station_logger": _station_logger,
    "quality_calendar": _quality_calendar,
}  # by name: takes a flow, the settings, ``page`` and what may be chosen; pages that follow are its ``further``
