"""Who may look: a word shown by the device is exchanged, once a browser, for a signed cookie.

The word is two plain words and four digits: easy to read aloud and to type in gloves, 2 x 8 + 13.3 = 29 bits. That is enough
because tries are throttled: at the one wrong try a second that all addresses together get in the long run, half of the words
take nine years, and each boot has a new one.

The secret that signs cookies lives in the run folder, so a web process that is restarted knows its browsers again, and a device
that is restarted does not. Ages are counted on the monotonic clock, which setting the time of day does not move.
"""

import hmac
import json
import math
import os
import secrets
from collections import OrderedDict
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path
from threading import Lock
from typing import Annotated, Self

from itsdangerous import BadSignature, Signer

from shared.bounded import Length, filled, plain
from shared.clock import Clock
from shared.errors import Refused
from web_ui.pair_words import WORDS

COOKIE = "tapetum_session"
SESSION_S = 12 * 3600

_FILE = "pairing.json"
_LEAST_CHARACTERS = 6


class Unpaired(Exception):
    """The request comes from a browser that has not been paired, or not lately."""


class TooManyTries(Exception):
    """Wait ``wait_s`` (whole seconds) before the next try."""

    def __init__(self, wait_s: int) -> None:
        super().__init__(f"too many tries; wait {wait_s} s")
        self.wait_s = wait_s


@dataclass(frozen=True)
class _Kept:
    """What the run folder remembers until the next boot."""

    secret: Annotated[str, Length(64, 64)]
    word: str


def new_word() -> str:
    """Two words and four digits, like ``anchor-violet-4821``."""
    return f"{secrets.choice(WORDS)}-{secrets.choice(WORDS)}-{secrets.randbelow(10_000):04d}"


def _spoken(word: str) -> bytes:
    """The word without what people add or change when they type: capitals, spaces for dashes."""
    return "-".join(word.casefold().replace("-", " ").split()).encode(errors="surrogatepass")


class Pairing:
    """Checks words and cookies. ``paired`` and ``pair`` may be called by several threads at once."""

    def __init__(self, word: str, secret: bytes, clock: Clock) -> None:
        if len(word) < _LEAST_CHARACTERS:
            raise Refused("pairing word is too short", word, f"give at least {_LEAST_CHARACTERS} characters")
        self.word = word
        self._clock = clock
        self._signer = Signer(secret, salt=b"tapetum session", key_derivation="hmac", digest_method=sha256)
        self._throttle = Throttle(clock)

    @classmethod
    def kept_in(cls, run_folder: Path, clock: Clock, word: str | None = None) -> Self:
        """Pairing of this boot: what the run folder remembers, or a new secret and word. A ``word`` given replaces the kept one."""
        path = run_folder / _FILE
        try:
            kept = filled(_Kept, json.loads(path.read_text()), str(path))
            secret = bytes.fromhex(kept.secret)
        except FileNotFoundError:
            secret = secrets.token_bytes(32)
            kept = _Kept(secret.hex(), new_word())
        except ValueError:
            raise Refused(
                "not what this program wrote", str(path), "remove the file; browsers must pair again"
            ) from None
        pairing = cls(word or kept.word, secret, clock)
        _keep(path, _Kept(secret.hex(), pairing.word))
        return pairing

    def pair(self, word: str, address: str) -> str:
        """Cookie value for a browser that knows the word; raises Refused for a wrong one, TooManyTries above the rate."""
        self._throttle.admit(address)
        if not hmac.compare_digest(_spoken(word), _spoken(self.word)):
            raise Refused("that is not the word", remedy="read it again from the device; capitals do not matter")
        self._throttle.forgive(address)
        session = f"{secrets.token_hex(16)}.{self._clock.now_ns() // 1_000_000_000}"
        return self._signer.sign(session).decode()

    def paired(self, cookie: str | None) -> bool:
        """Whether this cookie value was made here, during this boot and not too long ago."""
        if not cookie or len(cookie) > 200:
            return False
        try:
            session = self._signer.unsign(cookie).decode()
        except BadSignature:
            return False
        age_s = self._clock.now_ns() / 1e9 - int(session.rpartition(".")[2])
        return age_s <= SESSION_S


def _keep(path: Path, kept: _Kept) -> None:
    """Write so that nobody else can read it, at no moment."""
    fresh = path.with_name(f"{_FILE}.{os.getpid()}.new")
    fresh.unlink(missing_ok=True)
    with os.fdopen(os.open(fresh, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w") as file:
        json.dump(plain(kept), file)
    fresh.replace(path)


class Throttle:
    """Tries allowed: five at once and then one in five seconds for an address, thirty at once and then one a second for all.

    The limit for all bounds a search from many addresses; the price is that a flood of tries can keep newcomers waiting. Browsers
    that are paired notice nothing.
    """

    _ADDRESSES = 1000

    def __init__(self, clock: Clock) -> None:
        self._clock = clock
        self._lock = Lock()
        self._all = _Bucket(30, 1.0)
        self._by_address: OrderedDict[str, _Bucket] = OrderedDict()

    def admit(self, address: str) -> None:
        """Count a try; raises TooManyTries when it comes too early (such a try is not looked at, so it tells nothing)."""
        with self._lock:
            now_s = self._clock.now_ns() / 1e9
            own = self._by_address.setdefault(address, _Bucket(5, 5.0))
            self._by_address.move_to_end(address)
            if len(self._by_address) > self._ADDRESSES:
                self._by_address.popitem(last=False)
            wait_s = max(own.wait_s(now_s), self._all.wait_s(now_s))
            if wait_s > 0:
                raise TooManyTries(math.ceil(wait_s))
            own.take(now_s)
            self._all.take(now_s)

    def forgive(self, address: str) -> None:
        """The address gave the right word: its earlier tries count no more."""
        with self._lock:
            self._by_address.pop(address, None)


class _Bucket:
    """``size`` tries at once, and one more each ``every_s`` seconds."""

    def __init__(self, size: int, every_s: float) -> None:
        self._size = size
        self._every_s = every_s
        self._full_at_s = -math.inf

    def wait_s(self, now_s: float) -> float:
        """Seconds until a try is allowed; 0 or less when it is."""
        return self._full_at_s - now_s - (self._size - 1) * self._every_s

    def take(self, now_s: float) -> None:
        """Use a try."""
        self._full_at_s = max(self._full_at_s, now_s) + self._every_s
