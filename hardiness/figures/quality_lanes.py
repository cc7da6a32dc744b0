"""One winter of the calendar of sensors: a band a sensor, its freezes below it, its flags on it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from hardiness.figures.sheet import LAYER, Sheet
from hardiness.figures.style import ACCENT, HAIRLINE, INK, PAPER, QUIET, Sizes
from hardiness.figures.typeface import MM_PER_POINT, SEMIBOLD, clean, shorten, width_mm

BAND = "#CFD8DC"  # a day with readings
PARTLY = "#E6EBEA"  # a day with fewer than it should have
LEAST_BOX = 0.9  # [mm] a flag is drawn no narrower


@dataclass(frozen=True, slots=True)
class Mark:
    """One flag.

    Parameters
    ----------
    number : int
        By which it is explained.
    first, last : float
        Days since the panel's first day. [day]
    verdict : str
        ``""``, ``mask`` or ``keep``.
    """

    number: int
    first: float
    last: float
    verdict: str


@dataclass(frozen=True, slots=True)
class Lane:
    """One sensor in one winter.

    Parameters
    ----------
    sensor : str
    bands : tuple of (float, float, bool)
        Days with readings: from, to, and whether they are whole. [day]
    freezes : tuple of (float, float)
        From, to. [day]
    marks : tuple of Mark
    """

    sensor: str
    bands: tuple[tuple[float, float, bool], ...]
    freezes: tuple[tuple[float, float], ...]
    marks: tuple[Mark, ...]


@dataclass(frozen=True, slots=True)
class Panel:
    """One winter.

    Parameters
    ----------
    winter : str
    days : float
        How long it is drawn. [day]
    months : tuple of (float, str)
        Where each month begins, and its name. [day]
    lanes : tuple of Lane
    """

    winter: str
    days: float
    months: tuple[tuple[float, str], ...]
    lanes: tuple[Lane, ...]


def draw_panel(
    sheet: Sheet, panel: Panel, sizes: Sizes, margin: float, y: float, label: float, room: float
) -> float:  # fmt: skip
    """Draw one winter.

    Parameters
    ----------
    sheet : Sheet
        Where.
    panel : Panel
    sizes : Sizes
        Of type.
    margin, y : float
        Its left end, and the baseline of its heading. [mm]
    label, room : float
        How wide the column of names is, and all of it. [mm]

    Returns
    -------
    float
        Where it ends. [mm]
    """
    left, line = margin + label, sizes.text * MM_PER_POINT
    scale = (room - label) / panel.days
    thick, pitch = 0.9 * line, 2.6 * line
    sheet.write(margin, y, panel.winter, sizes.heading, weight=SEMIBOLD, column="winter")
    head, foot = y + 0.5 * line, y + (len(panel.lanes)) * pitch + 0.9 * line
    for place, (day, name) in enumerate(panel.months):
        x = left + day * scale
        sheet.stroke([(x, head), (x, foot)], HAIRLINE, 0.4, LAYER.grid)
        until = panel.months[place + 1][0] if place + 1 < len(panel.months) else panel.days
        if width_mm(name, sizes.small) < (until - day) * scale:
            sheet.write(x + 0.6, y, name, sizes.small, colour=QUIET, column="months")
    sheet.stroke([(left + room - label, head), (left + room - label, foot)], HAIRLINE, 0.4, LAYER.grid)
    for place, lane in enumerate(panel.lanes):
        middle = y + (place + 0.75) * pitch
        sheet.write(
            margin,
            middle,
            shorten(clean(lane.sensor), label - 2.0, sizes.text),
            sizes.text,
            middle=True,
            column="lanes",
        )
        top = middle - thick / 2
        for first, last, whole in lane.bands:
            box = sheet.box(left + first * scale, top, (last - first) * scale, thick)
            sheet.shape(box, fill=BAND if whole else PARTLY, layer=LAYER.halo)
        for first, last in lane.freezes:
            x, wide = left + first * scale, max((last - first) * scale, 0.3)
            sheet.shape(sheet.box(x, top + thick + 0.35, wide, 0.28 * line), fill=ACCENT, layer=LAYER.line)
        _draw_marks(sheet, lane, sizes, left, top, thick, scale)
    return foot


def _draw_marks(sheet: Sheet, lane: Lane, sizes: Sizes, left: float, top: float, thick: float, scale: float) -> None:
    waiting: list[tuple[float, float, list[int]]] = []  # labels: from, to [mm], numbers
    ended, end = left, -1.0  # where the last box ends on the page, and its flag in truth [mm], [day]
    for mark in lane.marks:
        wide = max((mark.last - mark.first) * scale, LEAST_BOX)
        x = left + mark.first * scale
        if mark.first > end:
            x = max(x, ended)  # boxes wider than their flags stand side by side, so that none hides another
        ended, end = max(ended, x + wide), max(end, mark.last)
        corners = sheet.box(x, top, wide, thick)
        if mark.verdict == "":
            sheet.shape(corners, fill=INK, edge=PAPER, width_pt=0.3)
        else:
            sheet.shape(corners, fill=PAPER, edge=INK if mark.verdict == "mask" else QUIET, width_pt=0.6)
        if mark.verdict == "mask":
            sheet.stroke([corners[0], corners[2]], INK, 0.6, LAYER.cross)
            sheet.stroke([corners[1], corners[3]], INK, 0.6, LAYER.cross)
        text = width_mm(f"{mark.number}", sizes.small) + 0.8
        if waiting and x < waiting[-1][1]:
            begun, _, numbers = waiting[-1]
            waiting[-1] = (
                begun,
                begun + width_mm(_numbers([*numbers, mark.number]), sizes.small) + 0.8,
                [*numbers, mark.number],
            )
        else:
            waiting.append((x, x + text, [mark.number]))
    for x, _, numbers in waiting:
        sheet.write(x, top - 0.5, _numbers(numbers), sizes.small, column="marks")


def _numbers(numbers: Sequence[int]) -> str:
    whole = list(numbers) == list(range(numbers[0], numbers[-1] + 1)) and len(numbers) > 2
    return f"{numbers[0]}–{numbers[-1]}" if whole else ", ".join(str(number) for number in numbers)
