"""Real readings and real counts through a whole trial: files in, freezes, observations and floors out."""

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy import sparse, stats

import hardiness
from hardiness import Trial, new_trial
from hardiness.settings import FreezeRules, Settings
from hardiness.tolerance.fit import Fit
from hardiness.tolerance.functionals import differences, posterior_of
from hardiness.units import parse_temperature
from tests.helpers import AIRPORTS, SPIKE, airport_weather, dense_freezes
from tests.prior_weighting import weigh_prior

# The weather of three airports, hour by hour through 2013, taken in as three loggers' files.

THRESHOLDS = {"32 F": 0.0, "28 F": -20 / 9, "-5 C": -5.0, "20 F": -20 / 3, "14 F": -10.0}
HOURS = ["hours_le_32_f", "hours_le_28_f", "hours_le_-5_c", "hours_le_20_f", "hours_le_14_f"]
NEW_YORK = Settings(
    "Three airports",
    "America/New_York",
    latitude=40.7,
    longitude=-73.9,
    units="F",
    rules=FreezeRules(thresholds=tuple(parse_temperature(text) for text in THRESHOLDS), held_h=(1.0, 4.0)),
)
STEP_S = 10


@pytest.fixture(scope="module")
def weather() -> pd.DataFrame:
    """Every reading as it was published, the false spike of May among them."""
    return airport_weather()


def write_readings(table: pd.DataFrame, times: pd.Series, file: Path) -> Path:
    pd.DataFrame({"time": times, "temp": table["temp"]}).to_csv(file, index=False)
    return file


def write_table(file: Path, rows: pd.DataFrame) -> Path:
    rows.to_csv(file, index=False)
    return file


@pytest.fixture(scope="module")
def trial(weather, tmp_path_factory):
    folder = tmp_path_factory.mktemp("airports")
    with new_trial(folder / "trial", NEW_YORK) as opened:
        for airport in AIRPORTS:
            rows = weather[weather["origin"] == airport]
            # time_hour says its offset itself, 2013-01-01T06:00:00Z: the trial's zone is not asked
            came = opened.add_readings(write_readings(rows, rows["time_hour"], folder / f"{airport}.csv"), airport)
            missing = int(rows["temp"].isna().sum())
            assert (came.added, missing) == (len(rows) - missing, int(airport == "EWR"))
            assert "Neither the file nor an option names the unit of 'temp': taken as F." in came.said
            assert not any("zone" in sentence for sentence in came.said)
        yield opened


@pytest.mark.parametrize("airport", AIRPORTS)
def test_every_freeze_of_the_trial_agrees_with_a_dense_calculation(trial, weather, airport):
    rows = weather[weather["origin"] == airport]
    celsius = ((rows["temp"] - 32) / 1.8).set_axis(pd.DatetimeIndex(rows["time"]))
    dense = dense_freezes(celsius, STEP_S, thresholds_c=list(THRESHOLDS.values()), held_h=(1, 4), names=HOURS)
    dense = dense[dense["minimum_c"] <= -2.0].reset_index(drop=True)
    table = trial.freezes()
    freezes = table[table["sensor"] == airport].reset_index(drop=True)
    assert len(freezes) == len(dense) > 10
    for name in ("starts", "ends"):
        seconds = (freezes[name] - celsius.index[0]) / pd.Timedelta(seconds=1)
        assert seconds.to_numpy() == pytest.approx(dense[name].to_numpy(), abs=STEP_S)
    for name in HOURS:
        assert freezes[name].to_numpy() == pytest.approx(dense[name].to_numpy(), abs=0.03)
    for name in ("minimum_c", "held_1h_c", "held_4h_c"):
        assert freezes[name].to_numpy() == pytest.approx(dense[name].to_numpy(), abs=0.01, nan_ok=True)
    assert freezes["degree_hours_c_h"].to_numpy() == pytest.approx(dense["degree_hours_c_h"].to_numpy(), abs=0.03)


def test_28_degf_is_not_minus_2_2_degc(trial):
    """28.04 degF is -2.2 degC and does not reach 28 degF: no hour of that freeze is at or below it."""
    freezes = trial.freezes().set_index("freeze")
    touched = freezes.loc["2013-12-07 EWR"]
    assert touched["minimum_c"] == pytest.approx(-2.2) and touched["hours_le_28_f"] == 0.0
    assert touched["hours_le_32_f"] == pytest.approx(22.0)


def test_the_false_freeze_of_may_is_listed_until_a_note_sets_it_aside(trial, tmp_path):
    """One reading, 44 degF below its neighbours, is left in: nothing is dropped on suspicion.

    It makes a freeze of 52 minutes to -10.5 degC, and a plant that stood there would count as having come through it.
    Whoever looks at the table of freezes says so in a note; then no plant has met it.
    """
    freezes = trial.freezes()
    (false,) = freezes[freezes["starts"].dt.month == 5].itertuples(index=False)
    assert (false.freeze, false.winter) == (f"2013-05-08 {SPIKE[0]}", "2012-13")  # the evening before, by local time
    assert false.starts < SPIKE[1] < false.ends
    # by hand, along two lines: 57.02 to 13.1 degF and back to 57.2, at or below 32 for 18.9 / 43.92 + 18.9 / 44.1 h
    assert false.duration_h == pytest.approx(18.9 / 43.92 + 18.9 / 44.1)
    assert (false.minimum_c, false.coverage) == (pytest.approx(-10.5), pytest.approx(1.0))
    assert np.isnan(false.held_1h_c)

    plants = pd.DataFrame({"plant": ["T1"], "selection": "S-1", "rootstock": "own", "sensor": SPIKE[0],
                           "planted_on": "2013-04-20"})  # fmt: skip
    trial.add_table("selections", write_table(tmp_path / "selections.csv", pd.DataFrame({"selection": ["S-1"]})))
    trial.add_table("plants", write_table(tmp_path / "plants.csv", plants))
    scores = pd.DataFrame({"plant": ["T1"], "scored_on": "2013-05-25", "grade": 0})
    trial.add_table("scores", write_table(tmp_path / "scores.csv", scores))
    (seen,) = trial.observations().itertuples(index=False)
    assert (seen.freeze, seen.exposure_c, seen.grade) == (false.freeze, pytest.approx(-10.5), 0)

    note = pd.DataFrame({"from": ["2013-05-08"], "to": "2013-05-09", "note": "a false reading", "set_aside": "yes"})
    trial.add_table("freeze_notes", write_table(tmp_path / "notes.csv", note))
    assert trial.observations().empty
    left_out = trial.left_out()
    assert false.freeze in set(left_out["freeze"]) and "a false reading" in " ".join(left_out["detail"])
    assert false.freeze in set(trial.freezes()["freeze"])  # listed, not counted


@pytest.mark.parametrize("airport", AIRPORTS)
def test_the_same_readings_on_other_clocks_are_the_same_readings(trial, weather, tmp_path, airport):
    """Local hours of a clock that follows summer time (01:00 twice on 3 November, no 02:00 on 10 March), UTC without
    saying so, and winter time all year: each file, read in its own zone, agrees with what is there, reading by reading.
    """
    rows = weather[weather["origin"] == airport]
    local = pd.to_datetime(rows[["year", "month", "day", "hour"]]).dt.strftime("%Y-%m-%d %H:%M")
    assert local.duplicated().sum() == 1 and not local.str.startswith("2013-03-10 02").any()
    utc = rows["time"].dt.strftime("%Y-%m-%d %H:%M")
    winter = (rows["time"] - pd.Timedelta(hours=5)).dt.strftime("%Y-%m-%d %H:%M")
    before = trial.freezes()
    for number, (times, zone) in enumerate(
        [(local, "America/New_York"), (utc, "UTC"), (utc, "UTC+00:00"), (winter, "UTC-05:00")]
    ):
        file = write_readings(rows, times, tmp_path / f"{number}.csv")
        came = trial.add_readings(file, airport, unit="F", timezone=zone)
        assert (came.added, came.unchanged) == (0, int(rows["temp"].notna().sum()))
    pd.testing.assert_frame_equal(trial.freezes(), before)


def test_a_clock_that_ignores_summer_time_is_not_taken_for_one_that_follows_it(trial, weather, tmp_path):
    rows = weather[weather["origin"] == "LGA"]
    utc = rows["time"].dt.strftime("%Y-%m-%d %H:%M")
    file = write_readings(rows, utc, tmp_path / "utc.csv")
    before = trial.freezes()
    with pytest.raises(hardiness.InputError, match=r"2013-03-10 02:00.*UTC-05:00"):
        trial.add_readings(file, "LGA", unit="F", timezone="America/New_York")
    pd.testing.assert_frame_equal(trial.freezes(), before)


# Ten trees of one mandarin, five on each of two rootstocks, after five nights of 16 to 22 degF in December 2022, as an
# extension report tells it: on stock D the bark of limbs split on 5 of 5 and the bark of the trunk on 3 of 5, on stock
# A on none; no tree was reported dead. Nothing else is known, so the order of the nights, the days between (46 degF)
# and the date of scoring are invented. All ten trees met the same air: no figure below rests on what was invented,
# save the exposure itself.

NIGHTS_F = (22, 18, 16, 20, 21)
STOCKS = ("stock A", "stock D")
TREES = [(f"{stock[-1]}{number}", stock) for stock in STOCKS for number in range(1, 6)]
TRUNK_SPLIT = {"D1", "D2", "D3"}


def limbs_split(tree: str) -> bool:
    return tree.startswith("D")


def two_stocks(folder: Path, grades: tuple[str, ...], grade_of: Callable[[str], int]) -> Trial:
    """The ten trees as a trial of its own, on a scale of its own."""
    folder.mkdir()
    trial = new_trial(folder / "trial", Settings("Two stocks", "America/New_York", 30.5, units="F", grades=grades))
    turns = pd.Series(
        [50.0] + [degrees for night in NIGHTS_F for degrees in (night, 46)],
        index=pd.date_range("2022-12-22T15:00", periods=11, freq="12h"),
    )
    line = turns.resample("15min").interpolate("linear").round(1)
    readings = pd.DataFrame({"Time": line.index.strftime("%Y-%m-%d %H:%M"), "Temperature (F)": line.to_numpy()})
    trial.add_readings(write_table(folder / "L1.csv", readings), "L1")
    trial.add_table("selections", write_table(folder / "selections.csv", pd.DataFrame({"selection": ["MN-1"]})))
    plants = pd.DataFrame(TREES, columns=["plant", "rootstock"]).assign(selection="MN-1", planted_on="2019-03-15")
    trial.add_table("plants", write_table(folder / "plants.csv", plants))
    scores = pd.DataFrame({"plant": [tree for tree, _ in TREES], "scored_on": "2023-03-10"})
    scores["grade"] = [grade_of(tree) for tree, _ in TREES]
    scores["notes"] = ["trunk bark split" if tree in TRUNK_SPLIT else "" for tree, _ in TREES]
    trial.add_table("scores", write_table(folder / "scores.csv", scores))
    return trial


def a_minus_d(fit: Fit) -> tuple[float, float, float, float]:
    """Difference of the two cells' floors, stock A - stock D: 5 %, 50 % and 95 % points, and P(A is hardier)."""
    assert fit.posterior.design.cells == tuple(("MN-1", stock) for stock in STOCKS)
    left, right = (sparse.csr_array([row]) for row in ([1.0, 0.0], [0.0, 1.0]))
    difference = posterior_of(fit.posterior, differences(fit.posterior.design, left, right))
    low, middle, high = (float(difference.quantile(share)[0]) for share in (0.05, 0.5, 0.95))
    return low, middle, high, float(difference.probability_below(np.zeros(1))[0])


# What is asked of the trees, as a scale of two grades, and how many answer yes on D (on A none ever does).
READINGS = {
    "dead": (("alive", "dead"), lambda tree: 0, 0, 1.0),
    "trunk split": (("trunk whole", "trunk split"), lambda tree: int(tree in TRUNK_SPLIT), 3, 0.1666667),
    "limbs split": (("limbs whole", "limbs split"), lambda tree: int(limbs_split(tree)), 5, 0.00793651),
}


@pytest.fixture(scope="module", params=READINGS)
def reading(request, tmp_path_factory):
    grades, grade_of, on_d, p = READINGS[request.param]
    with two_stocks(tmp_path_factory.mktemp("two") / "stocks", grades, grade_of) as opened:
        yield request.param, opened, on_d, p


def test_a_difference_between_stocks_is_claimed_where_the_counts_carry_it(reading):
    """0 v 0 and 3/5 v 0/5 carry none at 90 % (Fisher's exact test: p 1 and 0.167), 5/5 v 0/5 does (p 0.008)."""
    question, trial, on_d, p = reading
    fisher = stats.fisher_exact([[on_d, 5 - on_d], [0, 5]]).pvalue
    assert fisher == pytest.approx(p, rel=1e-6)
    low, middle, high, a_hardier = a_minus_d(trial.fit())
    assert (low < 0 < high) == (fisher > 0.1)
    if question == "dead":
        assert middle == pytest.approx(0.0, abs=0.03) and a_hardier == pytest.approx(
            0.5, abs=0.01
        )  # draws are paired, not mirrored
        assert high == pytest.approx(-low, rel=0.05)
    else:
        assert middle < 0 and (a_hardier < 0.95) == (question == "trunk split")
    assert trial.fit().compare().empty  # there is one selection: rootstocks are no pair of selections


def test_what_the_trees_of_each_stock_show(reading):
    question, trial, on_d, _ = reading
    floors = trial.floors().set_index("rootstock")
    assert floors["killed"].tolist() == [0, on_d] and (floors["plants"] == 5).all()
    evidence = {"dead": "all survived", "trunk split": "bracketed", "limbs split": "all died"}[question]
    assert floors["evidence"].tolist() == ["all survived", evidence]
    # By hand: 16 degF between two days of 46 is a wedge of 30 degF in 12 h on either side, an hour wide at 17.25 degF;
    # the readings have tenths.
    assert floors["tested_to_c"].to_numpy() == pytest.approx((17.25 - 32) / 1.8, abs=0.06 / 1.8)
    assert np.isnan(floors.loc["stock D", "claimable_c"]) == (question == "limbs split")


@pytest.mark.slow
def test_the_difference_is_that_of_weighted_draws_of_the_prior(reading):
    """Within a tenth of its standard deviation, and of three tenths where the two stocks part without overlap."""
    question, trial, _, _ = reading
    exact = weigh_prior(trial.observations(), 2)
    draws = exact.cells["MN-1", "stock A"] - exact.cells["MN-1", "stock D"]
    low, middle, high, a_hardier = a_minus_d(trial.fit())
    within = (0.3 if question == "limbs split" else 0.1) * exact.sd(draws)
    assert [low, middle, high] == pytest.approx(exact.quantiles(draws), abs=within)
    assert a_hardier == pytest.approx(exact.probability_below_zero(draws), abs=0.02)


def test_split_bark_is_not_death(tmp_path):
    """All that was reported on one scale: 0 bark whole, 1 limbs split, 2 trunk split as well, 3 dead to the graft.

    Every count then has its grade, and no leaf or shoot is made up. No tree is counted as lost, the floors of death
    rest on the prior and say so, and none may be claimed beyond what was tested; the limbs' difference stays carried.
    """
    scale = ("bark whole", "limbs split", "trunk split", "dead down to the graft")
    with two_stocks(tmp_path / "two", scale, lambda tree: limbs_split(tree) + (tree in TRUNK_SPLIT)) as trial:
        assert trial.observations()["grade"].tolist() == [0] * 5 + [2, 2, 2, 1, 1]
        assert trial.observations()["freezes"].eq(4).all()  # the night of 18 and that of 16 degF are one freeze
        died, trunk, limbs = (trial.floors(grade=grade).set_index("rootstock") for grade in (3, 2, 1))
        assert died["killed"].tolist() == [0, 0] and (died["evidence"] == "all survived").all()
        assert (died["open_end"] == "cold").all() and (died["rests_on"] == "prior").all()
        assert (died["claimable_c"] >= died["tested_to_c"]).all()
        assert trunk["killed"].tolist() == [0, 3] and trunk.loc["stock D", "evidence"] == "bracketed"
        assert limbs["killed"].tolist() == [0, 5] and limbs.loc["stock D", "evidence"] == "all died"
        for warmer, colder in ((limbs, trunk), (trunk, died)):
            assert (warmer["floor_c"] > colder["floor_c"]).all()
        _, middle, high, a_hardier = a_minus_d(trial.fit())
        assert middle < high < 0 and a_hardier > 0.99
