"""What a trial is set to: its place, its damage scale, the rules for freezes, and what stands where nothing is said.

``trial.toml`` holds them: :mod:`hardiness.settings_reading` reads it, :mod:`hardiness.settings_writing` writes it.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from zoneinfo import ZoneInfo

from hardiness.computing import Compute
from hardiness.effects import ModelTerms
from hardiness.units import Temperature, parse_temperature

SETTINGS_FILE = "trial.toml"
# Our own words. Graded by wood from 2 up, so that a plant without leaves can be scored.
GRADES = (
    "unharmed",
    "leaves marked or shed, wood sound",
    "shoot tips killed",
    "last summer's wood killed",
    "main limbs killed",
    "dead down to the graft",
)
ALWAYS, OVERLAP, NEVER = TRANSFERS = ("always", "overlap", "never")  # when silent loggers are estimated from others
SPAN_C = 6.0  # [K] from the first grade to the last, as the trade knows it
THRESHOLDS = {
    "C": ("0 C", "-2 C", "-4 C", "-6 C", "-8 C", "-10 C"),
    "F": ("32 F", "28 F", "24 F", "20 F", "16 F", "12 F"),
}


@dataclass(frozen=True, slots=True)
class FreezeRules:
    """What counts as a freeze, and how it is measured.

    Parameters
    ----------
    onset_c : float
        A freeze begins at or below it. [degC]
    thaw_h : float
        Hours on end above onset that end a freeze. [h]
    damaging_c : float
        A freeze is listed when its minimum is at or below it. [degC]
    thresholds : tuple of Temperature
        Hours at or below each are measured.
    held_h : tuple of float
        Held durations. [h]
    max_gap_h : float, optional
        A gap longer than this is not bridged; None: three usual intervals, at least 90 min. [h]
    """

    onset_c: float = 0.0
    thaw_h: float = 12.0
    damaging_c: float = -2.0
    thresholds: tuple[Temperature, ...] = tuple(parse_temperature(text) for text in THRESHOLDS["C"])
    held_h: tuple[float, ...] = (1.0, 2.0, 4.0)
    max_gap_h: float | None = None


@dataclass(frozen=True, slots=True)
class Settings:
    """The settings of one trial.

    Parameters
    ----------
    name : str
        The trial's name.
    timezone : str
        IANA zone.
    latitude, longitude : float, optional
        Place. [degree]
    elevation_m : float, optional
        Height above the sea. [m]
    units : str
        ``"C"`` or ``"F"``, for display and for readings that name no unit.
    grades : tuple of str
        The damage scale, unharmed first, dead last.
    span_c : float
        Distance that the trade expects from the first grade to the last. [K]
    rules : FreezeRules
        What counts as a freeze.
    settle_days : float
        A score sooner than this after a freeze is early. [day]
    model_held_h : float
        The held duration that the model uses. [h]
    store_url : str, optional
        Where the records are; None: SQLite in ``trial.db``.
    model : ModelTerms
        What the model takes into account.
    transfer : str
        When a silent logger is estimated from other sensors: ``overlap`` (where enough nights are common), ``always``,
        ``never``.
    compute : Compute
        Who works a large trial out.
    """

    name: str
    timezone: str
    latitude: float | None = None
    longitude: float | None = None
    elevation_m: float | None = None
    units: str = "C"
    grades: tuple[str, ...] = GRADES
    span_c: float = SPAN_C
    rules: FreezeRules = field(default_factory=FreezeRules)
    settle_days: float = 7.0
    model_held_h: float = 1.0
    store_url: str | None = None
    model: ModelTerms = field(default_factory=ModelTerms)
    transfer: str = OVERLAP
    compute: Compute = field(default_factory=Compute)

    @property
    def zone(self) -> ZoneInfo:
        """The trial's time zone."""
        return ZoneInfo(self.timezone)

    @property
    def worst(self) -> int:
        """The last grade: the grafted selection is dead."""
        return len(self.grades) - 1
