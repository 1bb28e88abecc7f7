"""A run on another machine as a feed: watches over OSC, and again when the run comes back."""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator, Sequence
from dataclasses import replace
from types import TracebackType

from sidecar.errors import NetworkError
from sidecar.model.commands import Command
from sidecar.model.readings import Alert
from sidecar.model.snapshot import Snapshot, Timeline
from sidecar.osc import codec
from sidecar.osc.sockets.destinations import resolve
from sidecar.osc.table.addresses import ROOT
from sidecar.osc.table.screen_addresses import GOAL
from sidecar.osc.watch_client import WatchClient
from sidecar.remote.commands import datagram
from sidecar.remote.received import Arguments, ReceivedMessages, sound
from sidecar.remote.snapshot import snapshot_of
from sidecar.remote.timeline import TimelineCopy
from sidecar.settings.goals import Goal

STALE_S = 2.5
"""A datagram arrives each second at least (``publisher.BEAT_S``): after two lost in a row, it is stale."""

_WANTED = "reading,alert,run,detail@10"
_LARGEST = 65_535
_LOOK_S = 0.05
_GOALS_S = 30.0
_REFUSAL_S = 10.0
"""How long a refusal is shown."""

_NO_GOAL = Goal("", "no goal known yet, drawn for", -23.0, 0.0, 0.0, -1.0, -18.0)
"""A goal to draw before the first snapshot; no reading is judged by it."""


class RemoteFeed:
    """Snapshots of a remote run. Use it as a context manager; calls do not wait for the network."""

    def __init__(self, place: str, root: str = ROOT) -> None:
        """place: ``HOST:PORT`` where the run takes commands. root: what its addresses begin with.

        Raises NetworkError for an invalid place or root, or where the host is not found.
        """
        self._place = place
        self._root = root
        self._client = WatchClient(resolve(f"{place}/{_WANTED}"), root)
        self._client.socket.settimeout(_LOOK_S)
        self._received = ReceivedMessages()
        self._copy = TimelineCopy()
        self._began_s = self._received_s = time.monotonic()
        self._goals_due_s = 0.0
        self._refusal, self._refused_s = "", 0.0
        self._snapshot: Snapshot | None = None
        self._goals: tuple[Goal, ...] = ()
        self._has_received = threading.Event()
        self._is_closed = threading.Event()
        self._thread = threading.Thread(target=self._attend, name="attached", daemon=True)

    def __enter__(self) -> RemoteFeed:
        self._thread.start()
        return self

    def __exit__(
        self,
        _kind: type[BaseException] | None,
        _error: BaseException | None,
        _trace: TracebackType | None,
    ) -> None:
        self._is_closed.set()
        self._thread.join()
        self._client.close()

    def wait(self, for_s: float) -> bool:
        """Waits at most *for_s* seconds for the first snapshot; returns whether it has come."""
        return self._has_received.wait(for_s)

    # --- the feed: any thread -----------------------------------------------------------------

    def snapshot(self) -> Snapshot:
        now_s = time.monotonic()
        known = self._snapshot
        silent_s = now_s - self._received_s
        if known is None:
            silence = _silence(self._place, now_s - self._began_s)
            hint = "check that it runs and that its --osc-allow names this machine"
            return Snapshot("waiting", _NO_GOAL, notice=f"{silence}: {hint}")
        if silent_s > STALE_S:
            return _stale(known, self._place, silent_s)
        if self._refusal and now_s - self._refused_s < _REFUSAL_S:
            return replace(known, notice=self._refusal)
        return known

    def timeline(self) -> Timeline:
        return self._copy.history

    def goals(self) -> Sequence[Goal]:
        """Returns the goals of the run, since those on this machine may differ."""
        return self._goals or ((self._snapshot.goal,) if self._snapshot else ())

    def send_command(self, command: Command) -> None:
        """Sends a command. Raises NetworkError where the run does not send."""
        if self._snapshot is None or time.monotonic() - self._received_s > STALE_S:
            raise NetworkError(f"no answer from {self._place}: '{command.verb}' was not sent. Try again")
        try:
            self._client.socket.send(datagram(command, self._root))
        except OSError as error:
            raise NetworkError(f"'{command.verb}' did not reach {self._place}: {error}") from error

    # --- the thread ---------------------------------------------------------------------------

    def _attend(self) -> None:
        while not self._is_closed.is_set():
            now_s = time.monotonic()
            self._client.keep_up(now_s)
            try:
                for question in self._questions(now_s):
                    self._client.socket.send(question)
                packet = self._client.socket.recv(_LARGEST)
            except TimeoutError:
                continue
            except OSError:  # no port is open there: recv fails at once, so wait to avoid a busy loop
                self._is_closed.wait(_LOOK_S)
                continue
            self._take(packet)

    def _questions(self, now_s: float) -> Iterator[bytes]:
        """Yields the requests that are due besides the watch, while it lasts."""
        if self._snapshot is None or now_s - self._received_s > STALE_S:
            return
        for path, places in self._copy.questions(now_s):
            yield codec.message(self._root + path, "i" * len(places), places).dgram
        if now_s >= self._goals_due_s:
            self._goals_due_s = now_s + _GOALS_S
            yield codec.message(f"{self._root}/goals", "", ()).dgram

    def _take(self, packet: bytes) -> None:
        try:
            messages = codec.parse(packet)
        except ValueError:
            return
        is_news = False
        for address, arguments in messages:
            message = sound(address, arguments, self._root)
            if message:
                is_news |= self._store_message(*message)
        if not is_news:
            return
        snapshot = snapshot_of(self._received)
        if snapshot:
            self._received_s = time.monotonic()
            self._client.note_answer(self._received_s)
            self._snapshot = snapshot
            self._has_received.set()

    def _store_message(self, path: str, arguments: Arguments) -> bool:
        """Stores one message; returns whether it is part of a snapshot."""
        match path:
            case "/history/size" | "/history/part" | "/event":
                self._copy.receive_answer(path, arguments)
            case "/goals/goal":
                self._received.receive_message(path, arguments)
                self._goals = tuple(GOAL.decode(*goal) for goal in self._received.several(path))
            case "/error":
                self._refusal, self._refused_s = f"{self._place}: {arguments[1]}", time.monotonic()
            case "/verify":
                self._client.verify(arguments[0])
            case "/watching":
                pass
            case _:
                self._received.receive_message(path, arguments)
                return True
        return False


def _stale(known: Snapshot, place: str, silent_s: float) -> Snapshot:
    """Returns the last snapshot, marked as lost: a figure that does not change must not look like silence."""
    lost = Alert("lost", "on", silent_s, STALE_S)
    return replace(
        known,
        transport="ended" if known.transport == "ended" else "waiting",
        alerts=tuple(lost if alert.name == "lost" else alert for alert in known.alerts),
        notice=_silence(place, silent_s),
    )


def _silence(place: str, silent_s: float) -> str:
    return f"no answer from {place} for {int(silent_s)} s"
