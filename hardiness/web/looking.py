"""A dropped file of readings, looked at before it is taken in: what was recognised, what is wrong."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from hardiness import words
from hardiness.errors import InputError, Problem
from hardiness.read.preview import Preview
from hardiness.store import Intake
from hardiness.trial import Trial
from hardiness.web.holding import Held
from hardiness.web.wording import for_page


@dataclass(frozen=True, slots=True)
class Choices:
    """What a person says about a file; empty is what the file or the trial says.

    Parameters
    ----------
    sensor, timezone, unit, time_column, temperature_column, date_order, missing, marks : str
    """

    sensor: str = ""
    timezone: str = ""
    unit: str = ""
    time_column: str = ""
    temperature_column: str = ""
    date_order: str = ""
    missing: str = ""
    marks: str = ""

    @property
    def options(self) -> dict[str, Any]:
        """As :meth:`hardiness.trial.Trial.add_readings` takes them."""
        names = ("timezone", "unit", "time_column", "temperature_column", "date_order", "missing", "marks")
        return {name: getattr(self, name) or None for name in names}


@dataclass(frozen=True, slots=True)
class Look:
    """What was seen in a file.

    Parameters
    ----------
    held : Held
    preview : Preview
    units : str
        ``"C"`` or ``"F"``, as the trial shows temperatures.
    """

    held: Held
    preview: Preview
    units: str

    @property
    def facts(self) -> list[tuple[str, str]]:
        """What was recognised."""
        return [(name, for_page(value)) for name, value in self.preview.facts() if name != "sensor"]

    @property
    def taken_as(self) -> list[tuple[str, str]]:
        """The unit and the zone that the file would be read with, and who says so: what is wrong there is seen last."""
        return [(name, value) for name, value in self.facts if name in ("unit", "zone")]

    @property
    def rows(self) -> list[tuple[str, str, str]]:
        """The first readings: row, local time, temperature."""
        return [(str(row.row), row.local, words.temperature(row.celsius, self.units, 2)) for row in self.preview.rows]

    @property
    def said(self) -> list[str]:
        """What was assumed."""
        return [for_page(sentence) for sentence in self.preview.said]

    @property
    def problems(self) -> list[str]:
        """What would refuse it."""
        return [for_page(problem) for problem in self.preview.problems]


def look_at(trial: Trial, held: Held, choices: Choices) -> Look:
    """Look at a file; nothing is stored.

    Parameters
    ----------
    trial : Trial
    held : Held
    choices : Choices

    Returns
    -------
    Look
    """
    try:
        preview = trial.preview_readings(held.path, choices.sensor.strip() or None, name=held.name, **choices.options)
    except InputError as error:  # a choice that is none
        preview = Preview(held.name, problems=list(error.problems))
    return Look(held, preview, trial.settings.units)


def take_in(trial: Trial, held: Held, choices: Choices) -> Intake:
    """Take a file in: whole, or not at all.

    Parameters
    ----------
    trial : Trial
    held : Held
    choices : Choices

    Returns
    -------
    Intake

    Raises
    ------
    InputError
        With every bad row; nothing was stored.
    """
    if not choices.sensor.strip():
        raise InputError(Problem("no sensor", "the name of the sensor whose readings these are", file=held.name))
    intake = trial.add_readings(held.path, choices.sensor, name=held.name, **choices.options)
    intake.said[:] = [for_page(one) for one in intake.said]
    return intake
