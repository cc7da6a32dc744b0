"""What a station's air tells about each event: the table of ``freezes --air``, and what it means for protection."""

from __future__ import annotations

import pandas as pd

from hardiness import schema, words
from hardiness.commands.output import deliver, say
from hardiness.flow import Flow
from hardiness.sentences import WORK_CAUTION
from hardiness.weather.kinds import ADVECTIVE, CALM_M_PER_S, CLEAR, MIXED, RADIATIVE, UNKNOWN

FIRST_AIR = ("event", "kind", "wind_m_s", "cloud", "wet_bulb_onset_c", "dew_point_lowest_c", "dew_point_onset_c",
             "air_onset_c", "station", "distance_km")  # fmt: skip
MEANS = {
    RADIATIVE: "radiative: clear and calm by night, so that an inversion is likely, with warmer air above the plants. "
    "Moving or warming air can draw on it; covers keep the ground's warmth in.",
    ADVECTIVE: "advective: windy, and freezing by day too. No inversion is to be counted on: wind machines and heaters "
    "have no warmer air to draw on, water on plants in a dry wind can cool them, and shelter has to hold against wind.",
    MIXED: "mixed: neither calm and clear nor windy and freezing by day. Do not count on an inversion.",
    UNKNOWN: "unknown: no station tells the wind by night for 80 % of the event, or the sky where that decides.",
}
WHAT_TO_ADD = (
    "No station tells the wind, sky or humidity of any event: hardiness station near finds one, and hardiness station "
    "fetch ID --from DATE --to DATE takes its hours in, with what it measured beside the temperature."
)
AT_THE_STATION = (
    "All of it is the station's air: at the plants, wind and wet bulb may differ. Sprinklers, heaters and wind "
    "machines only as their labels, local codes and licensed practice allow."
)


def deliver_air(flow: Flow, csv: str | None) -> None:
    """Give what stations tell of each event's air, and say what it means.

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
        say(WHAT_TO_ADD)
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
        f"{words.share(CLEAR)} is under cloud, as the station saw them."
    )
    return [*notes, AT_THE_STATION, WORK_CAUTION]
