"""What is wrong with the rows of a logger's export, gathered and told at once.

In: rows at fault and why. Out: problems that name file, row, column and what stands there; the first ones in full, the
others counted. Also here: which odd rows are no faults (a footer, the header once more, an event without a reading).
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, field, replace

import numpy as np

from hardiness.errors import Problem
from hardiness.read.aligned import ALIGNED, EMPTY_HINT
from hardiness.read.dialect import Dialect
from hardiness.read.fields import ABSENT, BAD, GOOD, MISSING, NO_NAME, OTHER, Fields, Rows
from hardiness.read.labels import quote
from hardiness.read.marks import marked_number, options_for
from hardiness.read.opening import split_line
from hardiness.read.opening_rows import named_columns
from hardiness.read.plaintext import LISTED
from hardiness.read.slices import shape_of
from hardiness.read.text import Text
from hardiness.read.time_cells import find_bad_part

MOST_FOOTER_ROWS = 50  # a summary below the readings; more is no footer
MOST_LOOKED_AT = 1000  # rows without a time that are held against the header
TIME_ACCEPTED = "a date and time of day, such as 2023-01-14 06:05"
TEMPERATURE_ACCEPTED = "a number, or an empty cell where there is no reading"
_LONGEST_SHOWN = 60  # characters
_SUMMARY = re.compile(
    r"(?:(?:over ?all|absolute|daily)? ?(?:min(?:imum)?|max(?:imum)?|avg|average|mean|median|std\.?(?: dev(?:iation)?)?"
    r"|total|sum(?:mary)?|range|count|highest|lowest|samples|readings)\.?"
    r"(?: (?:temp(?:erature)?|value|reading|time))?)\s?:?",
    re.IGNORECASE,
)
_LIKE_A_TIME = re.compile(r"\s*\d+\s*([-/.:T]|$)")

Cells = list[str]


@dataclass(slots=True)
class Faults:
    """Faults of rows, with the file's text at hand to quote from.

    Parameters
    ----------
    text : Text
        The file's lines.
    dialect : Dialect
        How it is written.
    file : str
        Its name.
    """

    text: Text
    dialect: Dialect
    file: str
    _found: list[tuple[Rows, Callable[[Cells], Problem]]] = field(default_factory=list)

    def add(
        self,
        rows: Rows,
        found: str | Callable[[Cells], str],
        accepted: str,
        column: int | None,
        hint: str | None = None,
    ) -> None:
        """Add rows with one kind of fault.

        Parameters
        ----------
        rows : numpy.ndarray of int
            Their numbers.
        found : str or callable
            What stands there; ``{}`` in a text is the cell; a callable is given all cells of the row.
        accepted : str
            What is accepted.
        column : int, optional
            The column, from 0.
        hint : str, optional
            The next step.
        """
        name = None if column is None else self.dialect.columns[column]

        def tell(cells: Cells) -> Problem:
            if callable(found):
                text = found(cells)
            else:
                text = found.format(quoted(cells[column]) if column is not None and column < len(cells) else "no cell")
            return Problem(text, accepted, file=self.file, column=name, hint=hint)

        self.add_told(rows, tell)

    def add_told(self, rows: Rows, tell: Callable[[Cells], Problem]) -> None:
        """Add rows with faults that are told cell by cell.

        Parameters
        ----------
        rows : numpy.ndarray of int
            Their numbers.
        tell : callable
            Given all cells of a row, what is wrong with it.
        """
        if rows.size:
            self._found.append((rows, tell))

    def cell(self, row: int, column: int) -> str:
        """Quote a cell of the file.

        Parameters
        ----------
        row : int
            Its number.
        column : int
            From 0.

        Returns
        -------
        str
        """
        cells = split_line(self.text.line(row), self.dialect.delimiter)
        return quoted(cells[column]) if column < len(cells) else "no cell"

    def problems(self) -> list[Problem | str]:
        """List the faults by row: the first ones one by one, then how many there are.

        Returns
        -------
        list of Problem or str
        """
        places = sorted((int(row), n) for n, (rows, _) in enumerate(self._found) for row in np.sort(rows)[:LISTED])
        listed: list[Problem | str] = []
        for row, n in places[:LISTED]:
            problem = self._found[n][1](split_line(self.text.line(row), self.dialect.delimiter))
            listed.append(replace(problem, row=row))
        total = sum(rows.size for rows, _ in self._found)
        if total > len(listed):
            listed.append(f"{self.file}: {total - len(listed)} more faults like these, {total} in all.")
        return listed


def quoted(cell: str) -> str:
    """Quote a cell for a message, cut where it is long.

    Parameters
    ----------
    cell : str

    Returns
    -------
    str

    Examples
    --------
    >>> quoted("warm"), quoted("")
    ("'warm'", 'an empty cell')
    """
    return quote(cell, _LONGEST_SHOWN) if cell else "an empty cell"


def sort_rows(fields: Fields, faults: Faults) -> tuple[Fields, int, list[str]]:
    """Keep the rows with a time; tell the others apart into faults and rows of no account.

    Parameters
    ----------
    fields : Fields
        All rows; the others are taken out of it.
    faults : Faults
        Takes what is wrong.

    Returns
    -------
    timed : Fields
        Rows with a time, and a temperature or nothing in its place.
    events : int
        Rows with neither.
    said : list of str
        Sentences about rows passed over.
    """
    if (others := fields.time_state == OTHER).any():
        fields.keep(~others)
    fields, said = _pass_over(fields, faults)
    dialect, time, temperature = faults.dialect, fields.time_state, fields.temperature_state
    untimed = (time == BAD) | (time == ABSENT)
    events = (time == MISSING) & ((temperature == MISSING) | (temperature == ABSENT))
    long = fields.long & ~untimed & ~events
    short = (time == GOOD) & (temperature == ABSENT) & ~long
    no_time = fields.rows[untimed | ((time == MISSING) & ~events & ~long)]
    if dialect.parts:
        faults.add_told(no_time, lambda cells: _tell_bad_part(cells, faults))
    else:
        faults.add(
            no_time,
            lambda cells: " and ".join(quoted(cells[n]) if n < len(cells) else "no cell" for n in dialect.time),
            TIME_ACCEPTED,
            dialect.time[0],
        )
    wordy = (time == GOOD) & (temperature == BAD) & ~long
    faults.add_told(fields.rows[wordy], lambda cells: _tell_no_number(cells[dialect.temperature], faults))
    count = f"{len(dialect.columns)} cells, as the header has"
    hint = "Numbers with a decimal comma need a semicolon or tab between cells." if dialect.delimiter == "," else None
    if dialect.delimiter in ALIGNED:
        hint = EMPTY_HINT
    if fields.sensor is not None:
        unnamed = (fields.sensor == NO_NAME) & ~untimed & ~events
        faults.add(fields.rows[unnamed], "{}", "the name of a sensor", dialect.sensor)
    faults.add(fields.rows[long], _count_cells, count, None, hint)
    faults.add(fields.rows[short], _count_cells, count, None)
    timed = (time == GOOD) & ((temperature == GOOD) | (temperature == MISSING)) & ~long
    size = int(np.count_nonzero(events))
    if not timed.all():
        fields.keep(timed)
    return fields, size, said


def _tell_no_number(cell: str, faults: Faults) -> Problem:
    marked = marked_number(shape_of(cell.encode()))
    mark = "" if marked is None else marked[0] if marked[0] in cell else marked[0].upper()
    hint = f"Say what {quoted(mark)} marks: {options_for(mark)}." if mark else None
    name = faults.dialect.temperature_name
    return Problem(quoted(cell), TEMPERATURE_ACCEPTED, file=faults.file, column=name, hint=hint)


def _tell_bad_part(cells: Cells, faults: Faults) -> Problem:
    found, accepted, column = find_bad_part(cells, faults.dialect.time_columns)
    return Problem(found, accepted, file=faults.file, column=faults.dialect.columns[column])


def _count_cells(cells: Cells) -> str:
    return f"{len(cells)} cell{'s' if len(cells) != 1 else ''}"


def _pass_over(fields: Fields, faults: Faults) -> tuple[Fields, list[str]]:
    """Leave out the header where it stands again, and lines below the last reading that are no readings."""
    fields, said = _pass_over_summary(fields, faults)
    untimed = np.flatnonzero((fields.time_state == BAD) | (fields.time_state == ABSENT))
    if not untimed.size:
        return fields, said
    timed = np.flatnonzero(fields.time_state == GOOD)
    below = untimed[untimed > (timed[-1] if timed.size else fields.rows.size)]
    texts = {
        int(n): split_line(faults.text.line(int(fields.rows[n])), faults.dialect.delimiter)
        for n in {*untimed[:MOST_LOOKED_AT].tolist(), *below[:MOST_LOOKED_AT].tolist()}
    }
    headers = [n for n, cells in texts.items() if named_columns(cells) == faults.dialect.columns]
    place = faults.dialect.time[0]
    footers = []
    if below.size <= MOST_FOOTER_ROWS:
        others = [n for n in below.tolist() if n not in headers]
        footers = [n for n in others if not _LIKE_A_TIME.match("".join(texts[n][place : place + 1]))]
    if headers:
        said.append(f"The header stands again in {rows_text(fields.rows[headers])}; that was passed over.")
    if footers:
        what = quoted(" ".join(cell for cell in texts[footers[0]] if cell))
        were = "was" if len(footers) == 1 else "were"
        said.append(f"Below the last reading, {rows_text(fields.rows[footers])} {were} passed over ({what}).")
    kept = np.ones(fields.rows.size, bool)
    kept[headers + footers] = False
    fields.keep(kept)
    return fields, said


def _pass_over_summary(fields: Fields, faults: Faults) -> tuple[Fields, list[str]]:
    """Leave out a summary at the end whose rows have a temperature, and no time or that of an earlier reading.

    Such a row has a word for a summary in its first cells ("Minimum"), or no time below the last row that has one.
    """
    size, found = fields.rows.size, list[int]()
    for n in range(size - 1, max(size - MOST_FOOTER_ROWS, 0) - 1, -1):
        time, temperature = fields.time_state[n], fields.temperature_state[n]
        cells = split_line(faults.text.line(int(fields.rows[n])), faults.dialect.delimiter)
        before = [cell for at, cell in enumerate(cells[: faults.dialect.temperature]) if at != faults.dialect.sensor]
        if (time == MISSING and temperature == GOOD) or any(_SUMMARY.fullmatch(cell) for cell in before):
            found.append(n)
        elif time == GOOD:
            break
    if not found or not (fields.time_state[: found[-1]] == GOOD).any():
        return fields, []
    rows = fields.rows[found[::-1]]
    cells = split_line(faults.text.line(int(rows[0])), faults.dialect.delimiter)
    what = quoted(" ".join(cell for cell in cells if cell))
    kept = np.ones(size, bool)
    kept[found] = False
    said = f"Below the last reading, {rows_text(rows)} {'was' if rows.size == 1 else 'were'} passed over ({what})."
    fields.keep(kept)
    return fields, [said]


def rows_text(rows: Rows) -> str:
    """Name rows in a sentence.

    Parameters
    ----------
    rows : ndarray of int
        One or more, in order.

    Returns
    -------
    str

    Examples
    --------
    >>> rows_text(np.array([7])), rows_text(np.array([7, 9])), rows_text(np.array([3, 4, 5, 6, 7]))
    ('row 7', 'rows 7 and 9', 'rows 3, 4, 5 and 2 more')
    """
    if rows.size == 1:
        return f"row {rows[0]}"
    if rows.size == 2:
        return f"rows {rows[0]} and {rows[1]}"
    return f"rows {', '.join(str(row) for row in rows[:3])}" + (f" and {rows.size - 3} more" if rows.size > 3 else "")
