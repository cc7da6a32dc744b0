"""The verb that says what is odd about readings: ``quality``."""

from __future__ import annotations

from pathlib import Path

import click
import pandas as pd

from hardiness import schema, words
from hardiness.commands.deciding import refuse_unknown
from hardiness.commands.output import csv_option, deliver, say, trial_folder, trial_option
from hardiness.figures.formats import PAGES
from hardiness.figures.gallery import draw_figure
from hardiness.figures.saving import check_place, save_figure
from hardiness.settings import Settings
from hardiness.trial import Trial, open_trial
from hardiness.weather.extents import Extent, extents_of
from hardiness.weather.one_by_one import corrected_when_asked
from hardiness.weather.quality import VALUE_KINDS
from hardiness.weather.quality_gaps import lasting_text, summer_gaps

FIRST = ("code", "sensor", "flag", "from", "to", "verdict", "worst_c", "sentence", "readings", "freezes")


@click.command()
@csv_option
@click.option("--sensor", metavar="S", help="Only the flags of this sensor.")
@click.option("--figure", metavar="FILE", type=click.Path(path_type=Path), help="Draw the calendar of all sensors.")
@click.option("--page", type=click.Choice(PAGES), default="A4", show_default=True, help="Size of that drawing.")
@trial_option
def quality(csv: str | None, sensor: str | None, figure: Path | None, page: str, trial: str | None) -> None:
    """What is odd about the readings, each with a sentence. A flag removes nothing: mask or accept decides.

    Looked for: gaps but those over summer, a value that is stuck, spikes, impossible values, a wrong sign, a plateau at
    freezing point (snow or ice on the sensor), sun on the sensor, a clock that jumps or drifts, a battery that fades.
    """
    if figure is not None:
        check_place(figure)
    with open_trial(trial_folder(trial)) as opened:
        flow = opened.flow()
        refuse_unknown(opened, sensor)
        flags = flow.flags if sensor is None else flow.flags[flow.flags["sensor"] == sensor]
        deliver(flags.reset_index(drop=True), schema.FLAGS, opened.settings, csv, FIRST)
        extents = extents_of(flow.records.readings)
        say(summary_of(flags, {name: extent for name, extent in extents.items() if sensor in (None, name)}))
        if quiet := summer_line(summer_gaps_of(opened, sensor), opened.settings):
            say(quiet)
        if figure is not None:
            written = save_figure(draw_figure("quality_calendar", flow, opened.settings, page=page), figure)
            say(f"The calendar is {words.listed([str(path) for path in written])}.")


def summary_of(flags: pd.DataFrame, extents: dict[str, Extent]) -> list[str]:
    """Sum up each sensor's flags in a sentence."""
    if not extents:
        return ["There are no readings yet: hardiness add readings FILE --sensor S adds a logger's."]
    said = []
    for sensor, extent in sorted(extents.items()):
        own = flags[flags["sensor"] == sensor]
        waiting = int(((own["verdict"] == "") & own["flag"].isin(VALUE_KINDS)).sum())
        kinds = own["flag"].value_counts(sort=False)
        parts = [f"{kind} {kinds[kind]}" for kind in schema.FLAG_KINDS if kind in kinds]
        odd = f"flags: {', '.join(parts)}" if parts else "nothing odd"
        undecided = f"; {waiting} to decide on" if waiting else ""
        number = f"{'' if extent.exact else 'up to '}{words.count(extent.readings, 'reading')}"
        said.append(f"{sensor}: {number}; {odd}{undecided}.")
    return said


def summer_gaps_of(opened: Trial, sensor: str | None) -> pd.DataFrame:
    """List the gaps that are no flags, of one sensor or of all."""
    r = opened.flow().records
    readings = corrected_when_asked(r.readings, r.calibrations, r.sensors, opened.settings.zone)
    gaps = summer_gaps(readings, opened.settings)
    return gaps if sensor is None else gaps[gaps["sensor"] == sensor]


def summer_line(gaps: pd.DataFrame, settings: Settings) -> str:
    """Say in one line which gaps are no flags; empty where there are none."""
    if gaps.empty:
        return ""
    damaging = words.temperature(settings.rules.damaging_c, settings.units)
    some = f"{words.count(len(gaps), 'gap')} over summer at {words.count(gaps['sensor'].nunique(), 'sensor')}"
    longest = lasting_text(float(gaps["hours"].max()))
    them = "it" if len(gaps) == 1 else "them"
    return f"Not listed: {some}, of up to {longest}; no sensor read {damaging} or lower in {them}."
