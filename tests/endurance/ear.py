"""A receiver of what a run sends over OSC, by the run's own reader of it."""

import socket
import time

from sidecar.osc import codec

LIMIT_S = 120.0  # the first run on a machine compiles the meter


class Ear:
    """A UDP socket that keeps what it receives."""

    def __init__(self):
        self.socket = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        self.socket.bind(("127.0.0.1", 0))
        self.socket.setblocking(False)
        self.socket.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 1 << 20)
        self.place = f"127.0.0.1:{self.socket.getsockname()[1]}"
        self.heard = []

    def of(self, address):
        """Arguments of all messages to *address* so far."""
        try:
            while True:
                self.heard += codec.parse(self.socket.recv(65_535))
        except BlockingIOError:
            return [arguments for name, arguments in self.heard if name == address]

    def wait_for(self, address, argument):
        end_s = time.monotonic() + LIMIT_S
        while not any(arguments[0] == argument for arguments in self.of(address)):
            assert time.monotonic() < end_s, f"{argument} was never sent to {address}"
            time.sleep(0.05)

    def wait_for_more(self, address):
        """Several of what is sent there many times a second: what was under way before is among them."""
        end_s, enough = time.monotonic() + LIMIT_S, len(self.of(address)) + 10
        while len(self.of(address)) < enough:
            assert time.monotonic() < end_s, f"nothing more was sent to {address}"
            time.sleep(0.05)
