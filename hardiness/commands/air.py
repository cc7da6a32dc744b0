"""What the air was like in each event: the table of ``freezes --air``, who tells it, what it means for protection."""

from __future__ import annotations

import pandas as pd

from hardiness import schema, words
from hardiness.commands.output import deliver, say
from hardiness.flow import Flow
from hardiness.sentences import WORK_CAUTION
from hardiness.weather.kinds import ADVECTIVE, CALM_M_PER_S, CLEAR, MIXED, RADIATIVE, UNKNOWN

FIRST_AIR = ("event", "kind", "wind_m_s", "cloud", "wet_bulb_onset_c", "dew_point_lowest_c", "dew_point_onset_c",
             "air_onset_c", "humidity_from", "station", "distance_km")  # fmt: skip
MEANS = {
    RADIATIVE: "radiative: clear and calm by night, so that an inversion is likely, with warmer air above the plants. "
    "Moving or warming air can draw on it; covers keep the ground's warmth in.",
    ADVECTIVE: "advective: windy, and freezing by day too. No inversion is to be counted on: wind machines and heaters "
    "have no warmer air to draw on, water on plants in a dry wind can cool them, and shelter has to hold against wind.",
    MIXED: "mixed: neither calm and clear nor windy and freezing by day. Do not count on an inversion.",
    UNKNOWN: "unknown: no station tells the wind by night for 80 % of the event, or the sky where that decides.",
}
WHAT_TO_ADD = (
    "No station tells the {missing} of any event: hardiness station near finds one, and hardiness station fetch ID "
    "--from DATE --to DATE takes its hours in, with what it measured beside the temperature."
)
MACHINES = "Sprinklers, heaters and wind machines only as their labels, local codes and licensed practice allow."


def deliver_air(flow: Flow, csv: str | None) -> None:
    """Give what loggers and stations tell of each event's air, and say what it means.

    Parameters
    ----------
    flow : Flow
    csv : str or None
        A file, ``-`` for stdout, or None to print.
    """
    table = flow.air
    deliver(table, schema.AIR, flow.settings, csv, FIRST_AIR)
    if table.empty:
        say("There is no freeze yet: hardiness add readings FILE --sensor S adds a logger's readings.")
        return
    if not table["station"].ne("").any():
        own = humidity_notes(table)
        say([*own, WHAT_TO_ADD.format(missing="wind and sky" if own else "wind, sky or humidity")])
        if own:
            say([MACHINES, WORK_CAUTION])
        return
    say(air_notes(table))


def air_notes(table: pd.DataFrame) -> list[str]:
    """Say what the kinds that occur mean for protection, and on what they rest.

    Parameters
    ----------
    table : DataFrame
        Columns of ``schema.AIR``.

    Returns
    -------
    list of str
    """
    many = table["kind"].value_counts()
    notes = [f"{words.count(int(many[kind]), 'event')} {MEANS[kind]}" for kind in MEANS if kind in many]
    notes.append(
        f"Calm is a mean wind by night below {words.number(CALM_M_PER_S)} m/s (5 mph), clear a sky of which at most "
        f"{words.share(CLEAR)} is under cloud, as the station saw them; at the plants they may differ."
    )
    return [*notes, *humidity_notes(table), MACHINES, WORK_CAUTION]


def humidity_notes(table: pd.DataFrame) -> list[str]:
    """Say whose humidity dew point and wet bulb rest on.

    Parameters
    ----------
    table : DataFrame
        Columns of ``schema.AIR``.

    Returns
    -------
    list of str
        Empty where nobody tells a humidity.

    Examples
    --------
    >>> table = pd.DataFrame({"humidity_from": ["L1", "S9", "L1", ""], "station": ["S9", "S9", "", "S9"]})
    >>> for note in humidity_notes(table):
    ...     print(note)
    Dew point and wet bulb of 2 events by the humidity of the trial's own loggers, the coldest that has one: L1.
    Of 1 event by the station's air (S9): at the plants they may differ.
    """
    told = table[table["humidity_from"] != ""]
    own = told["humidity_from"] != told["station"]
    notes: list[str] = []
    for which, by in (
        (own, "by the humidity of the trial's own loggers, the coldest that has one: {}."),
        (~own, "by the station's air ({}): at the plants they may differ."),
    ):
        if which.any():
            names = words.listed(sorted(set(told.loc[which, "humidity_from"])))
            lead = "Dew point and wet bulb of" if not notes else "Of"
            notes.append(f"{lead} {words.count(int(which.sum()), 'event')} {by.format(names)}")
    return notes
