"""A page of one figure: the finding on top, the picture in the middle, the method at the foot.

In: a format, the words. Out: a :class:`Plate` that says where the picture may stand. On paper and on a phone the page
ends where the picture does; a slide has its height.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from hardiness.figures.formats import Format
from hardiness.figures.naming import printable
from hardiness.figures.sheet import Sheet
from hardiness.figures.style import INK, QUIET
from hardiness.figures.typeface import ELLIPSIS, MM_PER_POINT, SEMIBOLD, width_mm, wrap, writable

MOST_TITLE = {True: 6, False: 3}  # lines, on a phone and elsewhere


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


def name_axes(plate: Plate, text: str) -> None:
    """Say above a picture what runs up and what runs across; the picture begins below.

    Parameters
    ----------
    plate : Plate
        Its ``top`` moves down.
    text : str
    """
    sizes = plate.page.sizes
    line = 1.3 * sizes.small * MM_PER_POINT
    for said in wrap(text, plate.page.room, sizes.small):
        plate.sheet.write(plate.left, plate.top + 0.7 * line, said, sizes.small, colour=QUIET, column="axes")
        plate.top += line
    plate.top += 0.6 * line


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
    """Add to the method what ``no.`` stands for, where :func:`~hardiness.figures.naming.short_names` had to put it.

    Parameters
    ----------
    said : Words
    names : sequence of str
        As given to :func:`~hardiness.figures.naming.short_names`.
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


def _step(page: Format) -> float:
    return 1.3 * page.sizes.small * MM_PER_POINT


def _above_foot(page: Format) -> float:
    """Between the picture and the method. [mm]."""
    return 2.4 if page.fixed else 3.6
