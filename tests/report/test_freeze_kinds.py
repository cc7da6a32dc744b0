"""The freezes of a report have a column of kinds where a station tells one, and none where not."""

from dataclasses import replace

import numpy as np
import xarray as xr

from hardiness.report.blocks import Grid
from hardiness.report.weather_pages import freezes_section


def grid_of(gathered) -> Grid:
    return next(block for block in freezes_section(gathered).blocks if isinstance(block, Grid))


def test_kinds_stand_beside_the_source_where_a_station_tells_them(gathered):
    air = gathered.flow.readings["L1"].sortby("time")
    told = xr.Dataset({
        "air_temperature": air,
        "wind_speed": ("time", np.full(air.size, 1.2), {"units": "m s-1"}),
        "cloud_area_fraction": ("time", np.where(air["time"] < np.datetime64("2023-07-01"), 0.0, 1.0), {"units": "1"}),
    })  # fmt: skip
    flow = gathered.flow
    flow = replace(flow, records=replace(flow.records, conditions=lambda: {"L1": told}))
    grid = grid_of(replace(gathered, flow=flow))
    assert [head.name for head in grid.heads][-2:] == ["source", "kind"]
    assert [row[-1] for row in grid.rows] == ["radiative", "mixed"]


def test_without_a_station_that_tells_them_there_is_no_column(gathered):
    grid = grid_of(gathered)
    assert [head.name for head in grid.heads][-1] == "source"
    assert {len(row) for row in grid.rows} == {len(grid.heads)}
