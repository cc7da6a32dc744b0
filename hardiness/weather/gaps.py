"""How long a step between two readings may be and still be bridged.

In: the times of one sensor's readings. Out: ``max_gap`` at the steps asked for: three usual intervals, at least 90
minutes. The usual interval is the median step within 15 days, or that of the whole series.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]
BoolArray = npt.NDArray[np.bool_]

HOUR_NS = 3_600_000_000_000  # [ns]
NEVER_NS = np.iinfo(np.int64).max  # [ns] later than any instant
LEAST_MAX_GAP_NS = 1.5 * HOUR_NS  # [ns] a step up to 90 min is always bridged
INTERVALS_IN_GAP = 3.0  # [1] a step longer than this many usual intervals is not
MOST_SAMPLED = 1000  # [1] steps among which the usual length of a step is guessed
WINDOW_NS = 15 * 24 * HOUR_NS  # [ns] the usual interval is the median step within 15 days


def longest_bridged(
    times: IntArray, steps: IntArray, at: IntArray, *, local: bool, max_gap_h: float | None = None
) -> FloatArray:
    """Say how long a step may be and still be bridged, at each of the steps asked for.

    Parameters
    ----------
    times : ndarray of int64
        Of the readings; rising, since 1970-01-01 UTC. [ns]
    steps : ndarray of int64
        From each reading to the next. [ns]
    at : ndarray of int64
        Positions in ``steps``.
    local : bool
        Take the median step within 15 days before and after each step; otherwise that of the whole series.
    max_gap_h : float, optional
        A fixed answer in place of three usual intervals. [h]

    Returns
    -------
    ndarray of float
        Longest bridged step at each of ``at``. [ns]

    Examples
    --------
    >>> times = np.arange(6) * HOUR_NS
    >>> (longest_bridged(times, np.diff(times), np.array([2]), local=True) / HOUR_NS).tolist()
    [3.0]
    """
    if max_gap_h is not None:
        return np.full(at.shape, max_gap_h * HOUR_NS)
    if steps.size == 0 or at.size == 0:
        return np.full(at.shape, LEAST_MAX_GAP_NS)
    usual = _local_intervals(times, steps, at) if local else np.full(at.shape, np.median(steps))
    return np.fmax(LEAST_MAX_GAP_NS, INTERVALS_IN_GAP * usual)


def _local_intervals(times: IntArray, steps: IntArray, at: IntArray) -> FloatArray:
    """Median step [ns] within 15 days before and after each step; NaN where there is none."""
    begin = np.searchsorted(times, times[at] - WINDOW_NS, side="left")
    stop = np.searchsorted(times, times[at + 1] + WINDOW_NS, side="right") - 1
    too_long = steps[at] > WINDOW_NS  # such a step does not lie within 15 days of itself
    number = stop - begin - too_long
    # One step length nearly always makes up more than half of the window, and then it is the median. Only the rest
    # (a logger whose interval was changed, a station that reports now and then) is sorted out window by window.
    # Some of the steps show which one that may be; a wrong guess costs time alone.
    some = steps[:: steps.size // MOST_SAMPLED + 1]
    typical = np.partition(some, some.size // 2)[some.size // 2]
    is_typical = steps == typical
    counted = np.concatenate(([0], np.cumsum(is_typical)))
    typical_number = counted[stop] - counted[begin] - (too_long & is_typical[at])
    medians: FloatArray = np.where(2 * typical_number > number, float(typical), np.nan)
    for i in np.flatnonzero(np.isnan(medians) & (number > 0)):
        window = steps[begin[i] : stop[i]]
        medians[i] = np.median(np.delete(window, at[i] - begin[i]) if too_long[i] else window)
    return medians
