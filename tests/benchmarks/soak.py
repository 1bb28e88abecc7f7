"""A long run in real time under load: a real sound server, the screen in a real terminal, 32 watchers over
OSC, and for one minute in five a program on each core that never rests.

The signal numbers its own frames, so that what is missing is known to the frame.
Run: python tests/benchmarks/soak.py [--minutes 30]
"""

import argparse
import json
import multiprocessing
import os
import selectors
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))
sys.path.insert(0, str(Path(__file__).parents[1] / "endurance"))

from conftest import Loopback
from starved import heard_on, playing_numbers

from sidecar.journal import reader
from sidecar.osc import codec

WATCHERS = 32
RENEWED_S = 20.0
ROUND_S, LOADED_S = 300.0, 60.0
READINGS_HZ = 10.0
START_S = 30.0


def never_rest():
    while True:
        pass


class Watchers:
    """So many sockets that ask for readings and count what comes, a minute at a time."""

    def __init__(self, port):
        self._address = ("127.0.0.1", port)
        self._selector = selectors.DefaultSelector()
        self._sockets = []
        for number in range(WATCHERS):
            made = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
            made.setblocking(False)
            self._selector.register(made, selectors.EVENT_READ, number)
            self._sockets.append(made)
        self._asked_s = float("-inf")
        self.readings = []
        """Readings that each one got, one counter a minute."""
        self.worst_gap_s = Counter()
        self._heard_s = {}

    def listen(self, until_s, minute):
        """Takes what comes until then, and renews the leases."""
        while (now_s := time.monotonic()) < until_s:
            if now_s - self._asked_s > RENEWED_S:
                self._asked_s = now_s
                for each in self._sockets:
                    each.sendto(codec.message("/sidecar/watch", "f", [READINGS_HZ]).dgram, self._address)
            for key, _ in self._selector.select(0.2):
                self._take(key.fileobj, key.data, minute)

    def _take(self, heard, number, minute):
        while len(self.readings) <= minute:
            self.readings.append(Counter())
        try:
            while True:
                data = heard.recv(65_535)
                if b"/sidecar/momentary" not in data:
                    continue
                now_s = time.monotonic()
                self.readings[minute][number] += 1
                gap_s = now_s - self._heard_s.get(number, now_s)
                self.worst_gap_s[minute] = max(self.worst_gap_s[minute], gap_s)
                self._heard_s[number] = now_s
        except BlockingIOError:
            return


def free_port():
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


def soak(minutes, folder):
    port, tape, terminal = free_port(), folder / "heard.wav", folder / "tmux"
    tmux = ["tmux", "-S", str(terminal)]
    run = f"{sys.executable} -m sidecar live --device loopback --write {tape} --osc-port {port}; sleep 1"
    subprocess.run([*tmux, "-f", "/dev/null", "new-session", "-d", "-x", "120", "-y", "40", run], check=True)
    watchers = Watchers(port)
    watchers.listen(time.monotonic() + START_S, 0)
    watchers.readings.clear()
    began_s = time.monotonic()
    loaded = []
    for minute in range(minutes):
        is_loaded = minute * 60 % ROUND_S >= ROUND_S - LOADED_S
        hogs = [
            multiprocessing.Process(target=never_rest, daemon=True) for _ in range(os.cpu_count() * is_loaded)
        ]
        for hog in hogs:
            hog.start()
        loaded.append(is_loaded)
        watchers.listen(began_s + 60.0 * (minute + 1), minute)
        for hog in hogs:
            hog.kill()
            hog.join()
    shown = subprocess.run([*tmux, "capture-pane", "-p"], capture_output=True, text=True, check=True).stdout
    subprocess.run([*tmux, "send-keys", "q"], check=True)
    end_s = time.monotonic() + 20.0
    while subprocess.run([*tmux, "has-session"], capture_output=True, check=False).returncode == 0:
        if time.monotonic() > end_s:
            print("THE RUN DID NOT END")
            subprocess.run([*tmux, "kill-server"], check=False)
            break
        time.sleep(0.2)
    return watchers, loaded, tape, shown


def report(watchers, loaded, tape, folder):
    for minute, (counts, is_loaded) in enumerate(zip(watchers.readings, loaded, strict=True)):
        few, many, gap_s = min(counts.values()), max(counts.values()), watchers.worst_gap_s[minute]
        load = ", both cores loaded" if is_loaded else ""
        print(
            f"minute {minute + 1:2}: {few} to {many} readings at {len(counts)}, a gap of {gap_s:.2f} s{load}"
        )
    fewest = min(min(counts.values()) for counts in watchers.readings) / (60.0 * READINGS_HZ)
    print(f"fewest readings in a minute at any watcher: {fewest:.3f} of those wanted")
    kept, heard = reader.latest(), heard_on(tape)
    lost = sum(cut.dropped_samples for cut in kept.cuts)
    print(f"{heard.frames} frames heard; missing by their numbers {heard.missing}, told {lost}")
    gaps = [event.text for event in kept.events if event.kind == "gap"]
    print(f"out of order {heard.disorder}, misplaced {heard.misplaced}; gaps told of: {gaps}")
    said = [
        json.loads(line) for file in folder.rglob("sidecar.log*") for line in file.read_text().splitlines()
    ]
    bad = [line for line in said if line["level"] in {"error", "critical"} or "error" in line]
    print(f"{len(said)} lines in the log, {len(bad)} of errors: {bad[:3]}")


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--minutes", type=int, default=30)
    minutes = parser.parse_args().minutes
    folder = Path(tempfile.mkdtemp(prefix="lb-", dir="/tmp"))
    os.environ["XDG_DATA_HOME"] = os.environ["XDG_STATE_HOME"] = str(folder / "own")
    loopback = Loopback(folder / "server")
    loopback.up(channels=2)
    os.environ.update(loopback.environment())
    try:
        with playing_numbers(60 * minutes + 120):
            watchers, loaded, tape, shown = soak(minutes, folder)
        report(watchers, loaded, tape, folder / "own")
        print(f"the screen at the end:\n{shown}")
    finally:
        subprocess.run(["tmux", "-S", str(folder / "tmux"), "kill-server"], capture_output=True, check=False)
        loopback.down()
        shutil.rmtree(folder)


if __name__ == "__main__":
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(1))  # what was started is ended all the same
    main()
