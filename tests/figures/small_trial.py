"""A small trial as a flow, from readings to scores: what every figure of the gallery can be drawn from."""

import datetime as dt
from collections.abc import Sequence

import numpy as np
import pandas as pd
import xarray as xr

from hardiness.flow import Flow, Records
from hardiness.schema import RECORD_TABLES
from hardiness.settings import Settings

# The night on which a freeze begins, its minimum at the low logger [degC], and on which day plants were scored.
NIGHTS = (("2030-01-12", -5.2, "2030-02-20"), ("2031-01-08", -8.6, "2031-02-20"), ("2032-02-03", -10.4, "2032-03-20"))
SENSORS = {"L1": 0.0, "L2": 1.2, "S9": 0.6}  # [K] warmer than the low logger


def table(name: str, rows: Sequence[dict[str, object]]) -> pd.DataFrame:
    """Records with every column that their table has, empty where not given."""
    out = {}
    for column in RECORD_TABLES[name].columns:
        empty = {"date": None, "number": np.nan}.get(column.kind, "")
        values = [row.get(column.name, empty) for row in rows]
        out[column.name] = pd.Series(values, dtype=float if column.kind == "number" else object)
    return pd.DataFrame(out)


def night_readings(shift: float) -> xr.DataArray:
    """Hours around each freeze: +4 C falls from 18:00 to the minimum at 6:00 and is back at noon."""
    times, values = [], []
    for night, minimum, _ in NIGHTS:
        first = np.datetime64(night) - np.timedelta64(4, "D")
        for hour in range(8 * 24):
            moment = first + np.timedelta64(hour, "h")
            since = (moment - (np.datetime64(night) + np.timedelta64(18, "h"))) / np.timedelta64(1, "h")
            share = np.interp(since, [0, 12, 18], [0.0, 1.0, 0.0])
            mild = 4.0 + 2.0 * np.sin(2 * np.pi * hour / 24)
            times.append(moment)
            values.append(mild + share * (minimum + shift - mild))
    times_ns = np.array(times, dtype="datetime64[ns]")
    return xr.DataArray(np.array(values), {"time": times_ns}, ("time",), "air_temperature", {"units": "degC"})


def small_flow(
    names: Sequence[str] = ("OL-01", "OL-02", "OL-03", "CK-A"), *, freezes: bool = True, scores: bool = True,
    plants: int = 3, units: str = "C", deaths: bool = True,
) -> Flow:  # fmt: skip
    """A flow of some selections with some plants each; the later a selection stands, the more tender it is."""
    settings = Settings("Terrace trial", "UTC", latitude=41.0, units=units)
    selections = [{"selection": name, "role": "check" if name == "CK-A" else "candidate"} for name in names]
    stood, scored = [], []
    for number, name in enumerate(names):
        for copy in range(plants):
            plant = f"T{number}-{copy}"
            stood.append({"plant": plant, "selection": name, "rootstock": "stock P" if copy % 2 else "own",
                          "block": "east", "row": f"R{copy + 1}", "place": str(number + 1), "sensor": "L1",
                          "planted_on": dt.date(2029, 4, 1)})  # fmt: skip
            alive = True
            for _, minimum, day in NIGHTS if scores else ():
                if not alive:
                    continue
                grade = int(
                    np.clip(np.round(-(minimum + 6.5) + 0.8 * number - 0.4 * (copy % 2)), 0, 5 if deaths else 4)
                )
                alive = grade < 5
                scored.append({"plant": plant, "scored_on": dt.date.fromisoformat(day), "grade": grade})
    given = {
        "selections": selections,
        "plants": stood,
        "scores": scored,
        "sensors": [{"sensor": name, "kind": "station" if name == "S9" else "logger", "block": "east",
                     "accuracy_c": 0.3} for name in SENSORS],
    }  # fmt: skip
    tables = {name: table(name, given.get(name, [])) for name in RECORD_TABLES}
    tables["scores"]["grade"] = tables["scores"]["grade"].astype(int)
    readings = {name: night_readings(shift) for name, shift in SENSORS.items()} if freezes else {}
    return Flow(Records(readings=readings, **tables), settings)
