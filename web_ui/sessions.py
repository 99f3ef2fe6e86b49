"""Which browsers are paired: one session each, until it is revoked or ends by itself.

A browser holds a random token in a cookie; here only the token's SHA-256 is kept, so what the run folder remembers opens nothing.
The run folder lives in memory until the next boot: a web process that is restarted knows its browsers, a device that is restarted
does not. Ages are counted on the monotonic clock, which setting the time of day does not move.
"""

import hmac
import json
import os
import secrets
from collections.abc import Callable
from dataclasses import dataclass, replace
from hashlib import sha256
from pathlib import Path
from threading import RLock
from typing import Annotated, Literal

from shared.bounded import Length, filled, plain
from shared.clock import Clock
from shared.errors import Refused
from web_ui.pair_words import WORDS

COOKIE = "tapetum_session"
LONGEST_S = 12 * 3600
IDLE_S = 2 * 3600
"""A session without an open page and without a request ends. Both limits: common practice, no source."""

MOST = 64
_KEEP_EVERY_S = 60.0

Way = Literal["word", "button", "invitation"]


@dataclass(frozen=True)
class Session:
    """A paired browser. ``number`` and ``label`` are no secrets; times are seconds of the monotonic clock.

    ``has_page`` says that it once took pictures: it is a page, and no program.
    """

    number: str
    label: str
    way: Way
    token_sha256: Annotated[str, Length(64, 64)]
    paired_s: float
    heard_s: float
    controls: bool = False
    has_page: bool = False


@dataclass(frozen=True)
class _Kept:
    sessions: tuple[Session, ...] = ()


class Sessions:
    """All sessions there are. Every method may be called by several threads at once; ``lock`` is for whoever needs several as one.

    ``on_end`` is called, under the lock, with each session that ends.
    """

    def __init__(self, clock: Clock, path: Path | None = None) -> None:
        """``path`` is the file that remembers them; raises Refused when this program did not write it."""
        self._clock = clock
        self._path = path
        self.lock = RLock()
        self._kept_s = 0.0
        self._by_token = {one.token_sha256: one for one in _read(path)} if path is not None else {}
        self.on_end: Callable[[Session], None] = lambda _: None

    def open(self, way: Way, label: str | None = None) -> tuple[Session, str]:
        """A new session and its token, which is told nobody else and never again; raises Refused when there are too many."""
        token = secrets.token_urlsafe(32)
        with self.lock:
            known = self.all()
            if len(known) >= MOST:
                raise Refused("too many tablets are paired", len(known), "revoke one first")
            now_s = self._now_s()
            label = label or new_label({one.label for one in known})
            session = Session(secrets.token_hex(4), label, way, _digest(token), now_s, now_s)
            self._by_token[session.token_sha256] = session
            self._keep()
        return session, token

    def of(self, token: str | None) -> Session | None:
        """Session of a token, which has then been heard of; None for any other token."""
        if not token or len(token) > 200:
            return None
        digest = _digest(token)
        with self.lock:
            session = self._by_token.get(digest)
            if session is None or not hmac.compare_digest(session.token_sha256, digest):
                return None
            if self._over(session):
                self.end(session.number)
                return None
            session = replace(session, heard_s=self._now_s())
            self._by_token[digest] = session
            if session.heard_s - self._kept_s > _KEEP_EVERY_S:
                self._keep()
            return session

    def all(self) -> tuple[Session, ...]:
        """Sessions that have not ended, the oldest first."""
        with self.lock:
            for session in [one for one in self._by_token.values() if self._over(one)]:
                self.end(session.number)
            return tuple(sorted(self._by_token.values(), key=lambda one: one.paired_s))

    def get(self, number: str) -> Session | None:
        """Session of that public number."""
        return next((one for one in self.all() if one.number == number), None)

    @property
    def controller(self) -> Session | None:
        """The session that controls."""
        return next((one for one in self.all() if one.controls), None)

    def set_controller(self, number: str) -> None:
        """From now on that session controls, and no other."""
        with self.lock:
            self._by_token = {key: replace(one, controls=one.number == number) for key, one in self._by_token.items()}
            self._keep()

    def set_page(self, number: str) -> None:
        """That session has a page."""
        with self.lock:
            known = self.get(number)
            if known is not None and not known.has_page:
                self._by_token[known.token_sha256] = replace(known, has_page=True)
                self._keep()

    def replace(self, old: Session, new: Session) -> None:
        """The same browser goes on with a new session, which controls if the old one did."""
        with self.lock:
            if (current := self.get(old.number)) is not None and current.controls:
                self.set_controller(new.number)
            self.end(old.number)

    def end(self, number: str) -> bool:
        """End a session; False when there is none of that number."""
        with self.lock:
            session = next((one for one in self._by_token.values() if one.number == number), None)
            if session is None:
                return False
            del self._by_token[session.token_sha256]
            self._keep()
            self.on_end(session)
            return True

    def age_s(self, session: Session) -> float:
        """Seconds since it was paired."""
        return self._now_s() - session.paired_s

    def silent_s(self, session: Session) -> float:
        """Seconds since it was heard of last."""
        return self._now_s() - session.heard_s

    def _over(self, session: Session) -> bool:
        return self.age_s(session) > LONGEST_S or self.silent_s(session) > IDLE_S

    def _now_s(self) -> float:
        return self._clock.now_ns() / 1e9

    def _keep(self) -> None:
        self._kept_s = self._now_s()
        if self._path is not None:
            keep_secret(self._path, json.dumps(plain(_Kept(tuple(self._by_token.values())))))


def new_label(taken: set[str]) -> str:
    """Two plain words by which people tell tablets apart, like ``amber heron``."""
    while (label := f"{secrets.choice(WORDS)} {secrets.choice(WORDS)}") in taken:
        continue
    return label


def keep_secret(path: Path, text: str) -> None:
    """Write so that nobody else can read it, at no moment."""
    fresh = path.with_name(f"{path.name}.{os.getpid()}.new")
    fresh.unlink(missing_ok=True)
    with os.fdopen(os.open(fresh, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w") as file:
        file.write(text)
    fresh.replace(path)


def _read(path: Path) -> tuple[Session, ...]:
    try:
        return filled(_Kept, json.loads(path.read_text()), str(path)).sessions
    except FileNotFoundError:
        return ()
    except ValueError:
        raise Refused("not what this program wrote", str(path), "remove the file; browsers must pair again") from None


def _digest(token: str) -> str:
    return sha256(token.encode(errors="surrogatepass")).hexdigest()
