"""Mock pins wired to the simulated ring: enable, heartbeat, and the pulses of software PWM."""

from typing import Any

from gpiozero.pins.mock import MockFactory, MockPWMPin

from device.light.simulated_ring import SimulatedRing


class RingPin(MockPWMPin):  # type: ignore[misc]
    """Mock pin with the circuit's pull-down, which tells the ring of each edge, or of the duty of its pulses.

    It cuts a duty down to whole percents as the board's library does, and forgets its history (a mock pin otherwise keeps
    it for ever).
    """

    def __init__(self, factory: Any, info: Any) -> None:
        self.told: Any = None
        super().__init__(factory, info)

    def _set_function(self, value: str) -> None:
        super()._set_function(value)
        if value == "input":
            self._change_state(False)

    def _change_state(self, value: float) -> bool:
        changed: bool = super()._change_state(int(value * 100) / 100)
        if changed:
            self.clear_states()
            if self.told is not None:
                self.told(self.state)
        return changed


def simulated_factory(
    ring: SimulatedRing, enable_pin: int, heartbeat_pin: int, pulse_pin: int | None = None
) -> MockFactory:
    """Pin factory whose enable and heartbeat pins are wired to ``ring``, and the pin of software PWM where there is one."""
    factory = MockFactory(pin_class=RingPin)
    factory.pin(enable_pin).told = lambda state: ring.enable(state > 0)
    if pulse_pin is not None:
        factory.pin(pulse_pin).told = lambda duty: ring.set(100, round(100 * duty))
    factory.pin(heartbeat_pin).told = lambda _high: ring.beat()
    return factory
