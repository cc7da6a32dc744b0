"""Verbs that answer: freezes, exposures, observations, floors, compare, claims."""

from __future__ import annotations

import click
import pandas as pd

from hardiness import schema, words
from hardiness.commands.output import (
    CAUTION,
    csv_option,
    deliver,
    print_table,
    say,
    trial_folder,
    trial_option,
)
from hardiness.errors import FitError, InputError
from hardiness.flow import Flow
from hardiness.observations import left_out_summary
from hardiness.schema import Column
from hardiness.settings import Settings
from hardiness.trial import open_trial

CHECKS = "checks"
MOST_PRINTED_PAIRS = 60


@click.command()
@csv_option
@trial_option
def freezes(csv: str | None, trial: str | None) -> None:
    """Every freeze at every sensor: minimum, hours at or below thresholds, held temperatures."""
    with open_trial(trial_folder(trial)) as opened:
        table = opened.freezes()
        rules = opened.settings.rules
        columns = schema.freeze_columns(rules.thresholds, rules.held_h)
        deliver(table, columns, opened.settings, csv)
        if table.empty:
            say("There is no freeze yet: hardiness add readings FILE --sensor S adds a logger's readings.")
        elif opened.settings.latitude is None:
            say("The trial names no latitude: winters are taken as north of the equator, July to June.")


@click.command()
@csv_option
@trial_option
def exposures(csv: str | None, trial: str | None) -> None:
    """Every freeze that every plant met, by the sensor that speaks for it."""
    with open_trial(trial_folder(trial)) as opened:
        flow = opened.flow()
        rules = opened.settings.rules
        columns = (*schema.EXPOSED, *schema.freeze_columns(rules.thresholds, rules.held_h))
        hidden = {"duration_h", "degree_hours_c_h", "fall_rate_c_per_h", "ends"}
        deliver(flow.exposures, columns, opened.settings, csv, [c.name for c in columns if c.name not in hidden])
        if flow.exposures.empty:
            say("No plant has met a freeze yet: it takes plants, and readings of a sensor near them.")
        if unknown := len(flow.exposed.unknown):
            say(f"{words.count(unknown, 'exposure')} unknown: no sensor had a reading for the plant in that freeze.")


@click.command()
@csv_option
@click.option(
    "--left-out", metavar="FILE", help="Write every score and freeze left out, and why, as CSV; '-' is stdout."
)
@click.option("--containers", is_flag=True, help="Let plants in containers count.")
@trial_option
def observations(csv: str | None, left_out: str | None, containers: bool, trial: str | None) -> None:
    """Every plant and scored window: what the model sees, and what was left out."""
    with open_trial(trial_folder(trial)) as opened:
        flow = opened.flow(containers=containers)
        table, settings = flow.observations, opened.settings
        if left_out is not None:
            deliver(flow.left_out, schema.LEFT_OUT, settings, left_out)
        if left_out != "-":
            deliver(table, schema.OBSERVATIONS, settings, csv)
        if table.empty:
            say("There is no observation yet: it takes scores of plants that have met a freeze.")
        protected = int(table["protected"].ne("").sum())
        provisional = int(table["provisional"].sum())
        say(f"{words.count(len(table), 'observation')} of {words.count(table['plant'].nunique(), 'plant')}: "
            f"{protected} protected or in a container and not fitted, {provisional} provisional.")  # fmt: skip
        _say_left_out(flow.left_out)
        say(flow.joined.said)
        for row in flow.joined.second_look.itertuples(index=False):
            say(f"look again: {row.plant} on {row.scored_on}: {row.detail}")


def _say_left_out(left_out: pd.DataFrame) -> None:
    if left_out.empty:
        say("Nothing was left out.")
        return
    say(f"Left out, {words.count(len(left_out), 'case')} (--left-out FILE lists them all):")
    for row in left_out_summary(left_out).itertuples(index=False):
        say(f"  {row.count}  {row.reason}, for example: {row.example}")


@click.command()
@csv_option
@click.option("--survive", type=float, default=0.9, show_default=True, help="Share of plants that come through.")
@click.option("--grade", metavar="G", help="Without reaching this grade, by number or name [the last].")
@click.option("--containers", is_flag=True, help="Let plants in containers count.")
@trial_option
def floors(csv: str | None, survive: float, grade: str | None, containers: bool, trial: str | None) -> None:
    """Tolerance floors per selection and rootstock, with 90 % intervals and what may be claimed."""
    with open_trial(trial_folder(trial)) as opened:
        flow = opened.flow(containers=containers)
        asked = grade_named(grade, opened.settings)
        table = flow.floors(survive, asked)
        if csv is not None:
            deliver(table, schema.FLOORS, opened.settings, csv)
            say(floor_notes(flow))
        else:
            print_floors(flow, table, survive)
        _refuse_unusable_scores(flow)


def grade_named(text: str | None, settings: Settings) -> int | None:
    """The grade a person means, by number or name.

    Raises
    ------
    InputError
        If the scale has no such grade, or it is the unharmed one.
    """
    if text is None:
        return None
    names = [name.lower() for name in settings.grades]
    if text.strip().lower() in names[1:]:
        return names.index(text.strip().lower())
    if text.strip().isdigit() and 1 <= int(text) <= settings.worst:
        return int(text)
    scale = ", ".join(f"{number} {name}" for number, name in enumerate(settings.grades) if number)
    raise InputError(f"--grade: found '{text}'; accepted: {scale}.")


def print_floors(flow: Flow, table: pd.DataFrame, survive: float) -> None:
    """Print floors for people: cold ends that no plant bounds are said in words."""
    settings = flow.settings
    if flow.can_fit:
        say(f"Held temperature ({settings.model_held_h:g} h) at which {100 * survive:g} % of such plants come through.")
    shown = table.copy()
    shown["floor_low_c"] = shown["floor_low_c"].mask(shown["open_end"] == "cold")
    shown["floor_high_c"] = shown["floor_high_c"].mask(shown["open_end"] == "warm")
    order = ("selection", "rootstock", "plants", "scores", "killed", "evidence", "tested_to_c", "floor_low_c",
             "floor_c", "floor_high_c", "claimable_c", "rests_on")  # fmt: skip
    columns = {column.name: column for column in schema.FLOORS}
    print_table(shown.sort_values(["floor_c", "selection", "rootstock"], na_position="last"),
                [columns[name] for name in order], settings)  # fmt: skip
    say(floor_notes(flow))


def floor_notes(flow: Flow) -> list[str]:
    """The sentences that go with floors: cautions, what is provisional, what was never scored."""
    if flow.records.plants.empty and flow.records.scores.empty:
        return [
            "There is nothing to say yet: add selections, plants, readings and scores first (hardiness add --help)."
        ]
    if not flow.can_fit:
        return ["There is no observation to fit yet: every registered cell is untested."]
    table = flow.observations
    used = table[table["protected"] == ""]
    notes = [CAUTION]
    if flow.season_met is not None:
        first, last = (words.day(day) for day in flow.season_met)
        winters = words.listed(sorted(set(used["winter"])))
        notes.append(f"Freezes met: between {first} and {last} of {winters}.")
    if len(set(used["freeze"])) == 1:
        notes.append("One freeze alone cannot tell what the freeze did from what the plants are: a second one will.")
    early = used[used["provisional"].astype(bool)]
    if len(early):
        cells = sorted({f"{row.selection} on {row.rootstock}" for row in early.itertuples(index=False)})
        notes.append(f"Provisional, resting on early scores: {words.listed(cells)}.")
    unscored = flow.left_out[flow.left_out["reason"] == "removed unscored"]
    if len(unscored):
        of = flow.records.plants.set_index("plant")
        plants = [
            f"{plant} ({of.loc[plant, 'selection']} on {of.loc[plant, 'rootstock']})" for plant in unscored["plant"]
        ]
        notes.append(
            f"Removed after a freeze without a score, which their floors do not count: {words.listed(plants)}."
        )
    if flow.settings.latitude is None:
        notes.append("The trial names no latitude: winters are taken as north of the equator, July to June.")
    return notes


def _refuse_unusable_scores(flow: Flow) -> None:
    """Scores that give not one observation are a fault of the input."""
    if not flow.can_fit and len(flow.records.scores):
        reasons = left_out_summary(flow.left_out)
        why = [f"  {row.count}  {row.reason}, for example: {row.example}" for row in reasons.itertuples(index=False)]
        head = f"nothing to fit: of {words.count(len(flow.records.scores), 'score')} none could be used."
        raise FitError([head, *why])


@click.command()
@csv_option
@click.option("--selections", metavar="A,B,...", help="Only pairs of these.")
@click.option("--against", metavar="A,B,...|checks", help="Only pairs with one of these, or with a check.")
@click.option("--containers", is_flag=True, help="Let plants in containers count.")
@trial_option
def compare(csv: str | None, selections: str | None, against: str | None, containers: bool, trial: str | None) -> None:
    """Differences between selections on the rootstocks they share; negative: the first is hardier."""
    with open_trial(trial_folder(trial)) as opened:
        flow = opened.flow(containers=containers)
        chosen, yardsticks = _names(selections), _names(against)
        if yardsticks == [CHECKS]:
            register = flow.records.selections
            tested = set(flow.observations["selection"])
            yardsticks = sorted(set(register.loc[register["role"] == "check", "selection"]) & tested)
            if not yardsticks and flow.can_fit:
                raise InputError("--against checks: no selection with role 'check' has an observation.")
        table = flow.compare(chosen, yardsticks)
        printed: pd.DataFrame = table
        if csv is None and chosen is None and len(table) > MOST_PRINTED_PAIRS:
            sure = (table["probability_a_hardier"] - 0.5).abs()
            printed = table.loc[sure.sort_values(ascending=False, kind="stable").index[:MOST_PRINTED_PAIRS]]
        deliver(table if csv is not None else printed, schema.COMPARE, opened.settings, csv)
        if len(printed) < len(table):
            say(f"The {len(printed)} surest of {len(table)} rows; --csv FILE writes them all.")
        if table.empty:
            say("There is no pair to compare yet: it takes two selections with scores on one rootstock.")
        else:
            say(f"Each interval stands for itself: of {len(table)} at 90 %, about {round(len(table) / 10)} miss.")
            say(CAUTION)
        _refuse_unusable_scores(flow)


def _names(text: str | None) -> list[str] | None:
    return None if text is None else [name.strip() for name in text.split(",") if name.strip()]


@click.command()
@csv_option
@trial_option
def claims(csv: str | None, trial: str | None) -> None:
    """Hearsay held against the evidence: how probable each claimed floor is, and whether it was tested."""
    with open_trial(trial_folder(trial)) as opened:
        flow = opened.flow()
        columns: tuple[Column, ...] = schema.CLAIMS
        deliver(flow.claims, columns, opened.settings, csv)
        if flow.claims.empty:
            say("There is no claim to hold against evidence: it takes a claimed_floor of a selection with scores.")
        else:
            say("probability holds: that 90 % come through at the claim; half holds: that half do (survived once).")
            say(CAUTION)
        _refuse_unusable_scores(flow)
