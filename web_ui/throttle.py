"""How often something that strangers may try is looked at."""

import math
from collections import OrderedDict
from threading import Lock

from shared.clock import Clock


class TooManyTries(Exception):
    """Wait ``wait_s`` (whole seconds) before the next try."""

    def __init__(self, wait_s: int) -> None:
        super().__init__(f"too many tries; wait {wait_s} s")
        self.wait_s = wait_s


class Throttle:
    """Tries allowed; by default five at once and then one in five seconds for an address, thirty and one a second for all.

    The limit for all bounds a search from many addresses; the price is that a flood of tries can keep newcomers waiting. Browsers
    that are paired notice nothing.
    """

    _ADDRESSES = 1000

    def __init__(
        self, clock: Clock, own: tuple[int, float] = (5, 5.0), everyone: tuple[int, float] = (30, 1.0)
    ) -> None:
        """``own`` and ``everyone``: tries at once, and the seconds after which there is one more."""
        self._clock = clock
        self._lock = Lock()
        self._own = own
        self._all = _Bucket(*everyone)
        self._by_address: OrderedDict[str, _Bucket] = OrderedDict()

    def admit(self, address: str) -> None:
        """Count a try; raises TooManyTries when it comes too early (such a try is not looked at, so it tells nothing)."""
        with self._lock:
            now_s = self._clock.now_ns() / 1e9
            own = self._by_address.setdefault(address, _Bucket(*self._own))
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
