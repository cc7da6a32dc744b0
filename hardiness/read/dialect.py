"""How one logger's export is written: delimiter, header, and which columns hold the times and the temperatures.

In: the first lines of a file, what the user says, what was chosen for the sensor's last files. Out: a :class:`Dialect`,
by which the whole file is then read. The rows themselves tell the columns of times (what parses as a time is one);
names tell which column is the temperature. What cannot be told is asked for, with the columns listed.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from hardiness.errors import InputError, Problem
from hardiness.read.choices import NO_CHOICES, Choices
from hardiness.read.clock import says_zone, zones_in
from hardiness.read.columns import channels_command, choose_temperature, find_temperatures
from hardiness.read.companions import NO_COMPANIONS, Companions, find_companions
from hardiness.read.grid import Grid
from hardiness.read.header_units import Scale, is_letter_of_a_row, scale_in, units_in, units_in_line
from hardiness.read.humidity_columns import Beside, find_beside
from hardiness.read.opening import read_opening
from hardiness.read.part_words import PARTS_IN_WORDS, TimeColumns, parts_said
from hardiness.read.text import Text
from hardiness.read.time_columns import choose_time, time_of_before
from hardiness.read.time_parts import find_parts
from hardiness.read.zone_words import unclear_letters_in
from hardiness.words import count, listed

_TEMPERATURE_KINDS = {"number", "degrees", "missing"}


@dataclass(frozen=True, slots=True)
class Dialect:
    """How a file is written.

    Parameters
    ----------
    delimiter : str
        Between cells.
    columns : list of str
        Names of the columns.
    body : int
        Where the first row after the header begins. [bytes]
    body_row : int
        Its row number.
    time : tuple of int
        The column of times, those of dates and of times of day, or those of the parts of a time.
    temperature : int
        The column of temperatures.
    units, zones : list of (str, str)
        What the header and the lines above it say, and where; the most telling place first.
    said : list of str
        Sentences for the user.
    header : int, optional
        Row of the columns' names; None where the file has none.
    sensor : int, optional
        The column that names the sensor of each row, where there is one.
    beside : tuple of Beside
        Columns of humidity or dew points that go with the temperatures.
    companions : Companions
        Columns that tell unit, zone, or what each row measured.
    scale : Scale, optional
        What the header says the numbers are counted in; None: whole degrees.
    unclear_zones : list of (str, str)
        Letters of zones that mean several, and where they stand.
    marks : dict of str to bool
        What marks on readings mean, as far as the user says: :func:`hardiness.read.marks.parse_marks`.
    parts : tuple of str
        What each column of the time holds, where it is given in parts: :class:`hardiness.read.part_words.TimeColumns`.
    """

    delimiter: str
    columns: list[str]
    body: int
    body_row: int
    time: tuple[int, ...]
    temperature: int
    units: list[tuple[str, str]]
    zones: list[tuple[str, str]]
    said: list[str] = field(default_factory=list)
    header: int | None = None
    sensor: int | None = None
    beside: tuple[Beside, ...] = ()
    companions: Companions = NO_COMPANIONS
    scale: Scale | None = None
    unclear_zones: list[tuple[str, str]] = field(default_factory=list)
    parts: tuple[str, ...] = ()
    marks: dict[str, bool] = field(default_factory=dict)

    @property
    def time_columns(self) -> TimeColumns:
        """The columns of times, with what each holds."""
        return TimeColumns(self.time, self.parts)

    @property
    def time_name(self) -> str:
        """Name of the column of times; of several, with a plus between."""
        return " + ".join(self.columns[index] for index in self.time)

    @property
    def temperature_name(self) -> str:
        """Name of the column of temperatures."""
        return self.columns[self.temperature]


def find_dialect(
    text: Text,
    *,
    file: str,
    time_column: str | None = None,
    temperature_column: str | None = None,
    sensor_column: str | None = None,
    last: Choices = NO_CHOICES,
) -> Dialect:
    r"""Find out how a logger's export is written.

    Parameters
    ----------
    text : Text
        The file's lines.
    file : str
        Its name, for messages.
    time_column, temperature_column : str, optional
        What the user said; for times, names with a plus between are a date and a time of day, or more parts.
    sensor_column : str, optional
        The column that names the sensor of each row.
    last : Choices
        Columns chosen for the sensor's last files, used where this one has them.

    Returns
    -------
    Dialect

    Raises
    ------
    InputError
        If there is no header and no readings, no delimiter, no column of times, or not exactly one column of
        temperatures.

    Examples
    --------
    >>> dialect = find_dialect(Text.of(b"Time;Temp (F)\n2023-01-14 06:05;14,5\n"), file="l.csv")
    >>> dialect.delimiter, dialect.time, dialect.temperature, dialect.units[0][0]
    (';', (0,), 1, 'degF')
    """
    wanted = [name for name in (time_column, temperature_column, sensor_column) if name]
    opening = read_opening(text, file=file, wanted=wanted, before=None if time_column else last.time_column)
    grid, texts = opening.grid, opening.headings
    whole, temperature, sensor, chosen = _choose(grid, time_column, temperature_column, sensor_column, last)
    time = whole.places
    if whole.parts and time_column is None and find_parts(grid) != whole:
        chosen.insert(0, _say_parts(grid, whole))
    taken = time if sensor is None else (*time, sensor)
    beside, unclear = find_beside(grid, texts, taken, temperature)
    companions, may_be = find_companions(grid, taken, temperature)
    heading = texts[temperature]
    lettered = is_letter_of_a_row(grid.columns[temperature], grid.columns)
    units = [(unit, f"the header '{grid.columns[temperature]}'") for unit in units_in(heading) if not lettered]
    for row, line in enumerate(opening.above, start=1):
        units += [(unit, f"row {row}") for unit in units_in_line(line)]
    zones, letters = _zones_of(grid, texts, time, opening.above)
    if companions.zone is not None and any(place.startswith("the header") for _, place in zones):
        # times in UTC may have the offset of the place beside them
        unclear.append(f"'{grid.columns[companions.zone]}' is not read: the times' own header names their zone.")
        companions = replace(companions, zone=None)
    return Dialect(
        opening.delimiter,
        grid.columns,
        opening.body,
        opening.body_row,
        time,
        temperature,
        units,
        zones,
        opening.said + chosen + unclear + ([] if units else may_be),
        opening.header,
        sensor,
        beside,
        companions,
        scale_in(heading),
        letters,
        whole.parts,
    )


def _say_parts(grid: Grid, time: TimeColumns) -> str:
    """Say which numbers make up the times, where no names tell."""
    held = [f"'{grid.columns[n]}' ({PARTS_IN_WORDS[part]})" for part, n in zip(time.parts, time.places, strict=True)]
    return f"Times are put together from {listed(held)}; --time-column names other columns."


def _zones_of(
    grid: Grid, texts: list[str], time: tuple[int, ...], above: list[str]
) -> tuple[list[tuple[str, str]], list[tuple[str, str]]]:
    """Find the zones that the header names, else those of the lines above; and letters that mean several."""
    headers = [(f"the header '{grid.columns[n]}'", texts[n], True) for n in time]
    lines = [(f"row {row}", line, False) for row, line in enumerate(above, start=1)]
    for places in (headers, lines):
        zones = [(zone, place) for place, text, heads in places for zone in zones_in(text, is_heading=heads)]
        labelled = [(place, text) for place, text, heads in places if heads or says_zone(text)]
        letters = [(each, place) for place, text in labelled for each in unclear_letters_in(text)]
        if zones or letters:
            return zones, letters
    return [], []


def find_channels(
    text: Text,
    *,
    file: str,
    time_column: str | None = None,
    named: Sequence[str] = (),
    wanted: int | None = None,
    option: str = "--channel",
    last: Choices = NO_CHOICES,
) -> list[str]:
    r"""Find the columns of a file of several channels: those named, or all that could hold temperatures.

    Parameters
    ----------
    text : Text
        The file's lines.
    file : str
        Its name, for messages.
    time_column : str, optional
        What the user said.
    named : sequence of str
        Names or numbers of columns; none: those that could hold temperatures.
    wanted : int, optional
        How many there must be.
    option : str
        The option by which they were named.
    last : Choices
        Columns of times chosen for the last files of one of the sensors.

    Returns
    -------
    list of str
        Their names, in the order of the file; a name that several columns have is its number instead.

    Raises
    ------
    InputError
        If there is no header and no readings, no delimiter, no column of times, no column of a name, or another number
        of columns than is wanted.

    Examples
    --------
    >>> find_channels(Text.of(b"Time;Air (C);RH (%);Soil (C)\n2023-01-14 06:05;-4,5;88;3,0\n"), file="l.csv")
    ['Air (C)', 'Soil (C)']
    """
    wanted_names = [*named, *([time_column] if time_column else [])]
    grid = read_opening(text, file=file, wanted=wanted_names, before=None if time_column else last.time_column).grid
    time = _time_of(grid, time_column, last)[0].places
    if named:
        places, problems = _named(grid, named, option)
        if problems:
            raise InputError(problems)
    else:
        places = find_temperatures(grid, time)[0]
    if wanted is not None and len(places) != wanted:
        found = f"{count(wanted, 'sensor')} for {count(len(places), 'column')} of temperatures ({grid.listed(places)})"
        hint = f"Say which is whose: {channels_command(grid, places)}." if places else None
        raise grid.refusal(found, "a sensor for each column, in their order", hint)
    return [grid.key(place) for place in places]


def _named(grid: Grid, names: Sequence[str], option: str) -> tuple[list[int], list[Problem | str]]:
    """Find columns by name; every name that is none, and every column named twice, is a problem."""
    places: list[int] = []
    problems: list[Problem | str] = []
    for name in names:
        try:
            place = grid.named(name, option)
        except InputError as error:
            problems.extend(error.problems)
            continue
        if place in places:
            twice = f"column '{grid.columns[place]}' for two sensors"
            problems.extend(grid.refusal(twice, "a column of its own for each sensor").problems)
        places.append(place)
    return places, problems


def _choose(
    grid: Grid, time_column: str | None, temperature_column: str | None, sensor_column: str | None, last: Choices
) -> tuple[TimeColumns, int, int | None, list[str]]:
    """Choose the columns; what is wrong with any choice is told at once."""
    problems: list[Problem | str] = []
    time = TimeColumns(())
    temperature, sensor = -1, None
    said: list[str] = []
    try:
        sensor = None if sensor_column is None else grid.named(sensor_column, "--sensor-column")
    except InputError as error:
        problems.extend(error.problems)
    try:
        time, sentences = _time_of(grid, time_column, last)
        said += sentences
    except InputError as error:
        problems.extend(error.problems)
    try:
        taken = time.places if sensor is None else (*time.places, sensor)
        temperature, sentences = _temperature_of(grid, taken, temperature_column, last)
        said += sentences
    except InputError as error:
        problems.extend(error.problems)
    if problems:
        raise InputError(problems)
    return time, temperature, sensor, said


def _time_of(grid: Grid, name: str | None, last: Choices) -> tuple[TimeColumns, list[str]]:
    """Choose the columns of times: as the user says, else as last time where this file has them, else what is clear."""
    if name is not None or last.time_column is None:
        return choose_time(grid, name), []
    before = time_of_before(grid, last.time_column)
    clear: TimeColumns | None = None
    try:
        clear = choose_time(grid, None)
    except InputError:
        if before is None:
            raise
    by_number = all(column.isdigit() for _, column in parts_said(last.time_column))
    if before is None or (clear is not None and (before == clear or by_number)):
        return clear or TimeColumns(()), []  # a number means another column where the columns are others
    names = " + ".join(grid.columns[n] for n in before.places)
    return before, [f"Times are taken from '{names}', as for {last.source}; --time-column names another."]


def _temperature_of(grid: Grid, taken: tuple[int, ...], name: str | None, last: Choices) -> tuple[int, list[str]]:
    """Choose the column of temperatures, by the same rule."""
    if name is not None or last.temperature_column is None:
        return choose_temperature(grid, taken, name)
    before = _temperature_of_before(grid, taken, last.temperature_column)
    clear, said = -1, list[str]()
    try:
        clear, said = choose_temperature(grid, taken, None)
    except InputError:
        if before is None:
            raise
    if before is None:
        were = f"The temperatures of {last.source} were in '{last.temperature_column}'; this file has none there"
        return clear, [*said, f"{were}: they are taken from '{grid.columns[clear]}'."]
    if before == clear or (clear >= 0 and last.temperature_column.strip().isdigit()):
        return clear, said  # a number means another column where the columns are others
    sentence = f"Temperatures are taken from '{grid.columns[before]}', as for {last.source}"
    return before, [f"{sentence}; --temperature-column names another."]


def _temperature_of_before(grid: Grid, taken: tuple[int, ...], name: str) -> int | None:
    """Find the column chosen for the last file in this one; None where it has none such, or that holds other things."""
    try:
        place, _ = choose_temperature(grid, taken, name)
    except InputError:
        return None
    return place if grid.usual(place) in _TEMPERATURE_KINDS else None
