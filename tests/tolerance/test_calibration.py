"""Predictions are made before the plant is seen, come as often as they say, and a wrong model is caught."""

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from hardiness import schema
from hardiness.tolerance.calibration import (
    calibration_table,
    calibration_tests,
    cell_fit,
    count_distribution,
    count_limits,
    count_surprise,
    grades_by_exposure,
)
from hardiness.tolerance.fit import fit_tolerance
from hardiness.tolerance.prediction import Prediction, predict_rows
from hardiness.tolerance.priors import SCALES, Priors
from tests.simulate import simulate_observations

TRUE = dict(zip(SCALES, (0.8, 1.5, 0.6, 0.3, 0.5, 0.4), strict=True))


def simulated(seed, **options):
    return simulate_observations(np.random.default_rng(seed), **{"selections": 10, "plants_per_cell": 2} | options)[0]


def predicted(rows, **scales):
    return predict_rows(fit_tolerance(rows, priors=Priors(fixed=TRUE | scales)).posterior)


@pytest.fixture(scope="module")
def rows():
    return simulated(3)


@pytest.fixture(scope="module")
def prediction(rows):
    return predicted(rows)


def test_counts_of_equal_chances_are_binomial():
    assert count_distribution(np.full(30, 0.2)) == pytest.approx(stats.binom.pmf(np.arange(31), 30, 0.2))
    low, high = count_limits(np.full(30, 0.2))
    assert (low, high) == (stats.binom.ppf(0.05, 30, 0.2), stats.binom.ppf(0.95, 30, 0.2))
    many = count_limits(np.full(4_000, 0.2))  # by the normal
    assert many == pytest.approx(stats.binom.interval(0.9, 4_000, 0.2), abs=1)


def test_the_sum_of_different_chances_has_their_mean_and_variance():
    chances = np.array([0.1, 0.5, 0.9, 0.3])
    whole = count_distribution(chances)
    at = np.arange(5)
    assert whole.sum() == pytest.approx(1.0)
    assert whole @ at == pytest.approx(chances.sum())
    assert whole @ at**2 - (whole @ at) ** 2 == pytest.approx(np.sum(chances * (1 - chances)))
    assert count_surprise(chances, 2) > 0.5 > count_surprise(chances, 4)


def test_a_row_is_predicted_as_if_it_had_not_been_seen(rows):
    """The last row of some plants turns from alive to dead: what was said of that row hardly moves."""
    last = rows[~rows.duplicated("plant", keep="last")]
    alive = last[(last["grade"] < 3) & (last["exposure_c"] < -7)].index[:2]
    assert len(alive) == 2
    for row in alive:
        other = rows.copy()
        other.loc[row, ["grade", "grade_low"]] = 5
        before, after = predicted(rows), predicted(other)
        key = (before.table["plant"] == rows.loc[row, "plant"]) & (before.table["freeze"] == rows.loc[row, "freeze"])
        place = int(np.flatnonzero(key)[0])
        assert after.reach[place] == pytest.approx(before.reach[place], abs=0.03)


def test_what_a_plant_did_before_counts(rows):
    """Plants differ much: one that came through a hard freeze is given better chances later than in its first one."""
    wide = TRUE | {"tau_u": 3.0}
    table = pd.DataFrame(
        {
            "plant": ["a", "a", "b", *[f"c{i}" for i in range(8)]],
            "freeze": ["2001 f1", "2001 f2", "2001 f2", *["2001 f1", "2001 f2"] * 4],
            "exposure_c": [-9.0, -9.0, -9.0, *[-9.0] * 8],
            "grade": [0, 0, 5, *[0, 5] * 4],
        }
    ).assign(selection="S", rootstock="own", exposure_sd_c=0.1)
    table["grade_low"] = table["grade"]
    found = predict_rows(fit_tolerance(table, priors=Priors(fixed=wide)).posterior)
    death = pd.Series(found.reach[:, -1], index=pd.MultiIndex.from_frame(found.table[["plant", "freeze"]]))
    assert death["a", "2001 f2"] < death["b", "2001 f2"] - 0.1


def test_standing_grades_hide_what_cannot_be_seen():
    table = pd.DataFrame(
        [("p", "S", "own", f"200{w} f{i}", f"200{w}", -6.0 - i, grade, low)
         for w, i, grade, low in ((1, 1, 2, 2), (1, 2, 2, 0), (1, 3, 4, 4), (2, 1, 1, 1))],
        columns=["plant", "selection", "rootstock", "freeze", "winter", "exposure_c", "grade", "grade_low"],
    ).assign(exposure_sd_c=0.5)  # fmt: skip
    found = predict_rows(fit_tolerance(table, priors=Priors(fixed=TRUE)).posterior)
    assert found.standing.tolist() == [0, 2, 2, 0]
    assert found.reached(2)[0].tolist() == [0, 3] and found.reached(3)[0].tolist() == [0, 1, 2, 3]
    assert found.reached(4)[2].tolist() == [0, 0, 1, 0]
    assert found.grades()[1, :2].tolist() == [0.0, 0.0]  # it cannot stand better than it did
    assert found.grades().sum(axis=1) == pytest.approx(1.0)


def test_tables_have_their_columns_and_add_up(prediction):
    table = calibration_table(prediction)
    assert list(table.columns) == schema.column_names(schema.CALIBRATION)
    for grade in range(1, 6):
        some, (rows, probability, seen) = table[table["grade"] == grade], prediction.reached(grade)
        assert (some["rows"].sum(), some["reached"].sum()) == (rows.size, seen.sum())
        assert some["expected"].sum() == pytest.approx(probability.sum())
        assert (some["expected"] / some["rows"]).between(some["predicted_from"], some["predicted_to"]).all()
    grades = grades_by_exposure(prediction)
    assert list(grades.columns) == schema.column_names(schema.GRADES_BY_EXPOSURE)
    per_bin = grades.groupby("exposure_from_c").agg(
        rows=("rows", "first"), seen=("seen", "sum"), expected=("expected", "sum")
    )
    assert per_bin["seen"].tolist() == per_bin["rows"].tolist()
    assert per_bin["expected"].to_numpy() == pytest.approx(per_bin["rows"].to_numpy())
    assert per_bin["rows"].sum() == len(prediction.table)


@pytest.mark.slow
def test_what_is_predicted_comes_as_often_as_that():
    """Six sound trials together: in every bin of the probability of death the share lies near the prediction."""
    found = [predicted(simulated(100 + seed)) for seed in range(6)]
    parts = [trial.reached(5) for trial in found]
    probability, seen = (np.concatenate([part[column] for part in parts]) for column in (1, 2))
    for low, high in ((0, 0.1), (0.1, 0.3), (0.3, 0.7), (0.7, 1.01)):
        inside = (probability >= low) & (probability < high)
        assert inside.sum() > 25
        error = np.sqrt(np.sum(probability[inside] * (1 - probability[inside]))) / inside.sum()
        assert abs(seen[inside].mean() - probability[inside].mean()) < 3 * error
    assert np.mean([calibration_tests(trial)["shape_p"].min() > 0.01 for trial in found]) > 0.8


def test_a_model_too_sure_of_itself_is_caught(rows):
    sure = predicted(simulated(5, tau_u=2.0, sigma=1.5), sigma=0.3, tau_u=0.1, tau_c=0.1)
    assert calibration_tests(sure)["shape_p"].min() <= 0.005
    assert (~calibration_table(sure)["as_predicted"]).mean() > 0.15


def test_a_cell_whose_plants_die_where_nothing_should_comes_first(rows):
    mild = rows.groupby("event")["exposure_c"].first().idxmax()
    own = (rows["selection"] == "S-07") & (rows["rootstock"] == "own")
    odd = rows[~own | (rows["event"] == mild)].copy()
    where = (odd["selection"] == "S-07") & (odd["rootstock"] == "own")
    assert where.sum() == 2
    odd.loc[where, ["grade", "grade_low"]] = 5
    worst = cell_fit(predicted(odd)).iloc[0]
    assert (worst["selection"], worst["rootstock"]) == ("S-07", "own")
    assert worst["killed_p"] < 0.01 and (worst["killed"], worst["high"]) == (2, 0)
    sound = cell_fit(predicted(rows))
    assert list(sound.columns) == schema.column_names(schema.CELL_FIT)
    assert (sound[["grade_p", "killed_p"]].min(axis=1) < 0.01).sum() <= 1


def test_a_prediction_of_nothing_seen_has_no_row():
    table = pd.DataFrame({"grade": [5], "grade_low": [3]})
    unclear = Prediction(table, np.array([[0.9, 0.8, 0.7, 0.5, 0.2]]), np.array([0]))
    assert unclear.reached(3)[2].tolist() == [1.0] and unclear.reached(4)[0].size == 0
