r"""The definition of a freeze.

A freeze begins when the temperature reaches ``onset_c`` or lower and ends once it has been above it for ``thaw_h``
hours on end; it is listed when its minimum is at or below ``damaging_c``. It starts and ends at the crossings of
``onset_c`` themselves (first down, last up): the last thaw is no part of it, thaws and gaps inside are.

The thaw clock counts known time above onset: the bridged line, and gaps between two readings above onset. Any other
gap up to ``thaw_h`` leaves the freeze open and the clock starts again at the reading after it; a longer one ends the
freeze. Where readings do not show the crossing (at a gap, at either end of the readings) the freeze is *cut*: it starts
or ends at the cold reading itself. Touching onset is cold.

::

    onset ---\----/\--------/------------------------ above for thaw_h: the freeze has ended
              \__/  \__    /
              |        \__/ |
            starts         ends
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np

from hardiness.settings import FreezeRules
from hardiness.weather.gaps import HOUR_NS, BoolArray, FloatArray, IntArray
from hardiness.weather.series import TIE_C, Series

TIE_NS = 10  # [ns] crossings are rounded to 1 ns, so a thaw of exactly thaw_h may look a few short


@dataclass(frozen=True, slots=True, eq=False)
class Spans:
    """Where the listed freezes of a series lie, in order of time.

    Parameters
    ----------
    first, last : ndarray of int64
        Positions of the first and last cold reading of each freeze.
    starts, ends : ndarray of int64
        Crossings of onset, or the cold reading itself where cut, since 1970-01-01 UTC. [ns]
    starts_cut, ends_cut : ndarray of bool
        Whether the readings do not show the crossing.
    minimum : ndarray of float
        Coldest reading. [degC]
    """

    first: IntArray
    last: IntArray
    starts: IntArray
    ends: IntArray
    starts_cut: BoolArray
    ends_cut: BoolArray
    minimum: FloatArray

    def part(self, some: slice) -> Spans:
        """Take some of the freezes.

        Parameters
        ----------
        some : slice
            Which of them.

        Returns
        -------
        Spans
        """
        return Spans(**{field.name: getattr(self, field.name)[some] for field in fields(self)})


def find_spans(series: Series, rules: FreezeRules) -> Spans:
    """Find the freezes of a series.

    Parameters
    ----------
    series : Series
        Cleaned readings of one sensor.
    rules : FreezeRules
        ``onset_c``, ``thaw_h`` and ``damaging_c`` are used.

    Returns
    -------
    Spans

    Examples
    --------
    >>> from hardiness.weather.series import series_of
    >>> hours = np.datetime64("2031-12-14T18", "ns") + np.arange(8) * np.timedelta64(1, "h")
    >>> spans = find_spans(series_of(hours, [2.0, -2.0, -3.0, -1.0, 3.0, 4.0, 4.0, 4.0]), FreezeRules())
    >>> [str(instant.astype("M8[ns]"))[11:16] for instant in (spans.starts[0], spans.ends[0])]
    ['18:30', '21:15']
    """
    temperatures = series.temperatures
    cold = np.flatnonzero(temperatures <= rules.onset_c + TIE_C)
    if cold.size == 0:
        nothing = np.zeros(0, dtype=np.int64)
        return Spans(nothing, nothing, nothing, nothing, nothing == 1, nothing == 1, np.zeros(0))
    before, after = cold[:-1], cold[1:]
    # Pairs of neighbouring cold readings with a thaw or a gap between: everything else is one line of cold.
    pairs = np.flatnonzero((after - before > 1) | ~series.bridged[before])
    ended = pairs[_ends_between(series, before[pairs], after[pairs], rules)]
    opening = np.concatenate(([0], ended + 1))
    closing = np.concatenate((ended, [cold.size - 1]))
    minimum = np.minimum.reduceat(temperatures[cold], opening)
    listed = minimum <= rules.damaging_c + TIE_C
    first, last, minimum = cold[opening[listed]], cold[closing[listed]], minimum[listed]
    shown = np.append(series.bridged, False)  # beyond the last reading nothing is shown; [-1] stands before the first
    starts_cut, ends_cut = ~shown[first - 1], ~shown[last]
    starts, ends = series.times[first], series.times[last]
    down, up = ~starts_cut, ~ends_cut
    starts[down] = _crossings(series, first[down] - 1, first[down], rules.onset_c)
    ends[up] = _crossings(series, last[up] + 1, last[up], rules.onset_c)
    return Spans(first, last, starts, ends, starts_cut, ends_cut, minimum)


def _ends_between(series: Series, before: IntArray, after: IntArray, rules: FreezeRules) -> BoolArray:
    """Whether a freeze ends somewhere between two neighbouring cold readings."""
    thaw_ns = rules.thaw_h * HOUR_NS
    leaving, returning = before, after - 1  # the steps next to the two cold readings; one and the same without a thaw
    ended = np.zeros(before.shape, dtype=np.bool_)
    for step in (leaving, returning):
        ended |= ~series.bridged[step] & (series.steps[step] > thaw_ns)
    warm = np.flatnonzero(after - before > 1)
    leaving, returning, before, after = leaving[warm], returning[warm], before[warm], after[warm]
    clock_starts = np.where(
        series.bridged[leaving], _crossings(series, before + 1, before, rules.onset_c), series.times[before + 1]
    )
    clock_stops = np.where(
        series.bridged[returning], _crossings(series, after - 1, after, rules.onset_c), series.times[after - 1]
    )
    ended[warm] |= clock_stops - clock_starts >= thaw_ns - TIE_NS
    return ended


def _crossings(series: Series, warm: IntArray, cold: IntArray, onset_c: float) -> IntArray:
    """Instants [ns] at which the line between a reading above onset and its cold neighbour meets onset."""
    above = series.temperatures[warm] - onset_c
    below = onset_c - series.temperatures[cold]
    below = np.where(below <= TIE_C, 0.0, below)
    share = above / (above + below)
    crossing: IntArray = series.times[warm] + np.rint(share * (series.times[cold] - series.times[warm])).astype(
        np.int64
    )
    return crossing
