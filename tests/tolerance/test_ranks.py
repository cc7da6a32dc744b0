"""Ranks and what goes with them, against counting by hand and against the comparisons."""

import numpy as np
import pandas as pd
import pytest

from hardiness import schema
from hardiness.errors import FitError
from hardiness.tolerance import ranks as ranks_module
from hardiness.tolerance.fit import fit_tolerance
from tests.simulate import simulate_observations


@pytest.fixture(scope="module")
def trial():
    rng = np.random.default_rng(31)
    rows, truth = simulate_observations(
        rng, selections=["A", "B", "C", "D", "E"], plants_per_cell=3, freezes=5, tau_a=2.0
    )
    keep = ~((rows["selection"] == "D") & (rows["rootstock"] == "P2"))
    return rows[keep], truth


@pytest.fixture(scope="module")
def fit(trial):
    return fit_tolerance(trial[0])


def test_every_selection_is_ranked_where_it_stands_and_over_all(fit):
    table = fit.ranks(best=2, checks=["A", "B"])
    assert list(table.columns) == schema.column_names(schema.RANKS)
    assert table.groupby("rootstock")["selection"].agg(sorted).to_dict() == {
        "P2": list("ABCE"), "own": list("ABCDE"), "all": list("ABCDE")
    }  # fmt: skip
    assert table.groupby("rootstock")["ranked"].first().to_dict() == {"P2": 4, "own": 5, "all": 5}
    assert (table["rank_low"] <= table["rank"]).all() and (table["rank"] <= table["rank_high"]).all()
    assert table["rank_low"].min() == 1 and (table["rank_high"] <= table["ranked"]).all()


def test_places_among_the_best_add_up_to_their_number(fit):
    for best in (1, 2, 3):
        sums = fit.ranks(best=best).groupby("rootstock")["probability_among_best"].sum()
        assert sums.to_numpy() == pytest.approx(best)
    everyone = fit.ranks(best=9)
    assert (everyone["probability_among_best"] == 1).all()


def test_ranks_follow_the_floors(fit):
    floors = fit.floors().set_index(["selection", "rootstock"])["floor_c"]
    own = fit.ranks().query("rootstock == 'own'")
    assert list(own["selection"]) == list(floors.xs("own", level="rootstock").sort_values().index)


def test_each_check_is_the_pair_of_compare(fit):
    against = fit.against_checks(["A", "C"])
    assert list(against.columns) == schema.column_names(schema.AGAINST_CHECKS)
    assert len(against) == 2 * (3 + 4 + 4)
    pairs = fit.compare().set_index(["selection_a", "selection_b", "rootstock"])["probability_a_hardier"]
    for row in against.itertuples(index=False):
        a, b = sorted((row.selection, row.check))
        if row.rootstock != "all" or "D" not in (a, b):  # D stands on one stock: compare takes that one alone
            expected = pairs[a, b, row.rootstock]
            assert row.probability_hardier == pytest.approx(expected if row.selection == a else 1 - expected, abs=0.03)


def test_the_best_check_is_harder_to_beat_than_each(fit):
    together = fit.ranks(checks=["A", "C"]).set_index(["selection", "rootstock"])["probability_hardier_than_checks"]
    each = fit.against_checks(["A", "C"]).groupby(["selection", "rootstock"])["probability_hardier"].min()
    both = together.to_frame().join(each).dropna()
    assert len(both) == 14 and (both.iloc[:, 0] <= both.iloc[:, 1]).all()
    # two checks against each other: one of them is the hardier
    assert together["A", "own"] + together["C", "own"] == pytest.approx(1.0)
    assert fit.ranks()["probability_hardier_than_checks"].isna().all()
    only = fit.ranks(checks=["D"]).set_index(["selection", "rootstock"])["probability_hardier_than_checks"]
    assert np.isnan(only["D", "own"]) and np.isnan(only["A", "P2"]) and only["A", "own"] > 0


def test_over_all_nobody_gains_by_a_hardy_stock():
    """S-03 and S-10 are nearly alike; one stands on the hardy stock only, the other on the tender one only."""
    rng = np.random.default_rng(3)
    rows, truth = simulate_observations(
        rng, selections=10, rootstocks=("hardy", "tender"), plants_per_cell=6, freezes=8, tau_a=0.5, tau_b=2.0,
        tau_c=0.0,
    )  # fmt: skip
    apart = truth.groupby("rootstock")["alpha_c"].mean()
    hardy, tender = sorted(("hardy", "tender"), key=apart.__getitem__)
    assert apart[tender] - apart[hardy] > 2.0
    one, other = rows["selection"] == "S-03", rows["selection"] == "S-10"
    alone = rows[~(one & (rows["rootstock"] == tender)) & ~(other & (rows["rootstock"] == hardy))]
    fit = fit_tolerance(alone)
    true = truth.groupby("selection")["floor_c"].mean()
    floors = fit.floors().groupby("selection")["floor_c"].mean()
    assert (floors - true)["S-03"] - (floors - true)["S-10"] < -1.0  # the plain mean of floors does gain
    standing, draws = ranks_module._standing_draws(fit.posterior)
    over_all = standing["rootstock"] == "all"
    middles = pd.Series(np.median(draws[:, over_all], axis=0), index=standing.loc[over_all, "selection"])
    assert abs((middles - true)["S-03"] - (middles - true)["S-10"]) < 0.5


def test_one_selection_alone_is_first_of_one(trial):
    rows = trial[0]
    table = fit_tolerance(rows[rows["selection"] == "A"]).ranks(checks=["A"])
    assert (table[["rank", "rank_low", "rank_high", "ranked"]] == 1).all(axis=None)
    assert table["probability_hardier_than_checks"].isna().all()


@pytest.mark.parametrize(
    "options, told",
    [
        ({"best": 0}, "best: found 0; accepted: a whole number, 1 or more"),
        ({"best": np.nan}, "best: found nan; accepted: a whole number, 1 or more"),
        ({"best": "two"}, "best: found two; accepted: a whole number, 1 or more"),
        ({"best": np.inf}, "best: found inf; accepted: a whole number, 1 or more"),
        ({"level": "wide"}, "level: found 'wide'; accepted: a share between 0 and 1"),
        ({"level": 1.0}, "level: found 1; accepted: a share between 0 and 1"),
        (
            {"checks": ["AA", "Z"]},
            r"^found check 'AA', which has no observation; accepted: one that has \(A, B, C, D, E\)\. "
            r"Did you mean 'A'\?\nfound check 'Z', which has no observation; accepted: one that has",
        ),
    ],
)
def test_wrong_use_is_refused(fit, options, told):
    with pytest.raises(FitError, match=told):
        fit.ranks(**options)


def test_ranks_in_a_draw_count_from_the_coldest():
    found = ranks_module._ranks(np.array([[-8.0, -11.0, -9.5], [-10.0, -9.0, -12.0]]))
    assert found.tolist() == [[3, 1, 2], [2, 3, 1]]


def test_ranks_lie_in_the_wider_interval_that_a_higher_level_asks_for(fit):
    half, nearly_all = (fit.ranks(level=level).set_index(["selection", "rootstock"]) for level in (0.5, 0.98))
    assert (nearly_all["rank_low"] <= half["rank_low"]).all() and (half["rank_high"] <= nearly_all["rank_high"]).all()
    wider = (nearly_all["rank_high"] - nearly_all["rank_low"]) - (half["rank_high"] - half["rank_low"])
    assert wider.sum() >= len(wider)  # by a rank or more on average
    assert nearly_all["rank"].equals(half["rank"])


@pytest.mark.parametrize(
    ("ranks", "order", "printed"),
    [
        ({"A": [1, 2, 3], "B": [2, 1, 2], "C": [3, 3, 1]}, "BAC", [2, 2, 3]),  # means 2, 5/3, 7/3
        ({"A": [1, 1, 1, 3, 3], "B": [2, 2, 2, 1, 1], "C": [3, 3, 3, 2, 2]}, "ABC", [1, 2, 3]),  # means 9/5, 8/5, 13/5
    ],
    ids=["a tie", "the mean says otherwise"],
)
def test_rows_stand_by_median_rank_and_the_mean_decides_where_these_tie(ranks, order, printed, monkeypatch):
    standing = pd.DataFrame({"selection": list(ranks), "rootstock": "own"})
    draws = np.array(list(ranks.values()), dtype=float).T - 12.0
    monkeypatch.setattr(ranks_module, "_standing_draws", lambda posterior: (standing, draws))
    monkeypatch.setattr(ranks_module, "known_selections", lambda posterior, checks, called: [])
    table = ranks_module.ranks_table(None)
    assert table["selection"].tolist() == list(order) and table["rank"].tolist() == printed


def test_rows_in_any_order_give_the_same_ranks(trial):
    rows = trial[0]
    pd.testing.assert_frame_equal(
        fit_tolerance(rows).ranks(checks=["A"]), fit_tolerance(rows.sample(frac=1, random_state=2)).ranks(checks=["A"])
    )


@pytest.mark.slow
def test_intervals_of_ranks_cover_the_true_ranks_and_probabilities_are_kept():
    """Drawn from the model: 90 % intervals hold the true rank; those given 60-90 % to be best are so as often."""
    covered, said, came = [], [], []
    for seed in range(25):
        rows, truth = simulate_observations(
            np.random.default_rng(seed), selections=12, rootstocks=("own",), plants_per_cell=2, freezes=5, tau_b=0.0
        )
        table = fit_tolerance(rows).ranks(best=3).query("rootstock == 'own'").set_index("selection")
        true = truth.set_index("selection")["alpha_c"].rank().reindex(table.index)
        covered.append(((table["rank_low"] <= true) & (true <= table["rank_high"])).mean())
        said += table["probability_among_best"].tolist()
        came += (true <= 3).tolist()
    standard_error = np.std(covered, ddof=1) / np.sqrt(len(covered))
    assert np.mean(covered) > 0.9 - 2.5 * standard_error  # whole ranks cover a little more than stated
    said, came = np.array(said), np.array(came)
    for low, high in ((0.0, 0.2), (0.2, 0.5), (0.5, 0.8), (0.8, 1.0)):
        inside = (said >= low) & (said <= high)
        spread = np.sqrt((said[inside] * (1 - said[inside])).sum()) / inside.sum()
        assert came[inside].mean() == pytest.approx(said[inside].mean(), abs=3.0 * spread + 0.01)
