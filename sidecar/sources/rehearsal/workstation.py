"""The rehearsal's workstation: its fader over OSC on a real socket, so that arming can be rehearsed too."""

from __future__ import annotations

import contextlib
import threading
import time

from sidecar.model.commands import FaderAt
from sidecar.osc import codec
from sidecar.osc.sockets.udp import bind
from sidecar.sources import FaderSource
from sidecar.sources.rehearsal.fader import HIGHEST_DB, LOWEST_DB
from sidecar.surfaces.surface import Surface

Address = tuple[str, int]

_POLL_S = 0.02
_REPEAT_S = 0.5
_CLOSE_S = 2.0
_MOST_PEERS = 4
_LARGEST_DATAGRAM = 65_535


class SimulatedWorkstation:
    """Receives fader messages of a surface on this machine, and sends the fader position.

    The position is sent to each address that has moved the fader, after its first message, whenever the fader
    has moved, and twice a second. Unknown messages are ignored, as a workstation does.
    """

    def __init__(
        self, surface: Surface, fader: FaderSource, *, peer: Address | None = None, times: float = 1.0
    ) -> None:
        """peer: an address that is sent positions from the start, as set up in a workstation: the sidecar's
        OSC port; in its family, IPv4 or IPv6, the workstation listens. times: how much faster than real
        time it runs.

        Raises NetworkError when this machine has no port left.
        """
        self._surface = surface.from_the_workstation
        self._fader = fader
        self._socket = bind("::1" if peer and ":" in peer[0] else "127.0.0.1", 0)
        self._poll_s, self._repeat_s = _POLL_S / times, _REPEAT_S / times
        self._socket.settimeout(self._poll_s)
        self.address: Address = self._socket.getsockname()[:2]
        """Where it takes messages."""
        self._peers = [peer] if peer else []
        self._said_db = fader.fader_db
        self._said_s = 0.0
        self._closed = threading.Event()
        self._thread = threading.Thread(target=self._run, name="simulated workstation", daemon=True)

    def start(self) -> None:
        """Begins to listen, in a thread of its own."""
        self._thread.start()

    def close(self) -> None:
        """Ends soon and frees the port; twice is harmless."""
        self._closed.set()
        if self._thread.is_alive():
            self._thread.join(_CLOSE_S)
        self._socket.close()

    def _run(self) -> None:
        self._say()
        while not self._closed.is_set():
            self._hear()
            self._report()

    def _hear(self) -> None:
        try:
            datagram, sender = self._socket.recvfrom(_LARGEST_DATAGRAM)
        except TimeoutError:
            return
        except OSError:  # some systems report here that a peer has gone
            self._closed.wait(self._poll_s)
            return
        for level_db in self._asked(datagram):
            self._fader.move_fader(min(max(level_db, LOWEST_DB), HIGHEST_DB))
            if sender[:2] not in self._peers:
                self._peers = [*self._peers, sender[:2]][-_MOST_PEERS:]
                self._say()

    def _asked(self, datagram: bytes) -> list[float]:
        """Where a datagram asks the master fader to go, dB; nothing when it does not ask that."""
        try:
            messages = codec.parse(datagram)
        except ValueError:
            return []
        levels = []
        for address, arguments in messages:
            with contextlib.suppress(ValueError):
                command = self._surface.feedback(address, arguments)
                if isinstance(command, FaderAt):
                    levels.append(command.position_db)
        return levels

    def _report(self) -> None:
        is_due = time.monotonic() - self._said_s >= self._repeat_s
        if is_due or self._fader.fader_db != self._said_db:
            self._say()

    def _say(self) -> None:
        self._said_db, self._said_s = self._fader.fader_db, time.monotonic()
        datagram = self._surface.message(self._said_db).dgram
        for peer in self._peers:
            with contextlib.suppress(OSError):  # full or gone: the next report is newer
                self._socket.sendto(datagram, peer)
