"""Freezes of one series of temperatures, without any trial: when, how cold, for how long."""

import pandas as pd

import hardiness

# Six days of one logger, a reading every 15 minutes: the coldest of each night and the warmest of each day [degC].
turning_points = pd.Series(
    [4.0, -1.2, 6.5, -5.8, 1.9, -7.4, 3.0, -0.6, 7.2, -3.1, 8.0],
    index=pd.date_range("2031-12-13T14:00", periods=11, freq="12h", tz="UTC"),
)
air_temperature = turning_points.resample("15min").interpolate("linear")

freezes = hardiness.freezes_of(
    air_temperature.index,
    air_temperature,
    damaging_c=-2.0,  # a freeze is listed once it got as cold as this
    thaw_h=12.0,  # hours on end above 0 degC that end one: the short thaw of the third day ends none
    thresholds_c=(0, -2, -5),
    held_h=(1, 4),
)
for freeze in freezes.itertuples(index=False):
    print(f"{freeze.starts:%d %b %H:%M} to {freeze.ends:%d %b %H:%M} UTC: {freeze.minimum_c:.1f} degC at the coldest,")
    print(f"  at or below {freeze.held_1h_c:.1f} degC for an hour and {freeze.held_4h_c:.1f} degC for four in all,")
    print(f"  {freeze.degree_hours_c_h:.1f} degree hours below 0 degC")
for threshold in (0, -2, -5):
    print(f"in all at or below {threshold} degC: {freezes[f'hours_le_{threshold}_c'].sum():.1f} h")
