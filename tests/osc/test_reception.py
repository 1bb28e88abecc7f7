"""What happens to packets that arrive: no sockets, virtual time. Addresses are those of RFC 5737."""

import math
import random
import socket
from concurrent.futures import Future

import numpy as np
import pytest
from hostile import hostile_packet
from hypothesis import given, settings
from hypothesis import strategies as st
from pythonosc.osc_message_builder import OscMessageBuilder

from sidecar.model.commands import Arm, Disarm, FaderAt, Mark, Pause, Reset
from sidecar.model.readings import Reading
from sidecar.model.snapshot import Snapshot, Target, Timeline
from sidecar.osc import codec
from sidecar.osc.access import (
    ANSWERS_AT_ONCE,
    LARGEST_PACKET,
    MESSAGES_AT_ONCE,
    TOGETHER,
    AccessPolicy,
    network,
)
from sidecar.osc.backlog import Backlog
from sidecar.osc.publisher import Publisher
from sidecar.osc.server import OscServer
from sidecar.osc.sockets.destinations import Destination
from sidecar.osc.table.addresses import OUTGOING, SENT
from sidecar.osc.table.exchange import DROPS
from sidecar.osc.watches import LEASE_S, MOST, MOST_OF_ONE
from sidecar.settings.goals import load_goal
from sidecar.surfaces.link import SurfaceLink, SurfacePeer
from sidecar.surfaces.surface import Surface


class Peer:
    """An asker that remembers what it was sent."""

    def __init__(self, host="127.0.0.1", port=1):
        self.host, self.is_proven = host, host.startswith("127.")
        self.key = host, port
        self.status = Target(f"{host}:{port}")
        self.packets = []

    def send_packet(self, packet):
        self.packets.append(packet)

    def heard(self):
        """All messages since the last call."""
        messages = [message for packet in self.packets for message in codec.parse(packet)]
        self.packets.clear()
        return messages


def proven(peer):
    """As if it had answered."""
    peer.is_proven = True
    return peer


class Room:
    """A server that has something to send."""

    def __init__(self, workstation=None, **settings):
        self.outbox = Publisher()
        self.outbox.offer(a_snapshot(), 0.0, 0.0)
        access = AccessPolicy([network("192.0.2.0/24")], workstation)
        self.reception = OscServer(access, self.outbox, update_hz=10.0, **settings)
        self.asked = []
        self.reception.submit = self.reception.report_fader = self.asked.append
        self.counts = self.reception.drops.counts

    def say(self, peer, address, tags="", values=(), now_s=0.0):
        self.reception.receive_packet(codec.message(address, tags, values).dgram, peer, now_s)
        return peer.heard()


def link_to(surface, sender=None):
    return SurfaceLink(
        surface, Destination("workstation", socket.AF_INET, ("198.51.100.7", 8000)), sender, clock=lambda: 0.0
    )


@pytest.fixture
def room():
    return Room()


def a_snapshot():
    return Snapshot(transport="measuring", goal=load_goal("r128"), reading=Reading(-20.0, integrated=-22.5))


class TestAsking:
    def test_an_address_without_arguments_is_answered_with_its_value(self, room):
        """One plain message, no bundle, to who asked."""
        peer = Peer()
        room.reception.receive_packet(codec.message("/sidecar/integrated", "", []).dgram, peer, 0.0)

        assert [codec.message("/sidecar/integrated", "f", [-22.5]).dgram] == peer.packets
        assert not room.asked

    def test_a_pattern_is_answered_with_all_it_names(self, room):
        """OSC 1.0 patterns read; what has no value is left out."""
        heard = room.say(Peer(), "/sidecar/{alert,goal}/*")

        assert [f"/sidecar{row.path}" for row in OUTGOING if row.path.startswith(("/alert/", "/goal/"))] == [
            address for address, _ in heard
        ]

    def test_everything_can_be_asked_for_at_once(self, room):
        """Two parts and three; bundles stay within the size that every path carries."""
        peer = Peer()
        room.reception.receive_packet(codec.message("/sidecar/*/*", "", []).dgram, peer, 0.0)

        assert max(map(len, peer.packets)) <= codec.LARGEST_DATAGRAM
        assert dict(peer.heard()).keys() >= {"/sidecar/max/momentary", "/sidecar/drops/rate"}

    @pytest.mark.parametrize("verb", ["/sidecar/res?t", "/sidecar/*", "/*/reset", "/sidecar/{reset,arm}"])
    def test_no_wildcard_changes_anything(self, room, verb):
        """A reset needs its plain address, with and without an argument."""
        room.say(Peer(), verb)
        heard = room.say(Peer(), verb, "f", [1.0])

        assert room.asked == []
        assert heard[0][0] == "/sidecar/error"
        assert "plain address" in heard[0][1][1]

    def test_drops_are_counted_and_can_be_asked_for(self, room):
        """By reason, since the start."""
        peer = Peer()
        room.reception.receive_packet(b"nonsense", peer, 0.0)
        room.say(peer, "/sidecar/nothing")

        assert room.say(peer, "/sidecar/drops/broken") == [("/sidecar/drops/broken", [1])]
        assert room.say(peer, "/sidecar/drops/address") == [("/sidecar/drops/address", [1])]
        assert len(DROPS) == len(room.say(peer, "/sidecar/drops/*"))


class TestErrors:
    @pytest.mark.parametrize(
        ("address", "tags", "values", "reason", "words"),
        [
            ("/sidecar/fader", "s", ["up"], "argument", "needs a number"),
            ("/sidecar/fader", "f", [90.0], "argument", "-120 to 20 dB"),
            ("/sidecar/goal", "", [], "argument", "one argument"),
            ("/sidecar/nothing", "", [], "address", "no address"),
            ("/elsewhere", "", [], "address", "no address"),
            ("/sidecar/momentary", "f", [1.0], "argument", "without arguments to read it"),
            ("/sidecar/nothing/*", "", [], "address", "names no address"),
            ("/sidecar/[", "", [], "address", "never closed"),
            ("/sidecar/stems/names", "", [], "address", "has no value now"),
            ("/sidecar/watch", "s", ["everything"], "argument", "none of the groups"),
            ("/sidecar/watch", "sf", ["alert", 51.0], "argument", "1 to 50"),
            ("/sidecar/watch", "fs", [1.0, "alert"], "argument", "groups or addresses"),
            ("/sidecar/watch", "s", ["/sidecar/nothing"], "argument", "no address"),
            ("/sidecar/watch", "s", ["x" * 600], "argument", "512 characters"),
        ],
    )
    def test_what_is_wrong_is_said_to_the_sender_and_changes_nothing(
        self, room, address, tags, values, reason, words
    ):
        """The address and why; counted by reason."""
        ((answer, told),) = room.say(Peer(), address, tags, values)

        assert ("/sidecar/error", address) == (answer, told[0])
        assert words in told[1]
        assert {reason: 1} == dict(room.counts)
        assert room.asked == []
        assert room.reception.watchers.status() == ()

    @pytest.mark.parametrize("address", ["/sidecar/error", "/sidecar/watching"])
    def test_an_answer_is_never_answered(self, room, address):
        """Two sidecars that receive from each other would answer each other's errors for ever."""
        assert room.say(Peer(), address, "ss", ["/a", "b"]) == []

    def test_an_error_quotes_no_more_than_fits(self, room):
        """A long address comes back short, so that an answer is no larger than what asked for it."""
        ((_, told),) = room.say(Peer(), "/" + "a" * 2000)

        assert len(told[0]) <= 201

    def test_errors_in_the_log_are_few(self, room, caplog):
        """A storm leaves some lines and then one a second."""
        for step in range(1000):
            room.say(Peer(), "/sidecar/nothing", now_s=step * 0.005)

        assert 5 <= len(caplog.messages) <= 10


class TestStrangers:
    def test_who_is_not_allowed_gets_no_answer(self, room):
        """Not to commands, questions, watches or nonsense; each is counted."""
        stranger = Peer("198.51.100.1")
        for address in ("/sidecar/reset", "/sidecar/momentary", "/sidecar/watch", "/sidecar/nothing"):
            assert room.say(stranger, address) == []
        room.reception.receive_packet(b"nonsense", stranger, 0.0)

        assert dict(room.counts) == {"sender": 5}
        assert room.asked == []

    def test_who_is_allowed_may_command(self, room):
        """The list is an address or a network."""
        room.say(Peer("192.0.2.5"), "/sidecar/reset")

        assert [Reset()] == room.asked

    def test_the_workstation_may_tell_of_its_faders_and_nothing_else(self):
        """It was named as the surface, which permits no commands; no other sender reports faders."""
        workstation = Surface("mine", "Mine", "/master/level", "/master/now", "db", -60.0, 6.0)
        room = Room(link=link_to(workstation), workstation="198.51.100.7")
        for host in ("198.51.100.7", "198.51.100.8"):
            for address in ("/master/now", "/sidecar/fader", "/*/*"):
                assert room.say(Peer(host, 8000), address, "f", [-3.0]) == []

        assert [FaderAt(-3.0)] == room.asked
        assert dict(room.counts) == {"sender": 5}

    def test_only_the_workstation_itself_says_where_its_fader_stands(self):
        """Not another port of its host, not this machine, and not the sidecar's own address for it."""
        link = link_to(Surface("mine", "Mine", "/master/level", "/master/now", "db", -60.0, 6.0))
        room = Room(link=link, workstation="198.51.100.7")
        for peer in (Peer("198.51.100.7", 8001), Peer("127.0.0.1", 8000), Peer("192.0.2.5", 8000)):
            room.say(peer, "/master/now", "f", [6.0])
            assert f"{peer.host}:{peer.key[1]}" in room.reception.stranger
        assert room.asked == []
        assert "The workstation is at 198.51.100.7:8000" in room.reception.stranger

        assert room.asked == []

    @pytest.mark.parametrize(("port", "counts"), [(None, True), (8001, True), (8002, False)])
    def test_a_workstation_that_sends_from_elsewhere_can_be_named(self, port, counts):
        surface = Surface("mine", "Mine", "/master/level", "/master/now", "db", -60.0, 6.0)
        link = link_to(surface, SurfacePeer("198.51.100.7", port))
        room = Room(link=link, workstation="198.51.100.7")
        room.say(Peer("198.51.100.7", 8001), "/master/now", "f", [-3.0])

        assert room.asked == [FaderAt(-3.0)] * counts


class TestDisarming:
    def test_a_disarm_is_heard_through_any_storm(self, room):
        """The sender has used up all its allowances, of packets and of messages."""
        for _ in range(5000):
            room.say(Peer(), "/sidecar/mark", "s", ["x"])
        room.say(Peer(), "/sidecar/disarm")

        assert room.asked[-1] == Disarm()

    def test_a_connection_that_armed_takes_the_leave_with_it(self, room):
        peer, other = Peer(), Peer()
        peer.key, other.key = object(), object()  # as connections have
        room.say(peer, "/sidecar/arm")
        room.reception.end(other)
        assert room.asked == [Arm()]
        room.reception.end(peer)
        room.reception.end(peer)

        assert room.asked == [Arm(), Disarm("Disarmed: the connection that armed it has ended.")]

    def test_a_watcher_that_armed_and_went_takes_the_leave_with_it(self, room):
        peer = Peer()
        room.say(peer, "/sidecar/watch")
        room.say(peer, "/sidecar/arm")
        room.reception.expire(LEASE_S - 1.0)
        assert room.asked == [Arm()]
        room.reception.expire(LEASE_S + 1.0)

        assert [type(command) for command in room.asked] == [Arm, Disarm]

    def test_a_script_that_armed_without_a_watch_may_go(self, room):
        room.say(Peer(), "/sidecar/arm")
        room.reception.expire(10.0 * LEASE_S)

        assert room.asked == [Arm()]


class TestStorms:
    def test_packets_beyond_the_allowance_are_dropped_and_counted(self, room):
        """What came first was accepted, and after a pause the sender is heard again."""
        peer = Peer()
        for _ in range(5000):
            room.say(peer, "/sidecar/mark", "s", ["x"])
        accepted = len(room.asked)
        room.say(peer, "/sidecar/pause", now_s=10.0)

        assert accepted + room.counts["rate"] == 5000
        assert 0 < accepted < 5000
        assert Pause() == room.asked[-1]

    def test_a_storm_from_one_host_leaves_another_its_voice(self, room):
        """Allowances are each sender's own."""
        for _ in range(5000):
            room.say(Peer("192.0.2.1"), "/sidecar/mark", "s", ["x"])
        room.say(Peer("192.0.2.2"), "/sidecar/reset")

        assert Reset() == room.asked[-1]

    def test_answers_are_fewer_than_questions(self, room):
        """Small questions with large answers must not make a flood; most are dropped and counted."""
        peer = Peer()
        answers = sum(bool(room.say(peer, "/sidecar/*")) for _ in range(400))

        assert answers == ANSWERS_AT_ONCE
        assert room.counts["rate"] == 400 - ANSWERS_AT_ONCE

    def test_what_is_too_large_is_not_even_read(self, room):
        """The largest is let through, one byte group more is not."""
        text = "x" * (LARGEST_PACKET - len(b"/sidecar/mark\0\0\0,s\0\0") - 4)
        room.say(Peer(), "/sidecar/mark", "s", [text])
        room.say(Peer(), "/sidecar/mark", "s", [text + "xxxx"])

        assert [Mark(text)] == room.asked
        assert dict(room.counts) == {"size": 1}

    @pytest.mark.slow
    def test_a_workstation_that_tells_of_all_its_meters_does_not_drown_its_fader(self):
        """Three thousand messages a second for ten seconds; the fader among them is heard each time."""
        workstation = Surface("mine", "Mine", "/master/level", "/master/now", "db", -60.0, 6.0)
        room, peer = Room(link=link_to(workstation), workstation="198.51.100.7"), Peer("198.51.100.7", 8000)
        meter = codec.message("/channel/1/meter", "f", [0.5]).dgram
        fader = codec.message("/master/now", "f", [-3.0]).dgram
        for number in range(30_000):
            room.reception.receive_packet(fader if number % 100 == 0 else meter, peer, number / 3000)

        assert 300 * [FaderAt(-3.0)] == room.asked

    def test_a_bundle_of_commands_counts_each(self, room):
        """Many small commands in one packet use the allowance up as many packets do."""
        (bundle,) = codec.bundles([codec.message("/sidecar/mark", "s", ["x"])] * 35, 0.0)
        for _ in range(200):
            room.reception.receive_packet(bundle, Peer(), 0.0)

        assert len(room.asked) <= 1000


class TestWatching:
    def test_a_watcher_is_told_its_lease_and_sent_what_it_chose(self, room):
        """The lease in seconds, the rate, the number of addresses; first of all the present state."""
        peer = Peer()
        heard = room.say(peer, "/sidecar/watch", "ssf", ["alert", "/sidecar/integrated", 5.0])

        assert heard[-1] == ("/sidecar/watching", [60.0, 5.0, 6])
        assert ("/sidecar/integrated", [-22.5]) in heard
        assert len(heard) == 7

    def test_without_a_rate_readings_come_as_fast_as_the_run_makes_them_and_never_faster(self, room):
        """The rate in the answer is the rate that is kept."""
        assert [60.0, 10.0, len(SENT)] == room.say(Peer(), "/sidecar/watch")[-1][1]
        assert room.say(Peer(), "/sidecar/watch", "f", [50.0])[-1][1][1] == 10.0

    def test_it_goes_to_the_asking_address_and_port_alone(self, room):
        """Another port of the same host is another watcher, and nothing names a third."""
        one, other = Peer(port=1), Peer(port=2)
        room.say(one, "/sidecar/watch")
        room.outbox.offer(a_snapshot(), 1.0, 1.0)

        assert one.heard()
        assert other.heard() == []

    def test_it_ends_with_its_lease_unless_it_is_renewed(self, room):
        """By asking again: a lease more from then on."""
        peer = Peer()
        room.say(peer, "/sidecar/watch", "s", ["run"], now_s=0.0)
        room.say(peer, "/sidecar/watch", "s", ["run"], now_s=LEASE_S - 1)
        for now_s, is_sent in ((2 * LEASE_S - 2, True), (2 * LEASE_S, False)):
            room.reception.watchers.expire(now_s)
            room.outbox.offer(a_snapshot(), now_s, now_s)
            assert is_sent == bool(peer.heard())

    def test_asking_again_replaces_what_was_asked_before(self, room):
        """One watch an asker: nothing arrives twice."""
        peer = Peer()
        room.say(peer, "/sidecar/watch")
        room.say(peer, "/sidecar/watch", "s", ["/sidecar/momentary"], now_s=1.0)
        room.outbox.offer(a_snapshot(), 2.0, 2.0)

        assert [address for address, _ in peer.heard()] == ["/sidecar/momentary"]
        assert len(room.reception.watchers.status()) == 1

    def test_it_ends_when_the_watcher_says_so(self, room):
        """Answered with a lease of nothing."""
        peer = Peer()
        room.say(peer, "/sidecar/watch")

        assert room.say(peer, "/sidecar/unwatch") == [("/sidecar/watching", [0.0, 0.0, 0])]
        room.outbox.offer(a_snapshot(), 1.0, 1.0)
        assert peer.heard() == []

    def test_there_is_a_most(self, room):
        """A later watcher is refused; those that are there may renew, and a place that ends is free."""
        peers = [proven(Peer(f"192.0.2.{port % 8}", port)) for port in range(MOST + 1)]
        for second, peer in enumerate(peers[:MOST]):
            room.say(peer, "/sidecar/watch", "s", ["run"], now_s=second * 0.1)
        ((answer, told),) = room.say(peers[-1], "/sidecar/watch", "s", ["run"], now_s=10.0)

        assert answer == "/sidecar/error"
        assert f"there are {MOST} watchers" in told[1]
        assert room.say(peers[3], "/sidecar/watch", now_s=10.0)[-1][0] == "/sidecar/watching"
        room.say(peers[0], "/sidecar/unwatch", now_s=11.0)
        assert room.say(peers[-1], "/sidecar/watch", now_s=11.0)[-1][0] == "/sidecar/watching"


def asks_nothing(packet):
    """An empty bundle, or one whose only message is a button's release."""
    messages = codec.parse(packet)
    return not messages or messages == [("/sidecar/reset", [0])]


@pytest.mark.parametrize(
    ("path", "places", "answers"), [("/history", 2, ["/sidecar/history/size"]), ("/events", 1, [])]
)
@pytest.mark.parametrize(
    ("place", "is_one"), [(2.0**31, True), (1e30, True), (-1.0, False), (0.5, False), (math.inf, False)]
)
def test_no_place_is_too_far_to_be_asked_for(room, path, places, answers, place, is_one):
    """A float reaches farther than any list: what was before has nothing there, and that is no fault."""
    nothing = np.empty(0, np.float32)
    room.reception.archive = Backlog(lambda: Timeline(*[nothing] * 4), list)
    peer = Peer()
    assert "/sidecar/watching" in {address for address, _ in room.say(peer, "/sidecar/watch")}
    asked = OscMessageBuilder(f"/sidecar{path}")
    for _ in range(places):
        asked.add_arg(place, "d")
    room.reception.receive_packet(asked.build().dgram, peer, 0.0)

    assert (answers if is_one else ["/sidecar/error"]) == [address for address, _ in peer.heard()]


@pytest.mark.slow
def test_ten_thousand_broken_packets_raise_nothing_and_none_is_lost_from_the_books(room):
    """Each is accepted, answered or counted; afterwards a sound command is heard as ever."""
    chance = random.Random(1)
    peer = Peer()
    for step in range(10_000):
        packet = hostile_packet(chance)
        before = len(room.asked) + sum(room.counts.values()) + len(peer.packets)
        room.reception.receive_packet(packet, peer, step * 0.1)
        after = len(room.asked) + sum(room.counts.values()) + len(peer.packets)
        assert before < after or asks_nothing(packet), packet
        peer.packets.clear()
    room.say(peer, "/sidecar/pause", now_s=2000.0)

    assert Pause() == room.asked[-1]
    assert {"broken", "address", "argument"} <= set(room.counts)


@pytest.mark.slow
@settings(max_examples=300, deadline=None, derandomize=True)
@given(
    st.text("/abcdefgmorstu*?[]{},-!", min_size=1, max_size=40),
    st.lists(st.one_of(st.text(max_size=20), st.integers(-(2**31), 2**31 - 1), st.floats(width=32))),
)
def test_any_message_is_obeyed_or_answered(address, arguments):
    """Whatever address and whatever arguments: an allowed sender is never left without."""
    room, peer = Room(), Peer()
    tags = "".join({str: "s", int: "i", float: "f"}[type(value)] for value in arguments)
    built = codec.message("/sidecar/" + address, tags, arguments).dgram
    room.reception.receive_packet(built, peer, 0.0)

    assert room.asked or peer.heard() or room.counts


class TestForgedAddresses:
    """The address on a datagram is what its sender wrote there."""

    def test_a_stream_goes_to_an_address_elsewhere_only_when_it_has_answered(self, room):
        peer = Peer("192.0.2.7")
        ((address, (number,)),) = room.say(peer, "/sidecar/watch")
        room.outbox.offer(a_snapshot(), 1.0, 1.0)

        assert address == "/sidecar/verify"
        assert peer.heard() == []
        assert room.say(peer, "/sidecar/verified", "i", [number], now_s=1.0) == []
        assert room.say(peer, "/sidecar/watch", now_s=1.0)[-1][0] == "/sidecar/watching"

    def test_a_forged_packet_buys_hardly_more_bytes_than_it_has(self, room):
        peer, packet = Peer("192.0.2.7"), codec.message("/sidecar/watch", "", []).dgram
        room.reception.receive_packet(packet, peer, 0.0)
        for second in range(120):
            room.reception.watchers.expire(float(second))
            room.outbox.offer(a_snapshot(), float(second), float(second))

        assert sum(map(len, peer.packets)) <= 1.25 * len(packet)

    @pytest.mark.parametrize("wrong", [-1, 1, 2**30])
    def test_a_guessed_number_opens_nothing(self, room, wrong):
        peer = Peer("192.0.2.7")
        ((_, (number,)),) = room.say(peer, "/sidecar/watch")
        room.say(peer, "/sidecar/verified", "i", [(number + wrong) % 2**31])

        assert room.say(peer, "/sidecar/watch")[0][0] == "/sidecar/verify"

    def test_a_number_is_good_for_one_address_and_for_some_seconds(self, room):
        one, other = Peer("192.0.2.7", 1), Peer("192.0.2.7", 2)
        ((_, (number,)),) = room.say(one, "/sidecar/watch")
        room.say(other, "/sidecar/verified", "i", [number])
        room.say(one, "/sidecar/verified", "i", [number], now_s=21.0)

        assert room.say(other, "/sidecar/watch")[0][0] == "/sidecar/verify"
        assert room.say(one, "/sidecar/watch", now_s=21.0)[0][0] == "/sidecar/verify"

    def test_a_watch_that_is_renewed_needs_no_other_proof(self, room):
        peer = Peer("192.0.2.7")
        ((_, (number,)),) = room.say(peer, "/sidecar/watch")
        room.say(peer, "/sidecar/verified", "i", [number])
        for now_s in range(0, 600, 50):
            assert room.say(peer, "/sidecar/watch", "s", ["run"], now_s=now_s)[-1][0] == "/sidecar/watching"

    def test_a_pattern_is_answered_to_a_proven_address_only(self, room):
        assert [address for address, _ in room.say(Peer("192.0.2.7"), "/sidecar/*")] == ["/sidecar/verify"]

    def test_this_machine_and_streams_need_no_proof(self, room):
        for peer in (Peer("127.0.0.1"), proven(Peer("192.0.2.7"))):
            assert room.say(peer, "/sidecar/watch")[-1][0] == "/sidecar/watching"


class TestShares:
    def test_one_host_takes_a_fair_part_of_the_watches(self, room):
        """Also this machine, whatever address of its own it speaks from."""
        for port in range(200):
            room.say(Peer(f"127.0.{port % 7}.1", port), "/sidecar/watch", "s", ["run"], now_s=port * 0.1)
        heard = room.say(proven(Peer("192.0.2.7")), "/sidecar/watch", "s", ["run"], now_s=20.0)

        assert len(room.reception.watchers.status()) == MOST_OF_ONE + 1
        assert heard[-1][0] == "/sidecar/watching"

    @pytest.mark.slow
    def test_many_addresses_together_may_say_no_more_than_a_few(self, room):
        """Two hundred forged addresses, each within what one may send; this machine is heard all the same."""
        for number in range(200):
            for _ in range(60):
                room.say(Peer(f"192.0.2.{number}"), "/sidecar/mark", "s", ["x"])
        accepted = len(room.asked)
        room.say(Peer(), "/sidecar/reset")

        assert accepted == TOGETHER * MESSAGES_AT_ONCE
        assert room.asked[-1] == Reset()

    def test_many_addresses_together_get_no_more_answers_than_a_few(self, room):
        answers = sum(
            bool(room.say(Peer(f"192.0.2.{number}"), "/sidecar/transport"))
            for _ in range(50)
            for number in range(200)
        )

        assert answers == TOGETHER * ANSWERS_AT_ONCE
        assert room.say(Peer(), "/sidecar/transport")


class TestHostilePackets:
    @pytest.mark.parametrize("depth", [5, 100, 2000])
    def test_nested_arrays_are_a_counted_drop(self, room, depth):
        tags = b"," + b"[" * depth + b"]" * depth
        padded = tags + b"\0" * (4 - len(tags) % 4)
        room.reception.receive_packet(b"/sidecar/mark\0\0\0" + padded, Peer(), 0.0)

        assert dict(room.counts) == {"broken": 1}
        assert room.asked == []

    def test_a_fault_of_our_own_costs_one_packet(self, room):
        """After any unexpected error the next packet is read."""

        def submit(command):
            raise RecursionError(command.verb)

        room.reception.submit, asked = submit, room.asked
        room.say(Peer(), "/sidecar/pause")
        room.reception.submit = asked.append
        room.say(Peer(), "/sidecar/reset")

        assert dict(room.counts) == {"broken": 1}
        assert asked == [Reset()]


class TestOutcomes:
    """What becomes of a command is known when it has been carried out, elsewhere."""

    def a_run(self, room):
        outcomes = []

        def submit(command):
            outcomes.append((command, Future()))
            return outcomes[-1][1]

        room.reception.submit = submit
        room.reception.later = lambda call: call(0.0)
        return outcomes

    def test_who_gave_a_command_that_fails_is_told_why(self, room):
        outcomes, peer, other = self.a_run(room), Peer(), Peer(port=2)
        assert room.say(peer, "/sidecar/goal", "s", ["no-such"]) == []
        outcomes[0][1].set_result("There is no goal 'no-such'.")

        assert peer.heard() == [("/sidecar/error", ["/sidecar/goal", "There is no goal 'no-such'."])]
        assert other.heard() == []
        assert dict(room.counts) == {"failed": 1}

    def test_a_command_that_is_carried_out_is_not_answered(self, room):
        outcomes, peer = self.a_run(room), Peer()
        room.say(peer, "/sidecar/reset")
        outcomes[0][1].set_result("")

        assert peer.heard() == []

    def test_a_question_behind_commands_of_its_bundle_waits_for_all_of_them(self, room):
        outcomes, peer = self.a_run(room), Peer()
        bundle = codec.bundles(
            [
                codec.message("/sidecar/goal", "s", ["premaster"]),
                codec.message("/sidecar/pause", "", []),
                codec.message("/sidecar/goal/name", "", []),
            ],
            0.0,
        )
        for packet in bundle:
            room.reception.receive_packet(packet, peer, 0.0)
        outcomes[0][1].set_result("")
        assert peer.heard() == []
        room.outbox.offer(Snapshot("paused", load_goal("premaster")), 0.1, 0.1)
        outcomes[1][1].set_result("")

        assert peer.heard() == [("/sidecar/goal/name", ["premaster"])]

    def test_a_question_before_a_command_of_its_bundle_is_answered_after_it(self, room):
        outcomes, peer = self.a_run(room), Peer()
        messages = [codec.message("/sidecar/goal/name", "", []), codec.message("/sidecar/pause", "", [])]
        (bundle,) = codec.bundles(messages, 0.0)
        room.reception.receive_packet(bundle, peer, 0.0)
        assert peer.heard() == []
        outcomes[0][1].set_result("")

        assert peer.heard() == [("/sidecar/goal/name", ["r128"])]

    def test_a_question_beside_a_refused_command_is_answered_too(self, room):
        peer = Peer()
        self.a_run(room)
        messages = [codec.message("/sidecar/goal/name", "", []), codec.message("/sidecar/nudge", "f", [99.0])]
        (bundle,) = codec.bundles(messages, 0.0)
        room.reception.receive_packet(bundle, peer, 0.0)

        assert [address for address, _ in peer.heard()] == ["/sidecar/error", "/sidecar/goal/name"]

    def test_a_question_in_a_packet_of_its_own_is_answered_at_once(self, room):
        self.a_run(room)
        peer = Peer()
        room.say(peer, "/sidecar/goal", "s", ["premaster"])

        assert room.say(peer, "/sidecar/goal/name") == [("/sidecar/goal/name", ["r128"])]
