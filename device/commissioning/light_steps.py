"""Takes a running device through its light levels, up and down with darkness between, while it records."""

from collections.abc import Callable
from dataclasses import dataclass

from device.commissioning.bench import Bench, Device
from device.commissioning.cases import LIGHT_OUTPUT
from shared.protocol.control import Target

TARGET: Target = "dye card"
LIT_FRAMES = 16
DARK_FRAMES = 10


@dataclass
class LightSteps:
    """One walk. ``say`` tells the person what goes on; ``pause`` waits some seconds."""

    device: Device
    say: Callable[[str], None]
    pause: Callable[[float], None]

    def recorded(self) -> str:
        """Walk through all levels; returns the recording's name. Raises Refused with the reason, the light off."""
        bench = Bench(self.device, self.say, self.pause)
        levels = bench.fit(levels=2).light_levels
        with bench.put_back():
            bench.target(TARGET)
            return self._walk(bench, levels)

    def _walk(self, bench: Bench, levels: tuple[float, ...]) -> str:
        with bench.recording(LIGHT_OUTPUT) as (name,):
            bench.at_level(levels[0], levels)
            bench.frames(DARK_FRAMES, lit=False)
            for level in (*levels, *reversed(levels)):
                bench.at_level(level, levels)
                self.say(f"level {level:.0%}")
                bench.frames(LIT_FRAMES, lit=True)
                bench.let_go()
                bench.frames(DARK_FRAMES, lit=False)
        return name
