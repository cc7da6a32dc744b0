"""The app: every page group joined, guarded, and tied to one trial folder."""

from __future__ import annotations

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path

from fastapi import FastAPI, HTTPException, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import HTMLResponse, PlainTextResponse, RedirectResponse, Response
from fastapi.staticfiles import StaticFiles

from hardiness.errors import InputError, StoreError
from hardiness.figures.typeface import FOLDER
from hardiness.report.pocket_sheet import POCKET
from hardiness.trial import open_trial
from hardiness.web import (
    accounts,
    editing,
    freezes,
    home,
    photos,
    pictures,
    readings,
    register,
    results,
    scoring,
    selections,
    takeaway,
    uploads,
)
from hardiness.web.limits import BodyLimit
from hardiness.web.pages import STATIC
from hardiness.web.place import Place, Serving
from hardiness.web.security import HEADERS, Guard, host_accepted, own_names
from hardiness.web.visits import SignInNeededError, visit_of

# A page group is a module with a router; another one is added here.
ROUTERS = (
    home.router,
    readings.router,
    freezes.router,
    results.router,
    selections.router,
    editing.router,
    register.router,
    uploads.router,
    takeaway.router,
    pictures.router,
    accounts.router,
    scoring.router,
    photos.router,
)
NOT_OURS = PlainTextResponse("This server does not go by that name. Use the address that hardiness serve printed.", 400)


def create_app(folder: str | Path, serving: Serving | None = None) -> FastAPI:
    """Make the web app of a trial.

    Parameters
    ----------
    folder : str or Path
        The trial folder; it is opened at once, and let go of when the app ends.
    serving : Serving, optional
        How it is served; unless told, on this computer alone.

    Returns
    -------
    FastAPI

    Raises
    ------
    InputError
        If it is no trial, or its settings are at fault.
    StoreError
        If the records cannot be opened.
    """
    serving = serving or Serving()
    place = Place.open(open_trial(folder), serving)
    place.trial.store.keep_log()

    @asynccontextmanager
    async def lifespan(_: FastAPI) -> AsyncIterator[None]:
        yield
        place.close()

    app = FastAPI(title="hardiness", lifespan=lifespan, docs_url=None, redoc_url=None, openapi_url=None)
    app.state.place = place
    app.state.scoring = any(router.prefix == "/score" for router in ROUTERS)
    for router in ROUTERS:
        app.include_router(router)
    app.mount("/static/fonts", StaticFiles(directory=FOLDER), name="fonts")
    app.mount("/static/cards", StaticFiles(directory=POCKET), name="cards")
    _answer_faults(app)
    guard(app, serving)
    return app


def guard(app: FastAPI, serving: Serving) -> None:
    """Give an app its static files, and what every request passes: the Host, the headers, the size.

    Parameters
    ----------
    app : FastAPI
    serving : Serving
    """
    app.mount("/static", StaticFiles(directory=STATIC), name="static")
    names = own_names(serving.host)
    app.add_middleware(BodyLimit, files=serving.largest_upload, refuse=_too_large)
    app.add_middleware(
        Guard,
        accepts=lambda header: host_accepted(header, names, loopback_only=serving.alone),
        refuse=NOT_OURS,
        secure=serving.secure,
    )


def _too_large(limit: int) -> Response:
    text = f"That is more than {limit / 1e6:g} MB, the most that is taken at once. Nothing was stored."
    return PlainTextResponse(
        f"{text} hardiness serve --largest-upload sets another limit; hardiness add takes any.", 413
    )


def _answer_faults(app: FastAPI) -> None:
    """Give every fault one kind of page."""

    def page(request: Request, status: int, title: str, problems: tuple[object, ...]) -> HTMLResponse:
        response = visit_of(request).page("fault.html", status=status, fault=title, problems=problems)
        response.headers.update(HEADERS)
        return response

    @app.exception_handler(SignInNeededError)
    def sign_in(request: Request, _: SignInNeededError) -> Response:
        return RedirectResponse("/sign-in", 303)

    @app.exception_handler(InputError)
    def input_fault(request: Request, error: InputError) -> Response:
        return page(request, 422, "That could not be taken", error.problems)

    @app.exception_handler(StoreError)
    def store_fault(request: Request, error: StoreError) -> Response:
        return page(request, 503, "The trial's files do not answer", (str(error),))

    @app.exception_handler(RequestValidationError)
    def form_fault(request: Request, error: RequestValidationError) -> Response:
        told = tuple(f"{one['loc'][-1]}: {one['msg']}" for one in error.errors())
        return page(request, 422, "The address or the form is not what this page takes", told)

    @app.exception_handler(HTTPException)
    @app.exception_handler(404)
    @app.exception_handler(405)
    def http_fault(request: Request, error: HTTPException) -> Response:
        titles = {
            404: "There is no such page",
            403: "That may not be done here",
            405: "That is not how this page works",
        }
        detail = (
            ()
            if error.status_code in (404, 405) and error.detail in ("Not Found", "Method Not Allowed")
            else (error.detail,)
        )
        return page(request, error.status_code, titles.get(error.status_code, "That did not work"), detail)

    @app.exception_handler(Exception)
    def our_fault(request: Request, error: Exception) -> Response:
        told = f"{type(error).__name__}. Nothing of your last step was stored; the window of hardiness serve says more."
        return PlainTextResponse(f"A fault of ours: {told}", 500, headers=HEADERS)
