"""A score given in the rows, brought to the records: once, however often it is sent, and never over another's unseen.

In: a tap, with a number of its own and with what the one who tapped had seen. Out: what came of it. A tap is an intake
of one row, kept under its number: sent again it is the same file, which changes nothing. It changes a score only
while that score stands as it was seen; otherwise both values go back, and the person chooses.
"""

from __future__ import annotations

import threading
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field

from hardiness.errors import InputError, Problem
from hardiness.read.records import Records
from hardiness.schema import SCORES
from hardiness.store.folder import sha256_of
from hardiness.store.records import Key, State
from hardiness.store.typed import typed_upload
from hardiness.trial import Trial
from hardiness.web.wording import for_page

TABLE = SCORES.name
Values = dict[str, Any]
# One tap at a time in this program: what is looked at before an undo still stands when it is done.
_ONE_AT_A_TIME = threading.Lock()


class Seen(BaseModel):
    """A score as it stood on the screen.

    Parameters
    ----------
    grade : int
    protected, notes : str
    """

    model_config = ConfigDict(extra="forbid")
    grade: Annotated[int, Field(ge=0, le=999)]
    protected: Annotated[str, Field(max_length=20)] = ""
    notes: Annotated[str, Field(max_length=10_000)] = ""

    def values(self) -> Values:
        """Give the score as the records hold one.

        Returns
        -------
        dict
            ``grade``, ``protected`` and ``notes``.
        """
        return {"grade": self.grade, "protected": self.protected, "notes": self.notes}


class Tap(Seen):
    """One score as it was tapped in.

    Parameters
    ----------
    id : str
        Its own number, made where it was tapped.
    trial : str
        The trial it was tapped for.
    plant, scored_on, observer : str
        The score's key.
    seen : Seen or None
        What stood there before, as far as the one who tapped knew.
    """

    id: Annotated[str, Field(pattern=r"^[0-9a-f-]{32,36}$")]
    trial: Annotated[str, Field(max_length=64)]
    plant: Annotated[str, Field(min_length=1, max_length=200)]
    scored_on: Annotated[str, Field(min_length=8, max_length=10)]
    observer: Annotated[str, Field(max_length=200)] = ""
    seen: Seen | None = None

    def row(self) -> dict[str, str]:
        """Give the score as a row of the table of scores.

        Returns
        -------
        dict of str to str
        """
        return {
            "plant": self.plant,
            "scored_on": self.scored_on,
            "grade": str(self.grade),
            "protected": self.protected,
            "observer": self.observer,
            "notes": self.notes,
        }


class Outcome(BaseModel):
    """What came of a tap.

    Parameters
    ----------
    state : str
        ``stored``, ``undone``, ``conflict`` or ``refused``.
    score : dict or None
        What the tap wrote, as the records hold it.
    now : dict or None
        What stands under its key now; None where no score does.
    sentences : list of str
        What to tell the person.
    """

    state: Literal["stored", "undone", "conflict", "refused"]
    score: Values | None = None
    now: Values | None = None
    sentences: list[str] = []


class _Elsewise(Exception):  # noqa: N818 - no error: it ends a transaction with an answer
    """The records answer the tap without being changed."""

    def __init__(self, outcome: Outcome) -> None:
        super().__init__(outcome.state)
        self.outcome = outcome


def held_values(content: Values | None) -> Values | None:
    """Take the values of a score out of its record.

    Parameters
    ----------
    content : dict or None
        As the records hold it.

    Returns
    -------
    dict or None
        ``grade``, ``protected`` and ``notes``.

    Examples
    --------
    >>> held_values({"plant": "T01", "grade": 3, "protected": None})
    {'grade': 3, 'protected': '', 'notes': ''}
    """
    if content is None:
        return None
    return {
        "grade": int(content["grade"]),
        "protected": content.get("protected") or "",
        "notes": content.get("notes") or "",
    }


def put_score(trial: Trial, tap: Tap) -> Outcome:
    """Store a score, unless it is stored already or another stands where nothing was seen.

    Parameters
    ----------
    trial : Trial
        With the person acting.
    tap : Tap

    Returns
    -------
    Outcome
    """
    written: list[Values] = []

    def look(records: Records, state: State) -> None:
        score, now = _written(records), held_values(state[TABLE].get(_key(records)))
        written.append(score)
        if now == score:
            raise _Elsewise(Outcome(state="stored", score=score, now=now))
        seen = None if tap.seen is None else tap.seen.values()
        if now != seen:
            raise _Elsewise(Outcome(state="conflict", score=score, now=now, sentences=[_conflict(trial, tap, now)]))

    try:
        _refuse_other_trial(trial, tap)
        with _ONE_AT_A_TIME:
            intake = trial.add_rows(TABLE, [tap.row()], mark=tap.id, before=look)
    except _Elsewise as answer:
        return answer.outcome
    except InputError as error:
        return _refused(error)
    score = written[0] if written else tap.values()
    now = score if written else _stands(trial, tap)
    return Outcome(state="stored", score=score, now=now, sentences=[] if intake.repeated else intake.said)


def undo_score(trial: Trial, tap: Tap) -> Outcome:
    """Take a tap back: what stood before it stands again. A second time changes nothing.

    Parameters
    ----------
    trial : Trial
        With the person acting.
    tap : Tap
        As it was sent.

    Returns
    -------
    Outcome
        ``refused`` where the tap changed nothing, so that there is nothing to take back, or where another person's
        score rests on it; ``conflict`` where the score has been changed since: it is left as it stands.
    """
    sha256 = sha256_of(typed_upload(TABLE, [tap.row()], tap.id))
    try:
        _refuse_other_trial(trial, tap)
        with _ONE_AT_A_TIME:
            uploads = trial.store.uploads()
            own = uploads[(uploads["upload"] == sha256) & (uploads["table"] == TABLE)]
            now = _stands(trial, tap)
            if own.empty:
                told = "That score stood so before you tapped it, so nothing was taken back."
                return Outcome(state="refused", now=now, sentences=[told])
            if own["who"].iloc[0] != trial.store.who:
                told = f"{own['who'].iloc[0]} gave that score: only they take it back here."
                return Outcome(state="refused", now=now, sentences=[told])
            if bool(own["counts"].iloc[0]):
                if now is not None and now["grade"] != tap.grade:
                    told = f"It has been changed since and is left as it stands: {_grade_text(trial, now)}."
                    return Outcome(state="conflict", now=now, sentences=[told])
                trial.withdraw_upload(sha256)
    except InputError as error:
        return _refused(error)
    return Outcome(state="undone", now=_stands(trial, tap))


def _refuse_other_trial(trial: Trial, tap: Tap) -> None:
    if tap.trial != trial.store.identity:
        raise InputError(
            Problem("a score for another trial", f"one for {trial.settings.name}",
                    hint="Open that trial with hardiness serve at this address; the score is sent then.")
        )  # fmt: skip


def _refused(error: InputError) -> Outcome:
    return Outcome(state="refused", sentences=[for_page(problem) for problem in error.problems])


def _written(records: Records) -> Values:
    row = records.frame.iloc[0]
    return {"grade": int(row["grade"]), "protected": str(row["protected"]), "notes": str(row["notes"])}


def _key(records: Records) -> Key:
    return next(iter(records.keys))


def _stands(trial: Trial, tap: Tap) -> Values | None:
    scores = trial.store.current(TABLE)
    own = scores[(scores["plant"] == tap.plant) & (scores["observer"] == tap.observer.strip())
                 & (scores["scored_on"].map(str) == tap.scored_on)]  # fmt: skip
    return None if own.empty else held_values({str(name): value for name, value in own.iloc[0].items()})


def _conflict(trial: Trial, tap: Tap, now: Values | None) -> str:
    by = tap.observer or "no observer"
    if now is None:
        return f"The score of {tap.plant} on {tap.scored_on} by {by} was taken out meanwhile."
    return f"Meanwhile {tap.plant} on {tap.scored_on} by {by} was given {_grade_text(trial, now)}."


def _grade_text(trial: Trial, values: Values) -> str:
    return f"{values['grade']} {trial.settings.grades[values['grade']]}"
