"""One run: source → meter → advice → alerts → outlets. The whole flow is in this file.

The worker thread that calls :meth:`Session.run` owns the meter, the advisor and the alerts. All other
threads read finished snapshots and submit commands; nothing here ever waits for a screen or a network.
"""

from __future__ import annotations

import queue
import time
from collections.abc import Callable, Sequence
from concurrent.futures import Future
from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING

from sidecar.errors import SettingsError, SidecarError
from sidecar.journal.record import FaderReport, Pass
from sidecar.model import gaps
from sidecar.model.commands import (
    Acknowledge,
    Command,
    Continue,
    FaderAt,
    FaderCommand,
    Mark,
    MarkDialogue,
    Pause,
    Reset,
    ResetPeaks,
    SelectEarlierPass,
    SelectGoal,
    Start,
    StemFaderAt,
)
from sidecar.model.foreign_text import printable
from sidecar.model.readings import Reading
from sidecar.model.snapshot import (
    COMPILING,
    Event,
    EventKind,
    FaderFeedback,
    FaderTouch,
    Outlet,
    Snapshot,
    Target,
    Timeline,
    Transport,
)
from sidecar.run.advising import AdviceSchedule
from sidecar.run.alerting import AlertMonitor
from sidecar.run.background_loader import BackgroundLoader
from sidecar.run.command_queue import CommandQueue, Request, UnforeseenFaults
from sidecar.run.dialogue import BEGINS, ENDS, RunDialogue
from sidecar.run.earlier_passes import on_record
from sidecar.run.first_sound import FirstSound, is_sound
from sidecar.run.master_fader import MasterFader
from sidecar.run.options import RunOptions
from sidecar.run.pass_log import PassLog
from sidecar.run.past_passes import PastPasses
from sidecar.run.stem_faders import StemFaders
from sidecar.settings.goals import Goal, all_goals, goal_named
from sidecar.sources import Block, PlayedSource, Source, StemFaderSource, TimecodeSource

if TYPE_CHECKING:
    from sidecar.advice.programme.advisor import Earlier
    from sidecar.journal.resume import Resumable
    from sidecar.run.metering import Metering

_WAITING_AFTER_S = 1.0
_LONGEST_MARK = 200
"""Characters of a label."""
_NO_ADVICE = (FaderAt, StemFaderAt, Mark, MarkDialogue, Acknowledge, ResetPeaks)
"""Commands that do not renew the advice: a surface may report a fader twenty times a second, all day."""


class Session:
    """One run, and the feed that a screen draws it from."""

    def __init__(
        self,
        source: Source,
        options: RunOptions,
        *,
        outlets: Sequence[Outlet] = (),
        targets: Callable[[], tuple[Target, ...]] = tuple,
    ) -> None:
        """targets: returns the state of sending to each OSC target."""
        self._source = source
        self._timecoded = source if isinstance(source, TimecodeSource) else None
        self._goal = options.goal
        self._layout = options.layout
        self._layout_from = options.layout_from
        self._outlets = outlets
        self._targets = targets
        self._frames = 0
        self._clock: Callable[[], float] = time.monotonic
        if options.fast:
            self._clock = lambda: self._frames / source.rate_hz
        self._period_s = 1.0 / options.update_hz
        self._is_length_given = options.duration_s is not None
        duration_s = source.duration_s if options.duration_s is None else options.duration_s
        self._stems = options.mix.names if options.mix else ()
        self._recorder = options.recorder
        # A length that was given is counted from the sound on, where a person starts it at any moment.
        is_started_by_hand = self._is_length_given and source.duration_s is None
        self._from_first_sound = options.from_first_sound or is_started_by_hand
        self._first_sound: FirstSound | None = None
        """Holds audio back before the first sound of the pass; None once it has come, or where all counts."""
        self._has_sound = False
        """Whether this pass has had sound above the absolute gate."""
        stem_faders = StemFaders(options.mix, options.goal) if options.mix else None
        self._advice = AdviceSchedule(
            options.goal,
            duration_s,
            options.earlier,
            stem_faders,
            stray_db=options.stray_db,
            beside=not options.fast,
        )
        self._dialogue = RunDialogue(options.mix, options.speech)
        self._pass_log = PassLog(options.journal, options.resumed)
        self._past_passes = PastPasses(is_recorded=options.journal is not None, beside=not options.fast)
        note = self._pass_log.record_event
        self._fader = MasterFader(
            source,
            self._advice,
            lambda text: note("move", text),
            self._pass_log.record_fader_report,
            options.remote,
        )
        self._alerts = AlertMonitor(options.goal, lambda name: note("alert", name))
        self._commands = CommandQueue(self._fader.revoke)
        self._goals = BackgroundLoader(goal_named, beside=not options.fast)
        self._earlier_loader = BackgroundLoader(on_record, beside=not options.fast)
        self._faults = UnforeseenFaults()
        self._feedback: queue.SimpleQueue[FaderFeedback | FaderTouch] = queue.SimpleQueue()
        self._script_faults: queue.SimpleQueue[str] = queue.SimpleQueue()
        self._script_fault = ""
        self._stopped = False
        self._began_s = self._audio_s = self._update_due_s = self._lost_s = 0.0
        self._notice = ""
        self._snapshot = self._make_snapshot("preparing", Reading())

    # --- the feed: any thread -----------------------------------------------------------------

    def snapshot(self) -> Snapshot:
        return self._snapshot

    def timeline(self) -> Timeline:
        return replace(self._pass_log.timeline(), dialogue=self._dialogue.flags())

    def events(self) -> tuple[Event, ...]:
        """Returns what has happened in the pass so far, oldest first; as cheap as can be."""
        return self._pass_log.events()

    def goals(self) -> Sequence[Goal]:
        return all_goals()

    @property
    def pass_id(self) -> int | None:
        """The number on record of the pass that was measured last; None where none of it was written."""
        return self._pass_log.pass_id

    def send_command(self, command: Command) -> None:
        """Submits a command. ``disarm`` stops a moving fader before this returns."""
        outcome = self.submit(command)
        if outcome.done():
            self._notice = outcome.result() or self._notice

    def submit(self, command: Command) -> Future[str]:
        """Returns the result of *command*: why it was refused, as a sentence; empty where it was carried out.

        The future is set once a snapshot that shows the result has been passed to the outlets. Its callbacks
        run in the measuring thread and must return at once.
        """
        return self._commands.submit(command)

    def report_fader(self, feedback: FaderFeedback | FaderTouch) -> None:
        """Queues the position of a fader, or a touch, as reported by the workstation."""
        self._feedback.put(feedback)

    def report_script_fault(self, sentence: str) -> bool:
        """Queues the sentence on a script that failed; returns whether a snapshot can still show it."""
        self._script_faults.put(sentence)
        return self._snapshot.transport != "ended"

    def stop(self) -> None:
        """Makes :meth:`run` return after the block in progress."""
        self._stopped = True
        self._source.close()

    def fail(self, reason: str) -> None:
        """Publishes a last snapshot whose notice is *reason*, the cause of the end."""
        self._notice = reason
        self._publish("ended", self._snapshot.reading)

    # --- the run: the worker's thread ---------------------------------------------------------

    def run(self, for_s: float | None = None) -> None:
        """Measures until the source ends, :meth:`stop` is called or *for_s* seconds have passed.

        Raises SourceError when the audio cannot be read, DeviceLost when it is gone for good, and
        SignalError when it cannot be measured.
        """
        self._publish("preparing", Reading())
        meter = self._compiled_meter()
        self._notice = self._doubt_on_layout()
        self._await_sound()
        self._past_passes.begin_pass(self._clock(), is_first=True)
        self._resume_pass(self._pass_log.begin_pass(self._about()), meter)
        try:
            self._measure_blocks(meter, for_s)
            self._end(meter)
        finally:
            self._fader.close()
            reading = meter.reading()
            self._pass_log.end_pass(reading, self._dialogue.reading(reading.integrated))

    def _measure_blocks(self, meter: Metering, for_s: float | None) -> None:
        self._began_s = self._audio_s = self._update_due_s = self._clock()
        for block in self._source.blocks():
            self._report_faders()
            self._run_commands(meter)
            reading = self._measure_block(block, meter)
            self._fader.step()
            self._update(meter, reading)
            if self._stopped or (for_s is not None and self._clock() - self._began_s >= for_s):
                break
        self._source.close()

    def _compiled_meter(self) -> Metering:
        """Returns a meter with compiled kernels, and says so where they are compiled now."""
        from sidecar.native.kernels import compiling_reported

        with compiling_reported(self._note_compiling):
            meter = self._new_meter()
        self._layout = meter.layout
        return meter

    def _note_compiling(self, at: int, of: int) -> None:
        self._notice = COMPILING.format(at=at, of=of)
        self._publish("preparing", Reading())

    def _new_meter(self) -> Metering:
        """Returns a meter for the source as it is now. Imported here because loading the compiler is slow."""
        from sidecar.run.metering import Metering

        return Metering(self._source.rate_hz, self._source.channels, self._layout, self._stems)

    def _doubt_on_layout(self) -> str:
        """Returns a sentence where the loudspeakers of more than two channels are assumed; else nothing."""
        from sidecar.meter.layouts import assumed_loudspeakers

        assumed = assumed_loudspeakers(self._layout or "", self._layout_from, self._source.channels)
        if self._stems or not assumed:
            return ""
        return f"The channels are assumed to be {assumed}. Give --layout where that is wrong."

    def _await_sound(self) -> None:
        """Begins a pass that has had no sound yet."""
        self._has_sound = False
        self._first_sound = FirstSound(self._new_meter()) if self._from_first_sound else None

    def _about(self) -> Pass:
        form = (self._source.rate_hz, self._layout or "")
        return Pass(self._source.title, *form, self._goal, self._stems, self._layout_from)

    def _resume_pass(self, before: Resumable | None, meter: Metering) -> None:
        """Restores the state of an interrupted pass; None leaves a new pass."""
        if before is None:
            return
        meter.restore(before.energies, before.reading, before.cuts)
        self._advice.restore(before)
        self._dialogue.restore(before)
        self._has_sound, self._first_sound = True, None
        self._lost_s = before.dropped_samples / meter.rate_hz
        self._pass_log.record_event("gap", "continued")

    def _measure_block(self, block: Block, meter: Metering) -> Reading | None:
        """Returns what the meter reads then, where 100 ms got full."""
        if self._source.rate_hz != meter.rate_hz:
            meter.change_rate(self._source.rate_hz, *self._advice.advisor.metered)
            self._cut("gap", f"at {self._source.rate_hz} Hz from here on")
            self._first_sound = self._first_sound and FirstSound(self._new_meter())
        self._frames += len(block.frames)
        is_halted = meter.is_paused and isinstance(self._source, PlayedSource)
        if len(block.frames) or is_halted:  # what was halted on purpose has lost nothing
            self._audio_s = self._clock()
        if self._first_sound and not meter.is_paused:
            block = self._from_first_sound_on(block, self._first_sound)
        if self._recorder:
            self._recorder.record_frames(block.frames, block.lost, self._source.rate_hz)
        if block.lost or block.slept_s or block.stopped_s:
            self._note_gap(block, meter)
        self._notice = block.fault or self._notice
        if len(block.frames) == 0:
            return None
        mix = meter.push(block.frames)
        taken = meter.take_blocks()
        if not meter.is_paused:
            self._dialogue.push_frames(mix, meter)
        if taken.mix.energy.size:
            self._fader.report_blocks(taken.mix.energy, taken.mix.true_peak, self._goal)
        self._fader.report_audio(block.frames)
        if taken.mix.energy.size == 0:
            return None
        self._has_sound = self._has_sound or is_sound(taken.mix.energy)
        self._alerts.push_true_peaks(taken.mix.true_peak)
        self._advice.push_blocks(taken, block)
        self._dialogue.push_blocks(taken)
        reading, fader_db = meter.reading(), self._advice.advisor.fader_db
        dialogue = self._dialogue.take_record(reading.integrated)
        self._pass_log.record_blocks(taken, reading, fader_db, self._advice.stem_gains_db, dialogue)
        return reading

    def _from_first_sound_on(self, block: Block, first_sound: FirstSound) -> Block:
        """Returns the block without what comes before the first sound of the pass."""
        self._disarm_after(block)
        frames = block.frames
        if len(frames):
            self._fader.report_audio(frames)
            frames = first_sound.push_frames(frames)
        if len(frames):
            self._first_sound = None
        return replace(block, frames=frames, lost=0, slept_s=0.0, stopped_s=0.0)

    def _disarm_after(self, block: Block) -> None:
        """Disarms after a standstill: the operator may have left."""
        if block.slept_s:
            self._fader.stood_still("the machine slept")
        elif block.stopped_s:
            self._fader.stood_still("the sidecar was stopped")

    def _note_gap(self, block: Block, meter: Metering) -> None:
        lost_s = block.lost / self._source.rate_hz
        self._lost_s += lost_s
        self._notice = gaps.in_a_sentence(lost_s, block.slept_s, block.stopped_s)
        self._cut("gap", gaps.in_course(lost_s, block.slept_s, block.stopped_s), lost_s)
        self._disarm_after(block)
        meter.splice()

    def _cut(self, kind: EventKind, text: str, lost_s: float = 0.0) -> None:
        self._advice.splice()
        self._dialogue.cut()
        self._pass_log.record_cut(lost_s)
        self._pass_log.record_event(kind, text)

    def _update(self, meter: Metering, latest: Reading | None) -> None:
        """Renews advice and alerts and publishes a snapshot, when one is due. latest: what the meter reads,
        where that is known."""
        now_s = self._clock()
        if now_s < self._update_due_s:
            return
        behind = now_s - self._update_due_s > 1.0
        self._update_due_s = now_s + self._period_s if behind else self._update_due_s + self._period_s
        reading = latest or meter.reading()
        self._advice.update_advice(now_s, at_rest=meter.is_paused)
        self._fader.look(now_s, reading.seconds)
        is_quiet = meter.is_paused or self._first_sound is not None  # silence is expected then
        self._alerts.update(now_s, reading, now_s - self._audio_s, paused=is_quiet)
        self._past_passes.update(now_s)
        self._fader.report_state(self._alerts.alerts, is_paused=meter.is_paused)
        self._publish(self._transport(now_s, is_paused=meter.is_paused), reading)

    def _transport(self, now_s: float, *, is_paused: bool) -> Transport:
        if is_paused:
            return "paused"
        if now_s - self._audio_s > _WAITING_AFTER_S or self._frames == 0:
            return "waiting"
        return "measuring" if self._has_sound else "ready"

    def _publish(self, transport: Transport, reading: Reading) -> None:
        self._snapshot = self._make_snapshot(transport, reading)
        for outlet in self._outlets:
            outlet(self._snapshot)
        self._commands.answer()

    def _make_snapshot(self, transport: Transport, reading: Reading) -> Snapshot:
        source, advice = self._source, self._advice
        return Snapshot(
            transport=transport,
            goal=self._goal,
            reading=reading,
            advice=advice.advice,
            alerts=self._alerts.alerts,
            fader_db=advice.advisor.fader_db,
            controls_fader=self._fader.is_held,
            source=printable(source.title),
            rate_hz=source.rate_hz,
            layout=self._layout or "",
            duration_s=advice.advisor.duration_s,
            dropped_samples=round(self._lost_s * source.rate_hz),
            targets=self._targets(),
            earlier_pass=advice.earlier_pass,
            arm=self._fader.arm_state,
            stems=advice.stems,
            build_up=advice.build_up,
            rides=advice.rides,
            rides_reason=advice.rides_reason,
            passes=self._past_passes.latest,
            dialogue=self._dialogue.reading(reading.integrated),
            is_dialogue_marked=self._dialogue.is_marked,
            timecode_start_s=self._timecode_start_s(reading),
            beat=int(self._clock() - self._began_s),
            script_fault=printable(self._script_fault),
            notice=printable(
                self._pass_log.fault or (self._recorder.fault if self._recorder else "") or self._notice
            ),
        )

    def _timecode_start_s(self, reading: Reading) -> float | None:
        """Time of day of second 0 of the programme: of now, less what was measured since the reset."""
        if self._timecoded is None or self._timecoded.timecode_s is None:
            return None
        return round(self._timecoded.timecode_s + self._frames / self._source.rate_hz - reading.seconds, 3)

    def _end(self, meter: Metering) -> None:
        """Flushes the filters, renews the advice on the whole pass and publishes the last snapshot."""
        if not self._stopped and self._source.duration_s is not None:
            meter.finish()
        self._dialogue.cut()
        now_s, reading = self._clock(), meter.reading()
        self._advice.ask_soon()
        self._advice.update_advice(now_s, at_rest=True)
        self._advice.end_pass()
        self._alerts.update(now_s, reading, now_s - self._audio_s, paused=meter.is_paused, ended=True)
        self._commands.close("The run has ended.")
        self._publish("ended", reading)

    # --- commands -----------------------------------------------------------------------------

    def _report_faders(self) -> None:
        while not self._feedback.empty():
            feedback = self._feedback.get()
            if isinstance(feedback, FaderTouch):
                self._fader.report_touch()
                continue
            request = Request(FaderAt(feedback.position_db))
            self._attempt(request, partial(self._report_feedback, feedback))

    def _report_feedback(self, feedback: FaderFeedback) -> str:
        if not feedback.stem:
            self._fader.report_fader(feedback, self._clock())
        elif self._advice.stem_faders:
            self._report_stem(feedback.stem, feedback.position_db)
        return ""

    def _run_commands(self, meter: Metering) -> None:
        for request, goal in self._goals.finished():
            self._attempt(request, partial(self._use_loaded_goal, goal))
        for request, earlier in self._earlier_loader.finished():
            self._attempt(request, partial(self._use_loaded_pass, earlier))
        while not self._script_faults.empty():
            self._notice = self._script_fault = self._script_faults.get()
        for request in self._commands.turn():
            if not isinstance(request.command, _NO_ADVICE):
                self._advice.ask_soon()
            self._attempt(request, partial(self._execute, request, meter))

    def _attempt(self, request: Request, action: Callable[[], str | None]) -> None:
        """Carries out a command and reports an error in it as its result; the run goes on.

        action: returns why the command was refused, as a sentence; empty where it was carried out, None where
        the result is not known yet.
        """
        try:
            why = action()
        except SidecarError as error:
            why = str(error)
        except Exception as error:
            why = self._faults.describe(request.command, error)
        if why is None:
            return
        if (
            self._fader.arm_state is None or why != self._fader.arm_state.sentence
        ):  # the arm state has it already
            self._notice = why or self._notice
        self._commands.conclude(request, why)

    def _execute(self, request: Request, meter: Metering) -> str | None:
        """See :meth:`_attempt` for what is returned."""
        command = request.command
        if isinstance(command, FaderCommand):
            return self._fader.carry_out(command, self._clock())
        if isinstance(command, SelectGoal):
            self._goals.load(request, command.name)
            return None
        if isinstance(command, SelectEarlierPass):
            self._earlier_loader.load(request, command.name)
            return None
        self._execute_at_once(command, meter)
        return ""

    def _execute_at_once(
        self,
        command: Start
        | Pause
        | Continue
        | Reset
        | ResetPeaks
        | Mark
        | MarkDialogue
        | Acknowledge
        | StemFaderAt,
        meter: Metering,
    ) -> None:
        match command:
            case Start() | Continue():
                self._continue(meter)
            case Pause():
                self._pause(meter)
            case Reset():
                self._reset(meter)
            case ResetPeaks():
                meter.reset_peaks()
            case Mark(label):
                self._pass_log.record_mark(printable(label, _LONGEST_MARK))
            case MarkDialogue(is_on):
                self._mark_dialogue(is_on=is_on)
            case Acknowledge():
                self._alerts.acknowledge()
                self._script_fault = ""
            case StemFaderAt(stem, position_db):
                self._report_stem(stem, position_db)

    def _mark_dialogue(self, *, is_on: bool) -> None:
        self._dialogue.check_can_be_marked()
        if is_on != self._dialogue.is_marked:
            self._pass_log.record_mark(BEGINS if is_on else ENDS, kind="dialogue")
            self._dialogue.mark(is_on=is_on)

    def _continue(self, meter: Metering) -> None:
        if meter.is_paused:
            meter.resume()
            if isinstance(self._source, PlayedSource):
                self._source.go_on()
            self._expect_rest(self._advice.advisor.seconds)
            self._cut("pause", "continued")

    def _pause(self, meter: Metering) -> None:
        if not meter.is_paused:
            meter.pause()
            if isinstance(self._source, PlayedSource):
                self._source.halt()
            self._pass_log.record_event("pause", "paused")

    def _expect_rest(self, measured_s: float) -> None:
        """Takes the pass to end with the source, where its length was not given."""
        if self._is_length_given or not isinstance(self._source, PlayedSource):
            return
        left_s = self._source.left_s
        if left_s:
            self._advice.expect_length(measured_s + left_s)

    def _use_loaded_goal(self, goal: Future[Goal]) -> str:
        self._use_goal(goal.result())
        return ""

    def _use_loaded_pass(self, earlier: Future[Earlier | None]) -> str:
        self._advice.use_earlier_pass(earlier.result())
        return ""

    def _reset(self, meter: Metering) -> None:
        self._past_passes.begin_pass(self._clock(), is_first=False)
        reading = meter.reading()
        dialogue = self._dialogue.reading(reading.integrated)
        self._pass_log.begin_next_pass(self._about(), reading, self._advice.stem_reports, dialogue)
        meter.reset()
        self._dialogue.reset()
        self._await_sound()
        self._expect_rest(0.0)
        self._fader.begin_anew(f"the pass of {self._source.title}")
        self._alerts.reset()
        self._notice = ""

    def _use_goal(self, goal: Goal) -> None:
        self._goal = goal
        self._advice.use_goal(goal)
        self._alerts.use_goal(goal)
        self._pass_log.record_goal(goal)
        self._pass_log.record_event("goal", goal.name)

    def _report_stem(self, stem: str, position_db: float) -> None:
        faders = self._advice.stem_faders
        if faders is None:
            raise SettingsError("This run has no stems. Name them with --stems.")
        name = faders.report_position(stem, position_db)
        self._pass_log.record_fader_report(
            FaderReport(self._pass_log.seconds, position_db, is_position=True, stem=name)
        )
        if isinstance(self._source, StemFaderSource):
            self._source.move_stem(name, position_db)
