"""PulseAudio, PipeWire through both of its interfaces, and JACK: found by name, measured, never replaced."""

import time
from contextlib import closing

import numpy as np
import pytest
import soundfile
from needs import need
from sound_servers import jack, jack_player, kill, pipewire, pulseaudio, running

from sidecar.delivery.measure.whole_file import measure
from sidecar.doctor.tone_test import run_tone_test
from sidecar.errors import SourceError
from sidecar.meter import Meter
from sidecar.sources.device import DeviceSource
from sidecar.sources.inputs import list_devices
from sidecar.sources.output import TemporaryOutput
from sidecar.sources.output_process import OutputOrder

pytestmark = pytest.mark.slow

RATE_HZ = 48_000
LIMIT_S = 30.0
MIX = OutputOrder("mix", 2, RATE_HZ, None)


@pytest.fixture(scope="module", params=[pulseaudio, pipewire], ids=lambda start: start.__name__)
def started(request):
    need(request.param.__name__)
    need("wireplumber" if request.param is pipewire else "pactl")
    with running(request.param) as server:
        yield server


@pytest.fixture(scope="module")
def started_jack():
    need("jackd")
    with running(jack) as server:
        yield server


@pytest.fixture
def server(started, monkeypatch):
    return pointed_at(started, monkeypatch)


@pytest.fixture
def jack_server(started_jack, monkeypatch):
    return pointed_at(started_jack, monkeypatch)


def pointed_at(server, monkeypatch):
    """This process and its children find that server and no other."""
    for name in ("PULSE_SERVER", "PULSE_SOURCE", "PULSE_SINK", "DBUS_SESSION_BUS_ADDRESS"):
        monkeypatch.delenv(name, raising=False)
    for name, value in server.environment.items():
        monkeypatch.setenv(name, value)
    return server


@pytest.fixture(scope="module")
def music(tmp_path_factory):
    """Two seconds of noise that swells past full scale, and what checking the file says of it."""
    times_s = np.arange(2 * RATE_HZ)[:, None] / RATE_HZ
    noise = np.random.default_rng(17).uniform(-1.0, 1.0, (2 * RATE_HZ, 2))
    frames = noise * 10 ** ((-20.0 + 13.0 * times_s) / 20.0)
    path = tmp_path_factory.mktemp("music") / "music.wav"
    soundfile.write(path, frames, RATE_HZ, subtype="FLOAT")
    return path, measure(path).reading


def frames_until(source, enough):
    """What arrives until *enough* says so of all frames together."""
    end_s = time.monotonic() + LIMIT_S
    frames = np.empty((0, source.channels), np.float32)
    for block in source.blocks():
        frames = np.concatenate([frames, block.frames])
        if enough(frames):
            return frames
        assert time.monotonic() < end_s, "the awaited sound did not come"
    raise AssertionError("the source ended")


def sounding(frames):
    """What lies between silence and silence."""
    loud = np.flatnonzero(frames.any(axis=1))
    return frames[loud[0] : loud[-1] + 1] if loud.size else frames[:0]


def read(frames):
    meter = Meter(RATE_HZ, "stereo")
    meter.push(frames)
    return meter.reading()


def test_an_output_is_made_found_by_name_and_measured_as_the_file(server, music):
    file, checked = music
    with closing(TemporaryOutput(MIX)):
        assert "mix.monitor" in [device.name for device in list_devices() if device.likely_loopback]
        with closing(DeviceSource("mix")) as source:
            player = server.start("paplay", "--device=mix", str(file))
            heard = frames_until(
                source, lambda frames: player.poll() is not None and not frames[-RATE_HZ // 4 :].any()
            )
            title = source.title
    measured = read(sounding(heard))

    assert title == "mix.monitor"
    assert measured.integrated == pytest.approx(checked.integrated, abs=0.1)
    assert measured.max_true_peak == pytest.approx(checked.max_true_peak, abs=0.1)
    assert checked.max_true_peak > 3.0  # what an output of 16 bits would clip
    assert "mix" not in server.run("pactl", "list", "short", "sinks")


def test_without_a_name_the_output_in_use_is_measured(server):
    server.run("pactl", "set-default-sink", "speakers")
    with closing(DeviceSource()) as source:
        assert source.title == "speakers.monitor"
    with pytest.raises(SourceError, match=r"No input is called 'nowhere'\. There are: .*speakers\.monitor"):
        DeviceSource("nowhere")


def test_a_source_that_vanishes_is_waited_for_and_not_replaced(server):
    """The default source sounds all the while; nothing of it is measured."""
    made = TemporaryOutput(MIX)
    with closing(DeviceSource("mix.monitor")) as source:
        blocks = source.blocks()
        assert any(len(block.frames) for block, _ in zip(blocks, range(50), strict=False))
        made.close()
        away = [next(blocks) for _ in range(40)][20:]
        attached = server.run("pactl", "list", "short", "source-outputs")
        with closing(TemporaryOutput(MIX)):
            back = next(block for block, _ in zip(blocks, range(300), strict=False) if len(block.frames))
            numbers = dict(
                line.split()[1::-1] for line in server.run("pactl", "list", "short", "sources").splitlines()
            )
            again = server.run("pactl", "list", "short", "source-outputs").split()[1]

    assert [len(block.frames) for block in away] == [0] * 20
    assert "mix.monitor is not there" in away[-1].fault
    assert attached == ""
    assert back.lost > RATE_HZ
    assert again == numbers["mix.monitor"]


def test_eight_tones_arrive_in_their_places(server):
    with closing(TemporaryOutput(OutputOrder("stems", 8, RATE_HZ, None))):
        found = list(run_tone_test("stems", None, lambda _: None, channels=8, lead_s=0.0))
    tones = [one for one in found if one.what.startswith("tone of channel")]

    assert [(one.is_well, one.detail.split(" (")[0]) for one in tones] == [
        (True, f"arrives in channel {number}") for number in range(1, 9)
    ]
    assert {one.what: one.is_well for one in found}["output's volume"]


def test_what_a_killed_run_left_is_removed_by_the_next(server):
    left = TemporaryOutput(MIX)
    kill(left._process)
    assert "mix" in server.run("pactl", "list", "short", "sinks")

    TemporaryOutput(MIX).close()
    left.close()
    assert "mix" not in server.run("pactl", "list", "short", "sinks")


def test_a_volume_that_was_remembered_does_not_change_a_made_output(server):
    """A session manager gives an output the volume that one of its name had before."""
    with closing(TemporaryOutput(MIX)):
        server.run("pactl", "set-sink-volume", "mix", "50%")
    with closing(TemporaryOutput(MIX)):
        made = next(device for device in list_devices() if device.name == "mix.monitor")

    assert (made.volume_db, made.is_muted) == (0.0, False)


def test_through_pipewire_a_jack_client_is_measured_at_the_output(started, monkeypatch, music):
    need("pw-jack")
    if not (started.folder / "pipewire-0").exists():
        pytest.skip("PulseAudio has no JACK interface")
    server, (file, checked) = pointed_at(started, monkeypatch), music
    with closing(TemporaryOutput(MIX)), closing(DeviceSource("mix")) as source:
        player = jack_player(server, "player", file, "mix", before=("pw-jack",))
        heard = frames_until(source, lambda frames: len(sounding(frames)) >= 3 * RATE_HZ)
        kill(player)

    assert read(heard).max_true_peak == pytest.approx(checked.max_true_peak, abs=0.1)


def test_a_jack_client_is_measured_and_waited_for(jack_server, music):
    """First alone; then it ends and another client plays; then it is back."""
    file, checked = music
    player = jack_player(jack_server, "player", file)
    jack_server.wait_for("sh", "-c", "jack_lsp | grep -q player:out_2")
    assert [device.name for device in list_devices() if device.likely_loopback] == ["player"]
    with closing(DeviceSource()) as source:
        blocks = source.blocks()
        heard = frames_until(source, lambda frames: len(frames) >= 3 * RATE_HZ)
        clients = jack_server.run("jack_lsp")
        other = jack_player(jack_server, "other", file)
        kill(player)
        blocks = source.blocks()
        away = [next(blocks) for _ in range(40)][20:]
        connected = jack_server.run("jack_lsp", "-c", "other")
        player = jack_player(jack_server, "player", file)
        back = next(block for block, _ in zip(blocks, range(300), strict=False) if len(block.frames))
        kill(player)
        kill(other)
        title = source.title

    assert title == "player"
    assert "loudness-sidecar:in_2" in clients
    assert read(heard).max_true_peak == pytest.approx(checked.max_true_peak, abs=0.1)
    assert [len(block.frames) for block in away] == [0] * 20
    assert "loudness-sidecar" not in connected
    assert back.lost > RATE_HZ
