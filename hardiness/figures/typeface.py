"""The typeface of every figure, and what it can write: registering, coverage, widths, shortening, wrapping.

Source Sans 3 (SIL Open Font License, ``fonts/OFL.txt``): humanist, tabular figures by default; Latin, Greek and
Cyrillic. What it lacks is taken from DejaVu Sans, which comes with matplotlib. A text that neither can write is not
``writable``: the caller prints a number instead, never boxes.
"""

from __future__ import annotations

import re
import unicodedata
from functools import cache, lru_cache
from pathlib import Path

import matplotlib
from matplotlib import font_manager
from matplotlib.font_manager import FontEntry, FontProperties
from matplotlib.ft2font import FT2Font
from matplotlib.textpath import TextToPath

from hardiness.words import MONTHS

FAMILIES = ("Source Sans 3", "DejaVu Sans")
REGULAR, SEMIBOLD = 400, 600
# By name for matplotlib: before 3.10 its SVG writer knows no weight by number.
WEIGHT_NAMES = {REGULAR: "normal", SEMIBOLD: "semibold"}
FOLDER = Path(__file__).parent / "fonts"
MM_PER_POINT = 25.4 / 72
ELLIPSIS = "…"
# From 3.11 on matplotlib shapes text and orders right-to-left scripts; before, it would print them backwards.
SHAPES_TEXT = tuple(int(part) for part in matplotlib.__version__.split(".")[:2]) >= (3, 11)
# A space inside a quantity or a date, at which no line is broken.
_GLUE = re.compile(rf"(?<=\d) (?=°|%|h\b|(?:{'|'.join(MONTHS)})\b)")
RIGHT_TO_LEFT = {"R", "AL", "AN"}


@cache
def font_files() -> dict[tuple[str, int], Path]:
    """List the font files used, by family and weight.

    Returns
    -------
    dict of (str, int) to Path

    Examples
    --------
    >>> sorted(path.name for path in font_files().values())[-1]
    'SourceSans3-SemiBold.ttf'
    """
    bundled = Path(matplotlib.get_data_path()) / "fonts" / "ttf"
    return {
        (FAMILIES[0], REGULAR): FOLDER / "SourceSans3-Regular.ttf",
        (FAMILIES[0], SEMIBOLD): FOLDER / "SourceSans3-SemiBold.ttf",
        (FAMILIES[1], REGULAR): bundled / "DejaVuSans.ttf",
        (FAMILIES[1], SEMIBOLD): bundled / "DejaVuSans-Bold.ttf",
    }


def register_fonts() -> None:
    """Make the fonts known to matplotlib; a second call changes nothing.

    Our files stand first in matplotlib's list, so that another version of a family installed on the machine changes no
    figure.
    """
    manager = font_manager.fontManager
    entries = [
        FontEntry(fname=str(path), name=family, style="normal", variant="normal", weight=weight, stretch="normal",
                  size="scalable")
        for (family, weight), path in font_files().items()
    ]  # fmt: skip
    if manager.ttflist[: len(entries)] == entries:
        return
    manager.ttflist[:0] = entries
    # The public call that also forgets earlier look-ups, which may have found other files for these names.
    manager.addfont(font_files()[FAMILIES[0], REGULAR])


def properties(size: float, weight: int = REGULAR) -> FontProperties:
    """Name the font of a text.

    Parameters
    ----------
    size : float
        [pt]
    weight : int, default 400
        400 or 600.

    Returns
    -------
    FontProperties
    """
    return FontProperties(family=list(FAMILIES), size=size, weight=WEIGHT_NAMES[weight])


@cache
def characters_of(family: str, weight: int = REGULAR) -> frozenset[str]:
    """List the characters that one font has.

    Parameters
    ----------
    family : str
        One of :data:`FAMILIES`.
    weight : int, default 400
        400 or 600.

    Returns
    -------
    frozenset of str

    Examples
    --------
    >>> set("Ж−°") <= characters_of("Source Sans 3")
    True
    """
    return frozenset(map(chr, FT2Font(str(font_files()[family, weight])).get_charmap()))


def clean(text: str) -> str:
    r"""Put a name on one line: white space becomes single spaces, invisible control characters go.

    Parameters
    ----------
    text : str

    Returns
    -------
    str

    Examples
    --------
    >>> clean(" OL-07\n (east) ")
    'OL-07 (east)'
    """
    spaced = " ".join(unicodedata.normalize("NFC", text).split())
    return "".join(character for character in spaced if unicodedata.category(character) not in ("Cc", "Cf"))


def writable(text: str) -> bool:
    """Tell whether the fonts can write a text in both weights, in the right order.

    Parameters
    ----------
    text : str

    Returns
    -------
    bool

    Examples
    --------
    >>> writable("Ελιά-3 Ж"), writable("橄榄")
    (True, False)
    """
    known = _in_both_weights()
    ordered = SHAPES_TEXT or not any(unicodedata.bidirectional(character) in RIGHT_TO_LEFT for character in text)
    return ordered and all(character in known for character in text)


@cache
def _in_both_weights() -> frozenset[str]:
    regular, semibold = (
        frozenset().union(*(characters_of(family, weight) for family in FAMILIES)) for weight in (REGULAR, SEMIBOLD)
    )
    return regular & semibold


@lru_cache(maxsize=8192)
def width_mm(text: str, size: float, weight: int = REGULAR) -> float:
    """Measure a text, without hinting: the same for every file format.

    Parameters
    ----------
    text : str
        A text on one line.
    size : float
        [pt]
    weight : int, default 400
        400 or 600.

    Returns
    -------
    float
        [mm]

    Examples
    --------
    >>> width_mm("00", 6.0) > width_mm("0", 6.0) > 1.0
    True
    """
    register_fonts()
    width, _, _ = TextToPath().get_text_width_height_descent(text, properties(size, weight), ismath=False)
    return float(width) * MM_PER_POINT


def shorten(text: str, room_mm: float, size: float, weight: int = REGULAR, tail: str = "") -> str:
    """Shorten a text to a width: an ellipsis in the middle, since names differ at their ends.

    Parameters
    ----------
    text : str
        A text on one line.
    room_mm : float
        The width it may take. [mm]
    size : float
        [pt]
    weight : int, default 400
        400 or 600.
    tail : str, optional
        What must follow it uncut.

    Returns
    -------
    str

    Examples
    --------
    >>> shorten("OL-07", 30.0, 7.0)
    'OL-07'
    >>> shorten("open pollinated, east slope, row 11", 15.0, 7.0)
    'open…ow 11'
    """
    if width_mm(text + tail, size, weight) <= room_mm:
        return text + tail
    for kept in range(len(text) - 1, 0, -1):
        head = text[: (kept + 1) // 2].rstrip()
        end = text[len(text) - kept // 2 :].lstrip() if kept > 1 else ""
        if width_mm(short := head + ELLIPSIS + end + tail, size, weight) <= room_mm:
            return short
    return ELLIPSIS + tail


def wrap(text: str, room_mm: float, size: float, weight: int = REGULAR) -> list[str]:
    """Break a text into lines no wider than told; a number stays with its unit, a long word is shortened.

    Parameters
    ----------
    text : str
        Words between spaces.
    room_mm : float
        Width of a line. [mm]
    size : float
        [pt]
    weight : int, default 400
        400 or 600.

    Returns
    -------
    list of str

    Examples
    --------
    >>> wrap("claimed hardy to −8.6 °C at most", 22.0, 7.0)
    ['claimed hardy to', '−8.6 °C at most']
    """
    glued = _GLUE.sub("\u00a0", text)
    lines: list[str] = []
    for word in glued.split(" "):
        joined = f"{lines[-1]} {word}" if lines else word
        if lines and width_mm(joined, size, weight) <= room_mm:
            lines[-1] = joined
        else:
            lines.append(shorten(word, room_mm, size, weight))
    return [line.replace("\u00a0", " ") for line in lines]
