"""What commissioning asks of the imager besides: exposure while recording, targets, leases withheld on purpose."""

from dataclasses import replace

import pytest

from shared.errors import Refused
from shared.protocol import control as c
from tests.device.imager.test_requests import Bench, bench  # noqa: F401 - a fixture


def test_exposure_may_step_within_a_recording_where_it_is_asked_for_by_name(bench: Bench) -> None:  # noqa: F811
    bench.ask(c.Record("start", "gain-step"))
    with pytest.raises(Refused, match="exposure is locked"):
        bench.ask(c.SetExposure(9000, 1))
    bench.ask(c.StepExposure(9000, 1))
    assert bench.camera.exposures == [(9000, 1)]
    with pytest.raises(Refused, match="longer than a frame"):
        bench.ask(c.StepExposure(90_000, 1))


@pytest.mark.parametrize("case", ["", "R4-Heron", "gain-step-2-Heron"])
def test_no_request_moves_the_exposure_of_a_patients_run(bench: Bench, case: str) -> None:  # noqa: F811
    bench.ask(c.Record("start", case))
    for request in (c.StepExposure(9000, 1), c.SetExposure(9000, 1), c.ChooseExposure(apply=True, dye="is in")):
        with pytest.raises(Refused, match="exposure is locked"):
            bench.requests.handle(request)
    assert bench.camera.exposures == []
    bench.ask(c.Record("stop"))
    bench.ask(c.StepExposure(9000, 1))
    assert bench.camera.exposures == [(9000, 1)]


def test_a_target_is_put_before_a_simulated_camera_only_and_in_the_dark(bench: Bench) -> None:  # noqa: F811
    with pytest.raises(Refused, match="only a simulated camera"):
        bench.ask(c.PutTarget("cap"))
    shown: list[str] = []
    parts = replace(bench.parts, source=replace(bench.parts.source, on_target=shown.append))
    bench.requests._parts = parts
    bench.turns(3)
    with pytest.raises(Refused, match="in the dark"):
        bench.ask(c.PutTarget("cap"))
    bench.ask(c.Light("off"))
    bench.turns(1, held=False)
    bench.ask(c.PutTarget("cap"))
    assert shown == ["cap"]


def test_leases_are_withheld_until_the_guard_trips_and_no_longer_than_a_second(bench: Bench) -> None:  # noqa: F811
    bench.turns(3)
    leases = len(bench.link.leases)
    bench.ask(c.WithholdLeases())
    bench.turns(5)
    assert len(bench.link.leases) == leases
    bench.link.become("tripped")
    bench.turns(2, held=False)
    assert len(bench.link.leases) == leases + 2, "frames count again once it is dark"

    bench.ask(c.Light("rearm"))
    bench.ask(c.WithholdLeases())
    bench.turns(60, held=False)
    assert len(bench.link.leases) == leases + 2 + 60 - 30, "30 frames a second"


def test_light_that_is_held_ends_by_itself_where_light_is_switched(bench: Bench) -> None:  # noqa: F811
    light = bench.parts.light
    light._hold_to_light = False
    bench.ask(c.Light("hold"))
    assert light.wanted
    bench.clock.advance_ms(1001)
    assert not light.wanted
    bench.ask(c.Light("on"))
    bench.clock.advance_ms(5000)
    assert light.wanted
