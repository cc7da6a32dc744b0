"""A small hillside trial, written out, and a browser's side of its web pages."""

import re
import time
from dataclasses import dataclass
from html import unescape
from pathlib import Path

import numpy as np
import pandas as pd
from fastapi.testclient import TestClient

from hardiness.settings import Settings
from hardiness.trial import new_trial

ADDRESS = "http://127.0.0.1:8017"
HERE = ("127.0.0.1", 50_000)
PASSPHRASE = "four quiet winter nights"
SELECTIONS = (
    "selection,role,claimed_floor,claim_source\nOL-01,candidate,-12 C,a neighbour\nOL-02,candidate,,\nCK-A,check,,\n"
)
SENSORS = "sensor,kind,block,shielded\nL1,logger,east,yes\n"
PLANTS = "plant,selection,rootstock,block,row,place,planted_on\n" + "".join(
    f"T{number:02},{selection},{stock},east,1,{number},2029-04-01\n"
    for number, (selection, stock) in enumerate(
        [(selection, stock) for selection in ("OL-01", "OL-02", "CK-A") for stock in ("own", "P2") for _ in range(2)], 1
    )
)
# What each plant showed after the freezes of -5, -8 and -11 degC: OL-01 is the hardiest, OL-02 the most tender.
GRADES = {"OL-01": (0, 1, 3), "OL-02": (1, 5, 5), "CK-A": (0, 2, 5)}
NIGHTS = (("2030-01-10", -5.0), ("2030-12-20", -8.0), ("2032-01-15", -11.0))
SCORED = ("2030-02-20", "2031-02-20", "2032-02-25")


def readings_text(nights: tuple[tuple[str, float], ...] = NIGHTS) -> str:
    """Half-hourly readings of the days around each freezing night: a dip of 8 hours to its coldest."""
    lines = ["Time,Air C"]
    for night, coldest in nights:
        times = pd.date_range(pd.Timestamp(night) - pd.Timedelta("1D"), periods=3 * 48, freq="30min")
        hours = (times - pd.Timestamp(night)) / pd.Timedelta("1h")
        air = 6.0 - (6.0 - coldest) * np.exp(-(((hours - 5.0) / 4.0) ** 2))
        lines += [f"{at:%Y-%m-%d %H:%M},{value:.2f}" for at, value in zip(times, air, strict=True)]
    return "\n".join(lines) + "\n"


def scores_text() -> str:
    lines = ["plant,scored_on,grade,observer"]
    for row in PLANTS.splitlines()[1:]:
        plant, selection, *_ = row.split(",")
        dead = False
        for day, grade in zip(SCORED, GRADES[selection], strict=True):
            if not dead:
                lines.append(f"{plant},{day},{grade},A")
            dead = grade == 5
    return "\n".join(lines) + "\n"


def make_hill(folder: Path, store_url: str | None = None) -> None:
    """Make the trial, its files beside it."""
    settings = Settings("Hill & dale", "Europe/Lisbon", latitude=41.2, longitude=-7.5, store_url=store_url)

    def written(name: str, text: str) -> Path:
        path = folder.parent / name
        path.write_text(text, encoding="utf-8")
        return path

    with new_trial(folder, settings) as trial:
        for table, text in (("selections", SELECTIONS), ("plants", PLANTS), ("sensors", SENSORS)):
            trial.add_table(table, written(f"{table}.csv", text))
        trial.add_readings(written("L1_2030.csv", readings_text()), "L1")
        trial.add_table("scores", written("scores.csv", scores_text()))


@dataclass
class Browser:
    """A browser's side: it follows links, keeps cookies, waits for answers and brings the form's token."""

    client: TestClient

    def get(self, path: str, **options: object):
        for _ in range(600):
            answer = self.client.get(path, **options)
            if 'hx-trigger="load delay' not in answer.text:
                return answer
            time.sleep(0.05)
        raise AssertionError(f"{path} is never done")

    def page(self, path: str) -> str:
        answer = self.get(path)
        assert answer.status_code == 200, answer.text
        return answer.text

    def words(self, path: str) -> str:
        return words_of(self.page(path))

    @property
    def token(self) -> str:
        return token_in(self.client.get("/sign-in").text) or token_in(self.client.get("/accounts").text)

    def post(self, path: str, data: dict | None = None, **options: object):
        return self.client.post(path, data={"token": self.token, **(data or {})}, **options)

    def sign_in(self, name: str, passphrase: str = PASSPHRASE):
        return self.post("/sign-in", {"name": name, "passphrase": passphrase})


def token_in(text: str) -> str:
    found = re.search(r'name="token" value="([0-9a-f]{64})"', text)
    return found[1] if found else ""


def words_of(text: str) -> str:
    """What a page says, without its tags."""
    body = re.sub(r"(?s)<(script|style|head).*?</\1>", " ", text)
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", body)).split())
