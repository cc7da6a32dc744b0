"""The calendar of sensors: its numbers, its words, and that everything prepared is drawn."""

import numpy as np
import pandas as pd
import pytest
import xarray as xr
from matplotlib.collections import PolyCollection
from matplotlib.colors import to_hex
from matplotlib.text import Text

from hardiness import schema
from hardiness.errors import InputError
from hardiness.figures.formats import PAGES
from hardiness.figures.quality_calendar import METHOD, draw_quality_calendar, prepare_quality_calendar
from hardiness.figures.quality_lanes import Bar
from hardiness.figures.saving import save_figure
from hardiness.figures.style import ACCENT, INK, PAPER
from hardiness.settings import Settings
from hardiness.weather.quality import find_flags
from hardiness.weather.quality_gaps import summer_gaps
from tests.figures.pages import check_page

HILL = Settings("Hill", "Europe/Lisbon", latitude=41.4, longitude=-7.4)
BAY = Settings("Bay", "Australia/Hobart", latitude=-42.9, longitude=147.3)


def air(first, last, step_h=1):
    times = pd.date_range(first, last, freq=f"{step_h}h").to_numpy("M8[ns]")
    return xr.DataArray(np.full(times.size, 5.0), {"time": times}, attrs={"units": "degC"})


def flag(sensor, first, last, *, kind="spike", verdict="", freezes="", code="abcde"):
    return {"code": code, "sensor": sensor, "flag": kind, "from": pd.Timestamp(first, tz="UTC"),
            "to": pd.Timestamp(last, tz="UTC"), "readings": 1, "worst_c": -20.0, "freezes": freezes,
            "verdict": verdict, "sentence": "Read −20.0 °C."}  # fmt: skip


def table(*flags):
    return pd.DataFrame(list(flags), columns=schema.column_names(schema.FLAGS)).astype(
        {"from": "datetime64[ns, UTC]", "to": "datetime64[ns, UTC]"}
    )


def freezes(*spans, source="logger"):
    rows = [(f"{first[:10]} {sensor}", sensor, source, first, last) for sensor, first, last in spans]
    out = pd.DataFrame(rows, columns=["freeze", "sensor", "source", "starts", "ends"])
    return out.assign(**{name: pd.to_datetime(out[name], utc=True) for name in ("starts", "ends")})


SEASONS = {
    "L1": xr.concat([air("2030-11-01", "2031-02-28T23"), air("2031-11-01", "2032-02-29T23")], "time"),
    "L2": air("2031-12-01", "2032-01-31T23"),
}


def words_on(sheet):
    return [text.get_text() for text in sheet.findobj(Text) if text.get_text()]


def test_panels_are_winters_lanes_are_sensors_and_bands_are_days_with_readings():
    picture = prepare_quality_calendar(table(), SEASONS, freezes(), HILL)
    assert [panel.winter for panel in picture.panels] == ["2030-31", "2031-32"]
    assert [[lane.sensor for lane in panel.lanes] for panel in picture.panels] == [["L1"], ["L1", "L2"]]
    assert [name for _, name in picture.panels[0].months] == ["Nov", "Dec", "Jan", "Feb"]
    assert [panel.days for panel in picture.panels] == [120, 121]
    assert picture.panels[0].lanes[0].bands == ((0.0, 120.0, True),)
    assert picture.panels[1].lanes[1].bands == ((30.0, 92.0, True),)


def test_south_of_the_equator_a_panel_is_a_year():
    picture = prepare_quality_calendar(table(), {"L1": air("2031-05-31T14", "2031-08-31T13")}, freezes(), BAY)
    (panel,) = picture.panels
    assert panel.winter == "2031" and [name for _, name in panel.months] == ["Jun", "Jul", "Aug"]
    assert panel.lanes[0].bands == ((0.0, 92.0, True),)


def test_a_day_with_few_readings_is_pale_and_a_day_without_is_bare():
    times = SEASONS["L2"]["time"].values
    kept = (times < np.datetime64("2031-12-10T12")) | (times >= np.datetime64("2031-12-15"))
    picture = prepare_quality_calendar(table(), {"L2": SEASONS["L2"][kept]}, freezes(), HILL)
    assert picture.panels[0].lanes[0].bands == ((0.0, 9.0, True), (9.0, 10.0, False), (14.0, 62.0, True))


def test_a_gap_of_summer_is_no_flag_and_yet_drawn():
    whole = air("2031-06-30T23", "2032-06-30T22")
    times = whole["time"].values
    august = (times < np.datetime64("2031-07-31T23")) | (times >= np.datetime64("2031-08-31T23"))
    readings = {"L1": whole, "L2": whole[august]}
    flags = find_flags(readings, pd.DataFrame({"sensor": ["L1", "L2"]}), HILL)
    assert "gap" not in set(flags["flag"]) and len(summer_gaps(readings, HILL)) == 1
    (panel,) = prepare_quality_calendar(table(), readings, freezes(), HILL).panels
    assert panel.lanes[0].bands == ((0.0, 366.0, True),)
    assert panel.lanes[1].bands == ((0.0, 31.0, True), (62.0, 366.0, True))


def test_flags_are_numbered_in_time_placed_by_day_and_explained():
    flags = table(
        flag("L2", "2031-12-20T12", "2031-12-21T00", freezes="2031-12-20 L2", code="later"),
        flag("L1", "2030-12-01T00", "2030-12-01T00", verdict="keep", code="first"),
        flag("L1", "2031-11-02T00", "2031-11-02T00", kind="gap", code="gaps1"),
    )
    cold = freezes(("L2", "2031-12-20T06:00Z", "2031-12-21T06:00Z"))
    picture = prepare_quality_calendar(flags, SEASONS, cold, HILL)
    (early,), (late,) = picture.panels[0].lanes[0].marks, picture.panels[1].lanes[1].marks
    assert (early.number, early.first, early.verdict) == (1, 30.0, "keep")
    assert (late.number, late.first, late.last, late.verdict) == (2, 49.5, 50.0, "")
    assert picture.panels[1].lanes[1].freezes == (Bar(49.25, 50.25, estimated=False),)
    assert picture.entries == (
        (1, "L1", "spike, 2030-12-01 00:00 (first). Read −20.0 °C. Accepted."),
        (2, "L2", "spike, 2031-12-20 12:00 (later). Read −20.0 °C. Touches 2031-12-20 L2."),
    )


def test_a_freeze_that_a_note_sets_aside_is_said_to_be():
    flags = table(flag("L2", "2031-12-20T12", "2031-12-21T00", freezes="2031-12-20 L2; 2031-12-21 L2"))
    picture = prepare_quality_calendar(flags, SEASONS, freezes(("L2", "2031-12-21T06:00Z", "2031-12-21T08:00Z")), HILL)
    assert "Touches 2031-12-20 L2 (set aside by a note) and 2031-12-21 L2." in picture.entries[0][2]


def test_a_freeze_told_from_other_sensors_is_hollow():
    cold = freezes(("L2", "2031-12-20T06:00Z", "2031-12-21T06:00Z"), source="estimated")
    picture = prepare_quality_calendar(table(), SEASONS, cold, HILL)
    assert picture.panels[1].lanes[1].freezes == (Bar(49.25, 50.25, estimated=True),)
    (sheet,) = draw_quality_calendar(picture)
    (hollow,) = [
        art
        for art in sheet.findobj(PolyCollection)
        if len(art.get_edgecolor()) and to_hex(art.get_edgecolor()[0]) == ACCENT.lower()
    ]
    assert to_hex(hollow.get_facecolor()[0]) == PAPER.lower()


DAY = ("2031-12-01", "2031-12-01")


@pytest.mark.parametrize(
    ("flags", "title"),
    [
        (table(), "Nothing odd in the readings of 2 sensors"),
        (table(flag("L1", *DAY, kind="gap")), "Nothing odd but gaps in the readings of 2 sensors"),
        (table(flag("L1", *DAY)), "1 flag undecided, and no freeze in doubt"),
        (table(flag("L1", *DAY, freezes="2031-12-01 L1")), "1 flag undecided: 1 freeze in doubt"),
        (table(flag("L1", *DAY, freezes="set aside")), "1 flag undecided, and no freeze in doubt"),
        (
            table(flag("L1", *DAY, verdict="mask"), flag("L2", *DAY, verdict="keep")),
            "All 2 flags on the readings of 2 sensors decided",
        ),
    ],
)  # fmt: skip
def test_the_title_is_the_finding(flags, title):
    cold = freezes(("L1", "2031-12-01T00:00Z", "2031-12-01T06:00Z"))
    assert prepare_quality_calendar(flags, SEASONS, cold, HILL).words.title == title


def test_what_the_page_has_no_room_for_is_counted():
    readings = {"L1": xr.concat([air(f"{year}-12-01", f"{year}-12-31T23") for year in range(2025, 2033)], "time")}
    days = pd.date_range("2032-12-01", periods=26)
    flags = table(*[flag("L1", day, day) for day in (*days, *(days + pd.Timedelta(hours=1)))])
    picture = prepare_quality_calendar(flags, readings, freezes(), HILL)
    assert len(picture.panels) == 6 and len(picture.entries) == 40
    assert picture.words.facts.endswith("not here: 2 earlier winters and 12 flags; hardiness quality lists all flags")
    sheets = draw_quality_calendar(picture)
    assert "2 earlier winters and 12 flags" in " ".join(words_on(sheets[0]))


@pytest.mark.parametrize("page", PAGES)
def test_everything_prepared_is_drawn_and_nothing_runs_off_the_page(page):
    flags = table(
        flag("L1", "2031-12-01", "2031-12-04", verdict="mask"),
        flag("L2", "2031-12-20T12", "2031-12-20T12"),
        flag("L2", "2031-12-20T18", "2031-12-20T18", verdict="keep"),
    )
    picture = prepare_quality_calendar(flags, SEASONS, freezes(("L1", "2031-12-02T00:00Z", "2031-12-03T00:00Z")), HILL)
    sheets = draw_quality_calendar(picture, page=page)
    written = [text for sheet in sheets for text in words_on(sheet)]
    for text in ("2030-31", "2031-32", "L1", "L2", "Nov", "1", "2, 3"):
        assert text in written
    whole = " ".join(written)
    assert METHOD in whole and all(f"{sensor}, {text}" in whole for _, sensor, text in picture.entries)
    for sheet in sheets:
        check_page(sheet)


@pytest.mark.parametrize("page", PAGES)
def test_many_sensors_take_more_pages_and_none_is_lost(page):
    names = [f"L{number:02d}" for number in range(60)]
    readings = {name: air("2031-12-01", "2031-12-31T23") for name in (*names, "记录仪")}
    flags = table(*(flag(name, f"2031-12-{day:02d}", f"2031-12-{day:02d}") for name in names for day in (3, 30, 31)))
    picture = prepare_quality_calendar(flags, readings, freezes(), HILL)
    sheets = draw_quality_calendar(picture, page=page)
    written = [text for sheet in sheets for text in words_on(sheet)]
    assert [text for text in written if text in names] == names
    assert "no. 61" in written and "by its number among the sensors by name" in " ".join(written)
    for sheet in sheets:
        check_page(sheet)
        assert f"of {len(sheets)}" in " ".join(words_on(sheet)) or len(sheets) == 1
    assert len(sheets) > 1 or page == "phone"


def test_two_short_flags_of_one_day_stand_side_by_side():
    flags = table(flag("L1", "2031-12-01T10", "2031-12-01T10"), flag("L1", "2031-12-01T12", "2031-12-01T12"))
    (sheet,) = draw_quality_calendar(prepare_quality_calendar(flags, SEASONS, freezes(), HILL))
    (filled,) = [
        art
        for art in sheet.findobj(PolyCollection)
        if len(art.get_paths()) and to_hex(art.get_facecolor()[0]) == INK.lower()
    ]
    first, second = sorted(filled.get_paths(), key=lambda path: path.vertices[0, 0])
    assert first.vertices[:, 0].max() <= second.vertices[:, 0].min() + 1e-9


def test_a_trial_without_readings_still_gives_a_page(tmp_path):
    picture = prepare_quality_calendar(table(), {}, freezes(), HILL)
    assert picture.words.title == "There are no readings yet" and picture.panels == ()
    (path,) = save_figure(draw_quality_calendar(picture), tmp_path / "calendar.svg")
    assert "There are no readings yet" in path.read_text(encoding="utf-8")


def test_an_unknown_page_is_refused_with_a_near_name():
    picture = prepare_quality_calendar(table(), {}, freezes(), HILL)
    with pytest.raises(InputError, match="found page 'A3'; accepted: one of A4, letter, slide, phone"):
        draw_quality_calendar(picture, page="A3")
