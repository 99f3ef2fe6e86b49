"""How long the ring has been lit without enough of a pause. No clock of its own.

Lit time is used up second by second; dark time gives it back, all of it in ``rest_ns``. So many short pauses count as much as one
long one, and pauses too short to cool anything do not lift the limit. Once everything is used up, nothing but the whole rest helps.
"""

from shared.settings import LightSettings


class OnTime:
    """The account. ``resting`` from when everything was used up until the rest is over."""

    def __init__(self, settings: LightSettings, now_ns: int) -> None:
        self._longest_ns, self._rest_ns = round(settings.longest_lit_s * 1e9), round(settings.rest_s * 1e9)
        self._at_ns = now_ns
        self.used_ns = 0
        self.resting = False

    def pass_to(self, now_ns: int, lit: bool) -> None:
        """Count the time until ``now_ns``, all of it lit or all of it dark. A clock that steps back gives nothing back."""
        elapsed_ns, self._at_ns = max(0, now_ns - self._at_ns), now_ns
        if lit:
            self.used_ns = min(self.used_ns + elapsed_ns, self._longest_ns)
            self.resting = self.resting or self.used_ns == self._longest_ns
        elif self.used_ns:
            self.used_ns = max(0, self.used_ns - elapsed_ns * self._longest_ns // self._rest_ns)
            self.resting = self.resting and self.used_ns > 0

    @property
    def left_ns(self) -> int:
        """Light that is left."""
        return 0 if self.resting else self._longest_ns - self.used_ns

    @property
    def rest_left_ns(self) -> int:
        """Darkness that is needed before light; 0 when not resting."""
        return -(-self.used_ns * self._rest_ns // self._longest_ns) if self.resting else 0
