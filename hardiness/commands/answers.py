"""Verbs that answer: freezes, exposures, observations, floors."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import click
import pandas as pd

from hardiness import schema, words
from hardiness.commands.air import deliver_air
from hardiness.commands.checking import explain_floors
from hardiness.commands.output import (
    csv_option,
    deliver,
    say,
    trial_folder,
    trial_option,
)
from hardiness.commands.printing import print_table, shown_floors
from hardiness.commands.transfer import deliver_apart, deliver_why, estimated_note
from hardiness.errors import FitError, InputError, Problem, near_name
from hardiness.flow import Flow
from hardiness.observations import left_out_summary
from hardiness.report.notes import NO_LATITUDE, floor_notes
from hardiness.settings import Settings
from hardiness.trial import open_trial

MOST_NAMED = 8  # plants in one sentence
MOST_FREEZES = 3  # freezes in one sentence
# What a narrow terminal shows of a table, the most needed column first.
FIRST_OBSERVED = ("plant", "selection", "rootstock", "freeze", "exposure_c", "grade", "scored_on", "grade_low",
                  "protected", "near", "freezes", "provisional", "exposure_sd_c", "winter")  # fmt: skip
PRINTED_FLOORS = ("selection", "rootstock", "plants", "scores", "killed", "evidence", "rests_on", "tested_to_c",
                  "floor_low_c", "floor_high_c", "floor_c", "claimable_c")  # fmt: skip
FIRST_FLOORS = ("selection", "rootstock", "floor_c", "claimable_c", "floor_low_c", "floor_high_c", "tested_to_c",
                "evidence", "killed", "plants", "scores", "rests_on")  # fmt: skip


@click.command()
@csv_option
@click.option("--apart", is_flag=True, help="Instead: sensors whose minima differ by more than their errors explain.")
@click.option("--air", is_flag=True, help="Instead: what loggers and stations tell of each event's air.")
@trial_option
def freezes(csv: str | None, apart: bool, air: bool, trial: str | None) -> None:
    """Every freeze at every sensor: minimum, hours at or below thresholds, held temperatures."""
    if apart and air:
        raise InputError(Problem("--apart beside --air", "one of the two at a time"))
    with open_trial(trial_folder(trial)) as opened:
        table = opened.freezes()
        if apart:
            deliver_apart(opened.flow(), csv)
            return
        if air:
            deliver_air(opened.flow(), csv)
            return
        rules = opened.settings.rules
        columns = schema.freeze_columns(rules.thresholds, rules.held_h)
        deliver(table, columns, opened.settings, csv, ("freeze", *_first_measured(opened.settings)))
        if table.empty:
            say("There is no freeze yet: hardiness add readings FILE --sensor S adds a logger's readings.")
            return
        if opened.settings.latitude is None:
            say(NO_LATITUDE)
        if opened.flow().reads_one_by_one:
            say("Flags were not looked for: that takes minutes here. hardiness quality looks for them.")
        elif doubtful := opened.flow().freezes_in_doubt:
            say(doubt_sentence(doubtful, len(table)))
        say(estimated_note(table))


def doubt_sentence(doubtful: Sequence[str], freezes: int) -> str:
    """Say how many freezes hold readings that are flagged, and what to do."""
    some = words.listed([*doubtful[:MOST_FREEZES], *(["others"] if len(doubtful) > MOST_FREEZES else [])])
    hold = "holds" if len(doubtful) == 1 else "hold"
    return (
        f"{len(doubtful)} of {words.count(freezes, 'freeze')} {hold} flagged readings that are neither masked nor "
        f"accepted yet ({some}): hardiness quality says why, hardiness mask and hardiness accept decide."
    )


def _first_measured(settings: Settings) -> tuple[str, ...]:
    hours = (schema.hours_column(threshold) for threshold in settings.rules.thresholds)
    return ("minimum_c", schema.held_column(settings.model_held_h), "duration_h", "coverage", *hours, "starts", "ends")


@click.command()
@csv_option
@click.option("--why", is_flag=True, help="Instead: which sensor answers for each plant, how often, and why.")
@trial_option
def exposures(csv: str | None, why: bool, trial: str | None) -> None:
    """Every freeze that every plant met, by the sensor that speaks for it."""
    with open_trial(trial_folder(trial)) as opened:
        flow = opened.flow()
        if why:
            deliver_why(flow, csv)
            return
        rules = opened.settings.rules
        columns = (*schema.EXPOSED, *schema.freeze_columns(rules.thresholds, rules.held_h))
        first = ("plant", "selection", "rootstock", "freeze", *_first_measured(opened.settings))
        deliver(flow.exposures, columns, opened.settings, csv, first)
        if flow.exposures.empty:
            say("No plant has met a freeze yet: it takes plants, and readings of a sensor near them.")
        elif opened.settings.latitude is None:
            say(NO_LATITUDE)
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
    if csv == left_out == "-":
        raise InputError(Problem("'-' beside --csv -", "one table on stdout at a time", file="--left-out"))
    with open_trial(trial_folder(trial)) as opened:
        flow = opened.flow(containers=containers)
        table, settings = flow.observations, opened.settings
        if left_out is not None:
            deliver(flow.left_out, schema.LEFT_OUT, settings, left_out)
        if left_out != "-":
            deliver(table, schema.OBSERVATIONS, settings, csv, FIRST_OBSERVED)
        if table.empty:
            say("There is no observation yet: it takes scores of plants that have met a freeze.")
        else:
            protected = int(table["protected"].ne("").sum())
            provisional = int(table["provisional"].sum())
            say(f"{words.count(len(table), 'observation')} of {words.count(table['plant'].nunique(), 'plant')}: "
                f"{protected} protected or in a container and not "
                f"{'counted' if settings.model.protection else 'fitted'}, {provisional} provisional.")  # fmt: skip
        if len(flow.left_out):
            _say_left_out(flow.left_out)
        say([*flow.joined.said, *_undated(flow)])
        for row in flow.joined.second_look.itertuples(index=False):
            say(f"look again: {row.plant}: {row.detail}")


def _say_left_out(left_out: pd.DataFrame) -> None:
    say(f"Left out, {words.count(len(left_out), 'case')} (--left-out FILE lists them all):")
    for row in left_out_summary(left_out).itertuples(index=False):
        say(f"  {row.count}  {row.reason}, for example: {row.example}")


@click.command()
@csv_option
@click.option("--survive", type=float, metavar="SHARE", default=0.9, show_default=True,
              help="Share of plants that come through.")  # fmt: skip
@click.option("--grade", metavar="G", help="Without reaching this grade, by number or name [the last].")
@click.option("--explain", metavar="SELECTION", help="Say in sentences what the floors of one selection rest on.")
@click.option("--containers", is_flag=True, help="Let plants in containers count.")
@trial_option
def floors(
    csv: str | None, survive: float, grade: str | None, explain: str | None, containers: bool, trial: str | None
) -> None:
    """Tolerance floors per selection and rootstock, with 90 % intervals and what may be claimed."""
    if not 0 < survive < 1:
        share = f"Did you mean {survive / 100:g}?" if 1 < survive < 100 else None
        raise InputError(Problem(f"{survive:g}", "a share between 0 and 1, such as 0.9", file="--survive", hint=share))
    with open_trial(trial_folder(trial)) as opened:
        flow = opened.flow(containers=containers)
        asked = grade_named(grade, opened.settings)
        if explain is not None:
            explain_floors(flow, explain, survive, asked)
            say(floor_notes(flow, asked))
            return
        table = flow.floors(survive, asked)
        if csv is not None:
            deliver(table, schema.FLOORS, opened.settings, csv)
            say(floor_notes(flow, asked))
        else:
            print_floors(flow, table, survive, asked)
        refuse_unusable_scores(flow)


def grade_named(text: str | None, settings: Settings) -> int | None:
    """The grade a person means, by number or name.

    Raises
    ------
    InputError
        If the scale has no such grade, or it is the unharmed one.
    """
    if text is None:
        return None
    names = [" ".join(name.lower().split()) for name in settings.grades]
    word = " ".join(text.lower().split())
    if word in names[1:]:
        return names.index(word)
    if word.isdecimal() and 1 <= int(word) <= settings.worst:
        return int(word)
    scale = ", ".join(f"{number} ({name})" for number, name in enumerate(settings.grades) if number)
    raise InputError(Problem(f"'{text}'", scale, file="--grade", hint=near_name(word, names[1:])))


def print_floors(flow: Flow, table: pd.DataFrame, survive: float = 0.9, grade: int | None = None) -> None:
    """Print floors for people: ends that no plant bounds are said in words, claims rounded to the warm side."""
    settings = flow.settings
    if flow.can_fit:
        reached = "alive" if grade in (None, settings.worst) else f"without reaching grade {grade}"
        if grade is not None:
            reached += f" ({settings.grades[grade]})"
        say(f"Floor: the temperature, held for {words.hours(settings.model_held_h)}, at which {100 * survive:g} % of "
            f"such plants come through {reached}. Low to high: its 90 % interval.")  # fmt: skip
    rows = table.sort_values(["floor_c", "selection", "rootstock"], na_position="last")
    shown, texts = shown_floors(rows, settings)
    columns = {column.name: column for column in schema.FLOORS}
    columns |= {name: replace(columns[name], kind="text") for name in texts}
    print_table(shown.assign(**texts), [columns[name] for name in PRINTED_FLOORS], settings, FIRST_FLOORS)
    say(floor_notes(flow, grade))


def _undated(flow: Flow) -> list[str]:
    """Say which scored plants give nothing and name no date of planting, which may be why."""
    plants = flow.records.plants
    scored = plants["plant"].isin(flow.records.scores["plant"]) & ~plants["plant"].isin(flow.observations["plant"])
    names = plants.loc[scored & plants["planted_on"].isna(), "plant"].tolist()
    if not names:
        return []
    some = words.listed(names) if len(names) <= MOST_NAMED else f"{', '.join(names[:MOST_NAMED])} and others"
    return [f"A plant without planted_on meets freezes only from its first score on: {some}."]


def refuse_without_checks(flow: Flow, option: str) -> None:
    """Checks were asked for, and there are scores, but none of a check."""
    if flow.can_fit and not flow.checks:
        found, hint = "no selection with role 'check' that has an observation", "Roles stand in the selections table."
        raise InputError(Problem(found, "one or more", file=option, hint=hint))


def refuse_unusable_scores(flow: Flow) -> None:
    """Scores that give not one observation to fit are a fault of the input."""
    if flow.can_fit or flow.records.scores.empty:
        return
    why = [
        f"{row.count}  {row.reason}, for example: {row.example}"
        for row in left_out_summary(flow.left_out).itertuples(index=False)
    ]
    if protected := len(flow.observations):
        why.append(f"{protected}  protected or in a container: listed by hardiness observations, and not fitted")
    scores = words.count(len(flow.records.scores), "score")
    why += [*flow.joined.said, *_undated(flow)]
    raise FitError("\n  ".join([f"Nothing to fit: of {scores} none could be used.", *why]))
