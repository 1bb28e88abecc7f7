"""A whole run on scripted audio: what a person, a script and a surface get to see of it."""

import math

import numpy as np
import pytest
import soundfile

from sidecar.advice.programme.advisor import ProgrammeAdvisor
from sidecar.errors import SourceError
from sidecar.journal import reader
from sidecar.journal.resume import resumable
from sidecar.journal.writer import Journal
from sidecar.model.commands import (
    Acknowledge,
    Arm,
    Continue,
    Disarm,
    FaderAt,
    Follow,
    Mark,
    Nudge,
    Pause,
    Reset,
    ResetPeaks,
    SelectEarlierPass,
    SelectGoal,
    StemFaderAt,
)
from sidecar.model.snapshot import FaderFeedback
from sidecar.run.audio_recorder import AudioRecorder
from sidecar.run.options import RunOptions
from sidecar.run.remote_fader import RemoteFader
from sidecar.run.session import Session
from sidecar.run.stem_faders import Mix
from sidecar.settings.goals import load_goal
from sidecar.settings.locations import shipped_configs
from sidecar.sources import Block
from sidecar.sources.rehearsal import RehearsalSource
from sidecar.surfaces.fader_line import FaderLine
from sidecar.surfaces.surface import load_surface

RATE_HZ = 48_000
STEP = 4_800


class Script:
    """A source of tone: (seconds, dBFS) after (seconds, dBFS), or a callable called at that place.

    Tech 3341 §2.9: an in-phase stereo sine of 1 kHz reads its peak level in LUFS.
    """

    title = "script"
    rate_hz = RATE_HZ
    channels = 2

    def __init__(self, *steps, duration_s=None):
        self.steps = steps
        self.duration_s = duration_s
        self.closed = False

    def blocks(self):
        at = 0
        for step in self.steps:
            if callable(step):
                step()
                continue
            if isinstance(step, Block):
                yield step
                continue
            seconds, level_db = step
            for _ in range(round(seconds * 10)):
                t = np.arange(at, at + STEP) / RATE_HZ
                tone = 10 ** (level_db / 20) * np.sin(2 * np.pi * 1000 * t)
                at += STEP
                yield Block(np.stack([tone, tone], axis=1).astype(np.float32))

    def close(self):
        self.closed = True


class FaderScript(Script):
    """The same behind a fader that the sidecar holds."""

    fader_db = 0.0
    fader_range_db = (-60.0, 10.0)

    def move_fader(self, gain_db):
        self.fader_db = gain_db

    def blocks(self):
        for block in super().blocks():
            gain = np.float32(10 ** (self.fader_db / 20))
            yield Block(block.frames * gain, gain_db=self.fader_db)


def fast(goal="r128", **more):
    return RunOptions(load_goal(goal), fast=True, **more)


def run(*steps, source=None, goal="r128", duration_s=None):
    """Runs the script to its end; gives the session and every snapshot it made."""
    seen = []
    session = Session(source or Script(*steps, duration_s=duration_s), fast(goal), outlets=[seen.append])
    session.run()
    return session, seen


@pytest.mark.slow
def test_a_steady_tone_reads_its_level_and_needs_no_move():
    """Tech 3341 case 1 through the whole run: −23.0 LUFS, and the advice stays out of sight."""
    _, seen = run((20, -23.0), duration_s=20.0)
    last = seen[-1]

    assert last.transport == "ended"
    assert last.reading.integrated == pytest.approx(-23.0, abs=0.1)
    assert last.reading.seconds == pytest.approx(20.0)
    assert last.advice.from_top.is_quiet


def test_a_loud_tone_is_told_how_far_down_to_go():
    """5 LU over: down 5.0 dB, landing on the target."""
    _, seen = run((20, -18.0))

    assert seen[-1].advice.from_top.gain_db == pytest.approx(-5.0, abs=0.1)
    assert seen[-1].advice.from_top.landing == pytest.approx(-23.0, abs=0.1)


@pytest.mark.parametrize(
    ("channels", "origin", "notice"),
    [
        (6, "assumed", "The channels are assumed to be L,R,C,LFE,Ls,Rs. Give --layout where that is wrong."),
        (6, "file", ""),
        (2, "assumed", ""),
    ],
)
def test_an_assumed_layout_of_more_than_two_channels_is_a_notice(channels, origin, notice):
    source = Script(Block(np.full((STEP, channels), 0.1, np.float32)))
    source.channels = channels
    session = Session(source, fast(layout_from=origin))
    session.run()

    assert session.snapshot().notice == notice


def test_snapshots_come_ten_times_a_second():
    """Tech 3341 §2.2: short-term is renewed at 10 Hz at least."""
    _, seen = run((20, -23.0))
    measuring = [s for s in seen if s.transport == "measuring"]

    assert len(measuring) == pytest.approx(200, abs=2)


def test_a_pause_holds_integrated_and_lets_short_term_go_on():
    """Tech 3341 §2.2; the loud passage in the pause is no part of the programme."""
    source = Script((10, -23.0), lambda: session.send_command(Pause()), (10, -10.0))
    session, seen = None, []
    session = Session(source, fast(), outlets=[seen.append])
    session.run()
    last = [s for s in seen if s.transport == "paused"][-1]

    assert last.reading.integrated == pytest.approx(-23.0, abs=0.1)
    assert last.reading.short_term == pytest.approx(-10.0, abs=0.1)


def test_a_rehearsal_that_was_paused_is_measured_to_its_end(monkeypatch):
    monkeypatch.setattr("sidecar.sources.rehearsal.source.DURATION_S", 3.0)
    now_s, sent, seen = [100.0], [], []

    def wait(seconds):
        now_s[0] += seconds

    def press(snapshot):
        seen.append(snapshot)
        if not sent and snapshot.reading.seconds >= 1.0:
            sent.append(session.send_command(Pause()))
        elif len(sent) == 1 and sum(shown.transport == "paused" for shown in seen) >= 50:
            sent.append(session.send_command(Continue()))

    source = RehearsalSource(clock=lambda: now_s[0], wait=wait)
    session = Session(source, RunOptions(load_goal("r128")), outlets=[press])
    monkeypatch.setattr(session, "_clock", lambda: now_s[0])
    session.run()

    paused = [shown for shown in seen if shown.transport == "paused"]
    assert len(paused) >= 50
    assert {shown.reading.seconds for shown in paused} == {paused[0].reading.seconds}
    assert {alert.state for shown in paused for alert in shown.alerts if alert.name == "lost"} == {"off"}
    assert source.left_s == 0.0
    assert seen[-1].transport == "ended"
    assert seen[-1].reading.seconds == pytest.approx(3.0, abs=0.1)
    assert now_s[0] - 100.0 == pytest.approx(8.0, abs=0.3), "five seconds of pause, three of programme"


def test_a_pause_is_told_also_while_no_audio_arrives(monkeypatch):
    """A stopped workstation sends nothing: the key must then go on with the run, not pause it."""
    nothing, later_s = Block(np.zeros((0, 2), np.float32)), iter(range(100, 200))
    source = Script((0.1, -23.0), lambda: session.send_command(Pause()), nothing, nothing, nothing)
    seen = []
    session = Session(source, fast(), outlets=[seen.append])
    monkeypatch.setattr(session, "_clock", lambda: float(next(later_s)))  # a second and more a look
    session.run()

    assert [snapshot.transport for snapshot in seen[-4:-1]] == ["paused"] * 3


def test_continue_measures_on_and_reset_begins_anew():
    """After a reset only what comes then counts, and the history is empty again."""
    source = Script(
        (5, -23.0),
        lambda: session.send_command(Pause()),
        (5, -10.0),
        lambda: session.send_command(Continue()),
        (5, -23.0),
        lambda: kept.append(session.snapshot().reading),
        lambda: session.send_command(Reset()),
        (5, -30.0),
    )
    kept = []
    session = Session(source, fast())
    session.run()

    assert kept[0].integrated == pytest.approx(-23.0, abs=0.1)
    assert kept[0].seconds == pytest.approx(10.0, abs=0.2)
    assert session.snapshot().reading.integrated == pytest.approx(-30.0, abs=0.1)
    assert session.timeline().seconds.size == 50


def test_a_reset_of_the_peaks_begins_nothing_else_anew():
    source = Script((5, -10.0), (0.5, -40.0), lambda: session.send_command(ResetPeaks()), (5, -40.0))
    session = Session(source, fast())
    session.run()
    reading = session.snapshot().reading

    assert reading.seconds == pytest.approx(10.5)
    assert max(reading.held_peak) < reading.max_true_peak - 20.0
    assert session.timeline().seconds.size == 105


def test_over_and_hot_are_raised_on_loud_material_and_stand_in_the_history():
    """The alerts of a loud programme come with what was measured and what it is held against."""
    session, seen = run((10, -15.0))
    on = {alert.name for alert in seen[-1].alerts if alert.state == "on"}

    assert {"over", "hot"} <= on
    assert {"over", "hot"} <= {event.text for event in session.timeline().events if event.kind == "alert"}


def test_the_ceiling_is_held_until_it_is_acknowledged():
    """One hot sample-peak passage; quiet afterwards; the alert stays until it is acknowledged."""
    states = []

    def look():
        states.append(next(a.state for a in session.snapshot().alerts if a.name == "ceiling"))

    source = Script(
        (2, -0.5), (5, -30.0), look, lambda: session.send_command(Acknowledge()), (1, -30.0), look
    )
    session = Session(source, fast())
    session.run()

    assert states == ["latched", "off"]


def click(frames, level):
    """A block of silence with one sample near its beginning."""
    sound = np.zeros((frames, 2), np.float32)
    sound[1000] = level
    return Block(sound)


@pytest.mark.parametrize("after", [(), (Block(np.zeros((0, 2), np.float32), lost=100), (0.5, -23.0))])
def test_a_peak_in_the_block_that_an_end_or_a_gap_cuts_short_warns(after):
    """A sample at +1.6 dBFS breaks -1 dBTP (R 128 V5 m), whether or not its 100 ms get full."""
    _, seen = run((2, -23.0), click(2_400, 1.2), *after, duration_s=3.0)

    assert seen[-1].reading.max_true_peak > 1.0
    assert {alert.name: alert.state for alert in seen[-1].alerts if alert.state != "off"} == {"ceiling": "on"}


def test_following_the_advice_moves_the_fader():
    """The sidecar holds the fader: ``follow`` moves it by what is shown."""
    asked_db = []

    def follow():
        asked_db.append(session.snapshot().advice.move.gain_db)
        session.send_command(Follow())

    session = Session(FaderScript((10, -18.0), follow, (10, -18.0)), fast())
    session.run()
    last = session.snapshot()

    assert last.controls_fader
    assert -5.0 <= asked_db[0] < -2.0
    assert last.fader_db == pytest.approx(asked_db[0], abs=0.05)
    assert any(event.kind == "move" for event in session.timeline().events)


class SlowFaderScript(FaderScript):
    """A held fader that takes its time: half a decibel a block."""

    aim_db = 0.0

    def move_fader(self, gain_db):
        self.aim_db = gain_db

    def blocks(self):
        for block in super().blocks():
            yield block
            self.fader_db += float(np.clip(self.aim_db - self.fader_db, -0.5, 0.5))


@pytest.mark.slow
def test_following_again_while_the_fader_travels_asks_for_the_same_move():
    """A fall is advised once; the second ``follow`` comes before the advice is asked for anew."""
    asked_db = []

    def follow():
        asked_db.append(session.snapshot().advice.move.gain_db)
        session.send_command(Follow())

    source = SlowFaderScript(
        (120, -17.0),
        follow,
        (1.2, -17.0),
        lambda: session.send_command(Follow()),
        (0.1, -17.0),
    )
    session = Session(source, fast())
    session.run()

    assert -6.0 <= asked_db[0] < -4.0
    assert source.aim_db == pytest.approx(asked_db[0], abs=0.05)


def test_a_reset_leaves_the_fader_where_it_stands_and_following_nothing_moves_nothing():
    """At -12 dB before and after; ``follow`` without any advice yet must not send it up to 0 dB."""
    source = FaderScript(
        lambda: session.send_command(FaderAt(-12.0)),
        (5, -20.0),
        lambda: [session.send_command(command) for command in (Reset(), Follow())],
        (1, -20.0),
    )
    session = Session(source, fast())
    session.run()

    assert (source.fader_db, session.snapshot().fader_db) == (-12.0, -12.0)


def test_a_fader_that_is_only_told_of_shapes_the_advice_all_the_same():
    """The person moved it down 6 dB and said so: the advice for the next pass does not change."""
    source = Script((10, -18.0), lambda: session.send_command(Nudge(-6.0)), (10, -24.0))
    session = Session(source, fast())
    session.run()

    assert session.snapshot().advice.from_top.gain_db == pytest.approx(1.0, abs=0.1)


def test_quick_steps_of_a_held_fader_add_up():
    """Three steps are sent before the fader has moved: it ends three steps further."""

    def thrice():
        for _ in range(3):
            session.send_command(Nudge(0.5))

    source = FaderScript((2, -18.0), thrice, (2, -18.0))
    session = Session(source, fast())
    session.run()

    assert session.snapshot().fader_db == 1.5


def test_a_surface_that_tells_of_its_fader_all_the_time_does_not_ask_for_advice_each_time(monkeypatch):
    """Ten positions a second, each another, for ten seconds: advice is computed once a second at most."""
    asked = []
    told = [FaderFeedback(-0.01 * word, 0.0) for word in range(100)]
    steps = [step for word in told for step in ((0.1, -18.0), lambda word=word: session.report_fader(word))]
    monkeypatch.setattr(ProgrammeAdvisor, "outlook", lambda self, stray_db, at_rest: asked.append(1))
    session = Session(Script(*steps), fast())
    session.run()

    assert 2 <= len(asked) < 14


def test_feedback_from_a_fader_tells_where_it_stands():
    """The first word says where it stood all along; the next one is a move."""
    source = Script(
        (10, -18.0),
        lambda: session.send_command(FaderAt(-10.0)),
        (1, -18.0),
        lambda: session.send_command(FaderAt(-16.0)),
        (9, -24.0),
    )
    session = Session(source, fast())
    session.run()

    assert session.snapshot().fader_db == -16.0
    assert session.snapshot().advice.from_top.gain_db == pytest.approx(1.0, abs=0.1)


def test_follow_without_a_fader_says_what_to_do():
    """Where the workstation holds the fader, the sidecar says so in place of doing nothing."""
    source = Script((4, -18.0), lambda: session.send_command(Follow()), (1, -18.0))
    session = Session(source, fast())
    session.run()

    assert "yourself" in session.snapshot().notice


def test_a_goal_can_be_changed_in_mid_pass_and_a_wrong_one_changes_nothing():
    """History is kept: the advice for the new goal is there at once."""
    source = Script(
        (10, -23.0),
        lambda: session.send_command(SelectGoal("no-such")),
        (1, -23.0),
        lambda: notices.append((session.snapshot().goal.name, session.snapshot().notice)),
        lambda: session.send_command(SelectGoal("premaster")),
        (2, -23.0),
    )
    notices = []
    session = Session(source, fast())
    session.run()

    assert notices[0][0] == "r128"
    assert "no-such" in notices[0][1]
    assert session.snapshot().goal.name == "premaster"
    assert session.snapshot().advice.from_top.gain_db == pytest.approx(5.0, abs=0.1)


def test_dropped_samples_are_counted_shown_and_kept_out_of_the_measurement():
    """A gap of half a second: no gating block reaches across, and the history shows it."""
    gap = Block(np.zeros((0, 2), np.float32), lost=24_000)
    session, seen = run((5, -23.0), gap, (5, -23.0))

    assert seen[-1].dropped_samples == 24_000
    assert seen[-1].reading.integrated == pytest.approx(-23.0, abs=0.1)
    assert [e.text for e in session.timeline().events if e.kind == "gap"] == ["0.50 s lost"]
    assert "0.50 s" in seen[-1].notice


def test_a_sleep_of_the_machine_is_a_gap_and_no_loss():
    """What was played meanwhile is unknown: this is said, and nothing is counted or measured across it."""
    nap = Block(np.zeros((0, 2), np.float32), slept_s=723.4)
    session, seen = run((5, -23.0), nap, (5, -23.0))

    assert seen[-1].dropped_samples == 0
    assert [e.text for e in session.timeline().events if e.kind == "gap"] == [
        "the machine slept for 12 min 3 s"
    ]
    assert seen[-1].notice == "The machine slept for 12 min 3 s. The measurement continues without it."
    assert seen[-1].reading.max_short_term == pytest.approx(-23.0, abs=0.1)


def test_a_sleep_of_the_machine_takes_the_leave_to_move_a_fader():
    """The clock stops meanwhile, so no lost audio shows it; the user who armed it may be gone."""
    workstation = Workstation()
    source = Script(
        (2, -18.0),
        workstation.is_asked_to(Arm()),
        (0.1, -18.0),
        workstation.says(-1.0),
        (1, -18.0),
        Block(np.zeros((0, 2), np.float32), slept_s=3600.0),
        (1, -18.0),
    )
    seen = []
    session = workstation.session = Session(source, fast(remote=workstation.remote), outlets=[seen.append])
    session.run()

    assert {snapshot.arm.is_armed for snapshot in seen} == {True, False}
    assert (
        seen[-1].arm.is_armed,
        seen[-1].arm.sentence,
    ) == (False, "Disarmed: the machine slept. Arm it again.")


def test_what_keeps_audio_away_is_said():
    """The sentence of the source is there until audio comes again and more is known."""
    gone = Block(np.zeros((0, 2), np.float32), fault="The input is not there.")
    _, seen = run((1, -23.0), gone, (1, -23.0))

    assert seen[-1].notice == "The input is not there."


class TwoRates(Script):
    """The same tone, the second half at another rate, behind a loss of a second."""

    def blocks(self):
        yield from super().blocks()
        self.rate_hz = 44_100
        yield Block(np.zeros((0, 2), np.float32), lost=44_100)
        for step in range(100):
            t = np.arange(step * 4_410, (step + 1) * 4_410) / 44_100
            tone = 10 ** (-20 / 20) * np.sin(2 * np.pi * 1000 * t)
            yield Block(np.stack([tone, tone], axis=1).astype(np.float32))


def test_a_device_that_comes_back_at_another_rate_goes_on_with_the_pass(tmp_path):
    """10 s at -26 and 10 s at -20 LUFS are their power mean, whatever the rates; the recording ends there."""
    recorder = AudioRecorder(tmp_path / "heard.wav", RATE_HZ, 2, waits=True)
    source, seen = TwoRates((10, -26.0)), []
    session = Session(source, fast(recorder=recorder), outlets=[seen.append])
    session.run()
    recorder.close()
    reading = seen[-1].reading

    assert reading.integrated == pytest.approx(10 * np.log10((10**-2.6 + 10**-2.0) / 2), abs=0.1)
    assert reading.max_short_term == pytest.approx(-20.0, abs=0.1)
    assert reading.seconds == pytest.approx(20.0, abs=0.001)
    assert (seen[-1].rate_hz, seen[-1].dropped_samples) == (44_100, 44_100)
    assert [event.text for event in session.timeline().events if event.kind == "gap"] == [
        "at 44100 Hz from here on",
        "1.00 s lost",
    ]
    assert "44100 Hz does not fit" in seen[-1].notice
    assert soundfile.info(tmp_path / "heard.wav").frames == 10 * RATE_HZ


def test_marks_stand_where_they_were_set():
    """A mark carries its label and the programme's time."""
    source = Script((3, -23.0), lambda: session.send_command(Mark("chorus")), (1, -23.0))
    session = Session(source, fast())
    session.run()
    (mark,) = [event for event in session.timeline().events if event.kind == "marker"]

    assert (mark.text, mark.seconds) == ("chorus", pytest.approx(3.0, abs=0.1))


def test_the_history_has_a_column_for_each_100_ms():
    """Seconds, short-term, integrated and fader, all of one length."""
    session, _ = run((12, -23.0))
    history = session.timeline()

    assert 120 == history.seconds.size == history.short_term.size == history.integrated.size
    assert float(history.short_term[-1]) == pytest.approx(-23.0, abs=0.1)


def test_an_error_of_the_source_reaches_whoever_runs_it():
    """The session does not swallow what a person must know."""

    def broken():
        raise SourceError("the file breaks off at 2.0 s")

    with pytest.raises(SourceError, match="breaks off"):
        run((2, -23.0), broken)


def test_samples_that_are_no_numbers_are_counted_and_the_run_goes_on():
    """NaN does not poison the filters: what follows reads as if nothing had been."""
    poison = Block(np.full((480, 2), np.nan, np.float32))
    _, seen = run((10, -23.0), poison, (10, -23.0))

    assert seen[-1].reading.bad_samples == 960
    assert seen[-1].reading.integrated == pytest.approx(-23.0, abs=0.1)


class StemScript(Script):
    """Two stems side by side: the voice plays the script, the band a tone of its own 6 dB lower."""

    channels = 4

    def blocks(self):
        for place, block in enumerate(super().blocks()):
            t = np.arange(place * STEP, (place + 1) * STEP) / RATE_HZ
            band = (0.5 * np.abs(block.frames).max() * np.sin(2 * np.pi * 700 * t)).astype(np.float32)
            yield Block(np.column_stack([block.frames, band, band]))


MIX = Mix(("voice", "band"), keep=("band",))


def run_stems(*steps):
    seen = []
    session = Session(StemScript(*steps), fast(mix=MIX), outlets=[seen.append])
    session.run()
    return session, seen


@pytest.mark.slow
def test_stems_are_advised_one_by_one_and_the_mix_is_what_is_measured():
    """The kept band stays; the voice goes down so that the sum lands."""
    _, seen = run_stems((20, -21.0))
    voice, band = seen[-1].stems

    assert (voice.name, band.name) == ("voice", "band")
    assert band.move.is_quiet
    assert voice.move.gain_db == pytest.approx(-4.0, abs=0.15)
    assert voice.move.landing == pytest.approx(-23.0, abs=0.15)
    assert seen[-1].reading.integrated == pytest.approx(-20.0, abs=0.2)
    assert {opening.name for opening in seen[-1].build_up} == {"voice", "band"}


def test_a_stem_fader_can_be_told_by_name_and_by_number_and_a_wrong_one_is_answered():
    """Over OSC a surface counts its faders, a script names them."""
    source = StemScript(
        (5, -18.0),
        lambda: session.send_command(StemFaderAt("2", -7.0)),
        (1, -18.0),
        lambda: session.send_command(StemFaderAt("drums", 0.0)),
        (1, -18.0),
    )
    session, seen = None, []
    session = Session(source, fast(mix=MIX), outlets=[seen.append])
    session.run()

    assert seen[-1].stems[1].fader_db == -7.0
    assert seen[-1].notice == "There is no stem drums. Name one of: voice, band."


def test_the_record_of_a_pass_after_a_reset_knows_where_the_stem_faders_stood():
    """Told -6 dB before it and -9 dB in its midst: it began at -6, not at the sum of both."""
    source = StemScript(
        (1, -18.0),
        lambda: session.send_command(StemFaderAt("voice", -6.0)),
        (1, -18.0),
        lambda: session.send_command(Reset()),
        (2, -18.0),
        lambda: session.send_command(StemFaderAt("voice", -9.0)),
        (2, -18.0),
    )
    journal = Journal.open()
    session = Session(source, fast(mix=MIX, journal=journal))
    session.run()
    journal.close()
    newest = max(kept.id for kept in reader.passes())
    stems = resumable(reader.load(newest)).stems

    assert [stems.fader_db[0, 0], stems.fader_db[-1, 0]] == [-6.0, -9.0]


def test_a_stem_fader_without_stems_is_answered():
    """Nothing is measured apart, and the message says how to."""
    source = Script((2, -23.0), lambda: session.send_command(StemFaderAt("voice", 0.0)), (1, -23.0))
    session = Session(source, fast())
    session.run()

    assert "Name them with --stems" in session.snapshot().notice


class Workstation:
    """One that moves at once and reports its fader; its time is the programme's."""

    def __init__(self):
        self.sent = []
        self.fader_db = None
        self.session = None
        self.line = FaderLine(self._move, clock=self.now_s)
        surface = load_surface(shipped_configs() / "surfaces" / "decibels.toml")
        self.remote = RemoteFader(surface, self.line)

    def now_s(self):
        return self.session._frames / RATE_HZ

    def _move(self, position_db):
        self.sent.append(position_db)
        self.fader_db = position_db
        self.session.report_fader(FaderFeedback(position_db, self.now_s()))
        # The line holds its lock while it sends: a real answer comes from another thread, later.
        self.line._guard.confirm(self.now_s(), position_db)

    def says(self, position_db):
        """A step of a script: the workstation reports its fader."""

        def say():
            self.fader_db = position_db
            self.repeat()

        return say

    def repeat(self):
        if self.fader_db is not None:
            at_s = self.line.confirm(self.fader_db)
            self.session.report_fader(FaderFeedback(self.fader_db, at_s))

    def is_asked_to(self, command):
        """A step of a script: a command arrives."""
        return lambda: self.session.send_command(command)


def test_arming_without_a_workstation_is_answered():
    """The person learns which options reach one."""
    source = Script((1, -23.0), lambda: session.send_command(Arm()), (1, -23.0))
    session = Session(source, fast())
    session.run()

    assert "--surface" in session.snapshot().notice
    assert session.snapshot().arm is None


@pytest.mark.slow
def test_an_armed_workstation_follows_and_its_answers_are_its_fader():
    """Arming, feedback, follow: the positions are sent, and the snapshot shows the fader. After 20 s of a
    pass whose length is not known 3.5 of the 5 dB are asked for."""
    workstation = Workstation()
    source = Script(
        workstation.says(-1.0),
        (20, -18.0),
        workstation.is_asked_to(Arm()),
        (0.1, -18.0),
        workstation.says(-1.0),
        (0.2, -18.0),
        workstation.is_asked_to(Follow()),
        (5, -18.0),
    )
    seen = []
    session = workstation.session = Session(source, fast(remote=workstation.remote), outlets=[seen.append])
    session.run()

    assert seen[-1].arm.is_armed
    assert pytest.approx(-4.5, abs=0.1) == workstation.sent[-1] == seen[-1].fader_db
    assert [event.text for event in session.timeline().events if event.kind == "move"] == [
        "fader at −1.0 dB",
        "fader at −4.5 dB",
    ]


@pytest.mark.slow
def test_an_armed_fader_is_not_moved_unasked_once_the_pass_is_over():
    """The next pass begins with another fader; listeners of this one must not be startled."""
    workstation = Workstation()
    steps = (
        (0.1, -18.0),
        workstation.is_asked_to(Arm()),
        (0.1, -18.0),
        workstation.says(0.0),
        (59.8, -18.0),
        (60, -40.0),
    )
    moves = [(0.0, 0.0)]

    def note(snapshot):
        if snapshot.fader_db != moves[-1][1]:
            moves.append((snapshot.reading.seconds, snapshot.fader_db))

    options = RunOptions(load_goal("r128"), fast=True, remote=workstation.remote, duration_s=60.0)
    session = workstation.session = Session(RepeatingScript(workstation, *steps), options, outlets=[note])
    session.run()

    assert len(moves) > 1
    assert max(moves)[0] <= 60.5
    assert session.snapshot().arm.is_armed


class RepeatingScript(Script):
    """The same while the workstation repeats its fader twice a second."""

    def __init__(self, workstation, *steps):
        super().__init__(*steps)
        self.workstation = workstation

    def blocks(self):
        for count, block in enumerate(super().blocks()):
            yield block
            if count % 5 == 4:
                self.workstation.repeat()


def armed_run(*steps, nudge_db=3.0):
    """A run whose fader was armed at -20 dB and sent up, with *steps* half a second after that."""
    workstation = Workstation()
    seen = []
    source = RepeatingScript(
        workstation,
        (5, -40.0),
        workstation.is_asked_to(Arm()),
        (0.1, -40.0),
        workstation.says(-20.0),
        (0.1, -40.0),
        workstation.is_asked_to(Nudge(nudge_db)),
        (0.5, -40.0),
        *(step(workstation) if callable(step) else step for step in steps),
    )
    workstation.session = Session(source, fast(remote=workstation.remote), outlets=[seen.append])
    workstation.session.run()
    return workstation, seen[-1].arm


def test_a_rise_stops_in_the_block_in_which_the_programme_stops():
    """Half a second of rise, then digital silence: not a tenth of a decibel more."""
    workstation, arm = armed_run(
        (5, -math.inf), lambda workstation: workstation.is_asked_to(Nudge(1.0)), (2, -math.inf)
    )

    assert max(workstation.sent) <= -20.0 + 0.5 + 1e-6
    assert "silent" in arm.sentence


def test_a_rise_stops_where_samples_are_no_numbers():
    nan = Block(np.full((STEP, 2), np.nan, np.float32))
    workstation, _ = armed_run(*[nan] * 30)

    assert max(workstation.sent) <= -20.0 + 0.5 + 1e-6


def test_a_rise_stops_when_the_ceiling_is_passed_and_none_begins_above_it():
    workstation, arm = armed_run(
        (2, -0.5), lambda workstation: workstation.is_asked_to(Nudge(3.0)), (2, -0.5)
    )

    assert max(workstation.sent) <= -20.0 + 0.6 + 1e-6
    assert arm.sentence == "Refused: the true peak is over the ceiling."


def test_a_rise_stops_when_the_programme_gets_hot():
    """Short-term over the goal's hot line for its hold: no more from then on."""
    _workstation, arm = armed_run(
        (9, -15.0), lambda workstation: workstation.is_asked_to(Nudge(3.0)), (1, -15.0)
    )

    assert arm.is_armed
    assert arm.sentence.startswith("Refused: the programme is ")


def test_nothing_rises_while_the_measurement_is_paused():
    pause, nudge = (
        (lambda workstation: workstation.is_asked_to(Pause())),
        (lambda workstation: workstation.is_asked_to(Nudge(3.0))),
    )
    workstation, arm = armed_run(pause, (2, -40.0), nudge, (1, -40.0))

    assert max(workstation.sent) <= -20.0 + 0.6 + 1e-6
    assert "paused" in arm.sentence


def test_nobody_but_the_workstation_says_where_its_fader_stands():
    """A script's word neither arms nor counts as a position."""
    workstation = Workstation()
    source = Script(
        (2, -23.0),
        workstation.is_asked_to(Arm()),
        (0.1, -23.0),
        workstation.is_asked_to(FaderAt(0.0)),
        (1, -23.0),
    )
    session = workstation.session = Session(source, fast(remote=workstation.remote))
    session.run()

    assert not session.snapshot().arm.is_armed
    assert workstation.sent == []
    assert "Move it there, or arm it first" in session.snapshot().notice


def test_a_disarm_stops_the_fader_before_the_run_gets_to_it():
    """The command itself still waits when the next position would have left."""
    workstation = Workstation()
    sent = []

    def disarm():
        workstation.session.send_command(Disarm())
        sent.append(len(workstation.sent))
        workstation.remote.step()

    source = Script(
        (2, -23.0),
        workstation.is_asked_to(Arm()),
        (0.1, -23.0),
        workstation.says(0.0),
        (0.1, -23.0),
        workstation.is_asked_to(Nudge(3.0)),
        (1, -23.0),
        disarm,
        (2, -23.0),
    )
    session = workstation.session = Session(source, fast(remote=workstation.remote))
    session.run()

    assert sent[0] > 0
    assert len(workstation.sent) == sent[0]
    assert session.snapshot().arm.sentence == "Disarmed by you."


def test_a_step_on_an_unarmed_workstation_is_left_to_its_own_fader():
    """Its feedback reports it: a step logged by key besides would count twice."""
    workstation = Workstation()
    source = Script(workstation.says(-1.0), (2, -23.0), workstation.is_asked_to(Nudge(0.5)), (1, -23.0))
    session = workstation.session = Session(source, fast(remote=workstation.remote))
    session.run()

    assert session.snapshot().fader_db == -1.0
    assert "arm it first" in session.snapshot().notice


def test_what_is_heard_is_written(tmp_path):
    """Frame for frame, for a later check."""
    recorder = AudioRecorder(tmp_path / "heard.wav", RATE_HZ, 2, waits=True)
    Session(Script((2, -23.0)), fast(recorder=recorder)).run()
    recorder.close()

    assert soundfile.info(tmp_path / "heard.wav").frames == 2 * RATE_HZ


@pytest.mark.slow
def test_the_forecast_can_be_chosen_while_it_plays_and_a_wrong_one_is_answered():
    """The pass on record by its number, then none; what is no pass is said, and changes nothing."""
    journal = Journal.open()
    Session(Script((70, -23.0)), fast(journal=journal)).run()
    journal.close()
    [kept] = reader.passes()
    seen = []
    source = Script(
        lambda: session.send_command(SelectEarlierPass(str(kept.id))),
        (5, -23.0),
        lambda: session.send_command(SelectEarlierPass("../mix.wav")),
        (5, -23.0),
        lambda: session.send_command(SelectEarlierPass("none")),
        (5, -23.0),
    )
    session, seen = None, []
    session = Session(source, fast(), outlets=[seen.append])
    session.run()
    titles = [s.earlier_pass and s.earlier_pass.title for s in seen if s.transport == "measuring"]

    assert (titles[30], seen[30].duration_s) == ("the pass of script", 70.0)
    assert titles[30] == titles[80]
    assert "A forecast is 'last', the number of a pass" in seen[80].notice
    assert (titles[-1], seen[-1].duration_s) == (None, None)
