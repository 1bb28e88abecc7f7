"""A workstation with one fader on a real UDP socket, and what that fader went through; speaks plain OSC."""

import contextlib
import heapq
import itertools
import math
import socket
import threading
import time
from dataclasses import dataclass

from pythonosc.osc_message import OscMessage
from pythonosc.osc_message_builder import OscMessageBuilder

ADDRESS = "/master/level"
QUERY, TOUCH = "/master/level/get", "/master/level/touch"
POLL_S = 0.005


def packet(address, *values):
    builder = OscMessageBuilder(address)
    for value in values:
        builder.add_arg(value, "f" if isinstance(value, float) else None)
    return builder.build().dgram


@dataclass(frozen=True)
class Arrival:
    """One datagram that moved the fader."""

    at_s: float
    before_db: float
    after_db: float

    @property
    def rise_db(self):
        return self.after_db - self.before_db


class Workstation:
    """Obeys every position at once. Use it as a context manager.

    late_s: how long its reports take. repeat_s: how often it repeats itself; None for changes only.
    to: "all" who ever moved it and those it was set up for, or the "mover" only.
    """

    def __init__(self, fader_db=0.0, *, late_s=0.0, repeat_s=0.2, to="all"):
        self.fader_db = fader_db
        self.is_mute = False
        self.arrivals = []
        self.queries = 0
        self._late_s, self._repeat_s, self._to = late_s, repeat_s, to
        self._peers = []
        self._due = []
        self._order = itertools.count()
        self._repeat_due_s = -math.inf
        self._socket = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        self._socket.bind(("127.0.0.1", 0))
        self._socket.settimeout(POLL_S)
        self.port = self._socket.getsockname()[1]
        self._over = threading.Event()
        self._thread = threading.Thread(target=self._run, daemon=True)

    def __enter__(self):
        self._thread.start()
        return self

    def __exit__(self, *_error):
        self._over.set()
        self._thread.join()
        self._socket.close()

    def report_to(self, peer):
        """Set up to report there, as in a workstation's settings."""
        self._peers.append(peer)

    def move_by_hand(self, position_db):
        """A hand on the fader; reported as every change is."""
        self.fader_db = position_db
        self._report(self._peers)

    def touch(self):
        """A hand on the fader, which has not moved yet."""
        for peer in self._peers:
            self._socket.sendto(packet(TOUCH, 1), peer)

    def _run(self):
        while not self._over.is_set():
            with contextlib.suppress(TimeoutError):
                self._carry_out(*self._socket.recvfrom(65_535))
            now_s = time.monotonic()
            if self._repeat_s is not None and now_s >= self._repeat_due_s:
                self._repeat_due_s = now_s + self._repeat_s
                self._report(self._peers)
            while self._due and self._due[0][0] <= now_s:
                _, _, peer, position_db = heapq.heappop(self._due)
                if not self.is_mute:
                    self._socket.sendto(packet(ADDRESS, position_db), peer)

    def _carry_out(self, datagram, sender):
        message = OscMessage(datagram)
        if message.address == QUERY:
            self.queries += 1
            self._report(self._peers)
        if message.address != ADDRESS:
            return
        [position_db] = message.params
        self.arrivals.append(Arrival(time.monotonic(), self.fader_db, position_db))
        self.fader_db = position_db
        if self._to == "mover":
            self._report([sender])
            return
        if sender not in self._peers:
            self._peers.append(sender)
        self._report(self._peers)

    def _report(self, peers):
        for peer in peers:
            heapq.heappush(
                self._due, (time.monotonic() + self._late_s, next(self._order), peer, self.fader_db)
            )
