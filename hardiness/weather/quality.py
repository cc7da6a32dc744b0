"""Honest flags on readings: what is odd, where, and why that is thought; nothing is removed by a flag.

In: readings and the sensors table. Out: a row per odd stretch of a sensor, with a sentence; then, with the masks that
a person has set and the freezes, what has been decided and which freezes are touched. A flag is a question put to the
grower: ``hardiness mask`` takes the stretch out, ``hardiness accept`` says that it is sound. A gap of summer, in which
no freeze can have fallen, is no question (``weather/quality_gaps.py``).
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping
from dataclasses import replace
from functools import lru_cache

import numpy as np
import pandas as pd
import xarray as xr

from hardiness.schema import FLAG_KINDS, FLAGS, column_names
from hardiness.settings import Settings
from hardiness.weather.clean import utc_times
from hardiness.weather.days import nanoseconds
from hardiness.weather.gaps import HOUR_NS, BoolArray, IntArray
from hardiness.weather.masking import covered, spans_of
from hardiness.weather.quality_clock import find_clock_faults
from hardiness.weather.quality_course import Course, Stretch
from hardiness.weather.quality_flat import find_plateaus, find_stuck
from hardiness.weather.quality_gaps import find_gaps, quiet_gaps
from hardiness.weather.quality_neighbours import Courses
from hardiness.weather.quality_power import find_fading
from hardiness.weather.quality_sun import find_sun
from hardiness.weather.quality_values import find_flips, find_impossible, find_spikes
from hardiness.weather.sensors import sensors_known

CODE_LETTERS = 5  # of a flag's code: 32 ** 5 codes, so that a thousand flags hardly ever share one
_LETTERS = "23456789abcdefghjkmnpqrstuvwxyz"  # none that is taken for another
# Kinds that put the temperatures of a freeze in doubt. Sun falls on middays; a wrong clock moves a freeze and leaves it
# as cold; a gap is what coverage speaks of.
VALUE_KINDS = ("impossible", "sign flip", "spike", "stuck", "zero plateau", "battery fade")
_OWN = ("freezes", "verdict")  # filled by judge_flags
# A stretch that an earlier kind holds whole is not listed again under a later one; what is sure comes before them all.
_ONCE = ("sign flip", "spike", "impossible", "zero plateau", "stuck")


def find_flags(
    readings: Mapping[str, xr.DataArray], sensors: pd.DataFrame, settings: Settings, *, values_only: bool = False
) -> pd.DataFrame:
    """Find what is odd in the readings of all sensors.

    Parameters
    ----------
    readings : mapping of str to xarray.DataArray
        Readings of each sensor, dims ``(time,)``, in UTC. ``attrs["series"]`` of one that is not measured time by time
        says so (``daily_minimum``: no course of the day is looked for; ``estimated``: left out). [degC]
    sensors : pandas.DataFrame
        The sensors table.
    settings : Settings
        Of the trial: its place, unit and longest bridged gap.
    values_only : bool, default False
        Only what is odd about temperatures themselves (``VALUE_KINDS``), which is found several times faster.

    Returns
    -------
    pandas.DataFrame
        Columns of ``schema.FLAGS`` but ``freezes`` and ``verdict``; sorted by sensor and ``from`` (UTC). [degC]

    Raises
    ------
    UnitsError, InputError
        As :func:`hardiness.weather.series.to_series`.

    Examples
    --------
    >>> time = np.datetime64("2031-05-09T00", "ns") + np.arange(7) * np.timedelta64(1, "h")
    >>> air = xr.DataArray([14.0, 13.9, 13.9, -10.5, 14.0, 13.8, 13.6], {"time": time}, attrs={"units": "degC"})
    >>> flags = find_flags({"L1": air}, pd.DataFrame({"sensor": ["L1"]}), Settings("Hill", "Europe/Lisbon"))
    >>> flags[["sensor", "flag", "readings", "worst_c"]].values.tolist()
    [['L1', 'spike', 1, -10.5]]
    """
    courses = Courses(readings, max_gap_h=settings.rules.max_gap_h)
    longitudes = sensors_known(sensors, readings)["longitude"]
    clocks = {} if values_only else find_clock_faults(courses)
    wrong_clocks = {sensor: _spans(courses.alone(sensor), wrong) for sensor, wrong in clocks.items() if wrong}
    quiet = {} if values_only else quiet_gaps(courses, lambda sensor: courses.alone(sensor).series, settings)
    rows: list[tuple[object, ...]] = []
    for sensor, outline in courses.outlines.items():
        if outline.readings == 0:
            continue
        course = courses[sensor]
        place = float(longitudes[sensor])
        east = settings.longitude or 0.0 if np.isnan(place) else place
        stretches = [
            *find_impossible(course, settings.units),
            *find_flips(course, settings.units),
            *find_spikes(course, settings.units),
            *find_plateaus(course, settings.units),
            *find_stuck(course, settings.units),
            *find_fading(course, settings.units),
        ]
        own = clocks.get(sensor, [])
        suns, own = _sun_or_clock(course, own, east, settings.units)
        suns = [sun for sun in suns if not _laid_to_neighbours(course, sun, wrong_clocks)]
        stretches = [s for s in stretches if not _shaft_of(suns, course, s)]
        if not values_only:
            stretches += [*suns, *own, *find_gaps(course, quiet[sensor].steps)]
        rows += [_row(course, stretch) for stretch in _each_once(stretches)]
    return _table(rows)


def _sun_or_clock(
    course: Course, clocks: list[Stretch], longitude: float, units: str
) -> tuple[list[Stretch], list[Stretch]]:
    """Tell sun and a wrong clock apart: either makes middays run above those of the neighbours.

    Where the excess is gone once the clock is put right, it was the clock; where it stays, sun shifted the days.
    """
    suns, kept = find_sun(course, longitude, units), []
    for clock in clocks:
        over = [sun for sun in suns if sun.first <= clock.last and clock.first <= sun.last]
        if over and clock.late_h and course.neighbours:
            times = course.times - int(clock.late_h * HOUR_NS)
            still = find_sun(replace(course, series=replace(course.series, times=times)), longitude, units)
            if any(sun.first <= clock.last and clock.first <= sun.last for sun in still):
                continue
        if over and not course.neighbours:  # a hump is one whatever the clock says
            continue
        kept.append(clock)
    return [sun for sun in suns if not any(sun.first <= c.last and c.first <= sun.last for c in kept)], kept


def _spans(course: Course, stretches: list[Stretch]) -> list[tuple[int, int]]:
    return [(int(course.times[s.first]), int(course.times[s.last])) for s in stretches]


def _laid_to_neighbours(course: Course, sun: Stretch, wrong_clocks: Mapping[str, list[tuple[int, int]]]) -> bool:
    """Whether half of the neighbours or more had a wrong clock then: their middays came at another hour."""
    begin, end = int(course.times[sun.first]), int(course.times[sun.last])
    wrong = [any(a <= end and begin <= b for a, b in wrong_clocks.get(other.sensor, [])) for other in course.neighbours]
    return bool(wrong) and 2 * sum(wrong) >= len(wrong)


def _shaft_of(suns: list[Stretch], course: Course, stretch: Stretch) -> bool:
    """Whether a spike upwards is one day's shaft of a sun that is said already."""
    before = course.temperatures[max(stretch.first - 1, 0)]
    upwards = stretch.flag == "spike" and stretch.worst > before
    return upwards and any(sun.first <= stretch.last and stretch.first <= sun.last for sun in suns)


def _each_once(stretches: Iterable[Stretch]) -> list[Stretch]:
    """Leave out what is already said of the same readings by a kind that says more."""
    ordered = sorted(stretches, key=lambda s: (s.first, FLAG_KINDS.index(s.flag), -s.last))
    ranks = {id(s): -1 if s.sure else _ONCE.index(s.flag) for s in ordered if s.flag in _ONCE}
    spoken = [s for s in ordered if id(s) in ranks]
    return [
        s
        for s in ordered
        if id(s) not in ranks
        or not any(o.first <= s.first and s.last <= o.last and ranks[id(o)] < ranks[id(s)] for o in spoken)
    ]


def _row(course: Course, stretch: Stretch) -> tuple[object, ...]:
    first, last = int(course.times[stretch.first]), int(course.times[stretch.last])
    number = 0 if stretch.flag == "gap" else stretch.last - stretch.first + 1
    code = flag_code(course.sensor, stretch.flag, first)
    return code, course.sensor, stretch.flag, first, last, number, stretch.worst, stretch.sentence


def flag_code(sensor: str, flag: str, first: int) -> str:
    """Name a flag by a few letters that stay the same as long as it begins at the same reading.

    Parameters
    ----------
    sensor, flag : str
        Whose, and what kind.
    first : int
        Its first reading, since 1970-01-01 UTC. [ns]

    Returns
    -------
    str

    Examples
    --------
    >>> len(flag_code("L1", "spike", 0)), flag_code("L1", "spike", 0) == flag_code("L2", "spike", 0)
    (5, False)
    """
    number = int.from_bytes(hashlib.sha256(f"{sensor}\x00{flag}\x00{first}".encode()).digest()[:8], "big")
    letters = ""
    for _ in range(CODE_LETTERS):
        number, letter = divmod(number, len(_LETTERS))
        letters += _LETTERS[letter]
    return letters


def _table(rows: list[tuple[object, ...]]) -> pd.DataFrame:
    names = [name for name in column_names(FLAGS) if name not in _OWN]
    table = pd.DataFrame(rows, columns=names)
    for name in ("from", "to"):
        instants = table[name].to_numpy(dtype=np.int64).astype("M8[ns]")
        table[name] = pd.DatetimeIndex(instants).tz_localize("UTC")
    kinds = {"text": "str", "choice": "str", "integer": "int64", "number": "float64"}
    table = table.astype({column.name: kinds[column.kind] for column in FLAGS if column.name in names and
                          column.kind in kinds})  # fmt: skip
    return table.sort_values(["sensor", "from", "to", "flag"], kind="stable", ignore_index=True)


def judge_flags(
    flags: pd.DataFrame, masks: pd.DataFrame, freezes: pd.DataFrame, readings: Mapping[str, xr.DataArray]
) -> pd.DataFrame:
    """Say of each flag what has been decided, and which freezes it touches.

    Parameters
    ----------
    flags : pandas.DataFrame
        As :func:`find_flags` returns them.
    masks : pandas.DataFrame
        The masks table.
    freezes : pandas.DataFrame
        The freezes table: freezes of the readings that count, so that a masked stretch touches none that it made.
    readings : mapping of str to xarray.DataArray
        The readings that the flags are on. [degC]

    Returns
    -------
    pandas.DataFrame
        Columns of ``schema.FLAGS``. ``verdict`` is ``mask`` where all of its readings are masked, ``keep`` where the
        rest are kept; of a gap, where its whole span is.
    """
    verdicts, touched = [], []
    by_sensor = {sensor: rows for sensor, rows in freezes.groupby("sensor", sort=False)}
    decided = set(masks["sensor"])

    @lru_cache(maxsize=1)  # flags come sensor by sensor
    def times_of(sensor: str) -> IntArray:
        if sensor not in decided:  # nobody asks for its readings, which may have to be fetched
            return np.zeros(0, dtype=np.int64)
        return np.sort(utc_times(readings[sensor]["time"].to_numpy()).astype(np.int64))

    firsts, lasts = nanoseconds(flags["from"]), nanoseconds(flags["to"])
    for sensor, flag, first, last in zip(flags["sensor"], flags["flag"], firsts, lasts, strict=True):
        times = times_of(sensor)
        inside = times[np.searchsorted(times, first) : np.searchsorted(times, last, "right")]
        verdicts.append(_verdict(masks, sensor, inside, whole=flag == "gap"))
        rows = by_sensor.get(sensor)
        names = [] if rows is None else rows["freeze"][(nanoseconds(rows["starts"]) <= last)
                                                       & (nanoseconds(rows["ends"]) >= first)]  # fmt: skip
        touched.append("; ".join(names))
    return flags.assign(freezes=touched, verdict=verdicts).astype({"freezes": "str", "verdict": "str"})[
        column_names(FLAGS)
    ]


def _verdict(masks: pd.DataFrame, sensor: str, inside: IntArray, *, whole: bool) -> str:
    masked, kept = (spans_of(masks, sensor, verdict) for verdict in ("mask", "keep"))
    if masked[0].size + kept[0].size == 0:
        return ""
    if whole:  # a gap holds no readings: one stretch must span it
        return next((word for word, (first, last) in (("mask", masked), ("keep", kept))
                     if ((first <= inside[0]) & (last >= inside[-1])).any()), "")  # fmt: skip
    out: BoolArray = covered(inside, *masked)
    if out.all():
        return "mask"
    return "keep" if (out | covered(inside, *kept)).all() else ""


def freezes_in_doubt(flags: pd.DataFrame, freezes: pd.DataFrame) -> list[str]:
    """List the freezes that hold flagged readings on which nothing has been decided.

    Parameters
    ----------
    flags : pandas.DataFrame
        As :func:`judge_flags` returns them.
    freezes : pandas.DataFrame
        The freezes that matter: those that no note sets aside.

    Returns
    -------
    list of str
        Names of freezes, sorted; of the flags, those of ``VALUE_KINDS``.
    """
    open_flags = flags[(flags["verdict"] == "") & flags["flag"].isin(VALUE_KINDS)]
    return sorted({name for names in open_flags["freezes"] for name in names.split("; ")} & set(freezes["freeze"]))
