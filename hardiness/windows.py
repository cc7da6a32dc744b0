"""The scored-window rule: which freezes a score answers for, and what the plant carried into them.

In: the freezes and the scores of all plants, as arrays sorted by plant and time. Out: the windows, each closed by
one score, the fate of every other score, and the freezes that no score answers for.

**A scored window** holds the freezes of one plant since its previous window closed. Scores with the same freezes
before them are one group, and the last date of the group counts (damage shows late); of several observers that day
the worst grade. The group closes a window, unless its score came within ``settle_days`` of the freeze before it,
another freeze has followed, and the grade is not the last one: such an *early* score leaves its freezes to the next
window. The last grade is death once a later freeze has followed its window; later scores of that plant add nothing.

Examples
--------
Plant 0 met a freeze on 10 January and another on 10 February. A score of 13 January is early and leaves
its freeze to the next window; of those of 20 March and 2 May, which both answer for the two freezes, the last counts.

>>> freezes = Freezes(plant=np.array([0, 0]), ends=np.array(["2032-01-11", "2032-02-11"], "M8[ns]"),
...                   winter=np.array([2031, 2031]), temperature_c=np.array([-5.5, -7.0]),
...                   known=np.array([True, True]), name=np.array(["first", "second"], dtype=object),
...                   row=np.array([0, 1]), offset=np.array([0, 2]))
>>> noon = np.array(["2032-01-13T12", "2032-03-20T12", "2032-05-02T12"], "M8[ns]")
>>> empty = np.array(["", "", ""], dtype=object)
>>> scores = Scores(plant=np.array([0, 0, 0]), day=np.array([741820, 741887, 741930]), noon=noon,
...                 winter=np.array([2031, 2031, 2031]), grade=np.array([1, 3, 2]), protected=empty, observer=empty,
...                 before=np.array([1, 2, 2]), first_of_day=np.array([0, 1, 2]))
>>> windows = close_windows(freezes, scores, worst=5, settle_days=7)
>>> windows.fate.tolist(), windows.span(0)
(['early', 'superseded', 'counts'], (0, 2))
>>> coldest, near = coldest_freezes(freezes, windows)
>>> str(freezes.name[coldest[0]]), int(near[0]), int(standing_grades(freezes, scores, windows, coldest)[0])
('second', 1, 0)
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from hardiness.timelines import BoolArray, Freezes, IntArray, Scores

NEAR_C = 1.0  # [K] freezes of a window this close to its coldest count as near it
ROUNDING_C = 1e-9  # [K] two interpolated temperatures closer than this are one

# The fate of a score. All but the first two are also the reason in the table of what was left out.
COUNTS = "counts"
STARTS_OFF = "before the first freeze"
SUPERSEDED = "superseded"
EARLY = "early"
ALREADY_DEAD = "already dead"
BETTER = "better score after a settled death"
DEAD_BEFORE = "dead before any freeze"


@dataclass(frozen=True, slots=True, eq=False)
class Windows:
    """The windows, sorted by plant and time, and what became of every score.

    Parameters
    ----------
    plant : array of int
        Number of the plant.
    first, stop : array of int
        The window's freezes are ``first`` to ``stop - 1``.
    score : array of int
        The score that counts.
    provisional : array of bool
        That score was early, and nothing has followed.
    group_of_score : array of int
        Group of scores (the same freezes before them) that each score is in.
    group_start, group_stop : array of int
        Scores of each group.
    window_of_group : array of int
        The window that the group closes or leaves its freezes to; -1 where there is none.
    fate : array of str
        One for each score.
    decided_by : array of int
        For each score, the one that superseded it, or the death that came before it; else itself.
    open_plant, open_first, open_stop : array of int
        Freezes since a plant's last window that no score answers for, unless the plant was dead.
    """

    plant: IntArray
    first: IntArray
    stop: IntArray
    score: IntArray
    provisional: BoolArray
    group_of_score: IntArray
    group_start: IntArray
    group_stop: IntArray
    window_of_group: IntArray
    fate: npt.NDArray[np.str_]
    decided_by: IntArray
    open_plant: IntArray
    open_first: IntArray
    open_stop: IntArray

    def span(self, window: int) -> tuple[int, int]:
        """Position of a window's first freeze, and that behind its last.

        Parameters
        ----------
        window : int

        Returns
        -------
        (int, int)
        """
        return int(self.first[window]), int(self.stop[window])


def close_windows(freezes: Freezes, scores: Scores, *, worst: int, settle_days: float) -> Windows:
    """Close the windows of all plants, and say what became of every score.

    Parameters
    ----------
    freezes : Freezes
        What the plants met.
    scores : Scores
        What was seen.
    worst : int
        The last grade.
    settle_days : float
        A score sooner than this after the latest freeze before it is early. [day]

    Returns
    -------
    Windows
    """
    met = np.diff(freezes.offset)
    start = _run_starts(scores.plant, scores.before)
    stop = np.append(start[1:], len(scores.plant))[: len(start)]
    counting = scores.first_of_day[stop - 1]
    plant, before = scores.plant[counting], scores.before[counting]

    followed = before < met[plant]
    early = np.zeros(len(start), dtype=bool)
    some = before > 0
    since = scores.noon[counting[some]] - freezes.ends[freezes.offset[plant[some]] + before[some] - 1]
    early[some] = since < np.timedelta64(round(settle_days * 86400e9), "ns")
    dead = scores.grade[counting] == worst

    # A settled death ends the plant's story: count the settled deaths in the plant's earlier groups.
    settled = dead & followed
    first_group = np.searchsorted(plant, plant)
    earlier = np.cumsum(settled) - settled
    is_after_death = earlier > earlier[first_group]
    closes = ~is_after_death & some & (~early | ~followed | dead)
    closing = np.flatnonzero(closes)

    window_plant = plant[closing]
    window_stop = freezes.offset[window_plant] + before[closing]
    goes_on = np.append(False, window_plant[1:] == window_plant[:-1])[: len(closing)]
    window_first = np.where(goes_on, np.append(0, window_stop[:-1])[: len(closing)], freezes.offset[window_plant])

    reached = freezes.offset[:-1].copy()
    reached[window_plant] = window_stop  # sorted: a plant's last window is the one that stays
    is_open = reached < freezes.offset[1:]
    is_open[plant[settled]] = False

    next_window = np.searchsorted(closing, np.arange(len(start)))
    has_next = next_window < len(closing)
    has_next[has_next] = window_plant[next_window[has_next]] == plant[has_next]

    group = np.repeat(np.arange(len(start)), stop - start)
    position = np.arange(len(group))
    deaths = np.flatnonzero(settled)
    decided_by = np.where(is_after_death, -1, counting)
    decided_by[is_after_death] = counting[deaths[np.searchsorted(deaths, first_group[is_after_death])]]
    fate = np.select(
        [
            is_after_death[group] & (scores.grade == worst),
            is_after_death[group],
            position != counting[group],
            closes[group],
            (before[group] == 0) & dead[group],
            before[group] == 0,
        ],
        [ALREADY_DEAD, BETTER, SUPERSEDED, COUNTS, DEAD_BEFORE, STARTS_OFF],
        default=EARLY,
    )
    return Windows(
        plant=window_plant,
        first=window_first,
        stop=window_stop,
        score=counting[closing],
        provisional=(early & ~followed)[closing],
        group_of_score=group,
        group_start=start,
        group_stop=stop,
        window_of_group=np.where(has_next, next_window, -1),
        fate=fate,
        decided_by=decided_by[group],
        open_plant=np.flatnonzero(is_open),
        open_first=reached[is_open],
        open_stop=freezes.offset[1:][is_open],
    )


def coldest_freezes(freezes: Freezes, windows: Windows) -> tuple[IntArray, IntArray]:
    """Find each window's coldest freeze, and count those near it.

    Parameters
    ----------
    freezes : Freezes
        What the plants met.
    windows : Windows
        The windows.

    Returns
    -------
    coldest : array of int
        Position of the coldest freeze, the earliest of equals; the window's last where a temperature is missing.
    near : array of int
        Freezes within 1 K of the coldest, itself included; 0 where a temperature is missing.
    """
    if not len(windows.plant):
        return np.empty(0, dtype=np.int64), np.empty(0, dtype=np.int64)
    size = windows.stop - windows.first
    bounds = np.append(0, np.cumsum(size)[:-1])
    position = np.arange(size.sum()) + np.repeat(windows.first - bounds, size)
    temperature = freezes.temperature_c[position]
    above = temperature - np.repeat(np.minimum.reduceat(temperature, bounds), size)  # NaN throughout where one is NaN
    near = np.add.reduceat((above <= NEAR_C + ROUNDING_C).astype(np.int64), bounds)
    is_coldest = above <= ROUNDING_C
    coldest = np.minimum.reduceat(np.where(is_coldest, position, np.repeat(windows.stop - 1, size)), bounds)
    return coldest, near


def standing_grades(freezes: Freezes, scores: Scores, windows: Windows, coldest: IntArray) -> IntArray:
    """Find the grade that each plant carried into its window from earlier in the same winter.

    That is its grade when its previous window closed, if that window's last freeze lies in the same winter: then the
    grade was seen in this winter, whichever winter the previous window is counted to. Otherwise it is the last score
    between the winter's first day and the plant's first freeze of it; else 0, since summer's growth ends it.

    Parameters
    ----------
    freezes : Freezes
        What the plants met.
    scores : Scores
        What was seen.
    windows : Windows
        The windows.
    coldest : array of int
        Their coldest freezes: a window is of that freeze's winter.

    Returns
    -------
    array of int
        The standing grade of each window.
    """
    standing = np.zeros(len(windows.plant), dtype=np.int64)
    if not len(standing):
        return standing
    winter = freezes.winter[coldest]

    # The last score with no more freezes before it than the plant's first freeze of that winter has.
    span = int(freezes.winter.max()) + 1
    winters, first = np.unique(freezes.plant * span + freezes.winter, return_index=True)
    first_freeze = first[np.searchsorted(winters, windows.plant * span + winter)]
    rank = len(freezes.plant) + 1
    last = np.searchsorted(
        scores.plant * rank + scores.before,
        windows.plant * rank + first_freeze - freezes.offset[windows.plant],
        side="right",
    )
    any_score = last > 0
    last = scores.first_of_day[last - any_score]
    is_set = any_score & (scores.plant[last] == windows.plant) & (scores.winter[last] == winter)
    standing[is_set] = scores.grade[last[is_set]]

    # Not the previous window's coldest freeze but its last: the score that closed it was given after that one.
    same_winter = freezes.winter[windows.stop[:-1] - 1] == winter[1:]
    goes_on = np.append(False, (windows.plant[1:] == windows.plant[:-1]) & same_winter)
    standing[goes_on] = scores.grade[windows.score[np.flatnonzero(goes_on) - 1]]
    return standing


def _run_starts(*keys: IntArray) -> IntArray:
    """Positions at which one of the keys changes, the first included."""
    if not len(keys[0]):
        return np.empty(0, dtype=np.int64)
    changes = np.logical_or.reduce([key[1:] != key[:-1] for key in keys])
    return np.append(0, np.flatnonzero(changes) + 1)
