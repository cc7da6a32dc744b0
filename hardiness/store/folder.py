"""The trial folder on the disk: uploads as they came, parts of readings, and files that are whole or not there.

A file is written under a passing name, brought to the disk (fsync), renamed to its own name, and the folder brought to
the disk too. Only then may a row of the records name it. So a file without a row is an orphan, left by a program that
was stopped in between; a row without its file is a fault.
"""

from __future__ import annotations

import errno
import hashlib
import os
import uuid
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from hardiness.errors import StoreError
from hardiness.settings import Settings
from hardiness.store.database import Database

UPLOADS = "uploads"
READINGS = "readings"
PHOTOS = "photos"
_PASSING = ".unfinished"  # ending of a file that is being written
_READ_ONLY = 0o444
_PIECE = 1 << 20  # [bytes] copied at a time


@dataclass(frozen=True, slots=True)
class TrialFolder:
    """What every act on the store needs to know.

    Parameters
    ----------
    path : Path
        The trial folder.
    settings : Settings
        Its trial.toml.
    who : str
        Who acts, for the history.
    database : Database
        The records.
    """

    path: Path
    settings: Settings
    who: str
    database: Database

    @property
    def uploads(self) -> Path:
        """Where the files lie as they came."""
        return self.path / UPLOADS

    @property
    def readings(self) -> Path:
        """Where the parts lie."""
        return self.path / READINGS

    @property
    def photos(self) -> Path:
        """Where the photos of scores lie."""
        return self.path / PHOTOS


def sha256_of(data: bytes) -> str:
    """Give the SHA-256 of some bytes, in hexadecimal.

    Parameters
    ----------
    data : bytes
        The bytes.

    Returns
    -------
    str

    Examples
    --------
    >>> sha256_of(b"")[:12]
    'e3b0c44298fc'
    """
    return hashlib.sha256(data).hexdigest()


def read_upload(upload: Path | bytes) -> bytes:
    """Give the bytes of an upload.

    Parameters
    ----------
    upload : Path or bytes
        A file, or its bytes.

    Returns
    -------
    bytes

    Raises
    ------
    StoreError
        If the file cannot be read (any more).
    """
    if isinstance(upload, bytes):
        return upload
    with machine_faults(upload):
        return upload.read_bytes()


def hash_upload(upload: Path | bytes) -> str:
    """Give the SHA-256 of an upload, read piece by piece: it may be larger than the memory.

    Parameters
    ----------
    upload : Path or bytes
        A file, or its bytes.

    Returns
    -------
    str

    Raises
    ------
    StoreError
        If the file cannot be read (any more).
    """
    if isinstance(upload, bytes):
        return sha256_of(upload)
    with machine_faults(upload), upload.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


def keep_upload(folder: TrialFolder, upload: Path | bytes, sha256: str | None = None) -> Path:
    """Keep a file as it came, named by its SHA-256; one that is there and whole is left alone.

    Parameters
    ----------
    folder : TrialFolder
        The trial.
    upload : Path or bytes
        The file, or its bytes.
    sha256 : str, optional
        Its SHA-256, where it is known already.

    Returns
    -------
    Path

    Raises
    ------
    StoreError
        If it cannot be written, or is being changed meanwhile.
    """
    path = folder.uploads / (sha256 or hash_upload(upload))
    if not (path.is_file() and hash_upload(path) == path.name):
        write_whole(path, lambda passing: _refuse_changed(_write_bytes(passing, upload), path.name))
    return path


def _write_bytes(path: Path, upload: Path | bytes) -> str:
    """Copy an upload piece by piece; give the SHA-256 of what was copied."""
    digest = hashlib.sha256()
    with path.open("wb") as out:
        if isinstance(upload, bytes):
            out.write(upload)
            digest.update(upload)
        else:
            with upload.open("rb") as stream:
                while data := stream.read(_PIECE):
                    out.write(data)
                    digest.update(data)
    return digest.hexdigest()


def _refuse_changed(copied: str, sha256: str) -> None:
    if copied != sha256:
        raise StoreError("the file was changed while it was being taken in. Nothing was stored; try again.")


def write_whole(path: Path, write: Callable[[Path], None]) -> None:
    """Write a file so that under its name there is the whole of it or nothing, also after a power cut.

    Parameters
    ----------
    path : Path
        The file; its folder is made where it is missing.
    write : callable
        Writes the content to the path it is given, and closes it.

    Raises
    ------
    StoreError
        If the disk is full or may not be written.
    """
    passing = path.with_name(f"{uuid.uuid4().hex}{_PASSING}")
    with machine_faults(path):
        if not path.parent.is_dir():
            path.parent.mkdir()
            _sync_folder(path.parent.parent)
        try:
            write(passing)
            _sync_file(passing)
            passing.chmod(_READ_ONLY)
            _rename(passing, path)
        finally:
            passing.unlink(missing_ok=True)
        _sync_folder(path.parent)


def _sync_file(path: Path) -> None:
    handle = os.open(path, os.O_RDWR)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _rename(passing: Path, path: Path) -> None:
    if path.exists():
        path.chmod(0o644)  # some systems refuse to rename onto a read-only file
    passing.replace(path)


def _sync_folder(path: Path) -> None:
    if os.name == "nt":
        return  # there a folder cannot be opened, and renames are journalled by the file system
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


@contextmanager
def machine_faults(path: Path) -> Iterator[None]:
    """Turn the faults of the machine around a file into :class:`StoreError`.

    Parameters
    ----------
    path : Path
        The file they are about.

    Yields
    ------
    None

    Raises
    ------
    StoreError
        For a full disk, a folder that may not be written, a file that is gone.
    """
    try:
        yield
    except OSError as error:
        if error.errno in (errno.ENOSPC, errno.EDQUOT):
            sentence = f"the disk is full: {path.name} could not be written. Free some space and try again."
        elif error.errno in (errno.EACCES, errno.EPERM, errno.EROFS):
            sentence = f"{path} may not be written or read. Nothing was stored."
        else:
            sentence = f"{path}: {error.strerror or error}. Nothing was stored."
        raise StoreError(sentence) from error


def files_in(folder: TrialFolder) -> list[Path]:
    """List all files in ``uploads/``, ``readings/`` and ``photos/``, finished or not.

    Parameters
    ----------
    folder : TrialFolder
        The trial.

    Returns
    -------
    list of Path
    """
    places = [place for place in (folder.uploads, folder.readings, folder.photos) if place.is_dir()]
    return sorted(path for place in places for path in place.iterdir() if path.is_file())
