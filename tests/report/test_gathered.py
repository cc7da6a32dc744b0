"""What a report speaks of: the order of selections, the limits, and that nothing is computed without an observation."""

from __future__ import annotations

import datetime as dt

import pandas as pd

from hardiness.report import gathered as module
from hardiness.report.gathered import gather, selections_in_order
from tests.report.conftest import FOREIGN, LONG


def test_the_hardiest_figure_comes_first_and_the_untested_last(gathered):
    assert gathered.order[0] == LONG
    assert gathered.order[-1] == "<b>OL-03</b>"
    assert set(gathered.order) == {LONG, FOREIGN, "CK-A", "<b>OL-03</b>"}


def test_order_breaks_ties_by_floor_and_name():
    nan = float("nan")
    floors = pd.DataFrame(
        {
            "selection": ["B", "A", "C", "D"],
            "claimable_c": [-8.0, -8.0, -8.0, nan],
            "floor_c": [-9.0, -9.0, -9.5, -12.0],
        }
    )
    assert selections_in_order(floors, pd.DataFrame({"selection": ["Z"]})) == ("C", "A", "B", "D", "Z")


def test_the_fit_is_questioned_only_where_asked_and_below_the_limit(flow, trial, checks, monkeypatch):
    refits = []
    monkeypatch.setattr(module, "check_fit", lambda posterior, **told: refits.append("checks") or checks)
    monkeypatch.setattr(module, "sensitivity_table", lambda posterior, **told: refits.append("priors") or checks.rows)
    asked = gather(flow, trial.settings, "")
    assert asked.checks is checks and not asked.influence.empty and refits == ["priors", "checks"]
    without = gather(flow, trial.settings, "", questions=False)
    assert without.checks is None and without.influence.empty and without.sensitivity.empty
    monkeypatch.setattr(module, "MOST_CHECKED", 3)
    large = gather(flow, trial.settings, "")
    assert large.checks is None and large.sensitivity.empty and not large.influence.empty and len(refits) == 2


def test_the_report_is_dated_by_its_records(gathered, empty_trial):
    assert gathered.dated == dt.date(2024, 2, 20)
    nothing = gather(empty_trial.flow(), empty_trial.settings, "")
    assert nothing.dated is None and nothing.order == () and nothing.checks is None
