"""A whole trial as one ZIP file: settings, records, uploads and parts, as they stood at one moment.

The records are copied through SQLite's own backup, so that a writer at work does no harm; uploads and parts never
change once a row names them. Accounts stay behind: an archive is for other eyes and other machines.
"""

from __future__ import annotations

import sqlite3
import tempfile
import zipfile
from contextlib import closing
from pathlib import Path

from hardiness.errors import InputError
from hardiness.settings import SETTINGS_FILE
from hardiness.store.database import FILE
from hardiness.store.folder import TrialFolder, files_in, machine_faults


def write_archive(folder: TrialFolder, path: Path) -> list[str]:
    """Write the whole trial as one ZIP file.

    Parameters
    ----------
    folder : TrialFolder
        The trial.
    path : Path
        The ZIP file; one that is there is replaced.

    Returns
    -------
    list of str
        Names of the files in it: unpacked into a folder of its own, it is a trial.

    Raises
    ------
    InputError
        If the records lie in a database server.
    StoreError
        If it cannot be written.
    """
    if folder.settings.store_url is not None:
        raise InputError(
            "The records of this trial lie in a database server, so its folder is no whole copy: take a copy of the "
            "database with the server's own tools, and of the folder."
        )
    names = []
    with (
        machine_faults(path),
        tempfile.TemporaryDirectory() as beside,
        zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive,
    ):
        copy = Path(beside) / FILE
        _copy_records(folder.path / FILE, copy)
        # Records first: files that come while the rest is being packed are named by no row of the copy.
        archive.write(copy, FILE)
        archive.write(folder.path / SETTINGS_FILE, SETTINGS_FILE)
        for file in files_in(folder):
            archive.write(file, file.relative_to(folder.path).as_posix(), zipfile.ZIP_STORED)
        names = archive.namelist()
    return names


def _copy_records(source: Path, target: Path) -> None:
    with closing(sqlite3.connect(source)) as there, closing(sqlite3.connect(target)) as here:
        there.backup(here)
        here.execute("DELETE FROM accounts")
        here.execute("PRAGMA journal_mode=DELETE")
        here.commit()
        here.execute("VACUUM")  # what was deleted is gone from the file too
