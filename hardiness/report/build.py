"""The whole report in a folder: a page for the screen, a PDF, tables, arrays; the same bytes from the same records."""

from __future__ import annotations

from pathlib import Path

from hardiness.flow import Flow
from hardiness.report.assembly import assemble
from hardiness.report.folder import whole_folder
from hardiness.report.gathered import Progress, gather
from hardiness.report.html import html_page
from hardiness.report.netcdf import netcdf_bytes, netcdf_dataset
from hardiness.report.pdf import pdf_report
from hardiness.report.tables import columns_table, csv_table, report_tables
from hardiness.report.workbook import workbook_bytes
from hardiness.settings import Settings

PAGE, PRINT, WORKBOOK, ARRAYS, TABLES = "report.html", "report.pdf", "tables.xlsx", "trial.nc", "tables"


def write_report(
    flow: Flow,
    settings: Settings,
    folder: Path,
    *,
    token: str,
    paper: str = "A4",
    progress: Progress | None = None,
) -> list[Path]:
    """Write the report of a trial into a folder, whole or not at all.

    Parameters
    ----------
    flow : Flow
    settings : Settings
    folder : Path
        New, empty, or an untouched report.
    token : str
        Hash of the records that count, printed in the report.
    paper : str
        ``A4`` or ``letter``.
    progress : callable, optional
        Told how many of :data:`hardiness.report.gathered.PARTS` are done, and what is under way.

    Returns
    -------
    list of Path
        The files written.

    Raises
    ------
    InputError
        If the folder holds anything else.
    """
    with whole_folder(folder) as place:
        gathered = gather(flow, settings, token, progress)
        document = assemble(gathered, paper=paper)
        tables = report_tables(gathered)
        (place / PAGE).write_text(html_page(document), encoding="utf-8", newline="\n")
        (place / PRINT).write_bytes(pdf_report(document, paper=paper))
        (place / WORKBOOK).write_bytes(workbook_bytes(tables, settings))
        (place / ARRAYS).write_bytes(netcdf_bytes(netcdf_dataset(gathered)))
        (place / TABLES).mkdir()
        for table in (columns_table(tables), *tables):
            path = place / TABLES / f"{table.name}.csv"
            path.write_text(csv_table(table, settings), encoding="utf-8", newline="\n")
        written = [path.relative_to(place) for path in sorted(place.rglob("*")) if path.is_file()]
    return [folder / path for path in written]
