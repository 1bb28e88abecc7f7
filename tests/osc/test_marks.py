"""Marks on the wire: each sent once, as it is set."""

import pytest

from sidecar.model.snapshot import Event, Snapshot, Timeline
from sidecar.osc import codec
from sidecar.osc.backlog import Backlog
from sidecar.osc.publisher import Line, Publisher
from sidecar.osc.requests import BacklogRequest
from sidecar.osc.table.addresses import MARKED
from sidecar.osc.table.selection import EVERYTHING, select
from sidecar.run.timeline import TimelineLog
from sidecar.settings.goals import all_goals, load_goal


class Pass:
    """A history that grows, and an archive that looks at it."""

    def __init__(self):
        self.log = TimelineLog()
        self.archive = Backlog(self.history, all_goals)

    def history(self):
        return self.log.view()

    def play(self, blocks=1):
        for _ in range(blocks):
            self.log.add_columns(1, -20.0 - self.log.seconds / 100, -23.0, 0.0)

    def note(self, text, kind="marker"):
        self.log.add_event(Event(self.log.seconds, kind, text))

    def news(self):
        return [event.text for event in self.archive.news()]


@pytest.fixture
def a_pass():
    return Pass()


def test_each_event_is_news_once(a_pass):
    """However many come between two looks, and in their order."""
    a_pass.play()
    heard = [a_pass.news()]
    a_pass.note("verse")
    heard.append(a_pass.news())
    a_pass.note("refrain")
    a_pass.note("hot", "alert")
    a_pass.play()
    heard += [a_pass.news(), a_pass.news()]

    assert heard == [[], ["verse"], ["refrain", "hot"], []]


def test_the_events_of_a_pass_that_is_gone_on_with_are_no_news(a_pass):
    """They were sent when they happened."""
    before = TimelineLog()
    for number in range(50):
        before.add_columns(1, -20.0 - number, -23.0, 0.0)
    before.add_event(Event(2.0, "marker", "before"))
    a_pass.log.restore(before.view())
    heard = [a_pass.news()]
    a_pass.note("now")

    assert [*heard, a_pass.news()] == [[], ["now"]]


def test_a_reset_makes_the_first_mark_of_the_new_pass_news(a_pass):
    """Even where as many had been set before, and where the history was read in between."""
    a_pass.play(20)
    a_pass.news()
    a_pass.note("old")
    a_pass.news()
    a_pass.log = TimelineLog()
    list(a_pass.archive.packets(BacklogRequest("history", 0, 10), 0.0))
    a_pass.note("new")
    a_pass.play()

    assert a_pass.news() == ["new"]


class Receiver:
    """Keeps the marks that it receives."""

    def __init__(self, selection):
        self.line = Line(selection, 0.1, self.take)
        self.marks, self.most_bytes = [], 0

    def take(self, datagram):
        self.most_bytes = max(self.most_bytes, len(datagram))
        self.marks += [tuple(told) for address, told in codec.parse(datagram) if address == "/sidecar/marked"]


def test_marks_go_to_everybody_who_is_sent_them_and_are_not_repeated():
    """No heartbeat, no last word and no greeting brings one again: a script would jump twice."""
    outbox = Publisher()
    everything, marks, alerts, late = (
        Receiver(selection) for selection in (EVERYTHING, select(("mark",)), select(("alert",)), EVERYTHING)
    )
    for receiver in (everything, marks, alerts):
        outbox.add_line(receiver.line, 0.0)
    snapshot = Snapshot("measuring", load_goal("r128"))
    outbox.offer(snapshot, 0.0, 0.0)
    outbox.publish_event(MARKED, [(1.5, "verse"), (2.0, "refrain")], 0.0)
    for second in range(1, 4):
        outbox.offer(snapshot, float(second), float(second))
    outbox.add_line(late.line, 3.0)
    outbox.send_last()

    told = [(1.5, "verse"), (2.0, "refrain")]
    assert [told, told, [], []] == [receiver.marks for receiver in (everything, marks, alerts, late)]


def test_a_storm_of_marks_fits_in_datagrams_that_are_never_split():
    """A thousand of the longest labels between two looks."""
    outbox, receiver = Publisher(), Receiver(select(("mark",)))
    outbox.add_line(receiver.line, 0.0)
    outbox.offer(Snapshot("measuring", load_goal("r128")), 0.0, 0.0)
    outbox.publish_event(MARKED, [(float(n), codec.clipped("−" * 999, 200)) for n in range(1000)], 0.0)

    assert len(receiver.marks) == 1000
    assert receiver.most_bytes <= codec.LARGEST_DATAGRAM


def test_an_empty_history_has_no_news():
    """Before anything is heard."""
    archive = Backlog(lambda: Timeline(*[TimelineLog().view().seconds] * 4), all_goals)

    assert tuple(archive.news()) == ()
