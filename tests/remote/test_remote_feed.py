"""A run and a screen's feed on it, over real sockets; the run killed and started anew."""

import contextlib
import math
import os
import signal
import socket
import subprocess
import sys
import threading
import time
from dataclasses import fields, is_dataclass, replace
from typing import NamedTuple

import numpy as np
import pytest

from sidecar.errors import NetworkError
from sidecar.model.commands import Continue, Mark, Nudge, Pause, Reset, SelectGoal, StemFaderAt
from sidecar.model.readings import Reading
from sidecar.osc import codec
from sidecar.osc.sockets.udp import OscPort, bind
from sidecar.remote.feed import RemoteFeed
from sidecar.run.event_loop import EventLoop
from sidecar.run.options import RunOptions
from sidecar.run.session import Session
from sidecar.run.stem_faders import Mix
from sidecar.settings.goals import load_goal
from sidecar.sources.rehearsal import RehearsalSource

PATIENCE_S = 240.0  # the first run on a machine compiles the meter
TIMES = 40.0


def moment(snapshot):
    """The programme time of a snapshot, in single precision."""
    return str(np.float32(snapshot.reading.seconds))


def wait_for(condition, within_s=PATIENCE_S):
    end = time.monotonic() + within_s
    while not condition():
        assert time.monotonic() < end, "it never came"
        time.sleep(0.01)


class Run(NamedTuple):
    """A run, where it is, and every reading that it made, by its time."""

    session: Session
    place: str
    made: dict[str, Reading]


@contextlib.contextmanager
def a_run(mix=None):
    """A rehearsal at many times its pace with a port of its own."""
    made = {}
    source = RehearsalSource(
        clock=lambda: time.monotonic() * TIMES,
        wait=lambda ahead_s: time.sleep(ahead_s / TIMES),
        apart=mix is not None,
    )
    with EventLoop() as engine:
        port = OscPort([], update_hz=10.0)
        server = bind("127.0.0.1", 0)
        session = Session(
            source,
            RunOptions(load_goal("r128"), layout="stereo", mix=mix),
            outlets=[
                lambda snapshot: made.update({moment(snapshot): snapshot.reading}),
                lambda snapshot: engine.soon(port.offer, snapshot),
            ],
            targets=port.status,
        )
        engine.run(port.open(server, session.send_command, feed=session))
        worker = threading.Thread(target=session.run, daemon=True)
        worker.start()
        try:
            yield Run(session, "{}:{}".format(*server.getsockname()), made)
        finally:
            session.stop()
            worker.join(PATIENCE_S)
            engine.run(port.close())


@pytest.fixture(scope="module")
def run():
    with a_run(Mix(RehearsalSource.stems)) as made:
        yield made


@pytest.fixture
def feed(run):
    with RemoteFeed(run.place) as made:
        assert made.wait(PATIENCE_S)
        yield made


def differences(ours, theirs, path="snapshot"):
    """Where two pictures of a run differ by more than single precision, names of fields."""
    if is_dataclass(ours) and type(ours) is type(theirs):
        for field in fields(ours):
            yield from differences(
                getattr(ours, field.name), getattr(theirs, field.name), f"{path}.{field.name}"
            )
    elif isinstance(ours, tuple) and isinstance(theirs, tuple) and len(ours) == len(theirs):
        for place, pair in enumerate(zip(ours, theirs, strict=True)):
            yield from differences(*pair, f"{path}.{place}")
    elif isinstance(ours, float) and isinstance(theirs, float):
        ours = ours if ours > codec.WIRE_SILENCE else -math.inf  # under it the wire knows only silence
        if not (ours == theirs or math.isclose(ours, theirs, rel_tol=2**-23)):
            yield path
    elif ours != theirs:
        yield path


def moving(path):
    """What is counted up all the time, or is a moment that only its owner's clock knows."""
    return path.endswith((".beat", ".sent", ".since_s")) or (".alerts." in path and path.endswith(".value"))


@pytest.mark.slow
def test_the_screen_elsewhere_is_told_what_the_one_here_is_shown(run, feed):
    """The whole snapshot, stems and moves included, once the programme is paused: it then stops changing."""
    session = run.session
    wait_for(lambda: session.snapshot().reading.seconds > 20.0 and session.snapshot().build_up)
    feed.send_command(Pause())
    wait_for(lambda: feed.snapshot().transport == "paused")
    wait_for(lambda: not [at for at in differences(session.snapshot(), feed.snapshot()) if not moving(at)])
    feed.send_command(Continue())
    wait_for(lambda: feed.snapshot().transport == "measuring")

    assert len(feed.snapshot().stems) == 4


@pytest.mark.slow
def test_no_reading_is_shown_that_the_run_did_not_make(run, feed):
    """Whole and unmixed: each belongs to one update of the run, known by its time, to single precision."""
    shown = {}

    def has_shown_twenty():
        snapshot = feed.snapshot()
        shown[moment(snapshot)] = snapshot.reading
        return len(shown) >= 20

    wait_for(has_shown_twenty)

    assert shown.keys() <= run.made.keys()
    for at, reading in shown.items():
        # Told when it changes, ahead of the readings that wait for their time.
        settled = replace(reading, range_is_stable=run.made[at].range_is_stable)
        assert not list(differences(run.made[at], settled))


@pytest.mark.slow
def test_a_screen_that_attaches_late_shows_the_whole_programme(run):
    """Every column and every event since the beginning, as the run itself has them."""
    session, place = run.session, run.place
    session.send_command(Mark("−1 dB, Kästchen"))
    wait_for(lambda: len(session.timeline().seconds) > 300)
    with RemoteFeed(place) as feed:
        session.send_command(Pause())
        wait_for(lambda: session.snapshot().transport == "paused")
        wait_for(lambda: len(feed.timeline().seconds) == len(session.timeline().seconds))
        wait_for(lambda: len(feed.timeline().events) == len(session.timeline().events))
        ours, theirs = feed.timeline(), session.timeline()
        session.send_command(Continue())

    for name in ("seconds", "short_term", "integrated", "fader_db"):
        assert getattr(theirs, name).tobytes() == getattr(ours, name).tobytes(), name
    assert not list(differences(theirs.events, ours.events))
    assert "−1 dB, Kästchen" in [event.text for event in ours.events]


@pytest.mark.slow
def test_commands_reach_the_run(run, feed):
    """A goal, a mark with a name, a fader, a stem's fader; the run shows them and the feed shows the run."""
    session = run.session
    feed.send_command(SelectGoal("a85"))
    feed.send_command(Mark("coda"))
    feed.send_command(StemFaderAt("voice", -4.5))
    feed.send_command(Nudge(-1.5))
    wait_for(lambda: feed.snapshot().goal.name == "a85")
    wait_for(lambda: "coda" in [event.text for event in feed.timeline().events])
    wait_for(lambda: -4.5 in [stem.fader_db for stem in feed.snapshot().stems])
    wait_for(lambda: session.snapshot().fader_db == feed.snapshot().fader_db != 0.0)
    feed.send_command(SelectGoal("no such goal"))
    wait_for(lambda: "no such goal" in feed.snapshot().notice)
    feed.send_command(SelectGoal("r128"))
    wait_for(lambda: feed.snapshot().goal == session.snapshot().goal == load_goal("r128"))


def test_a_reset_begins_anew_here_too(run, feed):
    """Programme time and history are those of the new pass."""
    wait_for(lambda: len(feed.timeline().seconds) > 100)
    feed.send_command(Reset())
    wait_for(lambda: len(feed.timeline().seconds) < 100 and feed.snapshot().reading.seconds < 60.0)
    wait_for(lambda: len(feed.timeline().seconds) > 0)

    assert pytest.approx(feed.timeline().seconds[0]) == 0.1


def test_the_goals_are_those_of_the_run(run, feed):
    """They may have names that this machine does not know."""
    session = run.session
    wait_for(lambda: len(feed.goals()) == len(session.goals()))  # they come in several packets

    assert list(feed.goals()) == list(session.goals())


def test_a_run_that_is_not_there_is_waited_for():
    """Something is shown at once, it says what is waited for, and a command is refused."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        probe.bind(("127.0.0.1", 0))
        place = f"127.0.0.1:{probe.getsockname()[1]}"
    with RemoteFeed(place) as feed:
        shown = feed.snapshot()
        with pytest.raises(NetworkError, match="'mark' was not sent"):
            feed.send_command(Mark())

    assert (shown.transport, place in shown.notice) == ("waiting", True)
    assert len(feed.timeline().seconds) == 0


def test_a_place_that_is_none_is_refused():
    """The message shows what one looks like."""
    with pytest.raises(NetworkError, match="HOST:PORT"):
        RemoteFeed("nowhere")


def a_process(port, tmp_path):
    return subprocess.Popen(
        [
            *(sys.executable, "-m", "sidecar", "rehearse", "--no-screen", "--no-record"),
            "--osc-port",
            str(port),
        ],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        env={**os.environ, "XDG_STATE_HOME": str(tmp_path)},
    )


@pytest.mark.slow
def test_a_killed_run_is_told_of_and_found_again_when_it_is_back(tmp_path):
    """kill -9: the last figures stay, marked as old; the next run at that place is shown by itself."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    first = a_process(port, tmp_path)
    second = None
    try:
        with RemoteFeed(f"127.0.0.1:{port}") as feed:
            wait_for(lambda: feed.snapshot().reading.seconds > 1.0)
            first.send_signal(signal.SIGKILL)
            first.wait()
            wait_for(lambda: feed.snapshot().transport == "waiting")
            stale = feed.snapshot()
            with pytest.raises(NetworkError, match="was not sent"):
                feed.send_command(Pause())
            second = a_process(port, tmp_path)
            wait_for(lambda: feed.snapshot().transport == "measuring")
            back = feed.snapshot()
    finally:
        for process in filter(None, (first, second)):
            process.kill()
            process.wait()

    assert stale.reading.seconds > 1.0
    assert f"no answer from 127.0.0.1:{port} for " in stale.notice
    assert [alert.state for alert in stale.alerts if alert.name == "lost"] == ["on"]
    assert [alert.state for alert in back.alerts if alert.name == "lost"] == ["off"]
    assert "no answer" not in back.notice
