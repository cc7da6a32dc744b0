"""The winters side by side: time runs down, cold is on the left, a bar for each freeze as long as it was cold.

``prepare_winters`` takes the freezes (of several sensors the coldest answers) and the days on which plants were scored,
``draw_winters`` puts them on a page.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import pandas as pd

from hardiness import words
from hardiness.figures.formats import Format, format_named
from hardiness.figures.plate import Plate, Words, close_plate, empty_plate, open_plate
from hardiness.figures.scale import OTHER, Scale, draw_grid, draw_labels, temperature_ends
from hardiness.figures.sheet import LAYER, Sheet
from hardiness.figures.style import ACCENT, HAIRLINE, INK, PAPER, QUIET, drawing
from hardiness.figures.summary_winters import Freeze, gather_winters
from hardiness.figures.typeface import MM_PER_POINT, SEMIBOLD, clean, width_mm
from hardiness.settings import Settings

MOST_WINTERS = {True: 6, False: 8}  # of a page, on a phone and elsewhere
BESIDE = {True: 2, False: 4}  # beside each other
LEAST_THICK = 0.9  # [mm] of a bar
LABELLED = 4  # the coldest freezes of a winter say how cold and how long
METHOD = (
    "A bar per freeze, from {onset} to its coldest reading of any sensor; its thickness is its length in days; hollow: "
    "from a station or estimated. Figures: the coldest freezes, hours at or below the coldest threshold each reached. "
    "Diamond: a day on which plants were scored."
)


@dataclass(frozen=True, slots=True)
class Season:
    """One winter.

    Parameters
    ----------
    name : str
    begins : datetime.date
        First day that day 0 stands for.
    freezes : tuple of Freeze
        Coldest first.
    scored : tuple of int
        Days, from the beginning, on which plants were scored.
    """

    name: str
    begins: dt.date
    freezes: tuple[Freeze, ...]
    scored: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Winters:
    """What the figure shows.

    Parameters
    ----------
    words : Words
    units : str
    onset_c : float
        [degC]
    first_day, last_day : int
        Of the season, that are drawn.
    seasons : tuple of Season
        By name.
    """

    words: Words
    units: str
    onset_c: float
    first_day: int
    last_day: int
    seasons: tuple[Season, ...]


def prepare_winters(
    freezes: pd.DataFrame, observations: pd.DataFrame, *, settings: Settings, winter: str = ""
) -> Winters:
    """Take freezes and score days apart by winter.

    Parameters
    ----------
    freezes : pandas.DataFrame
        The freezes table, without those that notes set aside.
    observations : pandas.DataFrame
        The observations table, for the days of scores.
    settings : Settings
    winter : str
        Only this one; empty: all.

    Returns
    -------
    Winters
    """
    gathered = [each for each in gather_winters(freezes, observations, settings) if winter in ("", each.name)]
    facts, onset = clean(settings.name), settings.rules.onset_c
    if not gathered:
        title = f"No freeze of {winter} is listed" if winter else "No freeze is measured yet"
        empty = "hardiness add readings FILE --sensor S adds a logger's readings."
        return Winters(Words(title, facts, "", f"{title}. {empty}", empty), settings.units, onset, 0, 365, ())
    south = settings.latitude is not None and settings.latitude < 0
    seasons = []
    for each in gathered:
        begins = dt.date(int(each.name[:4]), 1 if south else 7, 1)
        dates = observations.loc[observations["winter"] == each.name, "scored_on"]
        scored = sorted({(day.date() if isinstance(day, dt.datetime) else day) for day in dates})
        seasons.append(Season(each.name, begins, each.freezes, tuple((day - begins).days for day in scored)))
    days = [(freeze.starts_on - season.begins).days for season in seasons for freeze in season.freezes]
    ends = [(freeze.ends_on - season.begins).days for season in seasons for freeze in season.freezes]
    coldest = min(((season, season.freezes[0]) for season in seasons), key=lambda pair: pair[1].minimum_c)
    where = f"the coldest of {words.count(len(seasons), 'winter')}" if len(seasons) > 1 else "the only winter so far"
    where = f"of {words.count(len(coldest[0].freezes), 'freeze')} the coldest" if winter else where
    low = words.temperature(coldest[1].minimum_c, settings.units)
    title = f"{low} on {words.day(coldest[1].starts_on)} {coldest[1].starts_on.year}: {where}"
    facts += f" · {words.count(sum(len(season.freezes) for season in seasons), 'freeze')}"
    listed = " ".join(
        f"{season.name}: {words.count(len(season.freezes), 'freeze')}, coldest "
        f"{words.temperature(season.freezes[0].minimum_c, settings.units)} on {words.day(season.freezes[0].starts_on)}."
        for season in seasons
    )
    method = METHOD.format(onset=words.temperature(onset, settings.units))
    said = Words(title, facts, method, f"{title}. {listed}")
    return Winters(said, settings.units, onset, min(days) - 7, max(ends) + 7, tuple(seasons))


def draw_winters(prepared: Winters, *, page: str = "A4") -> list[Sheet]:
    """Draw the winters.

    Parameters
    ----------
    prepared : Winters
    page : str
        One of the page formats.

    Returns
    -------
    list of Sheet
        As many pages as the winters take, evenly filled; all have the same scales.

    Raises
    ------
    InputError
        If there is no such format.
    """
    form = format_named(page)
    with drawing():
        if prepared.words.empty:
            return empty_plate(form, prepared.words)
        sheets = []
        pages = _share(prepared.seasons, form)
        for number, shown in enumerate(pages, 1):
            folio = f"page {number} of {len(pages)}" if len(pages) > 1 else ""
            plate = open_plate(form, prepared.words, folio=folio)
            sheets.append(close_plate(plate, _draw(plate, prepared, shown, form)))
        return sheets


def _share(seasons: tuple[Season, ...], form: Format) -> list[tuple[Season, ...]]:
    """Share winters out to pages, as many on each, in whole rows where there are several."""
    beside = BESIDE[form.narrow]
    most = beside if form.fixed else MOST_WINTERS[form.narrow]
    count = -(-len(seasons) // most)
    each = -(-len(seasons) // count)
    each = min(-(-each // beside) * beside, most) if count > 1 else each
    return [seasons[first : first + each] for first in range(0, len(seasons), each)]


def _draw(plate: Plate, prepared: Winters, shown: tuple[Season, ...], form: Format) -> float:
    sizes = form.sizes
    small = sizes.small * MM_PER_POINT
    most = max(len(some) for some in _share(prepared.seasons, form))
    columns = min(BESIDE[form.narrow], most)
    rows, longest = -(-len(shown) // columns), -(-most // columns)
    cold, warm = temperature_ends(
        [prepared.onset_c, *(freeze.minimum_c for season in prepared.seasons for freeze in season.freezes)], air=0.1
    )
    margin = width_mm("Sep", sizes.small) + 1.6
    head, foot = 1.4 * sizes.heading * MM_PER_POINT + 2.4 * small, 3.4 * small
    high = min((plate.bottom - plate.top) / longest - head - foot, 95.0)
    wide = (form.room - margin) / columns
    y = plate.top
    for row in range(rows):
        for place, season in enumerate(shown[row * columns : (row + 1) * columns]):
            left = plate.left + margin + place * wide
            scale = Scale(cold, warm, left, left + wide - 6.5)
            _draw_season(plate, prepared, season, scale, y + head, high, first=place == 0)
        y += head + high + foot
    return y


def _draw_season(
    plate: Plate, prepared: Winters, season: Season, scale: Scale, top: float, high: float, *, first: bool
) -> None:
    sheet, sizes = plate.sheet, plate.page.sizes
    small = sizes.small * MM_PER_POINT
    per_day = high / (prepared.last_day - prepared.first_day)

    def at(day: float) -> float:
        return top + (day - prepared.first_day) * per_day

    sheet.write(scale.left, top - 2.8 * small, season.name, sizes.heading, weight=SEMIBOLD, column=f"winter-{top:.0f}")
    draw_labels(sheet, scale, OTHER[prepared.units], sizes, top - 1.1, top)
    draw_grid(sheet, scale, prepared.units, sizes.small, top, top + high)
    draw_labels(sheet, scale, prepared.units, sizes, top + high + 1.5 * small, top + high)
    for day in range(prepared.first_day, prepared.last_day + 1):
        date = season.begins + dt.timedelta(days=day)
        if date.day == 1:
            sheet.stroke([(scale.left, at(day)), (scale.right, at(day))], HAIRLINE, 0.4, LAYER.grid)
            if first and at(day) + small < top + high:
                sheet.write(plate.left, at(day) + 0.9 * small, words.MONTHS[date.month - 1], sizes.small, colour=QUIET,
                            column="months")  # fmt: skip
    onset = scale.x(prepared.onset_c)
    sheet.stroke([(onset, top), (onset, top + high)], QUIET, 0.6, LAYER.grid)
    for freeze in reversed(season.freezes):
        bar = _bar(freeze, season, scale, at, prepared.onset_c)
        shape = [(onset, bar.top), (onset, bar.top + bar.thick), (bar.tip, bar.middle)]
        sheet.shape(shape, fill=ACCENT if freeze.logger else PAPER, edge="none" if freeze.logger else ACCENT,
                    width_pt=0.0 if freeze.logger else 0.7, layer=LAYER.line)  # fmt: skip
    _label(plate, prepared, season, scale, at)
    for day in season.scored:
        if prepared.first_day <= day <= prepared.last_day:
            x, y = scale.right - 1.0, at(day)
            sheet.shape([(x - 0.8, y), (x, y - 0.8), (x + 0.8, y), (x, y + 0.8)], fill=PAPER, edge=INK, width_pt=0.7)


@dataclass(frozen=True, slots=True)
class _Bar:
    """Where a freeze is drawn: its tip, its upper edge and thickness at the onset. [mm]."""

    tip: float
    top: float
    thick: float
    onset: float

    @property
    def middle(self) -> float:
        return self.top + self.thick / 2

    def meets(self, left: float, right: float, above: float, below: float) -> bool:
        """Whether it lies in a box."""
        nearest = min(max(self.middle, above), below)
        share = abs(nearest - self.middle) / (self.thick / 2)
        return share <= 1.0 and left < self.onset and self.tip + share * (self.onset - self.tip) < right


def _bar(freeze: Freeze, season: Season, scale: Scale, at: Callable[[float], float], onset_c: float) -> _Bar:
    begins = (freeze.starts_on - season.begins).days
    lasts = max((freeze.ends_on - freeze.starts_on).days, 1)
    thick = max(at(begins + lasts) - at(begins), LEAST_THICK)
    return _Bar(scale.x(freeze.minimum_c), at(begins), thick, scale.x(onset_c))


def _label(plate: Plate, prepared: Winters, season: Season, scale: Scale, at: Callable[[float], float]) -> None:
    """Write how cold and how long at the coldest freezes; no label lies on a bar.

    Where there is no room for both it says how cold alone, and nothing where there is none for that.
    """
    sizes = plate.page.sizes
    small = sizes.small * MM_PER_POINT
    bars = [_bar(freeze, season, scale, at, prepared.onset_c) for freeze in season.freezes]
    taken: list[tuple[float, float, float]] = []  # left, right and baseline of labels
    for freeze, own in list(zip(season.freezes, bars, strict=True))[:LABELLED]:
        text = words.number(words.shown(freeze.minimum_c, prepared.units))
        if freeze.hours is not None and freeze.threshold is not None:
            text += f", {words.hours(freeze.hours)} ≤ {words.threshold_text(freeze.threshold, prepared.units)}"
        tries = [(said, *place) for said in dict.fromkeys((text, text.split(",")[0]))
                 for place in _places(own, width_mm(said, sizes.small), small, scale)]  # fmt: skip
        for said, left, y in tries:
            right = left + width_mm(said, sizes.small)
            over_label = any(
                abs(y - other) < 1.2 * small and left < end and start < right for start, end, other in taken
            )
            box = (left - 0.3, right + 0.3, y - 0.75 * small, y + 0.2 * small)
            if not (over_label or any(bar.meets(*box) for bar in bars)):
                taken.append((left, right, y))
                plate.sheet.write(left, y, said, sizes.small)
                break


def _places(bar: _Bar, wide: float, small: float, scale: Scale) -> Iterator[tuple[float, float]]:
    """Left edges and baselines at which a bar's label may stand: above it, at its tip, below it, then farther out."""
    above, below = bar.top - 0.35 * small, bar.top + bar.thick + 1.0 * small
    left = max(min(bar.tip, bar.onset - wide - 0.8), scale.left)
    yield left, above
    if bar.tip - 0.8 - wide >= scale.left:
        yield bar.tip - 0.8 - wide, bar.middle + 0.33 * small
    yield left, below
    out = max(bar.tip + 2.0 - wide, scale.left)  # towards the cold, where other bars do not reach
    if out < left:
        yield out, above
        yield out, below
