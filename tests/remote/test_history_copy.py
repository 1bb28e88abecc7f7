"""A history fetched over a wire that loses packets, in virtual time: archive, reception and copy together."""

import random
import tracemalloc

import numpy as np
import pytest

from sidecar.model.readings import SILENCE
from sidecar.model.snapshot import Event, Target
from sidecar.osc import codec
from sidecar.osc.access import PARTS_AT_ONCE, PARTS_HZ, AccessPolicy
from sidecar.osc.backlog import Backlog
from sidecar.osc.publisher import Publisher
from sidecar.osc.server import OscServer
from sidecar.osc.table.addresses import ROOT
from sidecar.osc.watches import LEASE_S
from sidecar.remote.received import sound
from sidecar.remote.timeline import TimelineCopy
from sidecar.run.timeline import TimelineLog
from sidecar.settings.goals import all_goals

TICK_S = 0.05


class Peer:
    """An asker that keeps what it was sent."""

    def __init__(self, port=1):
        self.host, self.key, self.is_proven = "127.0.0.1", port, True
        self.status = Target(f"127.0.0.1:{port}")
        self.packets = []

    def send_packet(self, packet):
        self.packets.append(packet)


class Wire:
    """A run with a history, a screen that copies it, and the way between them."""

    def __init__(self, seconds=0.0, lose=lambda: False):
        self.log = TimelineLog()
        self.chance = random.Random(6)
        self.outbox = Publisher()
        self.reception = OscServer(AccessPolicy(), self.outbox, update_hz=10.0)
        self.reception.archive = Backlog(self.history, all_goals)
        self.peer, self.copy, self.lose = Peer(), TimelineCopy(), lose
        self.now_s = 1000.0
        self.most_bytes = 0
        self.play(seconds)
        self.ask("/watch", "s", ["run"])

    def history(self):
        return self.log.view()

    def play(self, seconds):
        for _ in range(round(seconds * 10)):
            level = self.chance.uniform(-60.0, -10.0) if self.chance.random() > 0.1 else SILENCE
            self.log.add_columns(1, level, level - 1.0, self.chance.uniform(-9.0, 3.0))

    def ask(self, path, tags, values, peer=None):
        packet = codec.message(ROOT + path, tags, values).dgram
        self.reception.receive_packet(packet, peer or self.peer, self.now_s)

    def tick(self):
        """One look of both sides; a packet either way may be lost."""
        self.now_s += TICK_S
        self.reception.news()
        for path, places in self.copy.questions(self.now_s):
            if not self.lose():
                self.ask(path, "i" * len(places), places)
        sent, self.peer.packets = self.peer.packets, []
        for packet in sent:
            self.most_bytes = max(self.most_bytes, len(packet))
            if not self.lose():
                self.hear(packet)

    def hear(self, packet):
        for address, arguments in codec.parse(packet):
            path, clean = sound(address, arguments)
            if path in ("/history/size", "/history/part", "/event"):
                self.copy.receive_answer(path, clean)

    def fetch(self, within_s):
        """Seconds until the copy is whole."""
        began_s = self.now_s
        while not self.is_whole():
            assert self.now_s - began_s < within_s
            self.tick()
        return self.now_s - began_s

    def is_whole(self):
        ours, theirs = self.copy.history, self.log.view()
        return (len(ours.seconds), ours.events) == (len(theirs.seconds), theirs.events)

    def assert_same(self):
        for name in ("seconds", "short_term", "integrated", "fader_db"):
            ours, theirs = getattr(self.copy.history, name), getattr(self.log.view(), name)
            assert theirs.tobytes() == ours.tobytes(), name


@pytest.mark.parametrize("seconds", [0.0, 0.1, 7.9, 8.0, 8.1, 64.0, 64.1, 700.0])
def test_a_late_screen_gets_the_history_from_its_first_column(seconds):
    """Bit for bit, silence included, whatever the length is to the parts it comes in."""
    between = Wire(seconds)
    between.log.add_event(Event(0.0, "marker", "begin"))
    between.fetch(within_s=10.0)

    between.assert_same()


@pytest.mark.slow
def test_an_hour_is_there_in_a_few_seconds():
    """36 000 columns within what one asker may have; the last minute is there at once."""
    between = Wire(3600.0)
    while len(between.copy.history.seconds) < 600:
        between.tick()
    first_s, newest = between.now_s - 1000.0, between.copy.history
    whole_s = between.fetch(within_s=10.0)

    assert first_s < 0.5
    assert between.log.view().seconds[-1] == newest.seconds[-1]
    assert whole_s < 6.0
    assert between.most_bytes <= codec.LARGEST_DATAGRAM
    between.assert_same()


@pytest.mark.parametrize("share", [0.02, 0.2, 0.5])
def test_what_is_lost_is_asked_for_again(share):
    """One packet of fifty, of five, of two is lost, questions and answers alike: in the end all is there."""
    chance = random.Random(8)
    between = Wire(300.0, lambda: chance.random() < share)
    for place in range(150):
        between.log.add_event(Event(float(place), "marker", f"Kästchen {place}"))
    between.fetch(within_s=120.0)

    between.assert_same()


def test_packets_that_change_places_do_no_harm():
    """Every answer comes twice, shuffled among the others of its moment."""
    between = Wire(200.0)
    chance = random.Random(9)
    hear, held = between.hear, []
    between.hear = held.append
    for _ in range(200):
        between.tick()
        chance.shuffle(held)
        for packet in held + held[: len(held) // 2]:
            hear(packet)
        held.clear()

    assert between.is_whole()
    between.assert_same()


def test_the_copy_follows_a_history_that_grows():
    """Never further behind than the time between two questions."""
    between = Wire(30.0)
    between.fetch(within_s=5.0)
    for _ in range(200):
        between.play(0.1)
        between.tick()
        behind = len(between.log.view().seconds) - len(between.copy.history.seconds)
        assert behind <= 6
    between.fetch(within_s=1.0)

    between.assert_same()


@pytest.mark.parametrize("played_s", [0.0, 5.0, 60.0, 90.0])
def test_a_reset_empties_it(played_s):
    """Also where the new pass is longer than the old one by the time that it is asked for again."""
    between = Wire(60.0)
    between.log.add_event(Event(3.0, "marker", "old"))
    between.fetch(within_s=5.0)
    between.log = TimelineLog()
    between.play(played_s)
    for _ in range(10):
        between.tick()
    between.fetch(within_s=5.0)

    assert between.copy.history.events == ()
    between.assert_same()


def test_a_sidecar_that_was_started_anew_is_another_pass():
    """Its history is as long as the old one by chance; nothing of the old one is left."""
    between = Wire(60.0)
    between.fetch(within_s=5.0)
    between.log = TimelineLog()
    between.play(60.0)
    between.reception.archive = Backlog(between.history, all_goals)
    for _ in range(20):
        between.tick()

    between.assert_same()


def test_only_a_watcher_is_told():
    """Who has no lease, or none any more, gets a short refusal and not one part."""
    between = Wire(100.0)
    stranger = Peer(2)
    between.ask("/history", "ii", [0, 640], stranger)
    between.now_s += LEASE_S + 1.0
    between.peer.packets.clear()
    between.ask("/history", "ii", [0, 640])

    for packets in (stranger.packets, between.peer.packets):
        ((address, (path, words)),) = [message for packet in packets for message in codec.parse(packet)]
        assert (address, path) == (f"{ROOT}/error", f"{ROOT}/history")
        assert "watch first" in words


@pytest.mark.slow
def test_one_asker_gets_no_more_than_its_allowance():
    """A thousand questions at once and then a hundred a second: the books say what was not answered."""
    between = Wire(3600.0)
    between.peer.packets.clear()
    for _ in range(100):
        between.ask("/history", "ii", [0, 640])
    at_once = len(between.peer.packets)
    for _ in range(500):
        between.now_s += 0.01
        between.ask("/history", "ii", [0, 640])

    assert at_once == PARTS_AT_ONCE
    assert at_once + 5 * PARTS_HZ + 1 >= len(between.peer.packets)
    assert between.reception.drops.counts["rate"] > 0


@pytest.mark.parametrize(
    ("path", "tags", "values"),
    [
        ("/history", "ii", (-1, 10)),
        ("/history", "f", (0.5,)),
        ("/history", "ff", (0.5, 1.0)),
        ("/history", "ss", ("0", "1")),
        ("/history", "", ()),
        ("/events", "", ()),
        ("/goals", "i", (1,)),
    ],
)
def test_questions_that_are_none_are_refused(path, tags, values):
    """With the reason, as everything else."""
    between = Wire(10.0)
    between.peer.packets.clear()
    between.ask(path, tags, values)
    ((address, arguments),) = codec.parse(between.peer.packets[0])

    assert (address, arguments[0]) == (f"{ROOT}/error", f"{ROOT}{path}")


def test_questions_beyond_the_end_are_answered_with_the_size():
    """Whole numbers may come as floats, as controls send them; huge ones cost nothing."""
    between = Wire(10.0)
    for tags, values in (("ii", (100, 640)), ("ff", (100.0, 640.0)), ("ii", (2**31 - 1, 2**31 - 1))):
        between.peer.packets.clear()
        between.ask("/history", tags, values)
        ((address, arguments),) = [m for packet in between.peer.packets for m in codec.parse(packet)]
        assert (address, arguments[1:]) == (f"{ROOT}/history/size", [100, 0])


def test_parts_that_cannot_be_are_passed_over():
    """Columns before the first, beyond a month, of another pass, or a blob that is no row."""
    copy = TimelineCopy()
    copy.receive_answer("/history/size", (7, 10, 0))
    list(copy.questions(0.0))
    row = np.zeros(3, ">f4").tobytes()
    for which_pass, first, blob in ((7, -1, row), (7, 2**31 - 1, row), (8, 9, row), (7, 9, row[:-1])):
        copy.receive_answer("/history/part", (which_pass, first, blob))
        assert len(copy.history.seconds) == 0
    copy.receive_answer("/history/part", (7, 9, row))

    assert copy.history.seconds.tolist() == [1.0]


def test_the_goals_come_whole():
    """All that can be chosen there, with the figures that they are there with."""
    between = Wire()
    between.peer.packets.clear()
    between.ask("/goals", "", ())
    told = [arguments for packet in between.peer.packets for _, arguments in codec.parse(packet)]

    assert [goal.name for goal in all_goals()] == [arguments[2] for arguments in told]
    assert [(place, len(told)) for place in range(len(told))] == [
        tuple(told[place][:2]) for place in range(len(told))
    ]
    assert all(len(packet) <= codec.LARGEST_DATAGRAM for packet in between.peer.packets)


def a_copy_of(size, events=0):
    """A copy that knows the length of the history, and has asked for its newest columns and those before."""
    copy = TimelineCopy()
    copy.receive_answer("/history/size", (7, size, events))
    list(copy.questions(0.0))
    return copy


@pytest.mark.parametrize("first", [0, 640, 10_000_000, 26_000_000 - 2000, 26_000_000 + 640, 2**31 - 1])
def test_columns_that_were_not_asked_for_take_no_memory(first):
    """A pass of a month is claimed, and one packet brings columns from anywhere in it."""
    copy = a_copy_of(26_000_000)
    tracemalloc.start()
    copy.receive_answer("/history/part", (7, first, bytes(960)))
    _, peak_bytes = tracemalloc.get_traced_memory()
    tracemalloc.stop()

    assert len(copy.history.seconds) == 0
    assert peak_bytes < 100_000


def test_the_end_of_a_pass_that_claims_to_be_a_month_long_takes_the_memory_of_what_came():
    copy = a_copy_of(26_000_000)
    tracemalloc.start()
    copy.receive_answer("/history/part", (7, 26_000_000 - 80, bytes(960)))
    _, peak_bytes = tracemalloc.get_traced_memory()
    tracemalloc.stop()

    assert len(copy.history.seconds) == 80
    assert copy.history.seconds[-1] == np.float32(2_600_000.0)
    assert peak_bytes < 1_000_000


@pytest.mark.slow
def test_events_without_end_are_asked_for_only_so_far():
    copy = a_copy_of(0, events=2**31 - 1)
    for place in range(20_010):
        copy.receive_answer("/event", (7, place, 0.0, "marker", "x"))

    assert len(copy.history.events) == 20_000
    assert not [path for path, _ in copy.questions(9.0) if path == "/events"]
