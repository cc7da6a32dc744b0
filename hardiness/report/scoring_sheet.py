"""A blank scoring sheet in walking order, to fill in outdoors: big boxes, the scale in words and drawings, QR codes.

It works before the first score, and needs no fit.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

from hardiness import words
from hardiness.errors import InputError, NothingYetError, Problem
from hardiness.figures.typeface import MM_PER_POINT, SEMIBOLD, shorten, width_mm, wrap
from hardiness.flow import Flow
from hardiness.report.drawings import sprig, square_code
from hardiness.report.pocket_sheet import pocket_html
from hardiness.report.printable import NOTE, Printable, numbered_names
from hardiness.report.typesetting import PAPER_WIDTHS, PAPERS, typeset
from hardiness.report.walk import Stop, Walk, walk_of
from hardiness.report.wording import stock_name
from hardiness.sentences import WALK_CAUTION
from hardiness.settings import Settings

RULES = (
    "Score the state the plant is in, by its wood from grade 2 up: no leaf to judge is not grade 0. Shoots from below "
    "the graft are rootstock: the grafted plant is dead. Leave a row empty where you did not look. Score a week after "
    "the freeze, again after four to six weeks, and after the spring flush."
)
COVERED = "Covered: what stood between plant and air in the coldest freeze: c cover, b bank of soil, k sprinkler, " \
          "h heater, i indoors, s snow, o other; empty: stood open."  # fmt: skip
# Heights and widths of the two sizes [mm], and their type: label, text, small, tiny, legend [pt].
SIZES = {
    False: {"row": 14.0, "box": 9.5, "code": 12.5, "label": 12.0, "text": 9.0, "small": 8.0, "note": 38.0, "tiny": 7.0,
            "legend": 8.0, "sprig": 9.0, "last": 13.0, "cover": 11.0},
    True: {"row": 22.0, "box": 11.0, "code": 18.0, "label": 18.0, "text": 12.0, "small": 11.0, "note": 22.0,
           "tiny": 9.0, "legend": 11.5, "sprig": 12.0, "last": 17.0, "cover": 14.0},
}  # fmt: skip
GUTTER, MARGIN = 2.0, 11.0
HEAD_LINE = 13.0  # [mm] above the scale: the trial, the date, the observer
MOST_ABREAST = 7  # grades of the scale in one row; a large sheet has it in two
MOST_BOXES = 66.0  # [mm] room for the boxes of all grades, small; the large sheet has 4/3 of it


def write_scoring_sheet(
    flow: Flow, settings: Settings, path: Path, *, large: bool = False, block: str | None = None, paper: str = "A4"
) -> Walk:
    """Write a blank scoring sheet; the ending of the file says as what.

    Parameters
    ----------
    flow : Flow
    settings : Settings
    path : Path
        Ends in one of :data:`WRITERS`.
    large : bool
        Larger rows and type.
    block : str, optional
        Only this block.
    paper : str
        ``A4`` or ``letter``.

    Returns
    -------
    Walk
        The stops on it, and which plants are none.

    Raises
    ------
    InputError
        If the ending is another one, or there is no such block.
    NothingYetError
        If there is no plant to score.
    """
    check_ending(path)
    walk = walk_of(flow, block)
    if not walk.stops:
        why = " ".join(walk.said)
        before = "There is no plant to score, and no sheet was written: hardiness add plants FILE registers some."
        raise NothingYetError(f"{before} {why}".strip())
    path.write_bytes(WRITERS[path.suffix.lower()](flow, settings, walk, large, paper))
    return walk


def check_ending(path: Path) -> None:
    """Check that a sheet can be written to a place, before the walk is found.

    Parameters
    ----------
    path : Path

    Raises
    ------
    InputError
        If its ending is none of :data:`WRITERS`, it is a folder, or its folder does not exist.
    """
    if path.suffix.lower() not in WRITERS:
        raise InputError(Problem(f"a file name ending in '{path.suffix}'", f"one of {', '.join(WRITERS)}",
                                 file=path.name))  # fmt: skip
    if path.is_dir() or not path.absolute().parent.is_dir():
        found = "a folder" if path.is_dir() else f"no folder '{path.parent}'"
        raise InputError(Problem(found, "a file in a folder that exists", file=str(path)))


def sheet_pdf(flow: Flow, settings: Settings, walk: Walk, large: bool = False, paper: str = "A4") -> bytes:
    """Set a scoring sheet.

    Parameters
    ----------
    flow : Flow
        For the names that print cannot write.
    settings : Settings
    walk : Walk
    large : bool
    paper : str
        ``A4`` or ``letter``.

    Returns
    -------
    bytes
        A PDF.
    """
    write = Printable(numbered_names(flow.records))
    sizes = dict(SIZES[large])
    room = MOST_BOXES * (4 / 3 if large else 1.0)
    sizes["box"] = min(sizes["box"], room / len(settings.grades) - 1.0)
    inside_mm = PAPER_WIDTHS[paper] - 2 * MARGIN
    # What the other columns leave for names.
    taken = sum(sizes[name] for name in ("code", "last", "cover", "note")) + 5 * GUTTER
    names_mm = inside_mm - taken - len(settings.grades) * (sizes["box"] + 1.0) - 1.0
    scale = _scale([write(name) for name in settings.grades], inside_mm, sizes, large=large)
    pictures = {f"grade-{grade}": sprig(grade, settings.worst) for grade in range(len(settings.grades))}
    pictures |= {f"code-{number}": square_code(stop.plant) for number, stop in enumerate(walk.stops)}
    data: dict[str, Any] = {
        "title": write(f"{settings.name}: scoring sheet"),
        "trial": write(settings.name),
        **scale,
        "rows": [_row(stop, write, sizes, names_mm, apart=large) for stop in walk.stops],
        "count": words.count(len(walk.stops), "plant"),
        "left": write(f"Not on it: {' '.join(walk.said)}") if walk.said else "",
        "rules": f"{WALK_CAUTION} {RULES}",
        "covered": COVERED,
        "sizes": sizes,
        "paper": PAPERS[paper],
    }
    data["note"] = NOTE if write.changed else ""
    return typeset("sheet", data, pictures)


def _scale(names: Sequence[str], inside_mm: float, sizes: Mapping[str, float], *, large: bool) -> dict[str, Any]:
    """Lay the scale out above the rows: how many grades abreast, each name in its lines, and what all of it takes."""
    rows = 2 if large or len(names) > MOST_ABREAST else 1
    abreast = -(-len(names) // rows)
    room = (inside_mm - (abreast - 1) * GUTTER) / abreast - sizes["sprig"] - 1.5
    grades = [wrap(name, room, sizes["legend"]) for name in names]
    line = 1.25 * sizes["legend"] * MM_PER_POINT
    high = max(1.25 * sizes["sprig"], 5.5 + line * max(map(len, grades)))
    return {"grades": grades, "abreast": abreast, "legend-row": high, "top": HEAD_LINE + rows * (high + 1.0) + 9.0}


def _row(stop: Stop, write: Printable, sizes: Mapping[str, float], room_mm: float, *, apart: bool) -> dict[str, str]:
    """What a row says; where names need it and ``apart`` allows, the rootstock has a line of its own."""
    where = [f"row {stop.row}" if stop.row else "", f"place {stop.place}" if stop.place else ""]
    selection, stock = write(stop.selection), write(stock_name(stop.rootstock))
    apart = apart and width_mm(f"{selection} on {stock}", sizes["text"]) > room_mm
    tail = "" if apart else f" on {shorten(stock, room_mm / 2, sizes['text'])}"
    last, on = "", ""
    if stop.last_grade is not None and stop.last_on is not None:
        last, on = str(stop.last_grade), stop.last_on.isoformat()
    return {
        # Shortened in the middle, since names differ at their ends; the square code holds the label whole.
        "plant": shorten(write(stop.plant), room_mm, sizes["label"], SEMIBOLD),
        "what": shorten(selection, room_mm, sizes["text"], tail=tail),
        "stock": shorten(f"on {stock}", room_mm, sizes["small"]) if apart else "",
        "block": write(_block_name(stop.block)),
        "where": shorten(write(", ".join(part for part in where if part)), room_mm, sizes["small"]),
        "last": last,
        "on": on,
    }


def _block_name(block: str) -> str:
    if not block:
        return "No block recorded"
    return block[0].upper() + block[1:] if block.casefold().startswith("block") else f"Block {block}"


Writer = Callable[[Flow, Settings, Walk, bool, str], bytes]
WRITERS: dict[str, Writer] = {".pdf": sheet_pdf, ".html": pocket_html}
