from itertools import pairwise

import numpy as np
import pandas as pd
import pytest
from scipy import optimize, stats

from hardiness import schema
from hardiness.errors import FitError
from hardiness.tolerance.evidence import count_evidence
from hardiness.tolerance.fit import fit_tolerance
from hardiness.tolerance.mixture import Mixture
from hardiness.tolerance.priors import Priors
from hardiness.tolerance.spread import spread_quantile, spread_share
from tests.simulate import simulate_observations


def rows_of(*rows):
    table = pd.DataFrame(
        rows, columns=["plant", "selection", "rootstock", "freeze", "exposure_c", "grade", "grade_low"]
    )
    return table.assign(exposure_sd_c=0.5)


@pytest.fixture(scope="module")
def trial():
    return simulate_observations(np.random.default_rng(21), selections=8, plants_per_cell=2, freezes=5, tau_a=2.5)


@pytest.fixture(scope="module")
def fit(trial):
    return fit_tolerance(trial[0])


def test_evidence_of_one_cell_by_hand():
    """p1 lives at -6 and -8, p2 dies at -9, p3 was already at grade 3 and stays there at -10 (asked for grade 3)."""
    table = rows_of(
        ("p1", "A", "own", "f1", -6.0, 1, 1),
        ("p1", "A", "own", "f2", -8.0, 2, 2),
        ("p2", "A", "own", "f3", -9.0, 5, 5),
        ("p3", "A", "own", "f4", -10.0, 3, 0),
    )
    dead = count_evidence(table, 5).iloc[0]
    assert dead[["plants", "scores", "killed", "evidence", "open_end"]].tolist() == [3, 4, 1, "bracketed", "none"]
    assert dead[["coldest_survived_c", "warmest_fatal_c", "tested_to_c"]].tolist() == [-10.0, -9.0, -10.0]
    third = count_evidence(table, 3).iloc[0]
    assert third[["killed", "coldest_survived_c", "warmest_fatal_c"]].tolist() == [1, -8.0, -9.0]


@pytest.mark.parametrize(
    ("grades", "evidence", "open_end", "claimable"),
    [([0, 1], "all survived", "cold", True), ([5, 5], "all died", "warm", False), ([1, 5], "bracketed", "none", True)],
)
def test_evidence_classes_and_what_may_be_claimed(grades, evidence, open_end, claimable):
    table = rows_of(*((f"p{i}", "A", "own", f"f{i}", -7.0 - i, grade, grade) for i, grade in enumerate(grades)))
    floor = fit_tolerance(table).floors().iloc[0]
    assert (floor["evidence"], floor["open_end"], bool(np.isfinite(floor["claimable_c"]))) == (
        evidence,
        open_end,
        claimable,
    )
    assert np.isfinite(floor[["floor_low_c", "floor_c", "floor_high_c"]].astype(float)).all()


def test_what_a_figure_rests_on():
    """A is bracketed on own; on P2 it was only spared, but A as a whole is bracketed; B was only spared."""
    rows = [(f"a{i}", "A", "own", f"f{i}", -6.0 - i, grade, grade) for i, grade in enumerate([0, 5, 5, 5])]
    rows += [("a9", "A", "P2", "f0", -6.0, 0, 0), ("b1", "B", "own", "f0", -6.0, 0, 0)]
    table = rows_of(*rows)
    rests = count_evidence(table, 5).set_index(["selection", "rootstock"])["rests_on"]
    assert rests.to_dict() == {("A", "own"): "cell", ("A", "P2"): "selection", ("B", "own"): "trial"}
    assert count_evidence(table.iloc[[0, 1, 2, 4, 5]], 5)["rests_on"].eq("prior").all()


def test_floors_have_the_contracted_columns_and_order(fit):
    floors = fit.floors()
    assert list(floors.columns) == schema.column_names(schema.FLOORS)
    assert (floors["floor_low_c"] < floors["floor_c"]).all() and (floors["floor_c"] < floors["floor_high_c"]).all()


def test_claimable_is_never_colder_than_what_was_tested_or_came_through(fit):
    floors = fit.floors()
    claimed = floors[floors["claimable_c"].notna()]
    assert len(claimed) > 4
    assert (claimed["claimable_c"] >= claimed["tested_to_c"]).all()
    assert (claimed["claimable_c"] >= claimed["coldest_survived_c"]).all()


def test_claimable_does_not_depend_on_the_interval_asked_for(fit):
    assert fit.floors(level=0.5)["claimable_c"].equals(fit.floors(level=0.9)["claimable_c"])


def test_more_survivors_asked_for_means_a_warmer_floor_and_a_milder_grade_too(fit):
    floors = [fit.floors(survive=share)["floor_c"].to_numpy() for share in (0.5, 0.75, 0.9, 0.99)]
    assert all((colder < warmer).all() for colder, warmer in pairwise(floors))
    grades = [fit.floors(grade=grade)["floor_c"].to_numpy() for grade in (1, 2, 3, 4, 5)]
    assert all((warmer > colder).all() for warmer, colder in pairwise(grades))


def test_true_floors_lie_in_the_intervals_at_about_the_stated_rate(trial, fit):
    truth = trial[1].rename(columns={"floor_c": "true_c"})[["selection", "rootstock", "true_c"]]
    both = fit.floors().merge(truth)
    inside = (both["floor_low_c"] <= both["true_c"]) & (both["true_c"] <= both["floor_high_c"])
    assert inside.mean() >= 0.75  # 16 cells of one trial, which share their errors


def test_more_plants_narrow_the_interval():
    rng = np.random.default_rng(5)
    few = simulate_observations(rng, selections=6, plants_per_cell=1, freezes=4)[0]
    many = simulate_observations(np.random.default_rng(5), selections=6, plants_per_cell=8, freezes=4)[0]

    def width(rows):
        floors = fit_tolerance(rows).floors()
        return (floors["floor_high_c"] - floors["floor_low_c"]).mean()

    assert width(many) < width(few)


def test_protected_rows_are_left_out_of_the_fit(trial):
    rows = trial[0].assign(protected="")
    covered = rows.copy()
    covered.loc[covered.index[::3], "protected"] = "cover"
    kept = rows.drop(index=rows.index[::3])
    pd.testing.assert_frame_equal(fit_tolerance(covered).floors(), fit_tolerance(kept).floors())


def test_one_plant_one_freeze_still_gives_a_one_sided_answer():
    floor = fit_tolerance(rows_of(("p", "A", "own", "f", -7.0, 0, 0))).floors().iloc[0]
    assert floor[["evidence", "rests_on", "open_end"]].tolist() == ["all survived", "prior", "cold"]
    assert floor["claimable_c"] >= -7.0


def test_half_of_the_trial_scored_as_certain_nothing_moves_nothing():
    """grade_low 0 and the last grade at once says nothing: the row counts, the floors stay."""
    rng = np.random.default_rng(6)
    rows = simulate_observations(rng, selections=5, plants_per_cell=2, freezes=3)[0].drop(columns=["sensor", "event"])
    idle = rows.iloc[:1].assign(plant="extra", grade=5, grade_low=0, selection=rows["selection"].iloc[0])
    with_idle = fit_tolerance(pd.concat([rows, idle], ignore_index=True))
    assert with_idle.floors()["floor_c"].to_numpy() == pytest.approx(
        fit_tolerance(rows).floors()["floor_c"].to_numpy(),
        abs=0.04,  # one plant more deals other draws to the others
    )
    assert with_idle.floors()["scores"].sum() == len(rows) + 1


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"exposure_c": np.nan}, "row 0, column exposure_c: found nan; accepted: a temperature in degC."),
        ({"exposure_sd_c": -0.1}, "column exposure_sd_c: found -0.1; accepted: a number, 0 or more."),
        ({"grade": 6}, "column grade: found 6; accepted: a whole grade 0-5."),
        ({"grade": 2.5}, "column grade: found 2.5; accepted: a whole grade 0-5."),
        ({"grade_low": 3, "grade": 1}, "row 0: grade_low 3 is above grade 1."),
        ({"near": 0}, "column near: found 0; accepted: a whole number, 1 or more."),
        ({"plant": "p2", "freeze": "f2"}, "plant p2, freeze f2: two rows; accepted: one row for a plant and freeze."),
        ({"plant": "p2"}, "plant p2 is listed under two selections or rootstocks; accepted: one."),
        ({"selection": ""}, "row 0, column selection: found nothing; accepted: a name."),
    ],
)
def test_rows_that_cannot_be_fitted_are_named(change, message):
    table = rows_of(("p1", "A", "own", "f1", -6.0, 0, 0), ("p2", "B", "own", "f2", -9.0, 5, 5)).assign(near=1)
    table = table.astype({"grade": object, "near": object})
    for name, value in change.items():
        table.loc[0, name] = value
    with pytest.raises(FitError) as caught:
        fit_tolerance(table)
    assert message in str(caught.value)


def test_a_freeze_with_two_exposures_at_one_sensor_is_refused():
    table = rows_of(("p1", "A", "own", "f1", -6.0, 0, 0), ("p2", "B", "own", "f1", -9.0, 5, 5)).assign(sensor="L1")
    with pytest.raises(FitError, match="freeze f1 has two exposures at one sensor"):
        fit_tolerance(table)


def test_missing_columns_no_rows_and_bad_options_are_said():
    table = rows_of(("p1", "A", "own", "f1", -6.0, 0, 0))
    with pytest.raises(FitError, match=r"column 'selection' is missing. Did you mean 'selecton'\?"):
        fit_tolerance(table.rename(columns={"selection": "selecton"}))
    with pytest.raises(FitError, match="nothing to fit"):
        fit_tolerance(table.iloc[:0])
    with pytest.raises(FitError, match="nothing to fit"):
        fit_tolerance(table.assign(protected="cover"))
    with pytest.raises(FitError, match="span_c"):
        fit_tolerance(table, span_c=0.0)
    with pytest.raises(FitError, match="grades: found 1"):
        fit_tolerance(table, grades=1)
    with pytest.raises(FitError, match="fixed scale 'tau_x' is not known"):
        Priors(fixed={"tau_x": 1.0})
    fitted = fit_tolerance(table)
    with pytest.raises(FitError, match="survive: found 1; accepted: a share between 0 and 1"):
        fitted.floors(survive=1.0)
    with pytest.raises(FitError, match="grade: found 6; accepted: a grade from 1 to 5"):
        fitted.floors(grade=6)


def test_the_input_is_not_changed(trial):
    rows = trial[0].copy()
    fit_tolerance(rows)
    pd.testing.assert_frame_equal(rows, trial[0])


def test_spread_of_a_normal_plus_a_logistic_against_simulation_free_limits():
    assert spread_quantile(0.9, np.array([0.0]), np.array([1.3]))[0] == pytest.approx(1.3 * np.log(9), abs=1e-9)
    assert spread_quantile(0.9, np.array([2.0]), np.array([1e-9]))[0] == pytest.approx(
        2.0 * stats.norm.ppf(0.9), abs=0.02
    )
    both = spread_quantile(0.25, np.array([1.1]), np.array([0.7]))
    assert spread_share(both, np.array([1.1]), np.array([0.7]))[0] == pytest.approx(0.25, abs=1e-9)
    draws = np.random.default_rng(0)
    sampled = 1.1 * draws.normal(size=400_000) + 0.7 * draws.logistic(size=400_000)
    assert both[0] == pytest.approx(np.quantile(sampled, 0.25), abs=0.01)


@pytest.mark.parametrize(("tau", "sigma"), [(0.0, 0.8), (0.5, 0.8), (1.5, 0.1), (3.0, 1e-6), (1e-6, 1e-3)])
def test_spread_quantiles_are_those_of_a_bracketing_search_and_mirror_each_other(tau, sigma):
    sd, scale = np.array([tau]), np.array([sigma])
    for share in (1e-9, 1e-4, 0.05, 0.3, 0.5, 0.7, 0.9, 0.999):
        found = spread_quantile(share, sd, scale)[0]
        reach = 40.0 * (tau + sigma)
        searched = optimize.brentq(
            lambda x, share=share: np.log(spread_share(np.array([x]), sd, scale)[0]) - np.log(share), -reach, reach,
            xtol=1e-13, rtol=1e-13,
        )  # fmt: skip
        assert found == pytest.approx(searched, abs=1e-8 * (tau + sigma) + 1e-12)
        assert spread_quantile(1.0 - share, sd, scale)[0] == pytest.approx(-found, abs=1e-6 * (tau + sigma))
    ends = [spread_quantile(share, sd, scale)[0] for share in (1e-300, 1e-20, 1e-12, 1.0 - 1e-12, 1.0 - 2e-16)]
    assert np.isfinite(ends).all() and np.all(np.diff(ends) >= 0.0)


def test_mixture_takes_skewness_as_that_of_a_gamma():
    shape = 6.0
    gamma = Mixture(np.ones(1), np.array([[shape]]), np.array([[np.sqrt(shape)]]), np.array([[2 / np.sqrt(shape)]]))
    for share in (0.05, 0.5, 0.95):
        assert gamma.quantile(share)[0] == pytest.approx(stats.gamma(shape).ppf(share), rel=0.01)
        assert gamma.probability_below(gamma.quantile(share))[0] == pytest.approx(share, abs=1e-8)
    mirrored = Mixture(np.ones(1), -gamma.mean, gamma.sd, -gamma.skew)
    assert mirrored.quantile(0.05)[0] == pytest.approx(-gamma.quantile(0.95)[0], abs=1e-7)


def test_a_plant_set_back_in_three_winters_is_three_rows_and_one_plant():
    """Asked for grade 3, which the plant reached anew each winter: enough rows of the trial to rest on, one plant."""
    thrice = [("p1", "A", "own", f"f{winter}", -7.0 - winter, 3, 3) for winter in range(3)]
    table = rows_of(*thrice, ("p2", "A", "own", "f0", -7.0, 1, 1))
    counted = count_evidence(table, 3).iloc[0]
    assert counted[["plants", "scores", "killed", "rests_on"]].tolist() == [2, 4, 1, "cell"]
    assert count_evidence(table.iloc[1:], 3)["rests_on"].tolist() == ["prior"]
