"""The trial summary: one page that a grower prints, shows, or reads on a phone.

``prepare_summary`` turns the trial's tables into numbers, ``draw_summary`` puts them on pages, ``save_figure`` writes
those to a file.
"""

from __future__ import annotations

from hardiness.figures.formats import PAGES, format_named
from hardiness.figures.saving import save_figure
from hardiness.figures.sheet import Sheet
from hardiness.figures.style import drawing
from hardiness.figures.summary_data import Summary, prepare_summary
from hardiness.figures.summary_paper import paper_sheets
from hardiness.figures.summary_phone import phone_sheets
from hardiness.figures.summary_slides import slide_sheets

__all__ = ["PAGES", "Summary", "draw_summary", "prepare_summary", "save_figure"]


def draw_summary(summary: Summary, *, page: str = "A4") -> list[Sheet]:
    """Draw the trial summary.

    Parameters
    ----------
    summary : Summary
        From :func:`prepare_summary`.
    page : str, default "A4"
        ``"A4"``, ``"letter"``, ``"slide"`` (16 to 9) or ``"phone"`` (390 px wide, as long as it takes).

    Returns
    -------
    list of Sheet
        Matplotlib figures, one per page.

    Raises
    ------
    InputError
        If ``page`` is none of them.
    """
    chosen = format_named(page)
    with drawing():
        if chosen.narrow:
            return phone_sheets(summary, chosen)
        return slide_sheets(summary, chosen) if chosen.fixed else paper_sheets(summary, chosen)
