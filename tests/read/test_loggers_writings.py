"""Exports as programs and spreadsheets of many languages write them are read on the first try, without any option."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import partial
from pathlib import Path

import numpy as np
import pytest

from tests.read.readers import read_file, refusal_of

read = partial(read_file, default_timezone="UTC")
refusal = partial(refusal_of, default_timezone="UTC")
TIMES = [datetime(2023, 1, 13, 22, 30, tzinfo=UTC) + n * timedelta(minutes=30) for n in range(12)]
CELSIUS = [round(-0.5 - 0.4 * n, 1) for n in range(12)]
DAYS = {13: ("vendredi", "Fr", "pt."), 14: ("samedi", "Sa", "sob.")}


@dataclass(frozen=True)
class Row:
    """One reading, and the ways in which it is written."""

    n: int
    at: datetime

    def __format__(self, style: str) -> str:
        """Fill ``<...>`` with the time by strftime, and the signs T (°C), ; (comma), F, R (humidity) and N (number)."""
        celsius = f"{CELSIUS[self.n]:.1f}"
        half = self.at.hour % 12
        for sign, text in {
            "{T}": celsius, "{;}": celsius.replace(".", ","), "{F}": f"{CELSIUS[self.n] * 1.8 + 32:.2f}",
            "{R}": str(80 + self.n), "{N}": str(self.n + 1), "{12}": str(half or 12), "{0}": str(half),
            "{d}": str(self.at.day), "{seconds}": str(int(self.at.timestamp())),
        }.items():  # fmt: skip
            style = style.replace(sign, text)
        style = re.sub(r"\{(\w+)\|(\w+)\}", lambda words: words[1 if self.at.hour < 12 else 2], style)
        style = re.sub(r"\{days(\d)\}", lambda language: DAYS[self.at.day][int(language[1])], style)
        return self.at.strftime(style)


# What the file begins with, how each row is written, and what it ends with.
WRITINGS: dict[str, tuple[str, str] | tuple[str, str, str]] = {
    "German": ("Datum;Uhrzeit;Temperatur (°C);Luftfeuchte (%)", "%d.%m.%Y;%H:%M;{;};{R}"),
    "German, one cell": ("Zeitpunkt;Temperatur", "%d.%m.%Y, %H:%M Uhr;{;} °C"),
    "German weekday": ("Zeit;Temperatur", "{days1} %d.%m.%Y %H:%M;{;}"),
    "German day and at": ("Zeit;Temperatur", "%d.%m.%Y um %H:%M;{;}"),
    "French": ("Date;Heure;Température (°C);Humidité (%)", "%d/%m/%Y;%H:%M:%S;{;};{R}"),
    "French hours": ("Date et heure;Température", "%d/%m/%Y %Hh%M;{;}"),
    "French months": ("Horodatage;T° ext", "{days0} {d} janvier 2023 %H:%M;{;}"),
    "French at": ("Horodatage;Température", "{d} janv. 2023 à %H:%M;{;}"),
    "Spanish": ("Fecha;Hora;Temp. exterior (°C)", "%d/%m/%Y;{12}:%M:%S {a|p}. m.;{;}"),
    "Spanish months": ("Fecha y hora,Temperatura", '"{d} de enero de 2023, %H:%M",{T}'),
    "Spanish at": ("Fecha y hora,Temperatura", "{d} de enero de 2023 a las %H:%M,{T}"),
    "Spanish hours": ("Fecha;Hora;Temperatura", "%d/%m/%Y;%H:%M h;{;}"),
    "Portuguese": ("Data;Hora;Temperatura do ar (ºC);Umidade relativa (%)", "%d/%m/%Y;%H:%M;{;};{R}"),
    "digits and letters of a zone": ("Data;Hora UTC;Temperatura do ar (°C)", "%Y/%m/%d;%H%M UTC;{;}"),
    "Italian": ("Data;Ora;Temperatura aria °C;Umidità %", "%d/%m/%Y;%H.%M;{;};{R}"),
    "Dutch": ("Datum;Tijd;Temperatuur (°C);Luchtvochtigheid (%)", "%d-%m-%Y;%H:%M;{;};{R}"),
    "Polish": ("Data;Czas;Temperatura [°C];Wilgotność [%]", "%Y-%m-%d;%H:%M;{;};{R}"),
    "Polish months": ("Data;Temperatura", "{d} sty 2023 %H:%M;{;}"),
    "Polish weekday": ("Data;Temperatura", "{days2} {d} stycznia 2023 %H:%M;{;}"),
    "Swedish": ("Datum;Tid (UTC);Lufttemperatur;Luftfuktighet", "%Y-%m-%d;%H:%M:%S;{;};{R}"),
    "Danish": ("Dato;Klokkeslæt;Temperatur °C", "%d-%m-%Y;%H:%M;{;}"),
    "Finnish": ("Päivämäärä;Kello;Lämpötila (°C)", "{d}.1.%Y;%H.%M;{;}"),
    "Finnish, one cell": ("Aika;Lämpötila", "{d}.1.%Y klo %H.%M;{;}"),
    "Czech": ("Datum;Čas;Teplota (°C)", "{d}. 1. %Y;%H:%M;{;}"),
    "Hungarian": ("Dátum;Hőmérséklet (°C)", "%Y. %m. %d. %H:%M;{;}"),
    "Turkish": ("Tarih;Saat;Sıcaklık (°C)", "%d.%m.%Y;%H:%M;{;}"),
    "Russian": ("Дата;Время;Температура, °C;Влажность, %", "%d.%m.%Y;%H:%M;{;};{R}"),
    "Greek": ("Ημερομηνία;Ώρα;Θερμοκρασία (°C)", "%d/%m/%Y;{12}:%M {πμ|μμ};{;}"),
    "Japanese": ("日時,気温(℃),湿度(%)", "%Y/%m/%d %H:%M,{T},{R}"),
    "Japanese signs": ("年月日時,気温(℃)", "%Y年%m月%d日 %H時%M分,{T}"),
    "Japanese halves": ("日付,時刻,温度", "%Y/%m/%d,{午前|午後}{0}:%M,{T}"),
    "Chinese": ("记录时间,温度℃,湿度(%RH)", "%Y-%m-%d {上午|下午} {12}:%M:%S,{T},{R}"),
    "Korean": ("시간,temp (C)", "%Y-%m-%d {오전|오후} {12}:%M,{T}"),
    "a long preamble": (
        "Logger report\nSerial number: 12345678\nStart time: 2023-01-10 08:00:00\nStop time: 2023-01-20 08:00:00\n"
        "High alarm: 30.0 °C\nLow alarm: -30.0 °C\n\nMax: -0.5\nMin: -4.9\n\nIndex,Date/Time,Temperature (°C)",
        "{N},%Y-%m-%d %H:%M:%S,{T}",
    ),
    "a preamble in columns": (
        "Sonde:\t3\nZeitraum:\t13.01.2023\t-\t14.01.2023\n\nDatum\tZeit\tKanal 1 [°C]", "%d.%m.%Y\t%H:%M:%S\t{;}",
    ),
    "a line for spreadsheets": ("sep=;\nTime;Temp °C", "%Y-%m-%d %H:%M;{;}"),
    "names behind a hash": ("# logger 5\n#time,temp_c", "%Y-%m-%d %H:%M:%S,{T}"),
    "a table of bars": ("| Time | Temp |\n|---|---|", "| %Y-%m-%d %H:%M | {T} |"),
    "units below": ("Date,Time,Air,RH\n,,degC,%", "%Y-%m-%d,%H:%M,{T},{R}"),
    "an average below": ("Datum;Temp C", "%d.%m.%Y %H:%M;{;}", "Mittelwert;-2,7\nMinimum;-4,9"),
    "totals below": ("Date,Time,Temp C", "%Y-%m-%d,%H:%M,{T}", "Average,,-2.7\nMax,,-0.5\n\nPage 1 of 1"),
    "a summary with times below": (
        "Datum;Temp C", "%d.%m.%Y %H:%M;{;}",
        "Min 14.01.2023 04:00;-4,9\nMax 13.01.2023 22:30;-0,5\nDownload 15.01.2023;9",
    ),
    "a logger's number with a hyphen": ("Serial;Date;Time;Temp", "1012-345;%Y-%m-%d;%H:%M;{T}"),
    "milliseconds": ("ts,temperature", "{seconds}000,{T}"),
    "microseconds": ("time,temp", "{seconds}000000,{T}"),
    "nanoseconds": ("time,temp", "{seconds}000000000,{T}"),
    "a day of the year": ("Time,Temp", "%Y-%j %H:%M,{T}"),
    "a name of a file": ("Time,Temp", "%Y-%m-%d_%H-%M-%S,{T}"),
    "slashes all through": ("Time,Temp", "%Y/%m/%d/%H:%M,{T}"),
    "a log of a server": ("Time,Temp", "%d/Jan/%Y:%H:%M:%S +0000,{T}"),
    "a year at the end": ("Time,Temp", "%a %b %d %H:%M:%S %Y,{T}"),
    "a zone before the year": ("Time,Temp", "%a %b %d %H:%M:%S UTC %Y,{T}"),
    "a zone's long name": ("Time,Temp", "%a %b %d %Y %H:%M:%S GMT+0000 (Coordinated Universal Time),{T}"),
    "an old spreadsheet's half": ("Time\tTemp (F)", "01/%d/%Y, {12}:%M:%S {AM|PM}\t{F}"),
    "a console": (
        "No,Time,Indoor Temp (F),Indoor RH (%),Outdoor Temp (F),Outdoor RH (%),Dew Point (F)",
        "{N},%Y-%m-%d %H:%M,70.1,40,{F},{R},20.0",
    ),
    "a German console": ("Zeit;Temperatur innen;Temperatur außen", "%d.%m.%Y %H:%M;20,1;{;}"),
    "a German console, units behind": (
        "Zeit;Temperatur innen in °C;Temperatur außen in °C", "%d.%m.%Y %H:%M;20,1;{;}",
    ),
    "a letter for the half": ("Date\tTime\tTemp F", "1/%d/23\t{12}:%M{a|p}\t{F}"),
}  # fmt: skip


@pytest.mark.parametrize(
    ("cell", "time"),
    [
        ("14. marraskuuta 2023 06:05", "2023-11-14T06:05"),
        ("14 maalis 2023 06:05", "2023-03-14T06:05"),
        ("mar. 14 mars 2023 06:05", "2023-03-14T06:05"),
        ("martes, 14 de marzo de 2023, 06:05", "2023-03-14T06:05"),
        ("March 14 2023 06:05", "2023-03-14T06:05"),
        ("terça-feira, 14 de março de 2023, 06:05", "2023-03-14T06:05"),
        ("Thurs 14 Sept 2023 06:05", "2023-09-14T06:05"),
    ],
)
def test_no_month_is_taken_for_another(tmp_path, cell, time):
    path = tmp_path / "l1.csv"
    path.write_text(f"Time;Temp (C)\n{cell};-3.2\n", encoding="utf-8")
    assert [str(each)[:16] for each in read(path).air_temperature.time.values] == [time]


@pytest.fixture
def written(tmp_path: Path) -> Callable[..., Path]:
    def write_rows(above: str, style: str, below: str = "", *, encoding: str = "utf-8", end: str = "\n") -> Path:
        path = tmp_path / "l1.csv"
        lines = [above, *(format(Row(n, at), style) for n, at in enumerate(TIMES)), below]
        path.write_bytes("\n".join(lines).replace("\n", end).encode(encoding))
        return path

    return write_rows


def tells_the_readings(path: Path) -> None:
    logger = read(path)
    expected = np.array([at.replace(tzinfo=None) for at in TIMES], "M8[ns]")
    np.testing.assert_array_equal(logger.air_temperature.time.values, expected)
    np.testing.assert_allclose(logger.air_temperature.values, CELSIUS, atol=1e-6)


@pytest.mark.parametrize("name", WRITINGS)
def test_a_sane_export_is_read_on_the_first_try(written, name):
    tells_the_readings(written(*WRITINGS[name]))


def test_of_a_console_the_temperature_outside_is_taken_and_that_is_said(written):
    logger = read(written(*WRITINGS["a console"]))
    assert "Temperatures are taken from 'Outdoor Temp (F)'; 'Indoor Temp (F)' was passed over." in logger.said
    assert logger.conditions["relative_humidity"].tolist() == [80 + n for n in range(12)]
    indoors = read(written(*WRITINGS["a console"]), temperature_column="Indoor Temp (F)")
    assert set(indoors.air_temperature.values.round(6)) == {21.166667}


@pytest.mark.parametrize(
    ("name", "encoding", "end"),
    [
        ("German", "cp1252", "\r\n"),
        ("French", "cp1252", "\r"),
        ("Polish", "cp1250", "\r\n"),
        ("Russian", "cp1251", "\r\n"),
        ("Russian", "utf-16", "\r\n"),
        ("Japanese", "cp932", "\r\n"),
        ("Chinese", "utf-8-sig", "\n"),
        ("an old spreadsheet's half", "utf-16", "\r\n"),
        ("German", "utf-8-sig", "\r"),
    ],
)
def test_a_sane_export_is_read_in_the_bytes_of_its_country(written, name, encoding, end):
    tells_the_readings(written(*WRITINGS[name], encoding=encoding, end=end))


@pytest.mark.parametrize(
    ("above", "style", "told"),
    [
        ("Elapsed (s),Temp", "{N},{T}", "no column of times"),
        ("Time,Temp (C)", "%d/%m/%Y %H:%M,{;}", "need quotes, or a semicolon or tab between cells"),
        ("Time,Air 1 (C),Air 2 (C)", "%Y-%m-%d %H:%M,{T},{T}", "several columns of temperatures"),
        ("Date,Time,Temp", "%Y-%m-%d,%H:%M-23:59,{T}", "'22:30-23:59'; accepted: a date and time of day"),
        ("Date,Time,Temp", "%d%m%Y,%H:%M,{T}", "a day that does not exist"),
    ],
)
def test_what_is_not_plain_is_refused(written, above, style, told):
    assert told in refusal(written(above, style))
