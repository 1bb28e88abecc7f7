"""An output made for a run: what it is like, and that nothing of it is left."""

import os
import signal
import subprocess
import sys
import time
from contextlib import closing
from pathlib import Path

import pytest

from sidecar.errors import SourceError
from sidecar.sources import output_process
from sidecar.sources.output import TemporaryOutput
from sidecar.sources.output_process import OutputOrder, channel_map, is_running, line_by_hand, own_mark
from sidecar.sources.pulse import connected

STEREO = OutputOrder("mix", 2, 48_000, None)
MAP_OF_EIGHT = "front-left,front-right,rear-left,rear-right,front-center,lfe,side-left,side-right"


def sinks():
    with connected() as server:
        return {sink.name: sink for sink in server.sinks()}


def test_eight_channels_have_the_map_of_players():
    assert ",".join(channel_map(8)) == MAP_OF_EIGHT
    assert channel_map(2) == ("front-left", "front-right")
    assert channel_map(1) == ("mono",)
    assert channel_map(10)[8:] == ("aux0", "aux1")


def test_a_process_is_told_from_a_later_one_of_its_number():
    assert is_running(own_mark())
    assert not is_running(f"{os.getpid()}:1")

    with subprocess.Popen([sys.executable, "-c", ""]) as ended:
        mark = f"{ended.pid}:{output_process._start_of(ended.pid)}"
        ended.wait()
    assert not is_running(mark)


@pytest.mark.slow
def test_an_output_is_made_and_removed(loopback):
    """Floats, the players' map, the rate of the session; what is there already is left alone."""
    with closing(TemporaryOutput(OutputOrder("stems", 8, 96_000, "loop"))) as made:
        sink = sinks()["stems"]

        assert (sink.sample_format, sink.rate_hz, ",".join(sink.positions)) == (
            "float32le",
            96_000,
            MAP_OF_EIGHT,
        )
        assert made.heard_on == "loopback"
        with pytest.raises(SourceError, match=r"an output stems already\. Listen to it with --device stems"):
            TemporaryOutput(OutputOrder("stems", 2, 48_000, None))

    with connected() as server:
        assert [sink.name for sink in server.sinks()] == ["loopback"]
        assert not [module for module in server.modules() if output_process.MAKER in module.arguments]


@pytest.mark.slow
def test_what_a_killed_run_left_is_removed_by_the_next(loopback):
    left = TemporaryOutput(STEREO)
    left._process.send_signal(signal.SIGKILL)
    left._process.wait()
    assert "mix" in sinks()

    with closing(TemporaryOutput(STEREO)):
        assert list(sinks()).count("mix") == 1
    assert "mix" not in sinks()
    left.close()


@pytest.mark.slow
def test_the_output_is_made_again_when_the_server_comes_back(loopback):
    with closing(TemporaryOutput(STEREO)):
        loopback.signal(signal.SIGKILL)
        loopback.up()
        with connected() as server:
            end_s = time.monotonic() + 30.0
            while "mix" not in [sink.name for sink in server.sinks()]:
                assert time.monotonic() < end_s, "the output was not made again"
                server.iterate()  # 0.1 s at most
    assert "mix" not in sinks()


def test_the_readme_has_the_line_by_hand():
    readme = Path(__file__).parents[2].joinpath("README.md").read_text(encoding="utf-8")

    assert line_by_hand("mix", 2, 48_000) in " ".join(readme.replace("\\\n", "").split())


@pytest.mark.slow
def test_the_line_by_hand_makes_the_same_output(loopback):
    line = line_by_hand("mix", 8, 48_000)
    subprocess.run(line, shell=True, check=True, stdout=subprocess.DEVNULL)
    sink = sinks()["mix"]

    assert (sink.sample_format, sink.rate_hz, ",".join(sink.positions)) == ("float32le", 48_000, MAP_OF_EIGHT)


@pytest.mark.parametrize("name", ["", "a b", "mix'", "../x"])
def test_a_name_that_the_server_would_take_apart_is_refused(name):
    with pytest.raises(SourceError, match="An output's name has letters, digits"):
        TemporaryOutput(OutputOrder(name, 2, 48_000, None))


@pytest.mark.slow
def test_without_a_server_the_sentence_names_the_packages(loopback):
    loopback.down()
    with pytest.raises(SourceError, match=r"no output can be made.*pipewire-pulse"):
        TemporaryOutput(STEREO)
