"""An audio library that is missing, refuses, hangs, flags and dies: a stand-in in the real processes."""

import json
import os
import shutil
import signal
import subprocess
import sys
import threading
import time
from contextlib import closing
from itertools import takewhile
from pathlib import Path

import numpy as np
import pytest

from sidecar.errors import DeviceLost, SourceError
from sidecar.sources import capture_client as recorder_module
from sidecar.sources import device as device_module
from sidecar.sources.device import DeviceSource
from sidecar.sources.inputs import list_devices

LIMIT_S = 30.0  # for anything to happen on a machine that is busy with other things


@pytest.fixture
def audio(monkeypatch, tmp_path):
    """Says how the stand-in behaves in the processes started from now on."""
    shutil.copy(Path(__file__).with_name("fake_sounddevice.py"), tmp_path / "sounddevice.py")
    monkeypatch.syspath_prepend(tmp_path)
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))

    def plan(**behaviour):
        monkeypatch.setenv("FAKE_AUDIO", json.dumps(behaviour))

    plan()
    return plan


def blocks_until(source, enough):
    """Blocks up to the one for which enough(block) is true, or an error after the limit."""
    end_s = time.monotonic() + LIMIT_S
    taken = []
    for block in source.blocks():
        taken.append(block)
        if enough(block):
            return taken
        assert time.monotonic() < end_s, "the awaited block did not come"
    raise AssertionError("the source ended")


def heard(blocks):
    return np.concatenate([block.frames[:, 0] for block in blocks])


def test_a_missing_library_names_its_package(audio, monkeypatch):
    """Both listing and opening say what to install."""
    audio(missing=True)

    with pytest.raises(SourceError, match=r"PortAudio.*Install it: (apt install libportaudio2|brew|pip)"):
        list_devices()
    with pytest.raises(SourceError, match="Install it"):
        DeviceSource()


def test_a_library_that_aborts_takes_nothing_with_it(audio):
    """PortAudio aborts its process when the sound system's configuration is gone: only a child dies."""
    audio(abort=True)

    with pytest.raises(SourceError, match="ended while listing the inputs"):
        list_devices()


def test_no_inputs_are_an_empty_list_and_an_error_to_open(audio):
    """Listing nothing is fine, listening to nothing is not."""
    audio(inputs=[])

    assert list_devices() == []
    with pytest.raises(SourceError, match="no audio inputs"):
        DeviceSource()


@pytest.mark.slow
def test_names_outside_ascii_survive(audio):
    """Device names come in every language."""
    audio(inputs=["Boucle arrière 回送 loopback"])

    assert [device.name for device in list_devices()] == ["Boucle arrière 回送 loopback"]
    with closing(DeviceSource("arrière")) as source:
        assert source.title == "Boucle arrière 回送 loopback"


@pytest.mark.slow
def test_the_next_rate_is_tried_when_the_first_is_refused(audio):
    """Without a rate given, 44100 is taken where 48000 cannot be had."""
    audio(rates=[44_100])

    with closing(DeviceSource()) as source:
        assert (source.rate_hz, source.title) == (44_100, "Fake loopback")


@pytest.mark.slow
def test_a_rate_that_was_asked_for_is_never_replaced(audio):
    """Who names a rate gets it or an error."""
    with pytest.raises(SourceError, match="refuses 96000 Hz"):
        DeviceSource(rate_hz=96_000)


@pytest.mark.slow
def test_a_device_that_hangs_on_opening_is_given_up(audio, monkeypatch):
    """A hung sound system ends in a sentence."""
    audio(hang=True)
    monkeypatch.setattr(device_module, "OPEN_LIMIT_S", 1.0)

    with pytest.raises(SourceError, match="did not open within 1 s"):
        DeviceSource()


@pytest.mark.slow
def test_frames_arrive_in_order_and_whole(audio):
    """A second of a counting signal has every number once, from where the measurement began."""
    with closing(DeviceSource()) as source:
        blocks, frames = [], 0
        for block in source.blocks():
            blocks.append(block)
            frames += len(block.frames)
            if frames >= source.rate_hz:
                break
        first = int(blocks[0].frames[0, 0])

        assert np.array_equal(np.arange(first, first + frames), heard(blocks))
        assert sum(block.lost for block in blocks) == 0
        assert (frames, 2) == np.concatenate([block.frames for block in blocks]).shape


@pytest.mark.slow
def test_a_flagged_overflow_is_a_loss(audio):
    """At least one frame is missing when the system says so, however few the clock can see."""
    audio(flag_every=100)

    with closing(DeviceSource()) as source:
        blocks = blocks_until(source, lambda block: block.lost > 0)

        assert 1 <= blocks[-1].lost < 10


@pytest.mark.slow
def test_a_loss_without_a_flag_is_found_by_the_clock(audio):
    """A driver that drops half a second and says nothing is found out, by the same capture process."""
    audio(drop=144_000)

    with closing(DeviceSource()) as source:
        pid = source._recorder.pid
        blocks = blocks_until(source, lambda block: block.lost > 0)

        assert blocks[-1].lost == pytest.approx(0.5 * source.rate_hz, abs=0.05 * source.rate_hz)
        assert pid == source._recorder.pid


@pytest.mark.slow
def test_a_reader_that_is_too_slow_loses_exactly_what_was_overwritten(audio, monkeypatch):
    """When the measurement sleeps for longer than the ring lasts, the count of what is gone is exact."""
    monkeypatch.setattr(recorder_module, "ring_capacity", lambda *_: 4800)

    with closing(DeviceSource()) as source:
        stream = source.blocks()
        before = next(block for block in stream if len(block.frames))
        pid, news = source._recorder.pid, source._news
        while source._recorder.wait(news, 0.1).frames < source._position + 24_000:
            news = source._recorder.wait(-1, 0.0).news
        after = next(stream)

        assert pid == source._recorder.pid
        assert before.frames[-1, 0] + 1 + after.lost == after.frames[0, 0]
        assert after.lost >= 24_000 - 4800


@pytest.mark.slow
def test_a_process_that_dies_is_replaced_and_the_gap_told(audio, tmp_path):
    """The first block after the death has the frames missed, against the clock; till then all are empty."""
    journal = tmp_path / "journal"
    audio(frames=24_000, journal=str(journal))

    with closing(DeviceSource()) as source:
        blocks = blocks_until(source, lambda block: block.lost > 0)
        _, last_s, started_s, *_ = map(float, journal.read_text().split())

        assert blocks[-1].lost == pytest.approx(
            (started_s - last_s) * source.rate_hz, abs=0.1 * source.rate_hz
        )
        assert blocks[-1].frames[0, 0] == 0.0
        assert {block.lost for block in blocks[:-1]} == {0}
        assert any(len(block.frames) == 0 for block in blocks)


@pytest.mark.slow
def test_a_device_that_comes_back_at_another_rate_goes_on_at_that_one(audio):
    """What is counted as lost is counted at the rate of the block that says so."""
    audio(frames=24_000)
    with closing(DeviceSource()) as source:
        audio(rates=[44_100])
        blocks = blocks_until(source, lambda block: block.lost > 0)

        assert (source.rate_hz, source.title) == (44_100, "Fake loopback")
        assert blocks[-1].lost > 0.2 * 44_100


@pytest.mark.slow
def test_a_rate_that_was_asked_for_is_waited_for(audio, monkeypatch):
    """Where the person named the rate, another one is a fault; it is said while there is hope."""
    audio(frames=24_000)
    with closing(DeviceSource(rate_hz=48_000, patience_s=4.0)) as source:
        audio(rates=[44_100])
        blocks = blocks_until(source, lambda block: block.fault.startswith("Fake loopback refuses 48000 Hz"))
        audio()

        assert source.rate_hz == 48_000
        assert blocks_until(source, lambda block: block.lost > 0)
        assert sum(block.lost for block in blocks) == 0


@pytest.mark.slow
def test_a_device_that_comes_back_with_other_channels_is_not_taken(audio):
    """Which of them were measured is unknown: it counts as lost, and the reason is given."""
    audio(frames=24_000)
    with closing(DeviceSource(patience_s=2.0)) as source:
        audio(channels=8)
        with pytest.raises(DeviceLost, match="has 8 channels now, and had 2 when measuring began"):
            blocks_until(source, lambda block: False)


def test_a_sleep_of_the_machine_is_told_and_is_no_loss(audio):
    """An hour on the clock that goes on in sleep, and none on the other: the next block says so, once."""
    asleep_s = 0.0

    def read_clocks():
        return time.monotonic(), time.monotonic() + asleep_s

    def sleeps(block):
        nonlocal asleep_s
        asleep_s = 3600.0 if len(block.frames) else asleep_s
        return block.slept_s > 0.0

    with closing(DeviceSource(read_clocks=read_clocks)) as source:
        blocks = blocks_until(source, sleeps)

        assert blocks[-1].slept_s == pytest.approx(3600.0, abs=0.1)
        assert len(blocks[-1].frames) > 0
        assert sum(block.lost for block in blocks) == 0


@pytest.mark.slow
def test_a_device_that_stays_away_is_lost_after_the_patience(audio, tmp_path):
    """The end is an error of its own kind that says what the system answered last."""
    audio(frames=24_000, stay_away=str(tmp_path / "gone"))

    gone = r"has not come back within 2 s. .*not there any more"
    with closing(DeviceSource(patience_s=2.0)) as source, pytest.raises(DeviceLost, match=gone):
        blocks_until(source, lambda block: False)


@pytest.mark.slow
def test_a_quiet_device_is_not_lost(audio):
    """An input that gives nothing while nothing plays keeps being listened to, beyond the patience."""
    audio(quiet=True)

    with closing(DeviceSource(patience_s=3.0)) as source:
        end_s = time.monotonic() + 5.0
        blocks = list(takewhile(lambda _: time.monotonic() < end_s, source.blocks()))

        assert {len(block.frames) for block in blocks} == {0}
        assert {block.lost for block in blocks} == {0}


def test_closing_from_another_thread_ends_the_blocks(audio):
    """Whoever waits for audio is released, and the ring and the process are gone."""
    source = DeviceSource()
    blocks = []
    listener = threading.Thread(target=lambda: blocks.extend(source.blocks()))
    listener.start()
    while not blocks:
        assert listener.is_alive()
        time.sleep(0.01)
    pid = source._recorder.pid
    source.close()
    source.close()
    listener.join(LIMIT_S)

    assert not listener.is_alive()
    with pytest.raises(ProcessLookupError):
        os.kill(pid, 0)
    assert source._recorder._ring is None


@pytest.mark.slow
def test_a_process_that_does_not_even_notice_is_killed(audio):
    """A library that holds the whole process cannot keep a source from closing."""
    source = DeviceSource()
    pid = source._recorder.pid
    os.kill(pid, signal.SIGSTOP)
    source.close()

    with pytest.raises(ProcessLookupError):
        os.kill(pid, 0)


@pytest.mark.slow
def test_the_capture_process_ends_with_its_parent(audio, tmp_path):
    """A killed sidecar leaves no process that holds a device, even a silent one, and no file in memory."""
    audio(quiet=True)
    program = (
        "from sidecar.sources.device import DeviceSource; from sidecar.sources import ring\n"
        "import sys, time; from pathlib import Path; ring._SHARED_MEMORY = Path(sys.argv[1])\n"
        "source = DeviceSource(); print(source._recorder.pid, flush=True); time.sleep(600)"
    )
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)}
    command = [sys.executable, "-c", program, tmp_path]
    with subprocess.Popen(command, stdout=subprocess.PIPE, env=environment) as parent:
        pid = parent.stdout.readline()
        parent.kill()

    wait_until(lambda: has_ended(int(pid)))
    assert list(tmp_path.glob("*.ring")) == []


def test_an_interrupt_from_the_keyboard_does_not_reach_the_capture(audio):
    """Ctrl+C goes to the terminal's group; the capture is outside it and ends when the sidecar says."""
    with closing(DeviceSource()) as source:
        assert os.getpgid(source._recorder.pid) != os.getpgid(0)


def test_the_capture_process_imports_little():
    """Compilers and filters of the measurement stay out of the process that must not be late."""
    program = (
        "import sidecar.sources.capture, sys;"
        "print(sorted({'numba', 'scipy', 'soundfile'} & set(sys.modules)))"
    )
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)}

    assert subprocess.check_output([sys.executable, "-c", program], env=environment, text=True) == "[]\n"


def has_ended(pid):
    """Gone, or a zombie that its new parent has not collected."""
    try:
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] == "Z"
    except FileNotFoundError:
        return True


def wait_until(condition):
    end_s = time.monotonic() + LIMIT_S
    while not condition():
        assert time.monotonic() < end_s
        time.sleep(0.02)
