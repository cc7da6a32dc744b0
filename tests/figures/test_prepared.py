"""What each figure says, in numbers: before anything is drawn."""

import datetime as dt
import math
from functools import cache

import numpy as np
import pandas as pd
import pytest
import xarray as xr

from hardiness.figures.damage_map import DamageMap, prepare_damage_map
from hardiness.figures.exposure_grade import prepare_exposure_grade
from hardiness.figures.freeze_course import prepare_freeze_course
from hardiness.figures.half_zones import half_zone_of, half_zones
from hardiness.figures.naming import short_names
from hardiness.figures.pairs import prepare_pairs
from hardiness.figures.ranks import prepare_ranks
from hardiness.figures.ruler import Ruler
from hardiness.figures.scale import temperature_ends
from hardiness.figures.station_logger import prepare_station_logger
from hardiness.figures.survival import prepare_survival
from hardiness.figures.winters import prepare_winters
from hardiness.flow import Flow
from hardiness.settings import Settings
from hardiness.units import to_celsius
from tests.figures.small_trial import night_readings, small_flow

SETTINGS = Settings("Terrace trial", "UTC", latitude=41.0)


@cache
def flow() -> Flow:
    return small_flow()


def curve(half_c: float) -> xr.DataArray:
    """Logistic shares that cross one half at a temperature, a degree apart for the three quantiles."""
    temperatures = np.linspace(-14, 0, 141)
    shares = 1 / (1 + np.exp(-(temperatures[:, None] - half_c + np.array([-1.0, 0.0, 1.0]))))
    return xr.DataArray(shares, {"temperature": temperatures}, ("temperature", "quantile"))


def rows_of_cell(*rows: tuple[str, float, int, int]) -> pd.DataFrame:
    table = pd.DataFrame(rows, columns=["plant", "exposure_c", "grade_low", "grade"])
    return table.assign(selection="OL-07", rootstock="own", winter="2030-31", protected="")


def test_a_survival_mark_says_what_the_row_says() -> None:
    rows = rows_of_cell(("a", -6.0, 0, 0), ("a", -9.0, 5, 5), ("b", -9.0, 5, 5), ("c", -9.0, 0, 3))
    curves = {grade: curve(-4.0 - grade) for grade in range(1, 6)}
    prepared = prepare_survival(curves, rows, selection="OL-07", rootstock="own", settings=SETTINGS)
    last, third = prepared.strips[-1], prepared.strips[2]
    assert {(m.exposure_c, m.fate): m.rows for m in last.marks} == {
        (-6, "came"): 1,
        (-9, "came"): 1,
        (-9, "reached"): 2,
    }
    assert {(m.exposure_c, m.fate): m.rows for m in third.marks} == {
        (-6, "came"): 1, (-9, "reached"): 2, (-9, "unclear"): 1,
    }  # fmt: skip
    assert prepared.tested_to_c == -9.0
    assert prepared.words.title == "OL-07 on its own roots: 9 in 10 come through −6.8 °C, half come through −9.0 °C"
    # Turnbull: two of three plants die between the two exposures.
    at = dict(zip(np.round(prepared.temperatures_c, 6), zip(last.least, last.most, strict=True), strict=True))
    assert at[-5.0] == pytest.approx((1.0, 1.0)) and at[-7.5] == pytest.approx((1 / 3, 1.0))


def test_a_survival_title_stops_at_what_was_tested() -> None:
    rows = rows_of_cell(("a", -6.0, 0, 0), ("b", -6.0, 5, 5))
    curves = {grade: curve(-8.0) for grade in range(1, 6)}
    title = prepare_survival(curves, rows, selection="OL-07", rootstock="own", settings=SETTINGS).words.title
    assert title.endswith("; nothing colder than −6.0 °C was tested")


def damage(event: str) -> DamageMap:
    f = flow()
    return prepare_damage_map(f.records.plants, f.observations, f.exposures, block="east", event=event,
                              settings=f.settings)  # fmt: skip


def test_a_map_shows_each_plant_in_its_place_as_it_was_found_after_that_freeze() -> None:
    after_first, after_last = damage("2030-01-12"), damage("2032-02-03")
    assert after_first.rows == ("R1", "R2", "R3") and after_first.places == ("1", "2", "3", "4")
    grades = {(spot.row, spot.place): spot.square.grade for spot in after_last.spots}
    assert [grades[0, place] for place in range(4)] == [4, 5, 5, 5]
    assert {spot.square.grade for spot in after_first.spots} == {0, 1}
    assert after_first.words.title == "Block east after the freeze of 12 Jan 2030: none of 12 plants dead, 9 unharmed"
    assert "8 of 12 plants dead" in after_last.words.title


def test_rows_and_places_stand_in_walking_order_and_the_dead_are_gone() -> None:
    f = flow()
    plants = f.records.plants.copy()
    plants.loc[plants["plant"] == "T0-0", "place"] = "10"
    plants.loc[plants["plant"] == "T1-0", "place"] = "9"
    rows = f.observations[f.observations["scored_on"] < dt.date(2032, 1, 1)].copy()
    rows.loc[(rows["plant"] == "T2-0") & (rows["event"] == "2031-01-08"), "grade"] = 5
    prepared = prepare_damage_map(plants, rows, f.exposures, block="east", event="2032-02-03", settings=f.settings)
    assert prepared.places == ("1", "2", "3", "4", "9", "10")
    shown = {spot.square.plant: spot.square.grade for spot in prepared.spots}
    assert "T2-0" not in shown  # it was dead before
    assert shown["T0-0"] is None  # it met the freeze and nobody has scored it since


def test_a_plant_without_a_place_is_counted_not_drawn() -> None:
    f = flow()
    plants = f.records.plants.copy()
    plants.loc[plants["plant"] == "T0-0", "place"] = ""
    prepared = prepare_damage_map(plants, f.observations, f.exposures, block="east", event="2030-01-12",
                                  settings=f.settings)  # fmt: skip
    assert len(prepared.spots) == 11
    assert "for want of a row or a place: 1 plant." in prepared.words.method


def test_the_winters_hold_every_freeze_and_the_days_of_scores() -> None:
    prepared = prepare_winters(flow().freezes_that_count, flow().observations, settings=SETTINGS)
    assert [season.name for season in prepared.seasons] == ["2029-30", "2030-31", "2031-32"]
    assert [season.freezes[0].minimum_c for season in prepared.seasons] == pytest.approx([-5.2, -8.6, -10.4])
    assert prepared.seasons[0].scored == ((dt.date(2030, 2, 20) - dt.date(2029, 7, 1)).days,)
    assert prepared.words.title == "−10.4 °C on 3 Feb 2032: the coldest of 3 winters"
    south = prepare_winters(flow().freezes_that_count, flow().observations,
                            settings=Settings("Terrace trial", "UTC", latitude=-41.0))  # fmt: skip
    assert {season.begins.month for season in south.seasons} == {1}


def test_a_course_is_cut_from_the_readings_with_offsets_and_gaps() -> None:
    readings = {"L1": night_readings(0.0), "S9": night_readings(0.6)}
    night = np.datetime64("2031-01-08T20", "ns")
    gap = (readings["L1"]["time"] < night) | (readings["L1"]["time"] > night + np.timedelta64(5, "h"))
    readings["L1"] = readings["L1"][gap]
    prepared = prepare_freeze_course(readings, flow().freezes, event="2031-01-08", settings=SETTINGS,
                                     offsets_c={"S9": 0.5})  # fmt: skip
    by_name = {course.sensor: course for course in prepared.courses}
    assert by_name["L1"].minimum_c == pytest.approx(-8.6) and by_name["S9"].minimum_c == pytest.approx(-7.5)
    assert len(by_name["L1"].hours) == 2 and len(by_name["S9"].hours) == 1  # the line breaks where nothing was read
    assert by_name["L1"].below[0].endswith("≤ −8") and len(by_name["L1"].below) == 4
    assert prepared.begins is not None and prepared.lasts_h > 12 + 2
    unknown = prepare_freeze_course(readings, flow().freezes, event="2033-01-01", settings=SETTINGS)
    assert "No freeze of 2033-01-01" in unknown.words.title and not unknown.courses


def test_counts_by_exposure_add_up_to_the_rows_and_leave_the_protected_out() -> None:
    rows = flow().observations.copy()
    rows.loc[rows["plant"] == "T0-0", "protected"] = "cover"
    prepared = prepare_exposure_grade(rows, settings=SETTINGS)
    assert sum(count.rows for count in prepared.counts) == len(rows) - 3
    by_bin: dict[float, float] = {}
    for count in prepared.counts:
        by_bin[count.exposure_c] = by_bin.get(count.exposure_c, 0.0) + count.share
    assert sorted(by_bin) == [-9.5, -8.0, -4.5]
    assert list(by_bin.values()) == pytest.approx([1.0] * 3)
    assert prepared.words.title == "The trial's plants: first deaths at −9.5 °C, some alive after −9.5 °C"
    one = prepare_exposure_grade(rows, settings=SETTINGS, selection="OL-02", rootstock="own")
    assert sum(count.rows for count in one.counts) == 6


RANKS = pd.DataFrame({
    "selection": ["OL-01", "OL-02", "CK-A"], "rootstock": "all", "rank": [1, 2, 3], "rank_low": [1, 1, 3],
    "rank_high": [2, 2, 3], "ranked": 3, "probability_among_best": [0.9, 0.7, 0.05],
    "probability_hardier_than_checks": [0.99, 0.9, np.nan],
})  # fmt: skip


def test_ranks_say_who_may_be_as_hardy() -> None:
    prepared = prepare_ranks(RANKS, rootstock="all", settings=SETTINGS, checks=["CK-A"])
    assert prepared.words.title == "OL-01 leads over all rootstocks; the rank of 1 other overlaps its own"
    assert "the difference of that pair (figure pairs) may still settle it" in prepared.words.method
    assert [row.note for row in prepared.rows] == ["", "", "check"]
    assert prepared.rows[2].figures == ("0.05", "–")
    alike = RANKS.assign(rank=2, rank_low=1, rank_high=3)
    told = prepare_ranks(alike, rootstock="all", settings=SETTINGS).words.title
    assert told == "No selection stands out over all rootstocks: the ranks of all 3 overlap"
    clear = RANKS.assign(rank_high=[1, 3, 3], rank_low=[1, 2, 2])
    assert "no other comes near" in prepare_ranks(clear, rootstock="all", settings=SETTINGS).words.title


PAIRS = pd.DataFrame({
    "selection_a": ["OL-01", "CK-A", "OL-02"], "selection_b": ["OL-02", "OL-01", "OL-03"], "rootstock": "all",
    "difference_c": [-1.5, 2.0, 0.1], "low_c": [-2.5, -0.2, -1.0], "high_c": [-0.5, 4.0, 1.2],
    "probability_a_hardier": [0.99, 0.08, 0.45], "shared_winters": [3, 2, 1],
})  # fmt: skip


def test_a_pair_is_turned_round_so_that_the_selection_stands_first() -> None:
    prepared = prepare_pairs(PAIRS, selection="OL-01", rootstock="all", settings=SETTINGS, checks=["CK-A"])
    assert [(row.name, row.low, row.middle, row.high) for row in prepared.rows] == [
        ("CK-A", -4.0, -2.0, 0.2),
        ("OL-02", -2.5, -1.5, -0.5),
    ]
    assert prepared.rows[0].figures == ("−2.0", "0.92", "2")
    assert prepared.words.title == "OL-01 is hardier than 1 of 2 others; 1 not settled"
    assert prepared.words.facts.endswith("a pair is settled from a probability of 0.95 on")
    assert "while the ranks of the two overlap (figure ranks)" in prepared.words.method
    titles = [
        prepare_pairs(PAIRS.assign(probability_a_hardier=chances), selection="OL-01", rootstock="all",
                      settings=SETTINGS).words.title
        for chances in ([0.6, 0.5, 0.5], [0.01, 0.5, 0.5], [0.99, 0.99, 0.5])
    ]  # fmt: skip
    assert titles == [
        "Whether OL-01 is hardier than any of 2 others is not settled",
        "OL-01 is more tender than 1 of 2 others; 1 not settled",
        "OL-01 is hardier than 1 of 2 others, more tender than 1",
    ]
    fahrenheit = prepare_pairs(PAIRS, selection="OL-01", rootstock="all",
                               settings=Settings("T", "UTC", units="F"))  # fmt: skip
    assert fahrenheit.rows[1].middle == pytest.approx(-2.7)  # a difference: no 32 is added


def test_nights_are_paired_noon_to_noon_and_the_line_is_found_again() -> None:
    times = np.arange("2031-01-01T00", "2031-03-01T00", np.timedelta64(1, "h"), dtype="datetime64[ns]")
    hours = np.arange(times.size)
    rng = np.random.default_rng(1)
    night = np.repeat(rng.uniform(-9, 3, times.size // 24), 24)
    station = xr.DataArray(night + 4 * np.abs(np.sin(np.pi * hours / 24)), {"time": times}, ("time",))
    prepared = prepare_station_logger(station, 1.2 * station - 1.0, station_name="S9", logger_name="L1",
                                      settings=SETTINGS)  # fmt: skip
    assert (prepared.slope, prepared.intercept_c) == pytest.approx((1.2, -1.0))
    assert prepared.scatter_c == pytest.approx(0.0, abs=1e-9)
    assert "L1 runs" in prepared.words.title and "colder than S9" in prepared.words.title
    assert max(prepared.station_c) <= 5.0
    few = prepare_station_logger(station[:50], station[:50], station_name="S9", logger_name="L1", settings=SETTINGS)
    assert few.words.empty and math.isnan(few.slope)


def test_half_zones_follow_their_rule_and_an_edge_belongs_to_the_warmer_one() -> None:
    zones = half_zones()
    assert (zones[0].name, zones[-1].name, len(zones)) == ("1a", "13b", 26)
    assert [half_zone_of(to_celsius(f, "F")) for f in (10, 5, 0, 9.99, -60)] == ["8a", "7b", "7a", "7b", "1a"]
    assert half_zone_of(to_celsius(-60.1, "F")) == half_zone_of(to_celsius(70, "F")) == ""


def test_names_alike_once_shortened_are_numbered_and_unwritable_ones_too() -> None:
    names = [f"seedling of the old tree {side} by the wall, east" for side in "AB"] + ["橄榄"]
    assert short_names(names, 20.0, 7.0)[2] == "no. 3"
    assert len(set(short_names(names, 20.0, 7.0))) == 3
    assert Ruler(0.0, 24.0, 0.0, 30.0).ticks(9.0, 1.0) == [0.0, 10.0, 20.0]
    assert temperature_ends([-6.0]) == (-8.0, -4.0)  # never a scale of no length
