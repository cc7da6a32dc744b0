"""A station's readings, ready to be taken in like a logger's."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from hardiness.read.loggers import LoggerFile
from hardiness.read.station_data import MEASURED, StationFacts


@dataclass(frozen=True, slots=True)
class StationFile(LoggerFile):
    """A station's readings, ready to be taken in: those of a logger, and how they came about.

    Parameters
    ----------
    series : str
        ``MEASURED``, ``DAILY_MINIMUM`` or ``ESTIMATED`` of :mod:`hardiness.read.station_data`.
    facts : StationFacts
        The station.
    provenance : mapping of str to str or float
        What is kept with the readings: archive, identifier, distance, flags, when it was fetched.
    notes : str
        The same in a sentence, for the sensors table.
    """

    series: str = MEASURED
    facts: StationFacts = field(default_factory=StationFacts)
    provenance: Mapping[str, str | float] = field(default_factory=dict)
    notes: str = ""
