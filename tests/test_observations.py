"""The scored-window rule, one worked timeline of plant T12 a test; then the properties that hold for any records.

Unless a test says otherwise a freeze runs from 20:00 to 06:00 UTC, the trial lies in Portugal, the scale is 0-5, and a
score less than 7 days after a freeze is early.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from random import Random
from time import perf_counter
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hardiness import schema
from hardiness.errors import InputError
from hardiness.observations import Joined, join_scores, left_out_summary
from hardiness.settings import FreezeRules, Settings
from hardiness.weather.placing import Exposures

HILL = Settings("Hill", "Europe/Lisbon", latitude=41.2)
SOUTH = Settings("South Hill", "Pacific/Auckland", latitude=-41.3)
DEAD = HILL.worst


@dataclass(frozen=True)
class Freeze:
    """One freeze at one plant, or with ``recorded=False`` an event without a reading."""

    starts: datetime
    ends: datetime
    held_c: float = -6.0
    plant: str = "T12"
    recorded: bool = True
    sensor: str = "L1"
    coverage: float = 1.0
    minimum_c: float | None = None
    sd_c: float = 0.7


@dataclass(frozen=True)
class Score:
    """One score."""

    on: str
    grade: int
    protected: str = ""
    observer: str = ""
    plant: str = "T12"


@dataclass(frozen=True)
class Plant:
    """One line of the register."""

    plant: str = "T12"
    selection: str = "OL-07"
    rootstock: str = "stock P"
    planted_on: date | None = date(2028, 4, 1)
    removed_on: date | None = None
    lost_to: str = ""
    grown_in: str = ""


def night(day: str, held_c: float = -6.0, **more: object) -> Freeze:
    """A freeze from 20:00 UTC on this day to 06:00 the next."""
    starts = datetime.fromisoformat(day).replace(hour=20, tzinfo=UTC)
    return Freeze(starts, starts + timedelta(hours=10), held_c, **more)  # type: ignore[arg-type]


def unrecorded(day: str, **more: object) -> Freeze:
    """Such a night, with no reading of any sensor."""
    return night(day, recorded=False, **more)


def winter_label(when: datetime, rules: Settings) -> str:
    local = when.astimezone(rules.zone)
    if rules.latitude is not None and rules.latitude < 0:
        return str(local.year)
    first = local.year if local.month >= 7 else local.year - 1
    return f"{first}-{(first + 1) % 100:02d}"


def exposures_of(freezes: list[Freeze], rules: Settings) -> Exposures:
    names = [column.name for column in schema.freeze_columns(rules.rules.thresholds, rules.rules.held_h)]
    rows = []
    for freeze in (each for each in freezes if each.recorded):
        day = freeze.starts.astimezone(rules.zone).date()
        row = dict.fromkeys(names, 0.0) | {
            "plant": freeze.plant, "selection": "", "rootstock": "", "freeze": f"{day} {freeze.sensor}",
            "event": str(day), "winter": winter_label(freeze.starts, rules), "sensor": freeze.sensor,
            "source": "logger", "starts": freeze.starts, "ends": freeze.ends,
            "minimum_c": freeze.held_c - 0.5 if freeze.minimum_c is None else freeze.minimum_c,
            "duration_h": (freeze.ends - freeze.starts) / timedelta(hours=1),
            schema.held_column(rules.model_held_h): freeze.held_c, "coverage": freeze.coverage, "sd_c": freeze.sd_c,
        }  # fmt: skip
        rows.append(row)
    table = pd.DataFrame(rows, columns=["plant", "selection", "rootstock", *names])
    events = [
        {"plant": each.plant, "event": str(each.starts.astimezone(rules.zone).date()), "starts": each.starts,
         "ends": each.ends}
        for each in freezes if not each.recorded
    ]  # fmt: skip
    unknown = pd.DataFrame(events, columns=["plant", "event", "starts", "ends"])
    for frame in (table, unknown):
        for name in ("starts", "ends"):
            frame[name] = pd.to_datetime(frame[name], utc=True)
    left_out = pd.DataFrame(columns=schema.column_names(schema.LEFT_OUT))
    return Exposures(table=table, unknown=unknown, left_out=left_out)


def plants_of(plants: list[Plant]) -> pd.DataFrame:
    rows = [
        dict.fromkeys(schema.PLANTS.names, "") | {"grafted_on": None} | {
            name: getattr(plant, name)
            for name in ("plant", "selection", "rootstock", "planted_on", "removed_on", "lost_to", "grown_in")
        }
        for plant in plants
    ]  # fmt: skip
    table = pd.DataFrame(rows, columns=list(schema.PLANTS.names))
    dates = ["grafted_on", "planted_on", "removed_on"]
    table[dates] = table[dates].astype(object)
    return table


def scores_of(scores: list[Score]) -> pd.DataFrame:
    rows = [(each.plant, date.fromisoformat(each.on), each.grade, each.protected, each.observer, "") for each in scores]
    return pd.DataFrame(rows, columns=list(schema.SCORES.names))


def sensors_of(accuracy_c: dict[str, float]) -> pd.DataFrame:
    table = pd.DataFrame({"sensor": list(accuracy_c), "accuracy_c": list(accuracy_c.values())})
    return table.reindex(columns=list(schema.SENSORS.names))


def join(
    freezes: list[Freeze],
    scores: list[Score],
    *plants: Plant,
    rules: Settings = HILL,
    accuracy_c: dict[str, float] | None = None,
    containers: bool = False,
) -> Joined:
    return join_scores(
        exposures_of(freezes, rules),
        plants_of(list(plants) or [Plant()]),
        scores_of(scores),
        sensors_of(accuracy_c or {"L1": 0.2}),
        rules,
        containers=containers,
    )


def rows(joined: Joined, *names: str) -> list[tuple[object, ...]]:
    """The named columns of the observations; dates as text."""
    table = joined.observations.assign(scored_on=joined.observations["scored_on"].map(str))
    return list(table[list(names)].itertuples(index=False, name=None))


def damage(joined: Joined) -> list[tuple[object, ...]]:
    return rows(joined, "scored_on", "grade_low", "grade")


def left_out(joined: Joined) -> list[tuple[object, ...]]:
    return [
        (row.what, None if row.scored_on is None else str(row.scored_on), row.reason)
        for row in joined.left_out.itertuples()
    ]


# --- One window ---------------------------------------------------------------------------------------------------


def test_one_freeze_and_one_score_make_one_row() -> None:
    """Freeze 12-14 held -6.5; score 2032-01-20 grade 2 -> one row, all of its columns."""
    joined = join([night("2031-12-14", -6.5, sd_c=0.8)], [Score("2032-01-20", 2)], accuracy_c={"L1": 0.3})
    (row,) = joined.observations.to_dict("records")
    assert row == {
        "plant": "T12", "selection": "OL-07", "rootstock": "stock P", "freeze": "2031-12-14 L1",
        "event": "2031-12-14", "sensor": "L1", "winter": "2031-32", "exposure_c": -6.5, "exposure_sd_c": 0.8,
        "sensor_sd_c": 0.3, "grade": 2, "grade_low": 2, "near": 1, "protected": "", "scored_on": date(2032, 1, 20),
        "freezes": 1, "provisional": False,
    }  # fmt: skip
    assert list(joined.observations.columns) == schema.column_names(schema.OBSERVATIONS)
    assert joined.left_out.empty and joined.second_look.empty and joined.said == []


@pytest.mark.parametrize("accuracy_c", [{"L1": float("nan")}, {"L9": 0.2}])
def test_a_sensor_without_accuracy_counts_as_half_a_degree(accuracy_c: dict[str, float]) -> None:
    """Freeze of sensor L1, whose accuracy_c is empty (or which is not in the table) -> sensor_sd_c 0.5."""
    joined = join([night("2031-12-14")], [Score("2032-01-20", 1)], accuracy_c=accuracy_c)
    assert rows(joined, "sensor_sd_c") == [(0.5,)]


def test_the_last_date_between_two_freezes_counts() -> None:
    """Freeze 12-14; scores 01-05 grade 1, 02-10 grade 3, 05-02 grade 2 -> one row: 05-02 grade 2; two superseded."""
    scores = [Score("2032-01-05", 1), Score("2032-05-02", 2), Score("2032-02-10", 3)]
    joined = join([night("2031-12-14")], scores)
    assert damage(joined) == [("2032-05-02", 2, 2)]
    assert left_out(joined) == [("score", "2032-01-05", "superseded"), ("score", "2032-02-10", "superseded")]
    assert "2032-05-02" in joined.left_out["detail"][0]


def test_of_two_observers_the_worst_counts_and_a_wide_difference_is_listed() -> None:
    """Freeze 12-14; 02-10 grade 1 by one and 3 by another -> grade 3; one superseded; one for a second look."""
    scores = [Score("2032-02-10", 1, observer="east"), Score("2032-02-10", 3, observer="west")]
    joined = join([night("2031-12-14")], scores)
    assert damage(joined) == [("2032-02-10", 3, 3)]
    assert left_out(joined) == [("score", "2032-02-10", "superseded")]
    assert "by east" in joined.left_out["detail"][0] and "grade 3" in joined.left_out["detail"][0]
    assert joined.second_look.to_dict("records") == [
        {"plant": "T12", "scored_on": date(2032, 2, 10), "reason": "observers differ",
         "detail": "grades 1 and 3 on 2032-02-10: the worst counts"}
    ]  # fmt: skip


def test_observers_one_grade_apart_need_no_second_look() -> None:
    """Freeze 12-14; 02-10 grades 2 and 3 -> grade 3, and nothing to look at again."""
    scores = [Score("2032-02-10", 2, observer="east"), Score("2032-02-10", 3, observer="west")]
    joined = join([night("2031-12-14")], scores)
    assert damage(joined) == [("2032-02-10", 3, 3)] and joined.second_look.empty


def test_observers_who_differed_on_a_superseded_day_need_no_second_look() -> None:
    """Freeze 12-14; 02-10 grades 0 and 4, 05-02 grade 3 -> 05-02 counts; the older difference is no matter."""
    scores = [Score("2032-02-10", 0, observer="east"), Score("2032-02-10", 4, observer="west"), Score("2032-05-02", 3)]
    joined = join([night("2031-12-14")], scores)
    assert damage(joined) == [("2032-05-02", 3, 3)] and joined.second_look.empty


def test_a_freeze_that_ends_at_noon_does_not_lie_before_that_days_score() -> None:
    """Freeze until 12:00 local on 02-10 (score of that day does not see it); until 11:59:59 it does."""
    noon = datetime(2032, 2, 10, 12, tzinfo=ZoneInfo("Europe/Lisbon"))
    for ends, seen in ((noon, 0), (noon - timedelta(seconds=1), 1)):
        joined = join([Freeze(noon - timedelta(hours=14), ends)], [Score("2032-02-10", 1)])
        assert len(joined.observations) == seen


@pytest.mark.parametrize(("day", "noon_utc"), [("2032-03-27", 12), ("2032-03-28", 11)])
def test_noon_is_local_noon_also_on_the_day_the_clocks_go_forward(day: str, noon_utc: int) -> None:
    """Lisbon goes to summer time on 2032-03-28: that day's noon is 11:00 UTC, the day before's 12:00 UTC."""
    noon = datetime.fromisoformat(day).replace(hour=noon_utc, tzinfo=UTC)
    before = Freeze(noon - timedelta(hours=9), noon - timedelta(minutes=1))
    after = Freeze(noon - timedelta(hours=9), noon + timedelta(minutes=1))
    assert damage(join([before], [Score(day, 2)])) == [(day, 2, 2)]
    assert damage(join([after], [Score(day, 2)])) == []


def test_settling_is_counted_in_hours_over_the_change_of_clocks() -> None:
    """Freeze ends 03-21 12:00 UTC; on 03-28 noon is 11:00 UTC, 167 h later: early; on 03-29, 191 h later: settled."""
    freeze = Freeze(datetime(2032, 3, 21, 2, tzinfo=UTC), datetime(2032, 3, 21, 12, tzinfo=UTC))
    assert rows(join([freeze], [Score("2032-03-28", 1)]), "provisional") == [(True,)]
    assert rows(join([freeze], [Score("2032-03-29", 1)]), "provisional") == [(False,)]


def test_exactly_settle_days_is_settled() -> None:
    """Freeze ends 2032-01-10 12:00 local; the score of 01-17 is 168 h later -> not early."""
    freeze = Freeze(datetime(2032, 1, 10, 2, tzinfo=UTC), datetime(2032, 1, 10, 12, tzinfo=UTC))
    assert rows(join([freeze], [Score("2032-01-17", 1)]), "provisional") == [(False,)]


# --- Several freezes in a window ----------------------------------------------------------------------------------


def test_the_coldest_of_several_freezes_is_the_exposure_and_near_counts_those_within_a_degree() -> None:
    """Held -5.0, -7.5, -6.5 (1.0 warmer: near), -6.4 (not); score 03-10 -> exposure -7.5, near 2, freezes 4."""
    freezes = [night("2031-12-01", -5.0), night("2031-12-20", -7.5), night("2032-01-05", -6.5),
               night("2032-01-25", -6.4)]  # fmt: skip
    joined = join(freezes, [Score("2032-03-10", 2)])
    assert rows(joined, "freeze", "exposure_c", "near", "freezes") == [("2031-12-20 L1", -7.5, 2, 4)]


@pytest.mark.parametrize("last", [-7.0, -7.0 - 1e-12])
def test_of_equally_cold_freezes_the_earliest_is_the_exposure(last: float) -> None:
    """Held -6.8, -7.0, -7.0 (once with a rounding error): the freeze of 12-20 -> near 3."""
    freezes = [night("2032-01-05", last), night("2031-12-20", -7.0), night("2031-12-01", -6.8)]
    joined = join(freezes, [Score("2032-03-10", 2)])
    assert rows(joined, "freeze", "exposure_c", "near") == [("2031-12-20 L1", -7.0, 3)]


def test_a_degree_of_difference_survives_rounding() -> None:
    """Held -4.4 and -3.4: their difference is 1.0000000000000004 in floating point -> near 2."""
    joined = join([night("2031-12-01", -4.4), night("2031-12-20", -3.4)], [Score("2032-03-10", 1)])
    assert rows(joined, "near") == [(2,)]


def test_the_deviation_is_that_of_the_coldest_freeze() -> None:
    """Freeze at L1 held -5 (sd 0.6), at L2 held -8 (sd 1.1, accuracy 0.4) -> 1.1 and 0.4, sensor L2."""
    freezes = [night("2031-12-01", -5.0, sd_c=0.6), night("2031-12-20", -8.0, sd_c=1.1, sensor="L2")]
    joined = join(freezes, [Score("2032-03-10", 1)], accuracy_c={"L1": 0.2, "L2": 0.4})
    assert rows(joined, "sensor", "exposure_sd_c", "sensor_sd_c") == [("L2", 1.1, 0.4)]


def test_another_held_duration_is_taken_where_the_settings_name_it() -> None:
    """model_held_h = 2: the column held_2h_c is read; held_1h_c is not there."""
    rules = Settings("Hill", "UTC", rules=FreezeRules(held_h=(2.0,)), model_held_h=2.0)
    joined = join([night("2031-12-14", -4.2)], [Score("2032-01-20", 1)], rules=rules)
    assert rows(joined, "exposure_c") == [(-4.2,)]


def short(day: str, *, hours: float, minimum_c: float, coverage: float = 1.0) -> Freeze:
    starts = datetime.fromisoformat(day).replace(hour=5, tzinfo=UTC)
    return Freeze(starts, starts + timedelta(hours=hours), float("nan"), minimum_c=minimum_c, coverage=coverage)


def test_a_short_fully_covered_freeze_counts_with_its_minimum() -> None:
    """45 min, coverage 1, minimum -2.5, no held temperature -> exposure -2.5."""
    joined = join([short("2031-12-14", hours=0.75, minimum_c=-2.5, coverage=1 - 1e-12)], [Score("2032-01-20", 1)])
    assert rows(joined, "exposure_c", "grade") == [(-2.5, 1)] and joined.left_out.empty


@pytest.mark.parametrize(("hours", "coverage"), [(0.75, 0.9), (1.0, 1.0), (9.0, 0.1)])
def test_a_freeze_without_held_temperature_leaves_its_whole_window_out(hours: float, coverage: float) -> None:
    """Freeze 12-01 held -6, freeze 12-14 without held temperature; score 01-20 grade 2 -> left out with both."""
    freezes = [night("2031-12-01"), short("2031-12-14", hours=hours, minimum_c=-2.5, coverage=coverage)]
    joined = join(freezes, [Score("2032-01-20", 2)])
    assert joined.observations.empty
    assert left_out(joined) == [("window", "2032-01-20", "no held temperature")]
    assert joined.left_out["freeze"].tolist() == ["2031-12-14 L1"]


def test_an_unrecorded_event_leaves_its_whole_window_out_and_moves_no_score() -> None:
    """Freeze 12-01; unrecorded event 12-14; score 01-20 grade 2; freeze 02-10; score 03-20 grade 2.

    -> the window of 01-20 is left out; the row of 03-20 knows that grade 2 stood already.
    """
    freezes = [night("2031-12-01"), unrecorded("2031-12-14"), night("2032-02-10", -4.0)]
    joined = join(freezes, [Score("2032-01-20", 2), Score("2032-03-20", 2)])
    assert damage(joined) == [("2032-03-20", 0, 2)]
    assert left_out(joined) == [("window", "2032-01-20", "exposure unknown")]
    assert joined.left_out["freeze"].tolist() == ["2031-12-14"]
    assert "2 freezes" in joined.left_out["detail"][0]


def test_unknown_exposure_goes_before_a_missing_held_temperature() -> None:
    """Freeze 12-01 without held temperature, unrecorded event 12-14; score 01-20 -> one row, exposure unknown."""
    freezes = [short("2031-12-01", hours=9, minimum_c=-5, coverage=0.05), unrecorded("2031-12-14")]
    assert left_out(join(freezes, [Score("2032-01-20", 2)])) == [("window", "2032-01-20", "exposure unknown")]


def test_of_several_unrecorded_events_the_first_is_named() -> None:
    """Unrecorded events 12-01 and 12-14, score 01-20 -> the remark names that of 12-01."""
    joined = join([unrecorded("2031-12-01"), unrecorded("2031-12-14")], [Score("2032-01-20", 2)])
    assert joined.left_out["freeze"].tolist() == ["2031-12-01"]
    assert "in the event 2031-12-01;" in joined.left_out["detail"][0]


# --- Standing grade -----------------------------------------------------------------------------------------------


def test_damage_carried_over_is_not_laid_to_the_next_freeze() -> None:
    """Freeze 12-01, score 12-20 grade 2; freeze 01-10, score 02-01 grade 2; freeze 02-20, score 04-01 grade 4.

    -> grade_low 2, then 0 (grade 2 stood already), then 4.
    """
    freezes = [night("2031-12-01"), night("2032-01-10"), night("2032-02-20")]
    joined = join(freezes, [Score("2031-12-20", 2), Score("2032-02-01", 2), Score("2032-04-01", 4)])
    assert damage(joined) == [("2031-12-20", 2, 2), ("2032-02-01", 0, 2), ("2032-04-01", 4, 4)]


def test_summer_ends_the_standing_grade() -> None:
    """Freeze 01-10, score 03-01 grade 3; next winter freeze 12-05, score 2033-01-10 grade 2 -> grade_low 2."""
    joined = join([night("2032-01-10"), night("2032-12-05")], [Score("2032-03-01", 3), Score("2033-01-10", 2)])
    assert damage(joined) == [("2032-03-01", 3, 3), ("2033-01-10", 2, 2)] and joined.second_look.empty


def test_a_score_before_the_winters_first_freeze_sets_the_standing_grade() -> None:
    """Planted 2028; score 2031-10-15 grade 1 (no row); freeze 12-01; score 12-20 grade 1 -> grade_low 0."""
    joined = join([night("2031-12-01")], [Score("2031-10-15", 1), Score("2031-12-20", 1)])
    assert damage(joined) == [("2031-12-20", 0, 1)] and joined.left_out.empty
    assert joined.said == [
        "1 score answers for no freeze: given before the plant had met one, as the state it started from."
    ]


def test_a_score_of_an_earlier_winter_sets_no_standing_grade() -> None:
    """Score 2031-06-30 grade 1 (before July: winter 2030-31) -> grade_low 1; on 2031-07-01 -> grade_low 0."""
    for day, low in (("2031-06-30", 1), ("2031-07-01", 0)):
        assert damage(join([night("2031-12-01")], [Score(day, 1), Score("2031-12-20", 1)])) == [("2031-12-20", low, 1)]


def test_of_several_scores_before_the_first_freeze_the_last_sets_the_standing_grade() -> None:
    """Scores 09-01 grade 2, 10-15 grade 1, freeze 12-01, score 12-20 grade 2 -> grade_low 2; 09-01 is superseded."""
    scores = [Score("2031-09-01", 2), Score("2031-10-15", 1), Score("2031-12-20", 2)]
    joined = join([night("2031-12-01")], scores)
    assert damage(joined) == [("2031-12-20", 2, 2)]
    assert left_out(joined) == [("score", "2031-09-01", "superseded")]


def test_of_two_observers_before_the_first_freeze_the_worst_sets_the_standing_grade() -> None:
    """Score 10-15 grade 1 by one and 2 by another, freeze 12-01, score 12-20 grade 2 -> grade_low 0."""
    scores = [Score("2031-10-15", 2, observer="east"), Score("2031-10-15", 1, observer="west"), Score("2031-12-20", 2)]
    assert damage(join([night("2031-12-01")], scores)) == [("2031-12-20", 0, 2)]


def test_a_score_after_summer_counts_for_last_winters_window_and_is_listed_for_a_second_look() -> None:
    """Freeze 02-10, score 04-01 grade 3, score 10-15 grade 1; freeze 12-05, score 2033-01-10 grade 1.

    -> the window of 02-10 closes with the last date, 10-15 grade 1, and is listed; grade 1 stood when winter began.
    """
    scores = [Score("2032-04-01", 3), Score("2032-10-15", 1), Score("2033-01-10", 1)]
    joined = join([night("2032-02-10"), night("2032-12-05")], scores)
    assert damage(joined) == [("2032-10-15", 1, 1), ("2033-01-10", 0, 1)]
    assert left_out(joined) == [("score", "2032-04-01", "superseded")]
    (look,) = joined.second_look.to_dict("records")
    assert (look["reason"], look["scored_on"]) == ("changed over summer", date(2032, 10, 15))
    assert "grade 3 was seen on 2032-04-01" in look["detail"]


def test_of_several_scores_before_summer_the_last_that_differs_is_named() -> None:
    """Freeze 02-10, scores 03-01 grade 4, 04-01 grade 3, 05-01 grade 1, 10-15 grade 1 -> grade 3 on 04-01 is told."""
    scores = [Score("2032-03-01", 4), Score("2032-04-01", 3), Score("2032-05-01", 1), Score("2032-10-15", 1)]
    (look,) = join([night("2032-02-10")], scores).second_look.to_dict("records")
    assert "grade 3 was seen on 2032-04-01" in look["detail"] and "2032-03-01" not in look["detail"]


def test_an_unchanged_score_after_summer_needs_no_second_look() -> None:
    """Freeze 02-10, scores 04-01 and 10-15 both grade 3 -> one row, nothing to look at again."""
    joined = join([night("2032-02-10")], [Score("2032-04-01", 3), Score("2032-10-15", 3)])
    assert damage(joined) == [("2032-10-15", 3, 3)] and joined.second_look.empty


def test_scores_of_one_autumn_that_differ_need_no_second_look() -> None:
    """Freeze 02-10, scores 04-01 grade 3, 09-01 grade 2, 10-15 grade 3 -> what was seen before summer still holds."""
    joined = join([night("2032-02-10")], [Score("2032-04-01", 3), Score("2032-09-01", 2), Score("2032-10-15", 3)])
    assert damage(joined) == [("2032-10-15", 3, 3)] and joined.second_look.empty


@pytest.mark.parametrize(("grade", "low"), [(3, 0), (2, 0), (4, 4)])
def test_a_window_over_summer_belongs_to_the_winter_of_its_coldest_freeze(grade: int, low: int) -> None:
    """Freezes 01-10 held -9 and 12-05 held -4, score 12-20 grade 3; freeze 2033-01-15, score 02-10 grade 3, 2 or 4.

    -> the first window is counted to 2031-32, but its grade was seen in 2032-33 and stands there: grade_low 3, then 0
    unless the grade got worse.
    """
    freezes = [night("2032-01-10", -9.0), night("2032-12-05", -4.0), night("2033-01-15", -5.0)]
    joined = join(freezes, [Score("2032-12-20", 3), Score("2033-02-10", grade)])
    assert rows(joined, "winter", "freezes", "grade_low") == [("2031-32", 2, 3), ("2032-33", 1, low)]
    assert joined.second_look.empty


def test_new_year_does_not_end_a_northern_winter() -> None:
    """Freeze 12-31 to 01-01, score 01-15 grade 2; freeze 01-20, score 02-10 grade 2 -> grade_low 2, then 0."""
    joined = join([night("2031-12-31"), night("2032-01-20")], [Score("2032-01-15", 2), Score("2032-02-10", 2)])
    assert rows(joined, "winter", "grade_low") == [("2031-32", 2), ("2031-32", 0)]


def test_a_southern_winter_is_the_calendar_year() -> None:
    """South of the equator: score 2032-01-02 grade 1; freeze 06-20, score 07-20 grade 1; freeze 08-01, 09-10 grade 2.

    -> winter 2032 all along: July 1 ends nothing, the score of January sets the standing grade.
    """
    freezes = [night("2032-06-20"), night("2032-08-01")]
    scores = [Score("2032-01-02", 1), Score("2032-07-20", 1), Score("2032-09-10", 2)]
    joined = join(freezes, scores, rules=SOUTH)
    assert rows(joined, "winter", "grade_low", "grade") == [("2032", 0, 1), ("2032", 2, 2)]


def test_a_southern_score_of_december_does_not_stand_in_the_next_winter() -> None:
    """South of the equator: score 2031-12-30 grade 1; freeze 2032-06-20, score 07-20 grade 1 -> grade_low 1."""
    joined = join([night("2032-06-20")], [Score("2031-12-30", 1), Score("2032-07-20", 1)], rules=SOUTH)
    assert rows(joined, "winter", "grade_low") == [("2032", 1)]


def test_southern_noon_is_the_trials_own() -> None:
    """In the Auckland zone (UTC+12 in July) noon of 07-20 is 00:00 UTC: a freeze that ends 00:30 UTC is after it."""
    freeze = Freeze(datetime(2032, 7, 19, 14, tzinfo=UTC), datetime(2032, 7, 20, 0, 30, tzinfo=UTC))
    assert damage(join([freeze], [Score("2032-07-20", 1)], rules=SOUTH)) == []
    assert damage(join([freeze], [Score("2032-07-21", 1)], rules=SOUTH)) == [("2032-07-21", 1, 1)]


# --- Early and provisional ----------------------------------------------------------------------------------------


def test_an_early_score_with_nothing_after_it_is_provisional() -> None:
    """Freeze 01-10 (ends 01-11), score 01-13 grade 2 -> a row, provisional."""
    joined = join([night("2032-01-10")], [Score("2032-01-13", 2)])
    assert rows(joined, "scored_on", "grade", "provisional") == [("2032-01-13", 2, True)]


def test_a_settled_score_replaces_an_early_one() -> None:
    """Freeze 01-10, score 01-13 grade 1 (early), score 02-20 grade 3 -> 02-20, settled; the early one superseded."""
    joined = join([night("2032-01-10")], [Score("2032-01-13", 1), Score("2032-02-20", 3)])
    assert rows(joined, "scored_on", "grade", "provisional") == [("2032-02-20", 3, False)]
    assert left_out(joined) == [("score", "2032-01-13", "superseded")]


def test_an_early_score_followed_by_a_freeze_leaves_its_freezes_to_the_next_window() -> None:
    """Freeze 01-10 held -8, score 01-13 grade 2 (early), freeze 01-15 held -5, score 02-20 grade 3.

    -> one row: both freezes, exposure -8, grade_low 3; the early score is left out.
    """
    joined = join(
        [night("2032-01-10", -8.0), night("2032-01-15", -5.0)], [Score("2032-01-13", 2), Score("2032-02-20", 3)]
    )
    assert rows(joined, "freeze", "freezes", "grade_low", "grade") == [("2032-01-10 L1", 2, 3, 3)]
    assert left_out(joined) == [("score", "2032-01-13", "early")]
    assert "2.2 days after the freeze 2032-01-10 L1" in joined.left_out["detail"][0]
    assert joined.left_out["freeze"].tolist() == ["2032-01-10 L1"]


def test_an_early_score_followed_by_an_unscored_freeze_gives_no_row() -> None:
    """Freeze 01-10, score 01-13 grade 2 (early), freeze 01-15, no more -> early, and a window of 2 not scored."""
    joined = join([night("2032-01-10"), night("2032-01-15")], [Score("2032-01-13", 2)])
    assert joined.observations.empty
    assert left_out(joined) == [("score", "2032-01-13", "early"), ("window", None, "not scored")]
    assert "2 freezes (2032-01-10 L1 to 2032-01-15 L1)" in joined.left_out["detail"][1]


def test_an_early_death_closes_its_window_once_a_freeze_has_followed() -> None:
    """Freeze 01-10, score 01-13 dead (early), freeze 01-15 -> a row, not provisional: the plant is dead."""
    joined = join([night("2032-01-10"), night("2032-01-15")], [Score("2032-01-13", DEAD)])
    assert rows(joined, "freeze", "grade", "provisional") == [("2032-01-10 L1", DEAD, False)]
    assert joined.left_out.empty


def test_an_early_death_with_nothing_after_it_is_provisional() -> None:
    """Freeze 01-10, score 01-13 dead -> a row, provisional."""
    joined = join([night("2032-01-10")], [Score("2032-01-13", DEAD)])
    assert rows(joined, "grade", "provisional") == [(DEAD, True)]


# --- Death --------------------------------------------------------------------------------------------------------


def test_a_plant_scored_dead_that_shoots_before_the_next_freeze_lives() -> None:
    """Freeze 01-10, score 02-10 dead, score 05-02 grade 3; freeze 12-05, score 2033-02-01 grade 1.

    -> grade 3, said; the next winter counts as for any living plant.
    """
    scores = [Score("2032-02-10", DEAD), Score("2032-05-02", 3), Score("2033-02-01", 1)]
    joined = join([night("2032-01-10"), night("2032-12-05")], scores)
    assert damage(joined) == [("2032-05-02", 3, 3), ("2033-02-01", 1, 1)]
    assert joined.said == ["T12 was scored dead on 2032-02-10, grade 3 on 2032-05-02: it lives"]
    assert left_out(joined) == [("score", "2032-02-10", "superseded")]


def test_a_death_that_is_confirmed_in_spring_is_one_death() -> None:
    """Freeze 01-10, score 02-10 dead, score 03-01 grade 4, score 05-02 dead -> one row, nothing said."""
    scores = [Score("2032-02-10", DEAD), Score("2032-03-01", 4), Score("2032-05-02", DEAD)]
    joined = join([night("2032-01-10")], scores)
    assert damage(joined) == [("2032-05-02", DEAD, DEAD)] and joined.said == []


def test_after_a_settled_death_nothing_counts_any_more() -> None:
    """Freeze 01-10, score 02-10 dead; freezes 12-05 and 12-20; scores 2033-02-01 dead, 2033-05-02 grade 2.

    -> one row; the repeated death adds nothing, the better score names its way out; the later freezes need no score.
    """
    freezes = [night("2032-01-10"), night("2032-12-05"), night("2032-12-20")]
    joined = join(freezes, [Score("2032-02-10", DEAD), Score("2033-02-01", DEAD), Score("2033-05-02", 2)])
    assert damage(joined) == [("2032-02-10", DEAD, DEAD)]
    assert left_out(joined) == [
        ("score", "2033-02-01", "already dead"),
        ("score", "2033-05-02", "better score after a settled death"),
    ]
    assert "withdraw the score of 2032-02-10" in joined.left_out["detail"][1]
    assert joined.said == [] and joined.second_look.empty


def test_a_refused_score_names_the_death_of_its_own_plant() -> None:
    """T11 dead on 01-20, T12 dead on 02-10, both settled by freeze 12-05; T12 again 2033-05-02 -> 02-10 is named.

    Two observers differ that day: the score does not count, so nobody need look again.
    """
    freezes = [night(day, plant=name) for name in ("T11", "T12") for day in ("2032-01-10", "2032-12-05")]
    scores = [
        Score("2032-01-20", DEAD, plant="T11"), Score("2032-02-10", DEAD),
        Score("2033-05-02", 1, observer="east"), Score("2033-05-02", 4, observer="west"),
    ]  # fmt: skip
    joined = join(freezes, scores, Plant("T11"), Plant("T12"))
    assert [reason for _, _, reason in left_out(joined)] == ["better score after a settled death"] * 2
    assert joined.left_out["detail"].str.contains("T12 was scored dead on 2032-02-10").all()
    assert joined.second_look.empty


def test_shoots_from_below_the_graft_are_scored_with_the_last_grade() -> None:
    """Freeze 01-10; score 03-01 dead, 05-02 dead though the stock shoots; freeze 12-05 -> dead, and settled."""
    joined = join([night("2032-01-10"), night("2032-12-05")], [Score("2032-03-01", DEAD), Score("2032-05-02", DEAD)])
    assert damage(joined) == [("2032-05-02", DEAD, DEAD)]
    assert left_out(joined) == [("score", "2032-03-01", "superseded")]


def test_a_death_whose_exposure_is_unknown_is_a_death_all_the_same() -> None:
    """Unrecorded event 01-10, score 02-10 dead; freeze 12-05, score 2033-02-01 dead -> no row at all."""
    joined = join(
        [unrecorded("2032-01-10"), night("2032-12-05")], [Score("2032-02-10", DEAD), Score("2033-02-01", DEAD)]
    )
    assert joined.observations.empty
    assert left_out(joined) == [("window", "2032-02-10", "exposure unknown"), ("score", "2033-02-01", "already dead")]


@pytest.mark.parametrize("planted_on", [None, date(2031, 4, 1)])
def test_a_plant_dead_before_it_met_a_freeze_did_not_die_of_cold(planted_on: date | None) -> None:
    """Score 2032-02-10 dead, no freeze before; freeze 12-05, score 2033-02-01 dead -> no row; both listed.

    Where planted_on is empty it is named: earlier freezes would count with it.
    """
    plant = Plant(planted_on=planted_on)
    joined = join([night("2032-12-05")], [Score("2032-02-10", DEAD), Score("2033-02-01", DEAD)], plant)
    assert joined.observations.empty
    assert left_out(joined) == [
        ("score", "2032-02-10", "dead before any freeze"),
        ("score", "2033-02-01", "already dead"),
    ]
    assert ("planted_on" in joined.left_out["detail"][0]) == (planted_on is None)


# --- Protection ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("cells", "protected"),
    [
        (["cover"], "cover"),
        (["no"], ""),
        ([""], ""),
        (["cover", ""], "cover"),
        (["cover", "no"], ""),
        (["no", "heater"], "heater"),
        (["cover", "bank", ""], "bank"),
    ],
)
def test_the_last_cell_that_says_anything_decides_on_protection(cells: list[str], protected: str) -> None:
    """Freeze 01-10; scores of 02-10, 03-10, 04-10 with these cells -> the row's protection; a death stays a death."""
    scores = [Score(f"2032-{month:02d}-10", DEAD, cell) for month, cell in enumerate(cells, start=2)]
    joined = join([night("2032-01-10")], scores)
    assert rows(joined, "protected", "grade") == [(protected, DEAD)]


@pytest.mark.parametrize(("cells", "is_said"), [(["cover", ""], True), (["cover", "cover"], False), (["", ""], False)])
def test_a_protection_taken_from_an_earlier_score_is_said(cells: list[str], is_said: bool) -> None:
    """Freeze 01-10; scores of 02-10 and 03-10 with these cells -> a sentence where the one that counts is silent."""
    scores = [Score(f"2032-{month:02d}-10", 1, cell) for month, cell in enumerate(cells, start=2)]
    said = " ".join(join([night("2032-01-10")], scores).said)
    assert ("1 score leaves protected empty where another score for the same freeze" in said) == is_said
    assert ("(T12)" in said) == is_said


def test_protection_in_one_window_says_nothing_of_the_next() -> None:
    """Freeze 01-10, score 02-10 with cover; freeze 02-20, score 04-01 with an empty cell -> cover, then open."""
    joined = join([night("2032-01-10"), night("2032-02-20")], [Score("2032-02-10", 1, "cover"), Score("2032-04-01", 1)])
    assert rows(joined, "protected") == [("cover",), ("",)]


@pytest.mark.parametrize(("later_c", "protected"), [(-5.0, "cover"), (-9.0, "")])
def test_an_early_score_speaks_of_the_coldest_freeze_only_if_that_came_before_it(
    later_c: float, protected: str
) -> None:
    """Freeze 01-10 held -8, early score 01-13 with cover, freeze 01-15, score 02-20 with an empty cell.

    -> cover if the first freeze was the coldest, open if the one after the early score was.
    """
    freezes = [night("2032-01-10", -8.0), night("2032-01-15", later_c)]
    joined = join(freezes, [Score("2032-01-13", 1, "cover"), Score("2032-02-20", 1)])
    assert rows(joined, "protected") == [(protected,)]


def test_a_protection_seen_before_the_freeze_is_not_taken_for_it() -> None:
    """Score 10-15 with cover (no freeze yet), freeze 12-01, score 2032-01-20 with an empty cell -> open."""
    joined = join([night("2031-12-01")], [Score("2031-10-15", 0, "cover"), Score("2032-01-20", 1)])
    assert rows(joined, "protected") == [("",)]


def test_observers_who_differ_on_protection_are_listed() -> None:
    """Freeze 01-10; 02-10 grade 2 `no` by one, grade 1 `cover` by another -> cover, and a second look."""
    scores = [Score("2032-02-10", 2, "no", "east"), Score("2032-02-10", 1, "cover", "west")]
    joined = join([night("2032-01-10")], scores)
    assert rows(joined, "grade", "protected") == [(2, "cover")]
    assert joined.second_look["reason"].tolist() == ["protection differs"]


def test_of_two_protections_named_on_one_day_that_with_the_worst_grade_is_taken() -> None:
    """Freeze 01-10; 02-10 grade 1 `bank` by one, grade 2 `heater` by another -> grade 2, heater."""
    scores = [Score("2032-02-10", 1, "bank", "east"), Score("2032-02-10", 2, "heater", "west")]
    assert rows(join([night("2032-01-10")], scores), "grade", "protected") == [(2, "heater")]


@pytest.mark.parametrize(("cell", "counted"), [("", ""), ("cover", "cover")])
def test_plants_in_containers_are_marked_unless_asked_for(cell: str, counted: str) -> None:
    """grown_in container; freeze 01-10, score 02-10 -> protected `container`; with containers=True as scored."""
    records = [night("2032-01-10")], [Score("2032-02-10", 2, cell)], Plant(grown_in="container")
    assert rows(join(*records), "protected", "grade") == [("container", 2)]
    assert rows(join(*records, containers=True), "protected", "grade") == [(counted, 2)]


def test_two_kinds_of_protection_named_on_one_day_are_no_dispute_over_whether_there_was_one() -> None:
    """Freeze 01-10; on 02-20 one saw a cover and one snow -> protected, and nothing to look at again."""
    scores = [Score("2032-02-20", 1, "cover", "A"), Score("2032-02-20", 1, "snow", "B")]
    joined = join([night("2032-01-10")], scores)
    assert joined.second_look.empty and joined.observations["protected"].ne("").all()


# --- Without a score ----------------------------------------------------------------------------------------------


def test_freezes_after_the_last_score_are_listed_as_not_scored() -> None:
    """Freeze 01-10, score 02-10 grade 1; freezes 12-05 and 12-20 -> one row, and one open window of 2 freezes."""
    freezes = [night("2032-01-10"), night("2032-12-05"), night("2032-12-20")]
    joined = join(freezes, [Score("2032-02-10", 1)])
    assert damage(joined) == [("2032-02-10", 1, 1)]
    assert left_out(joined) == [("window", None, "not scored")]
    assert joined.left_out["detail"].tolist() == ["no score answers for 2 freezes (2032-12-05 L1 to 2032-12-20 L1)"]


def test_a_plant_without_any_score_is_no_survivor() -> None:
    """Freeze 01-10, no score -> no row; listed with the name of the freeze."""
    joined = join([night("2032-01-10")], [])
    assert joined.observations.empty and left_out(joined) == [("window", None, "not scored")]
    assert joined.left_out["freeze"].tolist() == ["2032-01-10 L1"]


@pytest.mark.parametrize("lost_to", ["cold", "other", ""])
def test_a_plant_taken_out_without_a_score_is_listed(lost_to: str) -> None:
    """Freeze 01-10, taken out 2032-04-01 with no score -> listed; lost to cold: how to make it count."""
    joined = join([night("2032-01-10")], [], Plant(removed_on=date(2032, 4, 1), lost_to=lost_to))
    assert joined.observations.empty and left_out(joined) == [("window", None, "removed unscored")]
    assert "2032-04-01" in joined.left_out["detail"][0]
    assert ("lost to cold" in joined.left_out["detail"][0]) == (lost_to == "cold")


def test_a_plant_taken_out_after_its_score_is_not_listed() -> None:
    """Freeze 01-10, score 02-10 dead, taken out 2032-04-01 -> one row, nothing left out."""
    joined = join([night("2032-01-10")], [Score("2032-02-10", DEAD)], Plant(removed_on=date(2032, 4, 1)))
    assert damage(joined) == [("2032-02-10", DEAD, DEAD)] and joined.left_out.empty


def test_a_plant_with_planted_on_empty_starts_with_its_first_score() -> None:
    """planted_on empty: score 2031-11-01 grade 1, freeze 12-14, score 2032-01-20 grade 1 -> one row, grade_low 0."""
    scores = [Score("2031-11-01", 1), Score("2032-01-20", 1)]
    joined = join([night("2031-12-14")], scores, Plant(planted_on=None))
    assert damage(joined) == [("2032-01-20", 0, 1)] and joined.left_out.empty


def test_a_row_of_several_unscored_freezes_bears_the_name_of_none() -> None:
    """Freezes 01-10 and 02-10 and no score after them -> one row that counts them; one freeze -> its name."""
    first = Score("2031-12-01", 0)
    for days, name in ((["2032-01-10", "2032-02-10"], ""), (["2032-01-10"], "2032-01-10 L1")):
        (row,) = join([night(day) for day in days], [first]).left_out.to_dict("records")
        assert (row["reason"], row["freeze"]) == ("not scored", name)


# --- Tables -------------------------------------------------------------------------------------------------------


def test_nothing_at_all_gives_empty_tables_with_their_columns_and_kinds() -> None:
    """No freeze and no score; and a plant with a score but no freeze; and no plant."""
    for scores, plants in (([], [Plant()]), ([Score("2032-01-20", 1)], [Plant()])):
        joined = join([], scores, *plants)
        assert joined.observations.empty and joined.left_out.empty and joined.second_look.empty
        assert list(joined.observations.columns) == schema.column_names(schema.OBSERVATIONS)
        assert list(joined.left_out.columns) == schema.column_names(schema.LEFT_OUT)
        assert list(joined.second_look.columns) == schema.column_names(schema.SECOND_LOOK)
        kinds = joined.observations.dtypes
        assert kinds["grade"] == np.int64 and kinds["exposure_c"] == np.float64 and kinds["provisional"] == np.bool_
    assert join_scores(exposures_of([], HILL), plants_of([]), scores_of([]), sensors_of({}), HILL).observations.empty


def test_rows_are_sorted_by_plant_and_date_and_a_label_stays_text() -> None:
    """Plants 10, 007 and 9, two windows each -> text order 007, 10, 9, each by date."""
    names = ["10", "007", "9"]
    freezes = [night(day, plant=name) for name in names for day in ("2032-02-10", "2031-12-14")]
    scores = [Score(day, 1, plant=name) for name in names for day in ("2032-04-01", "2032-01-20")]
    joined = join(freezes, scores, *(Plant(name) for name in names))
    assert rows(joined, "plant", "scored_on") == [
        (name, day) for name in ("007", "10", "9") for day in ("2032-01-20", "2032-04-01")
    ]


def test_each_plant_has_windows_of_its_own() -> None:
    """T12 scored after each of two freezes, T13 after both, T14 never -> 2 rows, 1 row of 2 freezes, not scored."""
    plants = [Plant("T12"), Plant("T13", "OL-08", "own"), Plant("T14")]
    freezes = [night(day, plant=plant.plant) for plant in plants for day in ("2031-12-14", "2032-02-10")]
    scores = [Score("2032-01-20", 1), Score("2032-04-01", 1), Score("2032-04-01", 2, plant="T13")]
    joined = join(freezes, scores, *plants)
    assert rows(joined, "plant", "selection", "rootstock", "freezes") == [
        ("T12", "OL-07", "stock P", 1), ("T12", "OL-07", "stock P", 1), ("T13", "OL-08", "own", 2),
    ]  # fmt: skip
    assert joined.left_out["plant"].tolist() == ["T14"]


def test_a_score_of_an_unknown_plant_is_refused_by_name() -> None:
    """A score of T99, an exposure of T98, neither in the register -> both named at once."""
    with pytest.raises(InputError, match="T99") as caught:
        join([night("2031-12-14", plant="T98")], [Score("2032-01-20", 1, plant="T99")])
    assert len(caught.value.problems) == 2 and "T98" in str(caught.value)


def test_the_summary_counts_by_reason() -> None:
    """Three scores between two freezes, two of them superseded; a later freeze not scored -> 2 and 1."""
    scores = [Score("2032-01-20", 1), Score("2032-02-20", 1), Score("2032-03-20", 2)]
    joined = join([night("2031-12-14"), night("2032-12-14")], scores)
    summary = left_out_summary(joined.left_out)
    assert summary[["reason", "count"]].values.tolist() == [["superseded", 2], ["not scored", 1]]
    assert summary["example"][0].startswith("grade 1 on 2032-01-20")
    empty = left_out_summary(joined.left_out.iloc[:0])
    assert empty.empty and list(empty.columns) == ["reason", "count", "example"]


# --- Properties ---------------------------------------------------------------------------------------------------

SPRING = date(2031, 6, 1)


@st.composite
def records(draw: st.DrawFn) -> tuple[list[Freeze], list[Score], list[Plant]]:
    """Up to three plants over two and a half years: nights of frost, and scores on any day."""
    plants = [Plant(name) for name in draw(st.sampled_from([["T12"], ["T12", "T9"], ["T12", "T9", "007"]]))]
    freezes, scores = [], []
    day = st.integers(0, 900).map(lambda days: str(SPRING + timedelta(days)))
    held = st.sampled_from([-3.0, -4.0, -4.5, -6.0, -6.0, -8.5, float("nan")])
    score = st.tuples(
        day, st.integers(0, DEAD), st.sampled_from(["", "", "no", "cover"]), st.sampled_from(["", "east"])
    )
    for plant in plants:
        for start in draw(st.lists(day, max_size=7, unique=True)):
            known = draw(st.integers(0, 9)) > 0
            freezes.append(night(start, draw(held), plant=plant.plant, recorded=known, coverage=0.05))
        given_scores = draw(st.lists(score, max_size=8, unique_by=lambda each: (each[0], each[3])))
        # Half of them within days of a freeze, where the rules are at their finest.
        for on, grade, protected, observer in given_scores:
            near = [each.ends for each in freezes if each.plant == plant.plant]
            if near and draw(st.booleans()):
                on = str((draw(st.sampled_from(near)) + timedelta(days=draw(st.integers(0, 9)))).date())
            scores.append(Score(on, grade, protected, observer, plant.plant))
            if draw(st.integers(0, 3)) == 0:
                scores.append(Score(on, draw(st.integers(0, DEAD)), "cover", "west", plant.plant))
    unique = {(each.plant, each.on, each.observer): each for each in scores}
    return freezes, list(unique.values()), plants


@dataclass
class ByHand:
    """What the rules give for one plant, worked out score by score."""

    rows: list[tuple[object, ...]] = field(default_factory=list)
    left_out: list[tuple[object, ...]] = field(default_factory=list)
    after_death: int = 0


def work_out(freezes: list[Freeze], scores: list[Score], rules: Settings = HILL) -> ByHand:
    """Follow one plant through time, without arrays: the same rules, written a second time."""
    result = ByHand()
    met = sorted(freezes, key=lambda each: each.ends)

    def noon(score: Score) -> datetime:
        return datetime.fromisoformat(score.on).replace(hour=12, tzinfo=rules.zone).astimezone(UTC)

    def lying_before(score: Score) -> list[Freeze]:
        return [each for each in met if each.ends < noon(score)]

    def at_start(winter: str) -> int:
        fitting = [
            each for each in scores
            if winter_label(noon(each), rules) == winter
            and all(winter_label(freeze.starts, rules) != winter for freeze in lying_before(each))
        ]  # fmt: skip
        return max((each.on, each.grade) for each in fitting)[1] if fitting else 0

    carried: dict[str, int] = {}
    closed, death, pending = 0, None, []
    for count in sorted({len(lying_before(each)) for each in scores}):
        group = [each for each in scores if len(lying_before(each)) == count]
        if death:
            result.left_out += [
                (each.on, "already dead" if each.grade == DEAD else "better score after a settled death")
                for each in group
            ]  # fmt: skip
            continue
        counting = max(group, key=lambda each: (each.on, each.grade))
        result.left_out += [(each.on, "superseded") for each in group if each is not counting]
        pending += group
        followed = count < len(met)
        if count == 0:
            if counting.grade == DEAD:
                result.left_out.append((counting.on, "dead before any freeze"))
                death = counting if followed else None
            continue
        early = noon(counting) - met[count - 1].ends < timedelta(days=rules.settle_days)
        if early and followed and counting.grade != DEAD:
            result.left_out.append((counting.on, "early"))
            continue
        window, closed = met[closed:count], count
        coldest = min(window, key=lambda each: each.held_c)
        reason = None
        if any(np.isnan(each.held_c) for each in window):
            coldest, reason = window[-1], "no held temperature"
        if not all(each.recorded for each in window):
            coldest, reason = window[-1], "exposure unknown"
        winter = winter_label(coldest.starts, rules)
        standing = carried.get(winter, at_start(winter))
        carried = {winter_label(window[-1].starts, rules): counting.grade}
        protected = ""
        for on in sorted({each.on for each in pending}):
            cells = {each.protected for each in pending if each.on == on and coldest.ends < noon(each)} - {""}
            protected = max(cells - {"no"}, default="") if cells else protected
        pending = []
        if reason:
            result.left_out.append((counting.on, reason))
        else:
            near = sum(each.held_c <= coldest.held_c + 1 for each in window)
            low = counting.grade if counting.grade > standing else 0
            event, provisional = str(coldest.starts.astimezone(rules.zone).date()), early and not followed
            row = (counting.on, event, winter, coldest.held_c, low, counting.grade, near, protected, len(window))
            result.rows.append((*row, provisional))
        if counting.grade == DEAD and followed:
            death = counting
    if death:
        result.after_death = len(met) - closed
    elif closed < len(met):
        result.left_out.append((None, "not scored"))
    return result


@settings(max_examples=150, deadline=None)
@given(records(), st.sampled_from([HILL, SOUTH]))
def test_the_join_is_what_a_plant_by_plant_reading_of_the_rules_gives(
    case: tuple[list[Freeze], list[Score], list[Plant]], rules: Settings
) -> None:
    freezes, scores, plants = case
    joined = join(freezes, scores, *plants, rules=rules)
    for name in (plant.plant for plant in plants):
        expected = work_out(
            [each for each in freezes if each.plant == name], [each for each in scores if each.plant == name], rules
        )
        table = joined.observations[joined.observations["plant"] == name]
        table = table.assign(scored_on=table["scored_on"].map(str))
        columns = ["scored_on", "event", "winter", "exposure_c", "grade_low", "grade", "near", "protected", "freezes",
                   "provisional"]  # fmt: skip
        assert list(table[columns].itertuples(index=False, name=None)) == expected.rows
        left = joined.left_out[joined.left_out["plant"] == name]
        listed = [
            (None if on is None else str(on), why) for on, why in zip(left["scored_on"], left["reason"], strict=True)
        ]
        assert sorted(listed, key=str) == sorted(expected.left_out, key=str)


@settings(max_examples=60, deadline=None)
@given(records())
def test_every_score_and_every_freeze_ends_up_exactly_once(case: tuple[list[Freeze], list[Score], list[Plant]]) -> None:
    freezes, scores, plants = case
    joined = join(freezes, scores, *plants)
    dated = joined.left_out[joined.left_out["scored_on"].notna()]
    counted = pd.concat([joined.observations[["plant", "scored_on"]], dated[["plant", "scored_on"]]])
    # A score from before the first freeze is the state the plant started from: it is counted in a sentence.
    started = [
        int(found[1]) for text in joined.said if (found := re.match(r"(\d+) scores? answers? for no freeze", text))
    ]
    assert len(counted) + sum(started) == len(scores)
    surplus = counted.value_counts() - scores_of(scores)[["plant", "scored_on"]].value_counts()
    assert (surplus.fillna(0) <= 0).all()

    unread = sum(
        int(found[1]) for text in joined.left_out["detail"] if (found := re.search(r"(\d+) freezes? \(", text))
    )
    after_death = sum(
        work_out(
            [each for each in freezes if each.plant == plant.plant],
            [each for each in scores if each.plant == plant.plant],
        ).after_death
        for plant in plants
    )
    assert joined.observations["freezes"].sum() + unread + after_death == len(freezes)


@settings(max_examples=60, deadline=None)
@given(records(), st.randoms(use_true_random=False))
def test_row_order_is_no_matter(case: tuple[list[Freeze], list[Score], list[Plant]], order: Random) -> None:
    freezes, scores, plants = case
    joined = join(freezes, scores, *plants)
    for each in (freezes, scores, plants):
        order.shuffle(each)
    again = join(freezes, scores, *plants)
    pd.testing.assert_frame_equal(again.observations, joined.observations)
    pd.testing.assert_frame_equal(again.left_out, joined.left_out)
    pd.testing.assert_frame_equal(again.second_look, joined.second_look)
    assert again.said == joined.said


@settings(max_examples=60, deadline=None)
@given(records())
def test_the_least_damage_is_the_grade_or_nothing(case: tuple[list[Freeze], list[Score], list[Plant]]) -> None:
    freezes, scores, plants = case
    table = join(freezes, scores, *plants).observations
    assert table["grade_low"].isin([0]).where(table["grade_low"] != table["grade"], True).all()
    assert (table["grade_low"] <= table["grade"]).all() and table["grade"].between(0, DEAD).all()
    assert table["near"].between(1, table["freezes"]).all()
    assert not table.duplicated(["plant", "scored_on"]).any()


@pytest.mark.slow
def test_a_hundred_thousand_scores_take_seconds() -> None:
    """30,000 plants, 6 freezes and 3 or 4 scores each: joined within 20 s, every plant accounted for."""
    rng = np.random.default_rng(20320110)
    count, nights = 30_000, [f"{year}-{month}-10" for year in (2031, 2032) for month in ("01", "02", "12")]
    names = [f"T{number:05d}" for number in range(count)]
    one = exposures_of([night(day) for day in nights], HILL)
    table = pd.concat([one.table] * count, ignore_index=True)
    table["plant"] = np.repeat(names, len(nights))
    table[schema.held_column(HILL.model_held_h)] = rng.normal(-6, 2, len(table)).round(1)
    days = [date(2031, 1, 25), date(2031, 4, 20), date(2032, 1, 5), date(2032, 3, 20)]
    keep = rng.random(count * len(days)) < 0.85
    scores = pd.DataFrame({"plant": np.repeat(names, len(days)), "scored_on": days * count})
    scores = scores.assign(grade=rng.integers(0, DEAD, len(scores)), protected="", observer="", notes="")[keep]
    plants = pd.concat([plants_of([Plant()])] * count, ignore_index=True).assign(plant=names)
    started = perf_counter()
    joined = join_scores(Exposures(table, one.unknown, one.left_out), plants, scores, sensors_of({"L1": 0.2}), HILL)
    assert perf_counter() - started < 20
    assert set(joined.observations["plant"]) | set(joined.left_out["plant"]) == set(names)
