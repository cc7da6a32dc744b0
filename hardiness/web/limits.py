"""Limits on what a browser may send: how much in one request, and how often a wrong passphrase.

In: requests. Out: the request, or a refusal. Bodies are counted as they come, whatever their header says.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field

from starlette.types import ASGIApp, Message, Receive, Scope, Send

FORM_BYTES = 1_000_000  # a page's form without a file
FILE_PATHS = ("/readings/files", "/register/files", "/score/photos")  # where files are dropped
TRIES, WINDOW_S = 5, 900.0  # wrong passphrases by one name or from one address within 15 minutes; common practice
MOST_KEPT = 10_000  # names and addresses remembered


class TooLargeError(Exception):
    """More came than is accepted."""

    def __init__(self, limit: int) -> None:
        self.limit = limit
        super().__init__(f"more than {limit:,} bytes")


class BodyLimit:
    """Refuses a request whose body is too large, while it comes.

    Parameters
    ----------
    app : ASGI application
    files : int
        Most bytes where files are dropped; other forms take :data:`FORM_BYTES`.
    refuse : callable
        Makes the answer to one that is too large, from the limit.
    """

    def __init__(self, app: ASGIApp, files: int, refuse: Callable[[int], ASGIApp]) -> None:
        self._app, self._files, self._refuse = app, files, refuse

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Serve one request."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        limit = self._files if scope["path"].startswith(FILE_PATHS) else FORM_BYTES
        headers = dict(scope["headers"])
        told = headers.get(b"content-length", b"0")
        if not told.isdigit() or int(told) > limit:
            await self._refuse(limit)(scope, receive, send)
            return
        seen = 0
        started = False

        async def counted() -> Message:
            nonlocal seen
            message = await receive()
            seen += len(message.get("body", b""))
            if seen > limit:
                raise TooLargeError(limit)
            return message

        async def noted(message: Message) -> None:
            nonlocal started
            started = True
            await send(message)

        try:
            await self._app(scope, counted, noted)
        except TooLargeError:
            if started:
                raise
            await self._refuse(limit)(scope, receive, send)


@dataclass
class Tries:
    """Remembers wrong passphrases, by name and by address, and says when to wait.

    Parameters
    ----------
    clock : callable
        Seconds that only rise.
    """

    clock: Callable[[], float] = time.monotonic
    _wrong: dict[str, list[float]] = field(default_factory=dict)
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def wait_s(self, *keys: str) -> float:
        """Say how long the next try must wait.

        Parameters
        ----------
        *keys : str
            The name and the address.

        Returns
        -------
        float
            0 where it need not. [s]
        """
        now = self.clock()
        with self._lock:
            waits = [0.0]
            for key in keys:
                recent = [at for at in self._wrong.get(key, []) if now - at < WINDOW_S]
                if len(recent) >= TRIES:
                    waits.append(WINDOW_S - (now - recent[-TRIES]))
            return max(waits)

    def wrong(self, *keys: str) -> None:
        """Note a wrong passphrase.

        Parameters
        ----------
        *keys : str
            The name and the address.
        """
        now = self.clock()
        with self._lock:
            if len(self._wrong) > MOST_KEPT:
                self._wrong = {key: ats for key, ats in self._wrong.items() if now - ats[-1] < WINDOW_S}
            for key in keys:
                self._wrong[key] = [at for at in self._wrong.get(key, []) if now - at < WINDOW_S] + [now]

    def right(self, *keys: str) -> None:
        """Forget the wrong ones after a right one.

        Parameters
        ----------
        *keys : str
            The name and the address.
        """
        with self._lock:
            for key in keys:
                self._wrong.pop(key, None)
