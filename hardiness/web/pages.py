"""Templates to pages: the environment, and the few words that turn numbers into text."""

from __future__ import annotations

import datetime as dt
import time
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any
from urllib.parse import quote, urlencode

import jinja2

from hardiness import words
from hardiness.schema import RECORD_TABLES
from hardiness.web.jobs import NAMES, Answer
from hardiness.web.wording import for_page

TEMPLATES = Path(__file__).parent / "templates"
STATIC = Path(__file__).parent / "static"


@dataclass(frozen=True, slots=True)
class Progress:
    """How far the work behind a page is.

    Parameters
    ----------
    stage : str
        What is being worked out.
    done, whole : int
        Stages done, and stages in all.
    seconds : int
        Since it began. [s]
    """

    stage: str
    done: int
    whole: int
    seconds: int

    @classmethod
    def job(cls, name: str) -> Progress:
        """Say that one thing is under way, of which nobody knows how far it is.

        Parameters
        ----------
        name : str
            What.

        Returns
        -------
        Progress
        """
        return cls(name, 0, 0, 0)

    @classmethod
    def of(cls, answer: Answer, stage: str) -> Progress:
        """Say how far an answer is.

        Parameters
        ----------
        answer : Answer
        stage : str
            The stage that is waited for.

        Returns
        -------
        Progress
        """
        return cls(answer.stage, answer.reached + 1, NAMES.index(stage) + 1, int(time.monotonic() - answer.since))


@cache
def environment() -> jinja2.Environment:
    """Make the templates' environment: everything is escaped, and a name that is not given is a fault.

    Returns
    -------
    jinja2.Environment
    """
    made = jinja2.Environment(
        loader=jinja2.FileSystemLoader(TEMPLATES),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.filters |= {
        "temperature": words.temperature,
        "hours": words.hours,
        "day": _day,
        "for_page": for_page,
        "listed": words.listed,
        "on_stock": words.on_stock,
        "part": part,
    }
    made.globals |= {"count": words.count, "link": link, "record_tables": tuple(RECORD_TABLES)}
    return made


def render(template: str, context: Mapping[str, Any]) -> str:
    """Make a page.

    Parameters
    ----------
    template : str
        Its file.
    context : mapping
        What it shows.

    Returns
    -------
    str
    """
    return environment().get_template(template).render(context)


def part(text: object) -> str:
    """Write a name as one part of a path.

    Parameters
    ----------
    text : object

    Returns
    -------
    str

    Examples
    --------
    >>> part("OL 07/b")
    'OL%2007%2Fb'
    """
    return quote(str(text), safe="")


def link(path: str, given: Mapping[str, object] | Iterable[tuple[str, object]], **changed: object) -> str:
    """Write a path with a question: what was given, with some of it changed.

    Parameters
    ----------
    path : str
    given : mapping or iterable of pairs
        The question so far.
    **changed : object
        What is other; None leaves it out.

    Returns
    -------
    str

    Examples
    --------
    >>> link("/results", {"sort": "floor", "stock": ""}, sort="-floor")
    '/results?sort=-floor'
    """
    pairs = list(given.items() if isinstance(given, Mapping) else given)
    kept = [(name, value) for name, value in pairs if name not in changed]
    kept += list(changed.items())
    query = urlencode([(name, str(value)) for name, value in kept if value not in (None, "")])
    return f"{path}?{query}" if query else path


def _day(date: dt.date) -> str:
    return f"{words.day(date)} {date.year}"
