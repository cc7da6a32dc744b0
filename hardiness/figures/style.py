"""The look of every figure: colours, the ramp of grades, type sizes, and the settings under which figures are drawn.

Grades share one hue from pale to dark, spaced evenly in CIE lightness so that grey print keeps their order; the ramp
leaves out the middle lightness in which neither ink nor paper can be read on it. Contrast follows WCAG 2.2, relative
luminance; lightness and chroma follow CIE 15:2018 (L*a*b*, white D65).
"""

from __future__ import annotations

import itertools
import math
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cache

import matplotlib
from matplotlib.colors import to_hex, to_rgb

from hardiness.figures.typeface import FAMILIES, register_fonts

PAPER = "#FCFCFA"
INK = "#1F2A33"
QUIET = "#5B6770"  # second ink: text that may be overlooked
HAIRLINE = "#D9DDD8"
HATCH = "#C3C9C6"  # not tested: lines only, between hairline and quiet ink
BAND = "#F1F3EC"  # a tint behind the marks: a half-zone, a night, a shaded span
ACCENT = "#1B5E7A"  # the one blue-green: the cold itself, and the figure that can be claimed

RAMP_HUE = 76.0  # [degree] straw to bark
# [L*] pale to dark, without the middle: there neither INK nor PAPER reaches a contrast of 4.5 to 1.
RAMP_LIGHTNESS = ((94.0, 61.0), (47.5, 22.0))
RAMP_CHROMA = ((22.0, 14.0), (40.0, 38.0), (61.0, 48.0), (94.0, 11.0))  # (L*, C*), linear between
_D65 = (0.95047, 1.0, 1.08883)
_LOCK = threading.RLock()  # matplotlib's settings are one per process


@dataclass(frozen=True, slots=True)
class Sizes:
    """The four sizes of type on a page.

    Parameters
    ----------
    title, heading, text, small : float
        [pt]
    """

    title: float
    heading: float
    text: float
    small: float


PAPER_SIZES = Sizes(title=14.0, heading=9.0, text=7.5, small=6.5)
PHONE_SIZES = Sizes(title=15.0, heading=11.0, text=9.0, small=8.0)


@contextmanager
def drawing() -> Iterator[None]:
    """Draw with the settings of this package, whatever the caller's matplotlib is set to, and put those back.

    Yields
    ------
    None

    Examples
    --------
    >>> with drawing():
    ...     matplotlib.rcParams["svg.fonttype"]
    'none'
    """
    with _LOCK, matplotlib.rc_context():
        matplotlib.rcdefaults()
        matplotlib.rcParams.update(
            {
                "font.family": list(FAMILIES),
                "svg.fonttype": "none",  # text stays text
                "svg.hashsalt": "hardiness",
                "pdf.fonttype": 42,
                "text.parse_math": False,  # a name may hold a dollar sign
                "text.hinting": "no_autohint",
                "path.simplify": False,
            }
        )
        register_fonts()
        yield


@cache
def grade_ramp(grades: int) -> tuple[str, ...]:
    """List the fill of each grade, unharmed first, dead last.

    Parameters
    ----------
    grades : int
        How many grades the scale has, at least 2.

    Returns
    -------
    tuple of str
        Colours of one hue, pale to dark.

    Examples
    --------
    >>> len(grade_ramp(6)), grade_ramp(6)[0] != grade_ramp(6)[1]
    (6, True)
    """
    (pale, middle_pale), (middle_dark, dark) = RAMP_LIGHTNESS
    usable = (pale - middle_pale) + (middle_dark - dark)
    fills = []
    for grade in range(grades):
        walked = usable * grade / max(grades - 1, 1)
        lightness = pale - walked if walked <= pale - middle_pale else middle_dark - (walked - (pale - middle_pale))
        fills.append(_lab_hex(lightness, _chroma(lightness), RAMP_HUE))
    return tuple(fills)


def text_on(fill: str) -> str:
    """Choose ink or paper, whichever reads better on a fill.

    Parameters
    ----------
    fill : str
        A colour.

    Returns
    -------
    str

    Examples
    --------
    >>> text_on("#FFFFFF") == INK, text_on("#000000") == PAPER
    (True, True)
    """
    return INK if contrast(INK, fill) >= contrast(PAPER, fill) else PAPER


def contrast(first: str, second: str) -> float:
    """Contrast ratio of two colours, from 1 to 21 (WCAG 2.2, success criterion 1.4.3).

    Parameters
    ----------
    first, second : str
        Colours.

    Returns
    -------
    float

    Examples
    --------
    >>> round(contrast("#000000", "#FFFFFF"), 1)
    21.0
    """
    darker, lighter = sorted((luminance(first), luminance(second)))
    return (lighter + 0.05) / (darker + 0.05)


def luminance(colour: str) -> float:
    """Relative luminance of a colour, 0 to 1 (WCAG 2.2).

    Parameters
    ----------
    colour : str

    Returns
    -------
    float

    Examples
    --------
    >>> round(luminance("#FFFFFF"), 6)
    1.0
    """
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in to_rgb(colour)]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def _chroma(lightness: float) -> float:
    for (low, from_chroma), (high, to_chroma) in itertools.pairwise(RAMP_CHROMA):
        if lightness <= high:
            return from_chroma + (to_chroma - from_chroma) * (lightness - low) / (high - low)
    return RAMP_CHROMA[-1][1]


def _lab_hex(lightness: float, chroma: float, hue: float) -> str:
    """Turn a colour given as L*, C*, h into sRGB."""
    fy = (lightness + 16) / 116
    fx = fy + chroma * math.cos(math.radians(hue)) / 500
    fz = fy - chroma * math.sin(math.radians(hue)) / 200
    x, y, z = (
        white * (f**3 if f > 6 / 29 else (f - 4 / 29) * 3 * (6 / 29) ** 2)
        for white, f in zip(_D65, (fx, fy, fz), strict=True)
    )
    linear = (
        3.2404542 * x - 1.5371385 * y - 0.4985314 * z,
        -0.9692660 * x + 1.8760108 * y + 0.0415560 * z,
        0.0556434 * x - 0.2040259 * y + 1.0572252 * z,
    )
    held = [min(max(c, 0.0), 1.0) for c in linear]
    red, green, blue = (12.92 * c if c <= 0.0031308 else 1.055 * c ** (1 / 2.4) - 0.055 for c in held)
    return to_hex((red, green, blue))
