"""The invented trial: the same bytes every time, small, sound in its records, true to the model it was drawn from."""

import csv
import hashlib
import importlib
import re
import subprocess
import sys
from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from hardiness.demo import DEMO_STEPS, TRUTH_FILE, DemoStep, demo_folder
from hardiness.read.loggers import read_logger
from hardiness.read.records import parse_records
from hardiness.read.references import check_references
from hardiness.read.tables import read_table
from hardiness.schema import RECORD_TABLES
from hardiness.settings import SETTINGS_FILE, Settings
from hardiness.settings_reading import read_settings
from hardiness.weather.exposure import freezes_of

FOLDER = demo_folder()
MODULES = ("damage", "loggers", "make", "register", "truth", "walks", "weather")
MADE_ON = date(2026, 11, 1)  # nothing in the demo may lie after the day it was made


@pytest.fixture(scope="module")
def maker():
    """The modules that made the demo, by name; forgotten afterwards, since their names are plain words."""
    sys.path.insert(0, str(FOLDER))
    try:
        yield {name: importlib.import_module(name) for name in MODULES}
    finally:
        sys.path.remove(str(FOLDER))
        for name in MODULES:
            sys.modules.pop(name, None)


@pytest.fixture(scope="module")
def settings() -> Settings:
    return read_settings(FOLDER / SETTINGS_FILE)


@pytest.fixture(scope="module")
def tables(settings) -> dict[str, pd.DataFrame]:
    parts: dict[str, list[pd.DataFrame]] = {}
    for step in DEMO_STEPS:
        if step.table != "readings":
            table = RECORD_TABLES[step.table]
            records = parse_records(read_table(FOLDER / step.file, table), table, settings)
            parts.setdefault(step.table, []).append(records.frame)
    empty = {
        name: pd.DataFrame(columns=[column.name for column in table.columns]) for name, table in RECORD_TABLES.items()
    }
    return empty | {name: pd.concat(frames, ignore_index=True) for name, frames in parts.items()}


@pytest.fixture(scope="module")
def readings(settings) -> dict[str, pd.Series]:
    """Each sensor's readings as the reader understands the files, options as the demo gives them."""
    series: dict[str, list[pd.Series]] = {}
    zone: dict[str, str] = {}
    for step in reading_steps():
        sensor = step.options["sensor"]
        zone[sensor] = step.options.get("timezone", zone.get(sensor, settings.timezone))
        air = read_logger(FOLDER / step.file, timezone=None, default_timezone=zone[sensor]).air_temperature
        series.setdefault(sensor, []).append(air.to_series())
    return {sensor: pd.concat(parts) for sensor, parts in series.items()}


@pytest.fixture(scope="module")
def freezes(readings) -> dict[str, pd.DataFrame]:
    return {sensor: freezes_of(air.index, air.to_numpy()) for sensor, air in readings.items()}


def reading_steps() -> list[DemoStep]:
    return [step for step in DEMO_STEPS if step.table == "readings"]


def hashes(folder: Path) -> dict[str, str]:
    files = (path for path in folder.rglob("[!.]*") if path.is_file() and path.suffix not in (".py", ".pyc"))
    return {path.relative_to(folder).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest() for path in files}


def test_making_the_demo_again_gives_the_same_bytes(tmp_path):
    subprocess.run([sys.executable, "-B", str(FOLDER / "make.py"), "--out", str(tmp_path)], check=True, timeout=120)
    assert hashes(tmp_path) == hashes(FOLDER)


def test_the_demo_is_small():
    sizes = [path.stat().st_size for path in FOLDER.rglob("*") if path.is_file() and path.suffix != ".pyc"]
    assert sum(sizes) < 3_000_000


def test_the_steps_name_every_file_once_and_register_what_later_files_need():
    files = [step.file for step in DEMO_STEPS]
    aside = {SETTINGS_FILE, TRUTH_FILE, "README.txt"}
    assert sorted(files) == sorted(set(hashes(FOLDER)) - aside)
    first = {step.table: place for place, step in reversed(list(enumerate(DEMO_STEPS)))}
    assert first["selections"] < first["plants"] < first["scores"]
    assert first["sensors"] < first["readings"] < first["scores"]
    assert {step.options["sensor"] for step in reading_steps()} == {"L-UP", "L-MID", "L-LOW", "ST-9"}


def test_readme_has_two_paragraphs():
    assert len((FOLDER / "README.txt").read_text(encoding="utf-8").strip().split("\n\n")) == 2


def test_the_records_agree_with_each_other(tables, settings):
    assert check_references(tables, settings=settings) == []
    assert set(tables["scores"]["plant"]) <= set(tables["plants"]["plant"])


def test_the_trial_has_the_size_it_claims(tables):
    assert len(tables["selections"]) == 24
    assert (tables["selections"]["role"] == "check").sum() == 3
    assert (tables["selections"]["claimed_floor"] != "").sum() == 8
    assert 90 <= len(tables["plants"]) <= 120
    assert set(tables["plants"]["block"]) == {"upper", "middle", "lower"}


def test_all_names_are_made_up_codes(tables):
    assert all(re.fullmatch(r"OL-\d\d|CK-[ABC]", name) for name in tables["selections"]["selection"])
    assert set(tables["plants"]["rootstock"]) == {"own", "P2", "V7"}
    assert all(re.fullmatch(r"[TPDN]\d+", name) for name in tables["plants"]["plant"])
    assert set(tables["scores"]["observer"]) == {"A", "B"}
    parents = set(tables["selections"]["seed_parent"]) | set(tables["selections"]["pollen_parent"])
    assert all(re.fullmatch(r"OL-\d\d|CK-[ABC]|lot \d\d|tree by gate|", name) for name in parents)


def test_every_score_lies_within_the_life_of_its_plant(tables):
    scores = tables["scores"].merge(tables["plants"], on="plant", suffixes=("", "_plant"))
    assert len(scores) == len(tables["scores"])
    assert all(row.planted_on is None or row.planted_on <= row.scored_on for row in scores.itertuples())
    assert all(row.removed_on is None or row.scored_on <= row.removed_on for row in scores.itertuples())
    assert max(scores["scored_on"]) < MADE_ON


def test_dates_of_a_plant_are_in_order(tables):
    for plant in tables["plants"].itertuples():
        known = [day for day in (plant.grafted_on, plant.planted_on, plant.removed_on) if day is not None]
        assert known == sorted(known)
        assert (plant.removed_on is None) == (plant.lost_to == "")
        assert (plant.grafted_on is None) == (plant.rootstock == "own")


def test_no_two_plants_stand_in_one_place_at_once(tables):
    for _, group in tables["plants"].groupby(["block", "row", "place"]):
        group = group.sort_values("planted_on", key=lambda days: days.map(lambda day: day or date.min))
        earlier, later = group.iloc[:-1], group.iloc[1:]
        assert all(gone is not None for gone in earlier["removed_on"])
        assert all(a < b for a, b in zip(earlier["removed_on"], later["planted_on"], strict=True))


def test_the_reader_gets_back_what_the_sensors_recorded(maker, readings):
    """All dialects, zones and units at once: the files against the numbers they were written from."""
    for sensor, air in readings.items():
        winters = [maker["loggers"].record(sensor, w, maker["weather"].hillside(w)) for w in maker["weather"].WINTERS]
        times = np.concatenate([winter.times for winter in winters])
        expected = pd.Series(np.concatenate([winter.temperature_c for winter in winters]), index=times)
        once = air[~air.index.duplicated()].sort_index()
        missing = expected.index.difference(once.index)
        assert len(missing) == (6 if sensor == "L-UP" else 0)  # six cells were left empty
        assert once.index.difference(expected.index).empty
        np.testing.assert_allclose(once, expected[once.index], atol=1e-9)


def test_a_second_dump_repeats_rows_of_the_first_word_for_word(readings):
    repeated = readings["L-UP"][readings["L-UP"].index.duplicated(keep=False)]
    assert len(repeated) == 2 * 14 * 48
    assert (repeated.groupby(level=0).agg(np.ptp) == 0.0).all()
    rows = [set((FOLDER / f"readings/upper_2023-24_{part}.csv").read_text().splitlines()) for part in "ab"]
    assert len(rows[0] & rows[1]) == 14 * 48 + 1  # and the header


def test_no_reading_lies_in_the_future_and_all_lie_in_four_winters(readings):
    for air in readings.values():
        assert air.index.max() < pd.Timestamp(MADE_ON)
        assert set(air.index.month) <= {11, 12, 1, 2, 3, 4}
        assert sorted({stamp.year for stamp in air.index if stamp.month == 12}) == [2022, 2023, 2024, 2025]


def test_the_winters_are_as_described(freezes):
    """Several freezes in every winter, one mild winter, a cold pocket at the foot of the slope."""
    for sensor in ("L-LOW", "L-MID", "L-UP"):
        table = freezes[sensor]
        table = table[table["minimum_c"] > -14.0]  # one logger lay in a freezer
        winter = (table["starts"] - pd.Timedelta(days=200)).dt.year
        assert (winter.value_counts() >= 2).all()
        coldest = table.groupby(winter)["minimum_c"].min()
        assert coldest[2023] > -5.5 and coldest.drop(2023).max() < -6.0
    pocket = freezes["L-LOW"]["minimum_c"].min(), freezes["L-MID"].query("minimum_c > -14")["minimum_c"].min()
    assert pocket[0] < pocket[1] - 1.5 and -13.5 < pocket[0] < -11.0


def test_a_death_is_never_taken_back_once_a_freeze_has_followed(tables, freezes):
    """Against the freezes of every sensor, so it holds whichever of them speaks for the plant."""
    starts = pd.concat([table["starts"] for table in freezes.values()])
    recoveries = 0
    for _, scores in tables["scores"].sort_values("scored_on").groupby("plant"):
        death = None
        for score in scores.groupby("scored_on")["grade"].max().items():
            day, dead = pd.Timestamp(score[0], tz="UTC"), score[1] == 5
            if death is not None and not dead:
                assert not ((starts > death) & (starts < day)).any()
                recoveries += 1
            death = day if dead else None
    assert 3 <= recoveries <= 12


def test_wrong_grades_are_put_right_before_the_next_freeze(maker, tables, freezes):
    """Where a settled score closes a window, it is the true state of the plant."""
    plants = {plant.plant: plant for plant in tables["plants"].itertuples()}
    starts = pd.concat([table["starts"] for table in freezes.values()])
    sensor_of = {block: sensor for sensor, block in maker["loggers"].PLACE_OF.items()}
    covered = set(tables["scores"].loc[tables["scores"]["protected"] == "cover", "plant"])
    checked, died = 0, {}
    for winter in maker["weather"].WINTERS:
        true = maker["damage"].true_freezes(winter, maker["weather"].hillside(winter))
        year = int(winter[:4])
        inside = tables["scores"]["scored_on"].map(lambda day: date(year, 9, 1) < day < date(year + 1, 8, 1))  # noqa: B023
        for name, scores in tables["scores"][inside & (tables["scores"]["observer"] == "A")].groupby("plant"):
            record = plants[name]
            planted = record.planted_on or date(2022, 4, 1)
            plant = maker["register"].Plant(
                name, record.selection, record.rootstock, record.block, "", "", planted, grown_in=record.grown_in
            )
            plant.died_on = died.get(name)
            moment = maker["make"].COVERED_ON if winter == "2025-26" and name in covered else None
            states = maker["damage"].states_after(plant, winter, true, moment)
            if states and states[-1][1] == 5:
                died[name] = states[-1][0]
            ends = freezes[sensor_of[record.block]]["ends"]
            for score in scores.itertuples():
                noon = pd.Timestamp(score.scored_on, tz="UTC") + pd.Timedelta(hours=12)
                next_score = min((d for d in scores["scored_on"] if d > score.scored_on), default=None)
                until = noon + timedelta(days=400) if next_score is None else pd.Timestamp(next_score, tz="UTC")
                early = noon - ends[ends < noon].max() < pd.Timedelta(days=7) and score.grade < 5
                open_window = next_score is not None and not ((starts > noon) & (starts < until)).any()
                if early or open_window:
                    continue
                state = max((grade for end, grade in states if end < noon), default=0)
                assert score.grade == state, (name, score)
                checked += 1
    assert checked > 500


def test_the_demo_shows_what_growers_meet(tables):
    scores, plants, notes = tables["scores"], tables["plants"], tables["freeze_notes"]
    assert (scores["protected"] == "cover").sum() >= 10
    assert set(scores["scored_on"][scores["protected"] == "cover"].map(lambda day: day.year)) == {2026}
    twice = scores.groupby(["plant", "scored_on"])["grade"].agg(["size", "min", "max"])
    assert ((twice["size"] == 2) & (twice["max"] - twice["min"] >= 2)).any()
    assert {"cold", "other", "unknown"} <= set(plants["lost_to"])
    assert (plants["grown_in"] == "container").sum() == 3
    assert (plants["copy_of"] != "").sum() > 30
    assert (notes["set_aside"] == "yes").sum() == 1
    assert plants["planted_on"].isna().sum() == 3
    in_time = plants[[day is None or day < date(2026, 3, 1) for day in plants["planted_on"]]]
    cells, met = (set(zip(p["selection"], p["rootstock"], strict=True)) for p in (plants, in_time))
    assert cells - met == {("OL-17", "V7"), ("OL-20", "V7")}  # set out after the last winter


def test_true_floors_agree_with_drawn_plants(maker, tables):
    """A quarter of a million plants of each cell, drawn from the model as it is written down."""
    truth = maker["truth"]
    rng = np.random.default_rng(11)
    size = 250_000
    own = rng.normal(0.0, truth.TAU_U, size)
    uniform = rng.random(size)
    logistic = np.log(uniform / (1.0 - uniform))
    with (FOLDER / TRUTH_FILE).open(newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    plants = tables["plants"]
    assert {(row["selection"], row["rootstock"]) for row in rows} == set(
        zip(plants["selection"], plants["rootstock"], strict=True)
    )
    for row in rows:
        moved = sum(float(row[f"{part}_effect_c"]) for part in ("selection", "rootstock", "combination"))
        kills_at = truth.ALPHA_C[-1] + moved + own + truth.SIGMA * logistic  # dead in air colder than this
        for share in (0.9, 0.5):
            lives = (kills_at < float(row[f"floor_{share * 100:.0f}_c"])).mean()
            assert lives == pytest.approx(share, abs=0.003)
    assert np.std([float(row["floor_90_c"]) for row in rows]) == pytest.approx(2.0, abs=0.4)


def test_deaths_come_as_often_as_the_model_says(maker):
    """The generator's own deaths against their probabilities, worked out freeze by freeze."""
    damage, truth, weather = maker["damage"], maker["truth"], maker["weather"]
    selection_c, combination_c = truth.effects()
    expected, variance, deaths = 0.0, 0.0, 0
    for winter in weather.WINTERS:
        freezes = damage.true_freezes(winter, weather.hillside(winter))
        for plant in maker["register"].first_plants()[:88]:
            cell = (plant.selection, plant.rootstock)
            theta = truth.ALPHA_C[-1] + selection_c[cell[0]] + truth.ROOTSTOCK_C[cell[1]] + combination_c[cell]
            theta += truth.TAU_U * weather.rng_of("plant", plant.plant).standard_normal()
            met = np.array([freeze.held_c + freeze.harshness_c for freeze in freezes if freeze.block == plant.block])
            lives = np.prod(1.0 / (1.0 + np.exp((theta - met) / truth.SIGMA)))
            expected += 1.0 - lives
            variance += lives * (1.0 - lives)
            deaths += damage.states_after(plant, winter, freezes, None)[-1][1] == truth.DEAD
    assert abs(deaths - expected) < 3.0 * np.sqrt(variance)
