"""Figures to files, byte for byte the same for the same input: PNG, SVG and PDF.

Text stays text in SVG and PDF. An SVG carries the glyphs it uses, so that it looks the same where the typeface is not
installed, and a title and description for readers who cannot see it; a PDF carries them as title and subject.
"""

from __future__ import annotations

import hashlib
import io
import re
from collections.abc import Sequence
from pathlib import Path
from typing import Any
from xml.sax.saxutils import escape

from matplotlib.backends.backend_pdf import PdfPages
from matplotlib.figure import Figure
from matplotlib.text import Text

from hardiness.errors import InputError, Problem
from hardiness.figures.glyphs import font_face
from hardiness.figures.sheet import Sheet
from hardiness.figures.style import drawing
from hardiness.figures.typeface import FAMILIES, REGULAR, SEMIBOLD, WEIGHT_NAMES, characters_of, font_files

SUFFIXES = (".png", ".svg", ".pdf")


def check_place(path: Path | str) -> Path:
    """Check that a figure can be written to a place, before it is drawn.

    Parameters
    ----------
    path : Path or str
        Ends in ``.png``, ``.svg`` or ``.pdf``.

    Returns
    -------
    Path

    Raises
    ------
    InputError
        If the ending is another one, it is a folder, or its folder does not exist.

    Examples
    --------
    >>> check_place("chart.svg").suffix
    '.svg'
    """
    path = Path(path)
    if path.suffix.lower() not in SUFFIXES:
        raise InputError(Problem(f"a file name ending in '{path.suffix}'", f"one of {', '.join(SUFFIXES)}",
                                 file=path.name))  # fmt: skip
    if path.is_dir():
        raise InputError(Problem("a folder", "a file", file=path.name))
    if not path.parent.is_dir():
        raise InputError(Problem(f"no folder '{path.parent}'", "a folder that exists", file=path.name))
    return path


def save_figure(figure: Figure | Sequence[Figure], path: Path | str) -> list[Path]:
    """Write a figure, or the pages of one, to a file named by its kind.

    Parameters
    ----------
    figure : matplotlib.figure.Figure or sequence of them
        One page or several.
    path : Path or str
        Ends in ``.png``, ``.svg`` or ``.pdf``. Several pages become one PDF; as PNG or SVG the second is written to
        ``name-2.png`` and so on.

    Returns
    -------
    list of Path
        The files written, in the order of the pages: say so where there are several.

    Raises
    ------
    InputError
        If the ending is another one, the folder does not exist, or there is no page.
    """
    path = check_place(path)
    pages = _pages_of(figure)
    suffix = path.suffix.lower()
    with drawing():
        if suffix == ".pdf":
            contents = {path: _pdf(pages)}
        else:
            render = _png if suffix == ".png" else _svg
            names = [path, *(path.with_name(f"{path.stem}-{n}{path.suffix}") for n in range(2, len(pages) + 1))]
            contents = {name: render(page) for name, page in zip(names, pages, strict=True)}
    for name, content in contents.items():
        name.write_bytes(content)
    return list(contents)


def svg_texts(figure: Figure | Sequence[Figure], *, inside: bool = False) -> list[str]:
    """Write each page of a figure as SVG, to stand in a web page: no prolog, and ids that are its own.

    Parameters
    ----------
    figure : matplotlib.figure.Figure or sequence of them
        One page or several.
    inside : bool
        Whether it goes into a page that holds the house's typeface, and has a ground, of its own: both are left out.

    Returns
    -------
    list of str
        An ``<svg>`` element per page, with title, description and the glyphs that it uses.

    Raises
    ------
    InputError
        If there is no page.
    """
    with drawing():
        texts = [_svg(page, inside=inside).decode("utf-8") for page in _pages_of(figure)]
    pictures = [text[text.index("<svg") :] for text in texts]
    return [_own_ids(text, hashlib.sha256(text.encode("utf-8")).hexdigest()[:8]) for text in pictures]


def png_bytes(figure: Figure | Sequence[Figure]) -> list[bytes]:
    """Write each page of a figure as PNG.

    Parameters
    ----------
    figure : matplotlib.figure.Figure or sequence of them
        One page or several.

    Returns
    -------
    list of bytes

    Raises
    ------
    InputError
        If there is no page.
    """
    with drawing():
        return [_png(page) for page in _pages_of(figure)]


def pdf_bytes(figure: Figure | Sequence[Figure]) -> bytes:
    """Write all pages of a figure as one PDF.

    Parameters
    ----------
    figure : matplotlib.figure.Figure or sequence of them
        One page or several.

    Returns
    -------
    bytes

    Raises
    ------
    InputError
        If there is no page.
    """
    with drawing():
        return _pdf(_pages_of(figure))


def _pages_of(figure: Figure | Sequence[Figure]) -> list[Figure]:
    """All pages: those given, each with the ones that follow it."""
    given = [figure] if isinstance(figure, Figure) else list(figure)
    pages: list[Figure] = []
    for page in given:
        following = page.further if isinstance(page, Sheet) else ()
        pages += [page, *(other for other in following if other not in given)]
    if not pages:
        raise InputError("a figure without pages cannot be written.")
    return pages


def _own_ids(text: str, salt: str) -> str:
    """Make the ids of a picture unlike those of any other on the same web page."""
    ids = set(re.findall(r'\bid="([^"]+)"', text))
    text = re.sub(r'\bid="([^"]+)"', rf'id="{salt}-\1"', text)
    text = re.sub(r'\baria-labelledby="title desc"', f'aria-labelledby="{salt}-title {salt}-desc"', text)
    return re.sub(r'(url\(#|href="#)([^")]+)', lambda m: f"{m[1]}{salt}-{m[2]}" if m[2] in ids else m[0], text)


def _words_of(page: Figure) -> tuple[str, str]:
    return (page.heading, page.description) if isinstance(page, Sheet) else ("", "")


def _png(page: Figure) -> bytes:
    title, description = _words_of(page)
    metadata: dict[str, Any] = {"Software": None, "Title": title, "Description": description}
    buffer = io.BytesIO()
    page.savefig(buffer, format="png", dpi=page.dpi, metadata={k: v for k, v in metadata.items() if v != ""},
                 facecolor=page.get_facecolor())  # fmt: skip
    return buffer.getvalue()


def _pdf(pages: Sequence[Figure]) -> bytes:
    title, description = _words_of(pages[0])
    metadata = {"Title": title, "Subject": description, "CreationDate": None, "ModDate": None, "Creator": None,
                "Producer": None}  # fmt: skip
    buffer = io.BytesIO()
    with PdfPages(buffer, metadata=metadata) as book:
        for page in pages:
            book.savefig(page, facecolor=page.get_facecolor())
    return buffer.getvalue()


def _svg(page: Figure, *, inside: bool = False) -> bytes:
    title, description = _words_of(page)
    buffer = io.BytesIO()
    ground = "none" if inside else page.get_facecolor()
    page.savefig(buffer, format="svg", metadata={"Date": None, "Creator": None}, facecolor=ground)
    text = buffer.getvalue().decode("utf-8")
    head = (
        f'<title id="title">{escape(title)}</title>\n<desc id="desc">{escape(description)}</desc>\n'
        f"<style>{_font_faces(page, FAMILIES[1:] if inside else FAMILIES)}</style>\n"
    )
    # The first tag of the document is the picture's own: the words and glyphs go right behind it.
    text = re.sub(
        r"(<svg\b[^>]*?)>",
        lambda match: f'{match[1]} role="img" aria-labelledby="title desc">\n{head}',
        text,
        count=1,
    )
    return text.encode("utf-8")


def _font_faces(page: Figure, carried: Sequence[str]) -> str:
    """Write the glyphs that the page's texts use, as fonts inside the file."""
    written: dict[int, set[str]] = {}
    for artist in page.findobj(Text):
        if isinstance(artist, Text) and artist.get_text():
            name = artist.get_fontproperties().get_weight()
            weight = SEMIBOLD if name == WEIGHT_NAMES[SEMIBOLD] else REGULAR
            written.setdefault(weight, set()).update(artist.get_text())
    faces = []
    for family, weight in font_files():
        # Families stand in the order in which they are asked: what an earlier one has is not written by a later.
        characters = written.get(weight, set()) & characters_of(family, weight)
        written[weight] = written.get(weight, set()) - characters
        if characters and family in carried:
            faces.append(font_face(family, weight, characters))
    return "".join(faces)
