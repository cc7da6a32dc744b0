"""Freezes reckoned reading by reading from the rules' own sentences, with nothing of the package but its settings.

Plain loops over Python numbers: slow, and another way than the package's. What it gives is the freezes table.
"""

import datetime as dt
import math
import statistics
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any

import pandas as pd

from hardiness.schema import hours_column
from hardiness.settings import Settings

HOUR = 3_600_000_000_000  # [ns]
TIE_C, TIE_NS = 1e-6, 20
Readings = Mapping[int, float]  # [degC] by instant [ns]


@dataclass
class Span:
    """A freeze: its first and last cold reading, and where it starts and ends."""

    start: float
    start_cut: bool
    first: int
    last: int
    end: float = 0.0
    end_cut: bool = False


@dataclass
class Sensor:
    """A sensor: what it read, what was said of it, and by how much it errs."""

    readings: Readings
    offset_c: float = 0.0
    accuracy_c: float = 0.5
    shielded: bool = True
    masks: Sequence[tuple[int, int]] = ()
    offsets: Sequence[tuple[dt.date, float]] = ()
    times: list[int] = field(default_factory=list)
    degrees: list[float] = field(default_factory=list)
    bridged: list[bool] = field(default_factory=list)

    def count(self, settings: Settings) -> None:
        """Take masked readings out and put offsets in; decide which steps are bridged."""
        for time, degree in sorted(self.readings.items()):
            if math.isnan(degree) or any(first <= time <= last for first, last in self.masks):
                continue
            offset = self.offset_c
            for day, dated in sorted(self.offsets):
                midnight = pd.Timestamp(day).tz_localize(settings.zone, ambiguous=True, nonexistent="shift_forward")
                if time >= midnight.value:
                    offset = dated
            self.times.append(time)
            self.degrees.append(degree + offset)
        for step, (one, other) in enumerate(pairwise(self.times)):
            self.bridged.append(other - one <= 1.5 * HOUR or other - one <= self.max_gap(step))

    def max_gap(self, step: int) -> float:
        """Three usual intervals: the median of the steps within 15 days; at least 90 minutes."""
        times, reach = self.times, 15 * 24 * HOUR
        if len(times) < 2:
            return 1.5 * HOUR
        step = min(max(step, 0), len(times) - 2)
        lengths = [
            other - one for one, other in pairwise(times)
            if one >= times[step] - reach and other <= times[step + 1] + reach and other - one <= reach
        ]  # fmt: skip
        return max(1.5 * HOUR, 3 * statistics.median(lengths)) if lengths else 1.5 * HOUR


def crossing(sensor: Sensor, warm: int, cold: int, onset_c: float) -> float:
    above = sensor.degrees[warm] - onset_c
    below = onset_c - sensor.degrees[cold]
    share = above / (above + (0.0 if below <= TIE_C else below))
    return sensor.times[warm] + share * (sensor.times[cold] - sensor.times[warm])


def spans_of(sensor: Sensor, onset_c: float, thaw_h: float) -> list[Span]:
    """Walk along the readings with a thaw clock."""
    times, thaw = sensor.times, thaw_h * HOUR - TIE_NS
    cold = [degree <= onset_c + TIE_C for degree in sensor.degrees]
    found: list[Span] = []
    freeze = Span(times[0], True, 0, 0, times[0], True) if cold and cold[0] else None
    clock = 0.0  # since when it has been above onset
    for now in range(1, len(times)):
        before, gap = now - 1, times[now] - times[now - 1]
        known = sensor.bridged[before]
        if cold[before] and freeze is not None and not (known and cold[now]):
            up = crossing(sensor, now, before, onset_c) if known else times[before]
            freeze.end, freeze.end_cut = up, not known
            clock = up if known else times[now]
        if not known and gap > thaw_h * HOUR and (cold[before] or cold[now]) and freeze is not None:
            found.append(freeze)
            freeze = None
        if cold[now]:
            down: float = times[now]
            if known and not cold[before]:
                down = crossing(sensor, before, now, onset_c)
            warm_until = down if known else times[before]
            if freeze is not None and not cold[before] and warm_until - clock >= thaw:
                found.append(freeze)
                freeze = None
            freeze = freeze or Span(down, not known, now, now)
            freeze.last, freeze.end, freeze.end_cut = now, times[now], True
        elif freeze is not None and times[now] - clock >= thaw:
            found.append(freeze)
            freeze = None
    return [*found, freeze] if freeze is not None else found


def stretches(sensor: Sensor, span: Span, onset_c: float) -> list[tuple[float, float, float, float] | None]:
    """The line inside a freeze: begin [h], end [h], and the temperature at each; None is a gap."""
    inside = range(span.first, span.last + 1)
    line: list[tuple[float, float, bool]] = [(sensor.times[i], sensor.degrees[i], False) for i in inside]
    line = [(t, onset_c if abs(x - onset_c) <= TIE_C else x, gap) for t, x, gap in line]
    for place, i in enumerate(range(span.first, span.last)):
        line[place] = (*line[place][:2], not sensor.bridged[i])
    line = [*([] if span.start_cut else [(span.start, onset_c, False)]), *line]
    line += [] if span.end_cut else [(span.end, onset_c, False)]
    return [None if gap else (t / HOUR, u / HOUR, x, y) for (t, x, gap), (u, y, _) in pairwise(line)]


def hours_at_or_below(parts: Sequence[Any], threshold_c: float, tie_c: float = TIE_C) -> float:
    total = 0.0
    for begin, end, one, other in filter(None, parts):
        low, high = (threshold_c if abs(x - threshold_c) <= tie_c else x for x in sorted((one, other)))
        if high <= threshold_c:
            total += end - begin
        elif low < threshold_c:
            total += (end - begin) * (threshold_c - low) / (high - low)
    return total


def held(parts: Sequence[Any], hours: float) -> float:
    """By halving: the coldest temperature at or below which the line lies for so long in all."""
    known = [part for part in parts if part is not None]
    if sum(end - begin for begin, end, *_ in known) < hours - 1e-7:
        return math.nan
    low, high = min(min(part[2:]) for part in known) - 1e-6, max(max(part[2:]) for part in known) + 1e-6
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (low, middle) if hours_at_or_below(known, middle, 1e-12) >= hours - 1e-8 else (middle, high)
    return high


def degree_hours(parts: Sequence[Any], onset_c: float) -> float:
    total = 0.0
    for begin, end, *ends in filter(None, parts):
        deep, shallow = (onset_c - x for x in sorted(ends))
        if shallow >= 0:
            total += (end - begin) * (deep + shallow) / 2
        elif deep > 0:
            total += (end - begin) * deep * deep / (2 * (deep - shallow))
    return total


def freezes_of_sensor(name: str, sensor: Sensor, settings: Settings) -> list[dict[str, Any]]:
    sensor.count(settings)
    rules, rows = settings.rules, []
    for span in spans_of(sensor, rules.onset_c, rules.thaw_h):
        minimum = min(sensor.degrees[span.first : span.last + 1])
        if minimum > rules.damaging_c + TIE_C:
            continue
        parts = stretches(sensor, span, rules.onset_c)
        bridged = sum(part[1] - part[0] for part in parts if part is not None)
        unseen = (sensor.max_gap(span.first - 1) if span.start_cut else 0.0) + (
            sensor.max_gap(span.last) if span.end_cut else 0.0
        )
        whole = (span.end - span.start + unseen) / HOUR
        coverage = bridged / whole if whole > 0 else 1.0
        rows.append(
            {
                "sensor": name, "starts": span.start, "ends": span.end, "minimum_c": minimum,
                "duration_h": (span.end - span.start) / HOUR, "coverage": coverage,
                "degree_hours_c_h": degree_hours(parts, rules.onset_c),
                "sd_c": math.hypot(sensor.accuracy_c, 0.0 if sensor.shielded else 1.0, 2 * (1 - coverage)),
                **{hours_column(t): hours_at_or_below(parts, t.celsius) for t in rules.thresholds},
                **{f"held_{h:g}h_c": held(parts, h) for h in rules.held_h},
            }
        )  # fmt: skip
    return rows


def freezes_of_trial(sensors: Mapping[str, Sensor], settings: Settings) -> pd.DataFrame:
    """The freezes table, with its names, events and winters."""
    rows = [row for name, sensor in sensors.items() for row in freezes_of_sensor(name, sensor, settings)]
    rows.sort(key=lambda row: (round(row["starts"]), row["sensor"]))
    named, events, reached = Counter[str](), Counter[str](), -math.inf
    south = settings.latitude is not None and settings.latitude < 0
    for row in rows:
        local = pd.Timestamp(round(row["starts"]), tz="UTC").tz_convert(settings.zone)
        day = f"{local:%Y-%m-%d}"
        if row["starts"] > reached:
            events[day] += 1
            event = day if events[day] == 1 else f"{day} {chr(96 + events[day])}"
        reached = max(reached, row["ends"])
        name = f"{day} {row['sensor']}"
        named[name] += 1
        begun = local.year - (local.month < 7)
        row["winter"] = str(local.year) if south else f"{begun}-{(begun + 1) % 100:02d}"
        row["event"], row["freeze"] = event, name if named[name] == 1 else f"{name} {chr(96 + named[name])}"
    return pd.DataFrame(rows)
