"""A freeze's page says what kind of freeze it was, where a station tells it, and nothing where none does."""

import pandas as pd

from hardiness.read.station_table import station_table
from hardiness.store.station_intake import add_station
from hardiness.trial import open_trial


def calm_clear_hours() -> bytes:
    times = pd.date_range("2030-12-19", periods=60, freq="h")
    values = pd.DataFrame({"time": times, "temperature_c": -1.0, "wind_km_h": 3.6, "cloud_oktas": 0.0,
                           "source": "isd_lite", "model": False})  # fmt: skip
    facts = {"station": "S0001", "latitude": 41.3, "longitude": -7.5, "series": "hourly"}
    return station_table(values, facts).encode()


def test_a_freeze_that_a_station_saw_has_its_kind_and_others_have_none(serve, folder):
    with open_trial(folder) as trial:
        add_station(trial.store, trial.settings, calm_clear_hours(), station="ST-9", name="station.csv")
    browser = serve(folder)
    assert "By the air at ST-9 it was radiative." in browser.words("/freezes/2030-12-20 L1")
    assert "By the air" not in browser.words("/freezes/2030-01-10 L1")
