"""The whole report as sections, in the order in which it is read."""

from __future__ import annotations

from hardiness.report.blocks import Document
from hardiness.report.doubts import checks_section, left_out_section
from hardiness.report.floor_tables import floors_section
from hardiness.report.gathered import Gathered
from hardiness.report.method_pages import methods_section, provenance_section
from hardiness.report.opening import finding_of, opening_section
from hardiness.report.pictures import calibration_picture, curve_picture, summary_picture
from hardiness.report.printable import numbered_names
from hardiness.report.selections import selections_section
from hardiness.report.weather_pages import freezes_section


def assemble(gathered: Gathered, *, paper: str = "A4") -> Document:
    """Put a report together.

    Parameters
    ----------
    gathered : Gathered
    paper : str
        ``A4`` or ``letter``: of the chart that takes a page.

    Returns
    -------
    Document
    """
    dated = gathered.dated
    return Document(
        title=finding_of(gathered),
        trial=gathered.settings.name,
        dated=f"Records up to {dated.isoformat()}" if dated else "No records yet",
        sections=(
            opening_section(gathered, summary_picture(gathered, paper)),
            floors_section(gathered),
            selections_section(gathered, lambda name: curve_picture(gathered, name, paper)),
            freezes_section(gathered),
            methods_section(gathered),
            left_out_section(gathered),
            checks_section(gathered, calibration_picture(gathered, paper)),
            provenance_section(gathered),
        ),
        names=numbered_names(gathered.flow.records),
    )
