"""A run with an armed fader at a simulated workstation, on noise."""

import contextlib
import socket
import threading
import time

import numpy as np
import soundfile
from live_run import LiveRun
from pythonosc.osc_packet import OscPacket
from simulated_workstation import packet

RATE_HZ = 48_000
LIMIT_S = 60.0
LEAP_DB = 0.31
"""The ramp's longest step, and what rounding to 32 bits adds: a single datagram never raises more."""


class Run:
    """A run on a file, the port where it receives commands, and what it sends of its fader."""

    def __init__(self, file, workstation, *more, surface="decibels"):
        self._listener = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        self._listener.bind(("127.0.0.1", 0))
        self._listener.settimeout(LIMIT_S)
        self._sender = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        self.values = {}
        self._run = LiveRun(
            *("live", "--file", str(file), "--no-record", *more),
            *("--surface", str(surface), "--surface-at", f"127.0.0.1:{workstation.port}"),
            *("--osc", f"127.0.0.1:{self._listener.getsockname()[1]}"),
        )
        self._is_over = threading.Event()

    def __enter__(self):
        datagram, self.address = self._listener.recvfrom(65_535)
        self._note(datagram)
        self._thread = threading.Thread(target=self._listen, daemon=True)
        self._thread.start()
        self.wait_for(lambda: self.values.get("/sidecar/seconds", [0.0])[0] > 1.0)
        return self

    def __exit__(self, *error):
        self._is_over.set()
        self._run.__exit__(*error)
        self._thread.join()
        self._listener.close()
        self._sender.close()

    def send(self, address, *values):
        self._sender.sendto(packet(address, *values), self.address)

    @property
    def seconds(self):
        return self.values["/sidecar/seconds"][0]

    @property
    def is_armed(self):
        return self.values.get("/sidecar/auto/armed") == [1]

    @property
    def notice(self):
        return self.values.get("/sidecar/auto/notice", [""])[0]

    def arm(self, touch=lambda: None):
        """Asks until it is armed; touch: makes the workstation report, where it does not repeat itself."""
        end_s = time.monotonic() + LIMIT_S
        while not self.is_armed:
            assert time.monotonic() < end_s, f"it was never armed: {self.notice}"
            self.send("/sidecar/arm")
            settle(0.2)
            touch()
            try_s = time.monotonic() + 2.0
            while not self.is_armed and time.monotonic() < try_s:
                time.sleep(0.01)

    def raise_to(self, workstation, level_db, rest_s=0.0):
        """Asks until the fader has risen there: a busy machine may answer too late, which disarms."""
        while workstation.fader_db < level_db - 0.1:
            self.arm()
            settle(rest_s)
            self.send("/sidecar/nudge", level_db - workstation.fader_db)
            self.wait_for(lambda: workstation.fader_db > level_db - 0.1 or not self.is_armed)

    def wait_for(self, enough):
        end_s = time.monotonic() + LIMIT_S
        while not enough():
            assert time.monotonic() < end_s, f"it never was so: {self.notice}"
            time.sleep(0.01)

    def _listen(self):
        self._listener.settimeout(0.1)
        while not self._is_over.is_set():
            with contextlib.suppress(TimeoutError):
                self._note(self._listener.recv(65_535))

    def _note(self, datagram):
        for timed in OscPacket(datagram).messages:
            self.values[timed.message.address] = timed.message.params


def noise(path, *parts):
    """A file of noise, the same second again and again: (seconds, level in dBFS) after (seconds, level)."""
    second = np.random.default_rng(3).uniform(-1.0, 1.0, (RATE_HZ, 2)).astype(np.float32)
    with soundfile.SoundFile(path, "w", RATE_HZ, 2, "FLOAT") as file:
        for seconds, level_db in parts:
            for _ in range(seconds):
                file.write(second * np.float32(10.0 ** (level_db / 20.0)))
    return path


def rises(workstation):
    return [arrival.rise_db for arrival in workstation.arrivals]


def highest_rise(workstation, seconds=1.0):
    """Most that the fader rose within that time by what it was sent, dB."""
    worst_db = 0.0
    for first, arrival in enumerate(workstation.arrivals):
        for later in workstation.arrivals[first:]:
            if later.at_s - arrival.at_s > seconds:
                break
            worst_db = max(worst_db, later.after_db - arrival.before_db)
    return worst_db


def settle(seconds=1.5):
    """Long enough for anything that is to leave to have left: positions leave 20 times a second."""
    time.sleep(seconds)
