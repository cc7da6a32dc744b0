"""Photos of scored plants: drawn anew, kept under their SHA-256, each bound to the score that it shows.

A photo is taken off a score by withdrawing it; its file stays, as everything does.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import sqlalchemy as sa

from hardiness.errors import InputError, Problem, StoreError
from hardiness.store.database import PHOTOS
from hardiness.store.folder import TrialFolder, machine_faults, sha256_of, write_whole
from hardiness.store.history import note_act, now_text
from hardiness.store.jpeg import to_jpeg
from hardiness.store.records import load_state

TABLE = "photos"
MOST_EACH = 12  # photos of one score


@dataclass(frozen=True, slots=True)
class Photo:
    """A photo of one score.

    Parameters
    ----------
    sha256 : str
        Of its file.
    plant, scored_on, observer : str
        The score; the date in ISO 8601.
    width, height : int
        [pixels]
    at, who : str
        When it came, in UTC, and from whom.
    """

    sha256: str
    plant: str
    scored_on: str
    observer: str
    width: int
    height: int
    at: str
    who: str


class Photos:
    """The photos of one trial.

    Parameters
    ----------
    folder : TrialFolder
        Where it is, and who acts.
    """

    def __init__(self, folder: TrialFolder) -> None:
        self._folder = folder

    def add(self, data: bytes, key: Sequence[str]) -> Photo:
        """Keep a photo of a score; the same one again changes nothing.

        Parameters
        ----------
        data : bytes
            As it came: JPEG, PNG or WebP.
        key : sequence of str
            Plant, date in ISO 8601, and observer of a score that counts.

        Returns
        -------
        Photo

        Raises
        ------
        InputError
            If it is no picture, is too large, or there is no such score.
        StoreError
            If it could not be kept.
        """
        jpeg = to_jpeg(data)
        sha256 = sha256_of(jpeg.data)
        plant, scored_on, observer = key
        with self._folder.database.write() as connection:
            if (plant, scored_on, observer) not in load_state(connection, ("scores",))["scores"]:
                by = f" by {observer}" if observer else ""
                raise InputError(Problem(f"a photo for {plant} on {scored_on}{by}, which has no score",
                                         "one of a score that counts", hint="Score the plant first."))  # fmt: skip
            held = self._select(connection, PHOTOS.c.plant == plant, PHOTOS.c.scored_on == scored_on,
                                PHOTOS.c.observer == observer)  # fmt: skip
            same = next((photo for photo in held if photo.sha256 == sha256), None)
            if same is not None:
                return same
            if len(held) >= MOST_EACH:
                raise InputError(Problem(f"photo {len(held) + 1} of one score", f"up to {MOST_EACH}"))
            path = self._folder.photos / f"{sha256}.jpg"
            if not path.is_file():
                write_whole(path, lambda passing: _write(passing, jpeg.data))
            photo = Photo(sha256, plant, scored_on, observer, jpeg.width, jpeg.height, now_text(), self._folder.who)
            connection.execute(
                sa.insert(PHOTOS).values(
                    at=photo.at, who=photo.who, sha256=sha256, plant=plant, scored_on=scored_on, observer=observer,
                    width=photo.width, height=photo.height, bytes=len(jpeg.data), withdrawn=False,
                )
            )  # fmt: skip
            note_act(connection, who=photo.who, action="add photo", table=TABLE, sha256=sha256, file=_named(key))
        return photo

    def withdraw(self, sha256: str, key: Sequence[str]) -> bool:
        """Take a photo off a score.

        Parameters
        ----------
        sha256 : str
        key : sequence of str
            As in :meth:`add`.

        Returns
        -------
        bool
            False where it was not on it.
        """
        plant, scored_on, observer = key
        with self._folder.database.write() as connection:
            done = connection.execute(
                sa.update(PHOTOS)
                .where(PHOTOS.c.sha256 == sha256, PHOTOS.c.plant == plant, PHOTOS.c.scored_on == scored_on,
                       PHOTOS.c.observer == observer, PHOTOS.c.withdrawn.is_(sa.false()))
                .values(withdrawn=True)
            )  # fmt: skip
            if not done.rowcount:
                return False
            note_act(
                connection, who=self._folder.who, action="withdraw photo", table=TABLE, sha256=sha256, file=_named(key)
            )
        return True

    def of(self, plant: str | None = None) -> list[Photo]:
        """List the photos that count, in the order in which they came.

        Parameters
        ----------
        plant : str, optional
            Only those of this plant.

        Returns
        -------
        list of Photo
        """
        with self._folder.database.read() as connection:
            return self._select(connection, *([PHOTOS.c.plant == plant] if plant is not None else []))

    def read(self, sha256: str) -> bytes | None:
        """Give a photo's JPEG.

        Parameters
        ----------
        sha256 : str

        Returns
        -------
        bytes or None
            None where no photo that counts is called so.

        Raises
        ------
        StoreError
            If its file is gone.
        """
        with self._folder.database.read() as connection:
            known = self._select(connection, PHOTOS.c.sha256 == sha256)
        if not known:
            return None
        path = self._folder.photos / f"{known[0].sha256}.jpg"  # a name from the records, never from whoever asks
        if not path.is_file():
            raise StoreError(f"the photo {sha256[:12]} is gone from {self._folder.photos}. Restore it from a copy.")
        with machine_faults(path):
            return path.read_bytes()

    @staticmethod
    def _select(connection: sa.Connection, *wanted: sa.ColumnElement[bool]) -> list[Photo]:
        query = sa.select(PHOTOS).where(PHOTOS.c.withdrawn.is_(sa.false()), *wanted).order_by(PHOTOS.c.id)
        return [_photo(row) for row in connection.execute(query)]


def _photo(row: Any) -> Photo:
    return Photo(row.sha256, row.plant, row.scored_on, row.observer, int(row.width), int(row.height), row.at, row.who)


def _named(key: Sequence[str]) -> str:
    return ", ".join(part for part in key if part)


def _write(path: Path, data: bytes) -> None:
    path.write_bytes(data)
