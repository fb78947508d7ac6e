"""What is shown once and kept nowhere: it waits in this process from the form that made it until the next page.

So a form can go on to another address, and neither that address nor a page that is loaded again gives it away.
"""

import secrets
import time
from collections.abc import Callable
from threading import Lock

from fastapi import FastAPI

WAITS_S = 300
WAITING_MOST = 100


class ShownOnce:
    """Secrets by a key of their own: each is given out once, within minutes, the oldest forgotten."""

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock = clock
        self._waiting: dict[str, tuple[float, str]] = {}
        self._lock = Lock()

    def keep(self, secret: str) -> str:
        """The key by which it is shown."""
        key = secrets.token_urlsafe(9)
        with self._lock:
            self._forget()
            for oldest in list(self._waiting)[: max(0, len(self._waiting) - WAITING_MOST + 1)]:
                del self._waiting[oldest]
            self._waiting[key] = (self._clock(), secret)
        return key

    def take(self, key: str) -> str | None:
        """What was kept under a key, if it was not shown yet."""
        with self._lock:
            self._forget()
            return self._waiting.pop(key, (0.0, None))[1]

    def _forget(self) -> None:
        since = self._clock() - WAITS_S
        for key in [key for key, (kept, _) in self._waiting.items() if kept < since]:
            del self._waiting[key]


_making = Lock()


def shown_once(app: FastAPI) -> ShownOnce:
    """The application's own, made when it is first asked for."""
    with _making:
        if not hasattr(app.state, "shown_once"):
            app.state.shown_once = ShownOnce()
    waiting: ShownOnce = app.state.shown_once
    return waiting
