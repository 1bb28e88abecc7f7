"""What PortAudio calls, with made-up flags: a real overflow cannot be had on demand."""

from types import SimpleNamespace

import numpy as np
import pytest

from sidecar.sources.capture import Callback
from sidecar.sources.ring import Ring, RingFile

FINE = SimpleNamespace(input_overflow=False)
OVERFLOW = SimpleNamespace(input_overflow=True)


@pytest.fixture
def ring():
    file = RingFile(1000, 2)
    ring = Ring(file.path, 1000, 2)
    yield ring
    ring.close()
    file.close()


def call(callback: Callback, *flags: SimpleNamespace) -> None:
    for status in flags:
        callback(np.zeros((10, 2), np.float32), 10, None, status)


def test_frames_are_counted_and_the_main_thread_is_woken(ring):
    """Each call leaves its frames in the ring and says how many there are now."""
    callback = Callback(ring, RuntimeError)
    call(callback, FINE, FINE)

    assert callback.tick[:2] == (20, 0)
    assert callback.wake.is_set()


def test_each_start_of_an_overflow_counts_once(ring):
    """Devices that flag call after call without losing anything do not fill the record with gaps."""
    callback = Callback(ring, RuntimeError)
    call(callback, FINE, OVERFLOW, OVERFLOW, FINE, OVERFLOW)

    assert callback.tick[1] == 2


def test_what_was_lost_before_the_first_frame_does_not_count(ring):
    """A flag on the very first call speaks of a time before the measurement."""
    callback = Callback(ring, RuntimeError)
    call(callback, OVERFLOW, FINE)

    assert callback.tick[1] == 0


def test_an_error_in_the_callback_is_kept_and_ends_the_stream(ring):
    """PortAudio would stop in silence; the fault is kept for the message instead."""
    callback = Callback(ring, RuntimeError)
    with pytest.raises(RuntimeError):
        callback(np.zeros((10, 3), np.float32), 10, None, FINE)

    assert "could not broadcast" in callback.fault
    assert callback.wake.is_set()
