"""Which columns of a logger's export tell the humidity, or the dew point, of the air that a temperature was read in.

In: the first rows as cells, the column of temperatures. Out: at most one column of each. Of several temperatures each
takes the one whose number or name goes with it (``T1`` and ``RH1``, ``Air`` and ``Air RH``); where that is not plain,
none is taken, and that is said.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass

from hardiness.read.column_words import DEW_POINT_WORDS
from hardiness.read.columns import find_temperatures
from hardiness.read.conditions import CONDITIONS, DEW_POINT, RELATIVE_HUMIDITY
from hardiness.read.degrees import Number, is_missing, number_of
from hardiness.read.grid import Grid
from hardiness.read.header_units import scale_in, units_in
from hardiness.read.humidity_cells import percent_of
from hardiness.read.slices import shape_of

PERCENT = "%"
_HUMIDITY = re.compile(r"hum(?!us)|humed|feucht|umid|vocht|fukt|fugt|(?<![a-z])r\.?h(?![a-z])", re.I)
_SHORT_HUMIDITY = re.compile(r"(?<![a-z])(?:rf|hr|ur|h)(?![a-z])", re.I)  # these mean it beside a per cent sign only
_OTHER_THINGS = re.compile(  # moisture of the soil, water per volume, limits of an alarm, the voltage of the probe
    r"soil|boden|suelo|substrat|ground|leaf|blatt|wood|(?<![a-z])abs|specific|spezif|g ?/ ?m|g/kg|pa\b|bar\b|volt"
    r"|\bm?v\b|alarm|limit|set ?point|thres|status",
    re.I,
)
_OF_NO_AIR = frozenset(("soil", "boden", "suelo", "substrate", "ground", "water", "wasser", "leaf", "blatt"))
# What says of a column that it is a temperature, a humidity or a dew point, and not whose.
_QUANTITIES = re.compile(
    rf"{DEW_POINT_WORDS}|[°º˚âø¡\ufffd]{{1,2}}\s?[cfk]\b|temp(?:[eé]rat[a-zéü]*)?|tª|lämp[öo]tila|teplota?"
    r"|humidity|humidit[ée]|humid|humedad|umidit[àa]|umidade|feuchtigkeit|feuchte|vochtigheid|fuktighet|fugtighed|fukt|hum"
    r"|celsius|fahrenheit|kelvin|centigrade|degrees?|per ?cent",
)
_NEUTRAL = frozenset((
    "t", "ta", "tair", "airt", "tmp", "rh", "rf", "hr", "ur", "h", "r", "air", "luft", "lucht", "aire", "aria", "rel",
    "relative", "relativa", "relativ", "relatieve", "c", "f", "k", "deg", "de", "of", "the", "l", "value", "reading",
))  # fmt: skip
# Between the words of a name without spaces: "TempA", "RHAir".
_INNER_START = re.compile(r"(?<=[a-zß-ÿ])(?=[A-ZÀ-Þ])|(?<=[A-ZÀ-Þ])(?=[A-ZÀ-Þ][a-zß-ÿ])")


@dataclass(frozen=True, slots=True)
class Beside:
    """A column that is read beside the temperatures.

    Parameters
    ----------
    condition : str
        ``relative_humidity`` or ``dew_point``.
    column : int
        Its number, from 0.
    unit : str
        ``"%"``, ``"degC"``, ``"degF"`` or ``"kelvin"``; empty: the dew point's is that of the temperatures.
    """

    condition: str
    column: int
    unit: str


def find_beside(
    grid: Grid, headings: list[str], taken: tuple[int, ...], temperature: int
) -> tuple[tuple[Beside, ...], list[str]]:
    """Find the columns of humidity and of dew points that go with a column of temperatures.

    Parameters
    ----------
    grid : Grid
        The first rows.
    headings : list of str
        For each column its name, and what stands below it in a header of several rows.
    taken : tuple of int
        Columns of something else: of times, of sensors' names.
    temperature : int
        The column of temperatures.

    Returns
    -------
    beside : tuple of Beside
        At most one of each condition.
    said : list of str
        Sentences about columns that go with no temperature plainly.

    Examples
    --------
    >>> names = ["Time", "T1 (C)", "RH1 (%)", "T2 (C)", "RH2 (%)"]
    >>> grid = Grid("l.csv", names, [["2023-01-14 06:05", "-3", "88", "-2", "91"]], [["moment"] + 4 * ["number"]])
    >>> [beside.column for beside in find_beside(grid, names, (0,), 3)[0]]
    [4]
    """
    places = [n for n in range(len(grid.columns)) if n not in taken]
    temperatures = {temperature, *find_temperatures(grid, taken)[0]}
    beside: list[Beside] = []
    said: list[str] = []
    for condition in (RELATIVE_HUMIDITY, DEW_POINT):
        could = [n for n in places if n not in temperatures and _tells(condition, headings[n], grid, n)]
        if not could:
            continue
        own = _own(grid, temperature, temperatures, could)
        if own is None:
            said.append(_say_unclear(condition, grid, temperature, could))
        else:
            beside.append(
                Beside(condition, own, PERCENT if condition == RELATIVE_HUMIDITY else _unit(grid, headings, own))
            )
    return tuple(beside), said


def _tells(condition: str, heading: str, grid: Grid, column: int) -> bool:
    """Whether a column's heading speaks of the condition, and its cells are no words."""
    text = _INNER_START.sub(" ", heading)
    if _OTHER_THINGS.search(text) or scale_in(heading) is not None:
        return False
    if condition == DEW_POINT:
        return re.search(DEW_POINT_WORDS, text, re.I) is not None and _are_numbers(grid, column, number_of)
    speaks = _HUMIDITY.search(text) or (PERCENT in text and _SHORT_HUMIDITY.search(heading))
    return bool(speaks) and not re.search(DEW_POINT_WORDS, text, re.I) and _are_numbers(grid, column, percent_of)


def _are_numbers(grid: Grid, column: int, understood: Callable[[bytes], Number | None]) -> bool:
    """Whether most filled cells are numbers; a column that begins empty may have some later."""
    shapes = [shape_of(row[column].encode()) for row in grid.cells if column < len(row) and row[column]]
    filled = [shape for shape in shapes if not is_missing(shape)]
    return 2 * sum(understood(shape) is not None for shape in filled) >= len(filled)


def _own(grid: Grid, temperature: int, temperatures: Iterable[int], could: list[int]) -> int | None:
    """The column that goes with a temperature; None where that is not plain."""
    mine = _whose(grid.columns[temperature])
    if mine & _OF_NO_AIR:
        return None
    rivals = [n for n in temperatures if _whose(grid.columns[n]) == mine]
    fits = [n for n in could if _whose(grid.columns[n]) == mine]
    if len(fits) == 1 and len(rivals) == 1:
        return fits[0]
    if len(could) == 1 and len(set(temperatures)) == 1:  # one logger's two channels, unless their names say otherwise
        ours, others = (
            {word for word in words if not word.isdigit()} for words in (mine, _whose(grid.columns[could[0]]))
        )
        return could[0] if not ours or not others or ours & others else None
    return None


def _whose(name: str) -> frozenset[str]:
    """What a column's name says besides what it holds: a number, a place, a probe."""
    text = _INNER_START.sub(" ", name).casefold()
    return frozenset(re.findall(r"[^\W\d_]+|\d+", _QUANTITIES.sub(" ", text))) - _NEUTRAL


def _unit(grid: Grid, headings: list[str], column: int) -> str:
    """The unit of a column of dew points: the heading's, else that of its first cell with one."""
    for unit in units_in(headings[column]):
        return unit
    for row in grid.cells:
        number = number_of(shape_of(row[column].encode())) if column < len(row) else None
        if number is not None and number.unit is not None:
            return number.unit
    return ""


def _say_unclear(condition: str, grid: Grid, temperature: int, could: list[int]) -> str:
    which = f"{grid.listed(could)} {'is' if len(could) == 1 else 'are'} left out"
    return (
        f"{which}: it is not plain which {CONDITIONS[condition].short_name} goes with '{grid.columns[temperature]}'. "
        "The same number or word in both names makes it plain, such as 'T1' and 'RH1'."
    )
