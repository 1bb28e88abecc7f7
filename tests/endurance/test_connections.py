"""Unused connections take no descriptor that the run needs."""

import contextlib
import resource
import socket

import numpy as np
import pytest
import soundfile
from asker import Asker, free_port
from live_run import LiveRun

from sidecar.journal import reader

pytestmark = pytest.mark.slow


RATE_HZ = 48_000
IDLE = 1_500
DESCRIPTORS = 1_024


@pytest.fixture
def tone(tmp_path):
    """Two minutes that play in real time."""
    seconds = np.arange(120 * RATE_HZ) / RATE_HZ
    file = tmp_path / "tone.wav"
    soundfile.write(file, 0.05 * np.sin(2 * np.pi * 1000 * np.stack([seconds] * 2, axis=1)), RATE_HZ)
    return file


@pytest.fixture
def many_descriptors():
    """This process holds the other ends."""
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    wanted = IDLE + 256
    if hard != resource.RLIM_INFINITY and hard < wanted:
        pytest.skip(f"this system gives a process {hard} descriptors")
    resource.setrlimit(resource.RLIMIT_NOFILE, (max(soft, wanted), hard))
    yield
    resource.setrlimit(resource.RLIMIT_NOFILE, (soft, hard))


@pytest.mark.slow
@pytest.mark.parametrize("option", ["--osc-tcp", "--discovery-port"])
def test_idle_connections_without_number_keep_nothing_from_a_run(tone, tmp_path, many_descriptors, option):
    """1,500 at a limit of 1,024 descriptors: it measures on, reads a goal, records and answers OSC."""
    udp, tcp, heard = free_port(), free_port(socket.SOCK_STREAM), tmp_path / "heard.wav"
    ports = ("--osc-port", str(udp), option, str(tcp))
    with (
        contextlib.ExitStack() as idle,
        LiveRun("live", "--file", str(tone), "--write", str(heard), *ports, descriptors=DESCRIPTORS) as run,
        Asker(udp) as asker,
    ):
        run.wait_for_progress()
        for _ in range(IDLE):
            idle.enter_context(socket.create_connection(("127.0.0.1", tcp), timeout=60.0))
        run.wait_for_progress()
        asker.say("/sidecar/watch", "run")
        asker.say("/sidecar/goal", "premaster")
        asker.say("/sidecar/mark", "behind the storm")
        while asker.hear("/sidecar/goal/name") != ["premaster"]:
            pass
        measured_s = run.wait_for_progress().line["seconds"]
        code, errors = run.end()
    [kept] = reader.passes()
    record = reader.load(kept.id)

    assert code == 0
    assert "sidecar:" not in errors  # a first run says besides that it compiles
    assert record.missing == ()
    assert kept.reading.seconds >= measured_s
    assert "behind the storm" in [event.text for event in record.events]
    assert soundfile.info(heard).frames >= measured_s * RATE_HZ
