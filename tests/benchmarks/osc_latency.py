"""From a block of audio that comes in to the datagram with its reading that comes out. Run as a script.

A whole session runs on noise that arrives as from a device, a block at a time; a receiver in another process
notes when each datagram arrives. A reading has the seconds that it has measured, and with that which block
was the last it knows. Wanted, counted from the first sample of that block: one block and 20 ms in the median,
one block and 50 ms for 99 of 100.
"""

from __future__ import annotations

import argparse
import multiprocessing
import socket
import statistics
import threading
import time
from collections.abc import Iterator
from multiprocessing.connection import Connection

import numpy as np

from sidecar.osc import codec
from sidecar.osc.sockets.destinations import resolve
from sidecar.osc.sockets.udp import OscPort, bind
from sidecar.run.event_loop import EventLoop
from sidecar.run.options import RunOptions
from sidecar.run.session import Session
from sidecar.settings.goals import load_goal
from sidecar.sources import Block

RATE_HZ = 48_000
LATE_S = 1.0
"""A datagram later than this would be counted to the wrong block; there is none on a working machine."""


class Noise:
    """Blocks of noise at the pace of a device, and when each was handed over."""

    title = "noise"
    rate_hz = RATE_HZ
    channels = 2
    duration_s = None

    def __init__(self, block_frames: int, seconds: float) -> None:
        self._block_frames = block_frames
        self._count = int(seconds * RATE_HZ / block_frames)
        self._closed = threading.Event()
        self.handed_s: list[float] = []

    def blocks(self) -> Iterator[Block]:
        chance = np.random.default_rng(1)
        block = 0.05 * chance.standard_normal((self._block_frames, 2)).astype(np.float32)
        began_s = time.monotonic()
        for number in range(1, self._count + 1):
            self._closed.wait(max(0.0, began_s + number * self._block_frames / RATE_HZ - time.monotonic()))
            if self._closed.is_set():
                return
            self.handed_s.append(time.monotonic())
            yield Block(block.copy())

    def close(self) -> None:
        self._closed.set()


def receive(pipe: Connection) -> None:
    """Notes the seconds in each datagram and its arrival, until asked to end."""
    heard: list[tuple[float, float]] = []
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as server:
        server.bind(("127.0.0.1", 0))
        server.settimeout(0.2)
        pipe.send(server.getsockname()[1])
        while not pipe.poll():
            try:
                datagram = server.recv(65_535)
            except TimeoutError:
                continue
            now_s = time.monotonic()
            heard += [(values[0], now_s) for address, values in codec.parse(datagram) if "seconds" in address]
    pipe.send(heard)


def measure(seconds: float, block_frames: int, update_hz: float) -> list[float]:
    """Seconds from the first sample of the last block that a reading knows to its datagram's arrival."""
    here, there = multiprocessing.Pipe()
    process = multiprocessing.Process(target=receive, args=(there,))
    process.start()
    source = Noise(block_frames, seconds)
    with EventLoop() as engine:
        port = OscPort([resolve(f"127.0.0.1:{here.recv()}/reading")], update_hz=update_hz)
        session = Session(
            source,
            RunOptions(load_goal("r128"), update_hz=update_hz),
            outlets=[lambda snapshot: engine.soon(port.offer, snapshot)],
        )
        engine.run(port.open(bind("127.0.0.1", 0), session.send_command))
        session.run()
        engine.run(port.close())
    here.send(True)
    heard = here.recv()
    process.join()
    block_s = block_frames / RATE_HZ
    waits = []
    for told_s, came_s in heard:
        last = round(told_s / block_s) - 1
        if 0 <= last < len(source.handed_s):
            waits.append(came_s - source.handed_s[last] + block_s)
    return [wait_s for wait_s in waits if wait_s < LATE_S]


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=float, default=60.0)
    parser.add_argument("--block", type=int, default=480, help="frames a block")
    parser.add_argument("--rate", type=float, default=10.0, help="readings a second")
    options = parser.parse_args()
    multiprocessing.set_start_method("spawn")
    waits_s = sorted(measure(options.seconds, options.block, options.rate))
    block_ms = 1000 * options.block / RATE_HZ
    print(f"{len(waits_s)} readings in {options.seconds:g} s, blocks of {block_ms:.1f} ms; beyond one block:")
    print(f"median {1000 * statistics.median(waits_s) - block_ms:.1f} ms (at most 20 wanted)")
    late_ms = 1000 * waits_s[int(0.99 * len(waits_s))] - block_ms
    print(f"99 of 100 within {late_ms:.1f} ms (at most 50 wanted)")
    print(f"slowest {1000 * waits_s[-1] - block_ms:.1f} ms")
