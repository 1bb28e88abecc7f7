"""A port that is opened to a network, and datagrams with forged sender addresses.

The forged addresses are those of RFC 5737; what would be sent to them is counted and goes nowhere.
"""

import pytest
from asker import Asker, packet

from sidecar.model.snapshot import Snapshot
from sidecar.osc import codec
from sidecar.osc.access import network
from sidecar.osc.sockets.udp import OscPort, bind
from sidecar.run.event_loop import EventLoop
from sidecar.settings.goals import load_goal

WATCH = packet("/sidecar/watch")
UPDATES = 600  # a minute


class Attacked:
    """A port on this machine, and what it would have sent elsewhere."""

    def __init__(self, loop, monkeypatch):
        self.loop, self.submitted, self.sent = loop, [], {}
        self.port = OscPort([], allow=[network("192.0.2.0/24")])
        server = bind("127.0.0.1", 0)
        self.number = server.getsockname()[1]
        loop.run(self.port.open(server, self.submitted.append))
        post = self.port.post
        monkeypatch.setattr(
            self.port, "post", lambda place, data: self.keep(place, data) or post(place, data)
        )

    def keep(self, place, data):
        """Whether that goes elsewhere."""
        if place.address[0].startswith("127."):
            return False
        self.sent.setdefault(place.address, []).append(data)
        return True

    def forge(self, host, data, port=9000):
        """As the socket would hand it over."""

        async def receive():
            self.port.datagram_received(data, (host, port))

        self.loop.run(receive())

    def play(self):
        """A minute of updates in a moment."""

        async def offer():
            for beat in range(UPDATES):
                self.port.offer(Snapshot("measuring", load_goal("r128"), beat=beat))

        self.loop.run(offer())


@pytest.fixture
def attacked(monkeypatch):
    with EventLoop() as loop:
        made = Attacked(loop, monkeypatch)
        yield made
        loop.run(made.port.close())


@pytest.mark.slow
def test_a_forged_watch_buys_no_stream(attacked):
    attacked.play()
    attacked.forge("192.0.2.7", WATCH)
    attacked.play()
    bought = sum(len(data) for data in attacked.sent[("192.0.2.7", 9000)])

    assert bought <= 1.25 * len(WATCH)


def test_forged_watches_take_no_place_from_a_screen(attacked):
    """More than there are places for, and a screen of this machine comes after them."""
    attacked.play()
    for number in range(200):
        attacked.forge(f"192.0.2.{number}", WATCH)
    with Asker(attacked.number) as asker:
        asker.say("/sidecar/watch", "run")
        answer = asker.hear("/sidecar/watching")

    assert answer[0] == 60.0


@pytest.mark.slow
def test_who_receives_what_is_sent_to_the_address_is_streamed_to(attacked):
    """The number comes back from the same address; all that follows goes there and nowhere else."""
    attacked.play()
    attacked.forge("192.0.2.7", WATCH)
    ((_, (number,)),) = codec.parse(attacked.sent[("192.0.2.7", 9000)][0])
    attacked.forge("192.0.2.7", packet("/sidecar/verified", number))
    attacked.forge("192.0.2.7", WATCH)
    for _ in range(60):  # a busy machine sends less in one go
        attacked.play()
        if sum(map(len, attacked.sent[("192.0.2.7", 9000)])) > 100 * len(WATCH):
            break

    assert set(attacked.sent) == {("192.0.2.7", 9000)}
    assert sum(map(len, attacked.sent[("192.0.2.7", 9000)])) > 100 * len(WATCH)
