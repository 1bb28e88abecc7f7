"""Programs run when an alert changes: a queue for each, with a time limit, without blocking the engine."""

from __future__ import annotations

import asyncio
import contextlib
import logging
import math
import os
import shlex
import shutil
import signal
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from sidecar.errors import SettingsError
from sidecar.model.foreign_text import printable
from sidecar.model.readings import ALERT_NAMES, Alert, AlertName, AlertState
from sidecar.model.snapshot import Snapshot
from sidecar.settings.toml import nearest

LIMIT_S = 10.0
"""A program that takes longer is ended, with all that it started and that still is in its group."""
_END_S = 3.0
"""Longest time for the programs still to be run when the sidecar ends."""
_KEPT_BYTES = 2000
"""Bytes of a program's output that are logged."""
_REAPED_S = 1.0
"""Longest wait for a killed program: a child that left its group may still hold its output open."""
_LONGEST_NAME = 60
"""Characters of a command in a sentence."""
_SILENCE = -120.0

When = Literal["on", "latched", "off", "any"]
_WHENS: tuple[When, ...] = ("on", "latched", "off", "any")

_log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class Reaction:
    """One program and the change of an alert that starts it."""

    alert: AlertName
    when: When
    """The state that the alert changes to; ``any`` for each change."""
    words: tuple[str, ...]
    """The program and its arguments."""


def reaction(event: str, command: str) -> Reaction:
    """Returns the reaction of ``--on``: an alert's name, with ``:latched``, ``:off`` or ``:any`` for other
    changes than to on, and a command whose words are split as a shell does, without a shell.

    Raises SettingsError for an unknown alert or state, a command that cannot be split, and a program that
    is not found.
    """
    name, _, state = event.partition(":")
    return Reaction(_alert(name), _when(state or "on", event), _words(command))


def _alert(name: str) -> AlertName:
    for known in ALERT_NAMES:
        if name == known:
            return known
    raise SettingsError(
        f"--on: there is no alert '{name}'.{nearest(name, ALERT_NAMES)} There are: {', '.join(ALERT_NAMES)}."
    )


def _when(state: str, event: str) -> When:
    for known in _WHENS:
        if state == known:
            return known
    raise SettingsError(f"--on {event}: an alert changes to on, latched or off, or any, not to '{state}'.")


def _words(command: str) -> tuple[str, ...]:
    try:
        words = tuple(shlex.split(command))
    except ValueError as error:
        raise SettingsError(f"--on: the command {command!r} cannot be read ({error}). Check it.") from error
    if not words:
        raise SettingsError("--on: the command is empty. Give a program and its arguments.")
    if shutil.which(words[0]) is None:
        raise SettingsError(
            f"--on: the program '{words[0]}' is not found or may not be run. Give its whole path; what only "
            f'a shell understands needs one: sh -c "…".'
        )
    return words


Report = Callable[[str], None]
"""Takes a sentence on a program that failed; called on the engine's loop, returns at once."""


class Reactions:
    """Runs the programs. Used on the engine's loop only.

    Each ``--on`` has a queue of its own, so that no program waits for another one.
    """

    def __init__(
        self,
        reactions: Sequence[Reaction],
        report: Report = lambda _sentence: None,
        *,
        limit_s: float = LIMIT_S,
    ) -> None:
        """report: called with the first of a program's failures in a row."""
        self._queues = [_Queue(each, report, limit_s) for each in reactions]

    def offer(self, snapshot: Snapshot) -> None:
        """Queues the programs for the alerts that changed since the snapshot before; returns at once."""
        for queue in self._queues:
            queue.offer(snapshot)

    async def close(self) -> None:
        """Waits at most _END_S for the programs that run or are queued, then ends them."""
        await asyncio.gather(*(queue.close() for queue in self._queues))


class _Queue:
    """Runs the program of one reaction, once at a time.

    Of the changes that come while it runs only the newest state is kept, and none once that state is over.
    """

    def __init__(self, reaction: Reaction, report: Report, limit_s: float) -> None:
        self._reaction = reaction
        self._report = report
        self._limit_s = limit_s
        self._state: AlertState = "off"
        self._due: tuple[Alert, Snapshot] | None = None
        self._work: asyncio.Task[None] | None = None
        self._has_failed = False

    def offer(self, snapshot: Snapshot) -> None:
        for alert in snapshot.alerts:
            if alert.name == self._reaction.alert and alert.state != self._state:
                self._state = alert.state
                self._due = (alert, snapshot) if self._reaction.when in {alert.state, "any"} else None
        if self._due and (self._work is None or self._work.done()):
            first, self._due = self._due, None  # it runs, whatever follows in this moment
            self._work = asyncio.get_running_loop().create_task(self._run_all(first))

    async def close(self) -> None:
        if self._work is None:
            return
        await asyncio.wait({self._work}, timeout=_END_S)
        self._work.cancel()
        with contextlib.suppress(asyncio.CancelledError):
            await self._work

    async def _run_all(self, change: tuple[Alert, Snapshot] | None) -> None:
        while change:
            try:
                fault = await self._run(_environment(*change))
            except asyncio.CancelledError:
                self._note("ended with the run")
                raise
            self._note(fault)
            change, self._due = self._due, None

    def _note(self, fault: str) -> None:
        """Reports a failure, unless the one before was reported already."""
        if fault and not self._has_failed:
            command = printable(shlex.join(self._reaction.words), _LONGEST_NAME)
            self._report(f"The script for {self._reaction.alert} {fault}: {command}")
        self._has_failed = bool(fault)

    async def _run(self, environment: Mapping[str, str]) -> str:
        """Runs the program once; returns how it failed, or an empty string."""
        words = self._reaction.words
        try:
            process = await asyncio.create_subprocess_exec(
                *words,
                stdin=asyncio.subprocess.DEVNULL,
                stdout=asyncio.subprocess.PIPE,
                stderr=asyncio.subprocess.STDOUT,
                env={**os.environ, **environment},
                start_new_session=True,
            )
        except OSError as error:
            _log.warning("%s could not be run: %s", words[0], error)
            return f"could not be started ({error.strerror or error})"
        output = bytearray()
        fault = ""
        try:
            code = await asyncio.wait_for(_read_output(process, output), self._limit_s)
            outcome = f"ended with {code}"
            if code:
                fault = f"was killed by signal {-code}" if code < 0 else f"failed with exit code {code}"
        except TimeoutError:
            await _end(process)
            outcome = fault = f"ran longer than {self._limit_s:g} s and was stopped"
        except asyncio.CancelledError:
            await _end(process)
            raise
        text = output.decode(errors="replace").strip()
        alert, state = environment["SIDECAR_ALERT"], environment["SIDECAR_STATE"]
        level = logging.WARNING if fault else logging.INFO
        _log.log(level, "%s for %s %s: %s. %s", words[0], alert, state, outcome, text)
        return fault


async def _read_output(process: asyncio.subprocess.Process, output: bytearray) -> int:
    """Reads a program's output to its end, so that it never blocks on writing, and appends the beginning to
    *output*; returns the exit code. Child processes that hold the output open are waited for too."""
    while process.stdout and (chunk := await process.stdout.read(1 << 16)):
        output += chunk[: _KEPT_BYTES - len(output)]
    return await process.wait()


async def _end(process: asyncio.subprocess.Process) -> None:
    """Kills a program with its process group, where the system has process groups."""
    with contextlib.suppress(ProcessLookupError):
        if hasattr(os, "killpg"):
            os.killpg(process.pid, signal.SIGKILL)
        else:
            process.kill()
    with contextlib.suppress(TimeoutError):
        await asyncio.wait_for(process.wait(), _REAPED_S)


def _environment(alert: Alert, snapshot: Snapshot) -> dict[str, str]:
    """Returns the program's environment variables. Figures are as on the OSC wire: dB or seconds, silence is
    -120."""
    reading, goal = snapshot.reading, snapshot.goal
    figures = {
        "SIDECAR_VALUE": alert.value,
        "SIDECAR_LIMIT": alert.limit,
        "SIDECAR_TARGET": goal.target_lufs,
        "SIDECAR_MOMENTARY": reading.momentary,
        "SIDECAR_SHORT_TERM": reading.short_term,
        "SIDECAR_INTEGRATED": reading.integrated,
        "SIDECAR_TRUE_PEAK": reading.max_true_peak,
        "SIDECAR_SECONDS": reading.seconds,
    }
    return {
        "SIDECAR_ALERT": alert.name,
        "SIDECAR_STATE": alert.state,
        "SIDECAR_GOAL": goal.name,
        **{key: f"{value if math.isfinite(value) else _SILENCE:.2f}" for key, value in figures.items()},
    }
