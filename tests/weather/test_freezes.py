"""The definition of a freeze, rule by rule, on timelines that can be read with the finger."""

from dataclasses import dataclass

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hardiness.settings import FreezeRules
from hardiness.weather.freezes import find_spans
from hardiness.weather.gaps import HOUR_NS
from hardiness.weather.series import Series, series_of

START = np.datetime64("2031-12-14T00", "ns")
PROPERTY = settings(max_examples=150, deadline=None, derandomize=True)  # the same examples in every run


def hourly(line: dict[float, float], *, every: float = 1.0, without: tuple[float, float] | None = None) -> Series:
    """Readings each hour along straight lines between corners; ``without``: none strictly inside that span."""
    hours = np.arange(min(line), max(line) + every / 2, every)
    degrees = np.interp(hours, list(line), list(line.values()))
    if without is not None:
        keep = (hours <= without[0]) | (hours >= without[1])
        hours, degrees = hours[keep], degrees[keep]
    return series_of(START + (hours * HOUR_NS).astype("timedelta64[ns]"), degrees)


def spans_h(series: Series, rules: FreezeRules | None = None) -> list[tuple[float, float, bool, bool]]:
    """(starts, ends, starts cut, ends cut) in hours since the start."""
    found = find_spans(series, rules or FreezeRules())
    origin = START.astype(np.int64)
    return [
        (float((a - origin) / HOUR_NS), float((b - origin) / HOUR_NS), bool(c), bool(d))
        for a, b, c, d in zip(found.starts, found.ends, found.starts_cut, found.ends_cut, strict=True)
    ]


def test_a_freeze_starts_and_ends_at_the_crossings_of_onset():
    assert spans_h(hourly({0: 2, 8: -6, 24: 2})) == [(2.0, 20.0, False, False)]


def test_a_crossing_between_readings_lies_on_the_straight_line():
    assert spans_h(series_of(START + np.arange(4) * np.timedelta64(1, "h"), [1.0, -3.0, -2.0, 6.0])) == [
        (0.25, 2.25, False, False)
    ]


def test_a_freeze_that_is_not_damaging_is_not_listed():
    assert spans_h(hourly({0: 2, 8: -1.9, 24: 2})) == []
    assert len(spans_h(hourly({0: 2, 8: -2.0, 24: 2}))) == 1


def test_a_minimum_a_rounding_error_above_damaging_is_listed():
    assert len(spans_h(hourly({0: 2, 8: -2.0 + 5e-7, 24: 2}))) == 1
    assert len(spans_h(hourly({0: 2, 8: -2.0 + 2e-6, 24: 2}))) == 0


def test_a_thaw_shorter_than_thaw_h_is_part_of_the_freeze():
    # above 0 from hour 6 to hour 17
    assert spans_h(hourly({0: 2, 4: -4, 6: 0, 11: 5, 17: 0, 20: -5, 30: 5})) == [
        (pytest.approx(4 / 3), 25.0, False, False)
    ]


def test_a_thaw_of_thaw_h_ends_the_freeze():
    # above 0 from hour 6 to hour 18
    spans = spans_h(hourly({0: 2, 4: -4, 6: 0, 11: 5, 18: 0, 20: -5, 30: 5}))
    assert spans == [(pytest.approx(4 / 3), 6.0, False, False), (18.0, 25.0, False, False)]


def test_touching_onset_starts_the_thaw_clock_again():
    # above 0 for 8 h, touches 0, above 0 for 8 h
    assert spans_h(hourly({0: -4, 4: 0, 8: 3, 12: 0, 16: 3, 20: 0, 24: -4})) == [(0.0, 24.0, True, True)]
    # the same within a rounding error of onset
    assert spans_h(hourly({0: -4, 4: 0, 8: 3, 12: 8e-7, 16: 3, 20: 0, 24: -4})) == [(0.0, 24.0, True, True)]
    # but not a hundredth above it
    assert len(spans_h(hourly({0: -4, 4: 0, 8: 3, 12: 0.01, 16: 3, 20: 0, 24: -4}))) == 2


def test_readings_that_begin_and_end_cold_cut_the_freeze():
    assert spans_h(hourly({0: -3, 6: -5, 12: 1})) == [(0.0, 11.0, True, False)]
    assert spans_h(hourly({0: 1, 6: -5, 12: -3})) == [(1.0, 12.0, False, True)]


def test_readings_that_end_in_a_thaw_leave_the_crossing_shown():
    assert spans_h(hourly({0: 1, 2: -3, 4: 1})) == [(0.5, 3.5, False, False)]


def test_a_single_cold_reading_is_cut_at_both_ends():
    assert spans_h(series_of([START], [-3.0])) == [(0.0, 0.0, True, True)]


def test_no_readings_no_freeze():
    assert spans_h(series_of([], [])) == []
    assert spans_h(series_of([START] * 2, [np.nan, np.nan])) == []


# Gaps: hourly readings, so more than 3 hours without one are not bridged.
COLD_TO_COLD = {0: 2, 4: -4, 20: -4, 24: 4}


def test_a_gap_in_the_cold_up_to_thaw_h_leaves_the_freeze_open():
    assert spans_h(hourly(COLD_TO_COLD, without=(5, 17))) == [(pytest.approx(4 / 3), 22.0, False, False)]


def test_a_longer_gap_in_the_cold_cuts_the_freeze_in_two():
    assert spans_h(hourly(COLD_TO_COLD, without=(5, 18))) == [
        (pytest.approx(4 / 3), 5.0, False, True),
        (18.0, 22.0, True, False),
    ]


def test_a_gap_above_onset_counts_as_thaw():
    # above 0 from hour 4; last seen above at 5, again at 17, below again after 20
    line = {0: -4, 4: 0, 5: 3, 17: 3, 20: 0, 24: -4}
    assert spans_h(hourly(line, without=(5, 17))) == [(0.0, 4.0, True, False), (20.0, 24.0, False, True)]


def test_a_gap_above_onset_counts_as_thaw_however_long():
    line = {0: -4, 4: 0, 5: 3, 60: 3, 61: 0, 64: -4}
    assert spans_h(hourly(line, without=(5, 60))) == [(0.0, 4.0, True, False), (61.0, 64.0, False, True)]


def test_a_short_gap_above_onset_does_not_end_a_freeze_by_itself():
    line = {0: -4, 4: 0, 5: 3, 11: 3, 14: 0, 18: -4}
    assert spans_h(hourly(line, without=(5, 11))) == [(0.0, 18.0, True, True)]


def test_a_gap_out_of_the_cold_starts_the_clock_at_the_reading_after_it():
    # cold at 4, warm at 10: the thaw is known from 10 only, so from 10 to 20 it lasts 10 h
    line = {0: -4, 4: -4, 10: 4, 18: 4, 20: 0, 24: -4}
    assert spans_h(hourly(line, without=(4, 10))) == [(0.0, 24.0, True, True)]


def test_a_thaw_that_completes_after_a_gap_out_of_the_cold_cuts_the_freeze_before_the_gap():
    line = {0: 2, 2: -2, 4: -4, 10: 4, 20: 4, 23: 0, 26: -4}
    assert spans_h(hourly(line, without=(4, 10))) == [(1.0, 4.0, False, True), (23.0, 26.0, False, True)]


def test_a_long_gap_out_of_the_cold_cuts_the_freeze_before_the_gap():
    line = {0: 2, 2: -2, 4: -4, 17: 4, 18: 0, 20: -4}
    assert spans_h(hourly(line, without=(4, 17))) == [(1.0, 4.0, False, True), (18.0, 20.0, False, True)]


def test_a_gap_into_the_cold_leaves_an_open_freeze_open():
    # last up-crossing at 4, last seen above at 6, cold again at 16
    line = {0: -4, 4: 0, 6: 2, 16: -4, 20: -4}
    assert spans_h(hourly(line, without=(6, 16))) == [(0.0, 20.0, True, True)]


def test_a_long_gap_into_the_cold_ends_an_open_freeze_at_its_last_crossing_up():
    line = {0: -4, 4: 0, 6: 2, 19: -4, 22: -4}
    assert spans_h(hourly(line, without=(6, 19))) == [(0.0, 4.0, True, False), (19.0, 22.0, True, True)]


def test_a_gap_into_the_cold_with_no_freeze_open_starts_one_at_the_reading_after_it():
    line = {0: 5, 6: 5, 11: -3, 14: -3, 17: 3}
    assert spans_h(hourly(line, without=(6, 11))) == [(11.0, 15.5, True, False)]
    # the thaw was over before the gap
    line = {0: -3, 3: 0, 4: 1, 16: 1, 21: -3, 24: -3}
    assert spans_h(hourly(line, without=(16, 21))) == [(0.0, 3.0, True, False), (21.0, 24.0, True, True)]


def test_a_warm_reading_between_two_gaps_keeps_the_freeze_open():
    hours = np.array([0, 1, 2, 3, 4, 10, 16, 17, 18.0])
    degrees = [-3, -3, -3, -3, -3, 4, -3, -3, -3.0]
    assert spans_h(series_of(START + (hours * HOUR_NS).astype("timedelta64[ns]"), degrees)) == [(0.0, 18.0, True, True)]


def test_a_warm_reading_before_a_long_gap_leaves_the_last_cold_reading_as_the_end():
    hours = np.array([0, 1, 2, 3, 4, 10, 24, 25, 26.0])
    degrees = [-3, -3, -3, -3, -3, 4, -3, -3, -3.0]
    assert spans_h(series_of(START + (hours * HOUR_NS).astype("timedelta64[ns]"), degrees)) == [
        (0.0, 4.0, True, True),
        (24.0, 26.0, True, True),
    ]


def test_a_freeze_over_new_year_is_one_freeze():
    series = hourly({0: 4, 4: -4, 28: -4, 32: 4})
    moved = series_of(series.times.astype("M8[ns]") + np.timedelta64(17 * 24 + 12, "h"), series.temperatures)
    found = find_spans(moved, FreezeRules())
    assert found.starts.astype("M8[ns]").astype("M8[m]").tolist()[0].isoformat() == "2031-12-31T14:00:00"
    assert found.ends.astype("M8[ns]").astype("M8[m]").tolist()[0].isoformat() == "2032-01-01T18:00:00"


def test_other_rules_move_the_freeze():
    line = {0: 4, 10: -6, 20: 4}
    assert spans_h(hourly(line), FreezeRules(onset_c=1.0)) == [(3.0, 17.0, False, False)]
    assert spans_h(hourly(line), FreezeRules(damaging_c=-6.5)) == []
    twice = {0: 2, 4: -4, 8: 3, 12: -4, 16: 3}
    assert len(spans_h(hourly(twice), FreezeRules(thaw_h=12.0))) == 1
    assert len(spans_h(hourly(twice), FreezeRules(thaw_h=3.0))) == 2


def test_crossings_are_exact_after_twenty_years():
    quarter = np.arange(20 * 365 * 24 * 4)
    degrees = np.where(quarter % 35040 == 35000, -3.0, 1.0)
    found = find_spans(series_of(START + quarter * np.timedelta64(15, "m"), degrees), FreezeRules())
    expected = (35000 + 35040 * np.arange(20)) * 15 * 60 * 1e9
    assert found.starts.size == 20
    starts = found.starts - START.astype(np.int64)
    assert np.abs(starts - (expected - 0.75 * 900e9)).max() <= 1.0  # [ns]


@dataclass
class _Walk:
    """The same rules, told reading by reading: slow and plain."""

    times: list[float]
    degrees: list[float]
    bridged: list[bool]
    thaw_h: float

    def crossing(self, i: int) -> float:
        (a, b), (x, y) = self.times[i : i + 2], self.degrees[i : i + 2]
        return a + (b - a) * x / (x - y)

    def freezes(self) -> list[tuple[float, float, bool, bool]]:
        found, begun, end, clock = [], None, None, None
        times, cold = self.times, [degree <= 0 for degree in self.degrees]
        if cold[0]:
            begun = (times[0], True)
        for i in range(len(times) - 1):
            gap = times[i + 1] - times[i]
            warm_pair = not cold[i] and not cold[i + 1]
            if not self.bridged[i] and not warm_pair:
                if cold[i]:
                    end, clock = (times[i], True), times[i + 1]
                if gap > self.thaw_h and begun:
                    found.append((begun[0], end[0], begun[1], end[1]))
                    begun = None
                if cold[i + 1]:
                    begun, clock = begun or (times[i + 1], True), None
                continue
            if cold[i] and not cold[i + 1]:
                clock = self.crossing(i)
                end = (clock, False)
            if not cold[i + 1] or not cold[i]:
                until = self.crossing(i) if cold[i + 1] else times[i + 1]
                if begun and clock is not None and until - clock >= self.thaw_h - 1e-11:
                    found.append((begun[0], end[0], begun[1], end[1]))
                    begun = None
                if cold[i + 1]:
                    begun, clock = begun or (until, False), None
        if begun:
            if cold[-1]:
                end = (times[-1], True)
            found.append((begun[0], end[0], begun[1], end[1]))
        return found


@PROPERTY
@given(
    steps=st.lists(st.sampled_from([1, 1, 1, 1, 1, 2, 3, 4, 7, 12, 13]), min_size=1, max_size=60),
    degrees=st.lists(st.integers(-3, 3), min_size=61, max_size=61),
    thaw_h=st.sampled_from([2.0, 5.0, 12.0]),
)
def test_freezes_agree_with_a_walk_reading_by_reading(steps, degrees, thaw_h):
    hours = np.concatenate(([0], np.cumsum(steps)))
    values = np.array(degrees[: hours.size], dtype=float)
    series = series_of(START + hours * np.timedelta64(1, "h"), values, max_gap_h=3.0)
    walk = _Walk(hours.astype(float).tolist(), values.tolist(), [step <= 3 for step in steps], thaw_h)
    found = spans_h(series, FreezeRules(damaging_c=0.0, thaw_h=thaw_h))
    expected = walk.freezes()
    assert [(c, d) for _, _, c, d in found] == [(c, d) for _, _, c, d in expected]
    assert np.array([span[:2] for span in found]) == pytest.approx(np.array([span[:2] for span in expected]), abs=1e-9)
