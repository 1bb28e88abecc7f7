"""What leaves when, in virtual time."""

import bisect
import random

import pytest

from sidecar.model.readings import Alert, Reading
from sidecar.model.snapshot import ArmState, Snapshot
from sidecar.osc import codec
from sidecar.osc.publisher import Line, Publisher
from sidecar.osc.table.selection import EVERYTHING, select
from sidecar.settings.goals import load_goal

STEP_S = 0.01
HEARTBEAT_S = 1.0  # what the README promises


def a_snapshot(**changes):
    return Snapshot(transport="measuring", goal=load_goal("r128"), **changes)


class Receiver:
    """Takes datagrams, perhaps not all of them, and keeps what it received last."""

    def __init__(self, selection=EVERYTHING, rate_hz=10.0, lose=lambda: False):
        self.line = Line(selection, 1.0 / rate_hz, self.take)
        self.lose = lose
        self.datagrams = []
        self.known = {}

    def take(self, datagram):
        if not self.lose():
            self.datagrams.append(datagram)
            self.known.update(codec.parse(datagram))

    def count(self, address):
        return sum(found == address for datagram in self.datagrams for found, _ in codec.parse(datagram))


def run(outbox, for_s, snapshot_hz, make):
    """Offers snapshots and rings the timer as the port does, on a clock of steps of 10 ms."""
    for step in range(round(for_s / STEP_S)):
        now_s = step * STEP_S
        if step % round(1 / (snapshot_hz * STEP_S)) == 0:
            outbox.offer(make(now_s), now_s, now_s)
        due_s = outbox.due_s()
        if due_s is not None and due_s <= now_s:
            outbox.send_due(now_s)
        yield now_s


@pytest.mark.slow
@pytest.mark.parametrize("rate_hz", [1.0, 4.0, 10.0, 25.0, 50.0])
def test_each_receiver_has_readings_at_its_own_rate(rate_hz):
    """Beside one that takes all; over ten seconds the count is right within one."""
    momentary = select(("/sidecar/momentary",))
    outbox, slow, fast = Publisher(), Receiver(momentary, rate_hz), Receiver(momentary, 50.0)
    outbox.add_line(slow.line, 0.0)
    outbox.add_line(fast.line, 0.0)
    for _ in run(outbox, 10.0, 50.0, lambda now_s: a_snapshot()):
        pass

    assert slow.count("/sidecar/momentary") == pytest.approx(10 * rate_hz, abs=1)
    assert fast.count("/sidecar/momentary") == pytest.approx(500, abs=1)


@pytest.mark.parametrize("phase_s", [0.0, 0.03, 0.06, 0.09])
def test_new_readings_wait_for_no_timer(phase_s):
    """The first snapshot came at another moment of the period, and each comes a little early or late: all
    leave as they come."""
    outbox, receiver = Publisher(), Receiver(select(("/sidecar/seconds",)), rate_hz=10.0)
    outbox.add_line(receiver.line, 0.0)
    outbox.offer(a_snapshot(), 0.0, 0.0)
    jitter = random.Random(4)
    for number in range(1, 100):
        now_s = phase_s + number * 0.1 + jitter.uniform(-0.01, 0.01)
        outbox.offer(a_snapshot(reading=Reading(seconds=float(number))), now_s, now_s)

        assert [float(number)] == receiver.known["/sidecar/seconds"]


def test_readings_that_came_close_together_make_no_later_one_wait():
    """Two come within a period, as after a stall, and the steady row after them just before its time: of it
    the first may be passed over, all others leave as they come."""
    outbox, receiver = Publisher(), Receiver(select(("/sidecar/seconds",)), rate_hz=25.0)
    outbox.add_line(receiver.line, 0.0)
    for now_s in (0.0, 0.021):
        outbox.offer(a_snapshot(), now_s, now_s)
    for number in range(50):
        now_s = 0.045 + number * 0.04
        while (due_s := outbox.due_s()) is not None and due_s < now_s:
            outbox.send_due(due_s)
        outbox.offer(a_snapshot(reading=Reading(seconds=float(number))), now_s, now_s)

        assert number == 0 or [float(number)] == receiver.known["/sidecar/seconds"]


def test_the_last_readings_are_sent_although_nothing_follows():
    """A run that ends sends its end: after two periods at the latest, or when it closes."""
    outbox, receiver, other = Publisher(), Receiver(rate_hz=10.0), Receiver(rate_hz=1.0)
    for each in (receiver, other):
        outbox.add_line(each.line, 0.0)
    outbox.offer(a_snapshot(), 0.0, 0.0)
    outbox.offer(a_snapshot(reading=Reading(seconds=7.0)), 0.02, 0.02)
    assert receiver.known["/sidecar/seconds"] == [0.0]
    assert outbox.due_s() <= 0.2
    outbox.send_due(outbox.due_s())
    assert receiver.known["/sidecar/seconds"] == [7.0]

    assert other.known["/sidecar/seconds"] == [0.0]
    outbox.send_last()
    assert other.known["/sidecar/seconds"] == [7.0]


def test_a_receiver_is_never_sent_the_same_readings_twice():
    """Asking for more than there are gives as many as there are."""
    outbox, eager = Publisher(), Receiver(select(("/sidecar/momentary",)), 50.0)
    outbox.add_line(eager.line, 0.0)
    for _ in run(outbox, 10.0, 10.0, lambda now_s: a_snapshot()):
        pass

    assert eager.count("/sidecar/momentary") == 100


def test_a_receiver_is_sent_its_selection_and_nothing_else():
    """Groups and addresses, in the table's order."""
    outbox, picky = Publisher(), Receiver(select(("alert", "/sidecar/integrated")))
    outbox.add_line(picky.line, 0.0)
    outbox.offer(a_snapshot(), 0.0, 0.0)

    assert {
        "/sidecar/integrated",
        *(f"/sidecar/alert/{name}" for name in ("ceiling", "over", "hot", "lost", "silent")),
    } == set(picky.known)


def test_who_comes_later_is_told_at_once_how_things_stand():
    """A light that is switched on in mid-programme shows the truth without waiting for a heartbeat."""
    outbox, late = Publisher(), Receiver()
    outbox.offer(a_snapshot(alerts=(Alert("hot", "on", -18.0, -20.0),)), 0.0, 0.0)
    outbox.add_line(late.line, 0.3)

    assert late.known["/sidecar/alert/hot"][0] == 1
    assert "/sidecar/momentary" in late.known


def test_receivers_of_the_same_selection_share_one_datagram():
    """Built once: the very same bytes object goes to all of them."""
    outbox = Publisher()
    receivers = [Receiver(select(("reading",))) for _ in range(3)]
    for receiver in receivers:
        outbox.add_line(receiver.line, 0.0)
    outbox.offer(a_snapshot(), 0.0, 0.0)

    assert len({id(receiver.datagrams[0]) for receiver in receivers}) == 1


def test_what_is_not_there_is_not_sent():
    """Without stems and without a surface, no message is made up."""
    outbox, receiver = Publisher(), Receiver()
    outbox.add_line(receiver.line, 0.0)
    outbox.offer(a_snapshot(), 0.0, 0.0)
    assert not [a for a in receiver.known if a.startswith(("/sidecar/stems", "/sidecar/auto"))]

    outbox.offer(a_snapshot(arm=ArmState("mine", False, "Not armed.")), 0.1, 0.1)
    assert receiver.known["/sidecar/auto/armed"] == [0]


@pytest.mark.parametrize(
    ("changes", "address", "expected"),
    [
        ({"alerts": (Alert("over", "on"),)}, "/sidecar/alert/over", 1),
        ({"fader_db": -3.0}, "/sidecar/fader/now", -3.0),
        ({"arm": ArmState("mine", True, "Armed.")}, "/sidecar/auto/armed", 1),
    ],
)
def test_a_change_does_not_wait_for_the_heartbeat(changes, address, expected):
    """It leaves with the snapshot that brings it; the one after, alike, is silent about it."""
    outbox, receiver = Publisher(), Receiver()
    outbox.add_line(receiver.line, 0.0)
    outbox.offer(a_snapshot(), 0.0, 0.0)
    outbox.offer(a_snapshot(**changes), 0.02, 0.02)
    told = receiver.count(address)
    outbox.offer(a_snapshot(**changes), 0.04, 0.04)

    assert receiver.known[address][0] == expected
    assert told == receiver.count(address)


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(3))
def test_an_alert_is_wrong_no_longer_than_until_the_first_heartbeat_that_arrives(seed):
    """Every fifth datagram is lost, at random: the wait is at most a heartbeat for each datagram in a row
    that had it and was lost."""
    chance = random.Random(seed)
    outbox = Publisher()
    in_a_row = longest_in_a_row = 0

    def lose():
        nonlocal in_a_row, longest_in_a_row
        lost = chance.random() < 0.2
        in_a_row = in_a_row + 1 if lost else 0
        longest_in_a_row = max(longest_in_a_row, in_a_row)
        return lost

    receiver = Receiver(select(("alert",)), lose=lose)
    outbox.add_line(receiver.line, 0.0)
    switch_s = sorted(chance.uniform(1.0, 295.0) for _ in range(60))

    def truth(now_s):
        return bisect.bisect(switch_s, now_s) % 2

    def make(now_s):
        return a_snapshot(alerts=(Alert("hot", "on" if truth(now_s) else "off"),), reading=Reading())

    wrong_s = longest_wrong_s = 0.0
    for now_s in run(outbox, 300.0, 10.0, make):
        told = receiver.known.get("/sidecar/alert/hot", [0])[0]
        wrong_s = wrong_s + STEP_S if told != truth(now_s) else 0.0
        longest_wrong_s = max(longest_wrong_s, wrong_s)

    snapshot_s = 0.1
    assert longest_in_a_row >= 2
    assert snapshot_s < longest_wrong_s <= snapshot_s + longest_in_a_row * (HEARTBEAT_S + snapshot_s)


def test_without_loss_an_alert_is_right_with_the_next_snapshot():
    """The bound above is loss and nothing else."""
    outbox, receiver = Publisher(), Receiver(select(("alert",)))
    outbox.add_line(receiver.line, 0.0)
    for at in range(100):
        state = "on" if at % 3 == 0 else "off"
        outbox.offer(a_snapshot(alerts=(Alert("hot", state),)), at * STEP_S, 0.0)

        assert (state == "on") == receiver.known["/sidecar/alert/hot"][0]
