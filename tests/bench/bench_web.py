"""The first page of a trial of 2,000 plants: how long a grower waits, with nothing worked out yet and afterwards.

Run ``python -m tests.bench.bench_web [--plants 2000] [--loggers 0]``. A trial is made in a temporary folder, its server
is opened as ``hardiness serve`` opens it, and pages are asked for; the exit code is 1 where the first page takes longer
than 1 s. Besides its one logger it can have others with ten years of readings, every 5 minutes: from 20 loggers on
their readings are more than are held in memory.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import pandas as pd
from fastapi.testclient import TestClient

from hardiness.settings import Settings
from hardiness.trial import new_trial, open_trial
from hardiness.web.app import create_app
from tests.bench.bench_network import make_network

FIRST_PAGE_S = 1.0
WINTERS = 3
SELECTIONS = 300
NETWORK_YEARS = 10  # of each further logger
ADDRESS, HERE = "http://127.0.0.1:8017", ("127.0.0.1", 50_000)


def make_trial(folder: Path, plants: int, loggers: int) -> int:
    """A trial with a score of every plant after each of three winters; says how many scores."""
    rng = np.random.default_rng(7)
    names = [f"OL-{number:03}" for number in range(1, SELECTIONS + 1)]
    register = pd.DataFrame({
        "plant": [f"T{number:05}" for number in range(1, plants + 1)],
        "selection": rng.choice(names, plants),
        "rootstock": rng.choice(["own", "P2", "V7"], plants),
        "block": "east",
        "row": np.arange(plants) // 50 + 1,
        "place": np.arange(plants) % 50 + 1,
        "planted_on": "2028-04-01",
        "sensor": "L1",
    })  # fmt: skip
    effect = dict(zip(names, rng.normal(0, 1.5, SELECTIONS), strict=True))
    nights = [(f"{2030 + winter}-01-10", cold) for winter, cold in enumerate((-5.0, -7.5, -10.0)[:WINTERS])]
    dead: set[str] = set()
    scores = []
    for night, cold in nights:
        for plant, selection in zip(register["plant"], register["selection"], strict=True):
            if plant not in dead:
                grade = int(np.clip(np.round((-3.0 + effect[selection] - cold) * 0.8 + rng.normal(0, 0.8)), 0, 5))
                scores.append((plant, f"{night[:4]}-02-20", grade, "A"))
                dead |= {plant} if grade == 5 else set()
    lines = ["Time,Air C"]
    for night, cold in nights:
        times = pd.date_range(pd.Timestamp(night) - pd.Timedelta("60D"), periods=120 * 24, freq="1h")
        hours = (times - pd.Timestamp(night)) / pd.Timedelta("1h")
        air = 6.0 - (6.0 - cold) * np.exp(-(((np.asarray(hours) - 5.0) / 4.0) ** 2))
        lines += [f"{at:%Y-%m-%d %H:%M},{value:.2f}" for at, value in zip(times, air, strict=True)]
    beside = folder.parent
    pd.DataFrame({"selection": names}).to_csv(beside / "selections.csv", index=False)
    register.to_csv(beside / "plants.csv", index=False)
    columns = ["plant", "scored_on", "grade", "observer"]
    pd.DataFrame(scores, columns=columns).to_csv(beside / "scores.csv", index=False)
    (beside / "L1.csv").write_text("\n".join(lines), encoding="utf-8")
    if loggers:
        make_network(folder, loggers, NETWORK_YEARS)
    with open_trial(folder) if loggers else new_trial(folder, Settings("Bench", "UTC", latitude=41.2)) as trial:
        trial.add_table("selections", beside / "selections.csv")
        trial.add_table("plants", beside / "plants.csv")
        trial.add_readings(beside / "L1.csv", "L1")
        trial.add_table("scores", beside / "scores.csv")
    return len(scores)


def asked(client: TestClient, path: str) -> float:
    """Seconds from asking to the whole answer."""
    begun = time.perf_counter()
    answer = client.get(path)
    seconds = time.perf_counter() - begun
    if answer.status_code != 200:
        raise RuntimeError(f"{path}: {answer.status_code}")
    return seconds


def main() -> int:
    """Make, ask, print."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--plants", type=int, default=2_000)
    parser.add_argument("--loggers", type=int, default=0)
    given = parser.parse_args()
    plants = given.plants
    with tempfile.TemporaryDirectory() as beside:
        folder = Path(beside) / "trial"
        scores = make_trial(folder, plants, given.loggers)
        print(f"{plants} plants of {SELECTIONS} selections, {scores} scores of {WINTERS} winters")
        with TestClient(create_app(folder), base_url=ADDRESS, client=HERE) as client:
            first = asked(client, "/")
            print(f"first page, nothing worked out yet: {first:.2f} s")
            begun = time.perf_counter()
            while 'hx-trigger="load delay' in client.get("/").text:
                time.sleep(0.1)
            print(f"until it is complete but for the floors: {time.perf_counter() - begun:.1f} s")
            print(f"first page again: {min(asked(client, '/') for _ in range(3)):.2f} s")
            for path in ("/register", "/register?table=scores", "/register/plants/T00001", "/freezes", "/readings"):
                print(f"{path}: {min(asked(client, path) for _ in range(3)):.2f} s")
    return 0 if first <= FIRST_PAGE_S else 1


if __name__ == "__main__":
    sys.exit(main())
