"""Which held duration explains the damage, in a trial whose freezes have different shapes."""

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pandas as pd
import pytest
import xarray as xr

from hardiness import schema
from hardiness.commands.fitting import duration_notes
from hardiness.durations import Durations, compare_durations
from hardiness.errors import FitError
from hardiness.flow import Flow, Records
from hardiness.settings import Settings
from hardiness.tolerance.weighing import model_weights
from tests.weather.test_placing import table_of

HILL = Settings("Hill", "UTC", latitude=40.0)
# Night: [degC] the lowest, held for so many hours, and the plateau around it for so many more.
NIGHTS = {
    "2030-12-10": (-9.0, 1, -5.0, 8), "2031-01-20": (-6.5, 8, -4.0, 8), "2031-12-12": (-10.5, 1, -6.0, 8),
    "2032-01-15": (-8.0, 7, -5.0, 9), "2032-12-09": (-12.0, 1, -7.5, 8), "2033-01-25": (-9.0, 8, -5.0, 8),
    "2033-02-20": (-5.0, 1, -4.0, 1),
}  # fmt: skip


def air() -> xr.DataArray:
    time = pd.date_range("2030-11-01", "2033-04-01", freq="h").to_numpy().astype("M8[ns]")
    degrees = np.full(time.size, 6.0)
    for night, (low, held, plateau, more) in NIGHTS.items():
        since = (time - np.datetime64(night, "ns")) / np.timedelta64(1, "h")
        degrees[(since >= 0) & (since < held + more)] = plateau
        degrees[(since >= more // 2) & (since < more // 2 + held + 1)] = low
    return xr.DataArray(degrees, {"time": time}, attrs={"units": "degC"})


def trial(nights: dict[str, object] = NIGHTS) -> Flow:
    """Damage that follows the temperature held for four hours: a grade a degree and a half, tender and hardy plants."""
    plants, scores = [], []
    for number, (selection, first_c) in enumerate((("A", -3.0), ("A", -3.4), ("B", -4.6), ("B", -5.0), ("C", -6.2))):
        plants.append({"plant": f"T{number}", "selection": selection, "rootstock": "own", "planted_on": "2026-04-01"})
        dead = False
        for night, (low, held, plateau, _) in NIGHTS.items():
            cold = low if held >= 4 else plateau
            grade = int(np.clip(np.ceil((first_c - cold) / 1.5), 0, 5))
            if night in nights and not dead:
                on = date.fromisoformat(night) + timedelta(days=18)
                scores.append({"plant": f"T{number}", "scored_on": on.isoformat(), "grade": grade})
            dead = dead or grade == 5
    tables = {"plants": table_of("plants", plants), "scores": table_of("scores", scores).astype({"grade": int})}
    days = [date.fromisoformat(str(day)) for day in tables["scores"]["scored_on"]]
    tables["scores"]["scored_on"] = pd.Series(days, dtype=object)
    empty = {name: table_of(name, []) for name in ("selections", "sensors", "freeze_notes")}
    return Flow(Records(readings={"L1": air()}, **tables, **empty), HILL)


@pytest.fixture(scope="module")
def flow() -> Flow:
    return trial()


@pytest.fixture(scope="module")
def durations(flow) -> Durations:
    return compare_durations(flow, (0.0, 4.0))


def test_the_duration_that_did_the_damage_is_chosen(durations):
    table = durations.table
    assert list(table.columns) == schema.column_names(schema.DURATIONS)
    assert table["held_h"].tolist() == [0.0, 1.0, 4.0]
    assert durations.best_h == durations.chosen_h == 4.0
    assert table["weight"].sum() == pytest.approx(1.0)
    assert table["weight"].iloc[-1] > 0.9


@pytest.mark.parametrize(
    "log_evidence, best_h, chosen_h, said",
    [
        # own (1 h) against 0 h and 4 h; Kass & Raftery 1995: a factor below 3 is not worth more than a bare mention
        ([0.0, 0.0, 0.0], 0.0, 1.0, "cannot tell 0, 1 and 4 h held apart: each makes them as likely as the others."),
        (
            [np.log(2.9), 0.0, -9.0],
            0.0,
            1.0,
            "cannot tell 0 and 1 h held apart: the best of them makes the scores 2.9 times",
        ),
        ([np.log(3.1), 0.0, -9.0], 0.0, 0.0, "0 h explains the scores best, 3.1 times as well as the trial's own 1 h"),
        ([np.log(3.1), 0.0, np.log(3.2)], 4.0, 4.0, "4 h explains the scores best, 3.2 times"),
        ([-9.0, 0.0, -1.0], 1.0, 1.0, "cannot tell 1 and 4 h held apart"),
        ([-9.0, 0.0, -1.2], 1.0, 1.0, "The trial's own 1 h explains the scores best."),
    ],
)
def test_a_duration_is_chosen_only_where_the_scores_can_tell(durations, log_evidence, best_h, chosen_h, said):
    evidence = np.array(log_evidence) - 40.0
    table = durations.table.assign(log_evidence=evidence, weight=model_weights(evidence))
    other = replace(durations, table=table)
    assert (other.best_h, other.chosen_h) == (best_h, chosen_h)
    assert said in duration_notes(other)[0]
    assert (chosen_h == 1.0 and best_h == 1.0) or ("The trial's own 1 h is kept." in duration_notes(other)[0]) == (
        chosen_h != best_h
    )


def test_all_durations_are_fitted_to_the_same_rows(flow, durations):
    """The last freeze lasts less than four hours at or below anything: its rows say nothing of that duration."""
    assert len(set(durations.table["rows"])) == 1
    short = flow.observations["freeze"] == flow.freezes["freeze"].iloc[-1]
    assert short.sum() > 0
    assert durations.left_out == short.sum()
    assert durations.table["rows"].iloc[0] == (~short).sum()
    same = [fit.posterior.design.table[["plant", "grade", "grade_low"]] for fit in durations.fits.values()]
    for other in same[1:]:
        pd.testing.assert_frame_equal(
            other.sort_values(["plant", "grade"], ignore_index=True),
            same[0].sort_values(["plant", "grade"], ignore_index=True),
        )


def test_offsets_are_those_of_the_freezes_met(durations):
    met = durations.flow.freezes.iloc[:-1]
    for held_h, offset, sd in durations.table[["held_h", "offset_c", "offset_sd_c"]].to_numpy():
        difference = met["held_1h_c"] - met[schema.held_column(held_h)]
        assert offset == pytest.approx(difference.median())
        assert sd == pytest.approx(difference.std())
    assert durations.table.set_index("held_h").loc[1.0, ["offset_c", "offset_sd_c"]].tolist() == [0.0, 0.0]


def test_averaged_floors_are_stated_at_the_trials_own_duration_with_all_its_evidence(flow, durations):
    averaged, own = durations.floors(), flow.fit.floors()
    counted = ["selection", "rootstock", "plants", "scores", "killed", "coldest_survived_c", "warmest_fatal_c",
               "tested_to_c", "evidence"]  # fmt: skip
    pd.testing.assert_frame_equal(averaged[counted], own[counted])
    best = durations.fits[4.0].floors()["floor_c"] + durations.table["offset_c"].iloc[-1]
    assert averaged["floor_c"].to_numpy() == pytest.approx(best.to_numpy(), abs=0.3)
    assert (averaged["floor_low_c"] < averaged["floor_c"]).all()


def test_the_flow_itself_is_left_as_it_was(flow, durations):
    assert flow.settings == HILL
    assert "held_0h_c" not in flow.freezes
    assert durations.flow.settings.rules.held_h == (1.0, 2.0, 4.0, 0.0)


def test_freezes_shorter_than_a_duration_leave_nothing_to_compare():
    with pytest.raises(FitError, match="no row has a temperature held for each of 0, 1, 200 h"):
        compare_durations(trial(), (0.0, 200.0))


def test_terms_of_the_model_go_with_every_duration(flow):
    with_winters = flow.with_settings(replace(HILL, model=replace(HILL.model, winter=True)))
    found = compare_durations(with_winters, (4.0,))
    assert all("tau_winter" in fit.posterior.priors.names for fit in found.fits.values())
