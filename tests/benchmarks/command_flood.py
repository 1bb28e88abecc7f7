"""How long a run that plays stops while it is asked for the heaviest command two thousand times.

    python tests/benchmarks/command_flood.py

A pass of four hours lies on record. While something plays, an asker on this machine sends 2,000 packets
that ask for it as the forecast, as fast as one sender may, and a disarm is given after each hundred. Printed
are the longest time between two readings (ten a second are due), the longest that handing in a disarm took,
and what was refused.
"""

from __future__ import annotations

import os
import sys
import tempfile
import threading
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "endurance"))
os.environ["XDG_DATA_HOME"] = os.environ["XDG_STATE_HOME"] = tempfile.mkdtemp()

from asker import Asker, packet

from sidecar.journal.record import Pass
from sidecar.journal.writer import Journal
from sidecar.model.commands import Disarm
from sidecar.model.readings import Reading
from sidecar.osc.sockets.udp import OscPort, bind
from sidecar.run.event_loop import EventLoop
from sidecar.run.options import RunOptions
from sidecar.run.session import Session
from sidecar.settings.goals import load_goal
from sidecar.sources import Block

RATE_HZ, STEP = 48_000, 4_800
PACKETS, PACKETS_HZ = 2_000, 450.0
STORED_S = 4 * 3600


class Noise:
    """So many seconds in real time."""

    title, rate_hz, channels, duration_s = "noise", RATE_HZ, 2, None

    def __init__(self, seconds: float) -> None:
        self._seconds = seconds
        self._ends = threading.Event()

    def blocks(self):
        rng = np.random.default_rng(6)
        ready = [(0.05 * rng.standard_normal((STEP, 2))).astype(np.float32) for _ in range(50)]
        begun_s = time.monotonic()
        for place in range(round(self._seconds * 10)):
            if self._ends.wait(max(0.0, begun_s + place * 0.1 - time.monotonic())):
                return
            yield Block(ready[place % 50] * np.float32(1.0 + 0.5 * np.sin(place / 30.0)))

    def close(self) -> None:
        self._ends.set()


def main() -> None:
    record_a_long_pass()
    told: list[float] = []
    outlets = [lambda _snapshot: told.append(time.monotonic())]
    session = Session(Noise(60.0), RunOptions(load_goal("r128")), outlets=outlets)
    with EventLoop() as loop:
        port, server = OscPort([]), bind("127.0.0.1", 0)
        address = server.getsockname()[1]
        loop.run(port.open(server, session.submit, feed=session))
        run = threading.Thread(target=session.run)
        run.start()
        while len(told) < 20:
            time.sleep(0.05)
        disarmed = flood(session, address, told)
        session.stop()
        run.join()
        counts = port._osc_server.drops.counts
        loop.run(port.close())
    gaps = np.diff(np.array(told[10:]))
    longest_ms, median_ms = gaps.max() * 1000, np.median(gaps) * 1000
    print(f"between two readings: {longest_ms:.0f} ms at most, median {median_ms:.0f} ms")
    print(f"handing in a disarm, at most: {max(disarmed) * 1000:.2f} ms")
    print(f"dropped for their rate: {counts['rate']}; not carried out: {counts['failed']}; of {PACKETS}")


def record_a_long_pass() -> None:
    """An invented one, straight into the record."""
    journal, rng = Journal.open(), np.random.default_rng(7)
    written = journal.begin(Pass("a long one", RATE_HZ, "stereo", load_goal("r128")))
    for _ in range(STORED_S // 60):
        levels = rng.uniform(-40.0, -15.0, 600)
        written.blocks(10.0 ** (levels / 10.0), levels + 12.0, levels, 0.0, Reading(seconds=60.0), None)
    written.end(Reading(seconds=STORED_S))
    journal.close()


def flood(session: Session, address: int, told: list[float]) -> list[float]:
    """Sends all packets; returns how long each disarm took, seconds."""
    asked, disarmed = packet("/sidecar/earlier", "last"), []
    with Asker(address) as asker:
        begun_s = time.monotonic()
        for place in range(PACKETS):
            time.sleep(max(0.0, begun_s + place / PACKETS_HZ - time.monotonic()))
            asker.socket.send(asked)
            if place % 100 == 0:
                before_s = time.monotonic()
                session.submit(Disarm())
                disarmed.append(time.monotonic() - before_s)
    seen = len(told)
    while len(told) < seen + 20:
        time.sleep(0.05)
    return disarmed


if __name__ == "__main__":
    main()
