"""A real sound server through PortAudio: bit for bit, and on through kills and hangs."""

import os
import signal
import subprocess
import threading
import time
from contextlib import closing

import numpy as np
import pytest
import soundfile

from sidecar.errors import SourceError
from sidecar.sources.device import DeviceSource
from sidecar.sources.inputs import list_devices

RATE_HZ = 48_000
LIMIT_S = 60.0


@pytest.fixture
def six(loopback):
    """All six channels of the loopback."""
    with closing(DeviceSource("loopback", channels=6)) as source:
        yield source


@pytest.fixture
def programme(tmp_path):
    """Two seconds of noise that passes full scale, a different one on each of six channels."""
    frames = np.random.default_rng(6).uniform(-2.0, 2.0, (2 * RATE_HZ, 6)).astype(np.float32)
    path = tmp_path / "programme.wav"
    soundfile.write(path, frames, RATE_HZ, subtype="FLOAT")
    return path, frames


def recorded(source, player):
    """What was played, cut out of the silence around it; and all blocks."""
    end_s = time.monotonic() + LIMIT_S
    blocks, silence = [], 0
    for block in source.blocks():
        blocks.append(block)
        silence = 0 if block.frames.any() else silence + len(block.frames)
        if player.poll() is not None and silence > RATE_HZ // 2:
            break
        assert time.monotonic() < end_s
    assert player.wait() == 0
    frames = np.concatenate([block.frames for block in blocks])
    sounding = np.flatnonzero(frames.any(axis=1))
    return frames[sounding[0] : sounding[-1] + 1], blocks


def take_until(blocks, enough):
    """Takes blocks up to the one that is enough, which is returned last."""
    end_s = time.monotonic() + LIMIT_S
    taken = []
    for block in blocks:
        taken.append(block)
        if enough(block):
            return taken
        assert time.monotonic() < end_s, "the awaited block did not come"
    raise AssertionError("the source ended")


def sounds(block):
    return len(block.frames) > 0


def silent_for(count):
    """True at the count-th block in a row without frames."""
    seen = 0

    def enough(block):
        nonlocal seen
        seen = 0 if sounds(block) else seen + 1
        return seen == count

    return enough


@pytest.mark.slow
def test_what_is_played_is_captured_bit_for_bit(loopback, six, programme):
    """Every sample of every channel arrives unchanged, over full scale too, and nothing counts as lost."""
    path, frames = programme
    captured, blocks = recorded(six, loopback.play(path))

    assert (six.rate_hz, six.channels) == (RATE_HZ, 6)
    assert np.array_equal(frames, captured)
    assert sum(block.lost for block in blocks) == 0


@pytest.mark.slow
def test_a_pair_is_picked_from_the_middle_of_a_wide_output(loopback, programme):
    """Channels 4 and 3 of six, in that order, are the very samples of those channels."""
    path, frames = programme
    with closing(DeviceSource("loopback", channels=6, pick=(4, 3))) as source:
        captured, _ = recorded(source, loopback.play(path))

        assert (source.title, source.channels) == ("loopback.monitor 4+3", 2)
        assert np.array_equal(frames[:, [3, 2]], captured)


@pytest.mark.slow
def test_the_loopback_is_found_without_its_name(loopback):
    """It is listed as what it is, and taken when nothing else is asked for."""
    assert "loopback.monitor" in [device.name for device in list_devices() if device.likely_loopback]
    with closing(DeviceSource()) as source:
        assert (source.title, source.channels) == ("loopback.monitor", 6)


@pytest.mark.slow
def test_unknown_and_ambiguous_names_are_refused(loopback):
    """Both messages list what there is, as this sound system names it."""
    with pytest.raises(SourceError, match=r"No input is called 'tape'.*loopback\.monitor \(PulseAudio\)"):
        DeviceSource("tape")
    subprocess.run(["pactl", "load-module", "module-null-sink", "sink_name=other"], check=True, stdout=-3)
    with pytest.raises(
        SourceError, match=r"'monitor' may be any of: loopback\.monitor \(PulseAudio\), other"
    ):
        DeviceSource("monitor")


@pytest.mark.slow
def test_a_killed_server_leaves_a_gap_of_its_length(loopback, six):
    """Blocks without frames while it is down; when it is up again, the first block has what was missed."""
    blocks = six.blocks()
    take_until(blocks, sounds)
    loopback.signal(signal.SIGKILL)
    killed_s = time.monotonic()
    take_until(blocks, silent_for(8))
    up_s = time.monotonic()
    loopback.up()
    back = take_until(blocks, sounds)[-1]
    heard_s = time.monotonic()

    assert (up_s - killed_s - 0.2) * RATE_HZ < back.lost < (heard_s - killed_s + 0.2) * RATE_HZ


@pytest.mark.slow
def test_a_hung_server_is_survived(loopback, six):
    """A stopped server answers no process, not even a new one; when it goes on, so does the measurement."""
    blocks = six.blocks()
    take_until(blocks, sounds)
    loopback.signal(signal.SIGSTOP)
    stopped_s = time.monotonic()
    take_until(blocks, silent_for(25))
    continued_s = time.monotonic()
    loopback.signal(signal.SIGCONT)
    back = take_until(blocks, sounds)[-1]
    heard_s = time.monotonic()

    assert (continued_s - stopped_s - 0.2) * RATE_HZ < back.lost < (heard_s - stopped_s + 0.2) * RATE_HZ


@pytest.mark.slow
def test_a_source_on_a_hung_server_still_closes(loopback, six):
    """The library would hang for ever in its own close; killing its process does not."""
    blocks = six.blocks()
    take_until(blocks, sounds)
    loopback.signal(signal.SIGSTOP)
    take_until(blocks, silent_for(12))
    closing_thread = threading.Thread(target=six.close)
    closing_thread.start()
    closing_thread.join(5.0)

    assert not closing_thread.is_alive()
    assert list(blocks) == []
    loopback.signal(signal.SIGCONT)


@pytest.mark.slow
def test_a_killed_capture_process_is_replaced(loopback, six, programme):
    """After the loss of its process the source captures bit for bit again."""
    blocks = six.blocks()
    take_until(blocks, sounds)
    os.kill(six._recorder.pid, signal.SIGKILL)
    back = take_until(blocks, lambda block: block.lost > 0)[-1]
    path, frames = programme
    captured, _ = recorded(six, loopback.play(path))

    assert back.lost < LIMIT_S * RATE_HZ
    assert np.array_equal(frames, captured)
