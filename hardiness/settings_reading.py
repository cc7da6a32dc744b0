"""Reading trial.toml: every value checked, and every fault of the file listed at once.

In: the text of trial.toml. Out: :class:`hardiness.settings.Settings`.
"""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo, available_timezones

from hardiness.computing import parse_compute
from hardiness.effects import EFFECT, LEAVE_OUT, TERM_NAMES, ModelTerms
from hardiness.errors import InputError, Problem, UnitsError, near_name
from hardiness.settings import GRADES, OVERLAP, SPAN_C, THRESHOLDS, TRANSFERS, FreezeRules, Settings
from hardiness.units import Temperature, parse_temperature


class _Reader:
    """Takes typed values out of a parsed table and gathers what is wrong."""

    def __init__(self, file: str) -> None:
        self.file = file
        self.problems: list[Problem | str] = []

    def fault(self, column: str, found: object, accepted: str, hint: str | None = None) -> None:
        self.problems.append(Problem(repr(found), accepted, file=f"{self.file}, {column}", hint=hint))

    def table(self, parent: Mapping[str, Any], section: str, known: tuple[str, ...]) -> dict[str, Any]:
        table = parent.get(section, {}) if section else parent
        if not isinstance(table, Mapping):
            self.fault(section, table, f"a section [{section}]")
            return {}
        for name in table:
            if name not in known:
                self.fault(f"{section}.{name}" if section else name, table[name], f"one of {', '.join(known)}",
                           near_name(name, known))  # fmt: skip
        return dict(table)

    def text(self, table: Mapping[str, Any], name: str, default: str) -> str:
        value = table.get(name, default)
        if not isinstance(value, str) or not value.strip() or value != value.encode("utf-8", "ignore").decode():
            self.fault(name, value, "a text")  # bytes of a command line that are no UTF-8 cannot be written down
            return default
        return value

    def number(
        self,
        table: Mapping[str, Any],
        name: str,
        default: float | None,
        accepted: str,
        test: Callable[[float], bool] = lambda _: True,
    ) -> float | None:
        value = table.get(name, default)
        if value is None:
            return None
        if isinstance(value, bool) or not isinstance(value, int | float) or not test(float(value)):
            self.fault(name, value, accepted)
            return default
        return float(value)

    def required_number(
        self, table: Mapping[str, Any], name: str, default: float, accepted: str, test: Callable[[float], bool]
    ) -> float:
        value = self.number(table, name, default, accepted, test)
        return default if value is None else value


def parse_settings(text: str, *, file: str = "trial.toml") -> Settings:
    r"""Read the text of a trial.toml.

    Parameters
    ----------
    text : str
        The file's text.
    file : str
        Its name, for messages.

    Returns
    -------
    Settings

    Raises
    ------
    InputError
        With every fault of the file.

    Examples
    --------
    >>> settings = parse_settings('name = "Hill"\ntimezone = "Europe/Lisbon"\n[freeze]\nthresholds = ["28 F"]')
    >>> [t.label for t in settings.rules.thresholds], settings.worst
    (['28_f'], 5)
    """
    try:
        document = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise InputError(Problem(f"text that is not TOML ({error})", "a TOML file", file=file)) from None
    read = _Reader(file)
    top = read.table(document, "", ("name", "timezone", "latitude", "longitude", "elevation_m", "units", "scale",
                                    "freeze", "store", "model", "transfer", "compute"))  # fmt: skip
    scale = read.table(document, "scale", ("grades", "span_c"))
    freeze = read.table(document, "freeze", ("onset_c", "thaw_h", "damaging_c", "settle_days", "thresholds", "held_h",
                                             "model_held_h"))  # fmt: skip
    store = read.table(document, "store", ("url",))
    model = read.table(document, "model", TERM_NAMES)
    transfer = read.table(document, "transfer", ("estimate",))
    if (estimate := transfer.get("estimate", OVERLAP)) not in TRANSFERS:
        read.fault("transfer.estimate", estimate, f"one of {', '.join(TRANSFERS)}")
    units = read.text(top, "units", "C")
    if units not in THRESHOLDS:
        read.fault("units", units, "C or F")
        units = "C"
    timezone = read.text(top, "timezone", "UTC")
    if not _is_zone(timezone):
        places = sorted(zone for zone in available_timezones() if "/" in zone)  # MST is near PST, and an hour off
        accepted = "an IANA time zone, named by a place whose clocks are yours, such as Europe/Lisbon or "
        read.fault("timezone", timezone, f"{accepted}America/Los_Angeles", near_name(timezone, places))
    onset = read.required_number(freeze, "onset_c", 0.0, "a temperature in degC", lambda v: -60 < v < 20)
    held = _held_durations(read, freeze)
    settings = Settings(
        name=read.text(top, "name", ""),
        timezone=timezone,
        latitude=read.number(top, "latitude", None, "degrees from -90 to 90", lambda v: -90 <= v <= 90),
        longitude=read.number(top, "longitude", None, "degrees from -180 to 180", lambda v: -180 <= v <= 180),
        elevation_m=read.number(top, "elevation_m", None, "metres from -450 to 6000", lambda v: -450 <= v <= 6000),
        units=units,
        grades=_grades(read, scale),
        span_c=read.required_number(scale, "span_c", SPAN_C, "a number of degC above 0", lambda v: 0 < v < 60),
        rules=FreezeRules(
            onset_c=onset,
            thaw_h=read.required_number(freeze, "thaw_h", 12.0, "hours above 0", lambda v: 0 < v <= 240),
            damaging_c=read.required_number(freeze, "damaging_c", -2.0, f"a temperature at or below onset_c, {onset:g}",
                                            lambda v: -60 < v <= onset),
            thresholds=_thresholds(read, freeze, units),
            held_h=held,
        ),
        settle_days=read.required_number(freeze, "settle_days", 7.0, "days, 0 or more", lambda v: 0 <= v <= 120),
        model_held_h=read.required_number(freeze, "model_held_h", 1.0 if 1.0 in held else held[0],
                                          f"one of held_h ({', '.join(f'{h:g}' for h in held)})",
                                          lambda v: v in held),
        store_url=read.text(store, "url", "") if "url" in store else None,
        model=ModelTerms(**{name: _is_effect(read, model, name) for name in TERM_NAMES}),
        transfer=str(estimate),
        compute=parse_compute(read.table(document, "compute", ("workers", "scheduler")), read.fault),
    )  # fmt: skip
    if read.problems:
        raise InputError(read.problems)
    return settings


def read_settings(path: Path) -> Settings:
    """Read a trial.toml from disk; see :func:`parse_settings`.

    Parameters
    ----------
    path : Path
        The file.

    Returns
    -------
    Settings

    Raises
    ------
    InputError
        If the file is missing, is no UTF-8 text, or has faults.
    """
    try:
        text = path.read_text(encoding="utf-8-sig")
    except FileNotFoundError:
        raise InputError(f"{path.parent} is no trial: it has no trial.toml. 'hardiness new DIR' makes one.") from None
    except UnicodeDecodeError:
        raise InputError(Problem("bytes that are no UTF-8", "a UTF-8 text", file=path.name)) from None
    return parse_settings(text, file=path.name)


def _is_effect(read: _Reader, model: Mapping[str, Any], name: str) -> bool:
    value = model.get(name, False)
    if isinstance(value, bool):
        return value
    if value not in (EFFECT, LEAVE_OUT):
        read.fault(f"model.{name}", value, f"'{EFFECT}' or '{LEAVE_OUT}'")
    return bool(value == EFFECT)


def _is_zone(name: str) -> bool:
    try:
        ZoneInfo(name)
    except (ValueError, OSError):  # ZoneInfoNotFoundError is a KeyError; a bad key is a ValueError
        return False
    except KeyError:
        return False
    return True


def _grades(read: _Reader, scale: Mapping[str, Any]) -> tuple[str, ...]:
    grades = scale.get("grades", list(GRADES))
    texts = isinstance(grades, list) and all(isinstance(grade, str) and grade.strip() for grade in grades)
    if not texts or len(grades) < 2 or len({grade.strip().lower() for grade in grades}) < len(grades):
        read.fault("grades", grades, "a list of two or more different words, unharmed first, dead last")
        return GRADES
    return tuple(grade.strip() for grade in grades)


def _thresholds(read: _Reader, freeze: Mapping[str, Any], units: str) -> tuple[Temperature, ...]:
    given = freeze.get("thresholds", list(THRESHOLDS[units]))
    accepted = 'a list of numbers with units, such as ["28 F", "-5 C"]'
    if not isinstance(given, list) or not given:
        read.fault("thresholds", given, accepted)
        return ()
    thresholds = []
    for text in given:
        try:
            thresholds.append(parse_temperature(text if isinstance(text, str) else repr(text)))
        except UnitsError:
            read.fault("thresholds", text, accepted)
    if len({threshold.label for threshold in thresholds}) < len(thresholds):
        read.fault("thresholds", given, "each threshold once")
    return tuple(thresholds)


def _held_durations(read: _Reader, freeze: Mapping[str, Any]) -> tuple[float, ...]:
    given = freeze.get("held_h", [1.0, 2.0, 4.0])
    numbers = isinstance(given, list) and all(
        isinstance(hours, int | float) and not isinstance(hours, bool) and 0 <= hours <= 240 for hours in given
    )
    if not numbers or not given or len(set(given)) < len(given):
        read.fault("held_h", given, "a list of different hours, each 0 or more, such as [1, 2, 4]")
        return (1.0, 2.0, 4.0)
    return tuple(float(hours) for hours in given)
