"""Verbs that decide on readings: ``mask``, ``accept``, ``calibrate``."""

from __future__ import annotations

import datetime as dt

import click
import pandas as pd

from hardiness import words
from hardiness.commands.output import say, trial_folder, trial_option
from hardiness.errors import InputError, Problem, UnitsError, near_name
from hardiness.read.labels import RefusedError
from hardiness.read.wallclock import parse_time, time_text
from hardiness.settings import Settings
from hardiness.trial import Trial, open_trial
from hardiness.units import parse_difference
from hardiness.weather.masking import covered, instants_of
from hardiness.weather.quality import VALUE_KINDS

# Stretches most of whose readings are sound: masking them whole would throw those away.
MOSTLY_SOUND = {
    "sun": "Its nights are sound. Say in sensors that the sensor is not shielded, or mask hours with --from and --to.",
    "clock jump": "Its temperatures are sound, its times are not. Withdraw that upload and add it with the right "
    "--timezone, or mask with --from and --to.",
    "clock drift": "Its temperatures are sound, its times off by little. Mask with --from and --to where it matters.",
    "gap": "A gap holds no readings.",
}

sensor_argument = click.argument("sensor", metavar="[SENSOR]", required=False)
from_option = click.option("--from", "first", metavar="T", help="First time, such as '2031-12-14 05:00'.")
to_option = click.option("--to", "last", metavar="T", help="Last time, itself included.")
flag_option = click.option(
    "--flag", "code", metavar="CODE", help="The stretch of this flag, in place of sensor and times."
)


@click.command()
@sensor_argument
@from_option
@to_option
@flag_option
@click.option("--why", metavar="TEXT", help="Why; it is kept with your name.")
@click.option("--undo", is_flag=True, help="Have the readings count again.")
@trial_option
def mask(
    sensor: str | None, first: str | None, last: str | None, code: str | None, why: str | None, undo: bool,
    trial: str | None,
) -> None:  # fmt: skip
    """Take a stretch of a sensor's readings out of everything that is computed.

    They stay in the store and in every export; where they were is a gap, and the rules for gaps apply. Times are in the
    trial's zone unless they carry an offset; both ends are included.
    """
    _decide("mask", sensor, first, last, code, why, undo, trial)


@click.command()
@sensor_argument
@from_option
@to_option
@flag_option
@click.option("--why", metavar="TEXT", help="Why; it is kept with your name.")
@click.option("--undo", is_flag=True, help="Leave the flag undecided again.")
@trial_option
def accept(
    sensor: str | None, first: str | None, last: str | None, code: str | None, why: str | None, undo: bool,
    trial: str | None,
) -> None:  # fmt: skip
    """Say that a flagged stretch was looked at and is sound: its readings go on counting, in doubt no longer."""
    _decide("keep", sensor, first, last, code, why, undo, trial)


def _decide(
    verdict: str, sensor: str | None, first: str | None, last: str | None, code: str | None, why: str | None,
    undo: bool, trial: str | None,
) -> None:  # fmt: skip
    with open_trial(trial_folder(trial)) as opened:
        problems: list[Problem | str] = []
        if not undo and not (why or "").strip():
            problems.append(Problem("no reason", "a few words, such as --why 'logger lay on the bench'", file="--why"))
        name, begin, end = _stretch(opened, verdict, sensor, first, last, code, problems)
        row = {"sensor": name, "from": begin, "to": end}
        span = f"{name} from {_local(begin, opened.settings)} to {_local(end, opened.settings)}"
        if undo:
            _refuse_other_verdict(opened, row, verdict, span)
            say(opened.withdraw_rows("masks", [row]).said)
            return
        inside = _readings_inside(opened, name, begin, end)
        if verdict == "mask" and not inside:
            raise InputError(Problem(f"no reading of {span}", "a stretch with readings", file="--from, --to"))
        intake = opened.add_rows("masks", [{**row, "verdict": verdict, "reason": (why or "").strip()}])
        readings = words.count(inside, "reading")
        is_masked = "is masked: it counts" if inside == 1 else "are masked: they count"
        done = f"{is_masked} nowhere, and nothing is deleted" if verdict == "mask" else "accepted as sound"
        say(f"{readings} of {span} {done}.")
        say([f"  {change.column}: {change.old or '(empty)'} -> {change.new}" for change in intake.updated])
        say(intake.said)
        say(f"To take that back: the same with --undo, or hardiness {'mask' if verdict == 'mask' else 'accept'} "
            f"{name} --from {begin} --to {end} --undo.")  # fmt: skip


def _stretch(
    opened: Trial, verdict: str, sensor: str | None, first: str | None, last: str | None, code: str | None,
    problems: list[Problem | str],
) -> tuple[str, str, str]:  # fmt: skip
    """Give the sensor and the two ends, in UTC, that a person means; raise those problems and its own."""
    if code is not None:
        if sensor is not None or first is not None or last is not None:
            found = "a flag beside a sensor or times"
            raise InputError([*problems, Problem(found, "either --flag, or SENSOR --from --to", file="--flag")])
        flag = _flag_called(opened, verdict, code, problems)
        ceiling = flag["to"].ceil("s")  # records keep whole seconds: none of the stretch may be lost
        return str(flag["sensor"]), time_text(flag["from"].floor("s")), time_text(ceiling)
    if sensor is None:
        accepted = "SENSOR --from T --to T, or --flag CODE"
        raise InputError([*problems, Problem("no sensor", accepted, file="SENSOR")])
    refuse_unknown(opened, sensor)
    ends = []
    for name, text in (("--from", first), ("--to", last)):
        try:
            ends.append(parse_time(text or "", opened.settings.zone))
        except RefusedError as error:
            problems.append(Problem(error.found if text else "nothing", error.accepted, file=name, hint=error.hint))
    if len(ends) == 2 and ends[0] > ends[1]:
        problems.append(Problem(f"'{last}', before --from", f"a time from '{first}' on", file="--to"))
    if problems:
        raise InputError(problems)
    return sensor, ends[0], ends[1]


def _flag_called(opened: Trial, verdict: str, code: str, problems: list[Problem | str]) -> pd.Series:
    """Find the flag of a code, where a verdict on its whole stretch makes sense."""
    flags = opened.flow().flags
    rows = flags[flags["code"] == code.strip().lower()]
    if rows.empty:
        hint = near_name(code, list(flags["code"])) or "hardiness quality lists them."
        found = f"'{code}', which no flag is called"
        raise InputError([*problems, Problem(found, "the code of a flag", file="--flag", hint=hint)])
    flag: pd.Series = rows.iloc[0]
    if verdict == "mask" and flag["flag"] in MOSTLY_SOUND:
        kinds, hint = f"a flag of one of these kinds: {', '.join(VALUE_KINDS)}", MOSTLY_SOUND[flag["flag"]]
        raise InputError([*problems, Problem(f"a flag '{flag['flag']}'", kinds, file="--flag", hint=hint)])
    if problems:
        raise InputError(problems)
    return flag


def _refuse_other_verdict(opened: Trial, row: dict[str, str], verdict: str, span: str) -> None:
    """Refuse to undo a mask as if it were an acceptance, or the other way round."""
    masks = opened.store.current("masks")
    standing = masks[(masks["sensor"] == row["sensor"]) & (masks["from"] == row["from"]) & (masks["to"] == row["to"])]
    if len(standing) and standing["verdict"].iloc[0] != verdict:
        right = "mask" if verdict == "keep" else "accept"
        raise InputError(
            Problem(f"{span}, on which the other verdict stands", f"hardiness {right} ... --undo", file="--undo")
        )


def _readings_inside(opened: Trial, sensor: str, begin: str, end: str) -> int:
    series = opened.flow().records.readings.get(sensor)
    if series is None:
        return 0
    times = series["time"].to_numpy().astype("M8[ns]").astype("int64")
    return int(covered(times, instants_of([begin]), instants_of([end])).sum())


def refuse_unknown(opened: Trial, sensor: str | None) -> None:
    """Refuse the name of a sensor that the trial does not know."""
    known = sorted({*opened.flow().records.sensors["sensor"], *opened.flow().records.readings})
    if sensor is not None and sensor not in known:
        raise InputError(Problem(f"sensor '{sensor}'", f"a sensor of the trial ({', '.join(known) or 'none yet'})",
                                 file="sensor", hint=near_name(sensor, known)))  # fmt: skip


def _local(text: str, settings: Settings) -> str:
    local = pd.Timestamp(text).tz_convert(settings.zone).to_pydatetime()
    twice = local.replace(fold=0).utcoffset() != local.replace(fold=1).utcoffset()
    return local.isoformat(" ", "minutes") if twice else f"{local:%Y-%m-%d %H:%M}"


@click.command()
@click.argument("sensor", metavar="SENSOR")
@click.option(
    "--from", "since", metavar="DATE", required=True, help="First date on which it holds, in the trial's zone."
)
@click.option("--offset", metavar="NUMBER", help="What is added to its readings: -0.3, or '-0.5 F' [the trial's unit].")
@click.option("--why", metavar="TEXT", default="", help="How it was found; it is kept with your name.")
@click.option("--undo", is_flag=True, help="Have it hold no longer.")
@trial_option
def calibrate(sensor: str, since: str, offset: str | None, why: str, undo: bool, trial: str | None) -> None:
    """Give a sensor an offset that holds from a date until its next one.

    It takes the place of the sensor's own offset_c from that date on; readings before it keep that one.

    An ice-point check finds it: fill a flask with crushed ice of clean water, add cold water until the ice just floats,
    stir, put the probe into the middle of the slush and wait ten minutes, stirring now and then. A sensor that then
    reads 0.3 above freezing point wants --offset -0.3. Only what is waterproof goes into water. Any other logger stays
    dry: compare it with one that was checked, side by side in still shade. Keep mains electricity away from water.
    """
    with open_trial(trial_folder(trial)) as opened:
        refuse_unknown(opened, sensor)
        row = {"sensor": sensor, "from": since.strip()}
        if undo:
            say(opened.withdraw_rows("calibrations", [row]).said)
            return
        try:
            dt.date.fromisoformat(since.strip())
        except ValueError:
            raise InputError(Problem(f"'{since}'", "a date such as 2031-11-01", file="--from")) from None
        if offset is None:
            raise InputError(Problem("nothing", "a number such as -0.3, or '-0.5 F'", file="--offset"))
        kelvin = _kelvin(offset, opened.settings)
        intake = opened.add_rows("calibrations", [{**row, "offset_c": f"{kelvin:.6g}", "notes": why.strip()}])
        sensors = opened.flow().records.sensors.set_index("sensor")
        own = float(sensors["offset_c"].get(sensor, float("nan")))
        instead = "" if pd.isna(own) or own == 0 else f", in place of its own {_signed(own, opened.settings)}"
        added = f"{_signed(kelvin, opened.settings)} is added to the readings of {sensor} from {since.strip()} on"
        say(f"{added}{instead}, until its next calibration.")
        say([f"  {change.column}: {change.old or '(empty)'} -> {change.new or '(empty)'}" for change in intake.updated])
        say(intake.said)


def _kelvin(text: str, settings: Settings) -> float:
    """Read a difference, in the trial's unit where it names none. [K]."""
    plain = text.strip().replace(words.MINUS, "-")
    try:
        return parse_difference(plain if plain[-1:].isalpha() else f"{plain} {settings.units}")
    except UnitsError:
        raise InputError(
            Problem(f"'{text}'", "a number such as -0.3, or one with its unit: '-0.5 F'", file="--offset")
        ) from None


def _signed(kelvin: float, settings: Settings) -> str:
    return f"{'+' if kelvin > 0 else ''}{words.difference(kelvin, settings.units, 2)}"
