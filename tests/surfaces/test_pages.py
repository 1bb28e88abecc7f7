"""A panel that shows its stems page by page, played on a real UDP socket."""

import contextlib
import math
import queue
import socket
import time

import pytest

from sidecar.model.readings import Move
from sidecar.model.snapshot import FaderFeedback, Snapshot, Stem
from sidecar.osc import codec
from sidecar.osc.sockets.destinations import resolve
from sidecar.osc.sockets.udp import OscPort, bind
from sidecar.run.event_loop import EventLoop
from sidecar.settings.goals import load_goal
from sidecar.settings.locations import shipped_configs
from sidecar.surfaces.feedback import SurfaceFeedback
from sidecar.surfaces.link import SurfaceLink
from sidecar.surfaces.paging import Paging
from sidecar.surfaces.surface import load_surface

PATIENCE_S = 60.0
STRIPS = range(1, 9)
STEMS = tuple(Stem(f"stem {n}", -float(n), Move(n / 2), -10.0 - n) for n in range(1, 12))
SNAPSHOT = Snapshot("measuring", load_goal("r128"), stems=STEMS)


class Panel:
    """The shipped panel of eight strips on one socket; on the other side a run with eleven stems."""

    def __init__(self, engine, closing):
        surface = load_surface(shipped_configs() / "surfaces" / "strips.toml")
        self.socket = closing.enter_context(socket.socket(socket.AF_INET, socket.SOCK_DGRAM))
        self.socket.bind(("127.0.0.1", 0))
        self.socket.settimeout(PATIENCE_S)
        here = f"127.0.0.1:{self.socket.getsockname()[1]}"
        self.asked: queue.SimpleQueue[FaderFeedback] = queue.SimpleQueue()
        server = bind("127.0.0.1", 0)
        self.address = server.getsockname()
        link = SurfaceLink(surface, resolve(here), clock=lambda: self.now_s)
        port = OscPort([], link=link)
        display = SurfaceFeedback(surface, resolve(here), clock=lambda: self.now_s)
        engine.run(port.open(server, lambda _command: None, report_fader=self.asked.put))
        closing.callback(lambda: engine.run(port.close()))
        closing.callback(lambda: engine.run(display.close()))
        self.engine, self.display, self.now_s = engine, display, 0.0
        self.known = {}

    def say(self, address, tags, *values):
        self.socket.sendto(codec.message(address, tags, values).dgram, self.address)

    def turn(self, page):
        """Turns the page; what is said after it is heard after it, so its effect is there with the answer."""
        self.say("/panel/page", "i", page)
        self.say("/master/level", "f", -1.0)
        assert self.asked.get(timeout=PATIENCE_S).position_db == -1.0

    def look(self, snapshot=SNAPSHOT):
        """Offers one snapshot a moment later; what it made the sidecar send, to the last of it."""
        self.now_s += 0.1
        self.engine.run(self.offer(snapshot))
        end_s = time.monotonic() + PATIENCE_S
        sent = {}
        self.socket.sendto(b"end", self.socket.getsockname())  # to itself: behind what was sent before
        while (packet := self.socket.recv(65_535)) != b"end":
            assert time.monotonic() < end_s
            sent.update(codec.parse(packet))
        self.known.update(sent)
        return sent

    async def offer(self, snapshot):
        self.display.offer(snapshot)

    def strips(self, what):
        return [self.known[f"/panel/{strip}/{what}"][0] for strip in STRIPS]


@pytest.fixture
def panel():
    with EventLoop() as engine, contextlib.ExitStack() as closing:
        yield Panel(engine, closing)


def test_the_first_page_shows_the_first_stems(panel):
    """Eight of eleven, and the programme's move beside them."""
    sent = panel.look()

    assert [f"stem {n}" for n in range(1, 9)] == panel.strips("name")
    assert [n / 2 for n in range(1, 9)] == panel.strips("move")
    assert {"/panel/9/name", "/panel/page"}.isdisjoint(sent)


def test_a_page_that_is_turned_shows_the_next_stems_and_empty_strips(panel):
    """Three more; five strips say that they have none, so that nothing of the page before stays."""
    panel.look()
    panel.turn(2)
    panel.look()

    assert panel.strips("name") == ["stem 9", "stem 10", "stem 11", *[""] * 5]
    assert panel.strips("move") == [4.5, 5.0, 5.5, *[0.0] * 5]
    assert panel.strips("peak") == [-19.0, -20.0, -21.0, *[-120.0] * 5]


def test_pages_turned_to_and_fro_do_not_flash(panel):
    """Ten turns a second change the strips three times in a second; the last page comes when they end.

    Sources: WCAG 2.x success criterion 2.3.1 and ITU-R BT.1702; here each change counts, not each pair.
    """
    panel.look()
    changed_s = []
    for turn in range(40):
        before = panel.strips("move")
        panel.turn(2 - turn % 2)
        panel.look()
        if panel.strips("move") != before:
            changed_s.append(panel.now_s)
    for _ in range(11):
        panel.look()

    assert len(changed_s) > 3
    assert min(last - first for first, last in zip(changed_s, changed_s[3:], strict=False)) > 1.0
    assert panel.strips("move") == [n / 2 for n in range(1, 9)]
    assert panel.strips("name") == [f"stem {n}" for n in range(1, 9)]


def test_everything_shown_is_sent_again_when_the_page_is_turned(panel):
    """Also what is the same on every page: a layout may draw each page anew."""
    whole = set(panel.look())
    still = panel.look()
    panel.turn(2)

    assert still == {}
    assert whole == set(panel.look())


def test_the_faders_of_a_page_are_those_of_its_stems(panel):
    """Strip 3 is stem 3, then stem 11, and stem 3 again."""
    heard = []
    for page in (1, 2, 1):
        panel.turn(page)
        panel.say("/panel/3/level", "f", -6.0)
        feedback = panel.asked.get(timeout=PATIENCE_S)
        heard.append((feedback.stem, feedback.position_db))

    assert heard == [("3", -6.0), ("11", -6.0), ("3", -6.0)]


@pytest.mark.parametrize("arguments", [("i", 0), ("f", 0.0), ("", None), ("i", 126), ("f", 1.5), ("s", "2")])
def test_what_is_no_page_turns_none(panel, arguments):
    """A button that is let go, no number, a page that no stem can be on: strip 1 is what it was."""
    panel.turn(2)
    tags, value = arguments
    panel.say("/panel/page", tags, *([] if value is None else [value]))
    panel.say("/panel/1/level", "f", -6.0)

    feedback = panel.asked.get(timeout=PATIENCE_S)
    assert (feedback.stem, feedback.position_db) == ("9", -6.0)


@pytest.mark.parametrize("strip", [0, 9, 17])
def test_a_strip_that_there_is_not_is_no_stem(panel, strip):
    """Strip 9 of page 1 must not be taken for the first of page 2."""
    panel.say(f"/panel/{strip}/level", "f", -6.0)
    panel.say("/panel/8/level", "f", -6.0)

    feedback = panel.asked.get(timeout=PATIENCE_S)
    assert (feedback.stem, feedback.position_db) == ("8", -6.0)


def test_a_page_past_the_last_is_empty_and_can_be_left(panel):
    """Nothing but blanks, and the first page is whole again."""
    panel.look()
    panel.turn(7)
    panel.look()
    empty = panel.strips("name")
    panel.turn(1)
    panel.look()

    assert [[""] * 8, [f"stem {n}" for n in STRIPS]] == [empty, panel.strips("name")]


@pytest.mark.parametrize(("strips", "last"), [(1, 999), (8, 125), (128, 8)])
def test_the_last_page_is_that_of_the_last_stem_there_can_be(strips, last):
    """999 stems; the page behind it is refused with the range."""
    pages = Paging(strips, "/panel/page")
    assert pages.turn_page("/panel/page", [float(last)])
    with pytest.raises(ValueError, match=f"1 to {last}, not"):
        pages.turn_page("/panel/page", [last + 1])
    with pytest.raises(ValueError, match="needs a page number"):
        pages.turn_page("/panel/page", [math.nan])

    assert (last - 1) * strips + 1 == pages.stem(1)
