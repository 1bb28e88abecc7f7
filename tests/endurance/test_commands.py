"""Nothing that a command does ends a run, or keeps the measuring waiting."""

import errno
import sqlite3
import threading

import numpy as np
import pytest
import soundfile
from asker import Asker, free_port
from live_run import LiveRun

from sidecar.journal import reader
from sidecar.journal.schema import usual_file
from sidecar.journal.writer import Journal
from sidecar.model.commands import Mark, Pause, SelectEarlierPass, SelectGoal
from sidecar.run.command_queue import MOST_WAITING
from sidecar.run.options import RunOptions
from sidecar.run.session import Session
from sidecar.settings.goals import load_goal
from sidecar.sources import Block

RATE_HZ = 48_000
STEP = 4_800
LIMIT_S = 60.0


class Noise:
    """A source of steps of 100 ms; a callable among them is called at its place."""

    title = "noise"
    rate_hz = RATE_HZ
    channels = 2
    duration_s = None

    def __init__(self, *steps):
        self.steps = steps

    def blocks(self):
        rng = np.random.default_rng(6)
        for step in self.steps:
            if callable(step):
                step()
                continue
            for _ in range(step):
                yield Block((0.05 * rng.standard_normal((STEP, 2))).astype(np.float32))

    def close(self):
        pass


def run_of(*steps, journal=None):
    """A session in real time, whose disk is read beside the measuring."""
    return Session(Noise(*steps), RunOptions(load_goal("r128"), journal=journal))


@pytest.mark.parametrize(
    "fault",
    [
        OSError(errno.EMFILE, "Too many open files"),
        OSError(errno.EIO, "Input/output error"),
        sqlite3.DatabaseError("malformed"),
        KeyError("target_lufs"),
        MemoryError(),
        RecursionError("maximum recursion depth exceeded"),
    ],
    ids=repr,
)
@pytest.mark.parametrize("command", [SelectGoal, SelectEarlierPass])
def test_whatever_a_command_fails_with_is_reported_and_the_run_goes_on(monkeypatch, caplog, command, fault):
    def fail(_name):
        raise fault

    monkeypatch.setattr("sidecar.run.session.goal_named", fail)
    monkeypatch.setattr("sidecar.run.session.on_record", fail)
    outcomes = []

    def give():
        outcomes.append(session.submit(command("last")))

    session = run_of(10, give, 1, lambda: loaded(session), 10, give, 1, lambda: loaded(session), 10)
    session.run()

    assert session.snapshot().transport == "ended"
    assert session.snapshot().reading.seconds == pytest.approx(3.2)
    assert all(command.verb in outcome.result(LIMIT_S) for outcome in outcomes)
    assert len([record for record in caplog.records if record.levelname == "ERROR"]) == 1


def loaded(session):
    """Waits until nothing is being read any more."""
    for loader in (session._goals, session._earlier_loader):
        ended = threading.Event()
        while loader._is_reading and not ended.wait(0.01):
            pass


def test_a_flood_of_the_heaviest_command_reads_the_disk_twice_and_stops_nothing(monkeypatch):
    """Two thousand requests for an earlier pass from a disk that does not answer before the run is over."""
    reads, answers = [], threading.Event()

    def slow(name):
        reads.append(name)
        assert answers.wait(LIMIT_S)

    monkeypatch.setattr("sidecar.run.session.on_record", slow)
    outcomes = []

    def flood():
        outcomes.extend(session.submit(SelectEarlierPass(str(number))) for number in range(200))

    session = run_of(*[10, flood] * 10, 10)
    session.run()
    answers.set()
    loaded(session)

    assert session.snapshot().reading.seconds == pytest.approx(11.0)
    assert len(reads) <= 2
    assert len([outcome for outcome in outcomes if outcome.done()]) >= 1998


@pytest.mark.slow
def test_commands_that_wait_are_bounded_in_number():
    """Ten thousand before the run has begun: what has no place is refused at once."""
    session = run_of(1)
    outcomes = [session.submit(Mark(str(number))) for number in range(10_000)]
    refused = [outcome.result() for outcome in outcomes if outcome.done()]
    session.run()

    assert len(refused) == 10_000 - MOST_WAITING
    assert set(refused) == {"Too many commands wait. Send it again."}
    assert all(outcome.done() for outcome in outcomes)
    assert session.submit(Pause()).result(0) == "The run has ended."


@pytest.mark.slow
def test_marks_without_end_do_not_fill_the_memory(monkeypatch):
    """A pass takes ten thousand events; then a mark is refused."""
    monkeypatch.setattr("sidecar.run.command_queue.TURN_S", LIMIT_S)  # a busy machine carries out fewer

    def mark():
        for _ in range(200):
            session.send_command(Mark("x" * 8_000))

    session = run_of(*[mark, 1] * 120)
    session.run()
    events = session.timeline().events

    assert 10_000 <= len(events) < 10_020  # what happens by itself is kept all the same
    assert max(len(event.text) for event in events) <= 201
    assert "the most there may be" in session.snapshot().notice


@pytest.fixture(scope="module")
def tone(tmp_path_factory):
    """Two minutes that play in real time."""
    second = 0.05 * np.sin(2 * np.pi * 1000 * np.arange(RATE_HZ) / RATE_HZ)
    file = tmp_path_factory.mktemp("tone") / "tone.wav"
    soundfile.write(file, np.tile(second[:, None], (120, 2)), RATE_HZ)
    return file


def recorded(passes):
    """Puts so many passes of 7 s on record."""
    journal = Journal.open()
    for _ in range(passes):
        run_of(70, journal=journal).run()
    journal.close()


DAMAGES = {"goal": "{", "reading": "[]", "began": "yesterday", "blocks": 2**40, "stems": "5"}


@pytest.mark.slow
def test_a_damaged_row_on_record_is_told_to_who_asked_for_it(tone):
    """A whole run: each answer says that it failed, the measuring goes on, and the run ends well."""
    recorded(len(DAMAGES))
    with sqlite3.connect(usual_file()) as connection:
        for number, (column, value) in enumerate(DAMAGES.items(), 1):
            connection.execute(f"UPDATE passes SET {column} = ? WHERE id = ?", (value, number))
    port = free_port()
    answers = []
    with LiveRun("live", "--file", str(tone), "--osc-port", str(port)) as run, Asker(port) as asker:
        run.wait_for_progress()
        for number in range(1, len(DAMAGES) + 1):
            asker.say("/sidecar/earlier", str(number))
            address, why = asker.hear("/sidecar/error")
            answers.append((address, bool(why)))
            run.wait_for_progress()
        code, errors = run.end()

    assert answers == [("/sidecar/earlier", True)] * len(DAMAGES)
    assert code == 0
    assert "sidecar:" not in errors  # a first run says besides that it compiles


@pytest.mark.slow
def test_a_pass_on_record_is_loaded_beside_a_run_that_plays(tone):
    recorded(1)
    port = free_port()
    with LiveRun("live", "--file", str(tone), "--osc-port", str(port)) as run, Asker(port) as asker:
        run.wait_for_progress()
        asker.say("/sidecar/watch", "detail")
        asker.say("/sidecar/earlier", "1")
        while not (earlier := asker.hear("/sidecar/detail/earlier"))[0]:
            pass
        code, errors = run.end()

    assert earlier[1] == "the pass of noise"
    assert code == 0
    assert "sidecar:" not in errors  # a first run says besides that it compiles
    assert len(reader.passes()) == 2
