"""Headers of every answer, and which Host a request may name.

A page loads scripts, styles, fonts and pictures from this server only, runs no text as a script, and stands in no
frame. A name that is not ours in the Host header is refused: a page elsewhere could have it point at this machine. An
address in figures is safe, as no such page can own one.
"""

from __future__ import annotations

import ipaddress
import socket
from collections.abc import Callable, Iterable

from starlette.datastructures import MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

POLICY = "; ".join(
    (
        "default-src 'none'",
        "script-src 'self'",
        "style-src 'self'",
        "img-src 'self'",
        "font-src 'self'",
        "connect-src 'self'",
        "manifest-src 'self'",
        "form-action 'self'",
        "base-uri 'none'",
        "frame-ancestors 'none'",
    )
)
HEADERS = {
    "Content-Security-Policy": POLICY,
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(self), geolocation=(), microphone=(), payment=(), usb=()",
}
LOOPBACK = ("localhost", "127.0.0.1", "::1")


def is_loopback(address: str) -> bool:
    """Whether an address reaches this machine only.

    Parameters
    ----------
    address : str
        A name or an address.

    Returns
    -------
    bool

    Examples
    --------
    >>> is_loopback("127.0.0.1"), is_loopback("localhost"), is_loopback("192.168.1.7"), is_loopback("0.0.0.0")
    (True, True, False, False)
    """
    if address == "localhost":
        return True
    try:
        return ipaddress.ip_address(address).is_loopback
    except ValueError:
        return False


def host_named(header: str) -> str:
    """Take the host out of a Host header.

    Parameters
    ----------
    header : str

    Returns
    -------
    str
        In lower case, without port and brackets.

    Examples
    --------
    >>> host_named("LocalHost:8017"), host_named("[::1]:8017"), host_named("192.168.1.7")
    ('localhost', '::1', '192.168.1.7')
    """
    text = header.strip().lower()
    if text.startswith("["):
        return text[1:].split("]", 1)[0]
    return text.rsplit(":", 1)[0] if text.count(":") == 1 else text


def own_names(host: str) -> frozenset[str]:
    """List the names under which the server may be asked.

    Parameters
    ----------
    host : str
        The address it is bound to.

    Returns
    -------
    frozenset of str
    """
    names = {*LOOPBACK, host.lower()}
    if not is_loopback(host):
        name = socket.gethostname().lower()
        names |= {name, f"{name.split('.')[0]}.local"}
    return frozenset(names)


def host_accepted(header: str, names: Iterable[str], *, loopback_only: bool) -> bool:
    """Whether a Host header names this server.

    Parameters
    ----------
    header : str
        The header.
    names : iterable of str
        From :func:`own_names`.
    loopback_only : bool
        Whether the server is bound to this machine alone.

    Returns
    -------
    bool

    Examples
    --------
    >>> host_accepted("127.0.0.1:8017", LOOPBACK, loopback_only=True)
    True
    >>> host_accepted("evil.example:8017", LOOPBACK, loopback_only=False)
    False
    """
    host = host_named(header)
    if host in names:
        return True
    try:
        address = ipaddress.ip_address(host)
    except ValueError:
        return False
    return address.is_loopback or not loopback_only


class Guard:
    """Refuses a foreign Host, and gives every answer its headers.

    Parameters
    ----------
    app : ASGI application
    accepts : callable
        Whether a Host header is ours.
    refuse : ASGI application
        The answer to a foreign one.
    secure : bool
        Whether the server speaks https.
    """

    def __init__(self, app: ASGIApp, accepts: Callable[[str], bool], refuse: ASGIApp, *, secure: bool) -> None:
        self._app, self._accepts, self._refuse, self._secure = app, accepts, refuse, secure

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Serve one request."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return

        async def headed(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in HEADERS.items():
                    headers[name] = value
                if self._secure:
                    headers["Strict-Transport-Security"] = "max-age=86400"
                if not scope["path"].startswith("/static/"):
                    headers.setdefault("Cache-Control", "no-store")
            await send(message)

        host = dict(scope["headers"]).get(b"host", b"").decode("latin-1")
        await (self._app if self._accepts(host) else self._refuse)(scope, receive, headed)
