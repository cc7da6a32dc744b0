"""Who sits at the browser: a signed cookie, and the token that every write must bring.

The cookie holds a random session number and the account's name, signed with a key that lives as long as the server
runs. What an account may do is looked up at each request, so a closed one ends at once. The token is made from the
session number: another site can send a form, but cannot read a page to learn it.
"""

from __future__ import annotations

import hashlib
import hmac
import secrets
from dataclasses import dataclass, field

from itsdangerous import BadSignature, URLSafeTimedSerializer
from starlette.requests import Request
from starlette.responses import Response

COOKIE = "hardiness"
LASTS_S = 12 * 3600  # [s] a night's work


@dataclass(frozen=True, slots=True)
class Session:
    """One browser's session.

    Parameters
    ----------
    number : str
        Random.
    name : str
        The account; empty where nobody has signed in.
    fresh : bool
        Whether the browser does not have its cookie yet.
    """

    number: str
    name: str = ""
    fresh: bool = False


@dataclass(frozen=True)
class Sessions:
    """Makes, reads and signs sessions.

    Parameters
    ----------
    secure : bool
        Whether the server speaks https: cookies then go nowhere else.
    """

    secure: bool = False
    key: str = field(default_factory=lambda: secrets.token_hex(32))

    @property
    def _signer(self) -> URLSafeTimedSerializer:
        return URLSafeTimedSerializer(self.key, salt="session", signer_kwargs={"digest_method": hashlib.sha256})

    def read(self, request: Request) -> Session:
        """Read the session of a request; one without a good cookie gets a new one.

        Parameters
        ----------
        request : Request

        Returns
        -------
        Session
        """
        try:
            number, name = self._signer.loads(request.cookies.get(COOKIE, ""), max_age=LASTS_S)
        except (BadSignature, ValueError, TypeError):
            return self.begin()
        return Session(str(number), str(name))

    def begin(self, name: str = "") -> Session:
        """Begin a session: at the first page, and anew at signing in and out.

        Parameters
        ----------
        name : str
            The account.

        Returns
        -------
        Session
        """
        return Session(secrets.token_urlsafe(24), name, fresh=True)

    def write(self, response: Response, session: Session) -> None:
        """Send a session's cookie.

        Parameters
        ----------
        response : Response
        session : Session
        """
        response.set_cookie(
            COOKIE,
            self._signer.dumps([session.number, session.name]),
            max_age=LASTS_S,
            httponly=True,
            samesite="strict",
            secure=self.secure,
            path="/",
        )

    def token(self, session: Session) -> str:
        """Make the token that writes of a session must bring.

        Parameters
        ----------
        session : Session

        Returns
        -------
        str
        """
        return hmac.new(self.key.encode(), f"token {session.number}".encode(), hashlib.sha256).hexdigest()

    def is_token(self, session: Session, brought: str) -> bool:
        """Whether a write brings its session's token.

        Parameters
        ----------
        session : Session
        brought : str

        Returns
        -------
        bool
        """
        return hmac.compare_digest(self.token(session).encode(), brought.encode())
