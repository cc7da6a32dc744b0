"""What a look at a logger's export shows: what was recognised, some rows as read, and all that is wrong.

A :class:`Preview` holds words and numbers that a page or a terminal shows as they are;
:mod:`hardiness.read.previewing` makes it of a file.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from hardiness.errors import Problem
from hardiness.read.loggers import LoggerFile
from hardiness.words import count, number


@dataclass(frozen=True, slots=True)
class PreviewColumn:
    """A column of the file.

    Parameters
    ----------
    number : int
        Counted from 1.
    name : str
        As the header has it.
    role : str
        ``time``, ``date``, ``time of day`` or another part of a time, ``temperature``, ``humidity``, ``dew point``,
        ``sensor``, ``unit``, ``zone``, ``what was measured``, ``flags``, or empty: not read.
    example : str
        Its first filled cell.
    """

    number: int
    name: str
    role: str
    example: str


@dataclass(frozen=True, slots=True)
class PreviewRow:
    """A reading.

    Parameters
    ----------
    row : int
        Where it stands in the file.
    local : str
        When, by the trial's clock, with its offset.
    utc : str
        When, in UTC.
    celsius : float
        [degC]
    """

    row: int
    local: str
    utc: str
    celsius: float


@dataclass(frozen=True, slots=True)
class Preview:
    """What was recognised of one sensor in a file; what was not is empty.

    Parameters
    ----------
    file : str
        Its name.
    sensor : str
        Whose readings; empty where nobody has said.
    encoding, delimiter : str
        In words.
    header : int, optional
        Row of the columns' names.
    columns : list of PreviewColumn
        All columns of the file.
    time_column, temperature_column : str
        The columns read.
    unit, unit_from : str
        ``C``, ``F`` or ``K``, and who says so: ``file``, ``option``, ``last`` (the sensor's last file) or ``default``.
    date_order, date_order_from : str
        ``day/month/year`` or the like, and who says so; empty where the dates leave nothing to decide.
    clock : str
        ``12 h`` or ``24 h``.
    zone, zone_from : str
        Zone or offsets of the times, and who says so.
    interval_min : float
        Median step between readings, NaN where there are not two. [min]
    first, last : str
        Time of the earliest and of the latest reading, by the trial's clock.
    readings, missing, known : int
        Readings; rows without a temperature; readings that agree with stored ones, which would stay.
    rows : list of PreviewRow
        The first readings in the file's order.
    lines : list of str
        The first lines as they stand, where the file was not understood.
    said : list of str
        Sentences for the user: what was assumed, passed over, left out.
    problems : list of Problem or str
        All that would refuse the file.
    logger : LoggerFile, optional
        What would be taken in; None where a problem stands against it.
    """

    file: str
    sensor: str = ""
    encoding: str = ""
    delimiter: str = ""
    header: int | None = None
    columns: list[PreviewColumn] = field(default_factory=list)
    time_column: str = ""
    temperature_column: str = ""
    unit: str = ""
    unit_from: str = ""
    date_order: str = ""
    date_order_from: str = ""
    clock: str = ""
    zone: str = ""
    zone_from: str = ""
    interval_min: float = float("nan")
    first: str = ""
    last: str = ""
    readings: int = 0
    missing: int = 0
    known: int = 0
    rows: list[PreviewRow] = field(default_factory=list)
    lines: list[str] = field(default_factory=list)
    said: list[str] = field(default_factory=list)
    problems: list[Problem | str] = field(default_factory=list)
    logger: LoggerFile | None = field(default=None, repr=False)

    def facts(self) -> list[tuple[str, str]]:
        """Tell what was recognised, a line a question: the question, and its answer with who gave it.

        Returns
        -------
        list of (str, str)
            Only what is known.

        Examples
        --------
        >>> Preview("l1.csv", unit="F", unit_from="last", sensor="L1").facts()
        [('sensor', 'L1'), ('unit', 'F, as for the last file of this sensor')]
        """
        header = f"row {self.header}" if self.header else "none: columns are named by their number"
        step = (
            ""
            if np.isnan(self.interval_min)
            else f"{number(self.interval_min, 0 if self.interval_min >= 10 else 1)} min"
        )
        told = [
            ("sensor", self.sensor),
            ("encoding", self.encoding),
            ("delimiter", self.delimiter),
            ("header", header if self.columns else ""),
            ("times from", self.time_column),
            ("temperatures from", self.temperature_column),
            ("unit", _by(self.unit, self.unit_from)),
            ("dates", _by(self.date_order, self.date_order_from)),
            ("clock", self.clock),
            ("zone", _by(self.zone, self.zone_from)),
            ("usual interval", step),
            ("first reading", self.first),
            ("last reading", self.last),
            ("readings", f"{self.readings:,}" if self.readings else ""),
            ("rows without a temperature", f"{self.missing:,}" if self.missing else ""),
            ("agree with stored ones", f"{self.known:,}; the stored ones stay" if self.known else ""),
        ]
        return [(question, answer) for question, answer in told if answer]


def _by(what: str, who: str) -> str:
    """Tell an answer and who gave it."""
    said = {
        "file": "as the file says",
        "option": "as the option says",
        "last": "as for the last file of this sensor",
        "default": "the trial's, as neither the file nor an option says",
    }
    return f"{what}, {said[who]}" if what and who in said else what


def say_count(preview: Preview) -> str:
    """Say how many readings a file would give.

    Parameters
    ----------
    preview : Preview

    Returns
    -------
    str

    Examples
    --------
    >>> say_count(Preview("l1.csv", readings=96, known=20))
    '76 readings would be added.'
    """
    return f"{count(preview.readings - preview.known, 'reading')} would be added."
