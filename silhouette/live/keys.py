"""Who may come in: the key in the printed address, exchanged once a browser for a cookie."""

from __future__ import annotations

import secrets


class Keys:
    """One key a start, and the cookies that it was exchanged for."""

    def __init__(self) -> None:
        self.key = secrets.token_urlsafe(24)
        self._cookies: set[str] = set()

    def enter(self, key: str) -> str | None:
        """A new cookie's value for the right key, else None."""
        if not secrets.compare_digest(key.encode(), self.key.encode()):
            return None
        value = secrets.token_urlsafe(24)
        self._cookies.add(value)
        return value

    def knows(self, cookie: str | None) -> bool:
        """Whether a cookie was given out at this start."""
        given = (cookie or "").encode()
        return any(secrets.compare_digest(given, one.encode()) for one in self._cookies)
