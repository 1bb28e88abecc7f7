"""What the screen costs: drawing after a day against after a minute, the whole program on a terminal that
is read, and what becomes of the readings while a terminal is not read for a minute.

Run: python tests/benchmarks/screen_cost.py
"""

import contextlib
import fcntl
import os
import pty
import signal
import struct
import subprocess
import sys
import termios
import threading
import time
from functools import partial
from pathlib import Path
from statistics import median

sys.path.insert(0, str(Path(__file__).parent.parent / "tui"))

from scripted_feed import PlayingFeed
from stalled_screen import StalledScreen

from tui.controller import ZOOMS_S, Controller
from tui.drawing.panels.distribution import Distribution
from tui.drawing.panels.hero import hero
from tui.drawing.panels.history import HistoryDrawing
from tui.drawing.panels.scales import Rows, scales

LOOKS = 100
PER_SECOND = 10


def cost_s(draw, views):
    spent = []
    for view in views:
        start = time.process_time()
        draw(view)
        spent.append(time.process_time() - start)
    return median(spent)


def views_at(seconds, zoom):
    controller = Controller(PlayingFeed(seconds, seconds + 15.0))
    controller.zoom(zoom - len(ZOOMS_S) + 1)
    return [controller.read_view() for _ in range(LOOKS)]


def main():
    for zoom, name in ((0, "30 s"), (len(ZOOMS_S) - 1, "whole")):
        minute, day = (views_at(seconds, zoom) for seconds in (60.0, 86_400.0))
        history = [
            cost_s(partial(HistoryDrawing().rows, width=120, height=15), views) for views in (minute, day)
        ]
        print(f"history, {name}: after 24 h {history[1] / history[0]:.2f} times the cost after 1 min")
    parts, distribution = Rows(2, 2, has_distribution=True, has_correlation=True), Distribution()
    rest = cost_s(lambda view: (hero(view, 120, 8), scales(view, 120, 12, parts, distribution)), day)
    share = (history[1] + rest) * PER_SECOND
    print(f"drawing at 120 × 40, {PER_SECOND} times a second: {share:.1%} of one core")
    for per_second in (10, 20):
        share = program_share(per_second)
        print(f"the whole screen on a terminal, {per_second} times a second: {share:.1%} of one core")
    stalled()


def program_share(per_second, size=(120, 40), warm_s=5.0, for_s=15.0):
    """Share of one core of a program that shows a scene in motion, at twenty looks a second in real time; its
    terminal is read all the time."""
    feed = "scripted_feed.PlayingFeed(20.0, looks_a_block=2)"
    code = f"import scripted_feed, tui; tui.run({feed}, most_hz={per_second})"
    terminal, slave = pty.openpty()
    fcntl.ioctl(slave, termios.TIOCSWINSZ, struct.pack("HHHH", size[1], size[0], 0, 0))
    room = Path(__file__).parent.parent / "tui"
    paths = os.pathsep.join([str(room), str(room.parent.parent)])
    environment = {**os.environ, "TERM": "xterm-256color", "COLORTERM": "truecolor", "PYTHONPATH": paths}
    run = subprocess.Popen(
        [sys.executable, "-c", code], stdin=slave, stdout=slave, stderr=slave, env=environment
    )
    threading.Thread(target=drain, args=(terminal,), daemon=True).start()
    try:
        time.sleep(warm_s)
        before, start = spent_s(run.pid), time.monotonic()
        time.sleep(for_s)
        return (spent_s(run.pid) - before) / (time.monotonic() - start)
    finally:
        run.kill()
        run.wait()
        os.close(slave)


def drain(terminal):
    with contextlib.suppress(OSError):
        while os.read(terminal, 65_536):
            pass


def spent_s(pid):
    """Processor time of a process so far, all its threads (proc(5), fields 14 and 15)."""
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def stalled(for_s=60.0):
    with StalledScreen() as run:
        run.read_until(b"measuring")
        first = run.stall()
        start, count, latest = time.monotonic(), 0, first
        while latest.seconds < first.seconds + for_s:
            latest, count = run.reading(), count + 1
        took_s = time.monotonic() - start
    print(
        f"terminal not read for {took_s:.0f} s: {count / took_s:.2f} readings a second over OSC, "
        f"{latest.lost} samples dropped"
    )


if __name__ == "__main__":
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(1))  # what was started is ended all the same
    main()
