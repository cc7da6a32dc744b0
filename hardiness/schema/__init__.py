"""Tables and columns of every object of the flow: the glossary made executable.

A column's name, kind, unit and meaning stand here once; readers, the store, the tables that come out, the command
line and DEVELOPERS.md all take them from here.
"""

from hardiness.schema.answers import (
    AGAINST_CHECKS,
    CLAIMS,
    COMPARE,
    DURATIONS,
    ESTIMATES,
    EXPOSED,
    FLOORS,
    LEFT_OUT,
    OBSERVATIONS,
    PLAIN,
    RANKS,
    ROOTSTOCKS,
    SECOND_LOOK,
)
from hardiness.schema.columns import (
    Column,
    Table,
    column_names,
)
from hardiness.schema.freezes import (
    freeze_columns,
    held_column,
    hours_column,
    measure_columns,
    number_text,
)
from hardiness.schema.questions import (
    CALIBRATION,
    CELL_FIT,
    CHECKS,
    FLAG_KINDS,
    FLAGS,
    GRADES_BY_EXPOSURE,
    INFLUENCE,
    SENSITIVITY,
    SPACING,
)
from hardiness.schema.registered import (
    CALIBRATIONS,
    FREEZE_NOTES,
    MASKS,
    OWN_ROOTS,
    PLANTS,
    PROTECTIONS,
    RECORD_TABLES,
    SCORES,
    SELECTIONS,
    SENSORS,
)
from hardiness.schema.sensing import (
    AIR,
    ANSWERING,
    APART,
    TRANSFERS,
)

__all__ = [
    "AGAINST_CHECKS",
    "AIR",
    "ANSWERING",
    "APART",
    "CALIBRATION",
    "CALIBRATIONS",
    "CELL_FIT",
    "CHECKS",
    "CLAIMS",
    "COMPARE",
    "DURATIONS",
    "ESTIMATES",
    "EXPOSED",
    "FLAGS",
    "FLAG_KINDS",
    "FLOORS",
    "FREEZE_NOTES",
    "GRADES_BY_EXPOSURE",
    "INFLUENCE",
    "LEFT_OUT",
    "MASKS",
    "OBSERVATIONS",
    "OWN_ROOTS",
    "PLAIN",
    "PLANTS",
    "PROTECTIONS",
    "RANKS",
    "RECORD_TABLES",
    "ROOTSTOCKS",
    "SCORES",
    "SECOND_LOOK",
    "SELECTIONS",
    "SENSITIVITY",
    "SENSORS",
    "SPACING",
    "TRANSFERS",
    "Column",
    "Table",
    "column_names",
    "freeze_columns",
    "held_column",
    "hours_column",
    "measure_columns",
    "number_text",
]
