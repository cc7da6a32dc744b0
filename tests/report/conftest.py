"""A small trial with awkward names, and its answers: made once, only to be read."""

from __future__ import annotations

from dataclasses import replace

import pandas as pd
import pytest

from hardiness import schema
from hardiness.report.gathered import gather
from hardiness.settings import Settings
from hardiness.tolerance.checks import Checks
from hardiness.tolerance.influence import influence_table
from hardiness.trial import new_trial
from tests.cli.conftest import as_csv, readings

LONG = "seedling from the sheltered corner behind the old pump house, second sowing, no. 80"
FOREIGN = "橄榄"
TABLES = {
    "selections": (
        "selection,role,seed_parent,claimed_floor,claim_source,notes\n"
        f'"{LONG}",,CK-A,-12 C,"a letter, 1998",=1+1\n{FOREIGN},,,10 F,label,\nCK-A,check,,,,\n<b>OL-03</b>,,,-9 C,,\n'
    ),
    "plants": (
        "plant,selection,rootstock,block,row,place,planted_on,removed_on,lost_to\n"
        + "".join(
            f'{name}{number},"{selection}",{stock},A,{row},{place},2022-04-01,,\n'
            for name, selection, stock, row, place in (
                ("A", LONG, "own", 1, 2), ("B", FOREIGN, "own", 1, 10), ("C", "CK-A", "own", 2, 1),
                ("D", "CK-A", "stock P", 2, 3), ("E", LONG, "stock P", 2, 2),
            )
            for number in (1, 2)
        )
        + "F1,<b>OL-03</b>,own,B,1,1,2022-04-01,,\nG1,<b>OL-03</b>,stock P,B,1,2,2022-04-01,2023-06-01,other\n"
    ),
    "scores": "plant,scored_on,grade,notes\n"
    + "".join(
        f"{plant},{2023 + year}-02-20,{grade},\n"
        for plant, grades in {
            "A1": "01", "A2": "12", "B1": "25", "B2": "34", "C1": "5", "C2": "5", "D1": "4", "D2": "3", "E1": "00",
            "E2": "01",
        }.items()
        for year, grade in enumerate(grades)
    ),
}  # fmt: skip


def settings(**changes):
    return Settings(**({"name": "Hill & sons", "timezone": "Europe/Madrid", "latitude": 40.4} | changes))


@pytest.fixture(scope="session")
def trial(tmp_path_factory):
    folder = tmp_path_factory.mktemp("report")
    made = new_trial(folder / "trial", settings())
    for table, text in TABLES.items():
        path = folder / f"{table}.csv"
        path.write_text(text, encoding="utf-8")
        made.add_table(table, path)
    path = folder / "l1.csv"
    path.write_text(as_csv(readings({"2023-01-10": -7.0, "2024-01-12": -9.0})), encoding="utf-8")
    made.add_readings(path, "L1")
    yield made
    made.close()


@pytest.fixture(scope="session")
def flow(trial):
    return trial.flow()


@pytest.fixture(scope="session")
def checks(flow):
    """Checks as they come out, without their seven fits: one fails, one cell fits badly."""
    rows = pd.DataFrame(
        [("losses", "rows that reached grade 5", 3.0, "3 or more", True, "3 rows reached grade 5."),
         ("priors", "largest shift", -0.71, "0.5 or less", False, "Other priors move the floor of CK-A by 0.9 °C.")],
        columns=schema.column_names(schema.CHECKS),
    )  # fmt: skip
    calibration = pd.DataFrame(
        [(grade, 0.0, 0.5, 8, 2.1, 2, 0, 4, True) for grade in range(1, 6)],
        columns=schema.column_names(schema.CALIBRATION),
    )
    cells = pd.DataFrame(
        [("CK-A", "own", 3, 4.7, 3.1, 0.02, 2, 0.6, 0, 1, 0.03)], columns=schema.column_names(schema.CELL_FIT)
    )
    others = {
        "grades": schema.GRADES_BY_EXPOSURE, "spacing": schema.SPACING, "influence": schema.INFLUENCE,
        "sensitivity": schema.SENSITIVITY,
    }  # fmt: skip
    empty = {name: pd.DataFrame(columns=schema.column_names(columns)) for name, columns in others.items()}
    return Checks(rows=rows, calibration=calibration, cells=cells, **empty)


@pytest.fixture(scope="session")
def gathered(trial, flow, checks):
    answers = gather(flow, trial.settings, "ab" * 32, questions=False)
    return replace(answers, influence=influence_table(flow.fit.posterior), checks=checks)


@pytest.fixture(scope="session")
def empty_trial(tmp_path_factory):
    made = new_trial(tmp_path_factory.mktemp("nothing") / "trial", settings())
    yield made
    made.close()
