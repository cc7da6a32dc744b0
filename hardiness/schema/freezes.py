"""What the cold was: the columns of freezes, which follow the thresholds and held durations of the trial."""

from __future__ import annotations

from collections.abc import Sequence

from hardiness.schema.columns import Column
from hardiness.units import Temperature

_FREEZE_NAMES = (
    Column("freeze", "unique name: local date of its start and the sensor"),
    Column("event", "freezes of several sensors that are one cold spell share it"),
    Column("winter", "2031-32: July to June north of the equator; 2031: the year south of it"),
    Column("sensor", "whose readings"),
    Column("source", "where the temperatures come from", "choice", choices=("logger", "station", "estimated")),
)
_FREEZE_SPAN = (
    Column("starts", "first crossing down of the onset temperature", "time"),
    Column("ends", "last crossing up", "time"),
    Column("minimum_c", "coldest reading", "number", "degC"),
    Column("duration_h", "ends - starts", "number", "h"),
)
_FREEZE_SHAPE = (
    Column("degree_hours_c_h", "degree hours below onset", "number", "K h"),
    Column("fall_rate_c_per_h", "largest fall over one hour", "number", "K/h"),
    Column("coverage", "share of the freeze that readings cover", "number", "1"),
    Column("sd_c", "standard deviation of the freeze's temperature at the plants", "number", "K"),
)


def number_text(value: float) -> str:
    """A number as column names write it: shortest decimals.

    Parameters
    ----------
    value : float

    Returns
    -------
    str

    Examples
    --------
    >>> number_text(2.0), number_text(0.5)
    ('2', '0.5')
    """
    return f"{value:g}"


def hours_column(threshold: Temperature) -> str:
    """Name the column of hours at or below a threshold: ``hours_le_-5_c``.

    Parameters
    ----------
    threshold : Temperature
        As it was given.

    Returns
    -------
    str

    Examples
    --------
    >>> from hardiness.units import parse_temperature
    >>> hours_column(parse_temperature("28 F"))
    'hours_le_28_f'
    """
    return f"hours_le_{threshold.label}"


def held_column(hours: float) -> str:
    """Name the column of the temperature held for a number of hours: ``held_1h_c``.

    Parameters
    ----------
    hours : float
        Held duration. [h]

    Returns
    -------
    str

    Examples
    --------
    >>> held_column(1.0), held_column(0.5)
    ('held_1h_c', 'held_0.5h_c')
    """
    return f"held_{number_text(hours)}h_c"


def measure_columns(thresholds: Sequence[Temperature], held_h: Sequence[float]) -> tuple[Column, ...]:
    """List the columns of freezes from ``starts`` on, for these thresholds and held durations.

    Parameters
    ----------
    thresholds : sequence of Temperature
        As they were given.
    held_h : sequence of float
        Held durations. [h]

    Returns
    -------
    tuple of Column
    """
    hours = tuple(Column(hours_column(t), f"hours at or below {t}", "number", "h") for t in thresholds)
    held = tuple(
        Column(held_column(h), f"coldest temperature held for {number_text(h)} h in total", "number", "degC")
        for h in held_h
    )
    return _FREEZE_SPAN + hours + held + _FREEZE_SHAPE


def freeze_columns(thresholds: Sequence[Temperature], held_h: Sequence[float]) -> tuple[Column, ...]:
    """List all columns of the freezes table, for these thresholds and held durations.

    Parameters
    ----------
    thresholds : sequence of Temperature
        As they were given.
    held_h : sequence of float
        Held durations. [h]

    Returns
    -------
    tuple of Column
    """
    return _FREEZE_NAMES + measure_columns(thresholds, held_h)
