"""When the capture is started anew, when given up, and what counts as missed: simulated times."""

from itertools import pairwise

import pytest

from sidecar.sources.watch import OPEN_LIMIT_S, RETRY_S, STALL_S, CaptureWatchdog


def playing(until_s: float = 10.0, patience_s: float = 30.0) -> CaptureWatchdog:
    """A stream that has delivered until now."""
    watch = CaptureWatchdog(patience_s, 0.0)
    watch.report_frames(0.0, until_s)
    return watch


def looked_at(watch: CaptureWatchdog, from_s: float, until_s: float) -> str:
    """Ten looks a second up to that moment; gives what the last one says. None before it may restart."""
    for look in range(1, round((until_s - from_s) * 10) + 1):
        verdict = watch.verdict(from_s + 0.1 * look)
        if verdict != "wait":
            assert from_s + 0.1 * look > until_s - 0.01, "too soon"
            return verdict
    return "wait"


def test_a_pause_of_under_a_second_is_waited_out():
    """Nothing is touched while arrivals are merely late."""
    assert playing(10.0).verdict(10.0 + STALL_S - 0.01) == "wait"


def test_a_second_of_nothing_starts_the_capture_anew():
    """A hung sound system shows in nothing but silence, so a silent second is enough."""
    assert looked_at(playing(10.0), 10.0, 10.0 + STALL_S) == "restart"


def test_who_looks_late_lets_the_sound_system_be_late_as_well():
    """A machine that gave this process no time for 1.5 s gave the sound system none: it is not started anew
    for that, which would lose what it still holds; a second in which looks come and no frames is enough."""
    watch = playing(10.0)

    assert watch.verdict(11.5) == "wait"
    assert looked_at(watch, 11.5, 11.5 + STALL_S) == "restart"


def test_a_dead_process_is_replaced_at_once():
    """Each moment without capture is programme that is not measured."""
    watch = playing(10.0)
    watch.ended(10.2)

    assert watch.verdict(10.2) == "restart"


def test_a_failed_start_is_retried_after_half_a_second():
    """A server that is away is asked again, but not in a tight loop."""
    watch = playing(10.0)
    watch.ended(10.0)
    watch.started(10.0)
    watch.ended(10.3)

    assert watch.verdict(10.3 + RETRY_S - 0.01) == "wait"
    assert watch.verdict(10.3 + RETRY_S) == "restart"


def test_a_start_that_hangs_is_given_up_and_tried_again():
    """Opening a device of a stopped server may never return."""
    watch = playing(10.0)
    watch.ended(10.0)
    watch.started(10.0)

    assert watch.verdict(10.0 + OPEN_LIMIT_S - 0.01) == "wait"
    assert watch.verdict(10.0 + OPEN_LIMIT_S) == "restart"


def test_a_device_that_cannot_be_opened_is_lost_when_patience_ends():
    """The patience counts from the moment the device was last there."""
    watch = playing(10.0, patience_s=5.0)
    watch.ended(10.0)
    watch.started(10.0)
    watch.ended(10.3)

    assert watch.verdict(14.9) == "restart"
    assert watch.verdict(15.0) == "lost"


def test_a_device_that_opens_and_dies_at_once_is_lost_too():
    """Opening alone is no sign of life, or a device that fails on every start would be tried for ever."""
    watch, now_s = playing(10.0, patience_s=5.0), 10.0
    watch.ended(now_s)
    while (verdict := watch.verdict(now_s)) != "lost" and now_s < 60.0:
        if verdict == "restart":
            watch.started(now_s)
            watch.opened(now_s + 0.2)
            watch.ended(now_s + 0.3)
        now_s += 0.1

    assert now_s == pytest.approx(15.0, abs=0.11)


def test_a_living_device_that_stays_silent_is_never_lost():
    """An input that delivers nothing while nothing plays is asked less and less often, for hours."""
    watch, now_s, restarts = playing(10.0, patience_s=5.0), 10.0, []
    for _ in range(36_000):
        now_s += 0.1
        verdict = watch.verdict(now_s)
        assert verdict != "lost"
        if verdict == "restart":
            restarts.append(now_s)
            watch.started(now_s)
            watch.opened(now_s + 0.05)

    assert len(restarts) < 130
    assert [round(later - earlier) for earlier, later in pairwise(restarts)][:7] == [1, 2, 4, 8, 16, 32, 32]


def test_patience_does_not_run_while_a_device_rests():
    """An input that was open in silence for a minute has its whole patience when it then goes away."""
    watch, now_s = playing(10.0, patience_s=5.0), 10.0
    while now_s < 70.0:
        now_s += 0.1
        if watch.verdict(now_s) == "restart":
            watch.started(now_s)
            watch.opened(now_s)
    while watch.verdict(now_s) == "wait":
        now_s += 0.1
    gone_s = now_s
    watch.started(gone_s)
    watch.ended(gone_s + 0.3)

    assert watch.verdict(gone_s + 4.9) == "restart"
    assert watch.verdict(gone_s + 5.0) == "lost"


def test_all_that_was_missed_counts_from_the_last_frame_to_the_first():
    """Away for 5 s means 5 s missed, to the frame that the new stream begins with."""
    watch = playing(10.0)
    watch.ended(10.0)
    watch.started(10.0)
    watch.ended(10.3)
    watch.started(14.5)
    watch.opened(14.9)

    assert watch.report_frames(15.0, 15.1) == 5.0
    assert watch.report_frames(15.1, 15.2) == 0.0


def test_a_hang_counts_as_missed_although_the_device_reopens():
    """A stall with sound right after the restart was a fault, not a rest."""
    watch = playing(10.0)
    watch.verdict(11.0)
    watch.started(11.0)
    watch.opened(11.3)

    assert watch.report_frames(11.4, 11.5) == pytest.approx(1.4)


def test_a_rest_is_not_missed():
    """An input that reopened at once and gave nothing for long had nothing to give."""
    watch = playing(10.0)
    watch.verdict(11.0)
    watch.started(11.0)
    watch.opened(11.3)

    assert watch.report_frames(100.0, 100.1) == 0.0


def test_a_start_that_hung_is_an_absence():
    """Nothing can be known of what was played before the device opened, though it rests afterwards."""
    watch = playing(10.0)
    watch.verdict(11.0)
    watch.started(11.0)
    watch.verdict(11.0 + OPEN_LIMIT_S)
    watch.started(21.0)
    watch.opened(21.3)

    assert watch.report_frames(100.0, 100.1) == pytest.approx(11.3)


def test_a_rest_after_an_absence_counts_only_the_absence():
    """Missed is what passed before the device was there again, restarts during the rest or not."""
    watch = playing(10.0)
    watch.ended(10.0)
    watch.started(10.0)
    watch.ended(10.3)
    watch.started(14.5)
    watch.opened(15.0)
    watch.verdict(14.9)
    assert looked_at(watch, 15.0, 16.0) == "restart"
    watch.started(16.0)
    watch.opened(16.3)

    assert watch.report_frames(100.0, 100.1) == pytest.approx(5.0)
