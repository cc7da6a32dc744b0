"""A trial that is not there yet: one page asks for its name and place, makes it, and gives way to its pages."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated
from zoneinfo import available_timezones

from fastapi import FastAPI, Form, Request
from fastapi.responses import HTMLResponse, PlainTextResponse, RedirectResponse, Response
from fastapi.staticfiles import StaticFiles
from starlette.types import ASGIApp, Receive, Scope, Send

from hardiness.commands.begin import settings_asked
from hardiness.errors import InputError, Problem
from hardiness.figures.typeface import FOLDER
from hardiness.trial import new_trial
from hardiness.web.app import create_app, guard
from hardiness.web.pages import render
from hardiness.web.place import Serving
from hardiness.web.sessions import Sessions
from hardiness.web.visits import SEE_OTHER

Text = Annotated[str, Form(max_length=200)]
NUMBERS = {"latitude": "degrees, north is positive", "longitude": "degrees, east is positive", "elevation": "metres"}


class Beginning:
    """Serves the page that makes a trial, then the pages of the trial.

    Parameters
    ----------
    folder : Path
        Where the trial is to be: a new or empty folder.
    serving : Serving
    """

    def __init__(self, folder: Path, serving: Serving) -> None:
        self.folder, self.serving = folder, serving
        self._sessions = Sessions(serving.secure)
        self._trial: FastAPI | None = None
        self._page = self._make_page()

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Serve one request."""
        app: ASGIApp = self._trial if self._trial is not None and scope["type"] == "http" else self._page
        await app(scope, receive, send)

    def close(self) -> None:
        """Let go of the trial, where it was made."""
        if self._trial is not None:
            self._trial.state.place.close()

    def _make_page(self) -> FastAPI:
        app = FastAPI(title="hardiness", docs_url=None, redoc_url=None, openapi_url=None)
        app.mount("/static/fonts", StaticFiles(directory=FOLDER), name="fonts")

        @app.get("/")
        def ask(request: Request) -> HTMLResponse:
            return self._form(request, {})

        @app.post("/")
        def make(
            request: Request,
            token: Text = "",
            name: Text = "",
            timezone: Text = "",
            units: Text = "C",
            latitude: Text = "",
            longitude: Text = "",
            elevation: Text = "",
        ) -> Response:
            if not self._sessions.is_token(self._sessions.read(request), token):
                return PlainTextResponse(
                    "The form does not belong to this browser's session. Open the page again.", 403
                )
            given = {
                "name": name,
                "timezone": timezone,
                "units": units,
                "latitude": latitude,
                "longitude": longitude,
                "elevation": elevation,
            }
            try:
                place = {word: _number(word, given[word]) for word in NUMBERS}
                with new_trial(self.folder, settings_asked(name.strip(), timezone.strip(), units=units, **place)):
                    pass
                self._trial = create_app(self.folder, self.serving)
            except InputError as error:
                return self._form(request, given, error.problems)
            return RedirectResponse("/", SEE_OTHER)

        guard(app, self.serving)
        return app

    def _form(self, request: Request, given: dict[str, str], problems: tuple[Problem | str, ...] = ()) -> HTMLResponse:
        session = self._sessions.read(request)
        text = render(
            "begin.html",
            {
                "given": given,
                "problems": problems,
                "token": self._sessions.token(session),
                "folder": str(self.folder),
                "zones": sorted(available_timezones()),
            },
        )
        response = HTMLResponse(text, 422 if problems else 200)
        self._sessions.write(response, session)
        return response


def _number(name: str, text: str) -> float | None:
    if not text.strip():
        return None
    try:
        return float(text.strip().replace(",", ".").replace("\N{MINUS SIGN}", "-"))
    except ValueError:
        raise InputError(Problem(f"'{text}'", f"{NUMBERS[name]}, or nothing", column=name)) from None
