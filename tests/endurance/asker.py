"""Whoever speaks to a run over OSC, on a socket of their own."""

import socket
import time

from pythonosc.osc_message_builder import OscMessageBuilder

from sidecar.osc import codec

PATIENCE_S = 60.0


def free_port(kind=socket.SOCK_DGRAM):
    """A port that was free a moment ago."""
    with socket.socket(socket.AF_INET, kind) as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


def packet(address, *arguments):
    """One message, with whatever characters its texts have: the sidecar's own builder leaves some out."""
    builder = OscMessageBuilder(address)
    for argument in arguments:
        builder.add_arg(argument)
    return builder.build().dgram


class Asker:
    """Use it as a context manager."""

    def __init__(self, port):
        self.socket = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        self.socket.connect(("127.0.0.1", port))
        self.socket.settimeout(PATIENCE_S)

    def __enter__(self):
        return self

    def __exit__(self, *_error):
        self.socket.close()

    def say(self, address, *arguments):
        self.socket.send(packet(address, *arguments))

    def hear(self, address):
        """Arguments of the next message at *address*; all others are passed over."""
        return self.hear_all(address)[0]

    def hear_all(self, *addresses):
        """Arguments of the next message at each of *addresses*, whichever comes first."""
        heard, end_s = {}, time.monotonic() + PATIENCE_S
        while not heard.keys() >= set(addresses):
            assert time.monotonic() < end_s, f"of {addresses} only {list(heard)} came"
            for found, arguments in codec.parse(self.socket.recv(65_536)):
                if found in addresses:
                    heard.setdefault(found, arguments)
        return [heard[address] for address in addresses]

    def ask(self, address):
        """The present value."""
        self.say(address)
        return self.hear(address)
