"""Cards to hand over with a plant: half a page per selection, the figure that the evidence carries, and its limits.

In: the gathered answers. Out: cards as plain texts, and a PDF of them. A selection that was never tested, or that
nothing came through of, gets a card without a figure that says so.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any

import pandas as pd

from hardiness import words
from hardiness.errors import InputError, NothingYetError, Problem, near_name
from hardiness.figures.half_zones import half_zone_of, half_zones
from hardiness.report.gathered import Gathered
from hardiness.report.printable import NOTE, Printable, numbered_names
from hardiness.report.selections import cell_sentences
from hardiness.report.typesetting import PAPERS, typeset
from hardiness.sentences import FLOOR_CAUTION
from hardiness.units import to_fahrenheit

MOST_FIGURES = 3  # rootstocks with a figure of their own on half a page
LONGEST = 60  # characters of a note on a card


@dataclass(frozen=True, slots=True)
class Figure:
    """What one rootstock's plants carry.

    Parameters
    ----------
    stock : str
        ``on stock P``.
    celsius, fahrenheit : str
        The claimable floor in both units; empty where there is none.
    zone : str
        Its half-zone in words.
    instead : str
        Why there is no figure; empty where there is one.
    behind : str
        Plants, scores and winters behind it.
    came_through : str
        What they came through.
    never : str
        What was never tested.
    """

    stock: str
    celsius: str
    fahrenheit: str
    zone: str
    instead: str
    behind: str
    came_through: str
    never: str


@dataclass(frozen=True, slots=True)
class Card:
    """Half a page.

    Parameters
    ----------
    selection : str
    about : str
        Parents and role.
    figures : tuple of Figure
    also : str
        Rootstocks that found no room.
    """

    selection: str
    about: str
    figures: tuple[Figure, ...]
    also: str


def make_cards(gathered: Gathered, selections: Sequence[str] = (), rootstock: str | None = None) -> tuple[Card, ...]:
    """Write the cards of selections.

    Parameters
    ----------
    gathered : Gathered
    selections : sequence of str
        Which; all that have a plant unless told, hardiest first.
    rootstock : str, optional
        Only what stands on this one.

    Returns
    -------
    tuple of Card

    Raises
    ------
    InputError
        If a selection or the rootstock is not in the trial, or nothing stands on it.
    NothingYetError
        If no plant is registered.
    """
    floors = gathered.floors
    stocks = sorted(set(floors["rootstock"]))
    problems: list[Problem | str] = [
        Problem(f"selection '{name}'", "a selection of the trial", hint=near_name(name, gathered.order))
        for name in selections
        if name not in gathered.order
    ]
    if rootstock is not None and rootstock not in stocks:
        accepted = f"one of {', '.join(stocks)}" if stocks else "none: no plant is registered"
        problems.append(Problem(f"rootstock '{rootstock}'", accepted, hint=near_name(rootstock, stocks)))
    if problems:
        raise InputError(problems)
    if rootstock is not None:
        floors = floors[floors["rootstock"] == rootstock]
    standing = set(floors["selection"])
    chosen = list(dict.fromkeys(selections)) or [name for name in gathered.order if name in standing]
    if not chosen:
        before = "hardiness add selections FILE and hardiness add plants FILE come first."
        raise NothingYetError(f"There is no plant to write a card for, and none was written: {before}")
    return tuple(_card(gathered, name, floors[floors["selection"] == name]) for name in chosen)


def card_pdf(gathered: Gathered, cards: Sequence[Card], *, paper: str = "A4") -> bytes:
    """Set cards, two to a page.

    Parameters
    ----------
    gathered : Gathered
    cards : sequence of Card
    paper : str
        ``A4`` or ``letter``.

    Returns
    -------
    bytes
        A PDF.
    """
    write = Printable(numbered_names(gathered.flow.records))
    held = words.hours(gathered.settings.model_held_h)
    data: dict[str, Any] = {
        "cards": [_written(asdict(card), write) for card in cards],
        "title": write(f"{gathered.settings.name}: cards"),
        "trial": write(gathered.settings.name),
        "dated": f"records up to {gathered.dated.isoformat()}" if gathered.dated else "no records yet",
        "meaning": f"Claimable: the temperature, held for {held} in the open, that nine in ten of such plants come "
        "through alive, with 95 % confidence for freezes like those tested; never colder than what was tested.",
        "zones": "Half-zones: USDA Plant Hardiness Zone Map, 2023, the mean of a place's coldest night of each year, "
        "1991–2020, in steps of 5 °F. About every second year is colder than that mean: a half-zone named here says "
        "where the figure lies on that scale, not where the plant is safe.",
        "caution": FLOOR_CAUTION,
        "units": gathered.units,
        "paper": PAPERS[paper],
    }
    data["note"] = NOTE if write.changed else ""
    return typeset("card", data)


def _written(value: Any, write: Printable) -> Any:
    if isinstance(value, str):
        return write(value)
    if isinstance(value, dict):
        return {name: _written(part, write) for name, part in value.items()}
    return [_written(part, write) for part in value]


def zone_words(claimable_c: float) -> str:
    """Say in which half-zone a figure lies.

    Parameters
    ----------
    claimable_c : float
        [degC]

    Returns
    -------
    str

    Examples
    --------
    >>> zone_words(-8.0), zone_words(-60.0)
    ('in half-zone 8b (15 to 20 °F)', 'outside the half-zones')
    """
    name = half_zone_of(claimable_c)
    if not name:
        return "outside the half-zones"
    zone = next(zone for zone in half_zones() if zone.name == name)
    cold, warm = (words.number(to_fahrenheit(edge), 0) for edge in (zone.cold_c, zone.warm_c))
    return f"in half-zone {name} ({cold} to {warm} °F)"


def _card(gathered: Gathered, name: str, floors: pd.DataFrame) -> Card:
    ordered = floors.sort_values(["claimable_c", "rootstock"], na_position="last")
    shown, rest = ordered.head(MOST_FIGURES), ordered.iloc[MOST_FIGURES:]
    figures = tuple(_figure(gathered, name, cell) for cell in shown.to_dict("records"))
    others = [
        f"{words.on_stock(row['rootstock'])} "
        + (row["evidence"] if math.isnan(row["claimable_c"]) else _claim(float(row["claimable_c"]), gathered.units))
        for row in rest.to_dict("records")
    ]
    return Card(name, _about(gathered, name), figures, f"Also {words.listed(others)}." if others else "")


def _claim(claimable_c: float, units: str) -> str:
    return f"{words.claim_number(claimable_c, units)} °{units}"


def _about(gathered: Gathered, name: str) -> str:
    register = gathered.flow.records.selections
    found = register[register["selection"] == name]
    if found.empty:
        return ""
    row = found.iloc[0]
    parts = []
    if row["seed_parent"] or row["pollen_parent"]:
        parts.append(" × ".join(part or "unknown" for part in (row["seed_parent"], row["pollen_parent"])))
    if row["origin"] not in ("", "unknown"):
        parts.append(row["origin"])
    if row["role"] == "check":
        parts.append("check: its hardiness is known from elsewhere")
    return " · ".join(part if len(part) <= LONGEST else f"{part[: LONGEST - 1]}…" for part in parts)


def _figure(gathered: Gathered, name: str, cell: dict[Any, Any]) -> Figure:
    claim = float(cell["claimable_c"])
    has = not math.isnan(claim)
    instead = {
        "untested": "No figure: never tested.",
        "all died": "No figure: every plant that met a freeze was lost.",
    }.get(cell["evidence"], "")
    sentence = cell_sentences(gathered, name, cell["rootstock"])[0].partition(": ")[2]
    return Figure(
        stock=words.on_stock(cell["rootstock"]),
        celsius=_claim(claim, "C") if has else "",
        fahrenheit=_claim(claim, "F") if has else "",
        zone=zone_words(claim) if has else "",
        instead=instead,
        behind=_behind(gathered, name, cell),
        came_through=f"{sentence[0].upper()}{sentence[1:]}",
        never=_never(gathered, name, cell),
    )


def _rows_of(gathered: Gathered, name: str, rootstock: str) -> pd.DataFrame:
    tested = gathered.tested
    return tested[(tested["selection"] == name) & (tested["rootstock"] == rootstock)]


def _behind(gathered: Gathered, name: str, cell: dict[Any, Any]) -> str:
    rows = _rows_of(gathered, name, cell["rootstock"])
    if rows.empty:
        return ""
    winters = sorted(set(rows["winter"]))
    span = winters[0] if len(winters) == 1 else f"{winters[0]} to {winters[-1]}"
    lost = int(cell["killed"])
    return (
        f"{words.count(int(cell['plants']), 'plant')}, {words.count(int(cell['scores']), 'score')} in "
        f"{words.count(len(winters), 'winter')} ({span}), {lost or 'none'} lost."
    )


def _never(gathered: Gathered, name: str, cell: dict[Any, Any]) -> str:
    rows = _rows_of(gathered, name, cell["rootstock"])
    if rows.empty:
        return ""
    colder = words.temperature(float(cell["tested_to_c"]), gathered.units)
    freezes = gathered.flow.freezes
    starts = freezes.loc[freezes["freeze"].isin(rows["freeze"]), "starts"].dt.tz_convert(gathered.settings.zone)
    south = gathered.settings.latitude is not None and gathered.settings.latitude < 0
    # The season turns with the year in the south, in July in the north.
    days = sorted(starts.dt.date, key=lambda day: ((day.month - (1 if south else 7)) % 12, day.day))
    first, last = words.day(days[0]), words.day(days[-1])
    season = f"before {first} or after {last}" if first != last else f"on any other day of the year than {first}"
    if cell["evidence"] == "all died":
        return f"Never tested in a milder freeze, nor {season}."
    return f"Never tested colder than {colder}, nor {season}."
