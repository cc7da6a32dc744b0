"""Air temperature on an invented hillside: three blocks down a slope and a station 9 km off, four winters.

Out: true temperatures every 30 minutes, before any sensor touched them. A winter is a seasonal mean, a slow synoptic
wander, a daily cycle that is wide under clear skies, and the cold spells listed in WINTERS, each made exactly as deep
as it says. On clear calm nights cold air drains into the lower block and the upper one stays a little warmer.
"""

from __future__ import annotations

import datetime
import zlib
from dataclasses import dataclass

import numpy as np

SEED = 20261
STEP_MIN = 30
PLACES = ("upper", "middle", "lower", "station")

SUNRISE_H, WARMEST_H = 7.5, 15.0  # in winter at this longitude [h UTC]
DRAINAGE_C = 2.9  # lower block below the middle one on a clear calm night [K]
WARM_BELT_C = 0.9  # upper block above the middle one on such a night [K]
STATION_LAPSE_C = 1.1  # station below the middle block in moving air: it stands higher [K]
BACKGROUND_FLOOR_C = 1.2  # outside the listed spells the middle block goes about this far below 0 [K]


@dataclass(frozen=True)
class Spell:
    """One cold spell: when it is coldest, how cold the middle block gets, for how many days, and how clear it is."""

    peak: datetime.date
    minimum_c: float
    days: float
    clear: float


WINTERS = {
    "2022-23": (
        Spell(datetime.date(2022, 12, 11), -4.6, 2.0, 0.6),
        Spell(datetime.date(2023, 1, 20), -6.4, 3.0, 0.9),
        Spell(datetime.date(2023, 2, 26), -3.2, 1.0, 0.8),
    ),
    "2023-24": (Spell(datetime.date(2024, 1, 9), -2.6, 1.0, 0.9),),
    "2024-25": (
        Spell(datetime.date(2024, 12, 15), -5.2, 2.0, 0.8),
        Spell(datetime.date(2025, 1, 16), -9.7, 3.5, 0.95),
        Spell(datetime.date(2025, 2, 21), -5.6, 2.0, 0.5),
    ),
    "2025-26": (
        Spell(datetime.date(2025, 11, 28), -3.6, 1.5, 0.9),
        Spell(datetime.date(2026, 1, 8), -7.7, 2.5, 0.9),
        Spell(datetime.date(2026, 2, 13), -8.6, 2.0, 0.15),
    ),
}


@dataclass(frozen=True)
class Hillside:
    """One winter: instants in UTC, the true temperature of each place [degC], and how calm and clear each night is."""

    times: np.ndarray
    temperature_c: dict[str, np.ndarray]
    calm_night: np.ndarray


def rng_of(*purpose: str) -> np.random.Generator:
    """Give each purpose random numbers of its own, so that a change in one leaves the others alone."""
    return np.random.default_rng([SEED, *(zlib.crc32(word.encode()) for word in purpose)])


def hillside(winter: str) -> Hillside:
    """Make the weather of one winter, November to March."""
    rng = rng_of("weather", winter)
    first_year = int(winter[:4])
    times = np.arange(f"{first_year}-11-01", f"{first_year + 1}-04-01", STEP_MIN, dtype="datetime64[m]")
    hours = np.arange(times.size) * (STEP_MIN / 60.0)
    days = hours / 24.0

    spells = [(spell, _presence(days, times[0], spell)) for spell in WINTERS[winter]]
    clear = 1.0 / (1.0 + np.exp(-1.5 * _wander(rng, days, memory=0.5)))
    for spell, presence in spells:
        clear = clear + presence * (spell.clear - clear)
    calm_night = _night(hours % 24.0) * clear**1.5 * np.interp(days, np.arange(160), rng.uniform(0.75, 1.1, 160))

    season = 7.6 + 3.4 * np.cos(2 * np.pi * (days - 75.0) / 150.0 + np.pi)
    middle = season + 2.0 * _wander(rng, days, memory=0.75) + (1.4 + 4.6 * clear) * _daily_cycle(hours % 24.0)
    middle = middle + _flicker(rng, times.size)
    middle = np.where(middle < 1.0, 1.0 - (1.0 + BACKGROUND_FLOOR_C) * np.tanh((1.0 - middle) / 2.2), middle)
    for spell, presence in spells:
        middle = _deepen(middle, presence, spell.minimum_c)

    moving = 1.0 - np.minimum(clear, 1.0)
    station_night = np.interp(days, np.arange(160), rng.normal(0.0, 0.7, 160))
    return Hillside(
        times.astype("datetime64[ns]"),
        {
            "upper": middle + WARM_BELT_C * calm_night - 0.3 * moving + _flicker(rng, times.size),
            "middle": middle,
            "lower": middle - DRAINAGE_C * calm_night + _flicker(rng, times.size),
            "station": middle - STATION_LAPSE_C * (1.0 - calm_night) + station_night + _flicker(rng, times.size),
        },
        calm_night,
    )


def _presence(days: np.ndarray, first: np.datetime64, spell: Spell) -> np.ndarray:
    """How much of a spell is there: 1 through its days, with shoulders of a day and a half."""
    middle = (np.datetime64(spell.peak) - first.astype("datetime64[D]")).astype(float) + SUNRISE_H / 24.0
    outside = np.maximum(np.abs(days - middle) - spell.days / 2.0, 0.0)
    return np.where(outside < 1.5, 0.5 * (1.0 + np.cos(np.pi * outside / 1.5)), 0.0)


def _deepen(temperature_c: np.ndarray, presence: np.ndarray, minimum_c: float) -> np.ndarray:
    """Lower the temperature through a spell until its minimum is what was asked for."""
    inside = presence > 0.0
    depth = 0.0
    for _ in range(60):  # each pass removes what is missing at the coldest instant; the shoulders make it a few
        depth += (temperature_c - depth * presence)[inside].min() - minimum_c
    return temperature_c - depth * presence


def _wander(rng: np.random.Generator, days: np.ndarray, *, memory: float) -> np.ndarray:
    """A slow wander with standard deviation about 1: day-to-day autoregression, a straight line between days."""
    shocks = rng.standard_normal(170) * np.sqrt(1.0 - memory**2)
    daily = np.empty(170)
    daily[0] = rng.standard_normal()
    for day in range(1, 170):
        daily[day] = memory * daily[day - 1] + shocks[day]
    return np.interp(days, np.arange(170), daily)


def _flicker(rng: np.random.Generator, size: int) -> np.ndarray:
    """What a place does from one half hour to the next, standard deviation 0.2 K."""
    values = np.empty(size)
    value = 0.0
    for index, shock in enumerate(rng.normal(0.0, 0.2 * np.sqrt(1.0 - 0.7**2), size)):
        value = 0.7 * value + shock
        values[index] = value
    return values


def _daily_cycle(hour: np.ndarray) -> np.ndarray:
    """From -1 at sunrise up to 1 in the afternoon, and a long fall through the night."""
    since = (hour - SUNRISE_H) % 24.0
    rising = WARMEST_H - SUNRISE_H
    falling = np.clip((since - rising) / (24.0 - rising), 0.0, 1.0)
    return np.where(since < rising, -np.cos(np.pi * since / rising), np.cos(np.pi * falling**0.8))


def _night(hour: np.ndarray) -> np.ndarray:
    """0 by day, 1 from late evening to dawn, with ramps between."""
    return np.interp(hour, [0.0, 7.0, 9.5, 16.5, 22.0, 24.0], [1.0, 1.0, 0.0, 0.0, 1.0, 1.0])
