"""Readings of several sensors on common nights, in one call."""

from collections.abc import Mapping
from zoneinfo import ZoneInfo

from hardiness.weather.series import Series
from hardiness.weather.transfer_nights import Nights, hours_of, nights_together


def nights_of(series: Mapping[str, Series], zone: ZoneInfo) -> Nights:
    return nights_together({name: hours_of(one, zone) for name, one in series.items()}, zone)
