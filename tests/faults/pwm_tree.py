"""A tree of files that looks like the board's /sys to the guard, and ways to break it: the PWM, and the sensors it needs."""

import os
import shutil
from pathlib import Path

ENABLE_PIN, HEARTBEAT_PIN = 17, 27
SETTINGS = ("period", "duty_cycle", "enable")
SENSORS = {"bus/w1/devices/28-0123/temperature": "31250\n", "class/hwmon/hwmon0/in0_lcrit_alarm": "0\n"}


class PwmTree:
    """One chip with channel 0 exported, as the board's overlay leaves it."""

    def __init__(self, folder: Path) -> None:
        self.root = folder / "sys"
        self.pwm_class = self.root / "class" / "pwm"
        self.channel = self.pwm_class / "pwmchip0" / "pwm0"
        device = self.root / "devices" / "fe20c000.pwm"
        device.mkdir(parents=True)
        self.channel.mkdir(parents=True)
        (self.channel.parent / "device").symlink_to(device)
        for name, text in SENSORS.items():
            (self.root / name).parent.mkdir(parents=True)
            (self.root / name).write_text(text)
        self.mend()

    def mend(self) -> None:
        """Every file as it should be, stopped; a file that was right keeps its number."""
        (self.channel.parent / "npwm").write_text("2\n")
        self.channel.mkdir(exist_ok=True)
        for name in SETTINGS:
            path = self.channel / name
            if path.is_symlink() or not path.is_file() or not path.read_bytes().strip().isdigit():
                self._remove(path)
                path.write_text("0\n")

    def pulsing(self) -> bool:
        """Whether the files say so; a file that cannot be read counts as what it said last: pulsing."""
        numbers = [self._number(name) for name in SETTINGS]
        return all(numbers)

    def directory(self, name: str) -> None:
        """Writes and reads end with EISDIR."""
        self._remove(self.channel / name)
        (self.channel / name).mkdir()

    def full(self, name: str) -> None:
        """Writes end with ENOSPC; reads give zeros for ever, cut to none by whoever asks for a number."""
        self._link(name, Path("/dev/full"))

    def loop(self, name: str) -> None:
        """Opening ends with ELOOP."""
        self._link(name, self.channel / name)

    def pipe(self, name: str) -> None:
        """Opening waits for the other end, for ever."""
        self._remove(self.channel / name)
        os.mkfifo(self.channel / name)

    def garbage(self, name: str) -> None:
        """Reads give no number."""
        self._remove(self.channel / name)
        (self.channel / name).write_bytes(b"\xff\x00 many")

    def vanish(self, _name: str) -> None:
        """The whole channel is gone."""
        shutil.rmtree(self.channel, ignore_errors=True)

    def _link(self, name: str, target: Path) -> None:
        self._remove(self.channel / name)
        (self.channel / name).symlink_to(target)

    def _number(self, name: str) -> int:
        path = self.channel / name
        if path.is_symlink() or not path.is_file():
            return 1
        try:
            return int(path.read_text() or 1)
        except (OSError, ValueError):
            return 1

    @staticmethod
    def _remove(path: Path) -> None:
        if path.is_dir() and not path.is_symlink():
            path.rmdir()
        else:
            path.unlink(missing_ok=True)
