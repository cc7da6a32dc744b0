"""The tables that come in: selections, plants, sensors, scores, notes on freezes, masks and calibrations of sensors."""

from __future__ import annotations

from hardiness.schema.columns import Column, Table

OWN_ROOTS = "own"
ALL_STOCKS = "all"  # what tables of answers call the mean over rootstocks; no rootstock is called so
PROTECTIONS = ("no", "cover", "bank", "sprinkler", "heater", "indoors", "snow", "other")

SELECTIONS = Table(
    "selections",
    (
        Column("selection", "one genotype under test", required=True),
        Column("seed_parent", "the mother: a selection, or a name from outside the trial"),
        Column("pollen_parent", "the father"),
        Column("origin", "how it arose", "choice", choices=("seedling", "clone", "sport", "unknown")),
        Column("role", "candidate, or check: one whose hardiness is known", "choice", choices=("candidate", "check")),
        Column("claimed_floor", "hearsay: a number with a unit, '-12 C'", "temperature"),
        Column("claim_source", "who says so"),
        Column("notes", "anything else"),
    ),
    ("selection",),
)
PLANTS = Table(
    "plants",
    (
        Column("plant", "one individual", required=True),
        Column("selection", "its genotype", required=True),
        Column("rootstock", "what it is grafted on; own = on its own roots", required=True),
        Column("block", "where: the block"),
        Column("row", "where: the row"),
        Column("place", "where: the place in the row"),
        Column("sensor", "sensors that speak for it, ';' between, best first"),
        Column("grafted_on", "date of grafting", "date"),
        Column("planted_on", "date set out", "date"),
        Column("removed_on", "date taken out", "date"),
        Column("lost_to", "why it was lost", "choice", choices=("cold", "other", "unknown")),
        Column("grown_in", "ground or container", "choice", choices=("ground", "container")),
        Column("copy_of", "the original seedling it was taken from"),
        Column("notes", "anything else"),
    ),
    ("plant",),
)
SENSORS = Table(
    "sensors",
    (
        Column("sensor", "a logger beside the plants, or a public station", required=True),
        Column("kind", "logger or station", "choice", choices=("logger", "station")),
        Column("block", "the block it hangs in"),
        Column("latitude", "north is positive", "number", "degree"),
        Column("longitude", "east is positive", "number", "degree"),
        Column("elevation_m", "height of the ground above the sea", "number", "m"),
        Column("height_m", "height of the sensor above the ground", "number", "m"),
        Column("shielded", "in a radiation shield; empty is yes", "choice", choices=("yes", "no")),
        Column("accuracy_c", "one standard deviation of its bias", "number", "K"),
        Column("offset_c", "added to its readings when they are read", "number", "K"),
        Column("notes", "anything else"),
    ),
    ("sensor",),
)
SCORES = Table(
    "scores",
    (
        Column("plant", "the plant scored", required=True),
        Column("scored_on", "the date", "date", required=True),
        Column("grade", "the state the plant is in", "grade", required=True),
        Column("protected", "what stood between plant and air in the coldest freeze", "choice", choices=PROTECTIONS),
        Column("observer", "who scored"),
        Column("notes", "anything else"),
    ),
    ("plant", "scored_on", "observer"),
)
FREEZE_NOTES = Table(
    "freeze_notes",
    (
        Column("from", "first date", "date", required=True),
        Column("to", "last date", "date", required=True),
        Column("block", "the block it is about; empty: the whole site"),
        Column("note", "what happened"),
        Column("set_aside", "yes: not a real freeze at the plants", "choice", choices=("yes", "no")),
    ),
    ("from", "to", "block"),
)
MASKS = Table(
    "masks",
    (
        Column("sensor", "whose readings", required=True),
        Column("from", "first time, in the trial's zone or with its offset; kept in UTC", "time", required=True),
        Column("to", "last time, itself included", "time", required=True),
        Column("verdict", "mask: they count nowhere; keep: looked at, and sound", "choice", required=True,
               choices=("mask", "keep")),
        Column("reason", "why", required=True),
        Column("notes", "anything else"),
    ),
    ("sensor", "from", "to"),
)  # fmt: skip
CALIBRATIONS = Table(
    "calibrations",
    (
        Column("sensor", "whose readings", required=True),
        Column("from", "first date, in the trial's zone, on which it holds; until the sensor's next one", "date",
               required=True),
        Column("offset_c", "added to its readings from that date on, in place of the sensor's own offset_c", "number",
               "K", required=True),
        Column("notes", "how it was found"),
    ),
    ("sensor", "from"),
)  # fmt: skip
RECORD_TABLES = {
    table.name: table for table in (SELECTIONS, PLANTS, SENSORS, SCORES, FREEZE_NOTES, MASKS, CALIBRATIONS)
}
