"""As control changes hands, the light that the last hand asked for ends; the next hand waits until that was asked."""

import logging
from concurrent.futures import Future, ThreadPoolExecutor

from shared.errors import Refused
from shared.protocol.commissioning import StopWalk
from shared.protocol.control import Light, State
from web_ui.device_link import DeviceLink

_log = logging.getLogger(__name__)


class HandOver:
    """Asks the imager for dark in a thread of its own, one change after another. Safe from several threads."""

    def __init__(self, device: DeviceLink) -> None:
        self._device = device
        self._asking = ThreadPoolExecutor(max_workers=1, thread_name_prefix="hand-over")
        self._last: Future[None] | None = None

    def begin(self) -> None:
        """Whoever controlled does no longer; waits for nothing."""
        self._last = self._asking.submit(self._darken)

    def settle(self) -> None:
        """Wait until the dark of every change so far was asked for, so that it cannot put out what is asked for next."""
        if self._last is not None:
            self._last.result()

    def close(self) -> None:
        """Returns when what had begun was asked."""
        self._asking.shutdown()

    def _darken(self) -> None:
        try:
            self._device.ask_for(State, StopWalk())
            self._device.ask_for(State, Light("off"))
        except Refused as refusal:
            _log.warning("the light was not told that control changed hands: %s", refusal.line)
