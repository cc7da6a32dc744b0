"""A report as one page for the screen: no scripts, nothing fetched, light and dark, one column on a phone.

In: a document. Out: HTML. Every text is escaped here and nowhere else.
"""

from __future__ import annotations

import re
from functools import cache
from html import escape as escaped
from importlib.resources import files

from hardiness.figures.glyphs import font_face
from hardiness.figures.typeface import FAMILIES, REGULAR, SEMIBOLD
from hardiness.report.blocks import (
    Block,
    Document,
    Facts,
    Formula,
    Grid,
    Head,
    Heading,
    Picture,
    Points,
    Section,
    Text,
    pictures_in,
    texts_in,
)
from hardiness.report.wording import glued

LONG = 28  # characters of a cell; a shorter one stays on one line
_LOW = re.compile(r"_(\w+)")


def html_page(document: Document) -> str:
    """Write a report as a self-contained HTML page.

    Parameters
    ----------
    document : Document

    Returns
    -------
    str
    """
    # The pictures' texts are set in the page's own typeface: their sources hold every character that they write.
    characters = set("".join(texts_in(document))) | set(_FURNITURE) | {c for svg in pictures_in(document) for c in svg}
    faces = "".join(font_face(FAMILIES[0], weight, characters) for weight in (REGULAR, SEMIBOLD))
    title = f"{document.trial}: {document.title}"
    body = "\n".join(_section(section, 2) for section in document.sections)
    return (
        '<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        '<meta name="color-scheme" content="light dark">\n'
        # Nothing is fetched and nothing runs, whatever a name or a note holds.
        "<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; style-src 'unsafe-inline'; "
        'font-src data:; img-src data:">\n'
        f"<title>{escape(title)}</title>\n<style>{faces}{_style()}</style>\n</head>\n<body>\n"
        f'<header><p class="trial">{escape(document.trial)}</p><h1>{escape(document.title)}</h1>'
        f'<p class="quiet">{escape(document.dated)}</p></header>\n{_contents(document)}\n<main>\n{body}\n</main>\n'
        "</body>\n</html>\n"
    )


def escape(text: str) -> str:
    """Write a text as HTML; a number stays with its unit.

    Parameters
    ----------
    text : str

    Returns
    -------
    str

    Examples
    --------
    >>> escape("<b>OL-07</b>")
    '&lt;b&gt;OL-07&lt;/b&gt;'
    """
    return glued(escaped(text))


_FURNITURE = "In this report 0123456789\u00a0"


@cache
def _style() -> str:
    text = (files("hardiness.report") / "report.css").read_text(encoding="utf-8")
    return re.sub(r"\s+", " ", re.sub(r"/\*.*?\*/", "", text, flags=re.DOTALL))


def _contents(document: Document) -> str:
    lines = []
    for section in document.sections:
        parts = "".join(f"<li>{_link(part)}</li>" for part in section.parts)
        lines.append(f"<li>{_link(section)}{f'<ol>{parts}</ol>' if parts else ''}</li>")
    return f'<nav aria-label="In this report"><ol>{"".join(lines)}</ol></nav>'


def _link(section: Section) -> str:
    return f'<a href="#{section.key}">{escape(section.title)}</a>'


def _section(section: Section, level: int) -> str:
    new_page = ' class="new-page"' if section.new_page else ""
    inner = "\n".join(_block(block, level + 1) for block in section.blocks)
    parts = "\n".join(_section(part, level + 1) for part in section.parts)
    return (
        f'<section id="{section.key}"{new_page}>\n<h{level}>{escape(section.title)}</h{level}>\n'
        f"{inner}\n{parts}\n</section>"
    )


def _block(block: Block, level: int) -> str:
    match block:
        case Text(text, tone):
            return f'<p class="{tone}">{escape(text)}</p>'
        case Heading(text):
            return f"<h{level}>{escape(text)}</h{level}>"
        case Points(texts):
            return f"<ul>{''.join(f'<li>{escape(text)}</li>' for text in texts)}</ul>"
        case Facts(pairs):
            rows = "".join(f"<dt>{escape(name)}</dt><dd>{escape(value)}</dd>" for name, value in pairs)
            return f"<dl>{rows}</dl>"
        case Formula(text):
            return f'<p class="formula">{_LOW.sub(_lowered, escape(text))}</p>'
        case Grid(heads, rows):
            return _grid(heads, rows)
        case Picture():
            return _picture(block)


def _lowered(match: re.Match[str]) -> str:
    return f"<sub>{match[1]}</sub>"


def _grid(heads: tuple[Head, ...], rows: tuple[tuple[str, ...], ...]) -> str:
    kinds = [" ".join(kind for kind, has in (("r", head.right), ("w", head.wide)) if has) for head in heads]
    marks = [f' class="{kind}"' if kind else "" for kind in kinds]
    top = "".join(
        f'<th scope="col"{mark}>{escape(head.name)}{f" <span>{escape(head.unit)}</span>" if head.unit else ""}</th>'
        for head, mark in zip(heads, marks, strict=True)
    )
    # On a phone a row with sentences stands as a paragraph, each cell behind the head of its column.
    stacked = any(head.wide for head in heads)
    names = [head.name if stacked else "" for head in heads]
    body = "".join(f"<tr>{''.join(_cell(*each) for each in zip(row, kinds, names, strict=True))}</tr>" for row in rows)
    # A wide table scrolls by itself, reached by keyboard too; the page does not.
    shape = "table stacked" if stacked else "table"
    return f'<div class="{shape}" tabindex="0"><table><thead><tr>{top}</tr></thead><tbody>{body}</tbody></table></div>'


def _cell(text: str, kind: str, head: str) -> str:
    kinds = f"{kind} l".strip() if len(text) > LONG else kind
    mark = f' class="{kinds}"' if kinds else ""
    mark += f' data-head="{escape(head)}"' if head else ""
    return f"<td{mark}>{escape(text)}</td>"


def _picture(picture: Picture) -> str:
    desk = "".join(picture.pages)
    if not picture.narrow:
        return f"<figure>{desk}</figure>"
    return f'<figure class="desk">{desk}</figure><figure class="phone">{"".join(picture.narrow)}</figure>'
