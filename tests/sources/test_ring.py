"""The ring between the capture process and the measurement."""

import errno
import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sidecar.errors import SourceError
from sidecar.sources import ring as ring_module
from sidecar.sources.ring import Ring, RingFile, ring_capacity

CAPACITY = 160
MARGIN = 10
ALL = slice(None)


def counting(start: int, count: int, channels: int = 2) -> np.ndarray:
    """Frames that say which they are, in every channel."""
    return np.repeat(np.arange(start, start + count, dtype=np.float32)[:, None], channels, axis=1)


@pytest.fixture
def pair():
    file = RingFile(CAPACITY, 2)
    writer, reader = Ring(file.path, CAPACITY, 2), Ring(file.path, CAPACITY, 2)
    yield writer, reader
    writer.close()
    reader.close()
    file.close()


@settings(max_examples=100, deadline=None, derandomize=True)
@given(st.lists(st.tuples(st.integers(0, 150), st.integers(0, 3)), max_size=40))
def test_each_frame_is_read_once_or_counted_as_missed(steps):
    """Whatever the sizes of blocks and pauses of the reader, frames and missed ones add up in order."""
    file = RingFile(CAPACITY, 2)
    writer, reader = Ring(file.path, CAPACITY, 2), Ring(file.path, CAPACITY, 2)
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
    file.close()


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

    assert missed == 200 - CAPACITY + MARGIN
    assert counting(missed, told - missed).tolist() == frames.tolist()


def test_channels_are_given_in_the_order_they_were_picked(pair):
    """Picking channels 2,1 swaps them, across the ring's end too."""
    writer, reader = pair
    writer.write(np.zeros((CAPACITY - 2, 2), np.float32))
    writer.write(np.array([[1, -1], [2, -2], [3, -3]], np.float32))

    _, frames = reader.read(CAPACITY - 2, writer.written, np.array([1, 0]))

    assert frames.tolist() == [[-1, 1], [-2, 2], [-3, 3]]


def test_what_is_read_belongs_to_the_reader(pair):
    """Frames once read do not change when the ring goes round."""
    writer, reader = pair
    writer.write(counting(0, 10))
    _, frames = reader.read(0, 10, ALL)
    writer.write(counting(10, 155))

    assert counting(0, 10).tolist() == frames.tolist()


def test_a_ring_lasts_eight_seconds_and_stays_small():
    """Stereo has room for 8 s; 64 channels at 192 kHz stay within 32 MiB."""
    assert ring_capacity(48_000, 2) == 8 * 48_000
    assert ring_capacity(192_000, 64) * 64 * 4 <= 32 * 2**20


def test_a_full_disk_is_said_in_words(monkeypatch, tmp_path):
    """When no folder has room, the message names the size and the folder, and nothing is left over."""
    monkeypatch.setattr(ring_module, "_SHARED_MEMORY", Path("/nonexistent"))
    monkeypatch.setattr(ring_module.tempfile, "gettempdir", lambda: str(tmp_path))

    class FullDisk:
        def __init__(self, descriptor: int, mode: str, *, closefd: bool) -> None:
            self._file = open(descriptor, mode, closefd=closefd)  # noqa: SIM115 - closed below

        def __enter__(self):
            return self

        def __exit__(self, *_):
            self._file.close()

        def write(self, data: bytes) -> None:
            raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(ring_module.os, "fdopen", FullDisk)

    with pytest.raises(SourceError, match=r"No room for 3 MiB .*No space left"):
        RingFile(ring_capacity(48_000, 2), 2)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("nameless", [True, False], ids=["without a name", "no file without a name"])
def test_a_run_killed_while_it_prepares_a_ring_leaves_nothing(tmp_path, nameless):
    """Killed for real, with half of the zeros written."""
    code = (
        "import os, signal, sys; from pathlib import Path; from sidecar.sources import ring\n"
        "ring._SHARED_MEMORY = Path(sys.argv[1])\n"
        "if sys.argv[2] == 'False': del os.O_TMPFILE\n"
        "ring.bytes = lambda size: os.kill(os.getpid(), signal.SIGKILL)\n"
        "ring.RingFile(1000, 2)"
    )
    killed = subprocess.run([sys.executable, "-c", code, tmp_path, str(nameless)], check=False)

    assert killed.returncode == -9
    assert list(tmp_path.iterdir()) == []


def test_a_process_that_inherits_the_ring_reads_what_is_written_into_it():
    file = RingFile(CAPACITY, 2)
    ring = Ring(file.path, CAPACITY, 2)
    ring.write(counting(0, 3))
    code = (
        "import sys; from pathlib import Path; from sidecar.sources.ring import Ring\n"
        "ring = Ring(Path(sys.argv[1]), 160, 2)\n"
        "print(ring.read(0, 3, slice(None))[1].tolist())"
    )
    command = [sys.executable, "-c", code, file.path]
    done = subprocess.run(command, check=True, capture_output=True, text=True, pass_fds=file.descriptors)
    file.close()
    ring.close()

    assert done.stdout == "[[0.0, 0.0], [1.0, 1.0], [2.0, 2.0]]\n"


def test_what_ended_runs_left_is_swept_by_the_next(monkeypatch, tmp_path):
    """By its name and age: one that was made just now may be in use, another program's is none of ours."""
    monkeypatch.setattr(ring_module, "_SHARED_MEMORY", tmp_path)
    for name in ("sidecar-left.ring", "sidecar-new.ring", "other.ring"):
        (tmp_path / name).write_bytes(b"x")
    for name in ("sidecar-left.ring", "other.ring"):
        os.utime(tmp_path / name, (0.0, 0.0))
    RingFile(CAPACITY, 2).close()

    assert sorted(path.name for path in tmp_path.iterdir()) == ["other.ring", "sidecar-new.ring"]


def test_making_rings_leaves_no_descriptor_open():
    before = len(list(Path("/dev/fd").iterdir()))
    for _ in range(5):
        RingFile(CAPACITY, 2).close()

    assert len(list(Path("/dev/fd").iterdir())) == before
