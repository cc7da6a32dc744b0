"""A public station's file in an open format -> its temperatures, with what is known of the station.

In: a file as an archive publishes it, also gzipped. Out: :class:`~hardiness.read.station_data.StationData`. The format
is told by the file's beginning; each has a module of its own. Stations over the network: ``read/station_service.py``.
"""

from __future__ import annotations

import gzip
import zlib
from pathlib import Path

from hardiness.errors import InputError, Problem
from hardiness.read.cf_files import is_netcdf, read_cf_file
from hardiness.read.ghcn_daily import is_dly, read_dly
from hardiness.read.ghcn_daily_csv import is_daily_csv, read_daily_csv
from hardiness.read.isd_lite import is_isd_lite, read_isd_lite
from hardiness.read.station_data import StationData
from hardiness.read.station_table import is_station_table, read_station_table

FORMATS = {
    "ghcn-daily": "a .dly file of GHCN-Daily",
    "ghcn-daily-csv": "a comma-separated file of GHCN-Daily",
    "isd-lite": "an hourly file of ISD-Lite",
    "netcdf": "a CF NetCDF file",
    "station-table": "a file that `station fetch` has kept",
}
AUTO = "auto"
MOST_BYTES = 400_000_000  # [byte] of a file, unpacked: several thousand station-years, and it fits into memory
_GZIP = b"\x1f\x8b"


def read_station(
    path: Path, *, file_format: str = AUTO, name: str | None = None, station_id: str | None = None
) -> StationData:
    r"""Read a public station's file.

    Parameters
    ----------
    path : Path
        The file; text formats also gzipped.
    file_format : str, default "auto"
        One of :data:`FORMATS`, or ``"auto"``: told by the file's beginning.
    name : str, optional
        The file's name, for messages; None: the name of ``path``.
    station_id : str, optional
        Which station, where the file holds several.

    Returns
    -------
    StationData

    Raises
    ------
    InputError
        With every fault found: no such file, a format that is not known, whatever the format's own module finds.

    Examples
    --------
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     path = Path(folder) / "723170-13723-2013"
    ...     _ = path.write_text("2013 01 01 06   -22   -61 10208   320    26     2     0 -9999\n")
    ...     data = read_station(path)
    >>> data.file_format, data.facts.station_id, data.values.temperature_c.tolist()
    ('isd-lite', '723170-13723', [-2.2])
    """
    file = name or path.name
    if not path.is_file():
        found = "a folder" if path.is_dir() else "no such file"
        raise InputError(Problem(found, "a station's file", file=str(path)))
    with path.open("rb") as stream:
        head = stream.read(512)
    if is_netcdf(head) if file_format == AUTO else file_format == "netcdf":
        return read_cf_file(path, file=file, station_id=station_id)
    text = _text_of(path, head, file)
    chosen = _format_of(text[:4096], file) if file_format == AUTO else file_format
    if chosen == "ghcn-daily":
        return read_dly(text, file=file, station_id=station_id)
    if chosen == "ghcn-daily-csv":
        return read_daily_csv(text, file=file, station_id=station_id)
    if chosen == "isd-lite":
        return read_isd_lite(text, file=file)
    return read_station_table(text, file=file)


def _format_of(head: str, file: str) -> str:
    for file_format, fits in (
        ("station-table", is_station_table),
        ("ghcn-daily", is_dly),
        ("isd-lite", is_isd_lite),
        ("ghcn-daily-csv", is_daily_csv),
    ):
        if head.strip() and fits(head):
            return file_format
    line = head.strip().splitlines()[0][:60] if head.strip() else ""
    known = "; ".join(f"{name}: {what}" for name, what in FORMATS.items())
    hint = (
        "A table with a column of times and one of temperatures goes in with: hardiness add readings FILE --sensor S."
    )
    raise InputError(
        Problem(f"a file that begins with '{line}'" if line else "an empty file", known, file=file, hint=hint)
    )


def _text_of(path: Path, head: bytes, file: str) -> str:
    too_big = Problem(
        f"more than {MOST_BYTES // 1_000_000} MB",
        "the file of one station, or of a few",
        file=file,
        hint="Cut the station's rows out of it first.",
    )
    if path.stat().st_size > MOST_BYTES:
        raise InputError(too_big)
    data = path.read_bytes()
    if head[:2] == _GZIP:
        try:
            with gzip.open(path) as stream:
                data = stream.read(MOST_BYTES + 1)
        except (OSError, EOFError, zlib.error) as error:
            raise InputError(
                Problem(f"a gzip file that cannot be unpacked ({error})", "a whole one", file=file)
            ) from None
        if len(data) > MOST_BYTES:
            raise InputError(too_big)
    if b"\x00" in data[:4096]:
        raise InputError(Problem("a binary file", "; ".join(FORMATS.values()), file=file))
    return data.decode("utf-8", "replace")
