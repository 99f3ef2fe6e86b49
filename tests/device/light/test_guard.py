from dataclasses import replace

from device.light.conditions import SAME_EXPOSURES
from device.light.guard import BEAT_NS
from shared.protocol.light import Lease, Look, Rearm, Want

MS = 1_000_000


def frame(bench, sequence, interval_us=33_333.0, exposure_us=15_000.0, seen="unclear"):
    return bench.guard.take(Lease(10 + sequence, bench.clock.now_ns(), interval_us, exposure_us, seen))


def locked(bench):
    """An imager that has sent all but the last of the frames that make an exposure a locked one."""
    bench.guard.imager_came()
    for number in range(SAME_EXPOSURES - 1):
        age_ns = (SAME_EXPOSURES - number) * 1000
        bench.guard.take(Lease(number, bench.clock.now_ns() - age_ns, 33_333.0, 15_000.0))


def lit(bench, level=0.4):
    locked(bench)
    bench.guard.take(Want(True, level))
    status = frame(bench, 1)
    assert status.state == "lit"
    return status


def test_nothing_is_lit_before_frames_come_however_much_it_is_wanted(bench):
    bench.guard.imager_came()
    status = bench.guard.take(Want(True, 0.4))
    assert (status.state, status.level, status.wanted_on) == ("off", 0.0, True)
    assert "frames" in status.reason
    assert not bench.shining


def test_frames_alone_make_it_ready_and_not_lit(bench):
    locked(bench)
    assert frame(bench, 1).state == "ready"
    assert not bench.shining


def test_lit_in_the_safe_order_with_the_duty_asked_for(bench):
    lit(bench, 0.4)
    assert bench.acts[-3:] == [("pwm", "set"), ("enable", "on"), ("heartbeat", "toggle")]
    assert bench.pwm.duty_ns / bench.pwm.period_ns == 0.4
    assert 15_000_000 % bench.pwm.period_ns == 0


def test_dark_comes_at_the_lease_end_and_enable_goes_first(bench):
    status = lit(bench)
    assert status.lease_left_ms == 100.0
    bench.acts.clear()
    while bench.clock.now_ns() < 1_100 * MS:
        bench.clock.time_ns = bench.guard.due_ns()
        bench.guard.turn()
    assert bench.clock.now_ns() == 1_100 * MS
    assert not bench.shining
    dark = [act for act in bench.acts if act[1] == "off"]
    assert dark == [("enable", "off"), ("pwm", "off"), ("heartbeat", "off")]
    status = bench.guard.take(Look())
    assert (status.state, status.reason) == ("tripped", "the camera's frames stopped coming")
    assert (status.since_ns, status.lit_seconds) == (1_100 * MS, 0.1)


def test_a_lease_that_arrives_after_the_end_comes_too_late(bench):
    lit(bench)
    bench.clock.advance_ms(100)
    assert frame(bench, 2).state == "tripped"
    assert not bench.shining


def test_the_heart_beats_only_while_lit(bench):
    locked(bench)
    frame(bench, 1)
    bench.clock.advance_ms(50)
    frame(bench, 2)
    assert ("heartbeat", "toggle") not in bench.acts
    bench.guard.take(Want(True, 0.5))
    for number in range(10):
        bench.clock.time_ns += BEAT_NS
        frame(bench, 3 + number)
    assert bench.acts.count(("heartbeat", "toggle")) == 11
    bench.guard.take(Want(False, 0.5))
    bench.acts.clear()
    bench.clock.advance_ms(60)
    bench.guard.turn()
    assert ("heartbeat", "toggle") not in bench.acts


def test_the_level_changes_while_the_ring_is_dark(bench):
    lit(bench, 0.4)
    bench.clock.advance_ms(10)
    bench.acts.clear()
    status = bench.guard.take(Want(True, 0.8))
    assert (status.level, status.since_ns) == (0.8, 1_010 * MS)
    assert bench.acts == [("enable", "off"), ("pwm", "set"), ("enable", "on")]


def test_a_new_exposure_is_dark_until_it_is_locked_and_then_lit_at_its_own_period(bench):
    lit(bench)
    states = []
    for number in range(2, 6):
        bench.clock.advance_ms(1)
        states.append(frame(bench, number, exposure_us=7_777.0).state)
        assert bench.shining == (states[-1] == "lit")
    assert states == ["off", "off", "lit", "lit"]
    periods = 7_777_000 / bench.pwm.period_ns
    assert abs(periods - round(periods)) < 0.002  # whole but for the kernel's nanosecond
    assert "exposure is not steady yet: 1 of 3" in bench.log[-3]


def test_an_exposure_reported_a_microsecond_off_is_the_same_one(bench):
    lit(bench)
    bench.acts.clear()
    for number, exposure_us in enumerate((15_001.0, 14_999.0, 15_000.0)):
        bench.clock.advance_ms(1)
        assert frame(bench, 2 + number, exposure_us=exposure_us).state == "lit"
    assert ("pwm", "set") not in bench.acts


def test_a_level_above_the_settings_is_not_lit(manual_clock, make_bench, no_sensors):
    bench = make_bench(manual_clock, replace(no_sensors, levels=(0.2, 0.6)))
    locked(bench)
    frame(bench, 1)
    status = bench.guard.take(Want(True, 0.61))
    assert (status.state, status.level) == ("ready", 0.0)
    assert "0.61" in status.reason
    assert bench.guard.take(Want(True, 0.6)).state == "lit"


def test_off_is_not_a_trip_and_on_lights_again(bench):
    lit(bench)
    assert bench.guard.take(Want(False, 0.4)).state == "ready"
    assert not bench.shining
    assert bench.guard.take(Want(True, 0.4)).state == "lit"


def test_an_imager_that_vanishes_while_lit_trips_and_one_that_said_goodbye_does_not(bench):
    lit(bench)
    bench.guard.imager_left()
    assert not bench.shining
    assert bench.guard.light.trip_reason == "the imager is not connected to the light guard"
    bench.clock.advance_ms(1)
    locked(bench)
    bench.guard.take(Rearm("release"))
    bench.guard.take(Rearm("press"))
    frame(bench, 1)
    assert bench.guard.take(Want(True, 0.4)).state == "lit"
    bench.guard.take(Want(False, 0.4))
    bench.guard.imager_left()
    assert bench.guard.light.state == "off"


def test_the_first_reason_stays_and_holding_on_does_not_rearm(bench):
    lit(bench)
    bench.guard.fault("first")
    bench.guard.fault("second")
    assert frame(bench, 2).wanted_on is False, "a trip takes the wish back"
    for message in (Rearm("press"), Want(True, 0.4), Rearm("release"), Rearm("press")):
        status = bench.guard.take(message)
        assert (status.state, status.reason, status.level) == ("tripped", "first", 0.0)
    bench.guard.take(Want(False, 0.4))
    assert bench.guard.take(Rearm("release")).state == "tripped"
    bench.guard.take(Want(True, 0.4))  # pressed for light without a press to re-arm
    bench.guard.take(Want(False, 0.4))
    assert bench.guard.take(Rearm("press")).state == "tripped"
    bench.guard.take(Rearm("release"))
    bench.clock.advance_ms(1)
    frame(bench, 3)
    status = bench.guard.take(Rearm("press"))
    assert (status.state, status.wanted_on, status.reason) == ("ready", False, "")
    assert not bench.shining


def test_a_release_sent_before_the_trip_was_known_does_not_count(bench):
    lit(bench)
    bench.clock.advance_ms(200)
    assert bench.guard.take(Rearm("release")).state == "tripped"
    assert bench.guard.take(Rearm("press")).state == "tripped"


def test_time_that_runs_backwards_takes_no_light_off_the_count(bench):
    lit(bench)
    bench.clock.advance_ms(40)
    frame(bench, 2)
    bench.clock.advance_ms(-500)
    bench.guard.turn()
    assert bench.guard.take(Look()).lit_seconds == 0.0
    bench.clock.advance_ms(600)
    bench.guard.take(Rearm("pressed"))
    assert bench.guard.take(Look()).lit_seconds >= 0.0


def test_time_that_runs_backwards_trips_and_ends_the_lease(bench):
    lit(bench)
    bench.clock.time_ns -= 500 * MS
    bench.guard.turn()
    assert not bench.shining
    assert "backwards by 500.000 ms" in bench.guard.light.trip_reason
    assert bench.guard.take(Look()).lease_left_ms == 0


def test_a_pwm_that_fails_trips_and_leaves_enable_low(bench):
    locked(bench)
    frame(bench, 1)
    bench.pwm.broken = True
    status = bench.guard.take(Want(True, 0.4))
    assert status.state == "tripped"
    assert "the PWM is broken" in status.reason
    assert not bench.enable.high


def test_a_ring_that_cannot_be_switched_off_gets_no_heartbeat_and_is_tried_again(bench):
    lit(bench)
    bench.pwm.broken = bench.enable.broken = True
    bench.guard.take(Want(False, 0.4))
    assert bench.shining  # nothing in software can help now: the dead-man does, as no beat follows
    assert bench.guard.light.state == "tripped"
    bench.acts.clear()
    for _ in range(20):
        bench.clock.time_ns = bench.guard.due_ns()
        bench.guard.turn()
    assert ("heartbeat", "toggle") not in bench.acts
    for message in (Rearm("release"), Rearm("press")):
        bench.guard.take(message)
    frame(bench, 2)
    assert bench.guard.take(Want(True, 0.4)).level == 0.4, "the level in force is the truth, not the wish"
    bench.pwm.broken = bench.enable.broken = False
    bench.guard.turn()
    assert not bench.shining
    assert bench.guard.due_ns() is None or bench.guard.light.state != "lit"


def test_every_step_is_logged_in_one_line_with_time_and_reason(bench):
    lit(bench)
    bench.clock.advance_ms(100)
    bench.guard.turn()
    assert bench.log == [
        "1.000000 light off -> ready: all but the operator's conditions hold",
        "1.000000 light ready -> lit: every condition holds",
        "1.100000 light lit -> tripped: the camera's frames stopped coming",
    ]


def test_a_run_of_refused_frames_is_one_line(bench):
    bench.guard.imager_came()
    for _ in range(5):
        frame(bench, 1)
    assert sum("lease refused" in line for line in bench.log) == 1


def test_closing_is_dark_and_may_be_repeated(bench):
    lit(bench)
    bench.guard.close()
    assert not bench.shining
    bench.acts.clear()
    bench.guard.close()
    assert bench.acts == []


def test_a_ring_seen_in_the_dark_trips_at_once_and_says_to_take_the_power_away(bench):
    lit(bench)
    bench.guard.take(Want(False, 0.4))
    bench.clock.advance_ms(10)
    status = frame(bench, 2, seen="lit though dark")
    assert (status.state, bench.shining) == ("tripped", False)
    assert "take its power away" in status.reason
    assert any("camera: lit though dark" in line for line in bench.log)
    for act in ("release", "press"):
        status = bench.guard.take(Rearm(act))
    assert status.state == "ready", "it was an event, and the operator has answered it"
    bench.clock.advance_ms(10)
    assert frame(bench, 3, seen="lit though dark").state == "tripped"
    bench.clock.advance_ms(10)
    assert frame(bench, 4, seen="agrees").state == "tripped", "a second word does not undo the first"


def test_a_ring_that_is_not_seen_is_logged_and_stays_lit(bench):
    lit(bench)
    bench.clock.advance_ms(10)
    assert frame(bench, 2, seen="dark though lit").state == "lit"
    assert any("camera: dark though lit" in line for line in bench.log)
