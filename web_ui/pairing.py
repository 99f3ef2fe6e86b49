"""How a browser becomes paired: by the word that the device prints, by the handheld's button, or by a controller's invitation.

The word is two plain words and four digits: easy to read aloud and to type in gloves, 2 x 8 + 13.3 = 29 bits. That is enough
because tries are throttled: at the one wrong try a second that all addresses together get in the long run, half of the words
take nine years, and each boot has a new one.

The button needs no secret: the page shows two words, and whoever holds the handheld presses once. An invitation is 128 random
bits in a QR code on the controller's page, good once, for two minutes, and only while the controller that made it controls.
"""

import hmac
import json
import secrets
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path
from threading import Lock
from typing import Self

from shared.bounded import filled, plain
from shared.clock import Clock
from shared.errors import Refused
from web_ui.pair_words import WORDS
from web_ui.sessions import Session, Sessions, Way, keep_secret
from web_ui.throttle import Throttle

INVITATION_S = 120.0

_FILE = "pair_word.json"
_LEAST_CHARACTERS = 6
_ASKS_OWN, _ASKS_ALL = (3, 20.0), (10, 10.0)


class Unpaired(Exception):
    """The request comes from a browser that has not been paired, or not lately."""


@dataclass(frozen=True)
class _Kept:
    """What the run folder remembers until the next boot."""

    word: str


@dataclass(frozen=True)
class _Invitation:
    digest: bytes
    until_ns: int
    by: str


def new_word() -> str:
    """Two words and four digits, like ``anchor-violet-4821``."""
    return f"{secrets.choice(WORDS)}-{secrets.choice(WORDS)}-{secrets.randbelow(10_000):04d}"


def _spoken(word: str) -> bytes:
    """The word without what people add or change when they type: capitals, spaces for dashes."""
    return "-".join(word.casefold().replace("-", " ").split()).encode(errors="surrogatepass")


def _digest(secret: str) -> bytes:
    return sha256(secret.encode(errors="surrogatepass")).digest()


class Pairing:
    """Opens sessions for whoever shows the word or an invitation. Safe from several threads."""

    def __init__(self, word: str, sessions: Sessions, clock: Clock) -> None:
        if len(word) < _LEAST_CHARACTERS:
            raise Refused("pairing word is too short", word, f"give at least {_LEAST_CHARACTERS} characters")
        self.word = word
        self._sessions = sessions
        self._clock = clock
        self._tries = Throttle(clock)
        self._asks = Throttle(clock, _ASKS_OWN, _ASKS_ALL)
        self._lock = Lock()
        self._invitation: _Invitation | None = None

    @classmethod
    def kept_in(cls, run_folder: Path, sessions: Sessions, clock: Clock, word: str | None = None) -> Self:
        """Pairing of this boot, with the word that the run folder remembers, or a new one. A ``word`` given replaces it."""
        path = run_folder / _FILE
        try:
            kept = filled(_Kept, json.loads(path.read_text()), str(path))
        except FileNotFoundError:
            kept = _Kept(new_word())
        except ValueError:
            raise Refused(
                "not what this program wrote", str(path), "remove the file; there will be a new word"
            ) from None
        pairing = cls(word or kept.word, sessions, clock)
        keep_secret(path, json.dumps(plain(_Kept(pairing.word))))
        return pairing

    def pair(self, word: str, address: str, known: Session | None = None) -> tuple[Session, str | None]:
        """Session for a browser that knows the word or an invitation, and its token; no token where it keeps the session ``known``.

        Raises Refused for anything else, TooManyTries above the rate.
        """
        self._tries.admit(address)
        way: Way
        if self._invited(word):
            way = "invitation"
        elif hmac.compare_digest(_spoken(word), _spoken(self.word)):
            way = "word"
        else:
            raise Refused("that is not the word", remedy="read it again from the device; capitals do not matter")
        self._tries.forgive(address)
        if known is not None and way in (known.way, "invitation"):
            return known, None
        session, token = self._sessions.open(way)
        if known is not None:
            self._sessions.replace(known, session)
        return session, token

    def invite(self, controller: Session) -> str:
        """A secret that pairs one browser, once. The one before it is good no more."""
        secret = secrets.token_urlsafe(16)
        until_ns = self._clock.now_ns() + round(INVITATION_S * 1e9)
        with self._lock:
            self._invitation = _Invitation(_digest(secret), until_ns, controller.number)
        return secret

    def admit_asker(self, address: str) -> None:
        """Count an asking for the button; raises TooManyTries when it comes too early."""
        self._asks.admit(address)

    def _invited(self, secret: str) -> bool:
        """Whether it is the invitation, which is then used up."""
        with self._lock:
            invitation = self._invitation
            if invitation is None or not hmac.compare_digest(_digest(secret), invitation.digest):
                return False
            self._invitation = None
        controller = self._sessions.controller
        return (
            self._clock.now_ns() < invitation.until_ns and controller is not None and controller.number == invitation.by
        )
