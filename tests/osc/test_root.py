"""Another root than the usual: whatever has an address is below it, and nothing below the usual one."""

import contextlib
import json
import signal
import socket
import subprocess
import sys
import time

import numpy as np
import pytest

from sidecar.cli import main
from sidecar.cli.arguments.parsing import OSC_ROOT
from sidecar.errors import NetworkError
from sidecar.model.commands import FaderAt, Nudge, Reset
from sidecar.model.readings import Reading
from sidecar.model.snapshot import Event, Snapshot, Timeline
from sidecar.osc import codec
from sidecar.osc.sockets.destinations import resolve
from sidecar.osc.sockets.udp import OscPort, bind
from sidecar.osc.table import addresses
from sidecar.osc.table.addresses import INCOMING, OUTGOING, checked_root
from sidecar.osc.table.exchange import ANSWERS, DROPS, SERVICES, drop_path
from sidecar.osc.watch_client import WatchClient
from sidecar.oscquery.tree import Tree
from sidecar.remote.commands import datagram
from sidecar.remote.feed import RemoteFeed
from sidecar.remote.received import sound
from sidecar.run.event_loop import EventLoop
from sidecar.settings.goals import load_goal
from sidecar.surfaces.link import SurfaceLink
from sidecar.surfaces.surface import Surface

ROOT = "/room/two"
PATIENCE_S = 60.0
SNAPSHOT = Snapshot("measuring", load_goal("r128"), Reading(-20.0, true_peak=(-3.0, -4.0)))


def wait_for(condition):
    end = time.monotonic() + PATIENCE_S
    while not condition():
        assert time.monotonic() < end, "it never came"
        time.sleep(0.01)


class RunFeed:
    """A history of one second in which a mark was set."""

    def __init__(self):
        self.events = ()

    def timeline(self):
        column = np.full(10, -20.0, np.float32)
        return Timeline(column, column, column, column, self.events)

    def goals(self):
        return [SNAPSHOT.goal]


class Rig:
    """A run's port below ROOT, and a watcher to all that it sends."""

    def __init__(self, engine):
        self.feed, self.asked = RunFeed(), []
        server = bind("127.0.0.1", 0)
        self.port = OscPort([], root=ROOT)
        self._engine = engine
        engine.run(self.port.open(server, self.asked.append, feed=self.feed))
        self.socket = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        self.socket.connect(server.getsockname())
        self.socket.settimeout(PATIENCE_S)
        self.heard = {}

    def offer(self):
        self._engine.soon(self.port.offer, SNAPSHOT)

    def say(self, address, tags="", values=()):
        self.socket.send(codec.message(address, tags, values).dgram)

    def until(self, address):
        """The arguments of the first message there."""
        end = time.monotonic() + PATIENCE_S
        self.heard.pop(address, None)
        while address not in self.heard:
            assert time.monotonic() < end, f"{address} never came"
            self.heard.update(codec.parse(self.socket.recv(65_535)))
        return self.heard[address]


@pytest.fixture
def rig():
    with EventLoop() as engine, contextlib.ExitStack() as closing:
        made = Rig(engine)
        closing.callback(made.socket.close)
        closing.callback(lambda: engine.run(made.port.close()))
        made.offer()
        yield made


def test_everything_that_is_sent_stands_below_it(rig):
    """Values, details, marks, answers, refusals and counters: not one address elsewhere."""
    groups = ["reading", "move", "stems", "alert", "auto", "run", "mark", "detail"]
    rig.say(f"{ROOT}/watch", "s*", groups)
    rig.until(f"{ROOT}/watching")
    rig.feed.events = (Event(1.0, "marker", "refrain"),)
    rig.offer()
    assert rig.until(f"{ROOT}/marked") == [1.0, "refrain"]
    for path, tags, values in (("/history", "ii", (0, 10)), ("/events", "i", (0,)), ("/goals", "", ())):
        rig.say(ROOT + path, tags, values)
    rig.until(f"{ROOT}/history/part")
    rig.until(f"{ROOT}/event")
    rig.until(f"{ROOT}/goals/goal")
    rig.say(f"{ROOT}/fader", "s", ["up"])
    assert rig.until(f"{ROOT}/error")[0] == f"{ROOT}/fader"
    rig.say(f"{ROOT}/drops/*")
    rig.until(f"{ROOT}/drops/argument")

    assert {address for address in rig.heard if not address.startswith(f"{ROOT}/")} == set()
    asked_elsewhere = {f"{ROOT}/verify"}  # only of addresses on other machines
    assert {ROOT + answer.path for answer in ANSWERS} - asked_elsewhere <= set(rig.heard)
    assert {ROOT + drop_path(reason) for reason in DROPS} <= set(rig.heard)
    assert {f"{ROOT}/momentary", f"{ROOT}/detail/goal", f"{ROOT}/alert/over"} <= set(rig.heard)


def test_commands_and_questions_are_taken_there_and_nowhere_else(rig):
    """A command below the usual root is refused, in words that come back below this one."""
    rig.say("/sidecar/reset")
    assert rig.until(f"{ROOT}/error") == ["/sidecar/reset", "/sidecar/reset is no address of the sidecar"]
    rig.say(f"{ROOT}/nudge", "f", [-1.0])
    rig.say(f"{ROOT}/momentary")
    rig.until(f"{ROOT}/momentary")

    assert [Nudge(-1.0)] == rig.asked


def test_a_selection_names_addresses_as_they_are_sent(rig):
    """One pattern below the root; the same below the usual one names nothing."""
    rig.say(f"{ROOT}/watch", "s", [f"{ROOT}/goal/*"])
    _, _, count = rig.until(f"{ROOT}/watching")
    rig.say(f"{ROOT}/watch", "s", ["/sidecar/goal/*"])
    _, words = rig.until(f"{ROOT}/error")

    assert sum(row.path.startswith("/goal/") for row in OUTGOING) == count
    assert "'/sidecar/goal/*' is no address" in words


def test_who_attaches_or_listens_from_elsewhere_asks_below_it(rig):
    """The watcher's requests, a screen's commands, and what the screen takes for sound."""
    asking = WatchClient(resolve("{}:{}/alert".format(*rig.socket.getpeername())), ROOT)
    asking.socket.settimeout(PATIENCE_S)
    with contextlib.closing(asking):
        asking.keep_up(0.0)
        (address, _), *_ = codec.parse(asking.socket.recv(65_535))
    ((commanded, _),) = codec.parse(datagram(FaderAt(-3.0), ROOT))

    assert address == f"{ROOT}/alert/ceiling"
    assert commanded == f"{ROOT}/fader"
    assert sound(f"{ROOT}/momentary", [-20.0], ROOT) == ("/momentary", (-20.0,))
    assert sound("/sidecar/momentary", [-20.0], ROOT) is None
    assert sound("/momentary", [-20.0], ROOT) is None


def test_a_screen_elsewhere_draws_such_a_run(rig):
    """The run as it is, its history with its events, its goals; and a key pressed there reaches it."""
    rig.feed.events = (Event(1.0, "marker", "refrain"),)
    with RemoteFeed("{}:{}".format(*rig.socket.getpeername()), ROOT) as feed:
        assert feed.wait(PATIENCE_S)
        feed.send_command(Reset())
        wait_for(lambda: rig.asked and feed.timeline().events)
        levels = feed.timeline().short_term.tolist()

    assert (feed.snapshot().transport, feed.snapshot().goal.name) == ("measuring", "r128")
    assert [Reset()] == rig.asked
    assert (rig.feed.events, [-20.0] * 10) == (feed.timeline().events, levels)


@pytest.mark.slow
def test_listen_asks_such_a_run(rig):
    """A whole process with another root."""
    place = "{}:{}/reading".format(*rig.socket.getpeername())
    listen = [sys.executable, "-m", "sidecar", "listen", "--json", "--from", place, "--osc-root", ROOT]
    listener = subprocess.Popen(listen, stdout=subprocess.PIPE, text=True)
    first = json.loads(listener.stdout.readline())
    listener.send_signal(signal.SIGINT)
    listener.communicate(timeout=PATIENCE_S)

    assert first == {"address": f"{ROOT}/momentary", "arguments": [-20.0]}
    assert listener.returncode == 0


@pytest.mark.parametrize("command", [("listen", "--from"), ("screen", "--attach"), ("screen", "--browser")])
def test_commands_refuse_what_is_no_root(capsys, command):
    """In one line, before anything is opened."""
    place = [] if "--browser" in command else ["127.0.0.1:9"]
    code = main([*command, *place, "--osc-root", "sidecar"])

    assert (code, len(capsys.readouterr().err.strip().splitlines())) == (2, 1)


def test_the_options_name_the_root_that_the_table_has():
    """They may not load the table."""
    assert addresses.ROOT == OSC_ROOT


def test_the_tree_that_is_discovered_grows_below_it():
    """Every part of the root is a node, and every row hangs below the last."""
    tree = Tree(root=ROOT)
    parts = list(tree.node("/", None)["CONTENTS"]["room"]["CONTENTS"])

    assert parts == ["two"]
    assert {ROOT + row.path for row in OUTGOING} == tree.readable
    assert all(ROOT + row.path in tree for row in (*INCOMING, *SERVICES))


@pytest.mark.parametrize("text", ["/sidecar", "/room/two", "/a", "/" + "x" * 63, "/vo-1.2:3"])
def test_a_root_is_one_part_or_several(text):
    """Whatever OSC 1.0 allows in an address ("OSC Address Spaces")."""
    assert text == checked_root(text)


@pytest.mark.parametrize(
    "text",
    [
        *("", "/", "sidecar", "/sidecar/", "//sidecar", "/a//b", "/side car", "/sä", "/a\n", "/" + "x" * 64),
        *("/side*", "/a?", "/a#b", "/a,b", "/{a}", "/[a]"),
    ],
)
def test_what_is_no_root_is_refused_with_one_that_is(text):
    """A receiver could not distinguish its addresses from patterns, or its parts from each other."""
    with pytest.raises(NetworkError, match="give one such as /sidecar"):
        OscPort([], root=text)


def test_a_surface_may_not_speak_of_faders_where_the_commands_are():
    """What it says would be taken for commands; another root makes room for it."""
    surface = Surface("mine", "Mine", "/master/level", "/sidecar/now", "db", -60.0, 6.0)
    link = SurfaceLink(surface, resolve("127.0.0.1:8000"), clock=lambda: 0.0)
    with pytest.raises(NetworkError, match=r"mine sends to /sidecar/now, below /sidecar.*--osc-root"):
        OscPort([], link=link)

    OscPort([], link=link, root="/sidecar-two")
