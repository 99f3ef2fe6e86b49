import pytest
from gpiozero.pins.mock import MockFactory

from device.light.pins import header_chip, input_pin, output_pin
from shared.errors import Refused


@pytest.fixture
def factory():
    factory = MockFactory()
    yield factory
    factory.close()
    factory.reset()


def test_a_pin_is_driven_low_from_the_first_moment(factory):
    pin = output_pin(17, factory)
    mock = factory.pin(17)
    assert (mock.function, mock.state) == ("output", 0)
    mock.assert_states([False])
    pin.on()
    assert mock.state == 1
    pin.toggle()
    assert mock.state == 0
    pin.close()
    pin.close()
    assert mock.function == "input"


def test_one_pin_one_owner(factory):
    with_owner = output_pin(17, factory)
    with pytest.raises(Refused, match="GPIO 17 cannot be driven"):
        output_pin(17, factory)
    with_owner.close()


@pytest.mark.parametrize(
    ("labels", "number"),
    [
        ({0: "pinctrl-bcm2711", 1: "raspberrypi-exp-gpio"}, 0),
        ({0: "gpio-brcmstb@107d508500", 4: "pinctrl-rp1"}, 4),  # Pi 5, kernels before the chip moved
        ({0: "pinctrl-rp1", 10: "gpio-brcmstb@107d508500"}, 0),  # and after
    ],
)
def test_the_headers_chip_is_found_by_label(labels, number):
    assert header_chip(range(16), labels.get) == number


def test_no_header_is_refused_with_what_is_there():
    with pytest.raises(Refused, match="3 gpio-sim"):
        header_chip(range(16), {3: "gpio-sim"}.get)


def test_a_switch_to_ground_is_pulled_up_and_an_open_wire_is_not_closed(factory):
    switch = input_pin(5, factory)
    assert factory.pin(5).pull == "up"
    assert not switch.is_active
    factory.pin(5).drive_low()
    assert switch.is_active
    factory.pin(5).drive_high()
    assert not switch.is_active
    with pytest.raises(Refused, match="GPIO 5 cannot be read"):
        input_pin(5, factory)
    switch.close()
