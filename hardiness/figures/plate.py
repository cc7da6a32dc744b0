"""A page of one figure: the finding on top, the picture in the middle, the method at the foot.

In: a format, the words. Out: a :class:`Plate` that says where the picture may stand. On paper and on a phone the page
ends where the picture does; a slide has its height.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from hardiness import words
from hardiness.figures.formats import Format
from hardiness.figures.sheet import Sheet
from hardiness.figures.style import INK, QUIET
from hardiness.figures.typeface import ELLIPSIS, MM_PER_POINT, SEMIBOLD, shorten, width_mm, wrap, writable

MOST_TITLE = {True: 6, False: 3}  # lines, on a phone and elsewhere
STEPS = (0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0, 500.0)
UNWRITABLE = "(a name the fonts here cannot write)"


@dataclass(frozen=True, slots=True)
class Words:
    """What a figure says beside its picture.

    Parameters
    ----------
    title : str
        The finding.
    facts : str
        Which trial, and how many stand behind it.
    method : str
        How it came about, and what the marks mean.
    description : str
        The picture in words, for readers who cannot see it.
    empty : str
        Why there is no picture; empty where there is one.
    """

    title: str
    facts: str
    method: str
    description: str
    empty: str = ""


@dataclass(slots=True)
class Plate:
    """An opened page and the room for its picture.

    Parameters
    ----------
    sheet : Sheet
    page : Format
    method : tuple of str
        Lines of the foot.
    top, bottom : float
        Where the picture begins and must end. [mm]
    """

    sheet: Sheet
    page: Format
    method: tuple[str, ...]
    top: float
    bottom: float

    @property
    def left(self) -> float:
        """Left edge of the picture. [mm]."""
        return self.page.margin

    @property
    def right(self) -> float:
        """Right edge of the picture. [mm]."""
        return self.page.width - self.page.margin


def open_plate(page: Format, said: Words, *, folio: str = "") -> Plate:
    """Open a page and write its head.

    Parameters
    ----------
    page : Format
    said : Words
    folio : str
        Which page of how many.

    Returns
    -------
    Plate
    """
    sheet = page.sheet(said.title, said.description)
    sizes, y = page.sizes, page.margin
    for line in _title_lines(said.title, page):
        y += 1.22 * sizes.title * MM_PER_POINT
        sheet.write(page.margin, y - 1.0, line, sizes.title, weight=SEMIBOLD, column="title")
    facts = " · ".join(part for part in (printable(said.facts), folio) if part)
    for line in wrap(facts, page.room, sizes.text) if facts else []:
        y += 1.35 * sizes.text * MM_PER_POINT
        sheet.write(page.margin, y, line, sizes.text, colour=QUIET, column="title")
    method = tuple(wrap(printable(said.method), page.room, sizes.small))
    foot = len(method) * _step(page) + _above_foot(page)
    return Plate(sheet, page, method, y + 4.0, page.height - page.margin - foot)


def _title_lines(title: str, page: Format) -> list[str]:
    """Break a title into lines; one that is too long ends in an ellipsis."""
    size, most = page.sizes.title, MOST_TITLE[page.narrow]
    lines = wrap(printable(title), page.room, size, SEMIBOLD)
    if len(lines) <= most:
        return lines
    last = lines[most - 1].split(" ")
    while len(last) > 1 and width_mm(f"{' '.join(last)} {ELLIPSIS}", size, SEMIBOLD) > page.room:
        last.pop()
    return [*lines[: most - 1], f"{' '.join(last)} {ELLIPSIS}"]


def unwritten(said: Words, names: Sequence[str], counted: str) -> Words:
    """Add to the method what ``no.`` stands for, where :func:`short_names` had to put it.

    Parameters
    ----------
    said : Words
    names : sequence of str
        As given to :func:`short_names`.
    counted : str
        How the numbers are counted, such as ``from the top``.

    Returns
    -------
    Words

    Examples
    --------
    >>> unwritten(Words("", "", "Dots.", ""), ["OL-1", "橄榄"], "from the top").method
    'Dots. no.: a name that the fonts here cannot write, by its number from the top.'
    """
    if all(writable(name) and name for name in names):
        return said
    note = f"no.: a name that the fonts here cannot write, by its number {counted}."
    return replace(said, method=f"{said.method} {note}".strip())


def close_plate(plate: Plate, y: float) -> Sheet:
    """Write the foot below the picture, and end the page.

    Parameters
    ----------
    plate : Plate
    y : float
        Where the picture ends. [mm]

    Returns
    -------
    Sheet
    """
    page, step = plate.page, _step(plate.page)
    top = (plate.bottom if page.fixed else y) + _above_foot(page)
    for number, line in enumerate(plate.method):
        plate.sheet.write(page.margin, top + (number + 0.8) * step, line, page.sizes.small, colour=QUIET,
                          column="method")  # fmt: skip
    plate.sheet.finish()
    if not page.fixed:
        plate.sheet.cut(top + len(plate.method) * step + page.margin)
    return plate.sheet


def empty_plate(page: Format, said: Words) -> list[Sheet]:
    """Draw a page that says in words why there is no picture.

    Parameters
    ----------
    page : Format
    said : Words

    Returns
    -------
    list of Sheet
        One page.
    """
    plate = open_plate(page, said)
    y = plate.top
    for line in wrap(printable(said.empty), page.room, page.sizes.text):
        y += 1.4 * page.sizes.text * MM_PER_POINT
        plate.sheet.write(page.margin, y, line, page.sizes.text, colour=INK, column="empty")
    return [close_plate(plate, y)]


def printable(text: str) -> str:
    """Give a text as the fonts can write it: a word they lack is said to be one.

    Parameters
    ----------
    text : str

    Returns
    -------
    str

    Examples
    --------
    >>> printable("Ελιά-3 stands"), printable("橄榄-7, alone, stands")
    ('Ελιά-3 stands', '(a name the fonts here cannot write), alone, stands')
    """
    if writable(text):
        return text
    out: list[str] = []
    for word in text.split(" "):
        rest = word.rstrip(",.;:")
        shown = word if writable(word) else UNWRITABLE + word[len(rest) :]
        if out and out[-1] == UNWRITABLE and shown.startswith(UNWRITABLE):
            out[-1] = shown
        else:
            out.append(shown)
    return " ".join(out)


def event_words(event: str) -> str:
    """Write the name of an event as a day.

    Parameters
    ----------
    event : str
        The date of its first freeze.

    Returns
    -------
    str

    Examples
    --------
    >>> event_words("2031-12-14")
    '14 Dec 2031'
    """
    try:
        day = dt.date.fromisoformat(event[:10])
    except ValueError:
        return event
    return f"{words.day(day)} {day.year}"


def short_names(names: Sequence[str], room: float, size: float, weight: int = SEMIBOLD) -> list[str]:
    """Fit names into a column: shortened in the middle, and told apart by a number where two look the same.

    Parameters
    ----------
    names : sequence of str
        As recorded, in the order of the rows.
    room : float
        [mm]
    size : float
        [pt]
    weight : int
        400 or 600.

    Returns
    -------
    list of str
        A name that the fonts cannot write is ``no. `` and the number of its row.
    """
    texts = [
        shorten(name, room, size, weight) if writable(name) and name else f"no. {row}"
        for row, name in enumerate(names, 1)
    ]
    first: dict[str, int] = {}
    for row, name in enumerate(names, 1):
        first.setdefault(name, row)
    by_text: dict[str, set[str]] = {}
    for text, name in zip(texts, names, strict=True):
        by_text.setdefault(text, set()).add(name)
    return [
        shorten(name, room, size, weight, tail=f" ({first[name]})") if len(by_text[text]) > 1 else text
        for text, name in zip(texts, names, strict=True)
    ]


@dataclass(frozen=True, slots=True)
class Ruler:
    """Where a number lies between two ends; positions may run either way.

    Parameters
    ----------
    low, high : float
        Ends of the numbers.
    start, end : float
        Where they lie. [mm]
    """

    low: float
    high: float
    start: float
    end: float

    def at(self, value: float) -> float:
        """Find the position of a number, held within the ends. [mm].

        Parameters
        ----------
        value : float

        Returns
        -------
        float
            [mm]
        """
        held = min(max(value, self.low), self.high)
        return self.start + (held - self.low) / (self.high - self.low) * (self.end - self.start)

    def ticks(self, apart: float, least: float = 0.1) -> list[float]:
        """List round numbers at least so far apart.

        Parameters
        ----------
        apart : float
            [mm]
        least : float
            Smallest step.

        Returns
        -------
        list of float

        Examples
        --------
        >>> Ruler(0.0, 10.0, 0.0, 50.0).ticks(9.0)
        [0.0, 2.0, 4.0, 6.0, 8.0, 10.0]
        """
        per_unit = abs(self.end - self.start) / (self.high - self.low)
        step = next((step for step in STEPS if step >= least and step * per_unit >= apart), STEPS[-1])
        first, last = math.ceil(self.low / step - 1e-9), math.floor(self.high / step + 1e-9)
        return [step * number for number in range(first, last + 1)]


def temperature_ends(values: Sequence[float], *, air: float = 0.4, least: float = 4.0) -> tuple[float, float]:
    """Choose whole degrees around temperatures, with a little air. [degC].

    Parameters
    ----------
    values : sequence of float
        NaN counts nowhere. [degC]
    air : float
        At each end. [K]
    least : float
        Least length of the scale. [K]

    Returns
    -------
    tuple of float
        [degC]

    Examples
    --------
    >>> temperature_ends([-9.2, -3.1]), temperature_ends([])
    ((-10.0, -2.0), (-12.0, 0.0))
    """
    known = [value for value in values if math.isfinite(value)]
    if not known:
        return (-12.0, 0.0)
    cold, warm = float(math.floor(min(known) - air)), float(math.ceil(max(known) + air))
    short = max(least - (warm - cold), 0.0)
    return cold - math.ceil(short / 2), warm + math.ceil(short / 2)


def _step(page: Format) -> float:
    return 1.3 * page.sizes.small * MM_PER_POINT


def _above_foot(page: Format) -> float:
    """Between the picture and the method. [mm]."""
    return 2.4 if page.fixed else 3.6
