"""A logger's export looked at before it is taken in.

In: a file, and what is said about it. Out: a :class:`hardiness.read.preview.Preview` of each sensor in it. A file with
faults is shown as far as it was understood.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import UTC, tzinfo
from pathlib import Path

import numpy as np

from hardiness.errors import InputError
from hardiness.read.choices import NO_CHOICES, Choices
from hardiness.read.conditions import CONDITIONS
from hardiness.read.dates import ORDER_IN_WORDS
from hardiness.read.loggers import finish
from hardiness.read.opening import MARKS, read_opening, split_line
from hardiness.read.part_words import PARTS_IN_WORDS
from hardiness.read.plaintext import PlainText, open_plaintext
from hardiness.read.preview import Preview, PreviewColumn, PreviewRow
from hardiness.read.recognition import Asked, Recognition, Series, recognise
from hardiness.units import LETTERS

ROWS = 10  # readings, or lines of a file that was not understood, that are shown
_ENCODINGS = {
    "cp1252": "Windows-1252 (Latin-1)",
    "cp1251": "Windows-1251 (Cyrillic)",
    "utf-8": "UTF-8",
    "utf-16": "UTF-16",
    "xlsx": "a workbook (XLSX)",
}
_LONGEST_LINE = 200  # characters of a line that are shown


def preview_logger(
    path: Path,
    asked: Asked,
    *,
    zone: tzinfo = UTC,
    sensor: str = "",
    progress: Callable[[int, int], None] | None = None,
) -> Preview:
    r"""Look at a file with the readings of one sensor.

    Parameters
    ----------
    path : Path
        The file.
    asked : Asked
        What is said about it.
    zone : datetime.tzinfo
        The clock by which times are shown.
    sensor : str
        Whose readings.
    progress : callable, optional
        Called now and then with bytes done and bytes in all.

    Returns
    -------
    Preview

    Examples
    --------
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     path = Path(folder) / "l1.csv"
    ...     _ = path.write_text("Time;Temp (°F)\n14.01.2023 06:05;14,0\n14.01.2023 06:20;13,1\n", encoding="utf-8")
    ...     preview = preview_logger(path, Asked("l1.csv", "UTC"))
    >>> preview.delimiter, preview.unit, preview.date_order, preview.interval_min, preview.problems
    ('semicolon', 'F', 'day/month/year', 15.0, [])
    >>> [(row.row, row.local, round(row.celsius, 6)) for row in preview.rows]
    [(2, '2023-01-14 06:05 UTC', -10.0), (3, '2023-01-14 06:20 UTC', -10.5)]
    """
    return _previews(path, [asked], zone=zone, progress=progress, sensors=[sensor])[0]


def preview_channels(
    path: Path,
    channels: Sequence[tuple[str, str]],
    asked: Asked,
    *,
    lasts: Sequence[Choices] = (),
    zone: tzinfo = UTC,
    progress: Callable[[int, int], None] | None = None,
) -> list[Preview]:
    """Look at a file of which each of several columns is a sensor's.

    Parameters
    ----------
    path : Path
        The file.
    channels : sequence of (str, str)
        Column and sensor.
    asked : Asked
        What is said about the file.
    lasts : sequence of Choices
        What was chosen for the last files of each sensor; none: nothing.
    zone : datetime.tzinfo
        The clock by which times are shown.
    progress : callable, optional
        Called now and then with bytes done and bytes in all.

    Returns
    -------
    list of Preview
        One for each channel.
    """
    each = [
        replace(asked, temperature_column=column, last=last)
        for (column, _), last in zip(channels, lasts or [NO_CHOICES] * len(channels), strict=True)
    ]
    return _previews(path, each, zone=zone, progress=progress, sensors=[sensor for _, sensor in channels])


def preview_by_sensor(
    path: Path,
    asked: Asked,
    *,
    last_of: Callable[[str], str | None] | None = None,
    zone: tzinfo = UTC,
    progress: Callable[[int, int], None] | None = None,
) -> list[Preview]:
    """Look at a file in which a column names the sensor of each row.

    Parameters
    ----------
    path : Path
        The file.
    asked : Asked
        What is said about it, the column of sensors among it.
    last_of : callable, optional
        Given a sensor's name, the zone last chosen for it, or None.
    zone : datetime.tzinfo
        The clock by which times are shown.
    progress : callable, optional
        Called now and then with bytes done and bytes in all.

    Returns
    -------
    list of Preview
        One for each sensor; at least one.
    """
    return _previews(path, [asked], zone=zone, progress=progress, sensors=[""], last_of=last_of)


def _previews(
    path: Path,
    each: Sequence[Asked],
    *,
    zone: tzinfo,
    progress: Callable[[int, int], None] | None,
    sensors: Sequence[str],
    last_of: Callable[[str], str | None] | None = None,
) -> list[Preview]:
    shown: list[Preview] = []
    try:
        with open_plaintext(path, file=each[0].file) as plain:
            for asked, sensor in zip(each, sensors, strict=True):
                found = recognise(plain, asked, last_of=last_of, progress=progress)
                whole = _preview_of(found, plain, sensor)
                shown += [_with_series(whole, found, series, zone) for series in found.series] or [whole]
    except InputError as error:
        return [Preview(each[0].file, problems=list(error.problems))]
    return shown


def _preview_of(found: Recognition, plain: PlainText, sensor: str) -> Preview:
    """Show what is known of the file as a whole."""
    preview = Preview(
        found.file, sensor, _ENCODINGS[found.encoding], said=list(found.said), problems=list(found.problems)
    )
    dialect = found.dialect
    if dialect is None:
        return _with_columns(replace(preview, lines=_first_lines(plain, 1)), plain)
    times = dialect.parts or (("time",) if len(dialect.time) == 1 else ("date", "time"))
    roles = {place: PARTS_IN_WORDS[part] if len(times) > 1 else "time"
             for place, part in zip(dialect.time, times, strict=True)}  # fmt: skip
    roles |= {dialect.temperature: "temperature"}
    roles |= {each.column: CONDITIONS[each.condition].short_name for each in dialect.beside}
    roles |= {} if dialect.sensor is None else {dialect.sensor: "sensor"}
    beside = dialect.companions
    companions = {beside.unit: "unit", beside.zone: "zone", beside.parameter: "what was measured",
                  beside.flag: "flags"}  # fmt: skip
    roles |= {place: role for place, role in companions.items() if place is not None}
    cells = [split_line(line, dialect.delimiter) for line in _first_lines(plain, dialect.body_row)]
    examples = [
        next((row[n] for row in cells if n < len(row) and row[n]), "")[:_LONGEST_LINE]
        for n in range(len(dialect.columns))
    ]
    return replace(
        preview,
        delimiter=MARKS[dialect.delimiter],
        header=dialect.header,
        columns=[PreviewColumn(n + 1, name, roles.get(n, ""), examples[n]) for n, name in enumerate(dialect.columns)],
        time_column=dialect.time_name,
        temperature_column=dialect.temperature_name,
        unit=LETTERS[found.unit].upper() if found.unit else "",
        unit_from=found.unit_from,
        clock=("12 h" if found.noons else "24 h") if found.size else "",
        lines=_first_lines(plain, dialect.body_row),
    )


def _with_columns(preview: Preview, plain: PlainText) -> Preview:
    """Show at least the columns of a file of which it is not clear which is which."""
    try:
        opening = read_opening(plain.text, file=preview.file, wanted=[])
    except InputError:
        return preview
    grid = opening.grid
    examples = [next((row[n] for row in grid.cells if n < len(row) and row[n]), "") for n in range(len(grid.columns))]
    return replace(
        preview,
        delimiter=MARKS[opening.delimiter],
        header=opening.header,
        columns=[PreviewColumn(n + 1, name, "", examples[n]) for n, name in enumerate(grid.columns)],
    )


def _first_lines(plain: PlainText, row: int) -> list[str]:
    last = min(plain.text.lines, row + ROWS - 1)
    return [plain.text.line(each)[:_LONGEST_LINE] for each in range(row, last + 1)]


def _with_series(preview: Preview, found: Recognition, series: Series, zone: tzinfo) -> Preview:
    """Show the readings of one sensor; what is wrong with them alone is told with them."""
    problems, said, logger = list(preview.problems), list(preview.said), None
    sound = np.flatnonzero(~np.isnat(series.utc))
    utc, order = series.utc[sound], series.instants.order
    rows = [
        PreviewRow(int(series.rows[n]), _local(series.utc[n], zone), _shown(series.utc[n]), float(series.celsius[n]))
        for n in sound[:ROWS]
    ]
    first, last = (_local(utc.min(), zone), _local(utc.max(), zone)) if utc.size else ("", "")
    steps = np.diff(np.unique(utc)).astype(np.int64) if problems else np.array([], np.int64)
    interval_min = float(np.median(steps)) / 60e9 if steps.size else float("nan")
    readings = int(utc.size)
    if not problems and series.celsius.size:
        try:
            logger = finish(found, series)
            said, interval_min, readings = list(logger.said), logger.interval_min, logger.air_temperature.size
        except InputError as error:
            problems += error.problems
    return replace(
        preview,
        sensor=series.name or preview.sensor,
        date_order=ORDER_IN_WORDS[order.order] if order.decided_by else "",
        date_order_from=order.decided_by,
        zone=series.instants.zone,
        zone_from=series.instants.zone_from,
        interval_min=interval_min,
        first=first,
        last=last,
        readings=readings,
        missing=series.missing,
        rows=rows,
        lines=[] if rows else preview.lines,
        said=said,
        problems=problems,
        logger=logger,
    )


def _shown(utc: np.datetime64) -> str:
    """Write an instant: seconds only where there are any."""
    text = str(utc)[:19].replace("T", " ")
    return text.removesuffix(":00") if text.endswith(":00") else text


def _local(utc: np.datetime64, zone: tzinfo) -> str:
    """Write an instant by a clock, with the clock's offset."""
    time = utc.astype("datetime64[s]").item().replace(tzinfo=UTC).astimezone(zone)
    offset = time.strftime("%z")
    name = "UTC" if offset == "+0000" else f"UTC{offset[:3]}:{offset[3:5]}"
    return f"{time:%Y-%m-%d %H:%M}{f':{time:%S}' if time.second else ''} {name}"
