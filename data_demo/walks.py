"""The grower walks the rows: scores of each winter, with the mistakes that growers make.

A few days after a hard freeze much does not show yet (scored too well, rarely too badly); four to six weeks later and
at spring regrowth it does. On the last walk before spring a leafless plant is now and then called dead that lives, and
a dead one alive. Wrong grades stand only where a later score of the same window puts them right.
"""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import dataclass

import pandas as pd
from register import Plant
from truth import DEAD
from weather import rng_of

FIRST_LOOK, SECOND_LOOK, SPRING = "first look", "second look", "spring"
WALKS = {
    "2022-23": (
        ("2022-12-16", FIRST_LOOK), ("2023-01-14", SECOND_LOOK), ("2023-01-26", FIRST_LOOK),
        ("2023-02-22", SECOND_LOOK), ("2023-04-02", SECOND_LOOK), ("2023-05-14", SPRING),
    ),
    "2023-24": (("2024-01-14", FIRST_LOOK), ("2024-02-17", SECOND_LOOK), ("2024-05-12", SPRING)),
    "2024-25": (
        ("2024-12-20", FIRST_LOOK), ("2025-01-12", SECOND_LOOK), ("2025-01-22", FIRST_LOOK),
        ("2025-02-16", SECOND_LOOK), ("2025-02-26", FIRST_LOOK), ("2025-04-06", SECOND_LOOK), ("2025-05-17", SPRING),
    ),
    "2025-26": (
        ("2025-12-02", FIRST_LOOK), ("2026-01-03", SECOND_LOOK), ("2026-01-13", FIRST_LOOK),
        ("2026-02-08", SECOND_LOOK), ("2026-02-18", FIRST_LOOK), ("2026-03-29", SECOND_LOOK), ("2026-05-16", SPRING),
    ),
}  # fmt: skip
EARLY_DAYS = 6.0  # wrong first looks are surely within the 7 days in which a score counts as early
SKIPPED_ROW = ("2022-23", SPRING, "U2")  # nobody got to this row that spring
SECOND_PAIR_OF_EYES = "2025-05-17"  # two people scored part of the rows that day


@dataclass(frozen=True)
class Score:
    """One row of the scores."""

    plant: str
    scored_on: datetime.date
    grade: int
    protected: str
    observer: str
    notes: str


def walk_the_rows(
    winter: str,
    plants: Sequence[tuple[Plant, list[tuple[pd.Timestamp, int]]]],
    listed: dict[str, pd.DataFrame],
    covered: dict[str, pd.Timestamp],
) -> list[Score]:
    """Score the plants (each with its states after the freezes) on the dates of the winter's walks.

    `listed` holds the freezes as each block's logger and the station recorded them; they say which scores are early
    and which windows are still open. `covered` names the plants under cover and the freeze that was met so.
    """
    starts = pd.concat([table["starts"] for table in listed.values()])
    scores: list[Score] = []
    for plant, states in plants:
        if plant.found_dead:
            continue
        rng = rng_of("scores", winter, plant.plant)
        ends = listed[plant.block]["ends"]
        called_dead, last = False, None
        for date, kind in WALKS[winter]:
            day = datetime.date.fromisoformat(date)
            noon = pd.Timestamp(f"{date}T12:00", tz="UTC")
            missed, slip, second = rng.random(3)
            correctable = kind == SECOND_LOOK and not (starts > noon).any() and not _skipped(plant, winter, SPRING)
            always = kind == SPRING or correctable or plant.plant in covered
            if not plant.stands_on(day) or _skipped(plant, winter, kind):
                continue
            if missed < (0.45 if kind == FIRST_LOOK else 0.0 if always else 0.04):
                continue
            state = max((grade for end, grade in states if end < noon), default=0)
            grade, note = state, ""
            if kind == FIRST_LOOK and noon - ends[ends < noon].max() < pd.Timedelta(days=EARLY_DAYS):
                grade = DEAD if called_dead else _first_look(state, slip)
            elif correctable and not called_dead:
                grade, note = _last_walk(state, slip)
            elif kind == SPRING:
                note = _spring_note(plant, state, last, slip)
            protected = ""
            if plant.plant in covered and noon > covered[plant.plant]:
                since_last = starts > pd.Timestamp(last.scored_on if last else day, tz="UTC")
                protected = "no" if kind == SPRING and since_last.any() else "cover"
            last = Score(plant.plant, day, grade, protected, "A", note)
            scores.append(last)
            if date == SECOND_PAIR_OF_EYES and second < 0.25 and not called_dead:
                kinder = max(grade - (1 if second > 0.08 else 2), 0)
                scores.append(Score(plant.plant, day, kinder, protected, "B", ""))
            called_dead = grade == state == DEAD
            if called_dead and (kind == SPRING or second > 0.15):
                break  # most are not looked at again
    return sorted(scores, key=lambda score: (score.scored_on, score.plant, score.observer))


def _first_look(state: int, slip: float) -> int:
    """Damage that does not show yet: the leaves hang on, the bark is still green."""
    if state == DEAD:
        return DEAD - 1 if slip > 0.5 else DEAD - 2
    return max(state - (0 if slip < 0.4 else 1 if slip < 0.85 else 2), 0)


def _last_walk(state: int, slip: float) -> tuple[int, str]:
    """The last walk before spring, with the two mistakes that spring puts right."""
    if state == DEAD and slip < 0.3:
        return DEAD - 1, ""
    if state in (DEAD - 2, DEAD - 1) and slip < 0.12:
        return DEAD, "no green found"
    return state, ""


def _spring_note(plant: Plant, state: int, last: Score | None, slip: float) -> str:
    if last is not None and last.grade == DEAD > state:
        return "breaking from old wood"
    return "shoots from below the graft only" if state == DEAD and plant.rootstock != "own" and slip < 0.8 else ""


def _skipped(plant: Plant, winter: str, kind: str) -> bool:
    return (winter, kind, plant.row) == SKIPPED_ROW
