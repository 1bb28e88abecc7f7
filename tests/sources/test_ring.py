"""The ring between the capture process and the measurement."""

import errno
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sidecar.errors import SourceError
from sidecar.sources import ring as ring_module
from sidecar.sources.ring import Ring, make_ring_file, ring_capacity

CAPACITY = 160
MARGIN = 10
ALL = slice(None)


def counting(start: int, count: int, channels: int = 2) -> np.ndarray:
    """Frames that say which they are, in every channel."""
    return np.repeat(np.arange(start, start + count, dtype=np.float32)[:, None], channels, axis=1)


@pytest.fixture
def pair():
    path = make_ring_file(CAPACITY, 2)
    writer, reader = Ring(path, CAPACITY, 2), Ring(path, CAPACITY, 2)
    yield writer, reader
    writer.close()
    reader.close()
    path.unlink()


@settings(max_examples=100, deadline=None, derandomize=True)
@given(st.lists(st.tuples(st.integers(0, 150), st.integers(0, 3)), max_size=40))
def test_each_frame_is_read_once_or_counted_as_missed(steps):
    """Whatever the sizes of blocks and pauses of the reader, frames and missed ones add up in order."""
    path = make_ring_file(CAPACITY, 2)
    writer, reader = Ring(path, CAPACITY, 2), Ring(path, CAPACITY, 2)
    read = 0
    for count, reads_after in steps:
        writer.write(counting(writer.written, count))
        if reads_after == 0:
            continue
        missed, frames = reader.read(read, writer.written, ALL)

        expected = counting(read + missed, writer.written - read - missed)
        assert expected.tolist() == frames.tolist()
        assert missed == max(0, writer.written - read - (CAPACITY - MARGIN))
        read = writer.written
    writer.close()
    reader.close()
    path.unlink()


def test_frames_overwritten_while_they_are_copied_are_not_given(pair):
    """A writer that overtakes in the middle of a read costs frames, never gives wrong ones."""
    writer, reader = pair
    writer.write(counting(0, 100))
    told = writer.written
    oldest, calls = reader._oldest, []

    def overtake() -> int:
        if calls:  # after the first look, before the second: the writer goes on
            writer.write(counting(100, 100))
        calls.append(1)
        return oldest()

    reader._oldest = overtake
    missed, frames = reader.read(0, told, ALL)

    assert 200 - CAPACITY + MARGIN == missed
    assert counting(missed, told - missed).tolist() == frames.tolist()


def test_channels_are_given_in_the_order_they_were_picked(pair):
    """Picking channels 2,1 swaps them, across the ring's end too."""
    writer, reader = pair
    writer.write(np.zeros((CAPACITY - 2, 2), np.float32))
    writer.write(np.array([[1, -1], [2, -2], [3, -3]], np.float32))

    _, frames = reader.read(CAPACITY - 2, writer.written, np.array([1, 0]))

    assert [[-1, 1], [-2, 2], [-3, 3]] == frames.tolist()


def test_what_is_read_belongs_to_the_reader(pair):
    """Frames once read do not change when the ring goes round."""
    writer, reader = pair
    writer.write(counting(0, 10))
    _, frames = reader.read(0, 10, ALL)
    writer.write(counting(10, 155))

    assert counting(0, 10).tolist() == frames.tolist()


def test_a_ring_lasts_eight_seconds_and_stays_small():
    """Stereo has room for 8 s; 64 channels at 192 kHz stay within 32 MiB."""
    assert 8 * 48_000 == ring_capacity(48_000, 2)
    assert 32 * 2**20 >= ring_capacity(192_000, 64) * 64 * 4


def test_a_full_disk_is_said_in_words(monkeypatch, tmp_path):
    """When no folder has room, the message names the size and the folder, and nothing is left over."""
    monkeypatch.setattr(ring_module, "_SHARED_MEMORY", Path("/nonexistent"))
    monkeypatch.setattr(ring_module.tempfile, "gettempdir", lambda: str(tmp_path))

    class FullDisk:
        def __init__(self, descriptor: int, mode: str) -> None:
            self._file = open(descriptor, mode)  # noqa: SIM115 - closed below

        def __enter__(self):
            return self

        def __exit__(self, *_):
            self._file.close()

        def write(self, data: bytes) -> None:
            raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(ring_module.os, "fdopen", FullDisk)

    with pytest.raises(SourceError, match=r"No room for 3 MiB .*No space left"):
        make_ring_file(ring_capacity(48_000, 2), 2)
    assert [] == list(tmp_path.iterdir())
