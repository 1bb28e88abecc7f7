"""What ``live`` and ``rehearse`` share: a session with its outlets, on the screen or in lines."""

from __future__ import annotations

import argparse
import contextlib
import socket
import sys
import threading
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from rich.console import Console

from sidecar.cli.arguments.parsing import LISTEN_PORT
from sidecar.cli.run import screen
from sidecar.cli.run.closing import closing_lines, closing_object
from sidecar.cli.run.discovery import discovery
from sidecar.cli.run.fader_link import FaderLink, Reach, no_fader
from sidecar.cli.run.lines import JsonLines, PlainLines, SpokenLine, unless_it_never_began
from sidecar.cli.run.outputs import effects
from sidecar.cli.run.stems import detects_dialogue
from sidecar.cli.run.worker import run_beside, wait
from sidecar.cli.terminal.first_run import compiling_beside, compiling_is_said
from sidecar.cli.terminal.log import kept_log
from sidecar.cli.terminal.nonblocking import nonblocking_output
from sidecar.cli.terminal.shutdown import Shutdown
from sidecar.errors import OutputError, RecordError, SettingsError
from sidecar.journal import reader
from sidecar.journal.record import Record
from sidecar.journal.writer import Journal
from sidecar.model.foreign_text import printable, printable_json
from sidecar.model.snapshot import Event, Outlet
from sidecar.osc.access import network
from sidecar.osc.sockets.destinations import resolve
from sidecar.osc.sockets.udp import OscPort, bind
from sidecar.run.earlier_passes import load_earlier
from sidecar.run.event_loop import EventLoop
from sidecar.run.options import SCREEN_HZ, UPDATE_HZ, RunOptions
from sidecar.run.remote_fader import RemoteFader
from sidecar.run.session import Session
from sidecar.run.stem_faders import Mix
from sidecar.settings.goals import USUAL_GOAL, Goal, goal_named, load_goal
from sidecar.settings.taste import remembered
from sidecar.sources import Source

if TYPE_CHECKING:
    from sidecar.meter.layouts import LayoutOrigin
    from sidecar.run.audio_recorder import AudioRecorder
    from sidecar.speech.model import SpeechModel
    from tui.controller import RunKind

_SLOWEST_HZ, _FASTEST_HZ = 1.0, 50.0


def run_session(
    source: Source,
    options: argparse.Namespace,
    *,
    layout: tuple[str | None, LayoutOrigin],
    mix: Mix | None = None,
    reach: Reach = no_fader,
    kind: RunKind = "live",
) -> float | None:
    """Runs *source* to its end, or until the person quits; returns the fader position, dB, that it is to be
    played again from; None where it is not.

    layout: as the meter takes it, and where it comes from. kind: what the screen shows.
    """
    has_screen = _has_screen(options)
    try:
        if mix:
            mix.check_channels(source.channels)
        if has_screen:
            screen.check()
        with kept_log(options.log_level), contextlib.ExitStack() as closing:
            if options.json and not has_screen:  # the lines for people say so themselves
                closing.enter_context(compiling_is_said(Console(stderr=True), "meter"))
            else:
                closing.enter_context(compiling_beside("meter"))
            session = _session(source, options, layout, mix, reach, closing)
            try:
                if has_screen:
                    return _run_on_screen(session, options, closing, kind)
                run_beside(session, options.for_s, wait, closing, has_screen=False)
            finally:
                _print_closing(session, as_json=options.json and not has_screen)
    finally:
        source.close()
    return None


def _print_closing(session: Session, *, as_json: bool) -> None:
    """Prints what stays of the pass, whatever ended it; no one may be there to read it."""
    snapshot, pass_id = session.snapshot(), session.pass_id
    lines = closing_lines(snapshot, pass_id)
    if as_json:
        found = closing_object(snapshot, pass_id)
        lines = (printable_json(found),) if found else ()
    with contextlib.suppress(OSError):
        for line in lines:
            print(line, flush=True)


def _has_screen(options: argparse.Namespace) -> bool:
    return not (options.no_screen or options.plain)


def _session(
    source: Source,
    options: argparse.Namespace,
    layout: tuple[str | None, LayoutOrigin],
    mix: Mix | None,
    reach: Reach,
    closing: contextlib.ExitStack,
) -> Session:
    """A session with all that goes with it; *closing* ends them in the opposite order."""
    if not _SLOWEST_HZ <= options.osc_rate <= _FASTEST_HZ:
        raise SettingsError(
            f"--osc-rate: give {_SLOWEST_HZ:g} to {_FASTEST_HZ:g} Hz, not {options.osc_rate:g}."
        )
    journal, resumed = _record(options, closing)
    goal = _goal(options, resumed)
    earlier = (
        None if options.earlier is None else load_earlier(options.earlier, getattr(options, "layout", None))
    )
    targets = [resolve(text) for text in options.osc or [f"127.0.0.1:{LISTEN_PORT}"]]
    server = closing.enter_context(bind(options.osc_bind, options.osc_port))
    streams = _streams(options, closing)
    reached = closing.enter_context(reach(server))
    engine = closing.enter_context(EventLoop())
    port = OscPort(
        targets,
        update_hz=options.osc_rate,
        allow=[network(text) for text in options.osc_allow or ()],
        link=reached.link if reached else None,
        root=options.osc_root,
    )
    outlets: list[Outlet] = [lambda snapshot: engine.soon(port.offer, snapshot)]
    outlets += closing.enter_context(discovery(engine, options, server))
    more = closing.enter_context(
        effects(
            engine,
            options,
            reached,
            lambda sentence: session.report_script_fault(sentence),  # noqa: PLW0108 - it is made below
        )
    )
    outlets += more.outlets
    outlets += _lines(options, closing, lambda: session.events())  # noqa: PLW0108 - it is made below
    session = Session(
        source,
        RunOptions(
            goal,
            layout=layout[0],
            layout_from=layout[1],
            duration_s=_seconds(options.duration),
            stray_db=options.stray,
            earlier=earlier,
            mix=mix,
            speech=_speech_model(options),
            remote=_remote(reached),
            recorder=_recorder(source, options, closing),
            journal=journal,
            resumed=resumed,
            from_first_sound=options.from_first_sound,
            fast=options.pace != "real",
            update_hz=max(options.osc_rate, SCREEN_HZ if _has_screen(options) else UPDATE_HZ),
        ),
        outlets=outlets,
        targets=lambda: (*port.status(), *more.status()),
    )
    engine.run(port.open(server, session.submit, streams, report_fader=session.report_fader, feed=session))
    closing.callback(lambda: engine.run(port.close()))
    return session


def _goal(options: argparse.Namespace, resumed: Record | None) -> Goal:
    """Returns the goal that is asked for, else that of the pass to resume, else the one that was chosen last
    on the screen, where a screen shows it."""
    if options.goal:
        return load_goal(options.goal)
    if resumed:
        return resumed.summary.about.goal
    if _has_screen(options) and (name := remembered().goal):
        with contextlib.suppress(SettingsError):  # its file may be gone
            return goal_named(name)
    return load_goal(USUAL_GOAL)


def _lines(
    options: argparse.Namespace, closing: contextlib.ExitStack, events: Callable[[], tuple[Event, ...]]
) -> list[Outlet]:
    """Returns the outlets that print lines, without the screen. events: those of the pass so far."""
    if not _has_screen(options) and options.pace != "fast":
        closing.enter_context(nonblocking_output())  # a file source can wait for the output, a device cannot
    if options.plain:
        return [unless_it_never_began(SpokenLine())]
    if options.no_screen:
        return [unless_it_never_began(JsonLines(events) if options.json else PlainLines())]
    return []


def _streams(options: argparse.Namespace, closing: contextlib.ExitStack) -> socket.socket | None:
    if options.osc_tcp is None:
        return None
    return closing.enter_context(bind(options.osc_bind, options.osc_tcp, "--osc-tcp", socket.SOCK_STREAM))


def _remote(reached: FaderLink | None) -> RemoteFader | None:
    if reached is None:
        return None
    return RemoteFader(reached.link.surface, reached.link.fader, at_once=reached.at_once)


def _record(
    options: argparse.Namespace, closing: contextlib.ExitStack
) -> tuple[Journal | None, Record | None]:
    """Returns the record that the pass is written to, and the pass to resume."""
    resumed = None
    if options.resume:
        resumed = reader.to_resume()
        if resumed is None:
            raise RecordError("No pass on record to resume: leave out --resume.")
    if options.no_record:
        return None, resumed
    journal = Journal.open()
    closing.callback(_close, journal)
    return journal, resumed


def _close(journal: Journal) -> None:
    """Writes the rest, and reports it where the disk still takes nothing."""
    journal.close()
    if journal.fault:
        print(f"sidecar: {printable(journal.fault)}", file=sys.stderr)


def _speech_model(options: argparse.Namespace) -> SpeechModel | None:
    """Returns what finds speech in the mix; None where that is not asked for."""
    if not detects_dialogue(options):
        return None
    from sidecar.speech.model import PackagedModel

    return PackagedModel()


def _recorder(
    source: Source, options: argparse.Namespace, closing: contextlib.ExitStack
) -> AudioRecorder | None:
    if options.write is None:
        return None
    from sidecar.run.audio_recorder import AudioRecorder

    recorder = AudioRecorder(
        Path(options.write), source.rate_hz, source.channels, waits=options.pace == "fast"
    )
    closing.push(partial(_close_recorder, recorder))
    return recorder


def _close_recorder(recorder: AudioRecorder, failed: type[BaseException] | None, *_: object) -> None:
    """Writes the rest. Raises OutputError where the file is incomplete, unless the run itself *failed*."""
    recorder.close()
    if not recorder.fault:
        return
    if failed is None:
        raise OutputError(recorder.fault)
    print(f"sidecar: {printable(recorder.fault)}", file=sys.stderr)


def _run_on_screen(
    session: Session, options: argparse.Namespace, closing: contextlib.ExitStack, kind: RunKind
) -> float | None:
    """Returns the fader position that the run is to be played again from; None where it is not."""
    again_from_db: list[float | None] = [None]

    def show(_worker: threading.Thread, asked: Shutdown) -> None:
        again_from_db.append(screen.show(session, options, kind, lambda: asked.is_asked))

    run_beside(session, options.for_s, show, closing, has_screen=True)
    return again_from_db[-1]


def _seconds(text: str | None) -> float | None:
    """Returns a duration such as 210, 3:30 or 1:02:03 in seconds."""
    if text is None:
        return None
    parts = text.split(":")
    try:
        seconds = sum(float(part) * 60.0**place for place, part in enumerate(reversed(parts)))
    except ValueError:
        seconds = -1.0
    if not 0.0 < seconds < float("inf") or len(parts) > 3:
        raise SettingsError(f"--duration: give seconds, M:SS or H:MM:SS, such as 3:30, not '{text}'.")
    return seconds
