"""How long a disarm takes through a flood: from its datagram to the call that closes the fader's line.

    python tests/benchmarks/disarm_latency.py [times]

2,000 commands of the heaviest kinds are sent at once before it. Prints median and worst of so many times,
40 by default, in milliseconds; the aim is 50.
"""

from __future__ import annotations

import logging
import socket
import statistics
import sys
import threading
import time

from sidecar.model.snapshot import Command
from sidecar.osc import codec
from sidecar.osc.sockets.udp import OscPort, bind
from sidecar.run.event_loop import EventLoop

FLOOD = [
    codec.message("/sidecar/earlier", "s", ["1"]).dgram,
    codec.message("/sidecar/history", "ii", [0, 36_000]).dgram,
    codec.message("/sidecar/*", "", []).dgram,
]
DISARM = codec.message("/sidecar/disarm", "", []).dgram
AT_ONCE = 2_000
LOST_S = 2.0


def main(times: int) -> None:
    """Measures and prints."""
    logging.disable()
    heard = threading.Event()

    def submit(command: Command) -> None:
        if command.verb == "disarm":
            heard.set()

    delays_ms, lost = [], 0
    with EventLoop() as engine, socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sender:
        port, server = OscPort([]), bind("127.0.0.1", 0)
        address = server.getsockname()
        engine.run(port.open(server, submit))
        for _ in range(times):
            heard.clear()
            for number in range(AT_ONCE):
                sender.sendto(FLOOD[number % len(FLOOD)], address)
            began_s = time.monotonic()
            sender.sendto(DISARM, address)
            if heard.wait(LOST_S):
                delays_ms.append(1000.0 * (time.monotonic() - began_s))
            else:
                lost += 1  # the system's buffer was full
            time.sleep(1.0)
        engine.run(port.close())
    print(
        f"median {statistics.median(delays_ms):.1f} ms, worst {max(delays_ms):.1f} ms of {len(delays_ms)}; "
        f"{lost} were lost in the system's buffer"
    )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 40)
