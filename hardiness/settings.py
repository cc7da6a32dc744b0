"""trial.toml, validated: where the trial is, its damage scale, and the rules for freezes.

In: the text of trial.toml. Out: :class:`Settings`. Every fault of the file is listed at once.
"""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo, available_timezones

import tomlkit

from hardiness.computing import Compute, compute_section, parse_compute
from hardiness.effects import EFFECT, LEAVE_OUT, TERM_NAMES, ModelTerms
from hardiness.errors import InputError, Problem, UnitsError, near_name
from hardiness.units import Temperature, parse_temperature

# Our own words. Graded by wood from 2 up, so that a plant without leaves can be scored.
GRADES = (
    "unharmed",
    "leaves marked or shed, wood sound",
    "shoot tips killed",
    "last summer's wood killed",
    "main limbs killed",
    "dead down to the graft",
)
ALWAYS, OVERLAP, NEVER = TRANSFERS = ("always", "overlap", "never")  # when silent loggers are estimated from others
SPAN_C = 6.0  # [K] from the first grade to the last, as the trade knows it
THRESHOLDS = {
    "C": ("0 C", "-2 C", "-4 C", "-6 C", "-8 C", "-10 C"),
    "F": ("32 F", "28 F", "24 F", "20 F", "16 F", "12 F"),
}


@dataclass(frozen=True, slots=True)
class FreezeRules:
    """What counts as a freeze, and how it is measured.

    Parameters
    ----------
    onset_c : float
        A freeze begins at or below it. [degC]
    thaw_h : float
        Hours on end above onset that end a freeze. [h]
    damaging_c : float
        A freeze is listed when its minimum is at or below it. [degC]
    thresholds : tuple of Temperature
        Hours at or below each are measured.
    held_h : tuple of float
        Held durations. [h]
    max_gap_h : float, optional
        A gap longer than this is not bridged; None: three usual intervals, at least 90 min. [h]
    """

    onset_c: float = 0.0
    thaw_h: float = 12.0
    damaging_c: float = -2.0
    thresholds: tuple[Temperature, ...] = tuple(parse_temperature(text) for text in THRESHOLDS["C"])
    held_h: tuple[float, ...] = (1.0, 2.0, 4.0)
    max_gap_h: float | None = None


@dataclass(frozen=True, slots=True)
class Settings:
    """The settings of one trial.

    Parameters
    ----------
    name : str
        The trial's name.
    timezone : str
        IANA zone.
    latitude, longitude : float, optional
        Place. [degree]
    elevation_m : float, optional
        Height above the sea. [m]
    units : str
        ``"C"`` or ``"F"``, for display and for readings that name no unit.
    grades : tuple of str
        The damage scale, unharmed first, dead last.
    span_c : float
        Distance that the trade expects from the first grade to the last. [K]
    rules : FreezeRules
        What counts as a freeze.
    settle_days : float
        A score sooner than this after a freeze is early. [day]
    model_held_h : float
        The held duration that the model uses. [h]
    store_url : str, optional
        Where the records are; None: SQLite in ``trial.db``.
    model : ModelTerms
        What the model takes into account.
    transfer : str
        When a silent logger is estimated from other sensors: ``overlap`` (where enough nights are common), ``always``,
        ``never``.
    compute : Compute
        Who works a large trial out.
    """

    name: str
    timezone: str
    latitude: float | None = None
    longitude: float | None = None
    elevation_m: float | None = None
    units: str = "C"
    grades: tuple[str, ...] = GRADES
    span_c: float = SPAN_C
    rules: FreezeRules = field(default_factory=FreezeRules)
    settle_days: float = 7.0
    model_held_h: float = 1.0
    store_url: str | None = None
    model: ModelTerms = field(default_factory=ModelTerms)
    transfer: str = OVERLAP
    compute: Compute = field(default_factory=Compute)

    @property
    def zone(self) -> ZoneInfo:
        """The trial's time zone."""
        return ZoneInfo(self.timezone)

    @property
    def worst(self) -> int:
        """The last grade: the grafted selection is dead."""
        return len(self.grades) - 1


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
        near = near_name(timezone, sorted(available_timezones()))
        read.fault("timezone", timezone, "an IANA time zone such as Europe/Lisbon", near)
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


def to_toml(settings: Settings) -> str:
    """Write settings as the text of a trial.toml, with a word on each line a grower may change.

    Parameters
    ----------
    settings : Settings

    Returns
    -------
    str

    Examples
    --------
    >>> settings = Settings("Hill", "Europe/Lisbon", latitude=41.2)
    >>> parse_settings(to_toml(settings)) == settings
    True
    """
    document = tomlkit.document()
    document["name"] = settings.name
    document["timezone"] = settings.timezone
    for name in ("latitude", "longitude", "elevation_m"):
        if (value := getattr(settings, name)) is not None:
            document[name] = value
    document["units"] = settings.units
    document["units"].comment("C or F, for display")
    scale = tomlkit.table()
    scale["grades"] = tomlkit.array(list(settings.grades)).multiline(True)  # type: ignore[arg-type]
    scale["span_c"] = settings.span_c
    scale["span_c"].comment("degC from the first grade to the last, as far as the trade knows")
    document["scale"] = scale
    freeze = tomlkit.table()
    freeze["onset_c"] = settings.rules.onset_c
    freeze["thaw_h"] = settings.rules.thaw_h
    freeze["thaw_h"].comment("hours on end above onset that end a freeze")
    freeze["damaging_c"] = settings.rules.damaging_c
    freeze["damaging_c"].comment("a freeze is listed when its minimum is at or below this")
    freeze["settle_days"] = settings.settle_days
    freeze["settle_days"].comment("a score sooner than this after a freeze is early")
    freeze["thresholds"] = [str(threshold) for threshold in settings.rules.thresholds]
    freeze["held_h"] = list(settings.rules.held_h)
    freeze["model_held_h"] = settings.model_held_h
    document["freeze"] = freeze
    model = tomlkit.table()
    model.comment("each of these: 'effect', or 'leave out'")
    for name in TERM_NAMES:
        model[name] = EFFECT if getattr(settings.model, name) else LEAVE_OUT
    document["model"] = model
    transfer = tomlkit.table()
    transfer["estimate"] = settings.transfer
    transfer["estimate"].comment("estimate silent loggers from other sensors: overlap, always or never")
    document["transfer"] = transfer
    for section, given in (("store", {"url": settings.store_url}), ("compute", compute_section(settings.compute))):
        if chosen := {name: value for name, value in given.items() if value is not None}:
            document[section] = chosen
    return tomlkit.dumps(document)


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
