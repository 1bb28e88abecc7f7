"""Commands on their way to the thread that measures: bounded in number, and each is answered once."""

from __future__ import annotations

import logging
import threading
import time
from collections import deque
from collections.abc import Callable, Iterator
from concurrent.futures import Future
from dataclasses import dataclass, field

from sidecar.model.commands import Arm, Command, Disarm

MOST_WAITING = 256
"""Ours: half a second of what one sender may say (``access.MESSAGES_HZ``)."""
TURN_S = 0.02
"""Commands of one turn take no longer, so that audio is not kept waiting: the others wait for the next."""
_MOST_LOGGED = 100

_log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class Request:
    """A command and what becomes of it."""

    command: Command
    outcome: Future[str] = field(default_factory=Future)
    """Why it was not carried out, in a sentence; empty where it was."""


class CommandQueue:
    """Any thread puts commands in; one carries them out, some at a time."""

    def __init__(self, revoke: Callable[[], object]) -> None:
        """revoke: stops a moving fader at once, in the thread that submits ``disarm``."""
        self._revoke = revoke
        self._lock = threading.Lock()
        self._submitting = threading.Lock()
        self._disarm_waits = False
        self._waiting: deque[Request] = deque()
        self._closed = ""
        self._concluded: list[tuple[Future[str], str]] = []
        """Results of the commands that were carried out or refused since the last snapshot."""

    def submit(self, command: Command) -> Future[str]:
        """Returns the result of *command*, which is set by :meth:`answer`: why it was refused, as a sentence;
        empty where it was carried out."""
        request = Request(command)
        with self._submitting:
            if isinstance(command, Disarm) and self._disarm_waits:
                request.outcome.set_result("")
                return request.outcome
            if isinstance(command, Disarm):
                self._disarm_waits = True
                self._revoke()
            elif isinstance(command, Arm):
                self._disarm_waits = False
            self._put(request)
        return request.outcome

    def _put(self, request: Request) -> None:
        """Adds a command behind the others. Where too many wait it is refused at once; a disarm never is."""
        with self._lock:
            is_full = len(self._waiting) >= MOST_WAITING and not isinstance(request.command, Disarm)
            refusal = self._closed or ("Too many commands wait. Send it again." if is_full else "")
            if not refusal:
                self._waiting.append(request)
        if refusal:
            request.outcome.set_result(refusal)

    def turn(self) -> Iterator[Request]:
        """The next commands in their order: at least one, and no more when :data:`TURN_S` is over."""
        end_s = time.monotonic() + TURN_S
        while self._waiting:
            request = self._waiting.popleft()
            if isinstance(request.command, Disarm):
                with self._submitting:
                    self._disarm_waits = False
            yield request
            if time.monotonic() >= end_s:
                return

    def conclude(self, request: Request, why: str) -> None:
        """Keeps the result of a command until it is shown."""
        self._concluded.append((request.outcome, why))

    def answer(self) -> None:
        """Sets the results of the commands concluded so far: a snapshot has shown them."""
        concluded, self._concluded = self._concluded, []
        for outcome, why in concluded:
            outcome.set_result(why)

    def close(self, refusal: str) -> None:
        """Refuses those that wait and all later ones."""
        with self._lock:
            self._closed = refusal
        while self._waiting:
            self._waiting.popleft().outcome.set_result(refusal)


class UnforeseenFaults:
    """Puts failures that no code expects into words, and into the log once each."""

    def __init__(self) -> None:
        self._logged: set[str] = set()

    def describe(self, command: Command, error: Exception) -> str:
        """Returns a sentence to show to the sender of the command."""
        said = f"'{command.verb}' has failed ({error!r}). The run continues. The log has the details."
        if said not in self._logged and len(self._logged) < _MOST_LOGGED:
            self._logged.add(said)
            _log.error("the command '%s' has failed", command.verb, exc_info=error)
        return said
