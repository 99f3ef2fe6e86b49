"""The button under one finger, bound to what the imager can do.

Edges come on gpiozero's own thread and are read into gestures there, under a lock; what they mean is done by the imager's loop in
``run_due``. One thing does not wait for the loop: a release ends the light on the spot. And light is only ever asked for while the
contact is closed at that very moment, so a loop that was late does not light a ring nobody holds.
"""

import threading
from typing import TYPE_CHECKING, Any, Protocol

from device.gestures import Gesture, GestureReader
from shared.clock import Clock
from shared.errors import Refused
from shared.settings import ButtonSettings

if TYPE_CHECKING:
    from gpiozero import Button

STUCK_AFTER_S = 300.0
"""A perfusion run is held for one to three minutes (common practice, no source); beyond five the button is reported."""


class Actions(Protocol):
    """What a finger can set off. None of these may block. ``light_off`` may come on another thread; the rest on the loop's."""

    @property
    def light_wanted(self) -> bool:
        """Whether light is asked for now, by whomever."""

    def light_on(self) -> None:
        """Ask the guard for light, until ``light_off``."""

    def light_off(self) -> None:
        """End the light. Safe to call from any thread, and when it is off already."""

    def confirmed(self, pressed_ns: int) -> bool:
        """Whether the page waited for a short press that began at ``pressed_ns``; it then does nothing else."""

    def step_light(self) -> None:
        """Next light level up; after the highest, the lowest."""

    def toggle_recording(self) -> None:
        """Start a recording, or stop the one that runs."""

    def mark_injection(self, pressed_ns: int) -> None:
        """Dye went in at ``pressed_ns``, the first edge of the gesture."""


def open_button(settings: ButtonSettings, pin_factory: Any = None) -> "Button":
    """Button between ``settings.pin`` and ground; raises Refused when the pin cannot be had.

    gpiozero's own debouncing stays off, since it would swallow the first edge of a release. ``pin_factory`` None: the board's.
    """
    from gpiozero import Button  # where there is no button its 5 MB are not taken

    try:
        return Button(settings.pin, pull_up=True, bounce_time=None, pin_factory=pin_factory)
    except Exception as error:
        raise Refused(
            f"the button's pin {settings.pin} cannot be opened ({type(error).__name__}: {error})",
            remedy="check button.pin in the settings, and that nothing else uses the pin",
        ) from error


class Controls:
    """Owns the button from here on; ``close`` ends the light and frees the pin."""

    def __init__(
        self, button: "Button", actions: Actions, settings: ButtonSettings, *, hold_to_light: bool, clock: Clock
    ) -> None:
        self._button = button
        self._actions = actions
        self._hold_to_light = hold_to_light
        self._clock = clock
        self._reader = GestureReader(settings)
        self._lock = threading.Lock()
        self._waiting: list[Gesture] = []
        self._failure: Exception | None = None
        self._lit_by_hold = False
        self._opened_once = not button.is_pressed
        button.when_pressed = self._on_pressed
        button.when_released = self._on_released

    @property
    def next_deadline_ns(self) -> int | None:
        """When ``run_due`` has something to do even if the finger stays as it is; None: nothing until the next edge."""
        with self._lock:
            return self._clock.now_ns() if self._waiting or self._failure else self._reader.next_deadline_ns

    @property
    def warnings(self) -> tuple[str, ...]:
        """Sentences for the page about the button itself."""
        with self._lock:
            pressed_ns = self._reader.pressed_since_ns
            if not self._opened_once:
                return ("the button was down at the start and is ignored until it is released",)
            held_s = 0.0 if pressed_ns is None else (self._clock.now_ns() - pressed_ns) / 1e9
        if held_s >= STUCK_AFTER_S:
            return (f"the button has been down for {held_s / 60:.0f} minutes; is it stuck?",)
        return ()

    def run_due(self) -> None:
        """Do whatever the finger has asked for by now. The imager calls this each turn, and at ``next_deadline_ns``.

        An error of an action, or of the pin, ends the light and is raised.
        """
        try:
            with self._lock:
                self._raise_failure()
                # A driver may drop an edge under load; the level itself cannot be missed for longer than a turn.
                self._read_edge(bool(self._button.is_pressed))
            while (gesture := self._next_gesture()) is not None:
                self._do(gesture)
        except BaseException:
            self._actions.light_off()
            raise

    def close(self) -> None:
        """End the light and free the pin; may be called twice."""
        try:
            self._actions.light_off()
        finally:
            self._button.close()

    def _on_pressed(self) -> None:
        self._on_edge(True)

    def _on_released(self) -> None:
        self._on_edge(False)

    def _on_edge(self, pressed: bool) -> None:
        """On gpiozero's thread, where an exception would vanish: it is kept for ``run_due``, and the light goes off."""
        try:
            with self._lock:
                self._read_edge(pressed)
        except Exception as error:  # noqa: BLE001 (raised again in run_due)
            self._failure = error
            self._actions.light_off()

    def _read_edge(self, pressed: bool) -> None:
        """Under the lock. Ends the light at once where a hold ended; everything else waits for the loop."""
        now_ns = self._clock.now_ns()
        self._opened_once = self._opened_once or not pressed
        if self._opened_once:
            self._reader.edge(pressed, now_ns)
        for gesture in self._reader.tick(now_ns):
            if gesture.kind == "hold ended":
                self._end_hold()
            else:
                self._waiting.append(gesture)

    def _end_hold(self) -> None:
        if self._lit_by_hold:
            self._lit_by_hold = False
            self._actions.light_off()

    def _next_gesture(self) -> Gesture | None:
        with self._lock:
            return self._waiting.pop(0) if self._waiting else None

    def _do(self, gesture: Gesture) -> None:
        if gesture.kind == "hold began":
            self._begin_hold(gesture)
        elif gesture.kind == "short press":
            if not self._actions.confirmed(gesture.time_ns):
                self._actions.step_light()
        elif gesture.kind == "double press":
            self._actions.toggle_recording()
        elif gesture.kind == "triple press":
            self._actions.mark_injection(gesture.time_ns)

    def _begin_hold(self, gesture: Gesture) -> None:
        if not self._hold_to_light and self._actions.light_wanted:
            self._actions.light_off()
            return
        with self._lock:  # so that no release slips in between looking and lighting
            if self._reader.held_since_ns != gesture.time_ns or not self._button.is_pressed:
                return
            self._lit_by_hold = self._hold_to_light
            self._actions.light_on()

    def _raise_failure(self) -> None:
        failure, self._failure = self._failure, None
        if failure is not None:
            raise failure
