"""Influence, priors, low and high grades: fast answers agree with slow ones, and planted faults are found."""

import numpy as np
import pandas as pd
import pytest

from hardiness import schema
from hardiness.tolerance import influence as module
from hardiness.tolerance import spacing as spacing_module
from hardiness.tolerance.fit import fit_tolerance
from hardiness.tolerance.influence import (
    confirm_influence,
    confirmed_influence,
    influence_table,
    left_untested,
    with_pulls,
    with_refits,
)
from hardiness.tolerance.priors import SCALES, Priors
from hardiness.tolerance.sensitivity import TOGETHER, sensitivity_table
from hardiness.tolerance.spacing import spacing_table
from tests.simulate import simulate_observations

TRUE = dict(zip(SCALES, (0.8, 1.5, 0.6, 0.3, 0.5, 0.4), strict=True))


@pytest.fixture(scope="module")
def rows():
    return simulate_observations(np.random.default_rng(3), selections=6, plants_per_cell=2, freezes=5)[0]


@pytest.fixture(scope="module")
def posterior(rows):
    return fit_tolerance(rows).posterior


@pytest.fixture(scope="module")
def table(posterior):
    return influence_table(posterior)


def test_every_floor_has_its_plants_and_freezes_the_largest_first(posterior, table):
    assert list(table.columns) == schema.column_names(schema.INFLUENCE)
    assert len(table) == 6 * len(posterior.design.cells)
    assert table["refit_shift_c"].isna().all()
    for _, some in table.groupby(["selection", "rootstock"]):
        assert some["shift_c"].abs().is_monotonic_decreasing
    only = influence_table(posterior, selections=["S-03"], most=1)
    assert only["selection"].eq("S-03").all() and len(only) == 4
    whole = table[table["selection"] == "S-03"].groupby(["rootstock", "kind"])["shift_c"].apply(lambda s: s.abs().max())
    assert only.groupby(["rootstock", "kind"])["shift_c"].apply(lambda s: s.abs().max()).to_numpy() == pytest.approx(
        whole.to_numpy()
    )


def test_shifts_agree_with_the_whole_fit_done_anew(posterior, table):
    some = table.loc[table.groupby("kind")["shift_c"].apply(lambda s: s.abs().nlargest(2)).index.get_level_values(1)]
    assert some["shift_c"].abs().max() > 0.3
    found = confirm_influence(posterior, some)
    away = (found["refit_shift_c"] - found["shift_c"]).abs()
    assert np.sign(found["refit_shift_c"]).tolist() == np.sign(found["shift_c"]).tolist()
    assert away.mean() < 0.25 * found["shift_c"].abs().mean() and (away < 0.15 + 0.35 * found["shift_c"].abs()).all()


def test_freezes_that_pull_hard_are_left_out_with_the_whole_fit_done_anew(rows, posterior, table):
    floors = fit_tolerance(rows).floors()
    found = confirmed_influence(posterior, floors)
    pd.testing.assert_frame_equal(found.drop(columns="refit_shift_c"), table.drop(columns="refit_shift_c"))
    hard = with_pulls(table[table["kind"] == "freeze"], floors).query("pull > 0.5")["left_out"].unique()
    assert hard.tolist() == ["2001-12-01"]
    anew = found["refit_shift_c"].notna()
    left = ~left_untested(posterior.design, found)  # S-05 died out in that freeze: nothing would be left of it
    assert (anew == ((found["kind"] == "freeze") & (found["left_out"] == hard[0]) & left)).all() and anew.sum() > 4
    assert set(found.loc[~left, "selection"]) == {"S-05"}
    without = fit_tolerance(rows[rows["event"] != hard[0]]).floors().set_index(["selection", "rootstock"])["floor_c"]
    compared = found[anew].set_index(["selection", "rootstock"])
    by_hand = (without - compared["floor_c"])[compared.index]
    assert compared["refit_shift_c"].to_numpy() == pytest.approx(by_hand.to_numpy(), abs=0.12)
    assert (by_hand - compared["shift_c"]).abs().max() > 0.2  # held scales do not tell it


def test_no_more_freezes_are_left_out_anew_than_may_be(rows, posterior, monkeypatch):
    monkeypatch.setattr(module, "LEAST_PULL", 0.05)
    monkeypatch.setattr(module, "MOST_REFITS", 2)
    found = confirmed_influence(posterior, fit_tolerance(rows).floors())
    assert found.loc[found["refit_shift_c"].notna(), "left_out"].nunique() == 2


def test_pulls_go_by_the_fit_done_anew_where_there_is_one():
    floors = pd.DataFrame({"selection": ["A", "B"], "rootstock": "own", "evidence": ["bracketed", "all survived"],
                           "floor_low_c": -10.0, "floor_high_c": -8.0})  # fmt: skip
    shifts = pd.DataFrame({
        "selection": ["A", "A", "B"], "rootstock": "own", "kind": "freeze", "left_out": list("xyx"), "floor_c": -9.0,
        "shift_c": [0.85, -0.4, 3.0], "refit_shift_c": [-1.14, np.nan, 2.0],
    })  # fmt: skip
    assert with_pulls(shifts, floors)["pull"].tolist() == pytest.approx([1.14, 0.4])
    blank = shifts.iloc[::-1].assign(refit_shift_c=np.nan)
    filled = with_refits(blank, shifts)
    pd.testing.assert_frame_equal(filled, shifts.iloc[::-1])
    assert with_refits(blank, shifts.iloc[:0])["refit_shift_c"].isna().all()


def test_a_cell_that_stands_on_one_plant_or_freeze_would_be_untested_without_it():
    table = pd.DataFrame(
        [("p1", "A", "f1", -6.0, 0, 0), ("p1", "A", "f2", -9.0, 5, 5), ("p2", "B", "f1", -6.0, 5, 5),
         ("p3", "B", "f1", -6.0, 1, 1), ("p4", "B", "f2", -9.0, 5, 0)],
        columns=["plant", "selection", "freeze", "exposure_c", "grade", "grade_low"],
    ).assign(rootstock="own", exposure_sd_c=0.5)  # fmt: skip
    posterior = fit_tolerance(table, priors=Priors(fixed=TRUE)).posterior
    found = influence_table(posterior)
    alone = found[left_untested(posterior.design, found)]
    assert sorted(alone[["selection", "kind", "left_out"]].itertuples(index=False, name=None)) == [
        ("A", "plant", "p1"), ("B", "freeze", "f1"),  # p4's row tells nothing
    ]  # fmt: skip


def test_at_fixed_scales_a_plant_left_out_by_hand_moves_the_floor_as_said(rows):
    priors = Priors(fixed=TRUE)
    fit = fit_tolerance(rows, priors=priors)
    top = influence_table(fit.posterior, most=1)
    top = top[top["kind"] == "plant"].sort_values("shift_c", key=abs).iloc[-1]
    cell = ["selection", "rootstock"]
    before, after = (
        fit_tolerance(some, priors=priors).floors().set_index(cell).loc[(top["selection"], top["rootstock"]), "floor_c"]
        for some in (rows, rows[rows["plant"] != top["left_out"]])
    )
    assert after - before == pytest.approx(top["shift_c"], abs=0.1)
    assert abs(top["shift_c"]) > 0.2


def test_the_same_rows_in_any_order_pull_the_same(rows, table):
    shuffled = influence_table(fit_tolerance(rows.sample(frac=1.0, random_state=1)).posterior)
    pd.testing.assert_frame_equal(table, shuffled)


def test_a_freeze_is_one_cold_spell_at_all_sensors(three_sensors):
    posterior = fit_tolerance(three_sensors, priors=Priors(fixed=TRUE)).posterior
    names = set(influence_table(posterior).query("kind == 'freeze'")["left_out"])
    assert names <= set(three_sensors["event"])
    no_events = fit_tolerance(three_sensors.drop(columns="event"), priors=Priors(fixed=TRUE)).posterior
    assert set(influence_table(no_events).query("kind == 'freeze'")["left_out"]) <= set(three_sensors["freeze"])


@pytest.mark.slow
def test_other_priors_move_little_where_much_is_known_and_nothing_when_they_are_the_same(posterior):
    assert posterior.span_c == pytest.approx(6.0)
    same = sensitivity_table(posterior, variants=[("both", 1.0)])
    assert same["shift_c"].abs().max() < 1e-9 and same["width_ratio"].to_numpy() == pytest.approx(1.0)
    found = sensitivity_table(posterior, variants=TOGETHER)
    assert list(found.columns) == schema.column_names(schema.SENSITIVITY)
    widths = found.groupby("factor")["width_ratio"].mean()
    assert widths[0.5] < 1.0 < widths[2.0]
    bracketed = fit_tolerance(posterior.design.table).floors().query("evidence == 'bracketed'")
    known = found.merge(bracketed[["selection", "rootstock"]])
    assert known["shift_c"].abs().median() < 0.4 < found["shift_c"].abs().max()


def leaf_tender_wood_hardy(seed):
    """One selection of another kind among eleven: leaves go at -3, wood holds to -9 and beyond."""
    whole = simulate_observations(np.random.default_rng(seed), selections=10, plants_per_cell=3, freezes=8)[0]
    cold = whole.groupby("event", sort=False)["exposure_c"].first().tolist()
    odd = simulate_observations(
        np.random.default_rng(900 + seed), selections=["S-01"], plants_per_cell=3, freezes=cold,
        alpha=[-2.5, -3.5, -9.5, -10.8, -12.0], tau_a=0.01,
    )[0]  # fmt: skip
    odd = odd.assign(plant="X" + odd["plant"], freeze=odd["freeze"] + "x")
    return pd.concat([whole[whole["selection"] != "S-01"], odd], ignore_index=True).drop(columns=["sensor", "event"])


def test_a_selection_tender_in_leaf_and_hardy_in_wood_stands_out():
    found = spacing_table(fit_tolerance(leaf_tender_wood_hardy(3), priors=Priors(fixed=TRUE)).posterior)
    assert list(found.columns) == schema.column_names(schema.SPACING)
    assert found["selection"].iloc[0] == "S-01" and found["z"].iloc[0] > 3.0
    assert found["difference_c"].iloc[0] > 1.5 and found["z"].abs().iloc[1] < 3.0


def test_where_one_effect_moves_all_grades_no_selection_stands_out(rows):
    assert spacing_table(fit_tolerance(rows, priors=Priors(fixed=TRUE)).posterior)["z"].abs().max() < 2.5


def test_one_threshold_or_two_selections_leave_nothing_to_compare(rows, monkeypatch):
    two = rows.assign(grade=(rows["grade"] >= 3).astype(int), grade_low=(rows["grade_low"] >= 3).astype(int))
    assert spacing_table(fit_tolerance(two, 2, priors=Priors(fixed=TRUE)).posterior).empty
    pair = rows[rows["selection"].isin(["S-01", "S-02"])]
    few = fit_tolerance(pair, priors=Priors(fixed=TRUE)).posterior
    monkeypatch.setattr(spacing_module, "find_posterior", None)  # nothing is fitted for nothing
    assert spacing_table(few).empty
