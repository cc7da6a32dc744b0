"""Public stations' files in open text formats: what is read, what is left out and counted, every fault at once."""

import gzip
import tempfile
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hardiness.errors import InputError
from hardiness.read.stations import read_station

ID = "XX000012345"


def dly_line(values: dict[int, int], *, element: str = "TMIN", year: int = 2031, month: int = 12, station: str = ID,
             flags: dict[int, str] | None = None) -> str:  # fmt: skip
    """A line of a .dly file: tenths of a degC by day; flags are measurement, quality, source."""
    flags = flags or {}
    groups = [f"{values.get(day, -9999):5d}{flags.get(day, '   ')}" for day in range(1, 32)]
    return f"{station}{year}{month:02d}{element}{''.join(groups)}"


def written(tmp_path, content: str | bytes, name: str = "station.dly"):
    path = tmp_path / name
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    return path


def faults(tmp_path, content: str | bytes, name: str = "station.dly", **options) -> list[str]:
    with pytest.raises(InputError) as raised:
        read_station(written(tmp_path, content, name), **options)
    return [str(problem) for problem in raised.value.problems]


def minima(data) -> dict[str, float]:
    values = data.values
    return {str(day): low for day, low in zip(values.days, values.minimum_c, strict=True) if np.isfinite(low)}


def test_a_dly_file_gives_minima_and_maxima_in_degrees(tmp_path):
    text = "\n".join([dly_line({1: -41, 2: 5, 31: -120}), dly_line({1: 30, 3: 55}, element="TMAX"),
                      dly_line({1: 120}, element="PRCP"), ""])  # fmt: skip
    data = read_station(written(tmp_path, text))
    assert minima(data) == {"2031-12-01": -4.1, "2031-12-02": 0.5, "2031-12-31": -12.0}
    assert dict(zip(map(str, data.values.days), data.values.maximum_c.tolist(), strict=True))["2031-12-01"] == 3.0
    assert (data.facts.station_id, data.file_format, data.said) == (ID, "ghcn-daily", [])
    assert data.values.rows.tolist() == [1, 1, 2, 1]


def test_values_with_any_quality_flag_are_left_out_and_counted(tmp_path):
    text = dly_line({1: -41, 2: -577, 3: -30, 4: -20}, flags={2: " I7", 3: " S7", 4: "L 7"})
    data = read_station(written(tmp_path, text))
    assert minima(data) == {"2031-12-01": -4.1, "2031-12-04": -2.0}  # a measurement flag is no fault
    assert data.said == ["2 values with a quality flag of the archive left out: 1 I (internal inconsistency), "
                         "1 S (spatial inconsistency)."]  # fmt: skip
    assert data.provenance["quality_flagged_left_out"] == "I: 1, S: 1"


def test_a_day_that_is_not_in_the_month_may_be_missing_but_not_have_a_value(tmp_path):
    february = dly_line({28: -10, 30: -20}, month=2)
    assert faults(tmp_path, february) == [
        "station.dly, row 1, column TMIN: found a value for day 30 of 2031-02; accepted: a day that there is."
    ]
    assert minima(read_station(written(tmp_path, dly_line({28: -10}, month=2)))) == {"2031-02-28": -1.0}


def test_every_fault_of_a_dly_file_is_listed_at_once(tmp_path):
    good = dly_line({1: -41})
    text = "\n".join([good, good[:100], good.replace("203112", "203113"), good.replace("  -41", "  -4x"), "rubbish"])
    found = faults(tmp_path, text)
    assert [line.split(":")[0] for line in found] == [
        "station.dly, row 2, column TMIN", "station.dly, row 3", "station.dly, row 4, column TMIN",
        "station.dly, row 5",
    ]  # fmt: skip
    assert "'  -4x' for day 1" in found[2]


def test_very_many_faults_are_counted_after_the_first_fifty(tmp_path):
    text = "\n".join([dly_line({1: -41}), *["rubbish"] * 70])
    found = faults(tmp_path, text)
    assert len(found) == 51
    assert found[-1] == "station.dly: 20 more faults of this kind."


@settings(max_examples=40, deadline=None)
@given(
    st.dictionaries(
        st.integers(1, 28), st.tuples(st.integers(-599, 400), st.sampled_from(["   ", "  7", "B 7", " G7", " Z "]))
    ),
    st.integers(1, 12),
)
def test_whatever_goes_into_a_dly_line_comes_out(days, month):
    line = dly_line({day: one[0] for day, one in days.items()}, month=month,
                    flags={day: one[1] for day, one in days.items()})  # fmt: skip
    expected = {f"2031-{month:02d}-{day:02d}": tenths / 10 for day, (tenths, flags) in days.items() if flags[1] == " "}
    with tempfile.TemporaryDirectory() as folder:
        path = written(Path(folder), line)
        if expected:
            data = read_station(path)
            assert minima(data) == expected
            left_out = sum(flags[1] != " " for _, flags in days.values())
            assert bool(data.said) == bool(left_out) and (not left_out or data.said[0].startswith(f"{left_out} value"))
        else:
            with pytest.raises(InputError, match="no daily minimum"):
                read_station(path)


def test_a_file_of_several_stations_wants_one_to_be_chosen(tmp_path):
    text = dly_line({1: -41}) + "\n" + dly_line({1: -99}, station="XX000054321")
    (found,) = faults(tmp_path, text)
    assert "2 stations (XX000012345, XX000054321)" in found and "--id XX000012345" in found
    assert minima(read_station(written(tmp_path, text), station_id="xx000054321")) == {"2031-12-01": -9.9}
    (unknown,) = faults(tmp_path, text, station_id="XX000054322")
    assert "Did you mean 'XX000054321'?" in unknown


def test_a_file_without_a_minimum_that_counts_is_refused(tmp_path):
    assert "no daily minimum (TMIN); accepted" in faults(tmp_path, dly_line({1: 40}, element="TMAX"))[0]
    flagged = dly_line({1: -41}, flags={1: " X7"})
    assert "no daily minimum (TMIN) that passed the checks of the archive" in faults(tmp_path, flagged)[0]


BY_YEAR = """\
XX000012345,20311214,TMIN,-41,,,7,0700
XX000012345,20311214,TMAX,30,,,7,0700
XX000012345,20311214,PRCP,0,T,,7,0700
XX000012345,20311215,TMIN,-577,,I,7,0700
XX000012345,20311215,TMAX,12,,,7,0700
XX000012345,20311216,TMIN,-60,,,7,
"""


@pytest.mark.parametrize("header", ["", "ID,DATE,ELEMENT,DATA_VALUE,M_FLAG,Q_FLAG,S_FLAG,OBS_TIME\n",
                                    "ID,DATE,ELEMENT,DATA VALUE,M-FLAG,Q-FLAG,S-FLAG,OBS-TIME\n"])  # fmt: skip
def test_a_row_for_each_day_and_element(tmp_path, header):
    data = read_station(written(tmp_path, header + BY_YEAR, "2031.csv"))
    assert minima(data) == {"2031-12-14": -4.1, "2031-12-16": -6.0}
    assert data.file_format == "ghcn-daily-csv"
    assert data.values.rows[1] == (2 if header else 1)


def test_maxima_read_in_the_morning_belong_to_the_day_before(tmp_path):
    data = read_station(written(tmp_path, BY_YEAR, "2031.csv"))
    highest = dict(zip(map(str, data.values.days), data.values.maximum_c.tolist(), strict=True))
    assert highest["2031-12-13"] == 3.0 and highest["2031-12-14"] == 1.2
    assert "Read in the morning, so put to the day before: 2 maxima." in data.said
    evening = BY_YEAR.replace("0700", "1800")
    data = read_station(written(tmp_path, evening, "2031.csv"))
    assert dict(zip(map(str, data.values.days), data.values.maximum_c.tolist(), strict=True))["2031-12-14"] == 3.0


def test_every_fault_of_rows_is_listed_at_once(tmp_path):
    rows = [f"{ID},20311317,TMIN,-41,,,7,", f"{ID},20311218,TMIN,cold,,,7,", "short,1", "no,20311219,TMIN,1", ""]
    assert [line.split(":")[0] for line in faults(tmp_path, BY_YEAR + "\n".join(rows), "2031.csv")] == [
        "2031.csv, row 7, column DATE",
        "2031.csv, row 8, column DATA_VALUE",
        "2031.csv, row 9",
        "2031.csv, row 10, column ID",
    ]


def test_two_values_of_one_day_are_refused(tmp_path):
    (found,) = faults(tmp_path, BY_YEAR + "XX000012345,20311214,TMIN,-45,,,7,\n", "2031.csv")
    assert found.startswith("2031.csv, row 7, column TMIN: found -45 for 2031-12-14, where row 1 has -41")


WIDE_COLUMNS = ("STATION", "DATE", "LATITUDE", "LONGITUDE", "ELEVATION", "NAME", "PRCP", "PRCP_ATTRIBUTES", "TMAX",
                "TMAX_ATTRIBUTES", "TMIN", "TMIN_ATTRIBUTES")  # fmt: skip
WIDE = "\n".join(
    [
        ",".join(f'"{name}"' for name in WIDE_COLUMNS),
        f'"{ID}","2031-12-14","40.5","-3.7","620.1","LOWER FIELD, XX","    0","T,,7,0700","   30",",,7","  -41",",,7"',
        f'"{ID}","2031-12-15","40.5","-3.7","620.1","LOWER FIELD, XX","    0",",,7",,,"  -60",",S,7"',
        f'"{ID}","2031-12-16","40.5","-3.7","620.1","LOWER FIELD, XX","    0",",,7",,,"  -55",",,7"',
        "",
    ]
)


def test_a_row_for_each_day_with_the_station_in_it(tmp_path):
    data = read_station(written(tmp_path, WIDE, "XX000012345.csv"))
    assert minima(data) == {"2031-12-14": -4.1, "2031-12-16": -5.5}
    facts = data.facts
    assert (facts.latitude, facts.longitude, facts.elevation_m, facts.name) == (40.5, -3.7, 620.1, "LOWER FIELD, XX")


def test_faults_of_wide_rows_name_row_and_column(tmp_path):
    text = WIDE.replace('"2031-12-15"', '"15/12/2031"').replace('"  -55"', '"minus"')
    assert [line.split(":")[0] for line in faults(tmp_path, text, "x.csv")] == ["x.csv, row 3, column DATE",
                                                                               "x.csv, row 4, column TMIN"]  # fmt: skip


ISD = """\
2031 12 14 05   -41   -61 10208   320    26     2     0 -9999
2031 12 14 06   -55   -61 10208   320    26     2     0 -9999
2031 12 14 07 -9999   -61 10208   320    26     2     0 -9999
2031 12 14 08   -22   -61 10208   320    26     2     0 -9999
"""


def test_hourly_files_are_in_utc_and_tenths(tmp_path):
    data = read_station(written(tmp_path, ISD, "123450-99999-2031"))
    assert data.values.temperature_c.tolist() == [-4.1, -5.5, -2.2]
    assert str(data.values.times[0]) == "2031-12-14T05:00:00.000000000"
    assert data.values.rows.tolist() == [1, 2, 4]
    assert (data.facts.station_id, data.said) == ("123450-99999", ["1 hour without a temperature."])


def test_every_fault_of_an_hourly_file_is_listed_at_once(tmp_path):
    text = ISD + "2031 13 14 08   -22\n2031 12 14 25   -22\n2031-12-14 09 -2.2\n2031 12 14 10   2-2\n"
    assert [line.split(":")[0].split(", ")[1] for line in faults(tmp_path, text)] == [f"row {n}" for n in (5, 6, 7, 8)]


def test_an_hourly_file_of_missing_values_only_is_refused(tmp_path):
    assert faults(tmp_path, ISD.splitlines()[2] + "\n") == [
        "station.dly: found no temperature; accepted: hourly temperatures."
    ]


def test_temperatures_that_no_air_has_are_left_out_and_counted(tmp_path):
    data = read_station(written(tmp_path, ISD.replace("  -55", "-6100")))
    assert np.isnan(data.values.temperature_c[1])
    assert "1 value that no air has (below -60 C or above 70 C) left out." in data.said


@pytest.mark.parametrize("content, name", [(dly_line({1: -41}), "a.dly.gz"), (BY_YEAR, "b.csv.gz"), (ISD, "c.gz")])
def test_text_may_be_gzipped(tmp_path, content, name):
    plain = read_station(written(tmp_path, content, "plain"))
    packed = read_station(written(tmp_path, gzip.compress(content.encode()), name))
    assert type(packed.values) is type(plain.values)
    assert packed.file_format == plain.file_format


def test_a_damaged_gzip_file_is_told_as_such(tmp_path):
    data = gzip.compress(ISD.encode() * 50)
    assert "a gzip file that cannot be unpacked" in faults(tmp_path, data[: len(data) // 2], "c.gz")[0]


@pytest.mark.parametrize(
    "content, said",
    [
        (b"", "found an empty file"),
        (b"time,temperature\n2031-12-14,-4.1\n", "begins with 'time,temperature'"),
        (b"%PDF-1.7\x00\x00\x01", "found a binary file"),
    ],
)
def test_a_file_of_no_known_format_is_refused_with_those_that_are(tmp_path, content, said):
    (found,) = faults(tmp_path, content, "x.csv")
    assert said in found and "GHCN-Daily" in found


def test_another_table_is_pointed_to_the_verb_for_loggers(tmp_path):
    assert "hardiness add readings FILE --sensor S" in faults(tmp_path, "time,temperature\n", "x.csv")[0]


def test_a_file_that_is_not_there(tmp_path):
    with pytest.raises(InputError, match="no such file"):
        read_station(tmp_path / "gone.dly")
    with pytest.raises(InputError, match="a folder"):
        read_station(tmp_path)


def test_a_format_may_be_named_where_the_beginning_would_tell_another(tmp_path):
    with pytest.raises(InputError) as raised:
        read_station(written(tmp_path, ISD), file_format="ghcn-daily")
    assert len(raised.value.problems) == 4


TABLE = """\
# public station, fetched from the station service
# station: S0001
# name: Lower Field
# latitude: 40.5
# elevation_m: 620
# timezone: Europe/Madrid
# series: daily
# distance_km: 11.1
date,minimum_c,maximum_c,source,model
2031-12-14,-4.1,3,ghcnd,no
2031-12-15,-6,,dwd_mosmix,yes
"""


def test_a_kept_table_is_read_with_what_stands_above_it(tmp_path):
    data = read_station(written(tmp_path, TABLE, "kept.csv"))
    assert minima(data) == {"2031-12-14": -4.1, "2031-12-15": -6.0}
    facts = data.facts
    assert (facts.station_id, facts.latitude, facts.longitude, facts.timezone) == ("S0001", 40.5, None, "Europe/Madrid")
    assert data.provenance == {"series": "daily", "distance_km": "11.1", "sources": "dwd_mosmix: 1, ghcnd: 1",
                               "model_filled": "1"}  # fmt: skip
    assert data.said == ["1 value of 2 filled in by a weather model: marked so in the file."]
    assert data.values.rows.tolist() == [10, 11]


def test_every_fault_of_a_kept_table_is_listed_at_once(tmp_path):
    text = TABLE + "14.12.2031,1,2,x,no\n2031-12-17,cold,2,x,no\n2031-12-18,1,2,x,perhaps\n2031-12-19,1\n"
    assert [line.split(":")[0] for line in faults(tmp_path, text, "kept.csv")] == [
        "kept.csv, row 12, column date", "kept.csv, row 13, column minimum_c", "kept.csv, row 14, column model",
        "kept.csv, row 15",
    ]  # fmt: skip
    assert "Did you mean 'minimum_c'?" in faults(tmp_path, TABLE.replace("minimum_c", "minimm_c"), "kept.csv")[0]
    assert "each day once" in faults(tmp_path, TABLE + "2031-12-14,-4.1,3,ghcnd,no\n", "kept.csv")[0]
