"""Who may come in: the key in the printed address, exchanged once a browser for a cookie."""

from __future__ import annotations

import secrets
import time
from collections import deque

MOST_COOKIES = 32
"""Browsers that may be inside at a time; the one that came first has to enter again."""
WRONG, WITHIN_S = 10, 60.0
"""Wrong keys in so many seconds, after which nobody is answered but who brings the right one."""


class Cookies:
    """The cookies that were given out at this start. Parted by door: what one gave, another does not know."""

    def __init__(self) -> None:
        self._given: deque[bytes] = deque(maxlen=MOST_COOKIES)

    def new(self) -> str:
        """A new cookie's value."""
        value = secrets.token_urlsafe(24)
        self._given.append(value.encode())
        return value

    def know(self, cookie: str | None) -> bool:
        """Whether a cookie was given out at this start."""
        shown = (cookie or "").encode("utf-8", "replace")
        return any([secrets.compare_digest(shown, one) for one in self._given])  # all of them: no early end

    def forget(self) -> None:
        """Nobody is inside any more."""
        self._given.clear()


class Keys:
    """The key of this start, and how often somebody tried another."""

    def __init__(self) -> None:
        self.key = secrets.token_urlsafe(24)
        self.cookies = Cookies()
        self._wrong: deque[float] = deque(maxlen=WRONG)

    def enter(self, key: str) -> str | None:
        """A new cookie's value for the right key, else None.

        The right key always opens, however many wrong ones came: it is too long to be guessed, and whoever tries must
        not keep the owner out.
        """
        if secrets.compare_digest(key.encode("utf-8", "replace"), self.key.encode()):
            return self.cookies.new()
        self._wrong.append(time.monotonic())
        return None

    def tired(self) -> bool:
        """Whether so many wrong keys came lately that no more of them are answered."""
        return len(self._wrong) == WRONG and time.monotonic() - self._wrong[0] < WITHIN_S
