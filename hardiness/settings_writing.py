"""Writing trial.toml: settings as text, with a word on each line that a grower may change."""

from __future__ import annotations

import tomlkit

from hardiness.computing import compute_section
from hardiness.effects import EFFECT, LEAVE_OUT, TERM_NAMES
from hardiness.settings import Settings


def to_toml(settings: Settings) -> str:
    """Write settings as the text of a trial.toml, with a word on each line a grower may change.

    Parameters
    ----------
    settings : Settings

    Returns
    -------
    str

    Examples
    --------
    >>> from hardiness.settings_reading import parse_settings
    >>> settings = Settings("Hill", "Europe/Lisbon", latitude=41.2)
    >>> parse_settings(to_toml(settings)) == settings
    True
    """
    document = tomlkit.document()
    document["name"] = settings.name
    document["timezone"] = settings.timezone
    for name in ("latitude", "longitude", "elevation_m"):
        if (value := getattr(settings, name)) is not None:
            document[name] = value
    document["units"] = settings.units
    document["units"].comment("C or F, for display")
    scale = tomlkit.table()
    scale["grades"] = tomlkit.array(list(settings.grades)).multiline(True)  # type: ignore[arg-type]
    scale["span_c"] = settings.span_c
    scale["span_c"].comment("degC from the first grade to the last, as far as the trade knows")
    document["scale"] = scale
    freeze = tomlkit.table()
    freeze["onset_c"] = settings.rules.onset_c
    freeze["thaw_h"] = settings.rules.thaw_h
    freeze["thaw_h"].comment("hours on end above onset that end a freeze")
    freeze["damaging_c"] = settings.rules.damaging_c
    freeze["damaging_c"].comment("a freeze is listed when its minimum is at or below this")
    freeze["settle_days"] = settings.settle_days
    freeze["settle_days"].comment("a score sooner than this after a freeze is early")
    freeze["thresholds"] = [str(threshold) for threshold in settings.rules.thresholds]
    freeze["held_h"] = list(settings.rules.held_h)
    freeze["model_held_h"] = settings.model_held_h
    document["freeze"] = freeze
    model = tomlkit.table()
    model.comment("each of these: 'effect', or 'leave out'")
    for name in TERM_NAMES:
        model[name] = EFFECT if getattr(settings.model, name) else LEAVE_OUT
    document["model"] = model
    transfer = tomlkit.table()
    transfer["estimate"] = settings.transfer
    transfer["estimate"].comment("estimate silent loggers from other sensors: overlap, always or never")
    document["transfer"] = transfer
    for section, given in (("store", {"url": settings.store_url}), ("compute", compute_section(settings.compute))):
        if chosen := {name: value for name, value in given.items() if value is not None}:
            document[section] = chosen
    return tomlkit.dumps(document)
