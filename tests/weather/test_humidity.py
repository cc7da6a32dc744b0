"""Dew point and wet bulb against values computed elsewhere from the same published formulas, and a station's own."""

from pathlib import Path

import numpy as np
import pandas as pd
import pvlib
import pytest
from hypothesis import given
from hypothesis import strategies as st

from hardiness.errors import InputError
from hardiness.weather.humidity import dew_point, vapour_pressure, wet_bulb

# air [degC], humidity [%]: dew point, wet bulb, ice bulb [degC]; Magnus and psychrometer constants of WMO-No. 8,
# 1013.25 hPa
PUBLISHED = [
    (0, 50, -9.20, -2.87, -2.96),
    (2, 50, -7.35, -1.16, -1.34),
    (2, 70, -2.90, 0.14, -0.01),
    (5, 30, -11.17, -0.17, -0.54),
    (-2, 60, -8.74, -4.06, -4.04),
    (20, 50, 9.26, 13.84, np.nan),
    (10, 60, 2.58, 6.51, np.nan),
    (25, 54, 15.04, 18.60, np.nan),
]


@pytest.mark.parametrize("celsius, humidity, dew, wet, ice", PUBLISHED)
def test_agrees_with_values_computed_elsewhere(celsius, humidity, dew, wet, ice):
    found = [dew_point(celsius, humidity), wet_bulb(celsius, humidity), wet_bulb(celsius, humidity, over_ice=True)]
    assert [float(value) for value in found] == pytest.approx([dew, wet, ice], abs=0.05, nan_ok=True)


def test_a_printed_trade_table_and_a_paper_agree():
    # trade tables print -2.9 degC for air of 0 degC at 50 %; Stull 2011 (JAMC 50:2267) 13.7 degC for 20 degC at 50 %
    assert float(wet_bulb(0.0, 50.0)) == pytest.approx(-2.9, abs=0.05)
    assert float(wet_bulb(20.0, 50.0)) == pytest.approx(13.7, abs=0.15)


@given(st.floats(-30, 40), st.floats(1, 100), st.floats(600, 1080))
def test_dew_point_wet_bulb_and_air_stand_in_order(celsius, humidity, pressure):
    dew, wet = float(dew_point(celsius, humidity)), float(wet_bulb(celsius, humidity, pressure_hpa=pressure))
    assert dew <= wet + 1e-9
    assert wet <= celsius + 1e-9


@given(st.floats(-30, 40), st.floats(1, 99))
def test_damper_air_has_a_warmer_wet_bulb(celsius, humidity):
    assert float(wet_bulb(celsius, humidity)) < float(wet_bulb(celsius, humidity + 1))


def test_saturated_air_is_its_own_dew_point_and_wet_bulb():
    air = np.array([-12.5, -0.5, 0.0, 18.0])
    assert dew_point(air, 100.0) == pytest.approx(air, abs=1e-9)
    assert wet_bulb(air, 100.0) == pytest.approx(air, abs=1e-9)


def test_ice_has_the_lower_vapour_pressure_below_zero_only():
    assert vapour_pressure(-10.0, over_ice=True) < vapour_pressure(-10.0)
    assert vapour_pressure(0.0, over_ice=True) == vapour_pressure(0.0) == 6.112


def test_frost_gathers_on_ice_in_saturated_freezing_air():
    assert float(wet_bulb(-8.0, 100.0, over_ice=True)) > -8.0


def test_missing_values_stay_missing():
    assert np.isnan(wet_bulb([np.nan, 3.0], [80.0, np.nan])).all()
    assert np.isnan(dew_point([np.nan, 3.0], [80.0, np.nan])).all()


@pytest.mark.parametrize("humidity", [0.0, -5.0, 103.0])
def test_impossible_humidity_is_refused(humidity):
    with pytest.raises(InputError, match=f"relative humidities of {humidity:g} %.*above 0 and up to 100 %"):
        dew_point(3.0, [50.0, humidity])
    with pytest.raises(InputError, match="up to 100 %"):
        wet_bulb(3.0, humidity)


def test_a_stations_own_dew_point_is_met():
    # NREL TMY3 station 723170 (comes with pvlib): dew point in tenths and humidity in whole percent, so that damp air
    # is known to about 0.1 degC and dry air to less
    path = Path(pvlib.__file__).parent / "data" / "723170TYA.CSV"
    table = pd.read_csv(path, skiprows=1)
    table = table[table["RHum (%)"] >= 40]
    off = dew_point(table["Dry-bulb (C)"], table["RHum (%)"]) - table["Dew-point (C)"]
    assert len(table) > 7000
    assert np.abs(np.median(off)) < 0.1
    assert np.mean(np.abs(off) < 0.35) > 0.95
