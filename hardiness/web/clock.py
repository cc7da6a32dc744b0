"""Instants by the trial's clock."""

from __future__ import annotations

from typing import Any
from zoneinfo import ZoneInfo

import pandas as pd


def local(at: Any, zone: ZoneInfo) -> pd.Timestamp:
    """Give an instant by the trial's clock.

    Parameters
    ----------
    at : Timestamp or datetime64
        Without a zone it is UTC.
    zone : ZoneInfo

    Returns
    -------
    Timestamp

    Examples
    --------
    >>> str(local(pd.Timestamp("2031-07-01T12:00"), ZoneInfo("Europe/Lisbon")))
    '2031-07-01 13:00:00+01:00'
    """
    instant = pd.Timestamp(at)
    return (instant.tz_localize("UTC") if instant.tzinfo is None else instant).tz_convert(zone)
