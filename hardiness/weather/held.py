r"""Held temperatures: the coldest temperature at or below which the air stayed for so many hours in total.

.. math:: T_h = \inf\{T : H(T) \ge h\},\quad H(T) = \text{hours at or below } T

Along the straight line between readings H is a sum of ramps, one for each stretch, and of jumps, one for each level
stretch. Sorting the stretches by their warmer and by their colder ends brackets the answer; only the stretches that
cross the bracket are then looked at, and the answer is exact.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from hardiness.weather.freezes import TIE_NS
from hardiness.weather.gaps import HOUR_NS, BoolArray, FloatArray, IntArray
from hardiness.weather.line import BLOCK, Line, sum_by

BINS = 64  # of a freeze's temperatures, to leave out what is too warm to matter
LEVEL_C = 1e-12  # [K] a stretch whose ends differ by no more is level


def held_temperatures(line: Line, held_h: Sequence[float]) -> FloatArray:
    """Find the coldest temperature held for each duration, in each freeze.

    Parameters
    ----------
    line : Line
        Of the freezes.
    held_h : sequence of float
        Hours in total, not on end; 0 asks for the minimum. [h]

    Returns
    -------
    ndarray of float
        A row for each freeze, a column for each duration; NaN where fewer hours are bridged. [degC]
    """
    freezes = line.begin.size
    held = np.full((freezes, len(held_h)), np.nan)
    if freezes == 0:
        return held
    bridged = line.total(line.length)
    line = _cold_part(line, max(held_h, default=0.0))
    warm_ends, cold_ends = _Ranking(line, line.high), _Ranking(line, line.low)
    for column, hours in enumerate(held_h):
        if hours == 0:
            held[:, column] = np.minimum.reduceat(line.temperatures, line.begin)
            continue
        # [ns] crossings are rounded to 1 ns: what lasted exactly as long may look a few short
        enough = int(np.ceil(hours * HOUR_NS)) - TIE_NS
        asked = np.flatnonzero(bridged >= enough)
        if asked.size:
            coldest, warmest = cold_ends.reached(asked, enough), warm_ends.reached(asked, enough)
            held[asked, column] = _between(line, asked, coldest, warmest, hours * HOUR_NS, enough)
    return held


def _cold_part(line: Line, hours: float) -> Line:
    """Leave the stretches out that lie above whatever is held for so many hours: nearly all of a long freeze.

    In bins between a freeze's coldest and warmest point, the first edge below which stretches last long enough when
    each is counted at its warmer end lies above what is held.
    """
    freezes = np.arange(line.begin.size)
    coldest, warmest = np.full(freezes.size, np.inf), np.full(freezes.size, -np.inf)
    some = np.flatnonzero(np.diff(line.freeze, prepend=-1))  # where a freeze with stretches begins
    coldest[line.freeze[some]] = np.minimum.reduceat(line.low, some) if some.size else np.inf
    warmest[line.freeze[some]] = np.maximum.reduceat(line.high, some) if some.size else -np.inf
    width = np.where(warmest > coldest, warmest - coldest, 1.0) / BINS
    summed = np.zeros(freezes.size * BINS)
    blocks = [slice(begin, begin + BLOCK) for begin in range(0, line.low.size, BLOCK)]
    for block in blocks:
        of = line.freeze[block]
        place = np.minimum(((line.high[block] - coldest[of]) / width[of]).astype(np.int64), BINS - 1)
        summed += sum_by(of * BINS + place, line.length[block], summed.size)
    enough = np.cumsum(summed.reshape(-1, BINS), axis=1) >= hours * HOUR_NS
    edge = np.where(enough.any(axis=1), coldest + (enough.argmax(axis=1) + 2) * width, np.inf)
    kept = np.concatenate([np.zeros(0, bool), *(line.low[block] <= edge[line.freeze[block]] for block in blocks)])
    return replace(line, freeze=line.freeze[kept], length=line.length[kept], low=line.low[kept], high=line.high[kept])


class _Ranking:
    """The stretches of each freeze in order of their colder or warmer ends, with their summed time."""

    def __init__(self, line: Line, ends_c: FloatArray) -> None:
        # One sort for both, three times as fast as lexsort; freezes a few dozen K apart cost no more than 1e-11 K.
        coldest = ends_c.min(initial=0.0)
        order = np.argsort(line.freeze * (ends_c.max(initial=0.0) - coldest + 1.0) + (ends_c - coldest))
        self.ends_c = ends_c[order]
        self.summed = np.cumsum(line.length[order])  # int64 ns: exact
        number = np.bincount(line.freeze, minlength=line.begin.size)
        self.before = np.concatenate(([0], self.summed))[np.cumsum(number) - number]

    def reached(self, asked: IntArray, enough: int) -> FloatArray:
        """Where [degC] the stretches, counted whole, first last long enough."""
        reached: FloatArray = self.ends_c[np.searchsorted(self.summed, self.before[asked] + enough, side="left")]
        return reached


@dataclass(frozen=True, slots=True, eq=False)
class _Ramps:
    """H of some freezes between two temperatures: the time below both, and the stretches that lie between."""

    base: FloatArray  # [ns] one for each freeze
    of: IntArray  # which of the freezes each stretch belongs to
    low: FloatArray  # [degC]
    width: FloatArray  # [K]
    length: IntArray  # [ns]
    level: BoolArray

    def time_at_or_below(self, temperature: FloatArray, *, just_below: bool = False) -> FloatArray:
        """H [ns] at a temperature for each freeze; ``just_below``: its limit from the cold side."""
        above_low = temperature[self.of] - self.low
        ramp = np.clip(above_low, 0.0, self.width) * (self.length / np.where(self.level, 1.0, self.width))
        jumped = above_low > 0 if just_below else above_low >= 0
        time = np.where(self.level, np.where(jumped, self.length, 0.0), ramp)
        return self.base + sum_by(self.of, time, self.base.size)


def _between(
    line: Line, asked: IntArray, coldest: FloatArray, warmest: FloatArray, wanted: float, enough: int
) -> FloatArray:
    """Held temperature [degC] of the freezes asked for: H reaches ``enough`` between ``coldest`` and ``warmest``."""
    position = np.full(line.begin.size, -1)
    position[asked] = np.arange(asked.size)
    of = position[line.freeze]
    full = (of >= 0) & (line.high <= coldest[of])
    between = np.flatnonzero((of >= 0) & (line.high > coldest[of]) & (line.low < warmest[of]))
    base = sum_by(of[full], line.length[full], asked.size)
    of, low, high = of[between], line.low[between], line.high[between]
    ramps = _Ramps(base, of, low, high - low, line.length[between], high - low <= LEVEL_C)
    # every temperature where H may bend or jump, sorted within each freeze; a binary search finds the first one reached
    everyone = np.arange(asked.size)
    owner = np.concatenate((everyone, everyone, of, of))
    bends = np.clip(np.concatenate((coldest, warmest, low, high)), coldest[owner], warmest[owner])
    bends = bends[np.lexsort((bends, owner))]
    number = np.bincount(owner)
    opening = np.cumsum(number) - number
    left, right = opening.copy(), opening + number - 1
    while (searching := left < right).any():
        middle = (left + right) // 2
        reached = ramps.time_at_or_below(bends[middle]) >= enough
        right = np.where(searching & reached, middle, right)
        left = np.where(searching & ~reached, middle + 1, left)
    upper, lower = bends[left], bends[np.maximum(left - 1, opening)]
    before = ramps.time_at_or_below(lower)
    rise = ramps.time_at_or_below(upper, just_below=True) - before
    share = np.divide(wanted - before, rise, out=np.ones(asked.size), where=rise > 0)
    held: FloatArray = np.where(left == opening, upper, lower + np.clip(share, 0.0, 1.0) * (upper - lower))
    return held
