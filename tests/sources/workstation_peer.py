"""The rehearsed workstation as tests drive it: programme stepped by hand, everything else real."""

from __future__ import annotations

import queue
import socket
import time

from sidecar.osc import codec
from sidecar.sources.rehearsal import RehearsalSource
from sidecar.sources.rehearsal.workstation import SimulatedWorkstation

PATIENCE_S = 60.0


class SteppedRehearsal(RehearsalSource):
    """A rehearsal that plays 100 ms at a call, and reports when its fader was sent somewhere."""

    def __init__(self):
        super().__init__(pace="fast", block_frames=4800)
        self.told: queue.SimpleQueue[float] = queue.SimpleQueue()
        self._blocks = self.blocks()

    def play(self) -> None:
        next(self._blocks)

    def move_fader(self, gain_db: float) -> None:
        super().move_fader(gain_db)
        self.told.put(gain_db)


class WorkstationPeer:
    """A surface that moves a workstation's fader and receives its position."""

    def __init__(self, surface, workstation: SimulatedWorkstation):
        self.surface = surface
        self._workstation = workstation
        self.socket = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        self.socket.bind(("127.0.0.1", 0))
        self.socket.settimeout(PATIENCE_S)
        self.address = self.socket.getsockname()

    def send(self, level_db: float) -> None:
        self.send_raw(self.surface.message(level_db).dgram)

    def send_raw(self, datagram: bytes) -> None:
        self.socket.sendto(datagram, self._workstation.address)

    def hear(self) -> float:
        """The next report, dB."""
        [message] = codec.parse(self.socket.recv(65_535))
        return self.surface.feedback(*message).position_db

    def hear_until(self, level_db: float) -> list[float]:
        """Reports up to and with the first one of that level."""
        heard = []
        end = time.monotonic() + PATIENCE_S
        while time.monotonic() < end:
            heard.append(self.hear())
            if abs(heard[-1] - level_db) < 1e-4:
                return heard
        raise AssertionError(f"{level_db} dB was never told, only {heard}")

    def close(self) -> None:
        self.socket.close()
