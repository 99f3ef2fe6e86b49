"""The handheld's yes to a tablet, on the imager's real requests: in the dark, out of a recording, where there is a button."""

from collections.abc import Iterator
from pathlib import Path
from types import SimpleNamespace

import pytest

from device.imager.awaited_press import REACTION_NS
from shared.errors import Refused
from shared.protocol import control as c
from tests.conftest import ManualClock
from tests.device.imager.test_requests import Bench


@pytest.fixture
def bench(tmp_path: Path, manual_clock: ManualClock) -> Iterator[Bench]:
    made = Bench(tmp_path, manual_clock)
    made.loop.controls = SimpleNamespace(warnings=(), run_due=lambda: None)  # type: ignore[assignment]
    yield made
    made.close()


def asked(bench: Bench) -> int:
    answer = bench.requests.handle(c.AwaitPress(30))
    assert isinstance(answer, c.PressAwaited)
    bench.clock.advance_ms(REACTION_NS / 1e6)
    return answer.number


def look(bench: Bench, number: int, *, drop: bool = False) -> c.PressAwaited:
    answer = bench.requests.handle(c.GetPress(number, drop))
    assert isinstance(answer, c.PressAwaited)
    return answer


def test_a_press_says_yes(bench: Bench) -> None:
    number = asked(bench)
    assert bench.requests.confirmed(bench.clock.now_ns())
    assert look(bench, number).state == "pressed"
    assert not bench.requests.confirmed(bench.clock.now_ns())


def test_without_a_button_the_word_is_named(bench: Bench) -> None:
    bench.loop.controls = None
    with pytest.raises(Refused, match="no button to press; type the word"):
        bench.requests.handle(c.AwaitPress(30))


def test_light_and_recording_come_first(bench: Bench) -> None:
    bench.ask(c.Light("on"))
    with pytest.raises(Refused, match="needed for the light"):
        bench.requests.handle(c.AwaitPress(30))
    bench.ask(c.Light("off"))
    bench.ask(c.Record("start"))
    with pytest.raises(Refused, match="needed for the recording"):
        bench.requests.handle(c.AwaitPress(30))


@pytest.mark.parametrize(
    ("act", "reason"),
    [
        (lambda bench: bench.requests.light_on(), "light"),
        (lambda bench: bench.ask(c.Light("on")), "light"),
        (lambda bench: bench.requests.toggle_recording(), "recording"),
        (lambda bench: bench.ask(c.Record("start")), "recording"),
        (lambda bench: bench.requests.mark_injection(bench.clock.now_ns()), "recording"),
        (lambda bench: bench.ask(c.MarkInjection()), "recording"),
    ],
)
def test_whatever_begins_a_run_ends_the_waiting(bench: Bench, act, reason) -> None:
    number = asked(bench)
    act(bench)
    assert look(bench, number) == c.PressAwaited(number, "ended", 0.0, f"the button is needed for the {reason}")
    assert not bench.requests.confirmed(bench.clock.now_ns())


def test_letting_go_of_the_light_ends_nothing(bench: Bench) -> None:
    number = asked(bench)
    bench.ask(c.Light("off"))
    bench.requests.light_off()
    assert look(bench, number).state == "waiting"


def test_refused_from_the_page(bench: Bench) -> None:
    number = asked(bench)
    assert look(bench, number, drop=True).reason == "it was refused"
    assert look(bench, number).state == "ended"
