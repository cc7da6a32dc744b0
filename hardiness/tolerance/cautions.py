"""What makes the answer of a fit weaker, not wrong: said in sentences, because a trial has to start somewhere."""

from __future__ import annotations

import pandas as pd

from hardiness import words
from hardiness.tolerance.evidence import MOST_PRIOR

FEW_ROWS = 5
PRIOR = "the prior, what was assumed before any score"


def fit_cautions(table: pd.DataFrame, grades: int, grade: int | None = None) -> list[str]:
    """Say what a table of observations cannot tell.

    One grade in every row, one selection, one freeze or a handful of rows still give an answer, open on one side: how
    wide it is, is the answer. Nothing to fit at all is an error, and not a matter of this function.

    Parameters
    ----------
    table : DataFrame
        Observations of unprotected plants: ``plant, selection, freeze, grade``; ``grade_low`` where known.
    grades : int
        Number of grades.
    grade : int, optional
        The grade that floors are asked for; the last unless given.

    Returns
    -------
    list of str

    Examples
    --------
    >>> rows = pd.DataFrame({"plant": ["p1", "p2"], "selection": "S", "freeze": "f1", "grade": [0, 0]})
    >>> for sentence in fit_cautions(rows, 6):
    ...     print(sentence)
    Only 2 rows: the figures say little more than the prior, what was assumed before any score.
    Every row has grade 0: nothing was hurt, so every floor is open to the cold side.
    One freeze alone cannot tell what the freeze did from what the plants are: a second one will.
    With one selection alone nothing tells how far selections differ: its floor is not compared with any.
    """
    if table.empty:
        return []
    worst, said = grades - 1, []
    low = table["grade_low"].fillna(table["grade"]) if "grade_low" in table.columns else table["grade"]
    asked = worst if grade is None else grade
    lost = int((low >= asked).sum())
    is_life = asked == worst
    if len(table) < FEW_ROWS:
        said.append(f"Only {words.count(len(table), 'row')}: the figures say little more than {PRIOR}.")
    seen = sorted(set(table["grade"]))
    if len(seen) == 1 and seen[0] == 0:
        said.append("Every row has grade 0: nothing was hurt, so every floor is open to the cold side.")
    elif len(seen) == 1 and seen[0] == worst:
        said.append(f"Every row has grade {worst}: nothing came through, so every floor is open to the warm side.")
    elif len(seen) == 1:
        said.append(f"Every row has grade {seen[0]:g}: how far the other grades lie from it is assumed, not seen.")
    elif lost == 0:
        none = "No plant was lost" if is_life else f"No plant reached grade {asked}"
        said.append(f"{none}: every floor is open to the cold side, and rests on {PRIOR}.")
    elif lost < MOST_PRIOR:
        few = "with a loss" if is_life else f"that reached grade {asked}"
        said.append(f"Only {words.count(lost, 'row')} {few}: every floor rests on {PRIOR}.")
    if len(set(table["freeze"])) == 1:
        said.append("One freeze alone cannot tell what the freeze did from what the plants are: a second one will.")
    if len(set(table["selection"])) == 1:
        said.append(
            "With one selection alone nothing tells how far selections differ: its floor is not compared with any."
        )
    return said
