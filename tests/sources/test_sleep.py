"""A machine that sleeps, on simulated clocks: one that stops meanwhile and one that does not."""

import time

from sidecar.sources import sleep as sleep_module
from sidecar.sources.sleep import Sleep, clocks


class Stream:
    """Looked at ten times a second while frames arrive."""

    def __init__(self, *, counts_sleep=True):
        self.awake_s, self.asleep_s, self.frames = 100.0, 0.0, 0
        self.sleep = Sleep(100.0, 100.0, counts_sleep=counts_sleep)
        self.looks = []

    def play(self, seconds, frames_a_look=4800):
        for _ in range(round(seconds * 10)):
            self.awake_s += 0.1
            self.frames += frames_a_look
            self.look()
        return self

    def look(self):
        self.looks.append(self.sleep.since_last(self.awake_s, self.awake_s + self.asleep_s, self.frames))
        return self.looks[-1]

    @property
    def slept(self):
        """Of each standstill: slept, stopped, and counted by the monotonic clock."""
        return [tuple(round(each_s, 3) for each_s in look) for look in self.looks if any(look)]


def test_a_sleep_is_what_one_clock_counts_and_the_other_does_not():
    """An hour with the lid closed, none of it on the monotonic clock (Linux, macOS)."""
    stream = Stream().play(5.0)
    stream.asleep_s = 3600.0
    stream.play(5.0)

    assert stream.slept == [(3600.0, 0.0, 0.0)]


def test_where_both_clocks_go_on_a_sleep_is_a_standstill():
    """Nobody looked for a minute, and no frame arrived although they had been arriving (Windows)."""
    stream = Stream(counts_sleep=False).play(5.0)
    stream.awake_s += 60.0
    stream.look()
    stream.play(5.0)

    assert stream.slept == [(60.0, 0.0, 60.0)]


def test_a_standstill_that_both_clocks_count_is_a_stop_of_the_processes():
    """SIGSTOP and SIGCONT on a machine whose second clock goes on in sleep (Linux, macOS)."""
    stream = Stream().play(5.0)
    stream.awake_s += 60.0
    stream.look()
    stream.play(5.0)

    assert stream.slept == [(0.0, 60.0, 60.0)]


def test_a_reader_that_is_late_alone_did_not_sleep():
    """Frames went on arriving meanwhile: what the ring could not hold is counted as lost, not as slept."""
    stream = Stream().play(5.0)
    stream.awake_s += 60.0
    stream.frames += 1
    stream.look()

    assert stream.slept == []


def test_a_reader_that_is_late_while_nothing_plays_did_not_sleep():
    """A device that is away, or rests, gives no frames anyway: that proves nothing."""
    stream = Stream().play(5.0).play(1.0, frames_a_look=0)
    stream.awake_s += 60.0
    stream.look()

    assert stream.slept == []


def test_a_busy_second_is_no_sleep():
    """Every process of a machine with too much to do may be held up for a while."""
    stream = Stream().play(5.0)
    stream.awake_s += 1.5
    stream.look()

    assert stream.slept == []


def test_clocks_that_are_read_one_after_the_other_do_not_show_a_sleep():
    """The few microseconds between two readings are no sleep, nor is a jitter of a tenth of a second."""
    stream = Stream().play(1.0)
    for jitter_s in (0.1, -0.1, 0.2, 0.0):
        stream.asleep_s = jitter_s
        stream.play(0.2)

    assert stream.slept == []


def test_the_second_clock_is_the_one_that_goes_on_in_sleep(monkeypatch):
    """Where a system has one; else both are the same."""
    monkeypatch.setattr(time, "monotonic", lambda: 1.0)
    monkeypatch.setattr(time, "clock_gettime", {7: 9.0}.__getitem__)
    monkeypatch.setattr(sleep_module, "_COUNTS_SLEEP", 7)
    with_sleep = clocks()
    monkeypatch.setattr(sleep_module, "_COUNTS_SLEEP", None)

    assert (with_sleep, clocks()) == ((1.0, 9.0), (1.0, 1.0))


def test_the_real_clocks_go_on():
    """The second is never behind by more than the machine's own sleeps: both count seconds."""
    awake_s, all_s = clocks()
    time.sleep(0.05)
    later_awake_s, later_all_s = clocks()

    assert later_awake_s > awake_s
    assert later_all_s - all_s >= later_awake_s - awake_s - 0.01
