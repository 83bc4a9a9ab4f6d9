"""Who may do what: keys that are handed out, and what a browser shows afterwards. Only digests are kept."""

import hashlib
import secrets
import threading
from collections.abc import Callable
from time import monotonic
from typing import Final, Literal

Role = Literal["reads", "acts"]
"""`reads`: a viewer, sees every page. `acts`: a paired device, may also start, cancel and share."""

GOOD_FOR_S: Final = 600.0
"""How long a one-time key waits to be used."""

MOST_SESSIONS: Final = 200


class Keys:
    """Keys in force. The machine's own works until the program ends; one-time keys once; the viewers' for all of them.

    >>> keys = Keys()
    >>> once = keys.one_time()
    >>> keys.role(keys.enter(once)), keys.enter(once), keys.role("made up")
    ('acts', None, None)
    """

    def __init__(self, now: Callable[[], float] = monotonic) -> None:
        self._now, self._lock = now, threading.Lock()
        self.own, self.watching = secrets.token_urlsafe(24), secrets.token_urlsafe(24)
        self._lasting: dict[str, Role] = {digest(self.own): "acts", digest(self.watching): "reads"}
        self._once: dict[str, float] = {}
        self._sessions: dict[str, Role] = {}

    def one_time(self) -> str:
        """A fresh key that pairs one device, within ten minutes."""
        key = secrets.token_urlsafe(24)
        with self._lock:
            now = self._now()
            self._once = {d: until for d, until in self._once.items() if until > now}
            self._once[digest(key)] = now + GOOD_FOR_S
        return key

    def enter(self, key: str) -> str | None:
        """The session of a browser that brought this key; None for a key that is wrong, used or too old."""
        found = digest(key)
        with self._lock:
            role = self._lasting.get(found)
            if role is None and self._once.pop(found, 0.0) > self._now():
                role = "acts"
            if role is None:
                return None
            session = secrets.token_urlsafe(32)
            while len(self._sessions) >= MOST_SESSIONS:  # the oldest has to ask again
                del self._sessions[next(iter(self._sessions))]
            self._sessions[digest(session)] = role
            return session

    def role(self, session: str | None) -> Role | None:
        """What the browser with this session may do; None for one that is not known."""
        with self._lock:
            return self._sessions.get(digest(session)) if session else None


def digest(secret: str) -> str:
    """What is kept of a secret, and compared: who can time the comparison learns nothing of the secret itself."""
    return hashlib.sha256(secret.encode("utf-8", "replace")).hexdigest()
