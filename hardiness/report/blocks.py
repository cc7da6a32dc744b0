"""What a report is made of: sections of a few kinds of block, the same for screen and paper.

The modules beside this one write blocks; :mod:`hardiness.report.html` and :mod:`hardiness.report.pdf` put them on a
page. A block holds plain text only: whoever puts it on a page escapes it.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

LEAD, PLAIN, QUIET, CAUTION = "lead", "plain", "quiet", "caution"


@dataclass(frozen=True, slots=True)
class Text:
    """A paragraph.

    Parameters
    ----------
    text : str
    tone : str
        ``lead``, ``plain``, ``quiet`` or ``caution``.
    """

    text: str
    tone: str = PLAIN


@dataclass(frozen=True, slots=True)
class Heading:
    """A heading inside a section."""

    text: str


@dataclass(frozen=True, slots=True)
class Points:
    """A list of sentences."""

    texts: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Head:
    """Head of a column.

    Parameters
    ----------
    name : str
    unit : str
        Written once, here.
    right : bool
        Whether its figures are aligned on the right.
    wide : bool
        Whether it holds sentences, and takes the room that is left.
    """

    name: str
    unit: str = ""
    right: bool = False
    wide: bool = False


@dataclass(frozen=True, slots=True)
class Grid:
    """A table.

    Parameters
    ----------
    heads : tuple of Head
    rows : tuple of tuple of str
    """

    heads: tuple[Head, ...]
    rows: tuple[tuple[str, ...], ...]


@dataclass(frozen=True, slots=True)
class Facts:
    """Names and what they are, side by side."""

    pairs: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class Formula:
    """A formula on a line of its own; ``_`` before a letter or number makes it small and low."""

    text: str


@dataclass(frozen=True, slots=True)
class Picture:
    """A figure as SVG text.

    Parameters
    ----------
    pages : tuple of str
        For paper and desk.
    narrow : tuple of str
        For a phone; empty: the same.
    words : str
        What it shows, for readers who cannot see it.
    whole_page : bool
        Whether each takes a page of its own.
    """

    pages: tuple[str, ...]
    narrow: tuple[str, ...]
    words: str
    whole_page: bool = False


Block = Text | Heading | Points | Grid | Facts | Formula | Picture


@dataclass(frozen=True, slots=True)
class Section:
    """A heading and what stands under it.

    Parameters
    ----------
    title : str
    key : str
        Where links lead; letters, digits and hyphens.
    blocks : tuple
        Its blocks.
    parts : tuple of Section
        Sections within it, one level down.
    new_page : bool
        Whether it begins a page.
    """

    title: str
    key: str
    blocks: tuple[Block, ...]
    parts: tuple[Section, ...] = ()
    new_page: bool = False


@dataclass(frozen=True, slots=True)
class Document:
    """A whole report.

    Parameters
    ----------
    title : str
        What it has found.
    trial : str
        The trial's name.
    dated : str
        What the records go up to.
    sections : tuple of Section
    names : tuple of (str, str)
        Names of things recorded and the number each stands under, for type that cannot write the name.
    """

    title: str
    trial: str
    dated: str
    sections: tuple[Section, ...]
    names: tuple[tuple[str, str], ...] = field(default=())


def texts_in(document: Document) -> Iterator[str]:
    """Every text of a document.

    Parameters
    ----------
    document : Document

    Yields
    ------
    str

    Examples
    --------
    >>> page = Document("Found", "Hill", "", (Section("One", "one", (Points(("a", "b")),)),))
    >>> list(texts_in(page))
    ['Found', 'Hill', '', 'One', 'a', 'b']
    """
    yield from (document.title, document.trial, document.dated)
    for section in document.sections:
        yield from _texts_of(section)


def pictures_in(document: Document) -> Iterator[str]:
    """Every picture of a document, as SVG.

    Parameters
    ----------
    document : Document

    Yields
    ------
    str

    Examples
    --------
    >>> part = Section("One", "one", (Picture(("<svg/>",), (), "nothing"),))
    >>> list(pictures_in(Document("", "", "", (Section("All", "all", (), (part,)),))))
    ['<svg/>']
    """
    waiting = list(document.sections)
    while waiting:
        section = waiting.pop()
        waiting += section.parts
        for block in section.blocks:
            if isinstance(block, Picture):
                yield from (*block.pages, *block.narrow)


def _texts_of(section: Section) -> Iterator[str]:
    yield section.title
    for block in section.blocks:
        match block:
            case Text(text, _) | Heading(text) | Formula(text):
                yield text
            case Points(texts):
                yield from texts
            case Grid(heads, rows):
                yield from (text for head in heads for text in (head.name, head.unit))
                yield from (cell for row in rows for cell in row)
            case Facts(pairs):
                yield from (text for pair in pairs for text in pair)
            case Picture():
                yield block.words
    for part in section.parts:
        yield from _texts_of(part)
