"""The scoring sheet as one file for a phone: the same cards as the web page's, with no server and no network.

In: the walk. Out: HTML that holds everything it needs, keeps the scores in the browser that opens it, and gives them
back as a table of scores. Its one script is named in the page's policy by its hash: nothing else in the file can run.
"""

from __future__ import annotations

import base64
import datetime as dt
import hashlib
import json
from functools import cache
from html import escape
from pathlib import Path
from typing import Any

from hardiness import words
from hardiness.figures.glyphs import font_face
from hardiness.figures.style import grade_ramp, text_on
from hardiness.figures.typeface import FAMILIES, REGULAR, SEMIBOLD
from hardiness.flow import Flow
from hardiness.report.walk import Stop, Walk
from hardiness.report.wording import stock_name
from hardiness.schema import SCORES
from hardiness.sentences import WALK_CAUTION
from hardiness.settings import Settings

POCKET = Path(__file__).parent / "pocket"
SCRIPTS = ("jsqr.js", "scan.js", "cards.js", "pocket.js")
STYLES = ("sheet.css", "cards.css")
_KEEPING = (
    "The scores live in this browser, on this phone, and nowhere else, until you take the table out. Clearing the "
    "browser's data, or a private window closed, loses them. Take the table out before you leave the rows; "
    "hardiness add scores FILE takes it as it is, and taking it twice does no harm."
)
_OPENING = (
    "Open this file always with the same browser, from the same place: a copy, or the preview of a message, has a "
    "memory of its own, or none."
)


def cards_data(walk: Walk, settings: Settings) -> dict[str, Any]:
    """Give what the cards show.

    Parameters
    ----------
    walk : Walk
    settings : Settings
        For the scale.

    Returns
    -------
    dict
        Of JSON's types.
    """
    return {
        "grades": list(settings.grades),
        "colours": [(fill, text_on(fill)) for fill in grade_ramp(len(settings.grades))],
        "protections": list(SCORES["protected"].choices),
        "stops": [_stop(stop) for stop in walk.stops],
        "said": list(walk.said),
    }


def _stop(stop: Stop) -> dict[str, Any]:
    return {
        "plant": stop.plant,
        "selection": stop.selection,
        "rootstock": stock_name(stop.rootstock),
        "block": stop.block,
        "row": stop.row,
        "place": stop.place,
        "last_grade": stop.last_grade,
        "last_on": None if stop.last_on is None else stop.last_on.isoformat(),
    }


def pocket_html(
    flow: Flow, settings: Settings, walk: Walk, large: bool = False, paper: str = "A4", *, made: dt.date | None = None
) -> bytes:
    """Write the sheet in a single file.

    Parameters
    ----------
    flow : Flow
        Not looked at: the walk says all.
    settings : Settings
    walk : Walk
    large : bool
        Not looked at: a phone has its own size.
    paper : str
        Not looked at.
    made : date, optional
        The date to name; today in the trial's zone unless given.

    Returns
    -------
    bytes
        HTML in UTF-8.
    """
    day = made or dt.datetime.now(settings.zone).date()
    data = cards_data(walk, settings) | {"name": settings.name, "made": day.isoformat()}
    data["key"] = hashlib.sha256(_json(data).encode()).hexdigest()[:16]
    script = "\n".join(_read(name) for name in SCRIPTS)
    allowed = base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()
    title = f"{settings.name}: scoring sheet"
    plants = words.count(len(walk.stops), "plant")
    dated = f"{plants}, made on {words.day(day)} {day.year}"
    left = f"<p>Not on it: {escape(' '.join(walk.said))}</p>" if walk.said else ""
    body = (
        f"<header><h1>{escape(title)}</h1><p>{escape(dated)}</p><p>{escape(WALK_CAUTION)}</p></header>\n<main>\n"
        '<p class="queue" id="queue" role="status">Opening what this browser keeps.</p>\n'
        '<div id="cards"><p>The cards need scripts: open this file with a browser, '
        'not in a preview.</p></div>\n<section class="out"><h2>Take the scores out</h2>\n'
        f"<p>{_KEEPING}</p>\n"
        '<div class="acts"><button type="button" id="take">Save the table as a file</button>'
        '<button type="button" class="plain" id="share">Hand the table on</button>'
        '<button type="button" class="plain" id="copy">Copy the table as text</button>'
        '<button type="button" class="plain" id="show">Show the table</button></div>\n'
        '<p><textarea id="text" rows="8" readonly hidden aria-label="The table as text"></textarea></p>\n'
        f"<p>{_OPENING}</p>\n{left}</section>\n</main>\n"
    )
    characters = set(body) | set(_json(data)) | set("".join(_read(name) for name in SCRIPTS[1:])) | set("0123456789▸▾")
    faces = "".join(font_face(FAMILIES[0], weight, characters) for weight in (REGULAR, SEMIBOLD))
    style = faces + "\n".join(_read(name) for name in STYLES)
    page = (
        '<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        '<meta name="color-scheme" content="light dark">\n'
        f"<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; script-src 'sha256-{allowed}'; "
        "style-src 'unsafe-inline'; font-src data:\">\n"
        f"<title>{escape(title)}</title>\n<style>{style}</style>\n</head>\n<body>\n{body}"
        f'<script type="application/json" id="data">{_json(data)}</script>\n'
        f"<script>{script}</script>\n</body>\n</html>\n"
    )
    return page.encode()


def _json(data: object) -> str:
    """Write JSON that no name in it can end before its script does."""
    return json.dumps(data, ensure_ascii=False).replace("<", "\\u003c").replace("\u2028", "\\u2028").replace(
        "\u2029", "\\u2029"
    )  # fmt: skip


@cache
def _read(name: str) -> str:
    return (POCKET / name).read_text(encoding="utf-8")
