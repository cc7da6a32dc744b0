"""The register of the invented trial: selections, plants and where they stand, sensors, notes on freezes.

21 seedlings (OL-01 to OL-21) and three checks (CK-A, CK-B, CK-C) on three roots: their own, stock P2 and stock V7.
Every seedling stands once as the original; some were multiplied by grafting, a few by rooted cuttings.
"""

from __future__ import annotations

import datetime
from dataclasses import dataclass

import pandas as pd
from weather import rng_of

BLOCKS = ("upper", "middle", "lower")  # down the slope; cold air gathers in the lower one
ROOTSTOCKS = ("own", "P2", "V7")
CHECKS = ("CK-A", "CK-B", "CK-C")
SEEDLINGS = tuple(f"OL-{number:02d}" for number in range(1, 22))
COPIES_ON_P2 = {f"OL-{n:02d}": 2 for n in (1, 2, 3, 4, 5, 6, 7, 8, 10, 12, 14, 16)}
COPIES_ON_V7 = {f"OL-{n:02d}": m for n, m in ((1, 2), (3, 2), (5, 1), (6, 2), (9, 2), (11, 2), (12, 1), (15, 1))}
CUTTINGS = {f"OL-{n:02d}": m for n, m in ((2, 2), (4, 1), (9, 1), (10, 2), (13, 2), (17, 1))}
CHECK_PLANTS = {"own": 2, "P2": 3, "V7": 2}  # of each check
CONTAINERS = ("OL-18", "OL-19", "OL-20")  # one grafted copy each, still in a pot beside the middle block
LATE_DELIVERY = (("OL-13", "P2"), ("OL-13", "P2"), ("OL-17", "P2"))  # set out in a mild week of January
LATE_ON = datetime.date(2025, 1, 4)
NEWEST = (("OL-17", "V7"), ("OL-20", "V7"))  # set out after the last winter: not tested yet
NEWEST_ON = datetime.date(2026, 4, 18)
PLACES_PER_ROW = 8
PARENTS = {  # of those seedlings whose parents are known; "lot" names came with the seed
    "OL-01": ("CK-A", "CK-B"), "OL-02": ("CK-A", "CK-B"), "OL-03": ("CK-A", "CK-B"), "OL-04": ("CK-A", "tree by gate"),
    "OL-05": ("CK-B", ""), "OL-06": ("CK-B", ""), "OL-07": ("CK-B", "CK-C"), "OL-08": ("CK-B", "CK-C"),
    "OL-09": ("CK-C", "CK-A"), "OL-10": ("CK-C", "CK-A"), "OL-11": ("lot 14", ""), "OL-12": ("lot 14", ""),
    "OL-13": ("lot 14", ""), "OL-20": ("OL-16", ""),
}  # fmt: skip
CLAIMS = {  # hearsay, as it was heard
    "CK-A": ("-12 C", "list of a grower who parted with it"),
    "CK-B": ("-10 C", "grown here for 30 years"),
    "CK-C": ("20 F", "label on the pot"),
    "OL-02": ("-11 C", "the mother tree stood in a hollow"),
    "OL-06": ("14 F", "letter with the seed"),
    "OL-09": ("-9.5 C", "neighbour over the wall"),
    "OL-12": ("10 F", "letter with the seed"),
    "OL-17": ("-8 C", "survived once at the gate"),
}
SELECTION_NOTES = {
    "OL-04": "drops its leaves early, wood sound",
    "OL-11": "upright, narrow leaf",
    "OL-16": "fruit large; worth keeping if it stands the cold",
    "OL-20": "grey-leaved shoot found on OL-16",
}
SENSORS = (
    # sensor, kind, block, latitude, longitude, elevation_m, height_m, shielded, accuracy_c, offset_c, notes
    ("L-UP", "logger", "upper", 41.4312, -7.3521, 498, 1.5, "yes", 0.3, "", ""),
    ("L-MID", "logger", "middle", 41.4306, -7.3518, 483, 1.5, "no", 0.5, "", "hangs free under a wire, no shield"),
    ("L-LOW", "logger", "lower", 41.4299, -7.3514, 469, 1.5, "yes", 0.3, 0.2,
     "read -0.2 in ice water; clock kept at UTC all year"),
    ("ST-9", "station", "", 41.4680, -7.2560, 655, 2.0, "yes", 0.2, "", "9 km to the east, on the ridge"),
)  # fmt: skip
FREEZE_NOTES = (
    # from, to, block, note, set_aside
    ("2023-01-18", "2023-01-22", "", "clear and calm, thick rime in the lower rows", "no"),
    ("2024-02-06", "2024-02-07", "middle", "logger lay in the freezer to be checked, not on its wire", "yes"),
    ("2024-12-13", "2024-12-21", "upper", "battery of the logger dead", "no"),
    ("2026-02-11", "2026-02-14", "", "strong wind, no drainage; single plants were covered the evening before", "no"),
)


@dataclass
class Plant:
    """One individual; dates and losses are filled in as the winters pass."""

    plant: str
    selection: str
    rootstock: str
    block: str
    row: str
    place: str
    planted_on: datetime.date | None
    grafted_on: datetime.date | None = None
    copy_of: str = ""
    grown_in: str = "ground"
    sensor: str = ""
    removed_on: datetime.date | None = None
    lost_to: str = ""
    notes: str = ""
    date_lost: bool = False  # the register has no planting date; it stood there before the first winter
    died_on: pd.Timestamp | None = None  # the truth
    found_dead: bool = False  # what the grower knows

    def stands_on(self, day: datetime.date) -> bool:
        """Whether the plant stands in the trial on that day."""
        planted = self.planted_on is None or self.planted_on <= day
        return planted and (self.removed_on is None or day <= self.removed_on)


def first_plants() -> list[Plant]:
    """Set out the trial as it stood before the first winter."""
    rng = rng_of("register")
    kinds = [(name, "own", "original") for name in SEEDLINGS]
    for stock, copies in (("P2", COPIES_ON_P2), ("V7", COPIES_ON_V7), ("own", CUTTINGS)):
        kinds += [(name, stock, "copy") for name, count in copies.items() for _ in range(count)]
    kinds += [(check, stock, "check") for check in CHECKS for stock in ROOTSTOCKS for _ in range(CHECK_PLANTS[stock])]
    blocks = _blocks_for(kinds, rng.integers(3, size=len(SEEDLINGS) + len(CHECKS)).tolist())

    plants: list[Plant] = []
    filled = dict.fromkeys(BLOCKS, 0)
    for index in rng.permutation(len(kinds)):  # a random place within the block
        name, stock, kind = kinds[index]
        block = blocks[index]
        row, place = divmod(filled[block], PLACES_PER_ROW)
        filled[block] += 1
        plants.append(Plant("", name, stock, block, f"{block[0].upper()}{row + 1}", str(place + 1), None, notes=kind))
    plants.sort(key=lambda plant: (BLOCKS.index(plant.block), plant.row, int(plant.place)))
    for number, plant in enumerate(plants, start=1):
        plant.plant = f"T{number:03d}"
    originals = {plant.selection: plant.plant for plant in plants if plant.notes == "original"}
    for plant in plants:
        kind, plant.notes = plant.notes, ""
        if kind == "original":
            plant.planted_on = datetime.date(2020, 4, int(rng.integers(6, 28)))
        else:
            plant.planted_on = datetime.date(2022, 4, int(rng.integers(4, 28)))
        if plant.rootstock != "own":
            plant.grafted_on = datetime.date(2021, 2, int(rng.integers(8, 27)))
        if kind == "copy":
            plant.copy_of = originals[plant.selection]
    for plant in plants[4::31]:
        plant.date_lost = True
    for plant in plants[7::37]:
        plant.sensor = f"{_logger_of(plant.block)};ST-9"
    for number, name in enumerate(CONTAINERS, start=1):
        plants.append(
            Plant(f"P{number:02d}", name, "P2", "middle", "pots", str(number), datetime.date(2024, 10, 20),
                  datetime.date(2024, 3, 2), originals[name], "container", notes="in a 10 litre pot")
        )  # fmt: skip
    for planted_on, copies, prefix, note in (
        (LATE_ON, LATE_DELIVERY, "D", "late delivery"),
        (NEWEST_ON, NEWEST, "N", ""),
    ):
        for number, (name, stock) in enumerate(copies, start=1):
            grafted_on = datetime.date(planted_on.year - 1, 3, 9)
            place = ("middle", f"M{prefix}", str(number), planted_on, grafted_on)
            plants.append(Plant(f"{prefix}{number:02d}", name, stock, *place, originals[name], notes=note))
    return plants


def _logger_of(block: str) -> str:
    return {row[2]: row[0] for row in SENSORS}[block]


def _blocks_for(kinds: list[tuple[str, str, str]], starts: list[int]) -> list[str]:
    """Deal each selection's plants over the blocks in turn, so that none stands in one block only by bad luck."""
    turn = dict(zip((*SEEDLINGS, *CHECKS), starts, strict=True))
    blocks = []
    for name, _, _ in kinds:
        blocks.append(BLOCKS[turn[name] % 3])
        turn[name] += 1
    return blocks
