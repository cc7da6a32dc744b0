"""A station service on the loopback: a list of stations and files of years, as the service publishes them in bulk.

The real client asks it. It can be told to be slow, to answer with a fault, or to send what is damaged.
"""

import gzip
import http.server
import sqlite3
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

import meteostat
import meteostat.providers.meteostat.daily
import meteostat.providers.meteostat.hourly
import pandas as pd
import pytest

STATIONS = (
    # id, name, latitude, longitude, elevation, zone
    ("S0001", "Lower Field", 40.5, -3.7, 620, "Europe/Madrid"),
    ("S0002", "Ridge", 40.4, -4.0, 1250, "Europe/Madrid"),
    ("S0003", "Far Plain", 41.9, -3.7, 700, "Europe/Madrid"),
)


def station_list(path: Path) -> bytes:
    """The list of stations, as SQLite."""
    connection = sqlite3.connect(path)
    connection.executescript(
        "CREATE TABLE stations (id TEXT, country TEXT, region TEXT, latitude REAL, longitude REAL, elevation INTEGER,"
        " timezone TEXT);"
        "CREATE TABLE names (station TEXT, language TEXT, name TEXT);"
        "CREATE TABLE identifiers (station TEXT, key TEXT, value TEXT);"
        "CREATE TABLE inventory (station TEXT, provider TEXT, parameter TEXT, start TEXT, end TEXT, completeness REAL);"
    )
    for name, title, latitude, longitude, elevation, zone in STATIONS:
        row = (name, "ES", "MD", latitude, longitude, elevation, zone)
        connection.execute("INSERT INTO stations VALUES (?, ?, ?, ?, ?, ?, ?)", row)
        connection.execute("INSERT INTO names VALUES (?, 'en', ?)", (name, title))
    connection.executemany(
        "INSERT INTO inventory VALUES (?, ?, ?, ?, ?, 1.0)",
        [
            ("S0001", "isd_lite", "temp", "1990-02-03", "2026-11-01"),
            ("S0001", "metar", "temp", "2015-01-01", "2026-11-20"),
            ("S0001", "dwd_mosmix", "temp", "2020-01-01", "2026-12-05"),  # a weather model
            ("S0002", "ghcnd", "tmin", "1951-01-01", "2026-10-31"),
        ],
    )
    connection.commit()
    connection.close()
    return path.read_bytes()


def hourly_file(
    values: pd.Series, source: str = "isd_lite", model: pd.Series | None = None, beside: pd.DataFrame | None = None
) -> bytes:
    """A year of hours as the service publishes it: ``values`` [degC] by UTC instant; some filled in by a model.

    ``beside`` holds further columns of the service, with their sources.
    """
    sources = [source] * len(values) if model is None else ["dwd_mosmix" if one else source for one in model]
    table = pd.DataFrame(
        {"year": values.index.year, "month": values.index.month, "day": values.index.day, "hour": values.index.hour,
         "temp": values.to_numpy(), "temp_source": sources, "rhum": 80, "rhum_source": "isd_lite"}
    )  # fmt: skip
    if beside is not None:
        table = table.drop(columns=["rhum", "rhum_source"]).assign(**{name: beside[name].to_numpy() for name in beside})
    return gzip.compress(table.to_csv(index=False).encode(), mtime=0)


def daily_file(table: pd.DataFrame, sources: list[str] | None = None) -> bytes:
    """A year of days as the service publishes it: columns ``tmin``, ``tmax`` [degC] by day."""
    sources = sources if sources is not None else ["ghcnd"] * len(table)
    table = pd.DataFrame(
        {"year": table.index.year, "month": table.index.month, "day": table.index.day, "temp": 5.0,
         "temp_source": sources, "tmin": table["tmin"].to_numpy(), "tmin_source": sources,
         "tmax": table["tmax"].to_numpy(), "tmax_source": sources}
    )  # fmt: skip
    return gzip.compress(table.to_csv(index=False).encode(), mtime=0)


@dataclass
class Served:
    """What the server has, how it behaves, and what it was asked."""

    port: int = 0
    files: dict[str, bytes] = field(default_factory=dict)
    status: dict[str, int] = field(default_factory=dict)
    wait_s: float = 0.0
    waits: dict[str, list[float]] = field(default_factory=dict)  # of the next requests for a path
    asked: list[str] = field(default_factory=list)

    @property
    def home(self) -> str:
        return f"http://127.0.0.1:{self.port}"


@contextmanager
def serving(folder: Path) -> Iterator[Served]:
    """Serve on a free port of this computer, with the client's addresses set to it."""
    served = Served(files={"/stations.db": station_list(folder / "made.db")})

    class Handler(http.server.BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            served.asked.append(self.path)
            waits = served.waits.get(self.path)
            time.sleep(waits.pop(0) if waits else served.wait_s)
            status = served.status.get(self.path, 200 if self.path in served.files else 404)
            body = served.files.get(self.path, b"") if status == 200 else b"nothing"
            try:
                self.send_response(status)
                self.send_header("Content-Length", str(len(body)))
                self.end_headers()
                self.wfile.write(body)
            except (BrokenPipeError, ConnectionResetError):
                pass  # whoever asked has hung up

        def log_message(self, *_: object) -> None:
            """Say nothing on stderr."""

    server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    server.daemon_threads = True
    served.port = server.server_address[1]
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.02}, daemon=True)
    thread.start()
    try:
        with pointed_at(served.home):
            yield served
    finally:
        server.shutdown()
        server.server_close()
        thread.join(5)


@contextmanager
def pointed_at(home: str) -> Iterator[None]:
    """Point the client's addresses at a host; those of the years are bound when its modules are imported."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(meteostat.config, "stations_db_endpoints", [f"{home}/stations.db"])
        for module, kind in (
            (meteostat.providers.meteostat.hourly, "hourly"),
            (meteostat.providers.meteostat.daily, "daily"),
        ):
            patch.setattr(module, "ENDPOINT", f"{home}/{kind}/{{year}}/{{station}}.csv.gz")
        yield
