"""A run that plays elsewhere, as a feed: subscribes to it over OSC and goes on when it comes back."""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator, Sequence
from dataclasses import replace
from types import TracebackType

from sidecar.errors import NetworkError
from sidecar.model.commands import Command, Confirm, Dismiss
from sidecar.model.readings import Alert
from sidecar.model.snapshot import Snapshot, Timeline
from sidecar.osc import codec
from sidecar.osc.addresses import ROOT
from sidecar.osc.client import SubscriptionClient
from sidecar.osc.destinations import resolve
from sidecar.osc.screen_addresses import GOAL
from sidecar.remote.commands import datagram
from sidecar.remote.received import Arguments, ReceivedMessages, sound
from sidecar.remote.snapshot import snapshot_of
from sidecar.remote.timeline import TimelineCopy
from sidecar.settings.goals import Goal

STALE_S = 2.5
"""Something comes each second at least (``outbox.BEAT_S``): two lost in a row are no word any more."""

_WANTED = "reading,alert,run,detail@10"
_LARGEST = 65_535
_LOOK_S = 0.05
_GOALS_S = 30.0
_REFUSAL_S = 10.0
"""A refusal is shown for so long."""

_NO_GOAL = Goal("", "no goal known yet, drawn for", -23.0, 0.0, 0.0, -1.0, -18.0)
"""Something to draw before the first word; nothing is held against it."""


class RemoteFeed:
    """Use it as a context manager. Its calls return at once, whatever the network does."""

    def __init__(self, place: str, root: str = ROOT) -> None:
        """place: ``HOST:PORT`` where the run takes commands. root: what its addresses begin with.

        Raises NetworkError when that is no place or no root, or the host is not found.
        """
        self._place = place
        self._root = root
        self._asking = SubscriptionClient(resolve(f"{place}/{_WANTED}"), root)
        self._asking.socket.settimeout(_LOOK_S)
        self._told = ReceivedMessages()
        self._copy = TimelineCopy()
        self._began_s = self._heard_s = time.monotonic()
        self._goals_due_s = 0.0
        self._refusal, self._refused_s = "", 0.0
        self._snapshot: Snapshot | None = None
        self._goals: tuple[Goal, ...] = ()
        self._has_heard = threading.Event()
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
        self._asking.close()

    def wait(self, for_s: float) -> bool:
        """Waits for the first word at most so long; whether it has come."""
        return self._has_heard.wait(for_s)

    # --- the feed: any thread -----------------------------------------------------------------

    def snapshot(self) -> Snapshot:
        now_s = time.monotonic()
        known = self._snapshot
        silent_s = now_s - self._heard_s
        if known is None:
            silence = _silence(self._place, now_s - self._began_s)
            hint = "does it run, and does its --osc-allow name this machine?"
            return Snapshot("waiting", _NO_GOAL, notice=f"{silence}: {hint}")
        if silent_s > STALE_S:
            return _stale(known, self._place, silent_s)
        if self._refusal and now_s - self._refused_s < _REFUSAL_S:
            return replace(known, notice=self._refusal)
        return known

    def timeline(self) -> Timeline:
        return self._copy.course

    def goals(self) -> Sequence[Goal]:
        """Those of the run; of this machine none may be there by the same name."""
        return self._goals or ((self._snapshot.goal,) if self._snapshot else ())

    def send_command(self, command: Command) -> None:
        """Raises NetworkError where the run is not there to hear it, or asks something else by now."""
        if self._snapshot is None or time.monotonic() - self._heard_s > STALE_S:
            raise NetworkError(f"no word from {self._place}: '{command.verb}' was not sent; try again")
        if isinstance(command, Confirm | Dismiss) and command.question not in ("", self._snapshot.guess):
            raise NetworkError("the question is another one by now: look again, then answer")
        try:
            self._asking.socket.send(datagram(command, self._root))
        except OSError as error:
            raise NetworkError(f"'{command.verb}' did not reach {self._place}: {error}") from error

    # --- the thread ---------------------------------------------------------------------------

    def _attend(self) -> None:
        while not self._is_closed.is_set():
            now_s = time.monotonic()
            self._asking.keep_up(now_s)
            try:
                for question in self._questions(now_s):
                    self._asking.socket.send(question)
                packet = self._asking.socket.recv(_LARGEST)
            except TimeoutError:
                continue
            except OSError:  # nobody is there: refused at once, which must not become a race
                self._is_closed.wait(_LOOK_S)
                continue
            self._take(packet)

    def _questions(self, now_s: float) -> Iterator[bytes]:
        """What is asked besides the subscription, while there is one."""
        if self._snapshot is None or now_s - self._heard_s > STALE_S:
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
            heard = sound(address, arguments, self._root)
            if heard:
                is_news |= self._hear(*heard)
        if not is_news:
            return
        snapshot = snapshot_of(self._told)
        if snapshot:
            self._heard_s = time.monotonic()
            self._asking.note_answer(self._heard_s)
            self._snapshot = snapshot
            self._has_heard.set()

    def _hear(self, path: str, arguments: Arguments) -> bool:
        """Takes one message; whether it tells how the run stands."""
        match path:
            case "/course/size" | "/course/part" | "/event":
                self._copy.receive_answer(path, arguments)
            case "/goals/goal":
                self._told.receive_message(path, arguments)
                self._goals = tuple(GOAL.decode(*goal) for goal in self._told.several(path))
            case "/error":
                self._refusal, self._refused_s = f"{self._place}: {arguments[1]}", time.monotonic()
            case "/verify":
                self._asking.verify(arguments[0])
            case "/subscribed":
                pass
            case _:
                self._told.receive_message(path, arguments)
                return True
        return False


def _stale(known: Snapshot, place: str, silent_s: float) -> Snapshot:
    """The last that was known, marked as such: a figure that stands still must not look like a quiet room."""
    lost = Alert("lost", "on", silent_s, STALE_S)
    return replace(
        known,
        transport="ended" if known.transport == "ended" else "waiting",
        alerts=tuple(lost if alert.name == "lost" else alert for alert in known.alerts),
        notice=_silence(place, silent_s),
    )


def _silence(place: str, silent_s: float) -> str:
    return f"no word from {place} for {int(silent_s)} s"
