"""The shipped typeface inside an HTML page: only the characters that the page uses."""

from __future__ import annotations

import base64
import io
from collections.abc import Set as AbstractSet
from functools import lru_cache

from fontTools import subset  # type: ignore[import-untyped]

from hardiness.figures.typeface import FAMILIES, characters_of, font_files


def font_face(weight: int, characters: AbstractSet[str]) -> str:
    """Write a ``@font-face`` rule that holds the characters of one weight which the typeface has.

    Parameters
    ----------
    weight : int
        400 or 600.
    characters : set of str

    Returns
    -------
    str
        CSS; the same for the same characters.

    Examples
    --------
    >>> font_face(400, {"a"}).startswith("@font-face{font-family:'Source Sans 3';font-weight:400;src:url(data:font/")
    True
    """
    wanted = "".join(sorted(characters & characters_of(FAMILIES[0], weight)))
    return f"@font-face{{font-family:'{FAMILIES[0]}';font-weight:{weight};src:url({_data_uri(weight, wanted)})}}"


@lru_cache(maxsize=8)
def _data_uri(weight: int, characters: str) -> str:
    options = subset.Options()
    options.flavor = "woff"
    options.recalc_timestamp = False  # the same bytes on any day
    buffer = io.BytesIO()
    with subset.load_font(str(font_files()[FAMILIES[0], weight]), options) as font:
        chooser = subset.Subsetter(options)
        chooser.populate(text=characters)
        chooser.subset(font)
        subset.save_font(font, buffer, options)
    return f"data:font/woff;base64,{base64.b64encode(buffer.getvalue()).decode('ascii')}"
