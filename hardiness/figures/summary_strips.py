"""The strips of the winters: each freeze an icicle whose tip hangs at its coldest temperature, with its hours beside.

In: :class:`~hardiness.figures.summary_winters.Winter` s. Out: their strips and words on a sheet.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from hardiness import words
from hardiness.figures.scale import Scale
from hardiness.figures.sheet import LAYER, Sheet
from hardiness.figures.style import ACCENT, INK, PAPER, QUIET, Sizes
from hardiness.figures.summary_winters import Winter, hours_text, winter_sentence
from hardiness.figures.typeface import MM_PER_POINT, SEMIBOLD, width_mm, wrap

ICICLE_WIDTH, ICICLE_LENGTH = 1.3, 3.0  # [mm]


@dataclass(frozen=True, slots=True)
class StripLabel:
    """A label under an icicle: its text, its left edge and the tip it belongs to [mm], and its line."""

    text: str
    left: float
    tip: float
    lane: int


def plan_labels(winter: Winter, scale: Scale, units: str, sizes: Sizes, lanes: int) -> list[StripLabel]:
    """Label the freezes of a strip, coldest first, where there is room.

    Parameters
    ----------
    winter : Winter
    scale : Scale
    units : str
        The trial's unit.
    sizes : Sizes
    lanes : int
        Lines of labels there may be.

    Returns
    -------
    list of StripLabel
        No two overlap, and none is crossed by the line from a tip to a lower label.
    """
    taken: list[list[tuple[float, float]]] = [[] for _ in range(lanes)]
    tips = [scale.x(freeze.minimum_c) for freeze in winter.freezes]
    labels = []
    for freeze in winter.freezes:
        parts = (words.number(words.shown(freeze.minimum_c, units)), hours_text(freeze, units))
        text = ", ".join(part for part in parts if part)
        tip = scale.x(freeze.minimum_c)
        others = [x for x in tips if abs(x - tip) > ICICLE_WIDTH]
        place = _place(tip, width_mm(text, sizes.small), scale, others, taken)
        if place is not None:
            labels.append(StripLabel(text, place[1], tip, place[0]))
    return labels


def _place(
    tip: float, wide: float, scale: Scale, others: Sequence[float], taken: list[list[tuple[float, float]]]
) -> tuple[int, float] | None:
    """Find room for a label under a tip: centred, else beginning or ending there, else a line lower."""
    for lane, there in enumerate(taken):
        crossed = any(start < tip + 0.5 and tip - 0.5 < end for higher in taken[:lane] for start, end in higher)
        for wished in (tip - wide / 2, tip - 0.5, tip + 0.5 - wide):
            left = max(min(wished, scale.right - wide), scale.left)
            # Right under the icicles a label lies under its own tip only; lower down a line leads to it.
            mistaken = lane == 0 and any(left < other < left + wide for other in others)
            free = all(left >= end + 1.4 or left + wide + 1.4 <= start for start, end in there)
            if free and not crossed and not mistaken:
                there.append((left, left + wide))
                return lane, left
    return None


def _lane_height(sizes: Sizes) -> float:
    return 1.12 * sizes.small * MM_PER_POINT


def strip_height(sizes: Sizes, lanes: int) -> float:
    """Measure the height of a strip with so many lines of labels under its icicles. [mm].

    Parameters
    ----------
    sizes : Sizes
    lanes : int
        Lines of labels.

    Returns
    -------
    float
        [mm]
    """
    return ICICLE_LENGTH + lanes * _lane_height(sizes) + 1.2


def draw_strip(
    sheet: Sheet, winter: Winter, scale: Scale, labels: Sequence[StripLabel], sizes: Sizes, top: float
) -> None:
    """Hang the freezes of one winter from a line, with their labels.

    Parameters
    ----------
    sheet : Sheet
    winter : Winter
    scale : Scale
    labels : sequence of StripLabel
        From :func:`plan_labels`.
    sizes : Sizes
    top : float
        Where the line lies. [mm]
    """
    sheet.stroke([(scale.left, top), (scale.right, top)], QUIET, 0.5, LAYER.grid)
    for freeze in reversed(winter.freezes):  # the coldest lies on top
        draw_icicle(sheet, scale.x(freeze.minimum_c), top, filled=freeze.logger)
    line = _lane_height(sizes)
    for label in labels:
        baseline = top + ICICLE_LENGTH + (label.lane + 1) * line
        if label.lane:
            down = [(label.tip, top + ICICLE_LENGTH), (label.tip, baseline - 0.8 * line)]
            sheet.stroke(down, QUIET, 0.4, LAYER.grid)
        sheet.write(label.left, baseline, label.text, sizes.small, column=f"freeze-{top:.1f}-{label.lane}")


def draw_icicle(sheet: Sheet, x: float, top: float, *, filled: bool, length: float = ICICLE_LENGTH) -> None:
    """Hang one icicle: filled where a logger measured it, hollow else.

    Parameters
    ----------
    sheet : Sheet
    x, top : float
        Its tip lies below this point. [mm]
    filled : bool
    length : float
        [mm]
    """
    half = ICICLE_WIDTH / 2
    sheet.shape(
        [(x - half, top), (x + half, top), (x, top + length)],
        fill=ACCENT if filled else PAPER, edge=PAPER if filled else ACCENT, width_pt=0.3 if filled else 0.6,
        layer=LAYER.line,
    )  # fmt: skip


def winter_words_width(winter: Winter, units: str, sizes: Sizes) -> float:
    """Measure the width of a winter's name and sentence on one line. [mm].

    Parameters
    ----------
    winter : Winter
    units : str
        ``"C"`` or ``"F"``.
    sizes : Sizes

    Returns
    -------
    float
        [mm]
    """
    return _beside(winter, sizes) + width_mm(winter_sentence(winter, units), sizes.text)


def _beside(winter: Winter, sizes: Sizes) -> float:
    names = ("2031-32", winter.name)
    return max(width_mm(name, sizes.text, SEMIBOLD) for name in names) + 2.0


def draw_winter_words(
    sheet: Sheet, winter: Winter, units: str, sizes: Sizes, left: float, room: float, baseline: float, *, smaller: bool
) -> None:
    """Write a winter's name and sentence beside its strip.

    Parameters
    ----------
    sheet : Sheet
    winter : Winter
    units : str
        The trial's unit.
    sizes : Sizes
    left, room : float
        Where the words begin and how wide they may be. [mm]
    baseline : float
        [mm]
    smaller : bool
        On two smaller lines, as where one winter's is too long for one.
    """
    sheet.write(left, baseline, winter.name, sizes.text, weight=SEMIBOLD, column="winter-name")
    beside = _beside(winter, sizes)
    size = sizes.small if smaller else sizes.text
    for line in wrap(winter_sentence(winter, units), room - beside if smaller else room, size)[:2]:
        sheet.write(left + beside, baseline, line, size, colour=INK, column="winter-words")
        baseline += 1.15 * size * MM_PER_POINT
