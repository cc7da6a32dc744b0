"""A folder that is written whole or not at all, and replaced only where it is a report and nothing else.

The new one is made beside it and renamed. A report knows its files by a manifest, so that a folder with anything else
in it, or with a file that somebody has changed, is never written over.
"""

from __future__ import annotations

import hashlib
import json
import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from hardiness.errors import InputError, Problem

MANIFEST = "manifest.json"
KIND = "hardiness report"
MOST_NAMED = 5


def check_folder(folder: Path) -> None:
    """Check that a report may be written to a folder, before it is made.

    Parameters
    ----------
    folder : Path

    Raises
    ------
    InputError
        If it is a file, its parent does not exist, or it holds anything but an untouched report.
    """
    accepted = "a new or empty folder, or a report that nobody has changed"
    if folder.is_symlink() or (folder.exists() and not folder.is_dir()):
        raise InputError(Problem("a file or a link", accepted, file=str(folder)))
    if not folder.absolute().parent.is_dir():
        raise InputError(Problem(f"no folder '{folder.absolute().parent}'", "a folder that exists", file=str(folder)))
    if not folder.is_dir():
        return
    held = sorted(path for path in folder.rglob("*") if not path.is_dir())
    if not held:
        return
    known = _known(folder)
    if known is None:
        some = ", ".join(path.relative_to(folder).as_posix() for path in held[:MOST_NAMED])
        more = ", ..." if len(held) > MOST_NAMED else ""
        raise InputError(Problem(f"a folder with {len(held)} files that are no report ({some}{more})", accepted,
                                 file=str(folder), hint="Name another folder."))  # fmt: skip
    own = {path.relative_to(folder).as_posix(): path for path in held if path != folder / MANIFEST}
    other = sorted(set(own) - set(known))
    changed = sorted(name for name in set(own) & set(known) if _digest(own[name]) != known[name])
    problems = [
        Problem(f"'{name}', which the report did not write", accepted, file=str(folder),
                hint="Move it away, or name another folder.")
        for name in other[:MOST_NAMED]
    ] + [
        Problem(f"'{name}', changed since the report was written", accepted, file=str(folder),
                hint="Move it away, or name another folder.")
        for name in changed[:MOST_NAMED]
    ]  # fmt: skip
    if problems:
        raise InputError(problems)


@contextmanager
def whole_folder(folder: Path) -> Iterator[Path]:
    """Give a folder to write into; it takes the place of ``folder`` once all is written.

    Parameters
    ----------
    folder : Path
        Checked by :func:`check_folder` again when it is replaced.

    Yields
    ------
    Path
        An empty folder beside it.

    Raises
    ------
    InputError
        As :func:`check_folder`.
    """
    check_folder(folder)
    folder = folder.absolute()
    beside = folder.with_name(f".{folder.name}.{os.getpid()}")
    old = folder.with_name(f".{folder.name}.{os.getpid()}.old")
    beside.mkdir()
    try:
        yield beside
        _write_manifest(beside)
        check_folder(folder)  # it may have been written to meanwhile
        if folder.is_dir():
            folder.rename(old)
        try:
            beside.rename(folder)
        except OSError:
            if old.is_dir():
                old.rename(folder)
            raise
    finally:
        for left in (beside, old):
            if left.is_dir():
                shutil.rmtree(left)


def _write_manifest(folder: Path) -> None:
    files = {path.relative_to(folder).as_posix(): _digest(path) for path in sorted(folder.rglob("*")) if path.is_file()}
    text = json.dumps({"kind": KIND, "sha256": files}, indent=1, sort_keys=True, ensure_ascii=False)
    (folder / MANIFEST).write_text(f"{text}\n", encoding="utf-8", newline="\n")


def _known(folder: Path) -> dict[str, str] | None:
    """The files of a report with their digests; None where the folder is no report."""
    try:
        told = json.loads((folder / MANIFEST).read_text(encoding="utf-8"))
    except (FileNotFoundError, IsADirectoryError, UnicodeDecodeError, json.JSONDecodeError):
        return None
    if not isinstance(told, dict) or told.get("kind") != KIND or not isinstance(told.get("sha256"), dict):
        return None
    return {str(name): str(digest) for name, digest in told["sha256"].items()}


def _digest(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()
