"""The glyphs that a file carries: a font cut down to the characters written, the same bytes for the same characters."""

from __future__ import annotations

import base64
import io
from collections.abc import Iterable
from functools import lru_cache

from fontTools import subset  # type: ignore[import-untyped]

from hardiness.figures.typeface import characters_of, font_files

KEPT = 64  # cut fonts kept; each is some ten kilobytes


def font_face(family: str, weight: int, characters: Iterable[str]) -> str:
    """Write a ``@font-face`` rule that holds the characters which a font has.

    Parameters
    ----------
    family : str
        One of :data:`hardiness.figures.typeface.FAMILIES`.
    weight : int
        400 or 600.
    characters : iterable of str

    Returns
    -------
    str
        CSS; the same for the same characters.

    Examples
    --------
    >>> font_face("Source Sans 3", 400, "a").startswith("@font-face{font-family:'Source Sans 3';font-weight:400;src:")
    True
    >>> font_face("Source Sans 3", 400, "ab橄") == font_face("Source Sans 3", 400, "bab")
    True
    """
    wanted = "".join(sorted(characters_of(family, weight).intersection(characters)))
    source = f"url({_data_uri(family, weight, wanted)}) format('woff')"
    return f"@font-face{{font-family:'{family}';font-weight:{weight};src:{source}}}"


@lru_cache(maxsize=KEPT)
def _data_uri(family: str, weight: int, characters: str) -> str:
    options = subset.Options()
    options.flavor = "woff"
    options.recalc_timestamp = False  # the same bytes on any day
    options.drop_tables += ["FFTM"]  # time stamps of a font editor: dropped anyhow, else with a warning
    buffer = io.BytesIO()
    with subset.load_font(str(font_files()[family, weight]), options) as font:
        chooser = subset.Subsetter(options)
        chooser.populate(text=characters)
        chooser.subset(font)
        subset.save_font(font, buffer, options)
    return f"data:font/woff;base64,{base64.b64encode(buffer.getvalue()).decode('ascii')}"
