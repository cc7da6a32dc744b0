"""Comparisons, curves and claims agree with the floors they come from."""

import numpy as np
import pandas as pd
import pytest

from hardiness import schema
from hardiness.errors import FitError, UnitsError
from hardiness.tolerance import compare as compare_module
from hardiness.tolerance import mixture as mixture_module
from hardiness.tolerance import posterior as posterior_module
from hardiness.tolerance.fit import fit_tolerance
from hardiness.tolerance.terms import Terms
from tests.simulate import simulate_observations


@pytest.fixture(scope="module")
def rows():
    rng = np.random.default_rng(31)
    made = simulate_observations(rng, selections=["A", "B", "C", "D"], plants_per_cell=3, freezes=5, tau_a=2.5)[0]
    return made[~((made["selection"] == "D") & (made["rootstock"] == "P2"))]


@pytest.fixture(scope="module")
def fit(rows):
    return fit_tolerance(rows)


def test_pairs_are_by_name_on_shared_stocks_and_their_mean(fit):
    pairs = fit.compare()
    assert list(pairs.columns) == schema.column_names(schema.COMPARE)
    found = set(pairs[["selection_a", "selection_b", "rootstock"]].itertuples(index=False, name=None))
    full = {(a, b, r) for a, b in ("AB", "AC", "BC") for r in ("P2", "own", "all")}
    assert found == full | {(a, "D", r) for a in "ABC" for r in ("own", "all")}


def test_difference_is_that_of_the_floors_and_all_is_the_mean_over_stocks(fit):
    floors = fit.floors().set_index(["selection", "rootstock"])["floor_c"]
    pairs = fit.compare().set_index(["selection_a", "selection_b", "rootstock"])["difference_c"]
    assert pairs["A", "B", "own"] == pytest.approx(floors["A", "own"] - floors["B", "own"], abs=0.1)
    assert pairs["A", "B", "all"] == pytest.approx((pairs["A", "B", "own"] + pairs["A", "B", "P2"]) / 2, abs=0.05)


def test_probability_and_interval_say_the_same(fit):
    pairs = fit.compare()
    assert ((pairs["probability_a_hardier"] > 0.95) == (pairs["high_c"] < 0)).all()
    assert ((pairs["probability_a_hardier"] < 0.05) == (pairs["low_c"] > 0)).all()
    assert pairs["probability_a_hardier"].between(0, 1).all()


def test_swapping_names_swaps_signs(rows, fit):
    swapped = fit_tolerance(rows.assign(selection=rows["selection"].map({"A": "Z", "B": "B", "C": "C", "D": "D"})))
    before = fit.compare(["A", "B"]).set_index("rootstock")
    after = swapped.compare(["B", "Z"]).set_index("rootstock")
    assert after["difference_c"].to_numpy() == pytest.approx(-before["difference_c"].to_numpy(), abs=1e-4)
    assert after["low_c"].to_numpy() == pytest.approx(-before["high_c"].to_numpy(), abs=1e-4)


def test_shared_winters_are_counted(rows, fit):
    own = rows[rows["rootstock"] == "own"]
    met = own.groupby("selection")["winter"].agg(set)
    row = fit.compare(["A", "B"]).set_index("rootstock").loc["own"]
    assert row["shared_winters"] == len(met["A"] & met["B"]) > 0
    assert fit_tolerance(rows.drop(columns="winter")).compare()["shared_winters"].isna().all()


def test_choosing_pairs(fit, monkeypatch):
    assert set(fit.compare(against=["D"])["selection_b"]) == {"D"}
    assert fit.compare(["A"]).empty
    with pytest.raises(
        FitError, match=r"'AA', which has no observation; accepted: one that has \(A, B, C, D\). Did you mean 'A'\?"
    ):
        fit.compare(["AA"])
    monkeypatch.setattr(compare_module, "MOST_PAIRS", 5)
    with pytest.raises(
        FitError, match=r"6 pairs; accepted: up to 5. Name some with selections=\[...\], or .* against=\[...\]."
    ):
        fit.compare()
    assert len(fit.compare(against=["D"]))


def test_curves_where_nodes_are_taken_together(rows, monkeypatch):
    """In trials of very many cells a mixture's nodes are merged: after each is moved by its own deviation."""
    monkeypatch.setattr(posterior_module, "FEW_ROWS", 0)  # as a mixture
    fit, temperatures = fit_tolerance(rows), np.linspace(-14, -2, 25)
    fine = fit.curves(temperatures)
    monkeypatch.setattr(mixture_module, "MANY", 10)
    assert not fit.posterior.draws.direct and len(fit.posterior.nodes) > mixture_module.GROUPS
    merged = fit.curves(temperatures)
    assert merged.to_numpy() == pytest.approx(fine.to_numpy(), abs=0.02)
    some = fit.curves(temperatures, cells=[("B", "own")])
    assert some.to_numpy()[0] == pytest.approx(merged.sel(selection="B", rootstock="own").to_numpy(), abs=1e-9)


def test_curves_of_some_cells_are_those_of_all(fit):
    temperatures = np.linspace(-14, -2, 25)
    every = fit.curves(temperatures, 3)
    some = fit.curves(temperatures, 3, cells=[("C", "own"), ("A", "P2")])
    assert some.indexes["selection_rootstock"].tolist() == [("A", "P2"), ("C", "own")]
    for selection, rootstock in some.indexes["selection_rootstock"]:
        own, same = (curves.sel(selection=selection, rootstock=rootstock).to_numpy() for curves in (some, every))
        assert own == pytest.approx(same, abs=1e-9)
    with pytest.raises(FitError, match="curves: found D on P2; accepted: selections and rootstocks with a row"):
        fit.curves(temperatures, cells=[("A", "own"), ("D", "P2")])
    with pytest.raises(FitError, match="curves: found no cell"):
        fit.curves(temperatures, cells=[])


def test_curves_cross_a_share_where_that_share_has_its_floor(fit):
    temperatures = np.linspace(-20, 2, 400)
    curves = fit.curves(temperatures)
    assert curves.dims == ("selection_rootstock", "temperature", "quantile") and curves.attrs["units"] == "1"
    for share in (0.5, 0.9):
        floors = fit.floors(survive=share)
        median = curves.sel(quantile=0.5).to_numpy()
        for number, floor in enumerate(floors["floor_c"]):
            assert np.interp(floor, temperatures, median[number]) == pytest.approx(share, abs=0.01)
    # The warm end of the floor is where even the pessimistic curve has 90 %.
    pessimistic = curves.isel(quantile=0).to_numpy()
    for number, high in enumerate(fit.floors()["floor_high_c"]):
        assert np.interp(high, temperatures, pessimistic[number]) == pytest.approx(0.9, abs=0.01)


def test_colder_never_means_more_survivors_and_bands_do_not_cross(fit):
    curves = fit.curves(np.linspace(-25, 5, 100)).to_numpy()
    assert (np.diff(curves, axis=1) >= -1e-9).all()
    assert (np.diff(curves, axis=2) >= -1e-6).all()
    with pytest.raises(FitError, match="finite temperatures"):
        fit.curves([np.nan])


def test_claims_are_held_against_the_floors(fit):
    floors = fit.floors().set_index(["selection", "rootstock"])
    middle = floors.loc[("A", "own"), "floor_c"]
    selections = pd.DataFrame({"selection": ["A", "B", "C"], "claimed_floor": [f"{middle:.4f} C", "-40 F", ""],
                               "claim_source": ["a neighbour", "", ""]})  # fmt: skip
    claims = fit.claims(selections).set_index(["selection", "rootstock"])
    assert list(claims.reset_index().columns) == schema.column_names(schema.CLAIMS)
    assert set(claims.index.get_level_values(0)) == {"A", "B"}
    assert claims.loc[("A", "own"), "probability_holds"] == pytest.approx(0.5, abs=0.01)
    assert claims.loc[("A", "own"), "probability_half_holds"] > 0.5
    assert claims.loc[("B", "own"), "claimed_floor_c"] == pytest.approx(-40.0)
    assert claims.loc[("B", "own"), "probability_holds"] < 1e-3 and bool(claims.loc[("B", "own"), "beyond_tested"])
    with pytest.raises(UnitsError, match="a number with a unit"):
        fit.claims(selections.assign(claimed_floor="-12"))


@pytest.mark.parametrize(
    "wrong, told",
    [
        ({"grade": "dead"}, "grade: found 'dead'; accepted: a grade from 1 to 5, by its number."),
        ({"grade": "unharmed"}, "grade: found 'unharmed'; accepted: a grade from 1 to 5, by its number."),
        ({"grade": True}, "grade: found True; accepted: a grade from 1 to 5, by its number."),
        ({"grade": np.nan}, "grade: found nan; accepted: a grade from 1 to 5, by its number."),
        ({"survive": "most"}, "survive: found 'most'; accepted: a share between 0 and 1, such as 0.9."),
        ({"survive": np.nan}, "survive: found nan; accepted: a share between 0 and 1, such as 0.9."),
        ({"level": None}, "level: found 'None'; accepted: a share between 0 and 1, such as 0.9."),
    ],
)
def test_floors_of_what_is_no_number_are_refused(fit, wrong, told):
    with pytest.raises(FitError) as caught:
        fit.floors(**wrong)
    assert str(caught.value) == told


@pytest.mark.parametrize("temperatures", [["a"], "cold", [[-5.0]], -5.0, [None], [[-5.0], [-6.0, -7.0]]])
def test_curves_at_what_is_no_list_of_temperatures_are_refused(fit, temperatures):
    for curves in (fit.curves, fit.plain_curves):
        with pytest.raises(FitError) as caught:
            curves(temperatures)
        assert str(caught.value).startswith("temperatures_c: found ")
        assert str(caught.value).endswith("accepted: a list of finite temperatures in degC.")


def test_claims_of_a_table_at_fault_are_refused(fit):
    whole = pd.DataFrame({"selection": ["A", "A", "B"], "claimed_floor": ["-9 C", "10 F", ""], "claim_source": ""})
    for table, told in (
        (whole, "selection 'A' has two claims; accepted: one."),
        (whole.drop(columns="claim_source"), "column 'claim_source' is missing; accepted: selection, claimed_floor"),
        ({"selection": ["A"]}, "selections: found a dict; accepted: a pandas DataFrame."),
    ):
        with pytest.raises(FitError) as caught:
            fit.claims(table)
        assert told in str(caught.value)
    with pytest.raises(UnitsError, match="found '-9'; accepted: a number with a unit"):
        fit.claims(whole.iloc[1:].assign(claimed_floor=pd.Series([-9, None], [1, 2], dtype=object)))


@pytest.mark.parametrize("span", ["six", np.nan, 0.0, True, None])
def test_a_span_that_is_no_length_is_refused(rows, span):
    with pytest.raises(FitError, match=f"span_c: found {span}; accepted: a number of degC above 0"):
        fit_tolerance(rows, span_c=span)


def test_as_many_pairs_as_are_allowed_are_compared(fit, monkeypatch):
    """Four selections are six pairs, and three against one of them: "past" the limit is one more."""
    monkeypatch.setattr(compare_module, "MOST_PAIRS", 6)
    assert len(fit.compare(["A", "B", "C", "D"])) == len(fit.compare()) == 15
    monkeypatch.setattr(compare_module, "MOST_PAIRS", 3)
    assert len(fit.compare(against=["D"])) == 6


def test_winters_shared_over_all_stocks_are_those_of_any_of_them_and_protected_rows_share_none():
    """On own A met 2030-31 and B 2031-32, on P2 the other way round; a covered B met 2032-33 as A did."""
    rows = pd.DataFrame(
        [("a1", "A", "own", "f1", "2030-31", -6.0, 1, ""), ("b1", "B", "own", "f2", "2031-32", -8.0, 5, ""),
         ("a2", "A", "P2", "f2", "2031-32", -8.0, 2, ""), ("b2", "B", "P2", "f1", "2030-31", -6.0, 0, ""),
         ("a3", "A", "own", "f3", "2032-33", -7.0, 1, ""), ("b3", "B", "own", "f3", "2032-33", -7.0, 0, "cover")],
        columns=["plant", "selection", "rootstock", "freeze", "winter", "exposure_c", "grade", "protected"],
    ).assign(exposure_sd_c=0.5)  # fmt: skip
    pairs = fit_tolerance(rows, terms=Terms(protection=3.0)).compare().set_index("rootstock")
    assert pairs["shared_winters"].to_dict() == {"own": 0, "P2": 0, "all": 2}


def test_a_claim_that_is_just_what_was_tested_is_not_beyond_it(fit):
    tested_c = float(fit.floors().set_index(["selection", "rootstock"]).loc[("A", "own"), "tested_to_c"])
    for claim_c, beyond in ((tested_c, False), (tested_c - 0.01, True)):
        claims = fit.claims(pd.DataFrame({"selection": ["A"], "claimed_floor": f"{claim_c!r} C", "claim_source": ""}))
        assert bool(claims.set_index("rootstock").loc["own", "beyond_tested"]) is beyond


def test_claims_stand_by_selection_and_rootstock_whatever_the_register_order(fit):
    register = pd.DataFrame({"selection": ["C", "A", "B"], "claimed_floor": "-9 C", "claim_source": ""})
    claims = fit.claims(register)
    cells = list(claims[["selection", "rootstock"]].itertuples(index=False, name=None))
    assert cells == sorted(cells) and len(cells) == 6
    pd.testing.assert_frame_equal(claims, fit.claims(register.iloc[::-1]))


def test_half_a_claim_is_held_against_the_floor_that_half_the_plants_come_through(fit):
    halves = fit.floors(survive=0.5).set_index(["selection", "rootstock"])["floor_c"]
    register = pd.DataFrame({"selection": ["A"], "claimed_floor": f"{halves['A', 'own']:.4f} C", "claim_source": ""})
    own = fit.claims(register).set_index("rootstock").loc["own"]
    assert abs(own["probability_half_holds"] - 0.5) < 0.01 and own["probability_holds"] < 0.45


def test_a_yardstick_that_is_not_among_the_selections_asked_for_is_in_no_pair(fit):
    pairs = fit.compare(["A", "B", "C"], against=["A", "D"])
    assert set(zip(pairs["selection_a"], pairs["selection_b"], strict=True)) == {("A", "B"), ("A", "C")}
    assert fit.compare(["B", "C"], against=["D"]).empty


def test_curves_say_the_probability_of_the_band_that_was_asked_for(fit):
    half, nearly_all = fit.curves([-8.0], level=0.5), fit.curves([-8.0], level=0.98)
    assert (half.attrs["probability"], nearly_all.attrs["probability"]) == (0.5, 0.98)
    assert half["quantile"].to_numpy().tolist() == [0.25, 0.5, 0.75]
    assert (nearly_all.to_numpy()[..., 0] < half.to_numpy()[..., 0]).all()
