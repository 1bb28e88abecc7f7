"""What a capture says of its frames and of overflows, whose flags are made up: none can be had on demand."""

import io
import json
from types import SimpleNamespace

import numpy as np
import pytest

from sidecar.sources.capture import Callback, Progress
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


def said(*reports):
    """The frames that are said of reports of (frames, seconds), None for nothing that arrived by then."""
    out = io.StringIO()
    with Progress(out, 48_000) as progress:
        for frames, at_s in reports:
            if frames is None:
                progress.report_nothing(at_s)
            else:
                progress.report(frames, 0, at_s)
        before_the_end = [line.get("frames") for line in map(json.loads, out.getvalue().splitlines())][1:]
    return before_the_end, json.loads(out.getvalue().splitlines()[-1]).get("frames")


def test_small_pieces_are_said_together_and_none_is_left_out():
    """Each line wakes the measuring process. 0.08 s at 48 kHz are 3,840 frames."""
    assert said((1024, 0.02), (2048, 0.04), (3072, 0.06), (4096, 0.08), (5120, 0.1)) == ([4096], 5120)


def test_what_waits_is_said_once_nothing_more_has_arrived():
    assert said((1024, 0.02), (None, 0.05), (None, 0.1), (None, 0.2)) == ([1024], 1024)
