"""Make the invented trial: register, readings, scores and the true floors, the same bytes every time.

    python data_demo/make.py [--out DIR]

Winter by winter: the weather, what the sensors recorded, what the freezes did to each plant, what the grower wrote
down, and what was taken out and planted afterwards. Nothing here is a real place, plant or measurement.
"""

from __future__ import annotations

import argparse
import csv
import datetime
import io
from collections.abc import Iterable, Sequence
from pathlib import Path

import pandas as pd
from damage import states_after, true_freezes
from loggers import PLACE_OF, files_of, record
from register import CHECKS, CLAIMS, FREEZE_NOTES, PARENTS, SEEDLINGS, SELECTION_NOTES, SENSORS, Plant, first_plants
from truth import DEAD, floors
from walks import Score, walk_the_rows
from weather import WINTERS, hillside, rng_of

from hardiness.weather.exposure import freezes_of

GRADES = (
    "unharmed",
    "leaves marked or shed, wood sound",
    "shoot tips killed",
    "last summer's wood killed",
    "main limbs killed",
    "dead down to the graft",
)
GRADES_BY_NAME = "2023-24"  # that winter the grades were written out in words
COVERED_ON = pd.Timestamp("2026-02-13T06:00", tz="UTC")
COVERED_PLANTS = 9
LOST = (  # taken out for another reason: when, why, what the register says
    (datetime.date(2023, 7, 9), "other", "gnawed through by voles"),
    (datetime.date(2024, 8, 21), "other", "broken by the mower"),
    (datetime.date(2025, 1, 20), "unknown", "gone after the January cold, not scored"),
)
REPLANTS = {"2022-23": 3, "2023-24": 2, "2024-25": 9}  # after that winter, in October, in places fallen free
TRIAL_TOML = """\
name = "Hillside olives (an invented trial)"
timezone = "Europe/Lisbon"
latitude = 41.4306
longitude = -7.3518
elevation_m = 483.0
units = "C"

[scale]
grades = [
{grades}
]
span_c = 6.0

[freeze]
onset_c = 0.0
thaw_h = 12.0
damaging_c = -2.0
settle_days = 7.0
thresholds = ["0 C", "28 F", "-4 C", "-5 C", "-6 C", "-8 C", "-10 C"]
held_h = [1.0, 2.0, 4.0]
model_held_h = 1.0
"""
README = """\
An invented trial, made by make.py and by nothing else: 21 olive seedlings and three checks with made-up codes, on their
own roots and on two made-up rootstocks, in three blocks down a slope whose foot gathers cold air, through four winters
(2022-23 to 2025-26; 2023-24 was mild). No place, plant, hearsay or temperature in it is real. The tables are
what a grower would keep: selections.csv, plants.csv, sensors.csv, freeze_notes.csv, a scores file for each winter, and
readings/ as four sensors gave them out, each in a dialect of its own, one on UTC all year, one hanging without a
shield, one with a dead battery, one that lay in a freezer for an afternoon. `hardiness demo DIR` adds them all.

truth.csv holds what the trial is trying to find out: the true floors of every selection on every rootstock that it
stands on. floor_90_c is the temperature, held for an hour in a typical freeze, at which 90 of 100 such plants come
through alive (floor_50_c: 50 of 100) [degC]; the three effects are how far the selection, the rootstock and their
combination move it [K, negative is hardier]. The trial is never told: hold its floors against them. The scales behind
the draws stand at the top of truth.py, the rules of the scoring in walks.py, the weather in weather.py.
"""


def make(out: Path) -> None:
    """Write the whole trial into a folder."""
    plants = first_plants()
    scores: dict[str, list[Score]] = {}
    files: dict[str, bytes] = {}
    for winter in WINTERS:
        side = hillside(winter)
        recorded = {sensor: record(sensor, winter, side) for sensor in PLACE_OF}
        for sensor, readings in recorded.items():
            files |= {f"readings/{name}": content for name, content in files_of(sensor, winter, readings).items()}
        listed = {PLACE_OF[sensor]: freezes_of(r.times, r.temperature_c) for sensor, r in recorded.items()}
        freezes = true_freezes(winter, side)
        covered = dict.fromkeys(_to_cover(plants), COVERED_ON) if winter == "2025-26" else {}
        histories = [
            (p, states_after(p, winter, freezes, covered.get(p.plant))) for p in plants if p.removed_on is None
        ]
        _take_out_by_chance(histories, winter)
        scores[winter] = walk_the_rows(winter, histories, listed, covered)
        _record_the_dead(histories, scores[winter])
        _take_out_the_dead(plants, winter)
        plants += _replant(plants, winter)
    cells = {(plant.selection, plant.rootstock) for plant in plants}

    files["trial.toml"] = TRIAL_TOML.format(grades="\n".join(f'  "{grade}",' for grade in GRADES)).encode()
    files["README.txt"] = README.encode()
    files["selections.csv"] = _selections()
    files["plants.csv"] = _plants(plants)
    sensor_columns = ("sensor", "kind", "block", "latitude", "longitude", "elevation_m", "height_m", "shielded",
                      "accuracy_c", "offset_c", "notes")  # fmt: skip
    files["sensors.csv"] = _csv(sensor_columns, SENSORS)
    files["freeze_notes.csv"] = _csv(("from", "to", "block", "note", "set_aside"), FREEZE_NOTES)
    for winter, rows in scores.items():
        files[f"scores_{winter}.csv"] = _scores(rows, by_name=winter == GRADES_BY_NAME)
    true_floors = floors(sorted(cells))
    files["truth.csv"] = _csv(tuple(true_floors[0]), [tuple(row.values()) for row in true_floors])
    for name, content in files.items():
        path = out / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)


def _to_cover(plants: Sequence[Plant]) -> list[str]:
    """The last plants of their selection are worth a cover."""
    alive = [plant for plant in plants if plant.stands_on(COVERED_ON.date()) and plant.grown_in == "ground"]
    counts = {plant.selection: sum(other.selection == plant.selection for other in alive) for plant in alive}
    rare = sorted(alive, key=lambda plant: (counts[plant.selection], plant.plant))
    return [plant.plant for plant in rare[:COVERED_PLANTS]]


def _take_out_by_chance(histories: Sequence[tuple[Plant, list[tuple[pd.Timestamp, int]]]], winter: str) -> None:
    """Lose a plant to something that has nothing to do with what the trial asks; any that is alive may be hit."""
    for day, cause, note in LOST:
        if _winter_of(day) != winter:
            continue
        noon = pd.Timestamp(day, tz="UTC")
        alive = [plant for plant, states in histories
                 if plant.grown_in == "ground" and plant.copy_of and plant.stands_on(day)
                 and max((grade for ends, grade in states if ends < noon), default=0) < DEAD]  # fmt: skip
        lost = alive[int(rng_of("lost", winter).integers(len(alive)))]
        lost.removed_on, lost.lost_to, lost.notes = day, cause, note


def _record_the_dead(
    histories: Sequence[tuple[Plant, list[tuple[pd.Timestamp, int]]]], scores: Sequence[Score]
) -> None:
    """Keep what is dead for good, and whether the grower has found out."""
    last = {score.plant: score.grade for score in scores}  # in the order of dates
    for plant, states in histories:
        if states and states[-1][1] == DEAD:
            plant.died_on = states[-1][0]
            plant.found_dead = plant.found_dead or last.get(plant.plant) == DEAD


def _take_out_the_dead(plants: Sequence[Plant], winter: str) -> None:
    """Take out most of what was found dead, in summer."""
    rng = rng_of("taken out", winter)
    for plant in plants:
        day = datetime.date(int(winter[:4]) + 1, 7, 1) + datetime.timedelta(days=int(rng.integers(60)))
        leave = rng.random() < 0.15
        if plant.found_dead and plant.removed_on is None and not leave:
            plant.removed_on, plant.lost_to = day, "cold"


def _replant(plants: Sequence[Plant], winter: str) -> list[Plant]:
    """Set copies of what stands thinly into places that fell free, grafted that spring."""
    if winter not in REPLANTS:
        return []
    year = int(winter[:4]) + 1
    rng = rng_of("replants", winter)
    taken = {(p.block, p.row, p.place) for p in plants if p.removed_on is None}
    free = sorted({(p.block, p.row, p.place) for p in plants if p.grown_in == "ground"} - taken)
    october = datetime.date(year, 10, 1)
    alive = [p.selection for p in plants if p.stands_on(october) and not p.found_dead]
    standing = {name: alive.count(name) for name in SEEDLINGS}
    thin = sorted((name for name in SEEDLINGS if standing[name]), key=lambda name: (standing[name], name))
    originals = {p.selection: p.plant for p in plants if p.selection in SEEDLINGS and not p.copy_of}
    number = max(int(p.plant[1:]) for p in plants if p.plant.startswith("T"))
    new = []
    for index, name in zip(rng.permutation(len(free))[: REPLANTS[winter]], thin, strict=False):
        number += 1
        block, row, place = free[index]
        planted_on = datetime.date(year, 10, int(rng.integers(5, 26)))
        grafted_on = datetime.date(year, 3, int(rng.integers(1, 20)))
        new.append(
            Plant(
                f"T{number:03d}",
                name,
                "P2",
                block,
                row,
                place,
                planted_on,
                grafted_on,
                originals[name],
                notes="replant",
            )
        )
    return new


def _winter_of(day: datetime.date) -> str:
    first = day.year if day.month >= 9 else day.year - 1
    return f"{first}-{(first + 1) % 100:02d}"


def _selections() -> bytes:
    rows = []
    for name in (*SEEDLINGS, *CHECKS):
        mother, father = PARENTS.get(name, ("", ""))
        origin = "sport" if name == "OL-20" else "clone" if name in CHECKS else "seedling"
        role = "check" if name in CHECKS else "candidate"
        rows.append((name, mother, father, origin, role, *CLAIMS.get(name, ("", "")), SELECTION_NOTES.get(name, "")))
    columns = ("selection", "seed_parent", "pollen_parent", "origin", "role", "claimed_floor", "claim_source", "notes")
    return _csv(columns, rows)


def _plants(plants: Sequence[Plant]) -> bytes:
    columns = ("plant", "selection", "rootstock", "block", "row", "place", "sensor", "grafted_on", "planted_on",
               "removed_on", "lost_to", "grown_in", "copy_of", "notes")  # fmt: skip
    rows = []
    for plant in plants:
        planted = None if plant.date_lost else plant.planted_on
        cells = [getattr(plant, name) if name != "planted_on" else planted for name in columns]
        rows.append(tuple("" if cell is None else str(cell) for cell in cells))
    return _csv(columns, rows)


def _scores(scores: Sequence[Score], *, by_name: bool) -> bytes:
    rows = [
        (s.plant, s.scored_on, GRADES[s.grade] if by_name else s.grade, s.protected, s.observer, s.notes)
        for s in scores
    ]
    return _csv(("plant", "scored_on", "grade", "protected", "observer", "notes"), rows)


def _csv(columns: Sequence[str], rows: Iterable[Sequence[object]]) -> bytes:
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(columns)
    writer.writerows(rows)
    return text.getvalue().encode()


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--out", type=Path, default=Path(__file__).resolve().parent, help="folder to write into")
    make(parser.parse_args().out)
