"""A report as PDF: the same sections as on the screen, set on paper."""

from __future__ import annotations

import hashlib
from typing import Any

from hardiness.report.blocks import Block, Document, Facts, Formula, Grid, Heading, Picture, Points, Section, Text
from hardiness.report.pictures import SIDE_MARGIN
from hardiness.report.printable import NOTE, Printable
from hardiness.report.typesetting import PAPERS, typeset

LONG = 28  # characters of a cell


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
        self.pictures[name] = svg
        return name


def _is_long(rows: tuple[tuple[str, ...], ...], column: int) -> bool:
    """Whether a column holds long names: it shares the room that is left, instead of being squeezed."""
    return any(len(row[column]) > LONG for row in rows)
