"""What the journal keeps of a pass, and what comes back."""

import os
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from journal_waiting import wait_until
from known_signal import ABOUT, LOST_EVERY, LOST_FRAMES, Measuring

from sidecar.errors import RecordError
from sidecar.journal import reader
from sidecar.journal.record import Cut, FaderReport, StemBalance
from sidecar.journal.resume import resumable
from sidecar.journal.writer import Journal
from sidecar.model.readings import Reading
from sidecar.model.snapshot import Event
from sidecar.settings.goals import load_goal

LOUD = Reading(integrated=-14.0, max_true_peak=0.5, true_peak=(0.5, -1.0), seconds=1.0)


@pytest.fixture
def file(tmp_path):
    return tmp_path / "data" / "passes.sqlite"


@pytest.fixture
def journal(file):
    journal = Journal(file, period_s=0.02)
    yield journal
    journal.close()


def hear(entry, energies, **more):
    """Blocks of these energies, with a reading that says how many."""
    values = np.asarray(energies, np.float64)
    levels = np.full(len(values), -20.0)
    entry.add_blocks(values, levels, levels, 0.0, replace(LOUD, seconds=len(values) / 10), **more)


def test_a_pass_comes_back_as_it_was_heard(journal, file):
    """Energies and the last reading bit for bit; peaks, fader and levels in single precision; cuts and
    events in their order and at their places."""
    entry = journal.begin(ABOUT)
    measured = Measuring().go_on(200, entry)
    entry.close_pass(measured.readings[-1])
    journal.close()
    record = reader.load(1, file)

    assert measured.energies == record.energy.tolist()
    assert measured.readings[-1] == record.summary.reading
    assert list(range(200)) == record.place.tolist()
    assert (Cut(LOST_EVERY, LOST_FRAMES), Cut(2 * LOST_EVERY, LOST_FRAMES)) == record.cuts
    assert tuple(Event(k, "marker", f"block {k * 10}") for k in range(20)) == record.events
    assert np.float32(measured.readings[-1].short_term) == record.short_term[-1]
    assert np.float32(measured.readings[-1].integrated) == record.integrated[-1]
    assert set(record.fader_db.tolist()) == {-1.5}
    assert (record.summary.dropped_samples, record.missing) == (2 * LOST_FRAMES, ())
    assert journal.fault == ""


def test_silence_and_a_goal_without_a_lower_limit_come_back(journal, file):
    """Minus infinity in levels, infinity in a tolerance: neither becomes a number or a fault."""
    goal = load_goal("aes-track")
    entry = journal.begin(replace(ABOUT, goal=goal))
    silence = np.full(3, -np.inf)
    entry.add_blocks(np.zeros(3), silence, silence, -np.inf, Reading(true_peak=(-np.inf, -np.inf)))
    entry.close_pass()
    journal.close()
    record = reader.load(1, file)

    assert goal == record.summary.about.goal
    assert Reading(true_peak=(-np.inf, -np.inf)) == record.summary.reading
    assert np.isneginf(record.true_peak).all()
    assert np.isneginf(record.fader_db).all()


def test_names_that_are_no_text_do_not_stop_the_record(journal, file):
    """Systems but Windows know files and arguments by their bytes: what is no UTF-8 becomes a mark."""
    name, stem = os.fsdecode(b"caf\xe9.wav"), os.fsdecode(b"voi\xe7e")
    entry = journal.begin(replace(ABOUT, source=name, stems=(stem,)))
    hear(entry, [0.1], stems=StemBalance(np.ones((1, 1, 1)), np.zeros((1, 1)), np.zeros((1, 1))))
    entry.add_fader_report(FaderReport(0.0, -3.0, True, stem))
    entry.event(Event(0.0, "marker", stem))
    entry.close_pass()
    journal.close()
    record = reader.load(1, file)

    assert journal.fault == ""
    assert (record.summary.about.source, record.summary.about.stems) == ("caf?.wav", ("voi?e",))
    assert (record.fader_reports[0].stem, record.events[0].text) == ("voi?e", "voi?e")


def test_an_event_of_an_older_record_has_the_kind_that_it_has_today(journal, file):
    entry = journal.begin(ABOUT)
    hear(entry, [0.1])
    entry.event(Event(0.0, "mark", "verse"))
    entry.event(Event(0.0, "gap", ""))
    entry.close_pass()
    journal.close()

    assert [event.kind for event in reader.load(1, file).events] == ["marker", "gap"]


def test_a_pass_is_read_as_it_was_at_one_moment(journal, file, monkeypatch):
    """What is written while it is being read is left for the next look: blocks and their count agree."""
    entry = journal.begin(ABOUT)
    hear(entry, [0.1] * 3)
    wait_until(lambda: file.exists() and reader.passes(file))
    look = reader._summary

    def look_and_hear(row):
        monkeypatch.setattr(reader, "_summary", look)
        hear(entry, [0.2] * 2)
        wait_until(lambda: reader.passes(file)[0].blocks == 5)
        return look(row)

    monkeypatch.setattr(reader, "_summary", look_and_hear)

    assert len(reader.load(1, file).timeline().seconds) == 3
    assert len(reader.load(1, file).timeline().seconds) == 5


def test_stems_come_back_with_their_products_peaks_and_faders(journal, file):
    """Products are symmetric, so one half is kept; single precision, as the advice has them."""
    rng = np.random.default_rng(5)
    mixed = rng.standard_normal((40, 3, 3))
    stems = StemBalance(
        mixed @ mixed.transpose(0, 2, 1), rng.normal(-20, 5, (40, 3)), rng.normal(0, 3, (40, 3))
    )
    entry = journal.begin(replace(ABOUT, stems=("voice", "music", "effects")))
    half = [
        StemBalance(stems.covariance[s], stems.true_peak[s], stems.fader_db[s])
        for s in (slice(25), slice(25, 40))
    ]
    hear(entry, np.ones(25), stems=half[0])
    hear(entry, np.ones(15), stems=half[1])
    entry.close_pass()
    journal.close()
    record = reader.load(1, file)

    assert record.summary.about.stems == ("voice", "music", "effects")
    assert np.array_equal(stems.covariance.astype(np.float32), record.stems.covariance)
    assert np.array_equal(stems.true_peak.astype(np.float32), record.stems.true_peak)
    assert np.array_equal(stems.fader_db.astype(np.float32), record.stems.fader_db)


def test_what_was_said_of_the_fader_and_the_last_goal_are_kept(journal, file):
    """From them the fader's history can be drawn again, and the verdict is on the goal that held."""
    entry = journal.begin(ABOUT)
    hear(entry, np.ones(5))
    entry.add_fader_report(FaderReport(0.2, -3.0, is_position=True))
    entry.add_fader_report(FaderReport(0.1, 1.5, is_position=False))
    entry.add_fader_report(FaderReport(0.3, -6.0, is_position=True, stem="voice"))
    entry.set_goal(load_goal("premaster"))
    entry.close_pass()
    journal.close()
    record = reader.load(1, file)

    assert (FaderReport(0.2, -3.0, True), FaderReport(0.1, 1.5, False)) == record.fader_reports[:2]
    assert (FaderReport(0.3, -6.0, True, "voice"),) == record.fader_reports[2:]
    assert load_goal("premaster") == record.summary.about.goal


def test_a_fader_that_rests_is_kept_once(journal, file):
    """Feedback comes many times a second for hours; a step in between makes the same place news again."""
    entry = journal.begin(ABOUT)
    hear(entry, np.ones(5))
    for at_s, value_db, is_position in (
        *((0.0, -3.0, True), (0.1, -3.0, True), (0.2, -3.0, True)),
        *((0.2, 1.0, False), (0.3, 1.0, False), (0.4, -3.0, True)),
    ):
        entry.add_fader_report(FaderReport(at_s, value_db, is_position))
    entry.add_fader_report(FaderReport(0.4, -3.0, True, "voice"))
    journal.close()

    assert [(word.at_s, word.stem) for word in reader.load(1, file).fader_reports] == [
        (0.0, ""),
        (0.2, ""),
        (0.3, ""),
        (0.4, ""),
        (0.4, "voice"),
    ]


def test_passes_are_in_the_order_of_their_ids_when_the_clock_is_set_back(file):
    """The second pass began a day before the first one, says the clock; it is the last all the same."""
    times = [datetime(2026, 3, 2, 12, tzinfo=UTC) - timedelta(days=k) for k in range(4)]
    journal = Journal(file, clock=iter(times).__next__, period_s=0.02)
    for energy in (1.0, 2.0):
        entry = journal.begin(ABOUT)
        hear(entry, [energy] * 10)
        entry.close_pass()
    journal.close()
    first, second = reader.passes(file)

    assert (first.id, second.id) == (1, 2)
    assert second.began < first.began
    assert second.ended < second.began
    assert second.reading.seconds == 1.0
    assert reader.latest(file).energy.tolist() == [2.0] * 10


def test_a_pass_in_which_nothing_was_heard_leaves_no_trace(journal, file):
    """Neither an unused one, nor one with a marker and no sound."""
    journal.begin(ABOUT).close_pass()
    entry = journal.begin(ABOUT)
    entry.event(Event(0.0, "marker", "before the sound"))
    entry.close_pass()
    journal.close()

    assert reader.passes(file) == []


def test_the_latest_pass_can_be_asked_to_be_long_enough(journal, file):
    """A short one after it does not count as a forecast."""
    for blocks in (600, 20):
        entry = journal.begin(ABOUT)
        hear(entry, np.ones(blocks))
        entry.close_pass()
    journal.close()

    assert reader.latest(file, blocks=600).summary.id == 1
    assert reader.latest(file).summary.id == 2
    assert reader.latest(file, blocks=601) is None


def test_a_pass_goes_on_where_it_broke_off(file):
    """Same pass, next block, behind a cut; what was heard before stays as it was."""
    first = Journal(file, period_s=0.02)
    hear(first.begin(ABOUT), np.arange(10.0))
    first.close()
    before = reader.latest(file)
    second = Journal(file, period_s=0.02)
    entry = second.resume(before)
    hear(entry, np.arange(10.0, 15.0))
    entry.close_pass()
    second.close()
    (summary,) = reader.passes(file)
    record = reader.load(summary.id, file)

    assert before.summary.ended is None
    assert summary.ended is not None
    assert np.arange(15.0).tolist() == record.energy.tolist()
    assert (Cut(10, 0),) == record.cuts
    assert resumable(record).cuts == (10,)


def test_who_still_writes_a_pass_that_another_goes_on_with_begins_one_of_its_own(file):
    """Two sidecars never mix their audio in one pass, and neither loses any from then on."""
    first, second = Journal(file, period_s=0.02), Journal(file, period_s=0.02)
    theirs = first.begin(ABOUT)
    hear(theirs, np.ones(10))
    wait_until(lambda: reader.passes(file))
    ours = second.resume(reader.latest(file))
    hear(ours, np.full(5, 2.0))
    wait_until(lambda: reader.latest(file).summary.blocks == 15)
    hear(theirs, np.full(7, 3.0))
    first.close()
    second.close()
    old, new = reader.passes(file)

    assert reader.load(old.id, file).energy.tolist() == [1.0] * 10 + [2.0] * 5
    assert reader.load(new.id, file).energy.tolist() == [3.0] * 7
    assert reader.load(new.id, file).missing == ((0, 10),)


def test_who_goes_on_with_a_pass_that_has_grown_since_begins_one_of_its_own(file):
    """The process that made it grow continues it: no block is there twice, and no process stops."""
    first, second = Journal(file, period_s=0.02), Journal(file, period_s=0.02)
    theirs = first.begin(ABOUT)
    hear(theirs, np.ones(10))
    wait_until(lambda: reader.passes(file))
    record = reader.latest(file)
    hear(theirs, np.ones(3))
    wait_until(lambda: reader.latest(file).summary.blocks == 13)
    ours = second.resume(record)
    hear(ours, np.full(5, 2.0))
    second.close()
    hear(theirs, np.ones(2))
    first.close()
    old, new = reader.passes(file)

    assert (first.fault, second.fault) == ("", "")
    assert reader.load(old.id, file).energy.tolist() == [1.0] * 15
    assert reader.load(new.id, file).energy.tolist() == [2.0] * 5
    assert reader.load(new.id, file).missing == ((0, 10),)


def test_a_deleted_pass_gives_its_room_back(journal, file):
    """The file shrinks; the other pass stays; an id that is not there deletes nothing."""
    for _ in range(2):
        entry = journal.begin(ABOUT)
        hear(entry, np.ones(20_000))
        entry.close_pass()
    journal.close()
    before = file.stat().st_size
    with pytest.raises(RecordError, match="no pass 9"):
        reader.delete([1, 9], file)
    kept = [summary.id for summary in reader.passes(file)]
    reader.delete([1], file)

    assert kept == [1, 2]
    assert [summary.id for summary in reader.passes(file)] == [2]
    assert file.stat().st_size < 0.6 * before


def test_the_history_is_the_one_that_the_screen_drew(journal, file):
    """A column a block, ends in seconds, with the events."""
    entry = journal.begin(ABOUT)
    hear(entry, np.ones(30))
    entry.event(Event(1.0, "alert", "hot"))
    entry.close_pass()
    journal.close()
    history = reader.load(1, file).timeline()

    assert 30 == history.seconds.size == history.short_term.size == history.integrated.size
    assert (history.seconds[0], history.seconds[-1]) == (pytest.approx(0.1), pytest.approx(3.0))
    assert set(history.short_term.tolist()) == {-20.0}
    assert set(history.integrated.tolist()) == {-14.0}
    assert (Event(1.0, "alert", "hot"),) == history.events


@pytest.mark.parametrize("id", [-1, 3, 2**64])
def test_an_id_that_is_not_there_is_said_to_be(file, id):
    """With the command that lists those there are; also one that SQLite cannot have."""
    with pytest.raises(RecordError, match=rf"no pass {id} .*sidecar passes"):
        reader.load(id, file)
    with pytest.raises(RecordError, match=rf"no pass {id} .*sidecar passes"):
        reader.delete([id], file)


def test_a_look_into_a_record_that_is_not_there_leaves_no_file_behind(file):
    """Nothing was heard yet: no passes, and the folder stays as it is."""
    assert reader.passes(file) == []
    assert reader.latest(file) is None
    assert not file.parent.exists()
