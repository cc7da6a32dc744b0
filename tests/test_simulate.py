"""The tests' own simulator keeps its promises: what it calls true is true."""

import numpy as np
import pandas as pd
import pytest

from tests.simulate import LINKS, simulate_observations, spread_quantile


@pytest.mark.parametrize("link", list(LINKS))
def test_the_spread_quantile_agrees_with_draws(link):
    rng = np.random.default_rng(4)
    draws = 0.5 * rng.standard_normal(400_000) + 0.8 * LINKS[link].rvs(400_000, random_state=rng)
    assert spread_quantile(0.9, 0.5, 0.8, link) == pytest.approx(np.quantile(draws, 0.9), abs=0.02)


def test_without_plant_differences_the_quantile_is_the_logistic_one():
    assert spread_quantile(0.9, 0.0, 0.8) == pytest.approx(0.8 * np.log(9), abs=1e-9)


def test_nine_in_ten_plants_live_through_a_freeze_at_the_true_floor():
    scales = {"tau_b": 0.0, "tau_c": 0.0, "tau_a": 0.0, "tau_e": 0.0, "exposure_sd": 0.0}
    size = {"selections": 1, "rootstocks": ("own",), "plants_per_cell": 40_000}
    floor = simulate_observations(np.random.default_rng(0), freezes=[-9.0], **size, **scales)[1]["floor_c"].item()
    observations, _ = simulate_observations(np.random.default_rng(0), freezes=[floor], **size, **scales)
    assert (observations["grade"] < 5).mean() == pytest.approx(0.9, abs=0.005)


def test_damage_is_carried_through_a_winter_and_a_dead_plant_is_scored_no_more():
    observations, _ = simulate_observations(np.random.default_rng(7), freezes=8)
    rows = observations.sort_values(["plant", "scored_on"])
    assert (rows.groupby("plant")["grade"].shift(1, fill_value=0) < 5).all()
    standing = rows.groupby(["plant", "winter"])["grade"].shift(1, fill_value=0)
    assert (rows["grade"] >= standing).all()
    assert (rows["grade_low"] == rows["grade"].where(rows["grade"] > standing, 0)).all()
    assert (rows["grade_low"] < rows["grade"]).any()


def test_a_freeze_that_was_not_scored_falls_into_the_next_window():
    observations, _ = simulate_observations(np.random.default_rng(7), freezes=[-5.0, -4.6, -8.0], scored=0.5)
    first, last = observations["scored_on"].min(), observations["scored_on"].max()
    assert (observations.loc[observations["scored_on"] == first, "freezes"] == 1).all()
    late = observations[observations["scored_on"] == last]
    assert set(late["freezes"]) == {1, 2, 3}
    assert (late["exposure_c"] == -8.0).all() and (late["near"] == 1).all()
    second = observations[(observations["scored_on"] != first) & (observations["scored_on"] != last)]
    assert set(second["near"]) == {1, 2}
    assert (second.loc[second["freezes"] == 2, "exposure_c"] == -5.0).all()


def test_the_same_seed_gives_the_same_trial():
    first, second = (simulate_observations(np.random.default_rng(3), sensors=2, sensor_sd=0.3) for _ in range(2))
    pd.testing.assert_frame_equal(first[0], second[0])
    pd.testing.assert_frame_equal(first[1], second[1])
