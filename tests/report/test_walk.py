"""The walk: blocks and rows in order, up one row and down the next, and no stop at what is gone."""

from __future__ import annotations

import datetime as dt
from types import SimpleNamespace

import pandas as pd
import pytest

from hardiness.errors import InputError
from hardiness.report.walk import natural, walk_of
from hardiness.schema import PLANTS
from tests.report.conftest import settings

ALIVE = {"selection": "S", "rootstock": "own"}


def flow(plants, scores=(), met=()):
    table = pd.DataFrame([{name: None if name.endswith("_on") else "" for name in PLANTS.names} | ALIVE | plant
                          for plant in plants])  # fmt: skip
    given = pd.DataFrame(list(scores), columns=["plant", "scored_on", "grade"])
    exposures = pd.DataFrame(list(met), columns=["plant", "starts"])
    exposures["starts"] = pd.to_datetime(exposures["starts"], utc=True)
    return SimpleNamespace(records=SimpleNamespace(plants=table, scores=given), exposures=exposures,
                           settings=settings())  # fmt: skip


def at(plant, block="", row="", place="", **more):
    return {"plant": plant, "block": block, "row": row, "place": place} | more


def names(walk):
    return [stop.plant for stop in walk.stops]


def test_odd_rows_go_up_and_even_rows_down_and_numbers_sort_as_numbers():
    plants = [at(f"{row}/{place}", "A", row, place) for row in ("10", "2", "9") for place in ("1", "11", "2")]
    assert names(walk_of(flow(plants))) == ["2/1", "2/2", "2/11", "9/11", "9/2", "9/1", "10/1", "10/2", "10/11"]


def test_every_block_begins_upwards_and_what_has_no_block_comes_last():
    plants = [
        at("n"),
        at("b2", "B", "1", "2"),
        at("b1", "B", "1", "1"),
        at("a1", "A", "1", "1"),
        at("a2", "A", "2", "1"),
    ]
    assert names(walk_of(flow(plants))) == ["a1", "a2", "b1", "b2", "n"]


def test_only_one_block_is_walked_where_asked_and_an_unknown_one_is_refused():
    plants = [at("a", "lower"), at("b", "upper")]
    assert names(walk_of(flow(plants), "upper")) == ["b"]
    with pytest.raises(InputError, match="Did you mean 'upper'"):
        walk_of(flow(plants), "uper")


def test_what_is_gone_is_no_stop_and_is_counted():
    january, march = dt.date(2032, 1, 20), dt.date(2032, 3, 1)
    plants = [at("out", removed_on=dt.date(2031, 5, 1)), at("dead"), at("fresh"), at("lives"), at("well")]
    scores = [("dead", january, 5), ("fresh", march, 5), ("lives", january, 5), ("lives", march, 3), ("well", march, 0)]
    met = [(plant, "2032-02-10T04:00") for plant in ("dead", "fresh", "lives", "well")]
    walk = walk_of(flow(plants, scores, met))
    # The death before a freeze is settled; the one after it may still turn out otherwise.
    assert names(walk) == ["fresh", "lives", "well"]
    assert walk.said == ("1 plant taken out.", "1 plant lost in an earlier freeze.")


def test_the_last_grade_is_the_worst_of_the_last_day():
    day = dt.date(2032, 1, 20)
    scores = [("a", day, 3), ("a", day, 1), ("a", dt.date(2031, 12, 1), 4)]
    (stop, fresh) = walk_of(flow([at("a"), at("b")], scores)).stops
    assert (stop.last_grade, stop.last_on) == (3, day)
    assert (fresh.last_grade, fresh.last_on) == (None, None)


def test_natural_order_takes_digits_of_any_script_and_never_mixes_kinds():
    assert sorted(["b", "10", "9", "٣", "a2", "a10", "²"], key=natural)[:3] == ["٣", "9", "10"]
