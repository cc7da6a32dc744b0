"""A believable invented trial for the figures: 24 selections, three rootstocks, four winters, every kind of row."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
import pytest
from matplotlib.colors import to_rgb

from hardiness.figures.summary_data import Summary, prepare_summary
from hardiness.schema import (
    CLAIMS,
    FLOORS,
    OBSERVATIONS,
    PLANTS,
    SELECTIONS,
    column_names,
    freeze_columns,
    held_column,
    hours_column,
)
from hardiness.settings import Settings
from hardiness.units import parse_temperature
from tests.figures.pages import as_deuteranope as seen_by_deuteranope

STOCKS = ("own", "stock P", "stock T")
# Per winter: (day the freeze began, minimum [degC], hours it lasted, scored how many days after or None)
WINTERS: dict[str, list[tuple[str, float, float, int | None]]] = {
    "2028-29": [("2028-11-27", -3.4, 9, None), ("2029-01-08", -6.1, 12, 35), ("2029-02-19", -2.7, 6, None)],
    "2029-30": [("2029-12-11", -4.8, 10, None), ("2029-12-20", -5.2, 11, 24), ("2030-02-02", -8.3, 31, 40)],
    "2030-31": [("2030-12-30", -4.4, 9, 45)],
    "2031-32": [("2031-11-19", -3.9, 8, 21), ("2031-12-14", -9.6, 38, 30), ("2032-01-22", -7.2, 14, 60),
                ("2032-03-09", -2.5, 5, None)],
}  # fmt: skip
STOCK_GAIN_C = {"stock D": 0.5, "own": 0.0, "stock P": -0.9, "stock T": 0.3}
ALPHA_C = np.array([-4.6, -5.9, -7.1, -8.2, -9.3])  # critical temperature of grades 1-5
SIGMA_C = 0.55


@dataclass
class Trial:
    """The tables that a summary is prepared from."""

    settings: Settings
    floors: pd.DataFrame
    freezes: pd.DataFrame
    observations: pd.DataFrame
    claims: pd.DataFrame
    selections: pd.DataFrame
    plants: pd.DataFrame

    def tables(self, **changed: Any) -> dict[str, Any]:
        """Arguments of prepare_summary."""
        return {**self.__dict__, **changed}


def make_freezes(settings: Settings, rng: np.random.Generator) -> pd.DataFrame:
    """A freeze per event and sensor, hours falling off towards the minimum."""
    rows = []
    for winter, events in WINTERS.items():
        for day, minimum, lasted, _ in events:
            for sensor, shift, source in (("L1", 0.0, "logger"), ("L2", 0.4, "logger"), ("S9", 0.9, "station")):
                if (sensor == "L2" and winter == "2028-29") or (source == "logger" and day == "2028-11-27"):
                    continue
                starts = pd.Timestamp(f"{day} 19:00", tz=settings.zone).tz_convert("UTC")
                low = minimum + shift
                row: dict[str, Any] = {
                    "freeze": f"{day} {sensor}", "event": day, "winter": winter, "sensor": sensor, "source": source,
                    "starts": starts, "ends": starts + pd.Timedelta(hours=lasted), "minimum_c": low,
                    "duration_h": float(lasted), "degree_hours_c_h": -low * lasted / 2, "fall_rate_c_per_h": 1.4,
                    "coverage": 1.0, "sd_c": 0.5,
                }  # fmt: skip
                for threshold in settings.rules.thresholds:
                    row[hours_column(threshold)] = max(0.0, lasted * (1 - threshold.celsius / low))
                for held in settings.rules.held_h:
                    row[held_column(held)] = low + 0.15 * held
                rows.append(row)
    del rng
    names = column_names(freeze_columns(settings.rules.thresholds, settings.rules.held_h))
    return pd.DataFrame(rows, columns=names)


def make_plants(selections: int, rng: np.random.Generator) -> tuple[pd.DataFrame, pd.DataFrame, dict[str, float]]:
    """Selections (three of them checks), their plants on one to three stocks, and the effect of each selection."""
    records, plants, effects = [], [], {}
    for index in range(selections):
        name = f"OL-{index + 1:02d}"
        check = index in (3, 11, 17)
        effects[name] = float(rng.normal(0, 1.1)) + (2.8 if index in (9, 14) else 0.0)
        claim = "" if rng.random() < 0.6 else f"{-6 - int(rng.integers(0, 7))} C"
        records.append({"selection": name, "role": "check" if check else ("" if index % 2 else "candidate"),
                        "origin": "clone" if check else "seedling", "claimed_floor": claim,
                        "claim_source": "heard at a meeting" if claim else ""})  # fmt: skip
        stocks = [stock for stock in STOCKS if rng.random() < (0.95 if stock != "stock T" else 0.5)] or ["own"]
        for stock in stocks:
            for copy in range(int(rng.integers(2, 5))):
                planted = dt.date(2028, 4, 10) if copy < 2 else dt.date(2029 + index % 2, 4, 20)
                plants.append({"plant": f"{name[3:]}{stock[-1].upper()}{copy + 1}", "selection": name,
                               "rootstock": stock, "block": "east", "sensor": "L1", "planted_on": planted,
                               "removed_on": None, "grafted_on": None})  # fmt: skip
        if index == 14:  # set out right before the coldest freeze: all of them die in it
            plants += [
                {
                    "plant": f"{name[3:]}D{copy}",
                    "selection": name,
                    "rootstock": "stock D",
                    "block": "east",
                    "planted_on": dt.date(2031, 12, 1),
                    "removed_on": None,
                    "grafted_on": None,
                }
                for copy in (1, 2)
            ]
        if index in (7, 20):  # registered, set out after the last freeze: untested
            plants.append({"plant": f"{name[3:]}X1", "selection": name, "rootstock": "stock T2", "block": "east",
                           "planted_on": dt.date(2032, 4, 2), "removed_on": None, "grafted_on": None})  # fmt: skip
    return (
        pd.DataFrame(records).reindex(columns=SELECTIONS.names, fill_value=""),
        pd.DataFrame(plants).reindex(columns=PLANTS.names, fill_value=""),
        effects,
    )


def make_observations(
    plants: pd.DataFrame, effects: dict[str, float], rng: np.random.Generator, worst: int
) -> pd.DataFrame:
    """Scores as the winters would have it: deaths end a plant, damage stands within a winter."""
    rows = []
    for plant in plants.to_dict("records"):
        own = float(rng.normal(0, 0.5))
        alive = True
        for winter, events in WINTERS.items():
            standing = 0
            exposure, pending = 0.0, ""
            for day, minimum, _, scored_after in events:
                if plant["planted_on"] > dt.date.fromisoformat(day) or not alive:
                    continue
                if minimum + 0.15 < exposure:
                    exposure, pending = minimum + 0.15, day
                if scored_after is None:
                    continue
                theta = ALPHA_C + effects[plant["selection"]] + STOCK_GAIN_C[plant["rootstock"]] + own
                reach = 1 / (1 + np.exp(-(theta - exposure) / SIGMA_C))
                new = int((rng.random() < reach).sum()) if rng.random() < 0.5 else int((reach > 0.5).sum())
                grade = min(max(new, standing), worst)
                if rng.random() < 0.06:  # nobody scored it
                    exposure, pending = 0.0, ""
                    continue
                protected = "cover" if rng.random() < 0.05 and grade < worst else ""
                rows.append({
                    "plant": plant["plant"], "selection": plant["selection"], "rootstock": plant["rootstock"],
                    "freeze": f"{pending} L1", "event": pending, "sensor": "L1", "winter": winter,
                    "exposure_c": exposure, "exposure_sd_c": 0.5, "sensor_sd_c": 0.5, "grade": grade,
                    "grade_low": grade if grade > standing else 0, "near": 1, "protected": protected,
                    "scored_on": dt.date.fromisoformat(day) + dt.timedelta(days=scored_after), "freezes": 1,
                    "provisional": winter == "2031-32" and grade in (1, 2, 3) and bool(rng.random() < 0.15),
                })  # fmt: skip
                standing, exposure = grade, 0.0
                alive = grade < worst
    table = pd.DataFrame(rows, columns=column_names(OBSERVATIONS))
    # One plant was scored hurt before the winter's first freeze: what it shows there may be old damage.
    single = table.loc[(table["winter"] == "2030-31") & (table["grade"] > 0) & (table["grade"] < worst)].index[:1]
    table.loc[single, "grade_low"] = 0
    return table


def make_floors(plants: pd.DataFrame, rows: pd.DataFrame, effects: dict[str, float], rng: np.random.Generator,
                worst: int) -> pd.DataFrame:  # fmt: skip
    """Floors as a fit would give them: counted columns by their definitions, posterior columns about the truth."""
    fitted = rows.loc[rows["protected"] == ""]
    out = []
    for (selection, stock), _ in plants.groupby(["selection", "rootstock"], sort=True):
        cell = fitted.loc[(fitted["selection"] == selection) & (fitted["rootstock"] == stock)]
        if cell.empty:
            out.append({"selection": selection, "rootstock": stock, "plants": 0, "scores": 0, "killed": 0,
                        "evidence": "untested", "open_end": "none", "rests_on": ""})  # fmt: skip
            continue
        lost, came = cell.loc[cell["grade_low"] >= worst], cell.loc[cell["grade"] < worst]
        evidence = "all survived" if lost.empty else "all died" if came.empty else "bracketed"
        sd = {"bracketed": 0.35, "all survived": 1.0, "all died": 0.9}[evidence]
        middle = ALPHA_C[-1] + effects[selection] + STOCK_GAIN_C[stock] + 0.8 + float(rng.normal(0, 0.25))
        tested, survived = cell["exposure_c"].min(), came["exposure_c"].min()
        upper = middle + 1.9 * sd
        out.append({
            "selection": selection, "rootstock": stock, "plants": cell["plant"].nunique(), "scores": len(cell),
            "killed": lost["plant"].nunique(), "coldest_survived_c": survived,
            "warmest_fatal_c": lost["exposure_c"].max(), "tested_to_c": tested, "evidence": evidence,
            "open_end": {"bracketed": "none", "all survived": "cold", "all died": "warm"}[evidence],
            "rests_on": {"bracketed": "cell", "all survived": "selection", "all died": "trial"}[evidence],
            "floor_c": middle, "floor_low_c": middle - 1.64 * sd, "floor_high_c": middle + 1.64 * sd,
            "claimable_c": np.nan if evidence == "all died" else max(upper, tested, survived),
            "floor_q25_c": middle - 0.67 * sd, "floor_q75_c": middle + 0.67 * sd,
        })  # fmt: skip
    return pd.DataFrame(out, columns=[*column_names(FLOORS), "floor_q25_c", "floor_q75_c"])


def make_claims(floors: pd.DataFrame, selections: pd.DataFrame) -> pd.DataFrame:
    """A row per fitted cell of a selection with a claim."""
    claimed = selections.loc[selections["claimed_floor"] != ""].set_index("selection")
    rows = []
    for floor in floors.loc[floors["evidence"] != "untested"].to_dict("records"):
        if floor["selection"] in claimed.index:
            celsius = parse_temperature(claimed.loc[floor["selection"], "claimed_floor"]).celsius
            rows.append({"selection": floor["selection"], "rootstock": floor["rootstock"], "claimed_floor_c": celsius,
                         "claim_source": "heard at a meeting", "probability_holds": 0.3, "probability_half_holds": 0.5,
                         "beyond_tested": celsius < floor["tested_to_c"], "floor_c": floor["floor_c"]})  # fmt: skip
    return pd.DataFrame(rows, columns=column_names(CLAIMS))


def make_trial(*, selections: int = 24, units: str = "C", seed: int = 20311214) -> Trial:
    """The whole invented trial."""
    rng = np.random.default_rng(seed)
    settings = Settings("Terrace trial", "Europe/Lisbon", latitude=41.4, units=units)
    freezes = make_freezes(settings, rng)
    records, plants, effects = make_plants(selections, rng)
    scored = plants.loc[plants["rootstock"] != "stock T2"]
    rows = make_observations(scored, effects, rng, settings.worst)
    floors = make_floors(plants, rows, effects, rng, settings.worst)
    return Trial(settings, floors, freezes, rows, make_claims(floors, records), records, plants)


@pytest.fixture(scope="session")
def make() -> Callable[..., Trial]:
    """Make an invented trial: selections=, units=, seed=."""
    return make_trial


@pytest.fixture(scope="session")
def trial() -> Trial:
    """The invented trial; read only."""
    return make_trial()


@pytest.fixture(scope="session")
def summary(trial: Trial) -> Summary:
    """The invented trial as prepared; read only."""
    return prepare_summary(**trial.tables())


@pytest.fixture(scope="session")
def as_deuteranope() -> Callable[[str], tuple[float, float, float]]:
    """Show a colour as an eye without green cones sees it."""
    return lambda colour: tuple(seen_by_deuteranope(np.array(to_rgb(colour))).tolist())
