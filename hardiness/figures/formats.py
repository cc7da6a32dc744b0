"""The formats of a page: its size, its margins, its type. One list, so that every figure fits the same four.

A slide is laid out as a small page and enlarged, so that its type can be read from the back of a room.
"""

from __future__ import annotations

from dataclasses import dataclass

from hardiness.errors import InputError, Problem, near_name
from hardiness.figures.sheet import Sheet
from hardiness.figures.style import PAPER_SIZES, PHONE_SIZES, Sizes

SLIDE_ZOOM = 1.75  # 6.5 pt of the layout are printed as 11.4 pt


@dataclass(frozen=True, slots=True)
class Format:
    """One format.

    Parameters
    ----------
    name : str
    width, height : float
        As laid out; a phone's page is as high as it takes, up to ``height``. [mm]
    margin : float
        [mm]
    sizes : Sizes
        Of type, as laid out.
    dpi : float
        Dots per printed inch of a PNG.
    fixed : bool
        Whether every page has this very height.
    zoom : float
        How much larger it is printed than laid out.
    """

    name: str
    width: float
    height: float
    margin: float
    sizes: Sizes
    dpi: float
    fixed: bool = False
    zoom: float = 1.0

    @property
    def room(self) -> float:
        """Width between the margins. [mm]."""
        return self.width - 2 * self.margin

    @property
    def narrow(self) -> bool:
        """Whether it is a phone's single column."""
        return self.width < 150.0

    def sheet(self, heading: str, description: str, height: float | None = None) -> Sheet:
        """Open an empty page.

        Parameters
        ----------
        heading, description : str
            Title and alternative text.
        height : float, optional
            The format's own unless told. [mm]

        Returns
        -------
        Sheet
        """
        return Sheet(self.width, height or self.height, dpi=self.dpi, heading=heading, description=description,
                     zoom=self.zoom)  # fmt: skip


FORMATS = {
    "A4": Format("A4", 210.0, 297.0, 9.5, PAPER_SIZES, 200.0),
    "letter": Format("letter", 215.9, 279.4, 9.5, PAPER_SIZES, 200.0),
    "slide": Format("slide", 338.7 / SLIDE_ZOOM, 190.5 / SLIDE_ZOOM, 8.0, PAPER_SIZES, 144.0, True, SLIDE_ZOOM),
    "phone": Format("phone", 390 / 96 * 25.4, 1100.0, 4.2, PHONE_SIZES, 192.0),  # two dots to each of 390 CSS pixels
}
PAGES = tuple(FORMATS)


def format_named(page: str | Format) -> Format:
    """Find a format by its name.

    Parameters
    ----------
    page : str or Format
        ``"A4"``, ``"letter"``, ``"slide"`` (16 to 9) or ``"phone"`` (390 px wide); or a format of the caller's own.

    Returns
    -------
    Format

    Raises
    ------
    InputError
        If there is none of that name.

    Examples
    --------
    >>> round(FORMATS["slide"].width / FORMATS["slide"].height, 3)
    1.778
    """
    if isinstance(page, Format):
        return page
    if page not in FORMATS:
        raise InputError(Problem(f"page '{page}'", f"one of {', '.join(PAGES)}", hint=near_name(page, PAGES)))
    return FORMATS[page]
