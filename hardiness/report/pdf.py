"""A report as PDF: the same sections as on the screen, set on paper."""

from __future__ import annotations

import hashlib
import re
from html import unescape
from typing import Any

from hardiness.figures.typeface import FAMILIES, MM_PER_POINT, REGULAR, SEMIBOLD, characters_of, width_mm
from hardiness.report.blocks import Block, Document, Facts, Formula, Grid, Heading, Picture, Points, Section, Text
from hardiness.report.pictures import SIDE_MARGIN
from hardiness.report.printable import NOTE, Printable
from hardiness.report.typesetting import PAPERS, typeset

LONG = 28  # characters of a cell
BANDED = 7  # columns from which on long names stand above their rows, not beside them
_SVG_TEXT = re.compile(r'<text style="([^"]*)"([^>]*)>([^<]*)</text>')
_SIZE = re.compile(r"font-size: ([\d.]+)px")


def pdf_report(document: Document, *, paper: str = "A4") -> bytes:
    """Set a report.

    Parameters
    ----------
    document : Document
    paper : str
        ``A4`` or ``letter``.

    Returns
    -------
    bytes
        A PDF.
    """
    setting = _Setting(Printable(document.names))
    sections = [setting.section(section) for section in document.sections]
    write = setting.write
    data = {
        "title": write(document.title),
        "trial": write(document.trial),
        "dated": write(document.dated),
        "sections": sections,
        "paper": PAPERS[paper],
        "side": SIDE_MARGIN,
        "note": NOTE if write.changed else "",
    }
    return typeset("report", data, setting.pictures)


class _Setting:
    """Turns sections into what the template asks for."""

    def __init__(self, write: Printable) -> None:
        self.write = write
        self.pictures: dict[str, str] = {}

    def section(self, section: Section) -> dict[str, Any]:
        return {
            "title": self.write(section.title),
            "blocks": [self._block(block) for block in section.blocks],
            "parts": [self.section(part) for part in section.parts],
            "new-page": section.new_page,
        }

    def _block(self, block: Block) -> dict[str, Any]:
        write = self.write
        match block:
            case Text(text, tone):
                return {"kind": "text", "text": write(text), "tone": tone}
            case Heading(text):
                return {"kind": "heading", "text": write(text)}
            case Points(texts):
                return {"kind": "points", "texts": [write(text) for text in texts]}
            case Facts(pairs):
                return {"kind": "facts", "pairs": [[write(name), write(value)] for name, value in pairs]}
            case Formula(text):
                return {"kind": "formula", "text": write(text)}
            case Grid(heads, rows):
                return {
                    "kind": "grid",
                    "bands": len(heads) >= BANDED and _is_long(rows, 0),
                    "heads": [
                        {
                            "name": write(head.name),
                            "unit": head.unit,
                            "right": head.right,
                            "wide": head.wide or _is_long(rows, number),
                        }
                        for number, head in enumerate(heads)
                    ],
                    "rows": [[write(cell) for cell in row] for row in rows],
                }
            case Picture():
                return {
                    "kind": "picture",
                    "pages": [self._picture(page) for page in block.pages],
                    "words": write(block.words),
                    "whole": block.whole_page,
                }

    def _picture(self, svg: str) -> str:
        name = hashlib.sha256(svg.encode("utf-8")).hexdigest()[:16]
        self.pictures[name] = _SVG_TEXT.sub(_measured, svg)
        return name


def _measured(found: re.Match[str]) -> str:
    """Hold a text of a picture to the width it was drawn for.

    Where a sign is not in the first typeface, print sets the whole line in the next one, which is wider.
    """
    style, rest, text = found.groups()
    weight = SEMIBOLD if "font-weight: 600" in style else REGULAR
    size = _SIZE.search(style)
    if size is None or set(unescape(text)) <= characters_of(FAMILIES[0], weight):
        return found[0]
    wide = width_mm(unescape(text), float(size[1]), weight) / MM_PER_POINT
    return f'<text style="{style}"{rest} textLength="{wide:.2f}" lengthAdjust="spacingAndGlyphs">{text}</text>'


def _is_long(rows: tuple[tuple[str, ...], ...], column: int) -> bool:
    """Whether a column holds long names: it shares the room that is left, instead of being squeezed."""
    return any(len(row[column]) > LONG for row in rows)
