"""Sensors held against each other: the verb ``transfer``, and what ``freezes`` and ``exposures`` say of sensors."""

from __future__ import annotations

from typing import Any

import click
import pandas as pd

from hardiness import schema, words
from hardiness.commands.output import csv_option, deliver, say, trial_folder, trial_option
from hardiness.flow import Flow
from hardiness.settings import ALWAYS, NEVER, OVERLAP, Settings
from hardiness.trial import open_trial
from hardiness.weather.answering import who_answers
from hardiness.weather.apart import find_apart
from hardiness.weather.transfer_air import SKY, WIND, WIND_AND_SKY
from hardiness.weather.transfer_pairs import COLD_C, LEAST_COLD, LEAST_NIGHTS

FIRST = ("sensor", "source", "offset_c", "sd_c", "freezes", "cold_nights", "nights", "basis", "nights_by", "calm_c",
         "offset_sd_c", "lapse_c")  # fmt: skip
FIRST_APART = ("event", "sensor_a", "minimum_a_c", "sensor_b", "minimum_b_c", "difference_c", "usual_c", "sd_c")
FIRST_ANSWERING = ("plant", "sensor", "events", "estimated", "why", "distance_km", "height_m", "asked")
NIGHTS = {  # by what they are told: what they are called, and what the others are
    WIND_AND_SKY: ("clear, calm", "windy or overcast"),
    WIND: ("calm", "windy"),
    SKY: ("clear", "overcast"),
}
WHEN = {
    OVERLAP: "Silent loggers are estimated where at least {nights} common nights show the difference, {cold} of them "
    "with either at or below {limit}.",
    ALWAYS: "Silent loggers are always estimated, also where no night is common: then by height alone.",
    NEVER: "Silent loggers are not estimated: trial.toml, [transfer] estimate, says never.",
}


@click.command()
@csv_option
@trial_option
def transfer(csv: str | None, trial: str | None) -> None:
    """What stations and other loggers say of each logger while it was silent, and how sure that is.

    A row per logger and source: their common nights, what is added to the source's minimum, and how many freezes of
    the logger were estimated from it.
    """
    with open_trial(trial_folder(trial)) as opened:
        table, settings = opened.flow().transfers, opened.settings
        deliver(table, schema.TRANSFERS, settings, csv, FIRST)
        if table.empty:
            say("There is nothing to transfer yet: it takes a logger, and readings of a station or another logger.")
            return
        when = WHEN[settings.transfer]
        say(when.format(nights=LEAST_NIGHTS, cold=LEAST_COLD, limit=words.temperature(COLD_C, settings.units)))
        say(transfer_notes(table, opened.flow().freezes, settings))


def transfer_notes(table: pd.DataFrame, freezes: pd.DataFrame, settings: Settings) -> list[str]:
    """Say in sentences what each logger's best source tells, and what rests on little.

    Parameters
    ----------
    table : DataFrame
        Columns of ``schema.TRANSFERS``.
    freezes : DataFrame
        The freezes table.
    settings : Settings

    Returns
    -------
    list of str
    """
    notes = []
    for logger, rows in table.groupby("sensor", sort=True):
        best = rows.sort_values("sd_c", kind="stable").iloc[0]
        found = int(((freezes["sensor"] == logger) & (freezes["source"] == "estimated")).sum())
        side = "colder" if best["offset_c"] < 0 else "warmer"
        apart, unsure = (words.difference(abs(best[name]), settings.units) for name in ("offset_c", "sd_c"))
        seen = f"by {words.count(int(best['cold_nights']), 'cold night')}" if best["nights"] else "by its height alone"
        many = words.count(found, "freeze") if found else "No freeze"
        notes.append(
            f"{logger}: {apart} {side} than {best['source']} at the minimum, {seen}; a minimum estimated from it is "
            f"sure to ± {unsure} (one standard deviation). {many} estimated."
        )
        notes += [_nights_note(best, settings)] * bool(best["cold_nights"])
        if found and (rows.loc[rows["freezes"] > 0, "basis"] == "height alone").any():
            notes.append(f"{logger}: no common night was seen with a source of its estimates, so that they rest on "
                         "6.5 °C per km of height and a wide guess: readings of a winter tell more.")  # fmt: skip
    return notes


def _nights_note(pair: pd.Series[Any], settings: Settings) -> str:
    """Say by what clear, calm nights are told from others, and how much they matter."""
    logger, source, by = pair["sensor"], pair["source"], pair["nights_by"]
    if by not in NIGHTS:
        return (
            f"{logger}: clear, calm nights are told from others by how far {source} cools in the night; its wind and "
            "sky are not known of enough nights."
        )
    told, cold = pair["told_nights"], pair["cold_nights"]
    known = f"known of all {cold} cold nights" if told == cold else f"known of {told} of the {cold} cold nights"
    these, others = NIGHTS[by]
    side = "colder" if pair["calm_c"] < 0 else "warmer"
    same = words.number(abs(pair["calm_c"])) == "0.0"
    more = "no colder and no warmer" if same else f"{words.difference(abs(pair['calm_c']), settings.units)} {side}"
    return (
        f"{logger}: {these} nights are told from others by the {by} of {source} ({known}). In them it is {more} "
        f"against {source} than in {others} nights that cool as far."
    )


def estimated_note(freezes: pd.DataFrame) -> list[str]:
    """Say how many freezes were estimated; nothing where there is none.

    Parameters
    ----------
    freezes : DataFrame
        The freezes table.

    Returns
    -------
    list of str
    """
    guessed = int((freezes["source"] == "estimated").sum())
    many = "1 freeze is" if guessed == 1 else f"{guessed} freezes are"
    return [f"{many} estimated, for times without hourly readings of that sensor (hardiness transfer)."] * bool(guessed)


def deliver_apart(flow: Flow, csv: str | None) -> None:
    """Give the sensors that lie apart, and say how to read that.

    Parameters
    ----------
    flow : Flow
    csv : str or None
        A file, ``-`` for stdout, or None to print.
    """
    table = find_apart(flow.freezes, flow.records.sensors, flow.settings)
    deliver(table, schema.APART, flow.settings, csv, FIRST_APART)
    if table.empty:
        say("No two sensors differ by more than their standard deviations explain.")
    else:
        say(f"{words.count(table['event'].nunique(), 'event')} in which sensors lie apart. Near the usual difference, "
            "it is the place: cold air gathers in hollows. Far from it, look at both readings.")  # fmt: skip


def deliver_why(flow: Flow, csv: str | None) -> None:
    """Give the sensors that answer for each plant, and say how they are chosen.

    Parameters
    ----------
    flow : Flow
    csv : str or None
        A file, ``-`` for stdout, or None to print.
    """
    r = flow.records
    table = who_answers(r.plants, r.scores, flow.freezes, flow.readings, r.sensors, flow.settings, flow.courses)
    deliver(table, schema.ANSWERING, flow.settings, csv, FIRST_ANSWERING)
    if table.empty:
        say("No plant has met an event yet: it takes plants, and readings of a sensor near them.")
    else:
        say("A plant asks the sensors it names, then the loggers of its block, the trial's only logger, and stations "
            "by distance; for each event the first with readings for 80 % of it answers.")  # fmt: skip
