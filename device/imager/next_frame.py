"""A look at the loop's next frame, for another thread; costs the loop nothing while nobody asks."""

from collections import deque
from collections.abc import Callable
from concurrent.futures import Future
from concurrent.futures import TimeoutError as TooLate
from typing import Any, TypeVar

from shared.errors import Refused
from shared.frame import Frame

T = TypeVar("T")


class NextFrame:
    """``look`` belongs to any thread, ``show`` to the one that takes the frames."""

    def __init__(self) -> None:
        self._asked: deque[tuple[Callable[[Frame], Any], Future[Any]]] = deque()

    def look(self, at: Callable[[Frame], T], timeout_s: float = 1.0) -> T:
        """What ``at`` returns for the next frame, whose pixels it must not keep; raises what it raises, or Refused without one."""
        answer: Future[T] = Future()
        self._asked.append((at, answer))
        try:
            return answer.result(timeout_s)
        except TooLate:
            raise Refused("no frame came in time", f"{timeout_s:g} s", "look after the camera") from None

    def show(self, frame: Frame) -> None:
        """Answer whoever asked since the last frame."""
        for _ in range(len(self._asked)):
            at, answer = self._asked.popleft()
            try:
                answer.set_result(at(frame))
            except Exception as error:  # noqa: BLE001  (it belongs to the one who asked, not to the loop)
                answer.set_exception(error)
