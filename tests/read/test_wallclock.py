"""A time as a person writes it: in the trial's zone, or with its own offset, or refused with the way out."""

from zoneinfo import ZoneInfo

import pytest

from hardiness.read.labels import RefusedError
from hardiness.read.wallclock import parse_time

NEW_YORK = ZoneInfo("America/New_York")


@pytest.mark.parametrize(
    ("text", "instant"),
    [
        ("2031-12-14 05:00", "2031-12-14T10:00:00Z"),
        ("2031-07-14T05:00", "2031-07-14T09:00:00Z"),
        (" 2031-12-14 05:00:30 ", "2031-12-14T10:00:30Z"),
        ("2031-12-14T05:00:00.000", "2031-12-14T10:00:00Z"),
        ("2031-12-14T05:00+01:00", "2031-12-14T04:00:00Z"),
        ("2031-12-14 05:00 +0100", "2031-12-14T04:00:00Z"),
        ("2031-12-14T05:00−05:00", "2031-12-14T10:00:00Z"),
        ("2031-12-14T05:00Z", "2031-12-14T05:00:00Z"),
        ("2013-11-03 01:30-05:00", "2013-11-03T06:30:00Z"),
    ],
)
def test_a_time_is_read_in_the_zone_unless_it_carries_an_offset(text, instant):
    assert parse_time(text, NEW_YORK) == instant


@pytest.mark.parametrize(
    ("text", "found", "accepted"),
    [
        ("2013-11-03 01:30", "comes twice when the clocks of America/New_York change", "-04:00 or -05:00"),
        ("2013-03-10 02:30", "is skipped when the clocks of America/New_York change", "-05:00 or -04:00"),
        ("2031-02-30 05:00", "a time that does not exist", "such as 2031-12-14 05:00"),
        ("2031-12-14 25:00", "a time that does not exist", "such as 2031-12-14 05:00"),
        ("14.12.2031 05:00", "'14.12.2031 05:00'", "such as 2031-12-14 05:00"),
        ("1031-12-14 05:00", "'1031-12-14 05:00'", "the years 1850 to 2199"),
        ("yesterday", "'yesterday'", "such as 2031-12-14 05:00"),
        ("", "''", "such as 2031-12-14 05:00"),
    ],
)
def test_what_is_no_one_instant_is_refused_with_what_is_accepted(text, found, accepted):
    with pytest.raises(RefusedError) as caught:
        parse_time(text, NEW_YORK)
    assert found in caught.value.found
    assert accepted in caught.value.accepted


def test_a_bare_date_is_refused_because_the_last_day_of_a_stretch_would_be_cut_off():
    with pytest.raises(RefusedError) as caught:
        parse_time("2031-12-14", NEW_YORK)
    assert caught.value.hint == "Write the time of day too."


def test_texts_sort_as_the_instants_do():
    texts = [
        parse_time(text, NEW_YORK) for text in ("2031-12-14T01:00-05:00", "2031-12-14T01:00Z", "2031-12-13T23:00-08:00")
    ]
    assert sorted(texts) == [texts[1], texts[0], texts[2]]
