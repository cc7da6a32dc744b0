"""One request of one person: who it is, what that person may do, and the page that answers.

A page asks for the kind of visit it needs: :data:`Anyone` (signing in), :data:`Viewer`, :data:`Scorer`, :data:`Owner`
to look; the same with ``Writes`` for a form, which must bring its session's token.
"""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from dataclasses import dataclass
from typing import Annotated, Any
from urllib.parse import urlsplit

from fastapi import Depends, HTTPException, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from hardiness.errors import InputError
from hardiness.store.history import who_acts
from hardiness.trial import Trial
from hardiness.web.jobs import Answer
from hardiness.web.pages import Progress, render
from hardiness.web.place import Place, place_of
from hardiness.web.security import is_loopback
from hardiness.web.sessions import Session

RANKS = {"": 0, "viewer": 1, "scorer": 2, "owner": 3}
TOKEN_FIELD, TOKEN_HEADER = "token", "X-Token"
SEE_OTHER = 303


class SignInNeededError(Exception):
    """Nobody has signed in, and the page is not for everyone."""


@dataclass(frozen=True)
class Visit:
    """One request of one person.

    Parameters
    ----------
    request : Request
    place : Place
    session : Session
    who : str
        What the history calls the person; empty where nobody has signed in.
    role : str
        ``owner``, ``scorer``, ``viewer`` or empty.
    accounts : bool
        Whether there are accounts at all.
    """

    request: Request
    place: Place
    session: Session
    who: str
    role: str
    accounts: bool

    def may(self, role: str) -> bool:
        """Whether the person may do what a role may.

        Parameters
        ----------
        role : str

        Returns
        -------
        bool
        """
        return RANKS[self.role] >= RANKS[role]

    @property
    def trial(self) -> Trial:
        """The trial, with this person acting."""
        return self.place.trial.acting_as(self.who)

    @property
    def here(self) -> str:
        """The page asked for, with its question."""
        url = self.request.url
        return f"{url.path}?{url.query}" if url.query else url.path

    def page(self, template: str, *, status: int = 200, **context: Any) -> HTMLResponse:
        """Answer with a page.

        Parameters
        ----------
        template : str
            Its file.
        status : int
            Of the answer.
        **context : object
            What the page shows.

        Returns
        -------
        HTMLResponse
        """
        sessions = self.place.sessions
        common = {
            "visit": self,
            "trial": self.place.trial.settings,
            "units": self.place.trial.settings.units,
            "token": sessions.token(self.session),
            "command": f"hardiness --trial {self.place.trial.folder.name}",
            "scoring": self.request.app.state.scoring,
            "settings_faults": self.place.settings_faults,
            "waiting": None,
            "problems": (),
            "said": (),
        }
        response = HTMLResponse(render(template, common | context), status_code=status)
        if self.session.fresh:
            sessions.write(response, self.session)
        return response

    def answer(self, template: str, stage: str, make: Callable[[Any], dict[str, Any]], **context: Any) -> HTMLResponse:
        """Answer with a page that rests on the flow: with how far the work is, until it is done.

        Parameters
        ----------
        template : str
        stage : str
            What must be worked out, one of :data:`hardiness.web.jobs.NAMES`.
        make : callable
            Makes what the page shows from the :class:`hardiness.web.jobs.Answer`.
        **context : object
            What it shows besides.

        Returns
        -------
        HTMLResponse
        """
        answer, page = self._reached(template, stage, context)
        return page or self.page(template, blocked=False, **(context | make(answer)))

    def _reached(self, template: str, stage: str, context: dict[str, Any]) -> tuple[Answer, HTMLResponse | None]:
        """The answer, and the page to show as long as its stage is not done."""
        answer = self.place.answers.up_to(stage)
        if isinstance(answer.fault, InputError):
            return answer, self.page(template, problems=answer.fault.problems, blocked=True, **context)
        if not answer.has(stage):
            return answer, self.page(template, waiting=Progress.of(answer, stage), **context)
        return answer, None

    def later(
        self, template: str, stage: str, key: tuple[str, ...], make: Callable[[Any], dict[str, Any]], **context: Any
    ) -> HTMLResponse:
        """Answer with a page that rests on more than the stages: made once behind it, then shown.

        Parameters
        ----------
        template : str
        stage : str
            As in :meth:`answer`.
        key : tuple of str
            What is made; its first word is shown while it is.
        make : callable
            Makes what the page shows from the :class:`hardiness.flow.Flow`.
        **context : object
            What it shows besides.

        Returns
        -------
        HTMLResponse
        """
        answer, page = self._reached(template, stage, context)
        if page is not None:
            return page
        made = self.place.answers.later(answer, key, make)
        if made is None:
            return self.page(template, waiting=Progress.job(key[0]), **context)
        return self.page(template, blocked=False, **(context | made))

    def go(self, path: str) -> Response:
        """Answer a write: see another page.

        Parameters
        ----------
        path : str

        Returns
        -------
        Response
        """
        response = RedirectResponse(path, status_code=SEE_OTHER)
        if self.session.fresh:
            self.place.sessions.write(response, self.session)
        return response


def visit_of(request: Request) -> Visit:
    """Find out who asks.

    Parameters
    ----------
    request : Request

    Returns
    -------
    Visit
    """
    place = place_of(request)
    place.refresh()
    session = place.sessions.read(request)
    accounts = place.trial.store.accounts.open()
    if not accounts:
        client = request.client.host if request.client else ""
        if place.serving.alone and is_loopback(client):
            return Visit(request, place, session, who_acts(), "owner", accounts=False)
        return Visit(request, place, session, "", "", accounts=False)
    account = next((one for one in accounts if one.name == session.name), None)
    if account is None:
        return Visit(request, place, session, "", "", accounts=True)
    return Visit(request, place, session, account.name, account.role, accounts=True)


def _looks(role: str) -> Callable[[Request], Visit]:
    def looks(request: Request) -> Visit:
        visit = visit_of(request)
        if visit.may(role):
            return visit
        if not visit.role:
            raise SignInNeededError
        raise HTTPException(403, f"That is for the {role}; {visit.who} is {visit.role}.")

    return looks


def _writes(role: str) -> Callable[[Request], Awaitable[Visit]]:
    looks = _looks(role)

    async def writes(request: Request) -> Visit:
        brought: object = request.headers.get(TOKEN_HEADER)
        if brought is None:
            brought = (await request.form()).get(TOKEN_FIELD)
        session = place_of(request).sessions.read(request)
        if not isinstance(brought, str) or not place_of(request).sessions.is_token(session, brought):
            raise HTTPException(403, "The form does not belong to this browser's session. Open the page again.")
        if not _from_here(request):
            raise HTTPException(403, "The form comes from another site.")
        return looks(request)

    return writes


def _from_here(request: Request) -> bool:
    """Whether a write comes from a page of ours, where the browser says where it comes from."""
    if request.headers.get("sec-fetch-site", "same-origin") not in ("same-origin", "none"):
        return False
    origin = request.headers.get("origin")
    return origin is None or urlsplit(origin).netloc == request.headers.get("host", "")


Anyone = Annotated[Visit, Depends(_looks(""))]
Viewer = Annotated[Visit, Depends(_looks("viewer"))]
Scorer = Annotated[Visit, Depends(_looks("scorer"))]
Owner = Annotated[Visit, Depends(_looks("owner"))]
AnyoneWrites = Annotated[Visit, Depends(_writes(""))]
ScorerWrites = Annotated[Visit, Depends(_writes("scorer"))]
OwnerWrites = Annotated[Visit, Depends(_writes("owner"))]
