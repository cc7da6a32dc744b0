"""Every figure by its name: what it shows, what may be chosen for it, and which names a trial has for that.

``from_flow`` holds the way from a flow to each.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from inspect import signature
from typing import NamedTuple

from matplotlib.figure import Figure

from hardiness.errors import InputError, Problem, near_name
from hardiness.figures.from_flow import DRAW
from hardiness.flow import Flow
from hardiness.settings import Settings

CHOICES = {
    "selection": "a selection",
    "rootstock": "a rootstock",
    "event": "an event, by the date of its first freeze",
    "block": "a block",
    "winter": "a winter, such as 2031-32",
    "sensor": "a logger",
    "station": "a station",
}


class Entry(NamedTuple):
    """One figure of the gallery.

    Parameters
    ----------
    title : str
        What it shows.
    draw : callable
        ``draw(flow, settings, page=..., **choice) -> Figure``; pages that follow are its ``further``.
    """

    title: str
    draw: Callable[..., Figure]


def draw_figure(name: str, flow: Flow, settings: Settings, **choice: str) -> Figure:
    """Draw a figure by its name.

    Parameters
    ----------
    name : str
        One of :data:`FIGURES`.
    flow : Flow
    settings : Settings
    **choice : str
        ``page``, and any of :data:`CHOICES` that the figure knows.

    Returns
    -------
    Figure

    Raises
    ------
    InputError
        If there is no such figure, it knows no such choice, or a name chosen is not in the trial.
    """
    if name not in FIGURES:
        raise InputError(
            Problem(f"figure '{name}'", f"one of {', '.join(FIGURES)}", hint=near_name(name, tuple(FIGURES)))
        )
    other = sorted(set(choice) - {*accepted_by(name), "page", "curves"})
    if other:
        raise InputError(Problem(f"{', '.join(other)} for the figure '{name}'",
                                 ", ".join(accepted_by(name)) or "no choice"))  # fmt: skip
    return FIGURES[name].draw(flow, settings, **choice)


def accepted_by(name: str) -> tuple[str, ...]:
    """List what may be chosen for a figure, beside the page.

    Parameters
    ----------
    name : str
        One of :data:`FIGURES`.

    Returns
    -------
    tuple of str

    Examples
    --------
    >>> accepted_by("damage_map")
    ('block', 'event')
    """
    return tuple(option for option in signature(FIGURES[name].draw).parameters if option in CHOICES)


def names_to_choose(name: str, flow: Flow) -> dict[str, list[str]]:
    """List the names that a trial has for each choice of a figure.

    Parameters
    ----------
    name : str
        One of :data:`FIGURES`.
    flow : Flow

    Returns
    -------
    dict of str to list of str
        By option of :func:`accepted_by`, sorted.
    """
    plants, sensors = flow.records.plants, flow.records.sensors
    stations = set(sensors.loc[sensors["kind"] == "station", "sensor"])
    found: dict[str, Callable[[], Iterable[str]]] = {
        "selection": lambda: plants["selection"],
        "rootstock": lambda: plants["rootstock"],
        "block": lambda: plants["block"],
        "event": lambda: flow.freezes["event"],
        "winter": lambda: flow.freezes_that_count["winter"],
        "sensor": lambda: set(flow.records.readings) - stations,
        "station": lambda: set(flow.records.readings) & stations,
    }
    return {option: sorted({str(each) for each in found[option]() if each}) for option in accepted_by(name)}


TITLES = {
    "summary": "the trial summary: the cold, what it did, what is now known, how sure",
    "survival": "survival curves of a selection on a rootstock, by grade",
    "damage_map": "a block in planting positions after a freeze",
    "winters": "the winters side by side, freeze by freeze",
    "freeze_course": "one freeze at every sensor, hour by hour",
    "exposure_grade": "exposure against grade: what each cold did",
    "ranks": "who stands where: ranks with intervals",
    "pairs": "one selection against all others, in degrees",
    "calibration": "whether damage came as often as the model predicted",
    "station_logger": "a station against a logger, night by night",
    "quality_calendar": "all sensors, day by day: readings, freezes, what is odd",
}
FIGURES = {name: Entry(title, DRAW[name]) for name, title in TITLES.items()}
