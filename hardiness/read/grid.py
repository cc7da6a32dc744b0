"""The first rows of a logger's export as cells, and what each cell looks like.

In: rows split into cells. Out: a :class:`Grid`, in which columns are found by what the user calls them and by what most
of their cells look like.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass

from hardiness.errors import InputError, Problem, near_name
from hardiness.read.column_words import UNIT_PART
from hardiness.read.degrees import is_missing, number_of
from hardiness.read.layouts import EPOCH, layout_of
from hardiness.read.slices import shape_of


def kind_of(cell: str) -> str:
    """Tell what a cell looks like: moment, epoch, date, clock, degrees (number and unit), number, missing or text.

    Parameters
    ----------
    cell : str

    Returns
    -------
    str
        ``moment``, ``epoch``, ``date``, ``clock``, ``degrees``, ``number``, ``missing`` or ``text``.
    """
    shape = shape_of(cell.encode())
    layout = layout_of(shape)
    if layout is not None:
        if layout.kind == EPOCH:
            return "epoch"
        return "clock" if not layout.has_date else "moment" if layout.has_clock else "date"
    number = number_of(shape)
    if number is not None:
        return "degrees" if number.unit else "number"
    return "missing" if is_missing(shape) else "text"


@dataclass(frozen=True, slots=True)
class Grid:
    """The first rows of a file as cells.

    Parameters
    ----------
    file : str
        Its name, for messages.
    columns : list of str
        Column names.
    cells, kinds : list of list of str
        The cells, and what each looks like.
    """

    file: str
    columns: list[str]
    cells: list[list[str]]
    kinds: list[list[str]]

    def usual(self, column: int) -> str:
        """Tell what most filled cells of a column look like.

        Parameters
        ----------
        column : int
            From 0.

        Returns
        -------
        str
            As of :func:`kind_of`; ``missing`` where no cell is filled.
        """
        seen = Counter(row[column] for row in self.kinds if column < len(row) and row[column] != "missing")
        return seen.most_common(1)[0][0] if seen else "missing"

    def named(self, name: str, option: str) -> int:
        """Find the column that the user named, by its name, its name without the unit, or its number.

        Parameters
        ----------
        name : str
            As the user wrote it; a number counts from 1.
        option : str
            The option it was given for.

        Returns
        -------
        int
            From 0.
        """
        wanted = name.strip().casefold()
        for names in (
            [column.casefold() for column in self.columns],
            [UNIT_PART.sub("", column).strip().casefold() for column in self.columns],
            [str(number) for number in range(1, len(self.columns) + 1)],
        ):
            if names.count(wanted) == 1:
                return names.index(wanted)
            if wanted in names:
                hint = f"Name it by its number: {option} {names.index(wanted) + 1}."
                raise self.refusal(f"{names.count(wanted)} columns named '{name}'", f"one column for {option}", hint)
        accepted = f"for {option} one of {self.listed(range(len(self.columns)))}"
        raise self.refusal(f"no column '{name}'", accepted, near_name(name, self.columns))

    def key(self, column: int) -> str:
        """Name a column so that :meth:`named` finds it: by its name, or its number where others have that name.

        Parameters
        ----------
        column : int
            From 0.

        Returns
        -------
        str
        """
        name = self.columns[column]
        return name if [each.casefold() for each in self.columns].count(name.casefold()) == 1 else str(column + 1)

    def listed(self, columns: Iterable[int]) -> str:
        """Name columns in a sentence.

        Parameters
        ----------
        columns : iterable of int
            From 0.

        Returns
        -------
        str
        """
        return ", ".join(f"'{self.columns[column]}'" for column in columns)

    def refusal(self, found: str, accepted: str, hint: str | None = None) -> InputError:
        """Make the error that refuses a choice of columns.

        Parameters
        ----------
        found, accepted : str
        hint : str, optional

        Returns
        -------
        InputError
        """
        return InputError(Problem(found, accepted, file=self.file, hint=hint))
