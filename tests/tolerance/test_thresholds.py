"""Plants' own thresholds by selection, beside the model's answers."""

import numpy as np
import pandas as pd
import pytest

from hardiness import schema
from hardiness.errors import FitError
from hardiness.tolerance.fit import fit_tolerance
from hardiness.tolerance.thresholds import kill_intervals, plain_curves, plain_table
from tests.simulate import simulate_observations


def rows_of(*rows):
    """(plant, selection, exposure, grade[, grade_low])."""
    full = [(*row, row[3])[:5] for row in rows]
    return pd.DataFrame(full, columns=["plant", "selection", "exposure_c", "grade", "grade_low"])


LADDER = rows_of(
    *((f"p{i}", "A", -6.0, 0) for i in range(4)), ("p0", "A", -9.0, 5), ("p1", "A", -9.0, 5), ("p2", "A", -9.0, 1),
    ("p3", "A", -9.0, 2), ("p2", "A", -12.0, 5), ("p3", "A", -12.0, 5),
    ("q0", "B", -9.0, 0), ("q1", "B", -9.0, 1), ("q2", "B", -7.0, 0), ("q3", "B", -9.0, 4), ("q4", "B", -9.0, 0),
    ("q0", "B", -9.0, 0), ("r0", "C", -5.0, 5), ("r0", "C", -8.0, 1), ("r1", "C", -7.0, 5), ("t0", "D", -8.0, 5, 0),
    ("t0", "D", -7.0, 5, 5),
)  # fmt: skip


def test_a_threshold_lies_from_the_warmest_loss_to_below_the_coldest_survival():
    found = kill_intervals(LADDER, 5).set_index("plant")
    assert found.loc["p0", ["warmest_fatal_c", "coldest_survived_c"]].tolist() == [-9.0, -6.0]
    assert found.loc["p2", ["warmest_fatal_c", "coldest_survived_c"]].tolist() == [-12.0, -9.0]
    assert np.isnan(found.loc["q0", "warmest_fatal_c"]) and np.isnan(found.loc["r1", "coldest_survived_c"])
    assert found["contradicts"].to_dict() == {name: name == "r0" for name in found.index}
    assert found.loc["t0", "warmest_fatal_c"] == -7.0  # the row that carried its damage says nothing


def test_table_by_selection():
    table = plain_table(LADDER, 5).set_index("selection")
    assert ["selection", *table.columns] == schema.column_names(schema.PLAIN)
    a, b, c = (table.loc[name] for name in "ABC")
    assert (a["plants"], a["contradicting"], a["median_low_c"], a["median_high_c"]) == (4, 0, -9.0, -6.0)
    assert a["mean_c"] == pytest.approx(-(7.5 * 0.5 + 10.5 * 0.5)) and a["mean_se_c"] > 0
    assert (a["exposed"], a["killed"]) == (2, 2)
    assert np.isnan(b["median_low_c"]) and b["median_high_c"] == -9.0  # all survived: open to the cold
    assert np.isnan(b["mean_c"]) and (b["tested_to_c"], b["killed_low"]) == (-9.0, 0.0)
    assert 0.3 < b["killed_high"] < 0.5
    assert (c["plants"], c["contradicting"]) == (2, 1)
    assert c["median_low_c"] == -7.0 and np.isnan(c["median_high_c"])


def test_another_grade_asks_another_question():
    table = plain_table(LADDER, 1).set_index("selection")
    assert table.loc["A", ["median_low_c", "median_high_c"]].tolist() == [-9.0, -6.0]
    assert table.loc["B", "killed"] == 2


def test_curves_bound_what_is_known_and_fall_with_the_cold():
    curves = plain_curves(LADDER, [-5.0, -6.0, -7.0, -9.0, -10.0, -12.0], 5)
    assert curves.dims == ("selection", "temperature", "bound") and curves.attrs["units"] == "1"
    a = curves.sel(selection="A")
    assert a.sel(bound="least").values.tolist() == pytest.approx([1, 1, 0.5, 0.5, 0, 0])
    assert a.sel(bound="most").values.tolist() == pytest.approx([1, 1, 1, 0.5, 0.5, 0])
    assert (curves.sel(bound="least") <= curves.sel(bound="most")).all()
    with pytest.raises(FitError, match="finite temperatures"):
        plain_curves(LADDER, [np.nan], 5)


def test_the_model_and_the_picture_without_it_agree_where_plants_are_many():
    rows, _ = simulate_observations(
        np.random.default_rng(2), selections=3, rootstocks=("own",), plants_per_cell=60, tau_e=0.0, exposure_sd=0.0,
        freezes=[-6.0, -8.0, -9.5, -10.5, -11.5, -13.0], freezes_per_winter=1, tau_b=0.0, tau_c=0.0, span_c=6.0,
    )  # fmt: skip
    fit = fit_tolerance(rows)
    at = np.arange(-14.0, -5.0, 0.25)
    plain = fit.plain_curves(at)
    model = fit.curves(at, level=0.99)
    for name in plain["selection"].to_numpy():
        band = model.sel(selection_rootstock=(name, "own")).to_numpy()
        least, most = plain.sel(selection=name).to_numpy().T
        assert max((least - band[:, 2]).max(), (band[:, 0] - most).max()) < 0.13
    table = fit.plain().set_index("selection")
    half = fit.floors(survive=0.5).set_index("selection")["floor_c"]
    assert (half - table["mean_c"]).abs().max() < 0.6
    assert (table["contradicting"] == 0).all()  # every freeze was colder than the one before


def test_protected_rows_show_nothing_in_the_picture_without_a_model():
    """A covered plant of A that lived at -14, one of B that died at -5, and a selection that only stood covered."""
    stood_open = LADDER.assign(protected="")
    covered = rows_of(("p9", "A", -14.0, 0), ("q9", "B", -5.0, 5), ("u0", "E", -9.0, 5)).assign(protected="cover")
    rows = pd.concat([stood_open, covered], ignore_index=True)
    pd.testing.assert_frame_equal(kill_intervals(rows, 5), kill_intervals(stood_open, 5))
    pd.testing.assert_frame_equal(plain_table(rows, 5), plain_table(stood_open, 5))
    at = [-5.0, -9.0, -14.0]
    assert plain_curves(rows, at, 5).identical(plain_curves(stood_open, at, 5))


def test_a_plant_lost_and_spared_at_one_exposure_contradicts_a_fixed_threshold():
    rows = rows_of(("p0", "A", -8.0, 1), ("p0", "A", -8.0, 5), ("p1", "A", -8.0, 5), ("p2", "A", -6.0, 0))
    found = kill_intervals(rows, 5).set_index("plant")["contradicts"]
    assert found.to_dict() == {"p0": True, "p1": False, "p2": False}
    assert plain_table(rows, 5)["contradicting"].tolist() == [1]


def test_the_means_error_and_the_limits_at_the_coldest_exposure_are_those_by_hand():
    """Lost: none of 4 at -6, 2 of 4 at -9, both at -12: sqrt(0.25 / 4) * (12 - 6) / 2 = 0.75 K."""
    assert plain_table(LADDER, 5).set_index("selection").loc["A", "mean_se_c"] == pytest.approx(0.75)
    near = rows_of(("p0", "A", -8.0, 0), ("p1", "A", -8.5, 5), ("p2", "A", -9.0, 5), ("p3", "A", -9.0, 0))
    (row,) = plain_table(near, 5).to_dict("records")
    assert (row["tested_to_c"], row["exposed"], row["killed"]) == (-9.0, 2, 1)
