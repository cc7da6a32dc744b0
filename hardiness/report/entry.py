"""Scores typed in from paper, a key a plant, in the order of the walk; each key is in a file before the next is asked.

In: the walk and keys. Out: a scores table on disk, to be added like any other. Nothing here reads a keyboard.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
import os
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from hardiness import words
from hardiness.errors import InputError, Problem
from hardiness.read.records import parse_records
from hardiness.read.tables import read_table
from hardiness.report.walk import Stop
from hardiness.report.wording import stock_name
from hardiness.schema import SCORES
from hardiness.settings import Settings

SKIP, UNDO, NOTE, COVERED, FINISH, STOP = "-", "u", "n", "c", "f", "q"
COVERS = {
    "c": "cover", "b": "bank", "k": "sprinkler", "h": "heater", "i": "indoors", "s": "snow", "o": "other", "-": "no",
}  # fmt: skip
MOST_GRADES = 10  # one key each


@dataclass(frozen=True, slots=True)
class Score:
    """One score typed in."""

    plant: str
    grade: int
    protected: str = ""
    notes: str = ""


@dataclass(frozen=True, slots=True)
class Begun:
    """What a file begun earlier holds.

    Parameters
    ----------
    day : date
        Of all its scores.
    observer : str
    scores : tuple of Score
        In the order in which they were typed.
    """

    day: dt.date
    observer: str
    scores: tuple[Score, ...]


def read_begun(path: Path, settings: Settings) -> Begun | None:
    """Read a file that an earlier run has begun.

    Parameters
    ----------
    path : Path
    settings : Settings

    Returns
    -------
    Begun or None
        None where there is no such file, or no row in it yet.

    Raises
    ------
    InputError
        If it is no table of scores, or holds scores of several days or observers.
    """
    if not path.exists():
        return None
    frame = parse_records(read_table(path, SCORES), SCORES, settings).frame
    if frame.empty:
        return None
    days, observers = set(frame["scored_on"]), set(frame.get("observer", [""]))
    if len(days) > 1 or len(observers) > 1:
        raise InputError(Problem("scores of several days or observers", "a new file, or one that this verb has begun",
                                 file=path.name, hint="hardiness add scores takes such a file as it is."))  # fmt: skip
    texts = [frame[name] if name in frame else [""] * len(frame) for name in ("protected", "notes")]
    rows = zip(frame["plant"], frame["grade"], *texts, strict=True)
    return Begun(days.pop(), observers.pop(), tuple(Score(p, int(g), c, n) for p, g, c, n in rows))


class Entry:
    """A walk through the plants, a key at a time.

    Parameters
    ----------
    stops : sequence of Stop
    path : Path
        Where the scores go; written anew at every key that changes them.
    settings : Settings
        Its scale.
    day : date
        Of all scores.
    observer : str
    scores : sequence of Score
        Typed in earlier; the walk goes on behind the last of them.

    Raises
    ------
    InputError
        If the scale has more grades than there are keys.
    """

    def __init__(
        self,
        stops: Sequence[Stop],
        path: Path,
        settings: Settings,
        *,
        day: dt.date,
        observer: str = "",
        scores: Sequence[Score] = (),
    ) -> None:
        if len(settings.grades) > MOST_GRADES:
            raise InputError(f"The scale has {len(settings.grades)} grades, and a key each reaches to {MOST_GRADES}: "
                             "type the scores into a table, and hardiness add scores FILE.")  # fmt: skip
        self.stops, self.path, self.settings = tuple(stops), path, settings
        self.day, self.observer = day, observer
        self.scores = list(scores)
        typed = {score.plant for score in scores}
        self.place = max((number + 1 for number, stop in enumerate(self.stops) if stop.plant in typed), default=0)
        self._pending = Score("", 0)
        self._back: list[tuple[int, bool]] = []  # where each key was pressed, and whether it added a score

    @property
    def stop(self) -> Stop | None:
        """The plant asked about; None when all have been."""
        return self.stops[self.place] if self.place < len(self.stops) else None

    @property
    def question(self) -> str:
        """The plant asked about, in one line."""
        stop = self.stop
        if stop is None:
            return f"All seen, {words.count(len(self.scores), 'score')}. f adds them, u goes back, q leaves the file: "
        where = ", ".join(
            f"{name} {value}" for name, value in (("block", stop.block), ("row", stop.row), ("place", stop.place))
            if value
        )  # fmt: skip
        last = "no score yet" if stop.last_grade is None else f"last {stop.last_grade} on {stop.last_on}"
        said = f"{stop.plant}  {stop.selection} on {stock_name(stop.rootstock)}"
        return f"{'  '.join(part for part in (said, where, last) if part)}: "

    @property
    def keys(self) -> str:
        """What each key does."""
        return (
            f"0-{self.settings.worst} the grade, {SKIP} skip, {UNDO} undo, {NOTE} note, {COVERED} covered, "
            f"{FINISH} finish and add, {STOP} stop and go on later"
        )

    def press(self, key: str) -> str:
        """Take a key that grades, skips or undoes.

        Parameters
        ----------
        key : str

        Returns
        -------
        str
            What came of it, in words.
        """
        if key == UNDO:
            return self._undo()
        stop = self.stop
        if stop is None or (key != SKIP and not self._is_grade(key)):
            return f"no such key. {self.keys}"
        if key == SKIP:
            lost = " (its note is dropped)" if self._pending.notes or self._pending.protected else ""
            self._back.append((self.place, False))
            said = f"skipped{lost}"
        else:
            grade = int(key)
            self.scores.append(replace(self._pending, plant=stop.plant, grade=grade))
            self._back.append((self.place, True))
            self._write()
            said = f"{grade} {self.settings.grades[grade]}"
        self._pending = Score("", 0)
        self.place += 1
        return said

    def note(self, text: str) -> str:
        """Keep a note until the plant's grade comes.

        Parameters
        ----------
        text : str

        Returns
        -------
        str
            What came of it, in words.
        """
        self._pending = replace(self._pending, notes=" ".join(text.split()))
        return "noted; now the grade" if self._pending.notes else "nothing noted; now the grade"

    def cover(self, key: str) -> str:
        """Keep what covered the plant until its grade comes.

        Parameters
        ----------
        key : str
            A key of :data:`COVERS`.

        Returns
        -------
        str
            What came of it, in words.
        """
        if key not in COVERS:
            return f"no such cover. {', '.join(f'{key} {name}' for key, name in COVERS.items())}"
        self._pending = replace(self._pending, protected=COVERS[key])
        return f"covered: {COVERS[key]}; now the grade"

    def _is_grade(self, key: str) -> bool:
        return key in {str(grade) for grade in range(len(self.settings.grades))}

    def _undo(self) -> str:
        self._pending = Score("", 0)
        if self._back:
            self.place, added = self._back.pop()
        elif self.scores:  # typed in an earlier run
            places = {stop.plant: number for number, stop in enumerate(self.stops)}
            self.place, added = places.get(self.scores[-1].plant, self.place), True
        else:
            return "nothing to undo"
        if not added:
            return "back to the one skipped"
        taken = self.scores.pop()
        self._pending = replace(taken, plant="", grade=0)  # a slip of the grade does not cost what was said of it
        self._write()
        kept = words.listed([name for name, has in (("note", taken.notes), ("cover", taken.protected)) if has])
        return f"taken back: {taken.plant} {taken.grade}{f'; its {kept} kept, now the grade' if kept else ''}"

    def _write(self) -> None:
        """Write the file whole, and have the disk keep it, before anything else is asked."""
        text = io.StringIO()
        out = csv.writer(text, lineterminator="\n")
        out.writerow(["plant", "scored_on", "grade", "protected", "observer", "notes"])
        for score in self.scores:
            out.writerow([score.plant, self.day.isoformat(), score.grade, score.protected, self.observer, score.notes])
        beside = self.path.with_name(f".{self.path.name}.{os.getpid()}")
        try:
            with beside.open("w", encoding="utf-8", newline="") as file:
                file.write(text.getvalue())
                file.flush()
                os.fsync(file.fileno())
            beside.replace(self.path)
        finally:
            beside.unlink(missing_ok=True)
