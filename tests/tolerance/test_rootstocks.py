"""Rootstocks in pairs: the differences they should be, and modesty where the rows carry none."""

import numpy as np
import pandas as pd
import pytest

from hardiness import schema
from hardiness.errors import FitError
from hardiness.tolerance.fit import fit_tolerance
from hardiness.tolerance.rootstocks import NOT_SEPARABLE
from tests.simulate import simulate_observations


@pytest.fixture(scope="module")
def fit():
    rng = np.random.default_rng(19)
    rows = simulate_observations(
        rng, selections=8, rootstocks=("P2", "V7", "own"), plants_per_cell=3, freezes=6, tau_b=1.5
    )[0]
    return fit_tolerance(rows[~((rows["rootstock"] == "V7") & (rows["selection"] > "S-03"))])


def test_a_row_for_the_shared_selections_and_one_at_large(fit):
    table = fit.rootstocks()
    assert list(table.columns) == schema.column_names(schema.ROOTSTOCKS)
    found = list(table[["rootstock_a", "rootstock_b", "over"]].itertuples(index=False, name=None))
    pairs = [("P2", "V7"), ("P2", "own"), ("V7", "own")]
    assert found == [(*pair, over) for pair in pairs for over in ("shared", "any")]
    assert table["shared_selections"].tolist() == [3, 3, 8, 8, 3, 3]


def test_the_shared_difference_is_the_mean_of_the_floors(fit):
    floors = fit.floors().pivot_table(index="selection", columns="rootstock", values="floor_c")
    shared = fit.rootstocks().query("over == 'shared'").set_index(["rootstock_a", "rootstock_b"])
    for a, b in (("P2", "V7"), ("P2", "own"), ("V7", "own")):
        assert shared.loc[(a, b), "difference_c"] == pytest.approx((floors[a] - floors[b]).mean(), abs=0.12)


def test_verdict_interval_and_probability_say_the_same(fit):
    table = fit.rootstocks()
    covers = (table["low_c"] <= 0) & (table["high_c"] >= 0)
    assert ((table["verdict"] == NOT_SEPARABLE) == covers).all()
    sure = table[~covers]
    hardier = np.where(sure["difference_c"] < 0, sure["rootstock_a"], sure["rootstock_b"])
    assert len(sure) and (sure["verdict"] == hardier + " is hardier").all()
    assert ((table["probability_a_hardier"] > 0.95) == (table["high_c"] < 0)).all()


def test_selections_at_large_are_known_less_well_than_those_on_both(fit):
    table = fit.rootstocks().set_index(["rootstock_a", "rootstock_b", "over"])
    width = table["high_c"] - table["low_c"]
    at_large, shared = width.xs("any", level="over"), width.xs("shared", level="over")
    assert (at_large > shared).all()
    extra = (at_large**2 - shared**2) ** 0.5
    assert extra["P2", "V7"] > extra["P2", "own"]  # 3 shared selections leave more of c unmet than 8 do


def test_stocks_that_share_no_selection_are_compared_at_large_only():
    rows = simulate_observations(np.random.default_rng(3), selections=6, plants_per_cell=2, freezes=4)[0]
    apart = rows[(rows["selection"] <= "S-03") == (rows["rootstock"] == "own")]
    table = fit_tolerance(apart).rootstocks()
    assert table[["over", "shared_selections", "verdict"]].values.tolist() == [["any", 0, NOT_SEPARABLE]]


def test_one_rootstock_gives_no_pair_and_a_wrong_level_is_refused(fit):
    rows = simulate_observations(np.random.default_rng(3), selections=3, rootstocks=("own",), freezes=3)[0]
    assert fit_tolerance(rows).rootstocks().empty
    with pytest.raises(FitError, match="level: found 2"):
        fit.rootstocks(level=2)


def test_equal_stocks_are_not_separable():
    """A published null result stands behind this: on hardened trees of one sweet orange, trifoliate and citron stocks
    could not be told apart (Yelenosky & Vu 1992, HortScience 27:1201-1203)."""
    said = []
    for seed in range(3):
        rows = simulate_observations(
            np.random.default_rng(seed), selections=6, plants_per_cell=2, freezes=4, tau_b=0.0, tau_c=0.0
        )[0]
        said += fit_tolerance(rows).rootstocks()["verdict"].tolist()
    assert said.count(NOT_SEPARABLE) >= 5  # of 6; at 90 % about one in ten errs


def counted(split):
    """Plants split or not in one freeze, 5 of one selection on each stock."""
    rows = [(f"{stock}-{number}", stock, int(number < hurt)) for stock, hurt in split.items() for number in range(5)]
    return pd.DataFrame(rows, columns=["plant", "rootstock", "grade"]).assign(
        selection="M", freeze="f", exposure_c=-7.5, exposure_sd_c=0.5
    )


def test_three_of_five_against_none_of_five_is_not_separable_and_five_of_five_leans_the_right_way():
    """Counts of a trial of one mandarin after the December 2022 freeze: trunk bark split 3/5 and 0/5 (Fisher's exact
    test two-sided p = 0.167), limbs split 5/5 and 0/5 (p = 0.008)."""
    trunk = fit_tolerance(counted({"A": 0, "D": 3}), grades=2).rootstocks()
    limbs = fit_tolerance(counted({"A": 0, "D": 5}), grades=2).rootstocks()
    assert (trunk["verdict"] == NOT_SEPARABLE).all()
    assert (trunk["probability_a_hardier"].between(0.6, 0.95)).all()
    shared = limbs.set_index("over").loc["shared"]
    assert shared["probability_a_hardier"] > trunk.set_index("over").loc["shared", "probability_a_hardier"] + 0.03
