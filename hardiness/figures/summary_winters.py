"""What the cold was: the freezes of each winter, as numbers and as a sentence.

In: the freezes table. Out: one :class:`Freeze` per event (of several sensors the coldest answers) and one
:class:`Winter` per winter.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

import pandas as pd

from hardiness import words
from hardiness.schema import hours_column
from hardiness.settings import Settings
from hardiness.units import Temperature

MOST_WINTERS = 8  # strips on a page; earlier winters share one


@dataclass(frozen=True, slots=True)
class Freeze:
    """One cold event as drawn.

    Parameters
    ----------
    event : str
        Its name.
    starts_on, ends_on : datetime.date
        First and last day in the trial's zone.
    minimum_c : float
        The coldest reading of any of its sensors. [degC]
    hours : float or None
        Hours at or below ``threshold`` at that sensor. [h]
    threshold : Temperature or None
        The coldest threshold it reached.
    logger : bool
        Whether a logger measured it; else a station, or an estimate.
    """

    event: str
    starts_on: dt.date
    ends_on: dt.date
    minimum_c: float
    hours: float | None
    threshold: Temperature | None
    logger: bool


@dataclass(frozen=True, slots=True)
class Winter:
    """The freezes of one winter, coldest first, and how many scores answer for them."""

    name: str
    freezes: tuple[Freeze, ...]
    scores: int
    winters: int = 1


def gather_winters(freezes: pd.DataFrame, observations: pd.DataFrame, settings: Settings) -> tuple[Winter, ...]:
    """Take from the freezes table what the strips show.

    Parameters
    ----------
    freezes : pandas.DataFrame
        The freezes table.
    observations : pandas.DataFrame
        The observations table, for the number of scores.
    settings : Settings
        Time zone and thresholds.

    Returns
    -------
    tuple of Winter
        By name; a winter without a listed freeze is not among them. Freezes without a minimum are left out.
    """
    scores = observations.groupby("winter").size() if len(observations) else pd.Series(dtype=int)
    listed = freezes.loc[freezes["minimum_c"].notna()] if len(freezes) else freezes
    by_winter: dict[str, list[Freeze]] = {}
    if len(listed):
        coldest = listed.sort_values(["minimum_c", "freeze"], kind="stable").drop_duplicates("event")
        for record in coldest.to_dict("records"):
            by_winter.setdefault(str(record["winter"]), []).append(_freeze_of(record, settings))
    return tuple(
        Winter(name, tuple(by_winter[name]), int(scores.get(name, 0))) for name in sorted(by_winter)
    )  # coldest first already


def _freeze_of(record: dict[object, object], settings: Settings) -> Freeze:
    reached: tuple[float, Temperature] | None = None
    for threshold in sorted(settings.rules.thresholds, key=lambda t: t.celsius):
        hours = pd.to_numeric(record.get(hours_column(threshold)), errors="coerce")  # type: ignore[call-overload]
        if pd.notna(hours) and hours > 0:
            reached = (float(hours), threshold)
            break
    starts, ends = (pd.Timestamp(record[name]).tz_convert(settings.zone) for name in ("starts", "ends"))  # type: ignore[arg-type]
    return Freeze(
        event=str(record["event"]),
        starts_on=starts.date(),
        ends_on=ends.date(),
        minimum_c=float(record["minimum_c"]),  # type: ignore[arg-type]
        hours=reached[0] if reached else None,
        threshold=reached[1] if reached else None,
        logger=record["source"] == "logger",
    )


def recent(winters: Sequence[Winter], most: int = MOST_WINTERS) -> tuple[Winter, ...]:
    """Keep the latest winters apart and put all earlier ones into one.

    Parameters
    ----------
    winters : sequence of Winter
        By name.
    most : int
        How many strips there is room for.

    Returns
    -------
    tuple of Winter
    """
    if len(winters) <= most:
        return tuple(winters)
    early, late = winters[: len(winters) - most + 1], winters[len(winters) - most + 1 :]
    together = sorted((freeze for winter in early for freeze in winter.freezes), key=lambda f: (f.minimum_c, f.event))
    merged = Winter(f"to {early[-1].name}", tuple(together), sum(winter.scores for winter in early), len(early))
    return (merged, *late)


def winter_sentence(winter: Winter, units: str) -> str:
    """Say how cold a winter was.

    Parameters
    ----------
    winter : Winter
    units : str
        ``"C"`` or ``"F"``.

    Returns
    -------
    str
    """
    coldest = winter.freezes[0]
    many = words.count(len(winter.freezes), "freeze")
    if winter.winters > 1:
        many += f" in {words.count(winter.winters, 'winter')}"
    year = f" {coldest.starts_on.year}" if winter.winters > 1 else ""
    text = f"{many}, coldest {words.temperature(coldest.minimum_c, units)} on {words.day(coldest.starts_on)}{year}"
    if coldest.hours is not None and coldest.threshold is not None:
        text += f", {hours_text(coldest, units, 'at or below')}"
    return text if winter.scores else f"{text}; no score"


def hours_text(freeze: Freeze, units: str, below: str = "≤") -> str:
    """Say how long a freeze was at or below the coldest threshold it reached; nothing where it reached none.

    Parameters
    ----------
    freeze : Freeze
    units : str
        ``"C"`` or ``"F"``.
    below : str
        How to say "at or below".

    Returns
    -------
    str
    """
    if freeze.hours is None or freeze.threshold is None:
        return ""
    return f"{words.hours(freeze.hours)} {below} {words.threshold_text(freeze.threshold, units)}"
