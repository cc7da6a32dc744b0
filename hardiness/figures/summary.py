"""The trial summary: one page that a grower prints, or reads on a phone.

``prepare_summary`` turns the trial's tables into numbers, ``draw_summary`` puts them on pages, ``save_figure`` writes
those to a file.
"""

from __future__ import annotations

from hardiness.errors import InputError, Problem, near_name
from hardiness.figures.saving import save_figure
from hardiness.figures.sheet import Sheet
from hardiness.figures.style import drawing
from hardiness.figures.summary_data import Summary, prepare_summary
from hardiness.figures.summary_paper import paper_sheets
from hardiness.figures.summary_phone import phone_sheets

__all__ = ["PAGES", "Summary", "draw_summary", "prepare_summary", "save_figure"]

PAPER_MM = {"A4": (210.0, 297.0), "letter": (215.9, 279.4)}  # [mm]
PAGES = (*PAPER_MM, "phone")


def draw_summary(summary: Summary, *, page: str = "A4") -> list[Sheet]:
    """Draw the trial summary.

    Parameters
    ----------
    summary : Summary
        From :func:`prepare_summary`.
    page : str, default "A4"
        ``"A4"``, ``"letter"`` or ``"phone"`` (390 px wide, as long as it takes).

    Returns
    -------
    list of Sheet
        Matplotlib figures, one per page.

    Raises
    ------
    InputError
        If ``page`` is none of them.
    """
    if page not in PAGES:
        raise InputError(Problem(f"page '{page}'", f"one of {', '.join(PAGES)}", hint=near_name(page, PAGES)))
    with drawing():
        return phone_sheets(summary) if page == "phone" else paper_sheets(summary, *PAPER_MM[page])
