"""Measures of the straight line between readings, freeze by freeze: numpy only.

In: a :class:`~hardiness.weather.series.Series` and its freezes. Out: one number for each freeze. Each *stretch*, the
line from one vertex to the next, is taken exactly: a stretch from -1 to -3 degC that lasts an hour spends half an hour
at or below -2. Unbridged gaps are no stretch and count nowhere.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from hardiness.weather.freezes import TIE_NS, Spans
from hardiness.weather.gaps import HOUR_NS, BoolArray, FloatArray, IntArray
from hardiness.weather.series import TIE_C, Series

BLOCK = 1_000_000  # vertices looked at together where all at once would take much memory


@dataclass(frozen=True, slots=True, eq=False)
class Line:
    """The temperature inside freezes: vertices, freeze after freeze, first and last at ``starts`` and ``ends``.

    Parameters
    ----------
    times : ndarray of int64
        Of the vertices; never falling. [ns]
    temperatures : ndarray of float
        At the vertices. [degC]
    begin : ndarray of int64
        Position of the first vertex of each freeze.
    joined : ndarray of bool
        Whether a bridged stretch leads from each vertex to the next.
    freeze : ndarray of int64
        Which freeze each bridged stretch lies in.
    length : ndarray of int64
        Of each bridged stretch. [ns]
    low, high : ndarray of float
        Colder and warmer end of each bridged stretch. [degC]
    """

    times: IntArray
    temperatures: FloatArray
    begin: IntArray
    joined: BoolArray
    freeze: IntArray
    length: IntArray
    low: FloatArray
    high: FloatArray

    def total(self, values: FloatArray | IntArray) -> FloatArray:
        """Sum a value of the stretches over each freeze.

        Parameters
        ----------
        values : ndarray of float
            One for each stretch.

        Returns
        -------
        ndarray of float
            One for each freeze.
        """
        return sum_by(self.freeze, values, self.begin.size)


def line_of(series: Series, spans: Spans, onset_c: float) -> Line:
    """Draw the line inside each freeze: its readings, with a vertex at ``starts`` before and at ``ends`` after them.

    Parameters
    ----------
    series : Series
        Cleaned readings of one sensor.
    spans : Spans
        Its freezes.
    onset_c : float
        Temperature at which a freeze begins. [degC]

    Returns
    -------
    Line
    """
    sizes = spans.last - spans.first + 3
    begin = np.cumsum(sizes) - sizes
    final = begin + sizes - 1
    times, temperatures = np.empty(sizes.sum(), np.int64), np.empty(sizes.sum())
    # The step after the vertex at `starts` and the one before `ends` lie on a bridged step, or are of no length (cut).
    joined = np.ones(times.size, dtype=np.bool_)
    joined[final] = False
    for at, first, last in zip((begin + 1).tolist(), spans.first.tolist(), spans.last.tolist(), strict=True):
        inside, beyond = slice(first, last + 1), at + last + 1 - first
        times[at:beyond], temperatures[at:beyond] = series.times[inside], series.temperatures[inside]
        joined[at : beyond - 1] = series.bridged[first:last]
    times[begin], times[final] = spans.starts, spans.ends
    temperatures[begin] = np.where(spans.starts_cut, series.temperatures[spans.first], onset_c)
    temperatures[final] = np.where(spans.ends_cut, series.temperatures[spans.last], onset_c)
    temperatures[np.abs(temperatures - onset_c) <= TIE_C] = onset_c
    leading = joined[:-1]
    high = temperatures[1:][leading]
    low = np.minimum(temperatures[:-1][leading], high)
    np.maximum(temperatures[:-1][leading], high, out=high)
    # no array of positions: a freeze of years at a reading every few seconds would pay for each of them
    stretches = np.add.reduceat(joined, begin, dtype=np.int64) if begin.size else begin
    freeze = np.repeat(np.arange(begin.size), stretches)
    return Line(times, temperatures, begin, joined, freeze, np.diff(times)[leading], low, high)


def hours_at_or_below(line: Line, threshold_c: float) -> FloatArray:
    """Sum the time that each freeze spends at or below a threshold.

    Parameters
    ----------
    line : Line
        Of the freezes.
    threshold_c : float
        Threshold; vertices within 1e-6 K of it count as at it. [degC]

    Returns
    -------
    ndarray of float
        One for each freeze. [h]
    """
    time = np.where(line.high <= threshold_c + TIE_C, line.length, 0.0)
    crossing = (line.low < threshold_c - TIE_C) & (line.high > threshold_c + TIE_C)
    low, high = line.low[crossing], line.high[crossing]
    time[crossing] = line.length[crossing] * ((threshold_c - low) / (high - low))
    return line.total(time) / HOUR_NS


def degree_hours_below(line: Line, threshold_c: float) -> FloatArray:
    r"""Sum how far, and for how long, each freeze stays below a threshold.

    .. math:: D = \int \max(\theta - T(t), 0)\,dt

    Parameters
    ----------
    line : Line
        Of the freezes.
    threshold_c : float
        Threshold :math:`\theta`. [degC]

    Returns
    -------
    ndarray of float
        One for each freeze. [K h]
    """
    below = np.zeros(line.begin.size)
    for begin in range(0, line.low.size, BLOCK):
        block = slice(begin, begin + BLOCK)
        low, high = line.low[block], line.high[block]
        deepest = np.maximum(threshold_c - low, 0.0)
        shallowest = threshold_c - high
        mean = (deepest + shallowest) / 2
        crossing = shallowest < 0  # a triangle: the part below is deepest / (high - low) of the stretch
        wide = (high[crossing] - low[crossing]).clip(min=np.finfo(float).tiny)
        mean[crossing] = deepest[crossing] ** 2 / (2 * wide)
        below += sum_by(line.freeze[block], mean * line.length[block], below.size)
    return below / HOUR_NS


def fall_rates(line: Line) -> FloatArray:
    r"""Find the largest fall of temperature over one hour, in each freeze.

    .. math:: \max_t\; T(t) - T(t + 1\,\mathrm{h})

    The line is straight between vertices, so the maximum lies where ``t`` or ``t + 1 h`` is a vertex.

    Parameters
    ----------
    line : Line
        Of the freezes.

    Returns
    -------
    ndarray of float
        One for each freeze; NaN where no hour lies inside without an unbridged gap. [K/h]
    """
    if line.begin.size == 0:
        return np.zeros(0)
    opening, closing = np.flatnonzero(np.concatenate(([True], ~line.joined[:-1]))), np.flatnonzero(~line.joined)
    fall = np.full(line.times.size, -np.inf)
    for begin in range(0, fall.size, BLOCK):
        block = slice(begin, min(begin + BLOCK, fall.size))
        # runs of stretches without a gap, each with the time it begins and stops at
        run = np.searchsorted(opening, np.arange(block.start, block.stop), side="right") - 1
        reach = [np.searchsorted(line.times, line.times[end] + way * 2 * HOUR_NS)
                 for end, way in ((block.start, -1), (block.stop - 1, 1))]  # fmt: skip
        there = slice(int(reach[0]), int(reach[1]))
        zero = line.times[there.start]
        hours, known = (line.times[block] - zero) / HOUR_NS, (line.times[there] - zero) / HOUR_NS
        first = (line.times[opening[run]] - zero - TIE_NS) / HOUR_NS
        last = (line.times[closing[run]] - zero + TIE_NS) / HOUR_NS
        for ahead in (1.0, -1.0):
            other = hours + ahead
            change = ahead * (line.temperatures[block] - np.interp(other, known, line.temperatures[there]))
            np.maximum(fall[block], change, out=fall[block], where=(other >= first) & (other <= last))
    largest = np.maximum.reduceat(fall, line.begin)
    return np.where(np.isneginf(largest), np.nan, largest)


def sum_by(of: IntArray, values: FloatArray | IntArray, number: int) -> FloatArray:
    """Sum values by what they belong to.

    Parameters
    ----------
    of : ndarray of int64
        To which of the sums each value belongs.
    values : ndarray
        As many.
    number : int
        How many sums there are.

    Returns
    -------
    ndarray of float
        ``number`` sums.

    Examples
    --------
    >>> sum_by(np.array([0, 2, 2]), np.array([1.5, 2.0, 0.5]), 3).tolist()
    [1.5, 0.0, 2.5]
    """
    # without any value bincount would return integers
    return np.bincount(of, weights=values, minlength=number).astype(np.float64, copy=False)
