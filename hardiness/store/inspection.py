"""What lies in the trial folder, held against the records: uploads, orphans, faults."""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import sqlalchemy as sa

from hardiness.errors import StoreError
from hardiness.store.database import INTAKES, PARTS, PHOTOS
from hardiness.store.folder import TrialFolder, files_in, hash_upload, machine_faults
from hardiness.store.history import kept_times
from hardiness.store.part_rows import parts_that_count
from hardiness.store.parts import read_part

UPLOAD_COLUMNS = ("upload", "file", "table", "sensor", "added_at", "who", "rows", "options", "counts")


def read_uploads(connection: sa.Connection) -> pd.DataFrame:
    """Give every file that was taken in, in order.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        In a transaction.

    Returns
    -------
    pandas.DataFrame
        Columns ``upload`` (SHA-256), ``file``, ``table``, ``sensor``, ``added_at`` (UTC), ``who``, ``rows``,
        ``options`` (JSON), ``counts`` (False where it is withdrawn).
    """
    rows = connection.execute(sa.select(INTAKES).where(INTAKES.c.sha256 != "").order_by(INTAKES.c.id)).all()
    frame = pd.DataFrame(
        [
            (row.sha256, row.file, row.table_name, row.sensor, row.at, row.who, row.rows, row.options,
             not row.withdrawn)
            for row in rows
        ],
        columns=list(UPLOAD_COLUMNS),
    )  # fmt: skip
    return frame.assign(
        added_at=kept_times(frame["added_at"]), rows=frame["rows"].astype("int64"), counts=frame["counts"].astype(bool)
    )


def find_orphans(connection: sa.Connection, folder: TrialFolder) -> list[Path]:
    """List files that no row names: left by a program that was stopped.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        In a transaction.
    folder : TrialFolder
        The trial.

    Returns
    -------
    list of Path
    """
    named = {folder.uploads / sha256 for sha256 in connection.scalars(sa.select(INTAKES.c.sha256))}
    named |= {folder.readings / file for file in connection.scalars(sa.select(PARTS.c.file))}
    named |= {folder.photos / f"{sha256}.jpg" for sha256 in connection.scalars(sa.select(PHOTOS.c.sha256))}
    return [path for path in files_in(folder) if path not in named]


def remove_orphans(folder: TrialFolder) -> list[Path]:
    """Delete the orphans while nobody else can add a file.

    Parameters
    ----------
    folder : TrialFolder
        The trial.

    Returns
    -------
    list of Path
        What was deleted.

    Raises
    ------
    StoreError
        If the folder may not be written.
    """
    with folder.database.write() as connection:
        found = find_orphans(connection, folder)
        for path in found:
            with machine_faults(path):
                path.chmod(0o644)
                path.unlink()
    return found


def find_faults(folder: TrialFolder) -> list[str]:
    """Check every file that a row names: uploads and photos against their SHA-256, parts by reading them.

    Parameters
    ----------
    folder : TrialFolder
        The trial.

    Returns
    -------
    list of str
        A sentence for each fault; empty where all is well.
    """
    query = sa.select(INTAKES.c.sha256, INTAKES.c.file).where(INTAKES.c.sha256 != "").order_by(INTAKES.c.id)
    with folder.database.read() as connection:
        uploads = {str(row.sha256): str(row.file) for row in connection.execute(query)}
        parts = parts_that_count(connection, folder)
        photos = list(connection.scalars(sa.select(PHOTOS.c.sha256).distinct().order_by(PHOTOS.c.sha256)))
    found = []
    for sha256, file in uploads.items():
        path = folder.uploads / sha256
        if not path.is_file():
            found.append(f"the upload {sha256[:12]} ('{file}') is gone.")
        elif hash_upload(path) != sha256:
            found.append(f"the upload {sha256[:12]} ('{file}') is not as it came.")
    for sha256 in photos:
        path = folder.photos / f"{sha256}.jpg"
        if not path.is_file():
            found.append(f"the photo {sha256[:12]} is gone.")
        elif hash_upload(path) != sha256:
            found.append(f"the photo {sha256[:12]} is not as it was kept.")
    for part in parts:
        try:
            read_part(part)
        except StoreError as error:
            found.append(str(error))
    return found
