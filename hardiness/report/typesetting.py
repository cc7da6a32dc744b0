"""Pages to PDF: a template of ours and a tree of plain texts and numbers, byte for byte the same for the same input.

The tree goes in as JSON, so that nothing a grower has written is ever read as markup. Only the shipped fonts are used,
and no date is written.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import Any

import typst

from hardiness.figures.typeface import FAMILIES, font_files

PAPERS = {"A4": "a4", "letter": "us-letter"}
PAPER_WIDTHS = {"A4": 210.0, "letter": 215.9}  # [mm]


def typeset(template: str, data: Mapping[str, Any], pictures: Mapping[str, str] | None = None) -> bytes:
    """Set a template with its data.

    Parameters
    ----------
    template : str
        ``report``, ``card`` or ``sheet``.
    data : mapping
        What the template asks for: texts, numbers, lists and mappings.
    pictures : mapping of str to str, optional
        SVG texts by the name that the data call them by.

    Returns
    -------
    bytes
        A PDF.

    Examples
    --------
    >>> page = {"title": "#not markup", "trial": "Hill", "dated": "", "sections": [], "note": "", "paper": "a4"}
    >>> page["side"] = 15
    >>> pdf = typeset("report", page)
    >>> pdf[:5], pdf == typeset("report", page)
    (b'%PDF-', True)
    """
    inputs = {
        "data": json.dumps(data, ensure_ascii=False),
        "pictures": json.dumps(dict(pictures or {}), ensure_ascii=False),
        "families": json.dumps(FAMILIES),
    }
    source = _template("look") + _template(template)  # one text: older engines take no more than one
    made = typst.compile(  # type: ignore[call-overload]  # its stubs want fonts given as the source is, as bytes
        source, format="pdf", font_paths=[*_font_folders()], ignore_system_fonts=True, sys_inputs=inputs
    )
    if not isinstance(made, bytes):  # one PDF, whatever the number of pages
        raise TypeError(f"a PDF came as {type(made).__name__}")
    return made


@cache
def _template(name: str) -> bytes:
    return (files("hardiness.report") / "templates" / f"{name}.typ").read_bytes()


@cache
def _font_folders() -> list[Path]:
    return sorted({path.parent for path in font_files().values()})
