"""How long a screen that attaches late waits for the past, and what that costs the run.

``python tests/benchmarks/attach_fill.py`` plays runs of an hour and of a day whose history is already there,
attaches a screen's feed in a process of its own, and prints what it took. Nothing else should be busy.
"""

from __future__ import annotations

import subprocess
import sys
import time
from collections.abc import Sequence

import numpy as np

from sidecar.model.commands import Command
from sidecar.model.readings import Reading
from sidecar.model.snapshot import Snapshot, Timeline
from sidecar.osc.sockets.udp import OscPort, bind
from sidecar.remote.feed import RemoteFeed
from sidecar.run.event_loop import EventLoop
from sidecar.run.timeline import TimelineLog
from sidecar.settings.goals import Goal, all_goals

UPDATE_S = 0.1


class Programme:
    """A feed whose past is long."""

    def __init__(self, seconds: float) -> None:
        chance = np.random.default_rng(1)
        columns = round(seconds * 10)
        levels = chance.normal(-23.0, 4.0, columns).astype(np.float32)
        times = (np.arange(1, columns + 1) / 10.0).astype(np.float32)
        self.log = TimelineLog()
        self.log.restore(Timeline(times, levels, levels - 1.0, np.zeros(columns, np.float32)))

    def snapshot(self) -> Snapshot:
        return Snapshot("measuring", all_goals()[0], Reading(seconds=self.log.seconds))

    def history(self) -> Timeline:
        return self.log.view()

    def goals(self) -> Sequence[Goal]:
        return all_goals()

    def send(self, command: Command) -> None: ...


def attach(place: str, columns: int) -> None:
    """The screen's side: prints when it had the last minute, and when all."""
    began_s, minute_s = time.perf_counter(), 0.0
    with RemoteFeed(place) as feed:
        while len(feed.timeline().seconds) < columns:
            if not minute_s and len(feed.timeline().seconds) >= 600:
                minute_s = time.perf_counter() - began_s
            time.sleep(0.005)
    print(f"last minute {minute_s:.2f} s, all {time.perf_counter() - began_s:.1f} s", flush=True)


def play(hours: float) -> None:
    programme = Programme(3600.0 * hours)
    columns = len(programme.timeline().seconds)
    snapshot = programme.snapshot()
    with EventLoop() as engine:
        port = OscPort([])
        server = bind("127.0.0.1", 0)
        engine.run(port.open(server, programme.send_command, feed=programme))
        place = "{}:{}".format(*server.getsockname())
        screen = subprocess.Popen(
            [sys.executable, __file__, place, str(columns)], stdout=subprocess.PIPE, text=True
        )
        began_s, began_cpu_s, late_s = time.perf_counter(), time.process_time(), []
        while screen.poll() is None:
            asked_s = time.perf_counter()
            engine.soon(lambda asked_s=asked_s: late_s.append(time.perf_counter() - asked_s))
            engine.soon(port.offer, snapshot)
            programme.log.add_columns(1, -23.0, -23.0, 0.0)
            time.sleep(UPDATE_S)
        cpu, all_s = time.process_time() - began_cpu_s, time.perf_counter() - began_s
        said = screen.communicate()[0].strip()
        engine.run(port.close())
    print(
        f"{hours:g} h: {said}; the run took {100 * cpu / all_s:.1f} % of a core meanwhile, its readings "
        f"waited {1e3 * max(late_s):.1f} ms at most"
    )


if __name__ == "__main__":
    if len(sys.argv) == 3:
        attach(sys.argv[1], int(sys.argv[2]))
    else:
        for hours in (1.0, 24.0):
            play(hours)
