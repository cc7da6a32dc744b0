"""One winter of the calendar of sensors: a band a sensor, its freezes below, its flags on it; a flag in words."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from hardiness.figures.formats import Format
from hardiness.figures.naming import printable
from hardiness.figures.plate import Plate
from hardiness.figures.sheet import LAYER, Sheet
from hardiness.figures.style import ACCENT, HAIRLINE, INK, PAPER, QUIET, Sizes
from hardiness.figures.typeface import MM_PER_POINT, SEMIBOLD, width_mm, wrap

BAND = "#C3CED3"  # days with readings
PARTLY = 0.4  # [1] how high the band is on a day with fewer than it should have
LEAST_BOX, LEAST_BAR = 0.9, 0.3  # [mm] a flag and a freeze are drawn no narrower
MOST_NUMBERS = 4  # over one place
PITCH, HEAD, FOOT = 2.5, 1.35, 0.9  # lines: from sensor to sensor; above the first; below the last


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
class Bar:
    """One freeze.

    Parameters
    ----------
    first, last : float
        Days since the panel's first day. [day]
    estimated : bool
        Whether it is told from other sensors.
    """

    first: float
    last: float
    estimated: bool


@dataclass(frozen=True, slots=True)
class Lane:
    """One sensor in one winter.

    Parameters
    ----------
    sensor : str
    bands : tuple of (float, float, bool)
        Days with readings: from, to, and whether they are whole. [day]
    freezes : tuple of Bar
    marks : tuple of Mark
    """

    sensor: str
    bands: tuple[tuple[float, float, bool], ...]
    freezes: tuple[Bar, ...]
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


def lanes_within(form: Format, room: float, lanes: int = 0) -> tuple[int, float]:
    """Tell how many sensors a panel of some height holds, and how high one of some sensors is.

    Parameters
    ----------
    form : Format
    room : float
        [mm]
    lanes : int

    Returns
    -------
    many : int
    high : float
        [mm]
    """
    line = form.sizes.text * MM_PER_POINT
    return max(int((room / line - HEAD - FOOT) / PITCH), 0), (HEAD + FOOT + PITCH * lanes) * line


def draw_panel(plate: Plate, panel: Panel, names: Mapping[str, str], top: float) -> float:
    """Draw one winter.

    Parameters
    ----------
    plate : Plate
        Where.
    panel : Panel
    names : mapping of str to str
        What each sensor is called here.
    top : float
        Where it begins. [mm]

    Returns
    -------
    float
        Where it ends. [mm]
    """
    sheet, sizes = plate.sheet, plate.page.sizes
    line = sizes.text * MM_PER_POINT
    label = 2.5 + max(width_mm(panel.winter, sizes.heading, SEMIBOLD),
                      *(width_mm(name, sizes.text) for name in names.values()))  # fmt: skip
    left, y = plate.left + label, top + HEAD * line
    scale = (plate.right - left) / panel.days
    thick, pitch = 0.9 * line, PITCH * line
    sheet.write(plate.left, y, panel.winter, sizes.heading, weight=SEMIBOLD, column="winter")
    head, foot = y + 0.5 * line, y + len(panel.lanes) * pitch + FOOT * line
    for place, (day, name) in enumerate(panel.months):
        x = left + day * scale
        sheet.stroke([(x, head), (x, foot)], HAIRLINE, 0.4, LAYER.grid)
        until = panel.months[place + 1][0] if place + 1 < len(panel.months) else panel.days
        if width_mm(name, sizes.small) < (until - day) * scale:
            sheet.write(x + 0.6, y, name, sizes.small, colour=QUIET, column="months")
    sheet.stroke([(plate.right, head), (plate.right, foot)], HAIRLINE, 0.4, LAYER.grid)
    for place, lane in enumerate(panel.lanes):
        middle = y + (place + 0.75) * pitch
        sheet.write(plate.left, middle, names[lane.sensor], sizes.text, middle=True, column="lanes")
        top = middle - thick / 2
        for first, last, whole in lane.bands:
            high = thick if whole else PARTLY * thick
            sheet.shape(sheet.box(left + first * scale, middle - high / 2, (last - first) * scale, high), fill=BAND,
                        layer=LAYER.halo)  # fmt: skip
        for bar in lane.freezes:
            box = sheet.box(left + bar.first * scale, top + thick + 0.35,
                            max((bar.last - bar.first) * scale, LEAST_BAR), 0.28 * line)  # fmt: skip
            if bar.estimated:
                sheet.shape(box, fill=PAPER, edge=ACCENT, width_pt=0.6, layer=LAYER.line)
            else:
                sheet.shape(box, fill=ACCENT, layer=LAYER.line)
        _draw_marks(sheet, lane, sizes, left, plate.right, top, thick, scale)
    return foot


def _number_room(sizes: Sizes) -> float:
    return width_mm("000", sizes.small) + 1.5


def entry_height(plate: Plate, text: str) -> float:
    """Measure how high a flag is in words. [mm].

    Parameters
    ----------
    plate : Plate
    text : str

    Returns
    -------
    float
        [mm]
    """
    sizes = plate.page.sizes
    lines = wrap(printable(text), plate.page.room - _number_room(sizes), sizes.small)
    return (1.35 * len(lines) + 0.35) * sizes.small * MM_PER_POINT


def draw_entry(plate: Plate, number: int, text: str, top: float) -> float:
    """Write what a numbered flag says.

    Parameters
    ----------
    plate : Plate
    number : int
    text : str
    top : float
        Where it begins. [mm]

    Returns
    -------
    float
        Where it ends. [mm]
    """
    sizes, room = plate.page.sizes, _number_room(plate.page.sizes)
    small = sizes.small * MM_PER_POINT
    y = top + small
    plate.sheet.write(plate.left + room - 1.5, y, str(number), sizes.small, align="right", column="numbers")
    for line in wrap(printable(text), plate.page.room - room, sizes.small):
        plate.sheet.write(plate.left + room, y, line, sizes.small, column="entries")
        y += 1.35 * small
    return top + entry_height(plate, text)


def _draw_marks(
    sheet: Sheet, lane: Lane, sizes: Sizes, left: float, right: float, top: float, thick: float, scale: float
) -> None:
    labels: list[tuple[float, list[int]]] = []  # left edge [mm], numbers
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
        begun, numbers = x, [mark.number]
        while True:  # a label that has no room beside the one before it joins it
            begun = min(begun, right - width_mm(_numbers(numbers), sizes.small))
            if not (labels and begun < labels[-1][0] + width_mm(_numbers(labels[-1][1]), sizes.small) + 0.8):
                break
            begun, before = labels.pop()
            numbers = [*before, *numbers]
        labels.append((begun, numbers))
    for x, numbers in labels:
        sheet.write(x, top - 0.5, _numbers(numbers), sizes.small, column="marks")


def _numbers(numbers: Sequence[int]) -> str:
    """List numbers; many that follow on, or are too many to list, by their ends."""
    if len(numbers) > 2 and list(numbers) == list(range(numbers[0], numbers[-1] + 1)):
        return f"{numbers[0]}–{numbers[-1]}"
    if len(numbers) > MOST_NUMBERS:
        return f"{numbers[0]} … {numbers[-1]}"
    return ", ".join(str(number) for number in numbers)
