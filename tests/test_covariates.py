"""Covariates of a small trial, by hand: two freezes, three plants, two observers."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
import xarray as xr

from hardiness.effects import ModelTerms
from hardiness.errors import InputError
from hardiness.flow import Flow, Records
from hardiness.settings import Settings
from hardiness.settings_reading import parse_settings
from hardiness.settings_writing import to_toml
from tests.weather.test_placing import table_of

HILL = Settings("Hill", "UTC", latitude=40.0)
ALL = ModelTerms(True, True, True, True, True, True)


def air(*, early_c: float = 12.0, late_c: float = 6.0) -> xr.DataArray:
    """Hourly readings: ``early_c`` until the freeze of 1 December 2031, ``late_c`` from it to that of 10 January."""
    time = pd.date_range("2031-10-01", "2032-02-01", freq="h").to_numpy().astype("M8[ns]")
    degrees = np.where(time < np.datetime64("2031-12-01T02"), early_c, late_c)
    for night, low in (("2031-12-01T02", -5.0), ("2032-01-10T02", -8.0)):
        since = (time - np.datetime64(night, "ns")) / np.timedelta64(1, "h")
        degrees[(since >= 0) & (since <= 6)] = low
    return xr.DataArray(degrees, {"time": time}, attrs={"units": "degC"})


def flow_of(model: ModelTerms, *, scores=None, plants=None, readings=None) -> Flow:
    plants = plants or [("A1", "A", "2027-04-01"), ("A2", "A", "2031-12-01"), ("B1", "B", None)]
    scores = scores or [
        ("A1", "2031-12-20", 1, "", "K"), ("A1", "2032-01-30", 2, "", "M"), ("A2", "2031-12-20", 2, "cover", "K"),
        ("A2", "2032-01-30", 3, "", "K"), ("B1", "2031-11-20", 0, "", "K"), ("B1", "2032-01-30", 5, "", "K"),
    ]  # fmt: skip
    known = [{"plant": p, "selection": s, "rootstock": "own", "planted_on": on} for p, s, on in plants]
    seen = [dict(zip(("plant", "scored_on", "grade", "protected", "observer"), row, strict=True)) for row in scores]
    tables = {"plants": table_of("plants", known), "scores": table_of("scores", seen).astype({"grade": int})}
    dates = pd.to_datetime(tables["scores"]["scored_on"]).dt.date
    tables["scores"]["scored_on"] = dates.astype(object)
    empty = {name: table_of(name, []) for name in ("selections", "sensors", "freeze_notes")}
    records = Records(readings={"L1": air()} if readings is None else readings, **tables, **empty)
    return Flow(records, replace(HILL, model=model))


def test_columns_by_hand():
    given = flow_of(ALL).covariates
    table = given.table.set_index(["plant", "freeze"])
    first, second = "2031-12-01 L1", "2032-01-10 L1"
    # The first freeze starts (crosses 0 degC) within the hour that falls from 12 to -5: a moment at or below 10 degC.
    assert table.loc[("A1", first), "unhardened_100h"] == pytest.approx(4.0, abs=0.01)
    assert table.loc[("A1", second), "unhardened_100h"] == 0.0  # six degrees for 40 days: 500 h, more than enough
    assert table.loc[("A1", first), "warmth_c"] == pytest.approx(12.0 - 5.0, abs=0.05)
    assert table.loc[("A1", second), "warmth_c"] == pytest.approx(6.0 - 5.0, abs=0.05)
    assert table.loc[("A1", first), "years_short"] == 0.0
    assert table.loc[("A2", second), "years_short"] == pytest.approx(3.0 - 40 / 365.25, abs=2 / 365.25)
    assert table["observer"].to_dict() == {("A1", first): "K", ("A1", second): "M", ("A2", first): "K",
                                           ("A2", second): "K", ("B1", second): "K"}  # fmt: skip
    assert given.fixed == {"unhardened_100h": 1.5, "warmth_c": 0.5, "years_short": 1.0}
    assert given.random == {"winter": 1.0, "observer": 0.5}
    assert given.protection == 3.0


def test_an_unknown_planting_date_takes_the_median_and_is_said():
    given = flow_of(ModelTerms(years=True)).covariates
    years = given.table.set_index(["plant", "freeze"])["years_short"]
    a2 = years["A2", "2032-01-10 L1"]
    # B1 has no planting date. Fitted rows with one: A1 twice (0) and A2 once; A2's protected row does not count.
    assert years["B1", "2032-01-10 L1"] == 0.0 < a2
    assert "years: not known of 1 row of 4, which take the median of the others." in given.said
    assert given.said[0] == "Floors stand for a plant planted 3 or more years ago."


def test_a_sensor_without_readings_before_a_freeze_takes_its_event():
    late = air()
    late = late[late["time"] > np.datetime64("2031-11-28")]
    plants = [("A1", "A", "2027-04-01")]
    scores = [("A1", "2031-12-20", 1, "", ""), ("A1", "2032-01-30", 2, "", "")]
    whole = flow_of(ModelTerms(hardening=True), plants=plants, scores=scores, readings={"L1": late, "L2": air()})
    whole.records.plants["sensor"] = "L1"
    given = whole.covariates
    assert given.table["sensor"].tolist() == ["L1", "L1"]
    assert given.table["unhardened_100h"].to_numpy() == pytest.approx([4.0, 0.0], abs=0.01)
    alone = flow_of(ModelTerms(hardening=True), plants=plants, scores=scores[:1], readings={"L1": late}).covariates
    assert alone.fixed == {}
    assert alone.said == ["hardening: known of no row, so the model leaves it out."]


def test_observers_without_a_common_plant_are_left_out():
    scores = [("A1", "2031-12-20", 1, "", "K"), ("A2", "2031-12-20", 1, "", "M"), ("A2", "2032-01-30", 1, "", "")]
    given = flow_of(ModelTerms(observer=True), scores=scores).covariates
    assert given.random == {}
    assert given.said == ["observer: no two observers scored a common plant, so the model leaves it out."]


def test_of_two_observers_on_one_day_the_worst_grade_is_whose_row_it_is():
    scores = [("A1", "2031-12-20", 1, "", "K"), ("A1", "2031-12-20", 3, "", "M"), ("A1", "2032-01-30", 3, "", "K")]
    given = flow_of(ModelTerms(observer=True), scores=scores).covariates
    assert given.table["observer"].tolist() == ["M", "K"]
    assert given.random == {"observer": 0.5}


def test_what_cannot_be_told_is_said():
    scores = [("A1", "2031-12-20", 1, "", ""), ("A2", "2031-12-20", 2, "", "")]
    given = flow_of(ModelTerms(hardening=True, winter=True), scores=scores).covariates
    assert "hardening: the same in every row, so that these scores cannot tell its effect." in given.said
    assert "winter: there is one only, so that its effect cannot be told from the plants' own." in given.said


def test_nothing_is_added_unless_asked_for():
    plain = flow_of(ModelTerms())
    assert plain.covariates.said == []
    pd.testing.assert_frame_equal(plain.covariates.table, plain.observations)
    assert plain.terms.fixed == {} and plain.terms.random == {} and plain.terms.protection is None


def test_other_settings_share_the_tables_that_do_not_depend_on_them():
    one = flow_of(ModelTerms())
    other = one.with_settings(replace(one.settings, model=ALL))
    assert other.freezes is one.freezes and other.joined is one.joined
    assert other.covariates.random == {"winter": 1.0, "observer": 0.5}
    shorter = one.with_settings(replace(one.settings, model_held_h=2.0))
    assert shorter.exposed is one.exposed and shorter.joined is not one.joined


def test_trial_toml_switches_terms_on():
    text = 'name = "Hill"\ntimezone = "UTC"\n[model]\nhardening = "effect"\nwinter = true\nyears = "leave out"\n'
    found = parse_settings(text).model
    assert found == ModelTerms(hardening=True, winter=True)
    assert parse_settings(to_toml(replace(HILL, model=found))).model == found
    with pytest.raises(InputError) as refused:
        parse_settings('name = "Hill"\n[model]\nwinters = true\nhardening = "yes"\n')
    assert len(refused.value.problems) == 2
    assert "Did you mean 'winter'?" in str(refused.value)
    assert "model.hardening: found 'yes'; accepted: 'effect' or 'leave out'." in str(refused.value)


def test_only_events_away_from_the_reference_tell_an_effect():
    """Plants were 400 h short before the first event, and hardened before the second."""
    assert "hardening: 1 of 2 events tell its effect." in flow_of(ModelTerms(hardening=True)).covariates.said


def test_rows_that_are_not_fitted_are_not_counted_as_unknown_and_move_no_median():
    plants = [("A1", "A", "2031-11-01"), ("A2", "A", None), ("A3", "A", "2020-04-01"), ("B1", "B", None)]
    scores = [
        ("A1", "2031-12-20", 1, "", ""), ("A2", "2031-11-20", 0, "", ""), ("A2", "2031-12-20", 2, "cover", ""),
        ("A3", "2031-12-20", 0, "cover", ""), ("B1", "2031-11-20", 0, "", ""), ("B1", "2031-12-20", 5, "", ""),
    ]  # fmt: skip
    given = flow_of(ModelTerms(years=True), plants=plants, scores=scores).covariates
    assert "years: not known of 1 row of 2, which take the median of the others." in given.said
    years = given.table.set_index("plant")["years_short"]
    assert years["B1"] == years["A1"] == pytest.approx(3.0 - 30 / 365.25, abs=1 / 365.25)


def test_a_sensor_without_readings_takes_the_mean_of_its_events_other_sensors():
    """L2 had no hour at or below 10 degC before the first freeze, L3 all 500: L1's plant was 400 - 250 h short."""
    late = air()
    late = late[late["time"] > late["time"][0] + 58 * 24 * 3_600_000_000_000]
    by_sensor = {"L1": late, "L2": air(early_c=12.0), "L3": air(early_c=6.0)}
    flow = flow_of(
        ModelTerms(hardening=True), plants=[("A1", "A", "2027-04-01")], scores=[("A1", "2031-12-20", 1, "", "")],
        readings=by_sensor,
    )  # fmt: skip
    flow.records.plants["sensor"] = "L1"
    assert flow.covariates.table["unhardened_100h"].to_numpy() == pytest.approx([1.5], abs=0.02)
