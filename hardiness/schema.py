"""Tables and columns of every object of the flow: the glossary made executable.

A column's name, kind, unit and meaning stand here once; readers, the store, the tables that come out, the command
line and DEVELOPERS.md all take them from here.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from hardiness.units import Temperature


@dataclass(frozen=True, slots=True)
class Column:
    """One column of a table.

    Parameters
    ----------
    name : str
        The name, the same everywhere.
    meaning : str
        What it says, in the words of the trial.
    kind : str
        ``text``, ``date``, ``time``, ``number``, ``integer``, ``choice``, ``temperature`` (a number with a unit),
        ``grade``, ``flag`` (true or false).
    unit : str, optional
        Unit of a number.
    required : bool
        Whether an input row must fill it.
    choices : tuple of str
        Accepted words of a ``choice``.
    """

    name: str
    meaning: str
    kind: str = "text"
    unit: str | None = None
    required: bool = False
    choices: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Table:
    """A named table: its columns and the ones that make its key."""

    name: str
    columns: tuple[Column, ...]
    key: tuple[str, ...]

    @property
    def names(self) -> tuple[str, ...]:
        """Column names in their order."""
        return tuple(column.name for column in self.columns)

    def __getitem__(self, name: str) -> Column:
        return next(column for column in self.columns if column.name == name)


OWN_ROOTS = "own"
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
RECORD_TABLES = {table.name: table for table in (SELECTIONS, PLANTS, SENSORS, SCORES, FREEZE_NOTES)}

# What comes out. The freezes' columns for thresholds and held durations depend on the trial's settings.
_FREEZE_NAMES = (
    Column("freeze", "unique name: local date of its start and the sensor"),
    Column("event", "freezes of several sensors that are one cold spell share it"),
    Column("winter", "2031-32: July to June north of the equator; 2031: the year south of it"),
    Column("sensor", "whose readings"),
    Column("source", "where the temperatures come from", "choice", choices=("logger", "station", "estimated")),
)
_FREEZE_SPAN = (
    Column("starts", "first crossing down of the onset temperature", "time"),
    Column("ends", "last crossing up", "time"),
    Column("minimum_c", "coldest reading", "number", "degC"),
    Column("duration_h", "ends - starts", "number", "h"),
)
_FREEZE_SHAPE = (
    Column("degree_hours_c_h", "degree hours below onset", "number", "K h"),
    Column("fall_rate_c_per_h", "largest fall over one hour", "number", "K/h"),
    Column("coverage", "share of the freeze that readings cover", "number", "1"),
    Column("sd_c", "standard deviation of the freeze's temperature at the plants", "number", "K"),
)


def number_text(value: float) -> str:
    """A number as column names write it: shortest decimals.

    Examples
    --------
    >>> number_text(2.0), number_text(0.5)
    ('2', '0.5')
    """
    return f"{value:g}"


def hours_column(threshold: Temperature) -> str:
    """Name the column of hours at or below a threshold: ``hours_le_-5_c``.

    Examples
    --------
    >>> from hardiness.units import parse_temperature
    >>> hours_column(parse_temperature("28 F"))
    'hours_le_28_f'
    """
    return f"hours_le_{threshold.label}"


def held_column(hours: float) -> str:
    """Name the column of the temperature held for a number of hours: ``held_1h_c``.

    Examples
    --------
    >>> held_column(1.0), held_column(0.5)
    ('held_1h_c', 'held_0.5h_c')
    """
    return f"held_{number_text(hours)}h_c"


def measure_columns(thresholds: Sequence[Temperature], held_h: Sequence[float]) -> tuple[Column, ...]:
    """List the columns of freezes from ``starts`` on, for these thresholds and held durations.

    Parameters
    ----------
    thresholds : sequence of Temperature
        As they were given.
    held_h : sequence of float
        Held durations. [h]

    Returns
    -------
    tuple of Column
    """
    hours = tuple(Column(hours_column(t), f"hours at or below {t}", "number", "h") for t in thresholds)
    held = tuple(
        Column(held_column(h), f"coldest temperature held for {number_text(h)} h in total", "number", "degC")
        for h in held_h
    )
    return _FREEZE_SPAN + hours + held + _FREEZE_SHAPE


def freeze_columns(thresholds: Sequence[Temperature], held_h: Sequence[float]) -> tuple[Column, ...]:
    """List all columns of the freezes table, for these thresholds and held durations.

    Parameters
    ----------
    thresholds : sequence of Temperature
        As they were given.
    held_h : sequence of float
        Held durations. [h]

    Returns
    -------
    tuple of Column
    """
    return _FREEZE_NAMES + measure_columns(thresholds, held_h)


EXPOSED = (
    Column("plant", "the plant that met the freeze"),
    Column("selection", "its genotype"),
    Column("rootstock", "what it stands on"),
)
OBSERVATIONS = (
    *EXPOSED,
    Column("freeze", "the coldest freeze of the scored window"),
    Column("event", "its event"),
    Column("sensor", "whose readings"),
    Column("winter", "its winter"),
    Column("exposure_c", "coldest held temperature of the window", "number", "degC"),
    Column("exposure_sd_c", "its standard deviation", "number", "K"),
    Column("sensor_sd_c", "the part of it that is the sensor's bias", "number", "K"),
    Column("grade", "state of the plant when the window closed", "integer"),
    Column("grade_low", "least damage this window can have done", "integer"),
    Column("near", "freezes of the window within 1 K of the coldest", "integer"),
    Column("protected", "what stood between plant and air; such rows are not fitted"),
    Column("scored_on", "date of the score that counts", "date"),
    Column("freezes", "freezes in the window", "integer"),
    Column("provisional", "scored early, with no later score yet", "flag"),
)
FLOORS = (
    Column("selection", "genotype"),
    Column("rootstock", "what it stands on"),
    Column("plants", "plants with a row", "integer"),
    Column("scores", "rows", "integer"),
    Column("killed", "plants lost at the grade asked for", "integer"),
    Column("coldest_survived_c", "coldest exposure that a plant came through", "number", "degC"),
    Column("warmest_fatal_c", "warmest exposure that lost a plant", "number", "degC"),
    Column("tested_to_c", "coldest exposure met with a score to show for it", "number", "degC"),
    Column("evidence", "bracketed, all survived, all died or untested", "choice",
           choices=("bracketed", "all survived", "all died", "untested")),
    Column("open_end", "the end of the interval that no plant bounds", "choice", choices=("cold", "warm", "none")),
    Column("rests_on", "what carries the figure", "choice", choices=("cell", "selection", "trial", "prior")),
    Column("floor_c", "tolerance floor: posterior median", "number", "degC"),
    Column("floor_low_c", "colder end of its interval", "number", "degC"),
    Column("floor_high_c", "warmer end of its interval", "number", "degC"),
    Column("claimable_c", "the figure the evidence carries", "number", "degC"),
)  # fmt: skip
CLAIMS = (
    Column("selection", "genotype"),
    Column("rootstock", "what it stands on"),
    Column("claimed_floor_c", "hearsay", "number", "degC"),
    Column("claim_source", "who says so"),
    Column("probability_holds", "that the 90 % floor is at or below the claim", "number", "1"),
    Column("probability_half_holds", "that the 50 % floor is at or below the claim", "number", "1"),
    Column("beyond_tested", "the claim is colder than tested to", "flag"),
    Column("floor_c", "tolerance floor: posterior median", "number", "degC"),
)
COMPARE = (
    Column("selection_a", "first of the pair, by name"),
    Column("selection_b", "second of the pair"),
    Column("rootstock", "the stock both stand on; all: mean over those both stand on"),
    Column("difference_c", "a - b, median; negative: a is hardier", "number", "K"),
    Column("low_c", "colder end of its interval", "number", "K"),
    Column("high_c", "warmer end", "number", "K"),
    Column("probability_a_hardier", "that the difference is negative", "number", "1"),
    Column("shared_winters", "winters in which both have a row", "integer"),
)
LEFT_OUT = (
    Column("what", "score, freeze or window"),
    Column("plant", "which plant"),
    Column("freeze", "which freeze or event, where one is meant"),
    Column("scored_on", "which score, where one is meant", "date"),
    Column("reason", "a short fixed phrase"),
    Column("detail", "the sentence a grower reads"),
)
SECOND_LOOK = (
    Column("plant", "which plant"),
    Column("scored_on", "date of the score", "date"),
    Column("reason", "a short fixed phrase"),
    Column("detail", "the sentence a grower reads"),
)


def column_names(columns: Sequence[Column]) -> list[str]:
    """Names of the columns, in their order.

    Examples
    --------
    >>> column_names(EXPOSED)
    ['plant', 'selection', 'rootstock']
    """
    return [column.name for column in columns]
