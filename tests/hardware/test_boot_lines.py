"""What the board sets up while booting agrees with the pin map."""

from pathlib import Path

from shared.pins import board_pins

ROOT = Path(__file__).parents[2]


def lines() -> list[str]:
    text = (ROOT / "systemd" / "boot-config.txt").read_text()
    return [line for line in text.splitlines() if line and not line.startswith("#")]


def test_every_pull_of_the_pin_map_is_set_from_the_first_moment():
    pulls: dict[int, str] = {}
    for line in lines():
        if line.startswith("gpio="):
            _, numbers, setting = line.split("=")
            pulls |= {int(number): setting for number in numbers.split(",")}
    wanted = {
        pin.gpio: f"ip,p{pin.pull[0]}"
        for pin in board_pins().pin
        if pin.owner != "kernel" and pin.function != "pwm" and pin.pull != "none" and not pin.name.startswith("camera_")
    }
    assert pulls == wanted


def test_the_kernel_is_told_of_its_own_pins():
    pins = board_pins()
    assert f"dtoverlay=pwm,pin={pins['ring_dimming'].gpio},func=4" in lines()
    assert f"dtoverlay=w1-gpio,gpiopin={pins['thermometer'].gpio}" in lines()
    assert "dtparam=i2c_arm=on" in lines()
