"""Which gaps are questions to the grower, and which are those of summer."""

import numpy as np
import pandas as pd
import pytest
import xarray as xr

from hardiness.settings import Settings
from hardiness.weather.quality import find_flags
from hardiness.weather.quality_gaps import summer_gaps

HILL = Settings("Hill", "Europe/Lisbon", latitude=41.2, longitude=-7.5)
BAY = Settings("Bay", "Australia/Hobart", latitude=-42.9, longitude=147.3)
NOWHERE = Settings("Hill", "Europe/Lisbon")


def around(begin: str, end: str, values=(8.0, 7.5, 7.0, 7.2)) -> xr.DataArray:
    """Two readings an hour apart up to ``begin``, and two from ``end`` on."""
    hour = np.timedelta64(1, "h")
    first, last = np.datetime64(begin, "ns"), np.datetime64(end, "ns")
    return xr.DataArray(list(values), {"time": [first - hour, first, last, last + hour]}, ("time",),
                        attrs={"units": "degC"})  # fmt: skip


def told(readings, settings=HILL) -> tuple[int, int]:
    """How many gaps are flags, and how many are those of summer."""
    readings = readings if isinstance(readings, dict) else {"L1": readings}
    flags = find_flags(readings, pd.DataFrame({"sensor": list(readings)}), settings)
    return int((flags["flag"] == "gap").sum()), len(summer_gaps(readings, settings))


FLAG, QUIET = (1, 0), (0, 1)


@pytest.mark.parametrize(
    ("begin", "end", "expected"),
    [
        ("2032-03-31T23:30", "2032-11-01T00:00", QUIET),  # a logger that is taken in: 214 days
        ("2032-04-20", "2032-10-20", QUIET),
        ("2032-06-10", "2032-07-12", QUIET),
        ("2032-07-03T10:00", "2032-07-03T14:00", QUIET),  # four hours of July
        ("2032-09-28", "2032-10-02", FLAG),  # into October
        ("2032-05-10", "2032-05-13", FLAG),  # late frosts
        ("2032-01-05", "2032-01-09", FLAG),
        ("2032-11-20T08:00", "2032-11-20T12:00", FLAG),
        ("2032-02-01", "2032-11-01", FLAG),  # two months of winter before it
        ("2032-04-01", "2033-01-10", FLAG),  # and behind it
        ("2032-07-20", "2033-07-20", FLAG),  # a whole winter
        ("2031-05-01", "2033-10-31", FLAG),  # two of them between three summers
    ],
)
def test_a_gap_is_a_question_where_a_freeze_may_have_fallen_in_it(begin, end, expected):
    assert told(around(begin, end)) == expected
    assert told(around(begin, end), NOWHERE) == expected  # north where the trial has no latitude
    # the same half a year on, south of the equator
    moved = [np.datetime64(at[:7], "M") + 6 + (np.datetime64(at) - np.datetime64(at[:7], "D")) for at in (begin, end)]
    assert told(around(*map(str, moved)), BAY) == expected
    if (begin, end) == ("2032-03-31T23:30", "2032-11-01T00:00"):
        assert told(around(begin, end), BAY) == FLAG  # there it is the whole winter


def test_a_freeze_at_another_sensor_or_at_its_ends_makes_a_gap_of_summer_a_question():
    gap = ("2032-03-31T23:30", "2032-11-01T00:00")
    silent = around(*gap)
    assert told({"L1": silent, "L2": around("2032-04-12T05:00", "2032-04-12T06:00", (1, -1.9, -1.9, 1))}) == QUIET
    assert told({"L1": silent, "L2": around("2032-04-12T05:00", "2032-04-12T06:00", (1, -2.0, -1.9, 1))}) == FLAG
    assert told({"L1": silent, "L2": around("2032-11-02T05:00", "2032-11-02T06:00", (1, -6.0, -6.0, 1))}) == QUIET
    assert told(around(*gap, (0.0, -2.5, 7.0, 7.0))) == told(around(*gap, (7.0, 7.0, -2.5, 0.0))) == FLAG
    drawn = around("2032-04-12T05:00", "2032-04-12T06:00", (1, -6.0, -6.0, 1)).assign_attrs(series="estimated")
    assert told({"L1": silent, "D2": drawn}) == QUIET  # nobody's readings


def test_gaps_of_summer_are_told_by_sensor_with_their_ends():
    first, second = around("2032-03-31T23:30", "2032-11-01T00:00"), around("2032-07-03T10:00", "2032-07-03T14:00")
    table = summer_gaps({"L2": second, "L1": first, "L3": around("2032-01-05", "2032-01-09")}, HILL)
    assert table["sensor"].tolist() == ["L1", "L2"]
    assert table["hours"].tolist() == [214 * 24 + 0.5, 4.0]
    assert table["from"].tolist() == [pd.Timestamp("2032-03-31T23:30Z"), pd.Timestamp("2032-07-03T10:00Z")]
    assert summer_gaps({}, HILL).empty and list(summer_gaps({}, HILL)) == ["sensor", "from", "to", "hours"]


def test_a_logger_that_was_set_to_read_less_often_says_so_in_place_of_missing_readings():
    minutes = [*range(0, 15 * 1440, 10), *range(15 * 1440, 40 * 1440, 180)]
    times = np.datetime64("2031-12-01", "ns") + np.array(minutes) * np.timedelta64(1, "m")
    kept = np.ones(times.size, dtype=bool)
    kept[300:330] = False  # five hours of silence, early on
    degrees = 4 + 4 * np.cos(2 * np.pi * (np.array(minutes) / 1440 - 0.6))
    air = xr.DataArray(degrees.round(1)[kept], {"time": times[kept]}, ("time",), attrs={"units": "degC"})
    flags = find_flags({"L1": air}, pd.DataFrame({"sensor": ["L1"]}), HILL)
    silence, *changed = flags.loc[flags["flag"] == "gap", "sentence"]
    assert silence == "No reading for 5.2 h, about 30 readings missing."
    assert (
        80 < len(changed) < 120
    )  # the usual interval is that of the days about it: the steps are bridged from then on
    assert set(changed) == {
        "No reading for 3 h, nor between the readings beside them: it was set to read less often. Hours between such "
        "readings count nowhere within about two weeks of the change."
    }
