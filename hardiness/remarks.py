"""What a reader must be told of the join: what was left out and why, and what deserves a second look.

In: the timelines, the windows, and the plants they are of. Out: tables with a sentence in every row.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date

import numpy as np
import pandas as pd

from hardiness.schema import LEFT_OUT, SECOND_LOOK, column_names
from hardiness.settings import Settings
from hardiness.timelines import Freezes, IntArray, Scores, TextArray
from hardiness.windows import ALREADY_DEAD, BETTER, DEAD_BEFORE, EARLY, STARTS_OFF, SUPERSEDED, Windows

EXPOSURE_UNKNOWN = "exposure unknown"
NO_HELD_TEMPERATURE = "no held temperature"
NOT_SCORED = "not scored"
REMOVED_UNSCORED = "removed unscored"

OBSERVERS_DIFFER = "observers differ"
PROTECTION_DIFFERS = "protection differs"
CHANGED_OVER_SUMMER = "changed over summer"

WIDE_DIFFERENCE = 2  # [grades] two observers this far apart on one day did not see the same thing

_NAMED = 5  # plants in one sentence

Row = tuple[str, str, str, date | None, str, str]
Remark = tuple[str, date, str, str]


@dataclass(frozen=True, slots=True, eq=False)
class Join:
    """All that the sentences speak of.

    Parameters
    ----------
    names : array of str
        The plants, numbered as in the timelines.
    freezes, scores, windows
        The timelines and their windows.
    coldest, near, standing : array of int
        Of each window; ``near`` is 0 where its exposure is not known.
    settings : Settings
        The trial's.
    """

    names: TextArray
    freezes: Freezes
    scores: Scores
    windows: Windows
    coldest: IntArray
    near: IntArray
    standing: IntArray
    settings: Settings

    def plant(self, number: int) -> str:
        """Name of a plant.

        Parameters
        ----------
        number : int

        Returns
        -------
        str
        """
        return str(self.names[number])

    def scored_on(self, score: int) -> date:
        """Date of a score.

        Parameters
        ----------
        score : int
            Its position.

        Returns
        -------
        date
        """
        return date.fromordinal(int(self.scores.day[score]))

    def span(self, first: int, stop: int) -> str:
        """Freezes of one plant in words, counted and named.

        Parameters
        ----------
        first, stop : int
            Position of the first freeze, and that behind the last.

        Returns
        -------
        str
        """
        names = self.freezes.name
        if stop - first == 1:
            return f"1 freeze ({names[first]})"
        return f"{stop - first} freezes ({names[first]} to {names[stop - 1]})"


def left_out_of(join: Join, plants: pd.DataFrame) -> pd.DataFrame:
    """List the scores, windows and freezes that the join leaves out, each with its reason.

    Parameters
    ----------
    join : Join
        What was joined.
    plants : pandas.DataFrame
        The plants table, in the order of its names.

    Returns
    -------
    pandas.DataFrame
        The columns of what was left out, sorted by plant and date, rows without a date last.
    """
    rows = [*_scores_left_out(join, plants), *_windows_left_out(join), *_freezes_not_scored(join, plants)]
    rows.sort(key=lambda row: (row[1], row[3] or date.max, row[0], row[4], row[2], row[5]))
    table = pd.DataFrame(rows, columns=column_names(LEFT_OUT), dtype=object)
    return table.astype({column.name: "str" for column in LEFT_OUT if column.kind == "text"})


def second_look_at(join: Join) -> pd.DataFrame:
    """List the scores that a grower should look at once more.

    Parameters
    ----------
    join : Join
        What was joined.

    Returns
    -------
    pandas.DataFrame
        Columns plant, scored_on, reason, detail; sorted by plant and date.
    """
    rows = sorted([*_observers_apart(join), *_changed_over_summer(join)])
    table = pd.DataFrame(rows, columns=column_names(SECOND_LOOK), dtype=object)
    return table.astype({column.name: "str" for column in SECOND_LOOK if column.kind == "text"})


def sentences_on(join: Join, protected: TextArray) -> list[str]:
    """Say which plants lived after all, how many scores answer for no freeze, and what protection was carried over.

    Parameters
    ----------
    join : Join
        What was joined.
    protected : array of str
        What stood between each window's plant and the air, empty where it stood open.

    Returns
    -------
    list of str
    """
    scores, windows = join.scores, join.windows
    said = []
    is_dead = (scores.grade == join.settings.worst) & (windows.fate == SUPERSEDED)
    counts = windows.decided_by
    lived = np.flatnonzero(is_dead & (scores.grade[counts] < join.settings.worst))
    last = {int(counts[score]): int(score) for score in lived}  # the latest death of each group is the one that stays
    for later, death in last.items():
        said.append(
            f"{join.plant(scores.plant[later])} was scored dead on {join.scored_on(death)}, "
            f"grade {scores.grade[later]} on {join.scored_on(later)}: it lives"
        )
    if start := int(np.sum(windows.fate == STARTS_OFF)):
        answer = "1 score answers" if start == 1 else f"{start} scores answer"
        said.append(f"{answer} for no freeze: given before the plant had met one, as the state it started from.")
    silent = np.flatnonzero((protected != "") & (scores.protected[windows.score] == "") & (join.near > 0))
    if len(silent):
        plants = list(dict.fromkeys(join.plant(number) for number in windows.plant[silent]))
        named = ", ".join(plants[:_NAMED]) + (f" and {len(plants) - _NAMED} more" if len(plants) > _NAMED else "")
        answer = "1 score leaves" if len(silent) == 1 else f"{len(silent)} scores leave"
        said.append(
            f"{answer} protected empty where another score for the same freeze names a protection ({named}): taken as "
            "protected. The word no says that the plant stood open."
        )
    return said


def _scores_left_out(join: Join, plants: pd.DataFrame) -> Iterator[Row]:
    """Give a row for every score that closes no window."""
    scores, windows = join.scores, join.windows
    is_undated = plants["planted_on"].isna().to_numpy()
    for score in np.flatnonzero(np.isin(windows.fate, [SUPERSEDED, EARLY, ALREADY_DEAD, BETTER, DEAD_BEFORE])).tolist():
        fate = str(windows.fate[score])
        plant, day = join.plant(scores.plant[score]), join.scored_on(score)
        observer = f" by {scores.observer[score]}" if scores.observer[score] else ""
        what = f"grade {scores.grade[score]} on {day}{observer}"
        by = int(windows.decided_by[score])
        freeze = ""
        if fate == SUPERSEDED and scores.day[by] == scores.day[score]:
            detail = f"{what}: of several observers that day the worst counts, grade {scores.grade[by]}"
        elif fate == SUPERSEDED:
            detail = f"{what}: no freeze came between it and the score of {join.scored_on(by)}, which counts"
        elif fate == EARLY:
            latest = join.freezes.offset[scores.plant[score]] + scores.before[score] - 1
            freeze = str(join.freezes.name[latest])
            days = (scores.noon[score] - join.freezes.ends[latest]) / np.timedelta64(1, "D")
            detail = (
                f"{what}, {days:.1f} days after the freeze {freeze}, when another was still to come: "
                "too early to close a window, the next score answers for both"
            )
        elif fate == ALREADY_DEAD:
            detail = f"{what}: {plant}, scored dead on {join.scored_on(by)}, has met a freeze since; this adds nothing"
        elif fate == BETTER:
            detail = (
                f"{what}, but {plant} was scored dead on {join.scored_on(by)} and has met a freeze since; "
                f"if it lives, withdraw the score of {join.scored_on(by)} (hardiness withdraw scores FILE)"
            )
        else:
            detail = f"{what}, before {plant} had met a freeze here: no death by cold"
            if is_undated[scores.plant[score]]:
                detail += ". Without planted_on it meets freezes from its first score on only"
        yield "score", plant, freeze, day, fate, detail


def _windows_left_out(join: Join) -> Iterator[Row]:
    """Give a row for every scored window whose exposure is not known."""
    freezes, windows = join.freezes, join.windows
    for window in np.flatnonzero(join.near == 0).tolist():
        first, stop = windows.span(window)
        score = windows.score[window]
        answers = f"the score of {join.scored_on(score)} (grade {join.scores.grade[score]}) answers for"
        unknown = first + np.flatnonzero(~freezes.known[first:stop])
        if len(unknown):
            reason, name = EXPOSURE_UNKNOWN, str(freezes.name[unknown[0]])
            detail = f"no sensor of this plant has a reading in the event {name}; {answers} {join.span(first, stop)}"
        else:
            missing = first + np.flatnonzero(np.isnan(freezes.temperature_c[first:stop]))
            reason, name = NO_HELD_TEMPERATURE, str(freezes.name[missing[0]])
            detail = (
                f"readings of the freeze {name} cover less than {join.settings.model_held_h:g} h of it, so that it may "
                f"have been the coldest; {answers} {join.span(first, stop)}"
            )
        yield "window", join.plant(windows.plant[window]), name, join.scored_on(score), reason, detail


def _freezes_not_scored(join: Join, plants: pd.DataFrame) -> Iterator[Row]:
    """Give a row for every plant with freezes that no score answers for."""
    windows = join.windows
    removed_on, lost_to = (plants[name].to_numpy(dtype=object) for name in ("removed_on", "lost_to"))
    was_removed = plants["removed_on"].notna().to_numpy()
    for number, first, stop in zip(windows.open_plant, windows.open_first, windows.open_stop, strict=True):
        name = str(join.freezes.name[first]) if stop - first == 1 else ""
        if was_removed[number]:
            reason, detail = REMOVED_UNSCORED, f"taken out on {removed_on[number]} with no score for "
        else:
            reason, detail = NOT_SCORED, "no score answers for "
        detail += join.span(first, stop)
        if was_removed[number] and lost_to[number] == "cold":
            detail += "; it is down as lost to cold: a score of the last grade would make it count"
        yield "window", join.plant(number), name, None, reason, detail


def _observers_apart(join: Join) -> Iterator[Remark]:
    """Give a remark where several observers differ on a day that counts."""
    scores, windows = join.scores, join.windows
    last = windows.group_stop - 1
    several = np.flatnonzero(scores.first_of_day[last] < last)
    for first, stop in zip(scores.first_of_day[last[several]], windows.group_stop[several], strict=True):
        if windows.fate[first] in (ALREADY_DEAD, BETTER):
            continue
        plant, day = join.plant(scores.plant[first]), join.scored_on(first)
        grades = scores.grade[first:stop]  # the worst stands first
        if grades[0] - grades[-1] >= WIDE_DIFFERENCE:
            detail = f"grades {grades[-1]} and {grades[0]} on {day}: the worst counts"
            yield plant, day, OBSERVERS_DIFFER, detail
        given = {text for text in scores.protected[first:stop] if text}
        if "no" in given and len(given) > 1:
            named = ", ".join(sorted(given - {"no"}))
            yield plant, day, PROTECTION_DIFFERS, f"protected: {named} and no on {day}: taken as protected"


def _changed_over_summer(join: Join) -> Iterator[Remark]:
    """Give a remark where a window's last score, of a later winter, says something else than the winter's own."""
    scores, windows = join.scores, join.windows
    start = windows.group_start[windows.group_of_score[windows.score]]
    for window in np.flatnonzero(scores.winter[start] < scores.winter[windows.score]).tolist():
        score = int(windows.score[window])
        earlier = np.arange(start[window], score)
        differs = (scores.winter[earlier] < scores.winter[score]) & (scores.grade[earlier] != scores.grade[score])
        if differs.any():
            other, day = int(earlier[differs][-1]), join.scored_on(score)
            detail = (
                f"grade {scores.grade[score]} on {day} counts for the {join.span(*windows.span(window))} "
                f"of the winter before, but grade {scores.grade[other]} was seen on {join.scored_on(other)}"
            )
            yield join.plant(scores.plant[score]), day, CHANGED_OVER_SUMMER, detail
